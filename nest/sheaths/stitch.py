"""Stitch holes along a seam, and the thread it takes.

Holes are punched at a whole number of pitches per run: from the first hole to a corner, from
corner to corner, and so to the last. The seam's end at the tip is free by up to a pitch, which
the last run uses to keep the asked pitch.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from hides.outline import FloatArray

WITHIN = 0.06  # of the asked pitch: what a run's pitch may differ by
CORNER_TURN = 45.0  # degrees of turning that make a corner
CORNER_REACH = 12.0  # mm of seam over which a corner turns
BACKSTITCHES = 3  # at each end of a seam, sewn twice
THREAD_TAIL = 150.0  # mm of thread left over at each end, for the needle (a published rule: 6 in)


def holes(seam: FloatArray, pitch: float, *, free_end: bool) -> FloatArray:
    """Hole centres along a seam.

    Parameters
    ----------
    seam : (n, 2) mm, from its first hole on.
    pitch : asked distance between holes along the seam, mm.
    free_end : the last hole need not lie on the seam's end.

    Returns
    -------
    (m, 2) float64, mm: first on the start, one on each corner that leaves room for whole
    pitches, the runs between them within 6 % of the asked pitch.
    """
    line = LineString(seam)
    stops = _stops(line, pitch, free_end)
    spots = [np.array([0.0])]
    for start, end in pairwise(stops):
        count = max(round((end - start) / pitch), 1)
        spots.append(start + (end - start) * np.arange(1, count + 1) / count)
    along = np.concatenate(spots)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, along))


def _stops(line: LineString, pitch: float, free_end: bool) -> list[float]:
    """Where runs begin and end, mm along the line: the sharpest corners that fit whole pitches."""
    corners = _corners(line)
    while True:
        stops = [0.0, *sorted(at for _, at in corners)]
        stops.append(_end(line.length, stops[-1], pitch, free_end))
        if stops[-1] - stops[-2] < 1e-9:
            stops.pop()
        runs = np.diff(stops)
        if not corners or all(_fits(run, pitch) for run in runs):
            return stops
        corners = corners[:-1]


def _end(length: float, last: float, pitch: float, free: bool) -> float:
    if not free:
        return length
    return last + math.floor((length - last) / pitch + 1e-9) * pitch


def _fits(run: float, pitch: float) -> bool:
    return abs(run / max(round(run / pitch), 1) - pitch) <= WITHIN * pitch


def _corners(line: LineString) -> list[tuple[float, float]]:
    """(turning in degrees, mm along the line) of each corner, sharpest first."""
    step = 0.25
    count = math.ceil(line.length / step)
    if line.length < 2 * CORNER_REACH:
        return []
    at = np.linspace(0, line.length, count + 1)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    heading = np.unwrap(np.arctan2(*np.diff(xy, axis=0).T[::-1]))
    half = round(CORNER_REACH / 2 / step)
    turning = np.zeros(len(at))
    middle = np.arange(half, len(heading) - half)
    turning[middle] = np.degrees(np.abs(heading[middle + half] - heading[middle - half]))
    found = []
    while turning.max() > CORNER_TURN:
        # A bend of even turning is one corner, in its middle.
        peak = turning.max()
        first = int(np.argmax(turning >= peak - 0.5))
        last = first
        while last + 1 < len(turning) and turning[last + 1] >= peak - 0.5:
            last += 1
        k = (first + last) // 2
        found.append((float(peak), float(at[k])))
        turning[max(k - 2 * half, 0) : k + 2 * half + 1] = 0
    return found


def thread_length(seam: float, stack: float, pitch: float) -> float:
    """Saddle-stitch thread for a seam, two needles on one thread, mm.

    T = 2·L·(1 + stack/pitch) + tails: each of the two thread halves covers the seam once on
    the surface and goes through the stack once per stitch. Backstitches are sewn twice. Rules
    of thumb from makers (4 to 8 times the seam) are this formula at their stack and pitch.
    """
    sewn = seam + 2 * BACKSTITCHES * pitch
    return 2 * sewn * (1 + stack / pitch) + 2 * THREAD_TAIL


def thread_diameter(pitch: float) -> float:
    """Thread for a pitch, mm: a fifth of it (common practice, no published source)."""
    return round(pitch / 5, 1)
