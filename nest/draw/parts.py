"""What a picture shows of a part: its outline, the marks that travel with it, its label."""

from __future__ import annotations

from dataclasses import replace

from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.outline import turned
from nest.draw.labels import Labels
from nest.draw.palette import (
    FOLD,
    INK,
    LEATHER,
    MARK,
    PART_EDGE,
    SEAM,
)
from nest.draw.sheet import Pen
from nest.draw.words import Type
from nest.part import Part
from nest.plans import Placement

AT_HOME = Placement("", 0.0, 0.0, 0.0)
SMALL_HOLE = 0.26  # page mm; a stitch hole on a cut plan is a dot, not a measure
TRUE_HOLE = 1.0  # mm, diameter of a stitch hole: a round awl or a 1 mm bit

TILTS = (0.0, -10.0, 10.0, -20.0, 20.0, -30.0, 30.0)  # degrees; a welt's words may follow it
LABEL_SIZES = (8.0, 7.0, 6.0, 5.2, 4.6)  # points, largest that fits wins
LEADER_TYPE = Type(LABEL_SIZES[-1], INK, bold=True, halo=LEATHER)
MARK_LOOKS = {"fold": FOLD, "grain": replace(MARK, width=0.22)}


def outline_of(part: Part, placement: Placement) -> Polygon:
    """The part as it lies, mm in the hide's frame."""
    return Polygon(turned(part.outline.points, placement.angle, placement.x, placement.y))


def draw_part(pen: Pen, part: Part, placement: Placement, fill: str, *, name: str = "") -> None:
    """Draw a part as it lies: filled outline, then its marks, faintly."""
    look = replace(PART_EDGE, fill=fill)
    pen.shade(outline_of(part, placement), look, layer=3.0, name=name)
    draw_marks(pen, part, placement, hole=SMALL_HOLE)


def draw_marks(pen: Pen, part: Part, placement: Placement, *, hole: float) -> None:
    """Draw fold, throat, loop and inner lines and the stitch holes, ``hole`` page mm wide."""
    for mark in part.marks:
        points = turned(mark.points, placement.angle, placement.x, placement.y)
        if mark.kind == "stitch":
            pen.dots(points, hole, SEAM, layer=3.6, name=f"stitch:{mark.text}")
        elif mark.kind == "grain" and len(points) == 2:
            pen.arrow(points[0], points[1], MARK_LOOKS["grain"], both=True, head=1.2)
        elif len(points) > 1:
            look = MARK_LOOKS.get(mark.kind, MARK)
            pen.line(points, look, closed=mark.closed, layer=3.4)


def label_part(
    shape: Polygon, words: str, axis: float, labels: Labels, *, fill: str, avoid: BaseGeometry
) -> None:
    """Write a label as large as fits on a part (page mm), along it; else beside it.

    ``axis`` is the direction of the part's own x on the page in degrees, ``fill`` its colour,
    ``avoid`` what a label beside the part should rather not lie on.
    """
    angles = (0.0, axis, axis + 90.0, *(axis + turn for turn in (15, -15, 30, -30, 45, -45)))
    name = f"label:{words}"
    for size in LABEL_SIZES:
        style = Type(size, INK, bold=True, halo=fill)
        if labels.inside(shape, words, style, angles=angles, name=name):
            return
    labels.beside(shape, words, LEADER_TYPE, avoid=avoid, name=name)
