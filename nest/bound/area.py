"""Leather by area: what regions want, what a hide has for them up to a frontier.

The hide falls into *atoms*, each with the set of sorts of region allowed on it. That areas can
be shared out to atoms is a transport problem, solved as a linear program (Hall's condition for
sorts and atoms: no set of sorts may want more than all atoms open to any of them hold). Every
approximation goes the generous way: ground is never drawn too small, by the checker's
tolerances and those of arcs and contours.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linprog
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.flaws import FLAW_KINDS, bars
from hides.hide import Hide
from hides.outline import FloatArray, grown, polygons_of
from hides.thickness import Need
from hides.units import DM2
from nest.part import Region
from nest.plans import TOLERANCE, Box, keep_direction

GENEROUS = 1.8  # mm; ground of enough thickness is grown by this: half the diagonal of the
# 2.5 mm grid on which the checker looks at it, and more than its contour can be off
Key = TypeVar("Key", bound=Hashable)

LAX = 0.002  # of the risk; more than the chance is off between the nodes of its grid, where its
# contour may be off by more than GENEROUS: near saddles and tops

_NOTHING = 1e-6  # dm²; a shortage below this is rounding


class Sort(NamedTuple):
    """What a region asks of the ground: the face that shows, and the thickness."""

    face: str
    need: Need


@dataclass(frozen=True, slots=True)
class Shortage:
    """More ground (mm²) is wanted than the whole hide has; ``what`` wants it, ``has`` is where.

    ``sorts`` are those that together want too much, where it is sorts that do.
    """

    what: str
    wants: float
    has: float
    where: str = "there"
    sorts: tuple[Sort, ...] = ()

    @classmethod
    def of(cls, sorts: Sequence[Sort], wants: float, has: float) -> Shortage:
        """Of some sorts, or of room for all parts where there are none; areas in dm²."""
        faces: dict[Need, list[str]] = {}
        for sort in sorts:
            faces.setdefault(sort.need, []).append(sort.face)
        leather = [f"{need} for {', '.join(names)}" for need, names in faces.items()]
        what = " and ".join(leather) or "all parts with the gap around them"
        return cls(what, wants * DM2, has * DM2, sorts=tuple(sorts))

    def __str__(self) -> str:
        return (
            f"{self.what}: {self.wants / DM2:.1f} dm² wanted, {self.has / DM2:.1f} dm² "
            f"{self.where}, {(self.wants - self.has) / DM2:.1f} dm² lacking"
        )


def faces_apart(regions: Iterable[Region], within: BaseGeometry) -> dict[str, float]:
    """mm² of a part by face, each spot within a shape counted once."""
    faces: dict[str, float] = {}
    seen: BaseGeometry = Polygon()
    for region in regions:
        own = region.outline.polygon.difference(seen).intersection(within)
        faces[region.face] = faces.get(region.face, 0.0) + float(own.area)
        seen = seen.union(region.outline.polygon)
    return faces


def edges_of(shape: BaseGeometry, u: tuple[float, float]) -> FloatArray:
    """(m, 2, 2) mm: the two ends of all edges, along and across the direction ``u``.

    All rings run counter-clockwise about the shape.
    """
    rings = [
        np.asarray(ring.coords)
        for polygon in polygons_of(shape)
        for oriented in [shapely.orient_polygons(polygon)]
        for ring in (oriented.exterior, *oriented.interiors)
    ]
    turn = np.array([[u[0], -u[1]], [u[1], u[0]]])
    ends = [np.stack([ring[:-1] @ turn, ring[1:] @ turn], axis=1) for ring in rings]
    return np.concatenate(ends) if ends else np.empty((0, 2, 2))


class Leather:
    """A hide by the checker's rules, drawn generously: what lies inside, is sound, is thick.

    ``u`` is the keep direction, ``inside`` where parts may lie by the edge alone (``edge_margin``
    in mm), ``windows`` those of a cutter's bed, in one of which each part lies, ``gone`` what no
    part may lie on (hide frame).
    """

    def __init__(
        self,
        hide: Hide,
        edge_margin: float,
        keep: str,
        windows: tuple[Box, ...] = (),
        gone: BaseGeometry | None = None,
    ) -> None:
        self.hide = hide
        self.windows = windows
        self.u = keep_direction(keep)
        inside = hide.polygon.buffer(TOLERANCE - edge_margin)
        self.inside = inside if gone is None else inside.difference(gone)
        self.sound, self.thick = cache(self._sound), cache(self._thick)

    def _sound(self, face: str) -> BaseGeometry:
        """Leather whose flaws don't bar a face."""
        barred = [
            flaw.shape.buffer(FLAW_KINDS[flaw.kind].margin - TOLERANCE)
            for flaw in self.hide.flaws
            if bars(flaw, face)
        ]
        return self.hide.polygon.buffer(TOLERANCE).difference(shapely.union_all(barred))

    def _thick(self, need: Need) -> BaseGeometry:
        """Leather whose thickness meets a need."""
        lax = replace(need, risk=min(need.risk + LAX, 0.9999))
        return grown(self.hide.thick(lax), GENEROUS)


def area_up_to(shape: BaseGeometry, u: tuple[float, float]) -> Callable[[float], float]:
    """The area in mm² of a shape up to a frontier (mm along ``u``), as a function of it.

    By Green's theorem the area is the sum of ``-∫ t ds`` over the edges, s along ``u`` and t
    across it, all rings counter-clockwise; the frontier itself has ds = 0 and adds nothing.
    """
    edges = edges_of(shape, u)
    start, across = edges[:, :1, 0], edges[:, :, 1]
    length = edges[:, 1:, 0] - start
    safe = np.where(length == 0, 1.0, length)

    def area(frontier: float) -> float:
        s = np.minimum(edges[:, :, 0], frontier)
        t = across[:, :1] + (across[:, 1:] - across[:, :1]) * (s - start) / safe
        return float(-((s[:, 1] - s[:, 0]) * (t[:, 0] + t[:, 1])).sum() / 2)

    return area


class Ground:
    """The hide in atoms, each open to some sorts of region; areas in dm² up to a frontier."""

    def __init__(self, leather: Leather, sorts: tuple[Sort, ...], half_gap: float) -> None:
        self.sorts = sorts
        self.half_gap = half_gap
        faces, needs = dict.fromkeys(s.face for s in sorts), dict.fromkeys(s.need for s in sorts)
        by_face = {face: leather.sound(face) for face in faces}
        by_need = {need: leather.thick(need) for need in needs}
        found = [
            (for_faces, for_needs, shapely.intersection(one, other))
            for for_faces, one in _split(leather.inside, by_face)
            for for_needs, other in _split(leather.inside, by_need)
            if for_faces and for_needs
        ]
        self.open = np.array(
            [[s.face in faces and s.need in needs for faces, needs, _ in found] for s in sorts],
            dtype=bool,
        ).reshape(len(sorts), len(found))
        self.atoms = [area_up_to(shape, leather.u) for _, _, shape in found]
        whole = grown(leather.inside, max(half_gap, TOLERANCE))
        self.around = area_up_to(whole, leather.u)

    def areas(self, frontier: float) -> FloatArray:
        """dm² of each atom up to the frontier."""
        return np.array([atom(frontier) for atom in self.atoms]) / DM2

    def holds(self, frontier: float, demand: FloatArray, rims: float) -> bool:
        """Whether areas alone leave it open that everything lies up to the frontier."""
        if demand.sum() + rims > self.room(frontier) + _NOTHING:
            return False
        return self.lacking(frontier, demand)[0] <= _NOTHING

    def room(self, frontier: float) -> float:
        """dm² in which the parts lie with half the gap around them."""
        return self.around(frontier + self.half_gap) / DM2

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


def shortages(ground: Ground, demand: FloatArray, rims: float) -> tuple[Shortage, ...]:
    """What the whole hide lacks: single sorts, else the tightest set of them, else room (dm²)."""
    areas = ground.areas(np.inf)
    has = ground.open @ areas
    found = [
        Shortage.of((sort,), float(want), float(there))
        for sort, want, there in zip(ground.sorts, demand, has, strict=True)
        if want > there + _NOTHING
    ]
    lack, tight = ground.lacking(np.inf, demand)
    if not found and lack > _NOTHING:
        there = float(areas[ground.open[tight].any(axis=0)].sum())
        sorts = [s for s, is_tight in zip(ground.sorts, tight, strict=True) if is_tight]
        found = [Shortage.of(sorts, float(demand[tight].sum()), there)]
    room, total = ground.room(np.inf), float(demand.sum()) + rims
    if not found and total > room + _NOTHING:
        found = [Shortage.of((), total, room)]
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
