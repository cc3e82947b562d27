"""Least: travel that no order of the strokes can undercut.

Every order allowed by :mod:`nest.cut.ways` goes through one part after another, through each
group by group, with one hop from part to part. So

    travel >= sum over parts of the least way through each + least round of hops

where the round visits every part once from the start and back. That holds as well when a hop is
charged a price where it begins and one where it ends, and the way through a part that is begun
and left at those nodes is spared the same. The prices for which the sum is large make both agree
where parts are begun and left; whatever they are, the sum is a bound. They are found by
subgradient steps (Held & Karp 1970, Operations Research 18, 1138-1162; 1971, Mathematical
Programming 1, 6-25; from memory).

The way through a group from one node to another is a spanning tree in which these two have one
neighbour and each other node has two, so a least tree bounds it, again with prices on nodes that
make the neighbours as many as they should be. Prices found for one pair of ends say something
about all others; pairs are looked at when they are the ones by which a bound stays low.

Two things are given away: a closed contour that may be begun at many points counts by its
nearest point to each neighbour, and an outline drawn last counts as lying on the way.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise, repeat

import numpy as np

from hides.outline import FloatArray
from nest.cut import ascent
from nest.cut.circuit import least_round
from nest.cut.ways import IntArray, Ways

PHASES = 16  # the list of short hops between parts grows so often, and ways are looked at again
STEPS = 120  # subgradient steps in each
MANY = 100  # parts; for more so many phases do
FEWER = 7
BATCH = 18  # parts whose short hops are listed at a time
FIRST_STRIDE = 2.0  # of the step that would close the gap to the upper bound, were it straight
LOOKS = 3  # ways through a part that are looked at in a phase
TREES = 60  # least trees for each
FAR, SHORT = 5.0, 2.0  # times a tree's mean hop; how far prices first move, and later
FIRST = 4  # of a group's ways are looked at from far

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


@dataclass(eq=False)
class Group:
    """What is known of the ways through one group.

    Attributes
    ----------
    table : (n, n) mm from node to node; :data:`nest.cut.ascent.FORCED` along an open contour.
    least : (n, n) mm that no way from node i to node j is shorter than, inf where there is none.
    prices, sums : the prices (n,) of nodes that said so; a least tree with each, less all prices.
    """

    table: FloatArray
    least: FloatArray = field(init=False)
    prices: list[FloatArray] = field(init=False)
    sums: list[float] = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.table)
        self.least = np.where(np.eye(count) > (count == 1), np.inf, 0.0)
        self.prices = [np.zeros(count)]
        self.sums = [ascent.tree(self.table, self.prices[0], np.zeros(count))]

    def look(self, i: int, j: int) -> None:
        """Raise what is known of the way from one node to another, and of others with it."""
        known = [total + pi[i] + pi[j] for total, pi in zip(self.sums, self.prices, strict=True)]
        stride = FAR if len(known) < FIRST else SHORT
        stride *= self.sums[0] / max(len(self.table) - 1, 1)
        start = self.prices[int(np.argmax(known))]
        pi = ascent.balanced(self.table, i, j, start, TREES, stride)
        self.prices.append(pi)
        self.sums.append(ascent.raised(self.table, pi, self.least))


@dataclass(eq=False)
class Passage:
    """What is known of the ways through one part.

    Attributes
    ----------
    begun, left : the first of the nodes it can be begun with, and left from.
    groups : those it goes through.
    gaps : from each group to the next, (n, m) mm from node to node.
    least : (b, l) mm that no way from node begun + i to node left + j is shorter than.
    """

    begun: int
    left: int
    groups: list[Group]
    gaps: list[FloatArray]
    least: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        self.least = self._sums()[-1]

    def cheapest(self, come: FloatArray, gone: FloatArray) -> tuple[float, int, int]:
        """The least way with prices spared where it is begun and left, and its two ends."""
        rows, columns = self.least.shape
        spared = come[self.begun : self.begun + rows, None] + gone[self.left : self.left + columns]
        at = int(np.argmin(self.least - spared))
        i, j = divmod(at, columns)
        return float(self.least[i, j] - spared[i, j]), i, j

    def look(self, come: FloatArray, gone: FloatArray) -> None:
        """Look at the cheapest way, and at what is the cheapest then."""
        for _ in range(LOOKS):
            _, i, j = self.cheapest(come, gone)
            for group, ends in zip(self.groups, self._ends(i, j), strict=True):
                if len(group.table) > 1:
                    group.look(*ends)
            self.least = self._sums()[-1]
            if self.cheapest(come, gone)[1:] == (i, j):
                break

    def _sums(self) -> list[FloatArray]:
        """For each group the least travel from the first one's nodes to that one's."""
        sums = [self.groups[0].least]
        for gap, group in zip(self.gaps, self.groups[1:], strict=True):
            sums.append(ascent.least_sum(ascent.least_sum(sums[-1], gap), group.least))
        return sums

    def _ends(self, i: int, j: int) -> list[tuple[int, int]]:
        """The nodes by which the least way from i to j begins and leaves each group."""
        sums, ends, left = self._sums(), [], j
        for k in range(len(self.groups) - 1, 0, -1):
            to = (sums[k - 1][i][:, None] + self.gaps[k - 1]).min(axis=0)
            begun = int(np.argmin(to + self.groups[k].least[:, left]))
            ends.append((begun, left))
            left = int(np.argmin(sums[k - 1][i] + self.gaps[k - 1][:, begun]))
        return [(i, left), *ends[::-1]]


def least(ways: Ways, upper: float) -> float:
    """A bound in mm on the travel of every order; ``upper`` is the travel of one.

    Steps are counted, not timed, so the same contours give the same bound.
    """
    nodes = nodes_of(ways)
    passages = passages_of(nodes)
    frame = (nodes.gfirst, nodes.pfirst)
    place = (nodes.spots, nodes.sfirst, nodes.reach, ways.start, ways.near)
    come, gone = np.zeros((2, len(nodes.mate)))
    phases = PHASES if len(passages) <= MANY else FEWER
    batches = list(pairwise([*range(0, len(passages), BATCH), len(passages)]))
    pairs: list[Pairs] = []
    with ThreadPoolExecutor() as pool:
        for phase in range(phases):
            list(pool.map(Passage.look, passages, repeat(come), repeat(gone)))
            given = (come, gone, *frame, *place)
            lists = pool.map(ascent.short_hops, batches, *map(repeat, given))
            pairs = [_joined([*pairs, *lists])]
            inside = np.concatenate([passage.least.ravel() for passage in passages])
            stride = FIRST_STRIDE * (1 - phase / phases)
            come, gone = ascent.climb(come, gone, pairs[0], inside, frame, upper, STEPS, stride)
    hops = ascent.hops(come, gone, *frame, *place)
    return sum(passage.cheapest(come, gone)[0] for passage in passages) + least_round(hops)


def _joined(pairs: list[Pairs]) -> Pairs:
    """Short hops of some lists, each once."""
    rows = np.concatenate([rows for rows, _ in pairs])
    rows, which = np.unique(rows, axis=0, return_index=True)
    return rows, np.concatenate([length for _, length in pairs])[which]


def passages_of(nodes: Nodes) -> list[Passage]:
    """All parts with the distances in them, nothing being known of their ways yet."""
    place = (nodes.spots, nodes.sfirst, nodes.reach)
    bounds = list(pairwise(nodes.gfirst.tolist()))
    found = []
    for low, high in pairwise(nodes.pfirst.tolist()):
        groups = bounds[low:high]
        tables = [ascent.table_of(lo, hi, nodes.mate, *place) for lo, hi in groups]
        gaps = [ascent.gaps_of(*one, *two, *place) for one, two in pairwise(groups)]
        found.append(Passage(groups[0][0], groups[-1][0], [Group(t) for t in tables], gaps))
    return found


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
