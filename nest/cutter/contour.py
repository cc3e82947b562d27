"""Contour: one line that a cut piece should show, before any tool is thought of.

:func:`contours` gathers those of a whole plan in the hide's frame. What a tool must do to leave
them (kerf, blade, order) comes later.

>>> hole = circle((10.0, 5.0), 2.0, "hunter-1/body")
>>> round(hole.length, 4), round(hole.area, 4)  # clockwise, so its area counts as lost
(6.2832, -3.1416)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import LineString, Point, Polygon

from hides.outline import FloatArray, polygons_of, turned
from nest.cutter.machine import Machine
from nest.cutter.polyline import FINE, Polyline
from nest.errors import CutError
from nest.part import Mark, Part
from nest.plans import Plan, labels_of, placed_outline

WORKS = ("mark", "hole", "cut")
QUARTER = math.tan(math.pi / 8)  # bulge of a quarter circle
BESIDE = 0.5  # mm; marks stay so far off their part's outline
LETTERS = 4.0  # mm; height of a part's name, less where it would leave the part
WIDE = 0.8  # of its height; what a letter may take
AROUND = 4.0  # times the half width of a part, looked at round its name


@dataclass(frozen=True, eq=False)
class Contour(Polyline):
    """One line of the pattern.

    Outlines run counter-clockwise, holes clockwise, so that waste is on the right.

    Attributes
    ----------
    inside : its waste lies inside it: a hole.
    """

    inside: bool = False


@dataclass(frozen=True, slots=True)
class Label:
    """A part's name, for a layer that is not cut: its middle and height in mm, and degrees."""

    x: float
    y: float
    angle: float
    text: str
    height: float


def circle(
    centre: ArrayLike, diameter: float, part: str, work: str = "hole", what: str = "stitch"
) -> Contour:
    """A round hole: four quarter arcs, clockwise, its waste inside; middle and diameter in mm."""
    quarters = diameter / 2 * np.array([[1.0, 0.0], [0.0, -1.0], [-1.0, 0.0], [0.0, 1.0]])
    points = np.asarray(centre, dtype=np.float64) + quarters
    return Contour(points, True, work, part, np.full(4, -QUARTER), what, inside=True)


def cross(centre: FloatArray, size: float) -> FloatArray:
    """The two arms of a cross, (2, 2, 2) mm, each ``size`` mm long."""
    arms = size / 2 * np.array([[[-1.0, 0.0], [1.0, 0.0]], [[0.0, -1.0], [0.0, 1.0]]])
    return np.asarray(centre + arms)


def moved(contour: Contour, angle: float, x: float, y: float) -> Contour:
    """The contour turned by ``angle`` degrees about (0, 0), then shifted by (x, y) mm."""
    return replace(contour, points=turned(contour.points, angle, x, y))


def backwards(contour: Contour) -> Contour:
    """The same line the other way round; a closed one keeps its first point."""
    turn = -1 if contour.closed else 0
    points = np.roll(contour.points[::-1], -turn, axis=0)
    if contour.bulges is None:
        return replace(contour, points=points)
    bulges = -contour.bulges[::-1] if contour.closed else -np.roll(contour.bulges[::-1], -1)
    return replace(contour, points=points, bulges=bulges)


def begun(contour: Contour, point: FloatArray) -> Contour:
    """A closed contour that begins at a point (2,) mm on it, put in where no corner is near."""
    points, bulges = contour.points, contour.bulges
    gaps = np.hypot(*(points - point).T)
    first = int(np.argmin(gaps))
    if gaps[first] > FINE:
        ends = np.roll(points, -1, axis=0)
        along = ends - points
        t = ((point - points) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-30)
        off = np.hypot(*(points + np.clip(t, 0, 1)[:, None] * along - point).T)
        if bulges is not None:
            off = np.where(bulges == 0, off, np.inf)
        first = int(np.argmin(off)) + 1
        points = np.insert(points, first, point, axis=0)
        bulges = None if bulges is None else np.insert(bulges, first, 0.0)
    rolled = None if bulges is None else np.roll(bulges, -first)
    return replace(contour, points=np.roll(points, -first, axis=0), bulges=rolled)


def contours(plan: Plan, machine: Machine) -> tuple[Contour, ...]:
    """All that ``machine`` draws of a plan, in the hide's frame, part after part.

    Of each part come its marks (those the profile asks for), then its holes (as circles, as
    crosses that are marked to punch on, or left out, as the profile says), then its outline.

    Raises
    ------
    PlanError : a placement that the plan doesn't define.
    CutError : the plan places nothing.
    """
    if not plan.placements:
        raise CutError("the plan places no part, so there is nothing to cut.")
    found: list[Contour] = []
    for placement in plan.placements:
        outline = placed_outline(plan, placement)
        home = of_part(plan.by_id[placement.id].part, placement.id, machine)
        found += [moved(c, placement.angle, placement.x, placement.y) for c in home]
        found.append(Contour(outline.points, True, "cut", placement.id, what="outline"))
    return tuple(found)


def of_part(part: Part, name: str, machine: Machine) -> tuple[Contour, ...]:
    """A part's marks and holes in its own frame, without its outline; ``name`` is its id."""
    marks = [c for mark in part.marks for c in _lines(part, mark, name, machine)]
    holes = [c for mark in part.marks for c in _holes(mark, name, machine)]
    return (*marks, *holes)


def labels(plan: Plan) -> dict[str, Label]:
    """The parts' names as the plan's pages have them ("A1"), by their ids.

    Each stands where its part is widest and along it, on a layer that is not cut.
    """
    names = {wanted.id: name for name, wanted in labels_of(plan).items()}
    return {
        one.id: _label(placed_outline(plan, one).polygon, names[one.id]) for one in plan.placements
    }


def _label(shape: Polygon, text: str) -> Label:
    spoke = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
    middle, radius = Point(spoke.coords[0]), spoke.length
    pieces = polygons_of(shape.intersection(middle.buffer(AROUND * radius)))
    about = next(piece for piece in pieces if piece.intersects(middle))
    corners = shapely.get_coordinates(about.minimum_rotated_rectangle)
    along = max(np.diff(corners[:3], axis=0).tolist(), key=lambda side: math.hypot(*side))
    room = math.hypot(*along) / (WIDE * len(text))
    height = min(LETTERS, radius, room)
    return Label(middle.x, middle.y, upright(math.degrees(math.atan2(*along[::-1]))), text, height)


def upright(angle: float) -> float:
    """The angle of a line in degrees, so turned that words along it are not upside down."""
    return 90.0 - (90.0 - angle) % 180.0


def _lines(part: Part, mark: Mark, name: str, machine: Machine) -> list[Contour]:
    """A mark, as far as it lies on its part and off the outline.

    Beyond the outline lies the neighbour, and on it a beam would burn twice.
    """
    if mark.kind not in machine.marks or len(mark.points) < 2:
        return []
    ring = [mark.points, mark.points[:1]] if mark.closed else [mark.points]
    line = LineString(np.concatenate(ring))
    inner = part.outline.polygon.buffer(-BESIDE)
    if inner.contains(line):
        return [Contour(mark.points.copy(), mark.closed, "mark", name, what=mark.kind)]
    rest = shapely.line_merge(line.intersection(inner))
    return [
        Contour(shapely.get_coordinates(piece), False, "mark", name, what=mark.kind)
        for piece in shapely.get_parts(rest)
        if piece.length > BESIDE
    ]


def _holes(mark: Mark, name: str, machine: Machine) -> list[Contour]:
    if mark.kind not in ("stitch", "drain") or machine.holes == "none":
        return []
    rims = [_drain(mark, name)]
    if mark.kind == "stitch":
        rims = [circle(point, machine.hole, name) for point in mark.points]
    if machine.holes == "circle":
        return rims
    return [
        Contour(arm, False, "mark", name, what=rim.what)
        for rim in rims
        for arm in cross(rim.points.mean(axis=0), machine.hole)
    ]


def _drain(mark: Mark, name: str) -> Contour:
    """The rim of a drain hole: a true circle, since its points lie on one."""
    centre = mark.points.mean(axis=0)
    radii = np.hypot(*(mark.points - centre).T)
    return circle(centre, 2 * float(radii.mean()), name, what="drain")
