"""Cover: the fewest windows of one size that hold all boxes, each box whole in one of them.

A window can be pushed right and up until its left and its lower side touch boxes that lie in it,
and holds them still; so only such windows need be tried, and which of them to take is a set
cover, an integer program for HiGHS. Its answer for a given set is the same each time.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from hides.outline import FloatArray
from nest.plans import Box

SLACK = 1e-9  # mm, of rounding
WORK = 2000  # nodes of the solver's tree at most
MOST = 200  # boxes; for more there are too many windows


def fewest(boxes: Mapping[str, Box], room: tuple[float, float]) -> list[tuple[str, ...]]:
    """The names in each of the fewest windows, from the left; [] where none are found.

    Parameters
    ----------
    boxes : (min x, min y, max x, max y) of each name, mm.
    room : width and height of a window, mm.
    """
    if not 0 < len(boxes) <= MOST:
        return []
    names = tuple(boxes)
    windows = _windows(np.array(list(boxes.values())), room)
    if not windows.any(axis=0).all():
        return []
    ones = np.ones(len(windows), dtype=np.int64)
    each = LinearConstraint(windows.T.astype(np.float64), lb=1)
    taken = milp(
        ones, integrality=ones, bounds=Bounds(0, 1), constraints=each, options={"node_limit": WORK}
    )
    left = np.ones(len(names), dtype=np.bool_)
    found = []
    for window in windows[taken.x > 0.5] if taken.x is not None else ():
        found.append(tuple(names[i] for i in np.flatnonzero(window & left)))
        left &= ~window
    return [group for group in found if group]


def _windows(sides: FloatArray, room: tuple[float, float]) -> NDArray[np.bool_]:
    """Which boxes (columns) lie in each window that is worth a try, from left to right."""
    found: dict[bytes, NDArray[np.bool_]] = {}
    for x in np.unique(sides[:, 0]):
        upright = (sides[:, 0] >= x) & (sides[:, 2] <= x + room[0] + SLACK)
        for y in np.unique(sides[upright, 1]):
            inside = upright & (sides[:, 1] >= y) & (sides[:, 3] <= y + room[1] + SLACK)
            found.setdefault(inside.tobytes(), inside)
    return np.array(list(found.values()))
