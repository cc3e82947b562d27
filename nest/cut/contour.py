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
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import LineString, Point, Polygon

from hides.outline import FloatArray, polygons_of, turned
from nest.cut.machine import Machine
from nest.errors import CutError
from nest.part import Mark, Part
from nest.plan import Plan, placed_outline

WORKS = ("mark", "hole", "cut")
QUARTER = math.tan(math.pi / 8)  # bulge of a quarter circle
FINE = 0.01  # mm; how far a chord may leave its arc, a tenth of what leather shows
BESIDE = 0.5  # mm; marks stay so far off their part's outline
LETTERS = 4.0  # mm; height of a part's name, less where it would leave the part
WIDE = 0.8  # of its height; what a letter may take
AROUND = 4.0  # times the half width of a part, looked at round its name


@dataclass(frozen=True, eq=False)
class Contour:
    """One line of the pattern.

    Attributes
    ----------
    points : (n, 2) float64, mm, read-only. A closed contour does not repeat its first point;
        outlines run counter-clockwise, holes clockwise, so that waste is on the right.
    closed : the last point is joined to the first.
    work : "mark" (drawn on the part), "hole" (cut inside it) or "cut" (its outline).
    part : id of the placement it belongs to.
    bulges : (n,) float64, the bulge of the segment from point i to the next (tan of a quarter
        of its angle, + counter-clockwise, as in DXF); None where every segment is straight.
        Of an open contour the last one says nothing.
    what : outline, drain, stitch, fold, throat, inner, loop or grain.
    inside : its waste lies inside it: a hole.
    """

    points: FloatArray
    closed: bool
    work: str
    part: str
    bulges: FloatArray | None = None
    what: str = ""
    inside: bool = False

    def __post_init__(self) -> None:
        for array in (self.points, self.bulges):
            if array is not None:
                array.setflags(write=False)

    @cached_property
    def length(self) -> float:
        """Length in mm, arcs measured along the arc."""
        chords, bulges = self._segments()
        # arc / chord = (a/2) / sin(a/2), with a the arc's angle; 1 for a straight segment
        return float((chords / np.sinc(2 * np.arctan(bulges) / np.pi)).sum())

    @property
    def area(self) -> float:
        """Area in mm² with its sign: + counter-clockwise. Zero for an open contour."""
        if not self.closed:
            return 0.0
        x, y = self.points.T
        chords, bulges = self._segments()
        half = 2 * np.arctan(bulges)
        radii = chords * (1 + bulges**2) / (4 * np.where(bulges == 0, 1.0, bulges))
        segments = np.where(bulges == 0, 0.0, radii**2 * np.sign(bulges) * _segment_of(half))
        return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2 + segments.sum())

    @property
    def ring(self) -> tuple[float, float, float] | None:
        """(x, y, radius) where the contour is one whole circle, else None."""
        if not self.closed or self.bulges is None:
            return None
        x, y = self.points.mean(axis=0)
        radii = np.hypot(*(self.points - (x, y)).T)
        radius = float(radii.mean())
        round_all = abs(abs(self.area) - math.pi * radius**2) < 1e-6 * radius**2
        return (float(x), float(y), radius) if np.ptp(radii) < 1e-6 and round_all else None

    def flat(self, deviation: float = FINE) -> FloatArray:
        """The line as chords, (m, 2) mm, no arc left by more than ``deviation``.

        A closed contour does not repeat its first point.
        """
        if self.bulges is None:
            return self.points
        ends = np.roll(self.points, -1, axis=0)
        pieces = [
            _chords(p, q, float(b), deviation)
            for p, q, b in zip(self.points, ends, self.bulges, strict=True)
        ]
        return np.concatenate(pieces if self.closed else [*pieces[:-1], self.points[-1:]])

    def _segments(self) -> tuple[FloatArray, FloatArray]:
        """Chord length and bulge of every segment."""
        count = len(self.points) - (not self.closed)
        chords = np.hypot(*(np.roll(self.points, -1, axis=0) - self.points).T)[:count]
        bulges = np.zeros(count) if self.bulges is None else self.bulges[:count]
        return chords, bulges


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
    """A round hole: four quarter arcs, clockwise, its waste inside."""
    quarters = diameter / 2 * np.array([[1.0, 0.0], [0.0, -1.0], [-1.0, 0.0], [0.0, 1.0]])
    points = np.asarray(centre, dtype=np.float64) + quarters
    return Contour(points, True, work, part, np.full(4, -QUARTER), what, inside=True)


def moved(contour: Contour, angle: float, x: float, y: float) -> Contour:
    """The contour turned by ``angle`` degrees about (0, 0), then shifted by (x, y)."""
    return replace(contour, points=turned(contour.points, angle, x, y))


def backwards(contour: Contour) -> Contour:
    """The same line the other way round; a closed one keeps its first point."""
    turn = -1 if contour.closed else 0
    points = np.roll(contour.points[::-1], -turn, axis=0)
    if contour.bulges is None:
        return replace(contour, points=points)
    bulges = -contour.bulges[::-1] if contour.closed else -np.roll(contour.bulges[::-1], -1)
    return replace(contour, points=points, bulges=bulges)


def contours(plan: Plan, machine: Machine) -> tuple[Contour, ...]:
    """All that ``machine`` draws of a plan, in the hide's frame, part after part.

    Of each part come its marks (those the profile asks for), then its holes (as circles, as
    crosses to punch on, or left out, as the profile says), then its outline.

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


def labels(plan: Plan) -> tuple[Label, ...]:
    """The parts' ids, each where its part is widest and along it, for a layer that is not cut."""
    return tuple(_label(placed_outline(plan, one).polygon, one.id) for one in plan.placements)


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
    """A mark without what lies on the outline, which is cut: a beam would burn there twice."""
    if mark.kind not in machine.marks or len(mark.points) < 2:
        return []
    ring = [mark.points, mark.points[:1]] if mark.closed else [mark.points]
    line = LineString(np.concatenate(ring))
    rim = part.outline.polygon.exterior
    if not line.dwithin(rim, BESIDE):
        return [Contour(mark.points.copy(), mark.closed, "mark", name, what=mark.kind)]
    rest = shapely.line_merge(line.difference(rim.buffer(BESIDE)))
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
    return [arm for rim in rims for arm in _cross(rim, machine.hole)]


def _drain(mark: Mark, name: str) -> Contour:
    """The rim of a drain hole: a true circle, since its points lie on one."""
    centre = mark.points.mean(axis=0)
    radii = np.hypot(*(mark.points - centre).T)
    return circle(centre, 2 * float(radii.mean()), name, what="drain")


def _cross(rim: Contour, size: float) -> list[Contour]:
    arms = size / 2 * np.array([[[-1.0, 0.0], [1.0, 0.0]], [[0.0, -1.0], [0.0, 1.0]]])
    middle = rim.points.mean(axis=0)
    return [Contour(middle + arm, False, "hole", rim.part, what=rim.what) for arm in arms]


def _segment_of(half: FloatArray) -> FloatArray:
    """Area between chord and arc for radius 1, from half the arc's angle."""
    angle = 2 * np.abs(half)
    return np.asarray((angle - np.sin(angle)) / 2, dtype=np.float64)


def _chords(p: FloatArray, q: FloatArray, bulge: float, deviation: float) -> FloatArray:
    """Points of the segment from p to q, q left out."""
    if bulge == 0:
        return p[None]
    angle = 4 * math.atan(bulge)
    chord = q - p
    radius = math.hypot(*chord) * (1 + bulge**2) / (4 * abs(bulge))
    step = 2 * math.acos(max(1 - deviation / radius, 0.0))
    count = max(math.ceil(abs(angle) / step), 2)
    # the centre lies on the left of the chord for a counter-clockwise arc of less than half
    left = np.array([-chord[1], chord[0]])
    centre = (p + q) / 2 + left * (1 - bulge**2) / (4 * bulge)
    turns = angle * np.arange(count) / count
    arm = p - centre
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    return np.asarray(centre + c * arm + s * np.array([-arm[1], arm[0]]), dtype=np.float64)
