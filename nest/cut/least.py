"""Least: travel that no order of the strokes can undercut.

Every order allowed by :mod:`nest.cut.ways` draws a part's groups one after another, each along
a path through all its contours, with one hop from group to group and one to the next part.
A path is a spanning tree, so

    travel >= sum of least trees in groups + sum of least hops between groups + least round

where the round visits every part once from the start and back. That holds as well when each hop
between the ends i and j of contours is charged π_i + π_j more and 2 π is taken off for each end,
since in every order each end has two hops (the stroke itself is one of an open contour's). The π
for which the sum is large are found by subgradient steps; whatever they are, the sum is a bound
(Held & Karp 1970, Operations Research 18, 1138-1162; 1971, Mathematical Programming 1, 6-25;
from memory), here with trees kept inside their groups, as the orders are.

Two things are given away: a closed contour that may be begun at many points counts by its
nearest point to each neighbour, and an outline drawn last counts as lying on the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from hides.outline import FloatArray
from nest.cut import ascent
from nest.cut.circuit import least_round
from nest.cut.ways import IntArray, Ways

PHASES = 16  # the list of short hops between parts grows so often
STEPS = 120  # subgradient steps in each
MANY = 100  # parts; for more half as many do
FIRST_STRIDE = 2.0  # of the step that would close the gap to the upper bound, were it straight

Pairs = tuple[IntArray, FloatArray]


@dataclass(frozen=True, eq=False)
class Nodes:
    """Ends of contours in their groups; outlines drawn last are left out.

    Attributes
    ----------
    mate : (n,) the other end of the same open contour, or -1.
    spots, sfirst : node i may be at ``spots[sfirst[i] : sfirst[i + 1]]``, (s, 2) mm.
    reach : (n,) mm; how far from the nearest of these it may be.
    gfirst, pfirst : first node of each group, first group of each part; one more at the end.
    """

    mate: IntArray
    spots: FloatArray
    sfirst: IntArray
    reach: FloatArray
    gfirst: IntArray
    pfirst: IntArray


def least(ways: Ways, upper: float) -> float:
    """A bound in mm on the travel of every order; ``upper`` is the travel of one.

    Steps are counted, not timed, so the same contours give the same bound.
    """
    nodes = nodes_of(ways)
    place = (nodes.spots, nodes.sfirst, nodes.reach)
    frame = (nodes.gfirst, nodes.pfirst)
    inside = ascent.tables(*frame, nodes.mate, *place)
    pi = np.zeros(len(nodes.mate))
    pairs = ascent.short_hops(pi, *frame, *place, ways.start, ways.near)
    phases = PHASES if len(ways.tail) <= MANY else PHASES // 2
    for phase in range(phases):
        stride = FIRST_STRIDE * (1 - phase / phases)
        pi = ascent.climb(pi, pairs, inside, frame, upper, STEPS, stride)
        pairs = _joined(pairs, ascent.short_hops(pi, *frame, *place, ways.start, ways.near))
    hops = ascent.hops(pi, *frame, *place, ways.start, ways.near)
    trees: Any = ascent.trees  # its two tuples have more items than a type could tell
    return float(trees(pi, *inside, *frame)) + least_round(hops) - 2 * float(pi.sum())


def _joined(pairs: Pairs, new: Pairs) -> Pairs:
    """Short hops of both lists, each once."""
    rows, which = np.unique(np.concatenate([pairs[0], new[0]]), axis=0, return_index=True)
    return rows, np.concatenate([pairs[1], new[1]])[which]


def nodes_of(ways: Ways) -> Nodes:
    """The ends that the bound is reckoned over."""
    rows: list[tuple[int, float, FloatArray]] = []
    gfirst, pfirst = [0], [0]
    for part, tail in enumerate(ways.tail):
        groups = range(ways.pfirst[part], ways.pfirst[part + 1] - (tail >= 0))
        for group in groups:
            for item in range(ways.gfirst[group], ways.gfirst[group + 1]):
                rows += _ends(ways, item, len(rows))
            gfirst.append(len(rows))
        pfirst.append(pfirst[-1] + len(groups))
    sizes = [0, *(len(spots) for _, _, spots in rows)]
    return Nodes(
        mate=np.array([mate for mate, _, _ in rows], dtype=np.int64),
        spots=np.concatenate([spots for _, _, spots in rows]),
        sfirst=np.cumsum(sizes, dtype=np.int64),
        reach=np.array([reach for _, reach, _ in rows]),
        gfirst=np.array(gfirst, dtype=np.int64),
        pfirst=np.array(pfirst, dtype=np.int64),
    )


def _ends(ways: Ways, item: int, count: int) -> list[tuple[int, float, FloatArray]]:
    """The nodes of an item: where it is begun, or both ends of an open contour."""
    lo, hi = ways.first[item], ways.first[item + 1]
    if ways.contours[item].closed:
        return [(-1, float(ways.reach[item]), ways.pin[lo:hi])]
    ends = ways.pin[lo : lo + 1], ways.pout[lo : lo + 1]
    return [(count + 1, 0.0, ends[0]), (count, 0.0, ends[1])]
