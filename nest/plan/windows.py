"""A hide larger than a cutter's bed, parted in windows that are cut one after the other.

A part that crosses from one window to the next could not be cut at one laying of the hide.
Windows are counted from the end at which parts gather, so that the narrow ones that are left
over lie where leather is kept.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiLineString, box
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import polygons_of
from nest.plan.layout import Box, keep_direction, rounded

HAIR = 1e-6  # mm; far below what a file holds


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
    """The lines where windows meet; empty for one window or none."""
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
