"""Stitch holes along a seam, and the thread it takes.

A hole is punched at each end and on each corner, and each run from one to the next is parted
into a whole number of stitches, as near to the asked pitch as that allows. At the tip the last hole
may lie anywhere within a stretch before the seam's end, which the last run uses to keep the
pitch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from hides.outline import FloatArray

WITHIN = 0.06  # of the asked pitch: what a run's pitch may differ by for a hole on a round
SHARP = 30.0  # degrees that a seam turns by at one point to have a corner there
ROUND_TURN = 45.0  # degrees of turning that make a corner of a round
ROUND_REACH = 12.0  # mm of seam over which a round turns
BACKSTITCHES = 3  # at each end of a seam, sewn twice
THREAD_TAIL = 150.0  # mm of thread left over at each end, for the needle (a published rule: 6 in)


def holes(seam: FloatArray, pitch: float, *, end: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """Hole centres along a seam.

    Parameters
    ----------
    seam : (n, 2) mm, from its first hole on.
    pitch : asked distance between holes along the seam, mm.
    end : the last hole lies so far before the seam's end, mm: at least and at most.

    Returns
    -------
    (m, 2) float64, mm: first on the start, one on each corner (common practice, no published
    source) and in the middle of each round that leaves room for it. Each run between them is
    parted evenly, and its stitches are as near to the pitch as a whole number of them comes:
    within 6 % from nine stitches on.
    """
    line = LineString(seam)
    corners = _corners(line)
    stops = _stops(corners, line.length, pitch, end)
    for at in _rounds(line):
        if any(abs(at - corner) < ROUND_REACH for corner in corners):
            continue  # that is what turns there
        more = _stops([*stops[1:-1], at], line.length, pitch, end)
        if all(_fits(stop - start, pitch) for start, stop in pairwise(more) if at in (start, stop)):
            stops = more
    spots = [np.array([0.0])]
    for start, stop in pairwise(stops):
        count = _count(stop - start, pitch)
        spots.append(start + (stop - start) * np.arange(1, count + 1) / count)
    along = np.concatenate(spots)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, along))


def _stops(
    corners: Iterable[float], length: float, pitch: float, end: tuple[float, float]
) -> list[float]:
    """Where runs begin and end, mm along a line."""
    stops = [0.0, *sorted(at for at in corners if at < length - end[1] - pitch / 2)]
    return [*stops, stops[-1] + _last(length - stops[-1], pitch, end)]


def _count(run: float, pitch: float) -> int:
    """Stitches in a run."""
    return max(round(run / pitch), 1)


def _fits(run: float, pitch: float) -> bool:
    return abs(run / _count(run, pitch) - pitch) <= WITHIN * pitch


def _last(left: float, pitch: float, end: tuple[float, float]) -> float:
    """The length of the last run, of whose ``left`` mm ``end`` stay free: best for the pitch."""
    low, high = left - end[1], left - end[0]
    whole = math.floor(high / pitch + 1e-9) * pitch
    return whole if whole >= max(low, pitch) else max(low, min(pitch, high))


def _corners(line: LineString) -> list[float]:
    """Points where a seam turns, mm along it."""
    sides = np.diff(shapely.get_coordinates(line), axis=0)
    headings = np.degrees(np.arctan2(*sides.T[::-1]))
    turns = np.abs((np.diff(headings) + 180) % 360 - 180)
    return [float(at) for at in np.cumsum(np.hypot(*sides.T))[:-1][turns >= SHARP]]


def _rounds(line: LineString) -> list[float]:
    """Middles, mm along the line, of rounds that turn by more than ROUND_TURN, sharpest first."""
    step = 0.25
    count = math.ceil(line.length / step)
    if line.length < 2 * ROUND_REACH:
        return []
    at = np.linspace(0, line.length, count + 1)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    heading = np.unwrap(np.arctan2(*np.diff(xy, axis=0).T[::-1]))
    half = round(ROUND_REACH / 2 / step)
    turning = np.zeros(len(at))
    middle = np.arange(half, len(heading) - half)
    turning[middle] = np.degrees(np.abs(heading[middle + half] - heading[middle - half]))
    found = []
    while turning.max() > ROUND_TURN:
        # A bend of even turning is one corner, in its middle.
        peak = turning.max()
        first = int(np.argmax(turning >= peak - 0.5))
        last = first
        while last + 1 < len(turning) and turning[last + 1] >= peak - 0.5:
            last += 1
        k = (first + last) // 2
        found.append(float(at[k]))
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
