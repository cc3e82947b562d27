"""A hide larger than a cutter's bed, parted in windows that are cut one after the other.

A part that crosses from one window to the next could not be cut at one laying of the hide.
Windows are counted from the end at which parts gather, so that the narrow ones that are left
over lie where leather is kept.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiLineString, box
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import FloatArray, polygons_of
from nest.errors import WeekError
from nest.job import Job
from nest.part import Part
from nest.plans.model import Box, keep_direction, rounded

Room = tuple[float, float, FloatArray]  # mm along and across the backbone; lines in degrees
HAIR = 1e-6  # mm; far below what a file holds
LOOKED = 40.0  # mm between the places at which a hide is asked for its direction of stretch
TURN = 1.0  # degrees between the turns of a part that are tried
SLACK = 0.01  # of a part's length, by which it may seem smaller than it is: more than TURN / 2 is


def bed_windows(hide: Hide, shift: tuple[float, float] | None, keep: str) -> tuple[Box, ...]:
    """The windows of a hide, each (x0, y0, x1, y1) in mm of its frame; none without a shift.

    Parameters
    ----------
    shift : mm along the backbone and across it; no window is larger.
    keep : the end to be kept, one of :data:`nest.job.KEEPS`.
    """
    if shift is None:
        return ()
    x0, y0, x1, y1 = hide.outline.bounds
    towards = keep_direction(keep)
    columns = _spans(x0, x1, shift[0], from_the_end=towards[0] < 0)
    rows = _spans(y0, y1, shift[1], from_the_end=towards[1] < 0)
    return tuple((left, low, right, high) for left, right in columns for low, high in rows)


def _spans(
    low: float, high: float, size: float, *, from_the_end: bool
) -> list[tuple[float, float]]:
    """Spans of a size one after the other from one end; the last is what is left over."""
    count = max(int(np.ceil((high - low) / size - HAIR)), 1)
    if from_the_end:
        ends = [low, *(high - size * n for n in reversed(range(count)))]
    else:
        ends = [*(low + size * n for n in range(count)), high]
    return list(pairwise(rounded(end) for end in ends))


def borders(windows: tuple[Box, ...]) -> MultiLineString:
    """The lines where windows (mm) meet; empty for one window or none."""
    if len(windows) < 2:
        return MultiLineString()
    shapes = [box(*window) for window in windows]
    outside = shapely.union_all(shapes)
    edges = shapely.union_all([shape.boundary for shape in shapes])
    rims = [polygon.boundary.buffer(HAIR) for polygon in polygons_of(outside)]
    inner = shapely.line_merge(edges.difference(shapely.union_all(rims)))
    lines = getattr(inner, "geoms", [inner])
    return MultiLineString([line for line in lines if line.length > 1e3 * HAIR])


def seams(windows: tuple[Box, ...], reach: float) -> BaseGeometry:
    """The ground within ``reach`` mm of a border: what lies in it crosses from window to window."""
    return borders(windows).buffer(reach, cap_style="square", join_style="mitre")


def refuse_too_large(job: Job, hides: Sequence[Hide]) -> None:
    """Refuse a part that lies in no window of the job's bed on any hide, however it is turned.

    Raises
    ------
    WeekError : there is such a part; its sizes and the window's are named in mm.
    """
    if job.shift is None:
        return
    rooms = [
        room for hide in hides for room in _rooms(hide, bed_windows(hide, job.shift, job.keep))
    ]
    fits: dict[Hashable, bool] = {}
    for wanted in job.to_cut:
        key, part = wanted.likeness, wanted.part
        if key not in fits:
            fits[key] = any(_fits(part, room) for room in rooms)
        if not fits[key]:
            x0, y0, x1, y1 = part.outline.bounds
            raise WeekError(
                f"{wanted.id} is {x1 - x0:.0f} × {y1 - y0:.0f} mm, and as the leather lets it lie "
                f"it fits in no window of {job.shift[0]:g} × {job.shift[1]:g} mm of the bed; no "
                "part is cut in two.",
                mend="Plan it for a machine with a larger bed, or without one to cut by hand.",
            )


def _rooms(hide: Hide, windows: tuple[Box, ...]) -> Iterator[Room]:
    """The leather in each window: the sizes of its box, and its lines of least stretch."""
    for window in windows:
        piece = hide.polygon.intersection(box(*window))
        if not piece.is_empty:
            x0, y0, x1, y1 = piece.bounds
            spots = np.stack(np.meshgrid(_steps(x0, x1), _steps(y0, y1)), axis=-1).reshape(-1, 2)
            yield x1 - x0, y1 - y0, np.unique(np.round(hide.stretch.direction(spots), 1))


def _steps(low: float, high: float) -> FloatArray:
    return np.linspace(low, high, int((high - low) / LOOKED) + 2)


def _fits(part: Part, room: Room) -> bool:
    """Whether a part's box is no larger than that of the leather, turned as this allows."""
    wide, high, lines = room
    slack = SLACK * float(np.hypot(*np.ptp(part.outline.points, axis=0)))
    off = np.linspace(-part.window, part.window, int(2 * part.window / TURN) + 2)
    turns = np.deg2rad(np.add.outer(lines, off).ravel() - part.axis)
    x, y = part.outline.points.T
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    across, up = np.ptp(c * x - s * y, axis=1), np.ptp(s * x + c * y, axis=1)
    return bool(((across <= wide + slack) & (up <= high + slack)).any())
