"""The bound itself: three arguments, and the strongest one counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache, partial
from math import inf

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.thickness import Need
from hides.units import DM2
from nest.bound.alone import Kind, Places
from nest.bound.area import (
    Ground,
    Leather,
    Shortage,
    Sort,
    area_up_to,
    edges_of,
    faces_apart,
    shortages,
)
from nest.job import Wanted
from nest.plans import TOLERANCE, Box, keep_direction

FRONTIER_STEP = 0.05  # mm; how closely the argument of area tells the frontier, from below
REACH_STEP = 4.0  # mm; the same for the argument of reach
LARGE = 6000.0  # mm²; smaller parts find room nearly everywhere on their ground
MOST_HIDES = 6  # whose grids are kept for the next question; 10 to 30 MB each

BY_AREA = "nearer, the areas of the parts find too little ground."


@dataclass(frozen=True, slots=True)
class NoPlace:
    """A part that lies nowhere on the whole hide, even alone; ``part`` is its id."""

    part: str

    def __str__(self) -> str:
        return f"{self.part} finds no place on this hide, even alone"


@dataclass(frozen=True, slots=True)
class Bound:
    """The least leather for a set of parts on a hide.

    ``frontier`` in mm along the keep direction and ``used_area`` in mm² are both bounds from
    below. Where ``shortages`` are named the parts can't fit on this hide at all, and the two
    are the whole hide's. ``because`` is the argument that decided, as half a sentence.
    """

    used_area: float
    frontier: float
    shortages: tuple[Shortage | NoPlace, ...]
    because: str

    @property
    def fits(self) -> bool:
        """Whether it is left open that the parts fit."""
        return not self.shortages


def bound(
    wanted: Sequence[Wanted],
    hide: Hide,
    *,
    gap: float,
    edge_margin: float,
    keep: str,
    windows: tuple[Box, ...] = (),
    cut: Sequence[Polygon] = (),
) -> Bound:
    """Return the least leather that the parts need on a hide, whatever the plan.

    Parameters
    ----------
    wanted : the parts that have to lie on the hide.
    gap, edge_margin : mm, the plan's rules.
    keep : the end to be kept, one of :data:`nest.job.KEEPS`.
    windows : those of a cutter's bed, if no part may cross from one to another.
    cut : where parts lay that are cut already, mm: the others keep the gap to them, and what they
        took is used.
    """
    kinds = Counter(Kind.of(one) for one in wanted)
    gone = shapely.union_all([shape.buffer(gap - TOLERANCE) for shape in cut]) if cut else None
    known = _on(hide, edge_margin, keep, windows, gone)
    least = known.bound(kinds, gap)
    reached = max((edges_of(shape, known.leather.u)[:, :, 0].max() for shape in cut), default=-inf)
    if least.shortages or reached <= least.frontier:
        return least
    return Bound(known.used(reached), float(reached), (), "parts that are cut already lay there.")


def used_area(hide: Hide, keep: str) -> Callable[[float], float]:
    """The hide's area in mm² up to a frontier (mm along the keep direction), as a function."""
    return area_up_to(hide.polygon, keep_direction(keep))


@lru_cache(MOST_HIDES)
def _on(
    hide: Hide, edge_margin: float, keep: str, windows: tuple[Box, ...], gone: BaseGeometry | None
) -> _Known:
    return _Known(Leather(hide, edge_margin, keep, windows, gone))


class _Known:
    """What is known of one hide by one margin and direction, kept for further questions."""

    def __init__(self, leather: Leather) -> None:
        self.leather = leather
        self.used = area_up_to(leather.hide.polygon, leather.u)
        along = edges_of(leather.hide.polygon, leather.u)[:, :, 0]
        self.first, self.last = float(along.min()), float(along.max())
        self._ground = cache(partial(Ground, leather))
        self._bounds: dict[object, Bound] = {}

    @cached_property
    def places(self) -> Places:
        return Places(self.leather)

    def bound(self, kinds: Mapping[Kind, int], gap: float) -> Bound:
        """The bound for so many parts of each kind."""
        key = (frozenset((kind, kind.name, n) for kind, n in kinds.items()), gap)
        if key not in self._bounds:
            frontier, because, lacking = self._least(kinds, gap)
            area = self.used(frontier)
            self._bounds[key] = Bound(area, frontier, lacking, because)
        return self._bounds[key]

    def _least(
        self, kinds: Mapping[Kind, int], gap: float
    ) -> tuple[float, str, tuple[Shortage | NoPlace, ...]]:
        """The least frontier, why, and what lacks even at the whole hide's end."""
        lacking, frontier = self._by_area(kinds, gap)
        if lacking:
            return self.last, "the parts' areas don't fit on the whole hide.", lacking
        because = BY_AREA
        for kind in sorted(kinds, key=lambda kind: -kind.outline.area):
            reached = self.places.least(kind, frontier)
            if np.isinf(reached):
                says = "not every part has a place on the whole hide."
                return self.last, says, (NoPlace(kind.name),)
            if reached > frontier:
                frontier, because = reached, f"{kind.name} can lie no nearer, even alone."
        for group, wants in _groups(kinds):
            reached, has = self._by_reach(group, wants, frontier)
            if np.isinf(reached):
                says = "not all parts have room on the whole hide."
                short = Shortage(_names(group), wants, has, "within their reach")
                return self.last, says, (short,)
            if reached > frontier:
                frontier = reached
                because = f"nearer, {_names(group)} reach too little ground for all of them."
        return frontier, because, ()

    def _by_area(self, kinds: Mapping[Kind, int], gap: float) -> tuple[tuple[Shortage, ...], float]:
        """What the whole hide lacks by area, and the least frontier by area."""
        wants, rims = _wants(kinds, (gap - TOLERANCE) / 2)
        ground = self._ground(tuple(wants), gap / 2)
        demand = np.array(list(wants.values())) / DM2
        lacking = shortages(ground, demand, rims / DM2)
        if lacking:
            return lacking, self.last

        def holds(frontier: float) -> bool:
            return ground.holds(frontier, demand, rims / DM2)

        return (), _last_false(holds, self.first, self.last, FRONTIER_STEP)

    def _by_reach(
        self, kinds: Sequence[Kind], wants: float, frontier: float
    ) -> tuple[float, float]:
        """The least frontier by reach, not below the one given, or inf; and mm² within reach."""

        def room(frontier: float) -> float:
            return self.places.room(kinds, frontier, wants)

        if room(frontier) >= wants:
            return frontier, wants
        has = room(self.last)
        if has < wants:
            return np.inf, has
        step, high = 8 * REACH_STEP, frontier + 8 * REACH_STEP
        while room(high) < wants:  # the answer is near, more often than not
            frontier, step = high, 2 * step
            high = min(high + step, self.last)
        return _last_false(lambda h: room(h) >= wants, frontier, high, REACH_STEP), wants


def _last_false(holds: Callable[[float], bool], low: float, high: float, step: float) -> float:
    """Where a test that holds from somewhere on still doesn't, at most a step before."""
    while high - low > step:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return low


def _groups(kinds: Mapping[Kind, int]) -> Iterator[tuple[list[Kind], float]]:
    """Large parts that may lack room: of one kind, and all that need the same thickness; mm²."""
    large = [kind for kind in kinds if kind.outline.area > LARGE]
    needs: dict[Need, list[Kind]] = {}
    for kind in large:
        needs.setdefault(kind.need, []).append(kind)
    alike = [group for group in needs.values() if len(group) > 1]
    for group in [*([kind] for kind in large if kinds[kind] > 1), *alike]:
        yield group, sum(kinds[kind] * kind.shrunk_area for kind in group)


def _names(kinds: Sequence[Kind]) -> str:
    like = "its like" if len(kinds) == 1 else "their like"
    return ", ".join(kind.name for kind in kinds) + f" and {like}"


def _wants(kinds: Mapping[Kind, int], rim: float) -> tuple[dict[Sort, float], float]:
    """mm² wanted of each sort, and mm² around the parts that may be of any sort."""
    wants: dict[Sort, float] = {}
    rims = 0.0
    for kind, count in kinds.items():
        body = kind.outline.polygon if rim >= 0 else kind.outline.polygon.buffer(rim)
        faces = faces_apart(kind.regions, body)
        for face, area in faces.items():
            sort = Sort(face, kind.need)
            wants[sort] = wants.get(sort, 0.0) + count * area
        rims += count * (body.buffer(max(rim, 0.0)).area - sum(faces.values()))
    return wants, rims
