"""Circuit: a lower bound on the least round through all rows of a cost matrix.

The linear relaxation of the directed round: each place is left once and reached once, and every
set of places is left at least once (Dantzig, Fulkerson & Johnson 1954, Operations Research 2,
393-410; from memory). Sets that a solution leaves less than once are found by greatest flows and
asked for, until there is none. Whatever sets were asked for, the value is a bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, maximum_flow, minimum_spanning_tree

from hides.outline import FloatArray

ROUNDS = 30
SCALE = 10**6  # flows are whole numbers; a place is left this often
SHORT = 0.999  # a set left less than this is asked for
LARGEST = 120  # places; of more only the tree below, since the programme takes too long
SAFE = 1e-6  # mm taken off for the solver's own tolerance

Rows = list[FloatArray]


def least_round(cost: FloatArray) -> float:
    """A bound on the least round; ``cost`` is (n, n), its diagonal is not looked at, n > 1."""
    return _by_programme(cost) if len(cost) <= LARGEST else _by_tree(cost)


def _by_tree(cost: FloatArray) -> float:
    """A least tree over all places but the last, and the least ways to that one and from it.

    Directions are left open: Held & Karp's tree with one more branch.
    """
    inside = np.minimum(cost, cost.T)[:-1, :-1]
    least = float(inside[~np.eye(len(inside), dtype=np.bool_)].min())
    # the library takes zeros for no way at all, so that all costs are raised to positive ones
    tree: Any = minimum_spanning_tree(inside - least + 1.0)
    total = float(tree.sum()) + (least - 1.0) * (len(inside) - 1)
    return total + float(cost[-1, :-1].min()) + float(cost[:-1, -1].min())


def _by_programme(cost: FloatArray) -> float:
    """The linear programme, with what its sets are asked for one after another."""
    n = len(cost)
    tails, heads = np.nonzero(~np.eye(n, dtype=np.bool_))
    arcs = np.arange(len(tails))
    once: Any = csr_array(
        (np.ones(2 * len(arcs)), (np.append(tails, heads + n), np.append(arcs, arcs))),
        shape=(2 * n, len(arcs)),
    )
    cuts: Rows = []
    value = -np.inf
    for _ in range(ROUNDS):
        asked: Any = -csr_array(np.reshape(cuts, (len(cuts), len(arcs))))
        found = linprog(
            cost[tails, heads],
            A_ub=asked,
            b_ub=-np.ones(len(cuts)),
            A_eq=once,
            b_eq=np.ones(2 * n),
            method="highs",
        )
        if not found.success:
            break
        value = float(found.fun or 0.0)
        shares = np.zeros((n, n))
        shares[tails, heads] = found.x
        new = [
            (inside[tails] & ~inside[heads]).astype(float) for inside in _left_too_little(shares)
        ]
        if not new:
            break
        cuts += new
    return value - SAFE * n


def _left_too_little(shares: FloatArray) -> list[np.ndarray]:
    """Sets of places that a solution leaves less than once, as flags."""
    found = {tuple(flags): flags for flags in _pieces(shares)}
    if not found:
        found = {tuple(flags): flags for flags in _narrow(shares)}
    return list(found.values())


def _pieces(shares: FloatArray) -> Iterator[np.ndarray]:
    joined: Any = csr_array(shares > 1e-9)
    count, piece = connected_components(joined, connection="strong")
    if count > 1:
        for k in range(count):
            yield piece == k


def _narrow(shares: FloatArray) -> Iterator[np.ndarray]:
    """The near side of a least cut between the first place and each other, both ways."""
    room: Any = csr_array(np.round(shares * SCALE).astype(np.int32))
    for place in range(1, len(shares)):
        for source, sink in ((0, place), (place, 0)):
            flow = maximum_flow(room, source, sink)
            if flow.flow_value < SHORT * SCALE:
                yield _reached((room - flow.flow).toarray() > 0, source)


def _reached(open_: np.ndarray, source: int) -> np.ndarray:
    inside = np.zeros(len(open_), dtype=np.bool_)
    inside[source] = True
    while (more := inside | open_[inside].any(axis=0)).sum() > inside.sum():
        inside = more
    return inside
