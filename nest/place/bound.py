"""What no plan can beat: the least leather that a set of parts needs on a hide.

Parts don't overlap, so each needs leather of its own; and not any leather: a region of a part
may lie only where flaws don't bar its face and the thickness meets its need. Up to a frontier
h (see :func:`nest.plan.keep_direction`) a hide has so much ground of each sort; the least h
at which every region finds its area is a frontier no plan can better, and the hide's area up
to it is the bound. Shapes are ignored, only areas count, which is why real plans need more.

Three things make it as tight as areas allow, and keep it certain:

* Ground that several sorts of region may use is counted once. The hide falls into atoms, each
  with the set of sorts allowed on it; that areas can be shared out to atoms is a transport
  problem, solved as a linear program (Hall's condition for sorts and atoms: no set of sorts
  may want more than all atoms open to any of them hold).
* Parts grown by half the gap are still disjoint and lie in the ground grown by as much, so
  the rim around each part counts too, on ground of any sort.
* Every approximation goes the generous way: ground is never drawn too small, wants never too
  large, by the checker's tolerances and those of arcs and contours.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linprog
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.flaws import KINDS, bars
from hides.hide import Hide
from hides.outline import FloatArray, grown, polygons_of
from hides.thickness import Need
from hides.units import DM2
from nest.part import Part
from nest.plan import TOLERANCE, keep_direction
from nest.week import Wanted

GENEROUS = 1.8  # mm; ground of enough thickness is grown by this: half the diagonal of the
# 2.5 mm grid on which the checker looks at it, and more than its contour can be off
FRONTIER_STEP = 0.05  # mm; how closely the least frontier is told, from below
Key = TypeVar("Key", bound=Hashable)

_NOTHING = 1e-6  # dm²; a shortage below this is rounding


@dataclass(frozen=True, slots=True)
class Sort:
    """What a region asks of the ground: the face that shows, and the thickness."""

    face: str
    need: Need


@dataclass(frozen=True, slots=True)
class Shortage:
    """Sorts that together want more ground (mm²) than the whole hide has for them."""

    sorts: tuple[Sort, ...]
    wants: float
    has: float

    def __str__(self) -> str:
        faces: dict[Need, list[str]] = {}
        for sort in self.sorts:
            faces.setdefault(sort.need, []).append(sort.face)
        leather = [f"{_words(need)} for {', '.join(names)}" for need, names in faces.items()]
        what = " and ".join(leather) or "all parts with the gap around them"
        return (
            f"{what}: {self.wants / DM2:.1f} dm² wanted, {self.has / DM2:.1f} dm² there, "
            f"{(self.wants - self.has) / DM2:.1f} dm² lacking"
        )


def _words(need: Need) -> str:
    return f"{need.low:g} to {need.high:g} mm" + (" or thicker" if need.may_split else "")


@dataclass(frozen=True, slots=True)
class Bound:
    """The least leather for a set of parts on a hide.

    ``frontier`` in mm along the keep direction and ``used_area`` in mm² are both bounds from
    below. Where ``shortages`` are named the parts can't fit on this hide at all, and the two
    are the whole hide's. ``says`` tells what the bound rests on.
    """

    used_area: float
    frontier: float
    shortages: tuple[Shortage, ...]
    says: str

    @property
    def fits(self) -> bool:
        """Whether the areas alone leave it open that the parts fit."""
        return not self.shortages


SAYS = (
    "Least area up to a straight frontier in which every part finds leather of its own, sound "
    "enough for its faces and thick enough, with half the gap around it; shapes are ignored."
)


def bound(
    wanted: Sequence[Wanted], hide: Hide, *, gap: float, edge_margin: float, keep: str
) -> Bound:
    """Return the least leather that the parts need on a hide, whatever the plan.

    Parameters
    ----------
    wanted : the parts that have to lie on the hide.
    gap, edge_margin : mm, the plan's rules.
    keep : the end to be kept, one of :data:`nest.week.KEEPS`.
    """
    u = keep_direction(keep)
    wants, rims = _wants(wanted, max(gap - TOLERANCE, 0.0) / 2)
    ground = _Ground(hide, tuple(wants), gap / 2, edge_margin, u)
    demand = np.array(list(wants.values())) / DM2
    whole = _Area.of(hide.polygon, u)
    shortages = _shortages(ground, demand, rims / DM2)
    if shortages:
        return Bound(whole.up_to(whole.last), whole.last, shortages, SAYS)
    low, high = whole.first, whole.last
    while high - low > FRONTIER_STEP:
        middle = (low + high) / 2
        if ground.holds(middle, demand, rims / DM2):
            high = middle
        else:
            low = middle
    return Bound(whole.up_to(low), low, (), SAYS)


def used_area(hide: Hide, keep: str) -> Callable[[float], float]:
    """The hide's area in mm² up to a frontier (mm along the keep direction), as a function."""
    return _Area.of(hide.polygon, keep_direction(keep)).up_to


# --- what is wanted --------------------------------------------------------------------------


def _wants(wanted: Sequence[Wanted], rim: float) -> tuple[dict[Sort, float], float]:
    """mm² wanted of each sort, and mm² around the parts that may be of any sort."""
    shares: dict[int, tuple[dict[str, float], float]] = {}
    wants: dict[Sort, float] = {}
    rims = 0.0
    for one in wanted:
        faces, around = shares.setdefault(id(one.part), _shares(one.part, rim))
        rims += around
        for face, area in faces.items():
            sort = Sort(face, one.need)
            wants[sort] = wants.get(sort, 0.0) + area
    return wants, rims


def _shares(part: Part, rim: float) -> tuple[dict[str, float], float]:
    """mm² of a part by face, each spot counted once, and the rest of the part grown by rim."""
    faces: dict[str, float] = {}
    seen: BaseGeometry = Polygon()
    for region in part.regions:
        own = region.outline.polygon.difference(seen).intersection(part.outline.polygon)
        faces[region.face] = faces.get(region.face, 0.0) + float(own.area)
        seen = seen.union(region.outline.polygon)
    return faces, float(part.outline.polygon.buffer(rim).area) - sum(faces.values())


# --- what is there ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Area:
    """Area of a shape up to a frontier, for any frontier: sums over its edges.

    ``s`` and ``t`` are (m, 2): the ends of m edges along and across the keep direction, all
    rings counter-clockwise about the shape. By Green's theorem the area is the sum of
    ``-∫ t ds`` over the edges; the frontier itself has ds = 0 and adds nothing.
    """

    s: FloatArray
    t: FloatArray

    @classmethod
    def of(cls, shape: BaseGeometry, u: tuple[float, float]) -> _Area:
        rings = [
            np.asarray(ring.coords)
            for polygon in polygons_of(shape)
            for oriented in [shapely.orient_polygons(polygon)]
            for ring in (oriented.exterior, *oriented.interiors)
        ]
        turn = np.array([[u[0], -u[1]], [u[1], u[0]]])
        ends = [np.stack([ring[:-1] @ turn, ring[1:] @ turn], axis=1) for ring in rings]
        edges = np.concatenate(ends) if ends else np.empty((0, 2, 2))
        return cls(edges[:, :, 0], edges[:, :, 1])

    @property
    def first(self) -> float:
        return float(self.s.min())

    @property
    def last(self) -> float:
        return float(self.s.max())

    def up_to(self, frontier: float) -> float:
        """Area in mm² of the shape where s <= frontier."""
        s = np.minimum(self.s, frontier)
        length = self.s[:, 1] - self.s[:, 0]
        safe = np.where(length == 0, 1.0, length)
        t = self.t[:, :1] + (self.t[:, 1:] - self.t[:, :1]) * (s - self.s[:, :1]) / safe[:, None]
        return float(-((s[:, 1] - s[:, 0]) * (t[:, 0] + t[:, 1])).sum() / 2)


class _Ground:
    """The hide in atoms, each open to some sorts of region; areas in dm² up to a frontier."""

    def __init__(
        self,
        hide: Hide,
        sorts: tuple[Sort, ...],
        half_gap: float,
        edge_margin: float,
        u: tuple[float, float],
    ) -> None:
        self.sorts = sorts
        self.half_gap = half_gap
        inside = hide.polygon.buffer(TOLERANCE - edge_margin)
        faces, needs = dict.fromkeys(s.face for s in sorts), dict.fromkeys(s.need for s in sorts)
        by_face = {face: _sound(hide, face) for face in faces}
        by_need = {need: grown(hide.thick(need), GENEROUS) for need in needs}
        atoms = [
            (for_faces, for_needs, shapely.intersection(one, other))
            for for_faces, one in _split(inside, by_face)
            for for_needs, other in _split(inside, by_need)
            if for_faces and for_needs
        ]
        self.open = np.array(
            [[s.face in faces and s.need in needs for faces, needs, _ in atoms] for s in sorts],
            dtype=bool,
        ).reshape(len(sorts), len(atoms))
        self.atoms = [_Area.of(shape, u) for _, _, shape in atoms]
        self.around = _Area.of(grown(inside, max(half_gap, TOLERANCE)), u)

    def areas(self, frontier: float) -> FloatArray:
        """dm² of each atom up to the frontier."""
        return np.array([atom.up_to(frontier) for atom in self.atoms]) / DM2

    def holds(self, frontier: float, demand: FloatArray, rims: float) -> bool:
        """Whether areas alone leave it open that everything lies up to the frontier."""
        if demand.sum() + rims > self.room(frontier) + _NOTHING:
            return False
        return self.lacking(frontier, demand)[0] <= _NOTHING

    def room(self, frontier: float) -> float:
        """dm² in which the parts lie with half the gap around them."""
        return self.around.up_to(frontier + self.half_gap) / DM2

    def lacking(self, frontier: float, demand: FloatArray) -> tuple[float, NDArray[np.bool_]]:
        """Least total shortage in dm², and which sorts (n,) bool share in the tightest set.

        Variables are the areas that sorts take from atoms, then one shortage for each sort;
        the dual of a sort's own row is 1 where a further dm² of it would lack in full.
        """
        if not len(demand):
            return 0.0, np.zeros(0, dtype=bool)
        sort, atom = np.nonzero(self.open)
        n, pairs = len(demand), len(sort)
        takes = np.zeros((n, pairs + n))
        takes[sort, np.arange(pairs)] = 1.0
        takes[np.arange(n), pairs + np.arange(n)] = 1.0
        holds = np.zeros((len(self.atoms), pairs + n))
        holds[atom, np.arange(pairs)] = 1.0
        costs = np.concatenate([np.zeros(pairs), np.ones(n)])
        areas = self.areas(frontier)
        solved = linprog(costs, A_ub=holds, b_ub=areas, A_eq=takes, b_eq=demand, method="highs")
        return float(solved.fun or 0.0), np.asarray(solved.eqlin.marginals) > 0.5


def _shortages(ground: _Ground, demand: FloatArray, rims: float) -> tuple[Shortage, ...]:
    """What the whole hide lacks: single sorts, else the tightest set of them, else room."""
    areas = ground.areas(np.inf)
    has = ground.open @ areas
    found = [
        Shortage((sort,), float(want) * DM2, float(there) * DM2)
        for sort, want, there in zip(ground.sorts, demand, has, strict=True)
        if want > there + _NOTHING
    ]
    lack, tight = ground.lacking(np.inf, demand)
    if not found and lack > _NOTHING:
        there = float(areas[ground.open[tight].any(axis=0)].sum())
        sorts = tuple(s for s, is_tight in zip(ground.sorts, tight, strict=True) if is_tight)
        found = [Shortage(sorts, float(demand[tight].sum()) * DM2, there * DM2)]
    room, total = ground.room(np.inf), float(demand.sum()) + rims
    if not found and total > room + _NOTHING:
        found = [Shortage((), total * DM2, room * DM2)]
    return tuple(found)


def _split(
    whole: BaseGeometry, grounds: Mapping[Key, BaseGeometry]
) -> list[tuple[frozenset[Key], BaseGeometry]]:
    """Cut a shape into pieces by which of the grounds they lie in."""
    nowhere: frozenset[Key] = frozenset()
    pieces = [(nowhere, whole)]
    for key, ground in grounds.items():
        cut = [(names | {key}, shape.intersection(ground)) for names, shape in pieces]
        cut += [(names, shape.difference(ground)) for names, shape in pieces]
        pieces = [(names, shape) for names, shape in cut if shape.area > 0]
    return pieces


def _sound(hide: Hide, face: str) -> BaseGeometry:
    """Leather whose flaws don't bar a face; never too small."""
    barred = [
        flaw.shape.buffer(KINDS[flaw.kind].margin - TOLERANCE)
        for flaw in hide.flaws
        if bars(flaw, face)
    ]
    return hide.polygon.buffer(TOLERANCE).difference(shapely.union_all(barred))
