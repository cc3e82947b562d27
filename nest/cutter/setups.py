"""Set-ups: a hide larger than the bed is laid down several times, and no part is cut in two.

:func:`split` gathers the parts in windows as large as the bed, or in those that they were planned
for. Each set-up has two registration marks in reach, or three where there is leather for a third
off their line, clear of all parts: those of the first are put on the hide with a tape, and every
set-up draws the marks by which a later one is laid, so that these lie true to the parts. Where
they come to lie on the bed says how the hide lies (:func:`corrected`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, count

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from hides.outline import FloatArray, turned
from nest.cutter.cover import fewest
from nest.cutter.machine import SHARED, Machine
from nest.errors import CutError
from nest.plans import TOLERANCE, Box, Plan, labels_of, placed_outline

CLEAR = 5.0  # mm that a mark keeps off parts, the leather's edge and the bed's
CROSS = 6.0  # mm, arms of a mark
TRIED_APART = 5.0  # mm between the places tried for a mark
APART = 60.0  # mm between two marks at least: 0.5 mm of misreading turns 600 mm by 5 mm
SKEW = 5.0  # degrees; a hide that lies more askew than this is laid again
WAYS = (0.0, 90.0)  # degrees, the turns of a hide on the bed that are tried
# mm, how far a mark may be from where the others put it: told above the first, refused above the
# second. Common practice, no published source: a stitch hole lies 3 mm and more from the edge.
LOOSE, WRONG = 0.5, 1.5


@dataclass(frozen=True, slots=True)
class Move:
    """From the hide's frame to the bed's: turned by ``angle`` degrees, then shifted, mm."""

    angle: float
    x: float
    y: float

    def on(self, points: ArrayLike) -> FloatArray:
        """Where (n, 2) points of the hide lie on the bed."""
        pairs = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return turned(pairs, self.angle, self.x, self.y)

    def back(self, points: ArrayLike) -> FloatArray:
        """Which (n, 2) points of the hide lie there on the bed."""
        pairs = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return turned(pairs - (self.x, self.y), -self.angle)


@dataclass(frozen=True, slots=True)
class RegistrationMark:
    """A mark on the hide, mm in its frame: ``x`` from the tail along the backbone."""

    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Setup:
    """One laying of the hide on the bed.

    Attributes
    ----------
    number : from 1, in the order they are cut.
    parts : ids of the placements that are cut.
    to_bed : from the hide's frame to the bed's.
    marks : two or three marks by which the hide is laid.
    draws : marks that this set-up draws on the hide, for later ones.
    off : mm, how far each mark was found from where it should be after :func:`corrected`.
    """

    number: int
    parts: tuple[str, ...]
    to_bed: Move
    marks: tuple[RegistrationMark, ...]
    draws: tuple[RegistrationMark, ...] = ()
    off: tuple[float, ...] = ()

    @property
    def fits(self) -> str:
        """How well the marks that were found fit, in words; "" where none were."""
        each = ", ".join(
            f"{m.name} {off:.2f}" for m, off in zip(self.marks, self.off, strict=False)
        )
        return f"within {max(self.off):.2f} mm ({each})" if self.off else ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind where they fit badly."""
        if max(self.off, default=0.0) <= LOOSE:
            return ()
        return (
            f"The marks of set-up {self.number} fit {self.fits} only, and cuts may lie as far "
            f"off. Read them again; above {WRONG:g} mm they are refused.",
        )


def places(marks: Sequence[RegistrationMark]) -> FloatArray:
    """Marks as (n, 2) mm in the hide's frame."""
    return np.array([(mark.x, mark.y) for mark in marks], dtype=np.float64).reshape(-1, 2)


def split(plan: Plan, machine: Machine, leather: BaseGeometry | None = None) -> tuple[Setup, ...]:
    """Part a plan into set-ups: its own windows, one for each, where it has any and they fit.

    Else few, with the bed's length either way round: by a sweep along the bed, or the fewest
    windows there are if those are fewer and their set-ups have leather for common marks.

    ``leather`` (mm, hide frame) is what marks must lie on; what the parts span unless given.

    Raises
    ------
    CutError : a part that the bed has no room for, no part at all, or no place for two marks.
    """
    shapes = {p.id: placed_outline(plan, p).polygon for p in plan.placements}
    if not shapes:
        raise CutError("the plan places no part, so there is nothing to cut.")
    boxes = {
        angle: dict(zip(shapes, _turned(shapes.values(), angle), strict=True)) for angle in WAYS
    }
    tried = [
        (angle, _swept(around, machine.room, shared))
        for shared in (0.0, SHARED)
        for angle, around in boxes.items()
    ]
    few = min((len(groups) for _, groups in tried if groups), default=0)
    if few > 1:
        tried += [(angle, fewest(around, machine.room)) for angle, around in boxes.items()]
    fitting = sorted((one for one in tried if one[1]), key=lambda one: len(one[1]))
    if not fitting:
        raise _too_large(plan, shapes, machine)
    gathered = [(groups, _moves(groups, boxes[a], machine, a)) for a, groups in fitting]
    free = _bare(list(shapes.values()), leather)
    for groups, moves in (*_planned(plan, shapes, machine), *gathered):
        setups = _with_marks(groups, moves, machine, free)
        if setups is not None:
            return setups
    raise CutError(
        "the set-ups have no bare leather in common for two registration marks.",
        mend="Use a larger bed, or plan with a larger gap.",
    )


def corrected(setup: Setup, found: ArrayLike) -> Setup:
    """The same set-up for a hide that came to lie a little otherwise.

    The turn and shift that bring the marks nearest to where they were found, by least squares
    (the plane case of Kabsch 1976, Acta Cryst. A32, 922; Umeyama 1991, IEEE PAMI 13, 376,
    without scale). What is left of each mark is kept in ``off``.

    Parameters
    ----------
    found : (n, 2) mm, where ``setup.marks`` lie on the bed, in their order.

    Raises
    ------
    CutError : not one place for each mark, one that is more than :data:`WRONG` mm off when all
        are brought together, or the hide lies more than :data:`SKEW` askew.
    """
    home, there = places(setup.marks), np.asarray(found, dtype=np.float64).reshape(-1, 2)
    if len(there) != len(home):
        raise CutError(
            f"set-up {setup.number} has {len(home)} marks; places given: {len(there)}.",
            mend=f"Give one for each, in the order {', '.join(m.name for m in setup.marks)}.",
        )
    a, b = home - home.mean(axis=0), there - there.mean(axis=0)
    cross = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    angle = math.degrees(math.atan2(cross, float((a * b).sum())))
    left = np.hypot(*(turned(a, angle) - b).T)
    if left.max() > WRONG:
        raise _misread(setup, home, there, left)
    skew = (angle - setup.to_bed.angle + 180.0) % 360.0 - 180.0
    if abs(skew) > SKEW:
        what = f"the hide lies {skew:.1f}° askew in set-up {setup.number}; {SKEW:g}° is the most."
        raise CutError(what, mend="Lay it again by its marks. Are they given in their order?")
    x, y = there.mean(axis=0) - turned(home.mean(axis=0)[None], angle)[0]
    return replace(setup, to_bed=Move(angle, float(x), float(y)), off=tuple(left.tolist()))


def _misread(setup: Setup, home: FloatArray, there: FloatArray, left: FloatArray) -> CutError:
    """Says the two marks whose distance differs most: one of them was misread."""
    pairs = list(combinations(range(len(home)), 2))
    wanted, met = (
        np.array([math.dist(spots[i], spots[k]) for i, k in pairs]) for spots in (home, there)
    )
    worst = int(np.argmax(np.abs(met - wanted)))
    one, other = (setup.marks[i].name for i in pairs[worst])
    names = ", ".join(mark.name for mark in setup.marks)
    return CutError(
        f"the marks found in set-up {setup.number} do not fit: one is {left.max():.1f} mm off, "
        f"{WRONG:g} mm is the most. {one} and {other} are {wanted[worst]:.1f} mm apart, and the "
        f"places given {met[worst]:.1f} mm.",
        mend=f"Read them again, in the order {names}; or the hide has stretched, and needs a new "
        "record.",
    )


# --- windows ---------------------------------------------------------------------------------


def _planned(
    plan: Plan, shapes: Mapping[str, Polygon], machine: Machine
) -> Iterator[tuple[list[tuple[str, ...]], list[Move]]]:
    """Parts and moves by the windows of the plan, each in the middle of the bed, where it fits.

    Nothing where the plan has none, or was made for a larger bed.
    """
    held: dict[tuple[str, ...], Polygon] = {}
    for window in plan.bed_windows:
        around = box(*window).buffer(2 * TOLERANCE, join_style="mitre")
        names = tuple(name for name, shape in shapes.items() if around.contains(shape))
        held |= {names: box(*window)} if names else {}
    if sorted(name for names in held for name in names) != sorted(shapes):
        return
    width, depth = machine.room
    for angle in WAYS:
        boxes = _turned(held.values(), angle)
        if all(x1 - x0 <= width and y1 - y0 <= depth for x0, y0, x1, y1 in boxes):
            yield (
                list(held),
                [
                    Move(angle, (machine.bed[0] - x0 - x1) / 2, (machine.bed[1] - y0 - y1) / 2)
                    for x0, y0, x1, y1 in boxes
                ],
            )


def _turned(shapes: Iterable[Polygon], angle: float) -> list[Box]:
    """The boxes of shapes with the hide turned by ``angle`` degrees about its origin."""
    return [shapely.transform(shape, partial(turned, angle=angle)).bounds for shape in shapes]


def _swept(
    boxes: Mapping[str, Box], room: tuple[float, float], shared: float
) -> list[tuple[str, ...]]:
    """The parts in each of few windows; none where a part is too large.

    From the left: the window begins at the leftmost part that is left and takes what lies wholly
    in it, from the lowest part up. ``shared`` mm of the room are kept for common marks.
    """
    left = dict(boxes)
    found: list[tuple[str, ...]] = []
    whole = _around(boxes.values())
    if whole[2] - whole[0] <= room[0] and whole[3] - whole[1] <= room[1]:
        return [tuple(boxes)]
    while left:
        first = min(left, key=lambda name: (left[name][0], left[name][1]))
        right = _limit(left[first], room[0] - shared, room[0], axis=0)
        beside = {name: b for name, b in left.items() if b[2] <= right}
        if not beside:
            return []
        lowest = min(beside, key=lambda name: beside[name][1])
        top = _limit(beside[lowest], room[1] - shared, room[1], axis=1)
        taken = {name: b for name, b in beside.items() if b[3] <= top}
        if not taken:
            return []
        found.append(tuple(taken))
        left = {name: b for name, b in left.items() if name not in taken}
    return found


def _limit(first: Box, wish: float, room: float, axis: int) -> float:
    """How far a window that begins at a part takes parts: as wished, or as that part needs."""
    size = first[axis + 2] - first[axis]
    return first[axis] + (max(wish, size) if size <= room else -1.0)


def _moves(
    groups: Sequence[tuple[str, ...]], boxes: Mapping[str, Box], machine: Machine, angle: float
) -> list[Move]:
    """The moves of windows round groups, each of which shares most with one of those before."""
    room = np.array(machine.room)
    corners: list[FloatArray] = []
    for names in groups:
        x0, y0, x1, y1 = _around(boxes[name] for name in names)
        low, high = np.array([x1, y1]) - room, np.array([x0, y0])
        tried = [np.clip(old, low, high) for old in corners] or [high]
        shared = [
            float(np.prod(np.maximum(room - np.abs(new - old), 0.0)))
            for new, old in zip(tried, corners or [high], strict=True)
        ]
        corners.append(tried[int(np.argmax(shared))])
    return [
        Move(angle, machine.spare - x, machine.spare - y) for x, y in np.array(corners).tolist()
    ]


def _around(boxes: Iterable[Box]) -> Box:
    """The box around boxes."""
    left, low, right, high = zip(*boxes, strict=True)
    return min(left), min(low), max(right), max(high)


def _too_large(plan: Plan, shapes: Mapping[str, Polygon], machine: Machine) -> CutError:
    room = sorted(machine.room)
    for name, wanted in labels_of(plan).items():
        if wanted.id not in shapes:
            continue
        shape = shapes[wanted.id]
        x0, y0, x1, y1 = shape.bounds
        size = sorted((x1 - x0, y1 - y0))
        if size[0] > room[0] or size[1] > room[1]:
            return CutError(
                f"{name} ({wanted.id}) takes {size[1]:.0f} × {size[0]:.0f} mm as it lies on the "
                f"hide, and a bed of {machine.bed[0]:g} × {machine.bed[1]:g} mm has room for "
                f"{room[1]:.0f} × {room[0]:.0f} mm; no part is cut in two.",
                mend="Cut it on a larger machine, or by hand with --paper.",
            )
    return CutError("the parts do not lie on the bed, either way round.", mend="Use a larger one.")


# --- marks -----------------------------------------------------------------------------------


def _bare(shapes: Sequence[Polygon], leather: BaseGeometry | None) -> list[BaseGeometry]:
    """Where marks may be: in the waste among the parts, or else anywhere clear of them."""
    parts = shapely.union_all(list(shapes))
    among = parts.convex_hull.buffer(2 * CLEAR)
    lies = among if leather is None else leather
    bare = lies.buffer(-CLEAR).difference(parts.buffer(CLEAR))
    return [bare.intersection(among), bare]


def _with_marks(
    groups: Sequence[tuple[str, ...]],
    moves: Sequence[Move],
    machine: Machine,
    free: Sequence[BaseGeometry],
) -> tuple[Setup, ...] | None:
    """The set-ups; None if one of them shares no two places with any before it."""
    # a blade's pivot goes ahead of its tip, round a cross too
    margin = max(CLEAR, CROSS / 2 + machine.offset + 1.0)
    bed = box(0.0, 0.0, *machine.bed).buffer(-margin)
    seen = [shapely.transform(bed, move.back) for move in moves]
    setups: list[Setup] = []
    numbers = count(1)
    for n, (parts, move) in enumerate(zip(groups, moves, strict=True)):
        found = _tied(seen, n, free)
        if found is None:
            return None
        by, spots = found
        marks = tuple(RegistrationMark(f"M{next(numbers)}", x, y) for x, y in spots.tolist())
        setups.append(Setup(n + 1, parts, move, marks))
        if n:
            setups[by] = replace(setups[by], draws=(*setups[by].draws, *marks))
    return tuple(setups)


def _tied(
    seen: Sequence[Polygon], n: int, free: Sequence[BaseGeometry]
) -> tuple[int, FloatArray] | None:
    """The set-up that the n-th is tied to (the first to itself), and the places of its marks."""
    others = sorted(range(n), key=lambda k: -seen[k].intersection(seen[n]).area) or [n]
    for leather in free:
        for k in others:
            spots = _spots(seen[k].intersection(seen[n]).intersection(leather))
            if spots is not None:
                return k, spots
    return None


def _spots(free: BaseGeometry) -> FloatArray | None:
    """Two places in ``free`` as far apart as a grid has them, whole mm; None if too near.

    And a third, as far off their line, where that is not too near: it shows which was misread.
    """
    if free.is_empty:
        return None
    x0, y0, x1, y1 = free.bounds
    across, up = (np.arange(np.ceil(a), b, TRIED_APART) for a, b in ((x0, x1), (y0, y1)))
    points = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    points = points[shapely.contains_xy(free, points)]
    if len(points) < 2:
        return None
    ways = np.deg2rad(np.arange(0.0, 180.0, 5.0))
    along = points @ np.array([np.cos(ways), np.sin(ways)])
    best = int(np.argmax(np.ptp(along, axis=0)))
    ends = points[[int(np.argmin(along[:, best])), int(np.argmax(along[:, best]))]]
    along, length = ends[1] - ends[0], math.dist(*ends)
    if length < APART:
        return None
    off = np.abs((points - ends[0]) @ np.array([-along[1], along[0]])) / length
    third = points[int(np.argmax(off))]
    return np.vstack([ends, third]) if off.max() >= APART else ends
