"""Cover: the fewest windows of one size that hold all boxes, each box whole in one of them.

A window can be pushed right and up until its left and its lower side touch boxes that lie in it,
and holds them still; so only such windows need be tried, and which of them to take is a set
cover, solved by CP-SAT. Its answer for a given set is the same each time.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from hides.outline import FloatArray

SLACK = 1e-9  # mm, of rounding
WORK = 1.0  # of the solver's own deterministic seconds at most
MOST = 200  # boxes; for more there are too many windows

Box = tuple[float, float, float, float]
Flags = NDArray[np.bool_]


def fewest(
    boxes: Mapping[str, Box], room: tuple[float, float], below: int
) -> list[tuple[str, ...]]:
    """The names in each of the fewest windows, from the left; [] where none are found.

    Parameters
    ----------
    boxes : (min x, min y, max x, max y) of each name, mm.
    room : width and height of a window, mm.
    below : only fewer windows than this are of use.
    """
    if not 0 < len(boxes) <= MOST:
        return []
    names, sides = tuple(boxes), np.array(list(boxes.values()))
    windows = _windows(sides, room)
    if not np.any(windows, axis=0).all():
        return []
    left = np.ones(len(names), dtype=np.bool_)
    found = []
    for k in _chosen(windows, below):
        taken = windows[k] & left
        left &= ~taken
        if taken.any():
            found.append(tuple(names[i] for i in np.flatnonzero(taken)))
    return found


def _windows(sides: FloatArray, room: tuple[float, float]) -> list[Flags]:
    """Which boxes lie in each window that is worth a try; by its place from left to right."""
    found: dict[bytes, Flags] = {}
    for x in np.unique(sides[:, 0]):
        upright = (sides[:, 0] >= x) & (sides[:, 2] <= x + room[0] + SLACK)
        for y in np.unique(sides[upright, 1]):
            inside = upright & (sides[:, 1] >= y) & (sides[:, 3] <= y + room[1] + SLACK)
            found.setdefault(inside.tobytes(), inside)
    return list(found.values())


def _chosen(windows: list[Flags], below: int) -> list[int]:
    """The fewest windows in which every box lies, in their order; [] if none were found."""
    model = cp_model.CpModel()
    taken = [model.new_bool_var("") for _ in windows]
    for column in np.array(windows).T:
        model.add_at_least_one(taken[k] for k in np.flatnonzero(column))
    model.add(sum(taken) < below)
    model.minimize(sum(taken))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = WORK
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return []
    return [k for k, one in enumerate(taken) if solver.value(one)]
