"""All parts moved at once: a linear program that parts what overlaps and draws the front in.

Moving one part at a time can't shift a row of parts that only fit together. Near a layout
every pair of convex pieces has a line that parts them, or the one they are least across;
asked to stay on their sides of these lines, all parts can be moved and turned a little in
one linear program (Li & Milenkovic 1995 and Gomes & Oliveira 2006, from memory, on whole
shapes). What is gained is exact up to the turns, which are linear for small angles only: the
layout is measured again after every step.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from hides.outline import FloatArray
from nest.place.kernels import contacts, layout
from nest.place.kernels import memory as k

IntArray = NDArray[np.int64]
Memory = tuple[IntArray, FloatArray, NDArray[np.float32], FloatArray]
Entry = tuple[IntArray, IntArray, FloatArray]  # rows, columns and values of a sparse matrix

FRONT_COST = 0.02  # of a mm of front against a mm of overlap: overlaps go first
STROKE = 0.03  # of the median part's size: how far a part may move in one step
TILT = float(np.deg2rad(1.5))  # how far it may turn in one step
MEND = 4.0  # times the deepest overlap: how far parts may move to mend what turning has left
STEPS = 8
GAIN = 1e-5  # of the container's length; less is not worth another step
UNIT = 1000.0  # the container's height in the program's units, for the solver's tolerances
WORK, WORK_TURNED = 6, 1  # candidate poses that a row takes the time of: measured, roughly


class Compaction:
    """Moves all parts of a layout at once, mm and rad; works in the memory of a worker."""

    def __init__(self, memory: Memory) -> None:
        self.memory = memory
        ints, floats, _, state = memory
        self.n = int(ints[k.N_PARTS])
        free, self.arm, self.window, sizes = contacts.facts(ints, floats).T
        self.free = free > 0.0  # (parts,) may turn
        self.stroke = STROKE * float(np.median(sizes))
        self.unit = UNIT / float(state[k.F_Y1] - state[k.F_Y0])
        self.span = float(state[k.F_X1] - state[k.F_X0])
        self.work = WORK if state[k.F_LISTED] > 0 else WORK_TURNED
        self.rows = np.empty((64 * self.n, contacts.ROW))

    def __call__(self, poses: FloatArray, reach: float) -> tuple[FloatArray, float] | None:
        """A valid layout near ``poses`` that reaches less far than ``reach``, or None.

        Poses are (parts, 4: x, y in mm, turn in rad, flip), and may overlap; reaches are mm. The
        frontier is set aside while it works; afterwards the poses in place are any.
        """
        ints, floats, _, state = self.memory
        front, state[k.F_FRONT] = float(state[k.F_FRONT]), np.inf
        found: tuple[FloatArray, float] | None = None
        before = np.inf
        for _ in range(STEPS):
            conflict = layout.put_all(poses, *self.memory)
            here = float(self._placed()[:, 2].max())
            if conflict <= 0.0:
                gain = (found[1] if found else reach) - here
                if gain > 0.0:
                    found = poses, here
                if gain < GAIN * self.span:
                    break
            elif conflict >= 0.9 * before:
                break
            before = conflict if conflict > 0.0 else np.inf
            mending = found is not None and conflict > 0.0
            moves = self._moves(here if mending else -np.inf)
            if moves is None:
                break
            poses = contacts.moved(poses, moves, ints, floats, state)
        state[k.F_FRONT] = front
        return found

    def _placed(self) -> FloatArray:
        """(parts, 10) view of the poses in place."""
        return self.memory[3][k.F_SIZE :][: k.POSE * self.n].reshape(self.n, k.POSE)

    def _contacts(self) -> FloatArray:
        """Rows of the layout in place, see :mod:`nest.place.contacts`."""
        ints, floats, _, state = self.memory
        reach = 3.0 * self.stroke
        while (m := contacts.all_rows(reach, self.rows, ints, floats, state)) > len(self.rows):
            self.rows = np.empty((m + m // 2, contacts.ROW))
        state[k.F_COUNT] += self.work * m
        return self.rows[:m]

    def _moves(self, floor: float) -> FloatArray | None:
        """The best small moves (parts, 3: x, y, turn) of the layout in place.

        With a ``floor`` the front stays there: only what overlaps is mended, by moves as
        small as they can be, since what turning makes of large ones is not foreseen here.
        """
        rows, n = self._contacts(), self.n
        late = np.flatnonzero((rows[:, 4] < 0) & (rows[:, 1] != contacts.FRONT))
        deepest = -float(rows[late, 4].min()) if len(late) else 0.0
        share = 1.0 if floor == -np.inf else min(1.0, MEND * deepest / self.stroke)
        size = 3 * n + 1 + len(late)  # moves of the parts, the front, what overlaps stay
        high = np.full(size, np.inf)
        high[: 3 * n] = share * self.stroke * self.unit
        tilt = share * np.minimum(TILT * self.arm, self.stroke) * self.free
        high[2 : 3 * n : 3] = tilt * self.unit
        low = -high
        low[3 * n], low[3 * n + 1 :] = floor * self.unit, 0.0
        cost = np.ones(size)
        cost[: 3 * n], cost[3 * n] = 0.0, FRONT_COST
        entries, room = self._windows(len(rows))
        row, column, value = (
            np.concatenate(part) for part in zip(*self._apart(rows, late), *entries, strict=True)
        )
        limits = np.concatenate([rows[:, 4], room]) * self.unit
        matrix: Any = sparse.csr_matrix((value, (row, column)), shape=(len(limits), size))
        bounds: Any = np.column_stack([low, high])
        result = linprog(
            cost,
            A_ub=matrix,
            b_ub=limits,
            bounds=bounds,
            method="highs",
        )
        if result.x is None:
            return None
        moves: FloatArray = np.asarray(result.x)[: 3 * n].reshape(n, 3) / self.unit
        moves[:, 2] /= self.arm
        return moves

    def _apart(self, rows: FloatArray, late: IntArray) -> list[Entry]:
        """Distance + normal · (move of b - move of a) + turns + what overlap stays >= 0."""
        n, at = self.n, np.arange(len(rows))
        a, b = rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)
        two, front = np.flatnonzero(b >= 0), np.flatnonzero(b == contacts.FRONT)
        other = b[two]
        return [
            (at, 3 * a, rows[:, 2]),
            (at, 3 * a + 1, rows[:, 3]),
            (at, 3 * a + 2, -rows[:, 5] / self.arm[a]),
            (two, 3 * other, -rows[two, 2]),
            (two, 3 * other + 1, -rows[two, 3]),
            (two, 3 * other + 2, -rows[two, 6] / self.arm[other]),
            (front, np.full(len(front), 3 * n), np.full(len(front), -1.0)),
            (late, 3 * n + 1 + np.arange(len(late)), np.full(len(late), -1.0)),
        ]

    def _windows(self, first: int) -> tuple[list[Entry], FloatArray]:
        """Two rows from ``first`` on for each part that may turn: it stays within its window.

        The direction that the turn is measured from changes with place, too.
        """
        ints, floats, _, state = self.memory
        free = np.flatnonzero(self.free)
        slope = contacts.slopes(ints, floats, state)[free]
        turn, arm, window = self._placed()[free, 6], self.arm[free], self.window[free]
        entries: list[Entry] = []
        for sign, at in ((1.0, first), (-1.0, first + len(free))):
            here = at + np.arange(len(free))
            entries += [
                (here, 3 * free, -sign * slope[:, 0] * arm),
                (here, 3 * free + 1, -sign * slope[:, 1] * arm),
                (here, 3 * free + 2, np.full(len(free), sign)),
            ]
        room = np.concatenate([window - turn, window + turn]) * np.tile(arm, 2)
        return entries, np.maximum(room, 0.0)
