"""A hide as something to fill: what it offers, and what trials have taught of what it holds.

Alike kits are counted, not named, so that a hundred sheaths of seven kinds are seven numbers
for each hide. Areas say what can't fit; how much of an area can be filled, nobody knows before
it is tried. So a hide's ``density`` starts high, falls with every set that is refused, and rises
again half way towards it once a set has been placed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import shapely
from shapely import Polygon

from hides.hide import Hide
from hides.outline import grown
from hides.units import DM2
from nest.bound import Sort
from nest.job import Job, Kit
from nest.place.solve import Filled, ground_left

Counts = tuple[int, ...]  # how many kits of each kind

FEW = 8  # kits; of so few, shapes decide and not areas: only cuts are used
DENSE = 0.75  # of a hide's ground, filled by parts with half the gap around them: seldom reached
FULL = 0.95  # of the same; never reached
CLOSE = 0.03  # of a density; nearer than this, what fits and what does not are not told apart
MOST_EXCESS = 0.15  # of a refused set; the density falls no more than this at once
FILLED = 0.7  # of the ground up to the frontier, to guess what leather a kit will cost
TOUCHED = 3 * DM2  # mm²; lost at a hide's ragged end, whatever little is cut from it


@dataclass(frozen=True, slots=True)
class Row:
    """A limit of a hide: one kit of each kind takes ``wants``, and it ``has`` so much, in mm²."""

    wants: tuple[float, ...]
    has: float


@dataclass(slots=True)
class Bin:
    """A hide with what it offers to kits of several kinds, and what was learnt of what it holds.

    Attributes
    ----------
    rows : areas of ground, of which no more than the share ``density`` can be filled.
    costs : of the leather that one kit of each kind takes, in money or mm².
    charge : of cutting into the hide at all, in the same.
    refused : counts that did not fit here, so that no more than these do either.
    least, most : limits to the counts, for kits with a place of their own; none by default.
    floor : counts that were placed, and are kept in what is asked for next.
    held : what was placed.
    good, bad : the greatest usage that was placed, the least that was refused; shares.
    """

    hide: Hide
    strap: Polygon | None
    rows: tuple[Row, ...]
    costs: tuple[float, ...]
    charge: float
    density: float = 1.0
    refused: tuple[Counts, ...] = ()
    least: Counts = ()
    most: Counts = ()
    floor: Counts = ()
    held: dict[Counts, Filled] = field(default_factory=dict)
    good: float = 0.0
    bad: float = FULL

    def usage(self, counts: Counts) -> float:
        """Share of the tightest row that a set takes."""
        takes = [float(np.dot(row.wants, counts)) / row.has for row in self.rows if row.has]
        return max(takes, default=0.0)

    def holds(self, counts: Counts, filled: Filled) -> None:
        """Note a set that was placed; keep it in what is asked for next."""
        self.held[counts] = filled
        self.floor = counts
        self.good = max(self.good, self.usage(counts))

    def refuse(self, counts: Counts, excess: float) -> None:
        """Cut a set off, of whose area the share ``excess`` is stuck; expect less from now on."""
        self.cut(counts)
        self.bad = min(self.bad, self.usage(counts))
        lost = min(max(excess / 2, CLOSE), MOST_EXCESS)  # where two overlap, both are stuck
        less = self.bad * (1 - lost)
        self.good = min(self.good, less)  # what was placed was easier than this
        self._expect(max(less, self._middle() if self.good else 0.0))

    def cut(self, counts: Counts) -> None:
        """Never ask for a set again, nor for more than it."""
        self.refused = (*self.refused, counts)

    def has_held(self, kind: int) -> bool:
        """Whether a kit of a kind was placed here in any set."""
        return any(counts[kind] for counts in self.held)

    def asked(self) -> tuple[Counts, Counts, float]:
        """The least and most counts that may be asked for, from the floor on, and the density."""
        none = (0,) * len(self.costs)
        floor = self.floor or none
        density = max(self.density, min(self.usage(floor) + 1e-3, 1.0))
        return tuple(map(max, self.least or none, floor)), self.most, density

    def free(self) -> bool:
        """Give up the floor; whether there was one."""
        was, self.floor = any(self.floor), ()
        return was

    def calm_hopes(self) -> None:
        """Expect no more than half way from what was placed to what was refused."""
        if self.good:
            self._expect(self._middle())

    def raise_hopes(self) -> bool:
        """Expect more again, half way to what was refused; whether there is such a way."""
        floor = max(self.good, self.density)
        if floor >= (1 - CLOSE) * self.bad:
            return False
        self.density = (floor + self.bad) / 2
        return True

    def _middle(self) -> float:
        return (self.good + self.bad) / 2

    def _expect(self, density: float) -> None:
        if self.density < 1.0:  # 1 stands for few kits, where only cuts are used
            self.density = min(self.density, density)


def bin_of(
    hide: Hide,
    job: Job,
    kinds: Sequence[Kit],
    cost: Callable[[Hide, float], float],
    *,
    taken: Sequence[Polygon],
    strap: Polygon | None,
    least: Counts,
    most: Counts,
) -> Bin:
    """A hide before any trial.

    Parameters
    ----------
    kinds : one kit of each kind, without pinned parts.
    cost : of so many mm² of a hide, in money or what stands for it.
    taken, strap : shapes of the pinned parts on this hide, and of the strap to be kept.
    least, most : limits to the counts.
    """
    rows = rows_of(hide, kinds, job, taken)
    room = max(rows[-1].has, 1.0) if rows else 1.0
    wants = rows[-1].wants if rows else (0.0,) * len(kinds)
    return Bin(
        hide,
        strap,
        rows,
        tuple(cost(hide, want / room * hide.gross_area / FILLED) for want in wants),
        cost(hide, TOUCHED),
        density=1.0 if len(job.kits) <= FEW else DENSE,
        least=least,
        most=most,
    )


def rows_of(
    hide: Hide, kinds: Sequence[Kit], job: Job, taken: Sequence[Polygon]
) -> tuple[Row, ...]:
    """The limits of a hide to kits of some kinds, one kit of each given.

    Sorts of region that together find their ground in one place share it: each sort by
    itself, all of one or of two thicknesses, and all of them. Half the gap around a part
    counts as part of it. ``taken`` is ground where other things lie.
    """
    wants = [_wants(kit, job.gap / 2) for kit in kinds]
    ground = {
        sort: ground_left(hide, *sort, job, taken)
        for sort in dict.fromkeys(sort for one in wants for sort in one)
    }
    return tuple(
        Row(
            tuple(sum(one.get(sort, 0.0) for sort in sorts) for one in wants),
            float(shapely.union_all([ground[sort] for sort in sorts]).area),
        )
        for sorts in dict.fromkeys(_groups(tuple(ground)))
    )


def _groups(sorts: tuple[Sort, ...]) -> Iterator[tuple[Sort, ...]]:
    needs = list(dict.fromkeys(sort.need for sort in sorts))
    yield from ((sort,) for sort in sorts)
    for some in (*((need,) for need in needs), *combinations(needs, 2)):
        yield tuple(sort for sort in sorts if sort.need in some)
    yield sorts


def _wants(kit: Kit, rim: float) -> dict[Sort, float]:
    """mm² that a kit takes of each sort of ground, rims of so many mm shared out."""
    wants: dict[Sort, float] = {}
    for wanted in kit.parts:
        part = wanted.part
        seen = sum(region.outline.area for region in part.regions)
        scale = float(grown(part.outline.polygon, rim).area) / seen
        for region in part.regions:
            sort = Sort(region.face, wanted.need)
            wants[sort] = wants.get(sort, 0.0) + region.outline.area * scale
    return wants
