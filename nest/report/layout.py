"""The layout as a picture: the hide, and every part where it is to be cut."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely import Point, Polygon

from hides.hide import Hide
from hides.outline import polygons_of
from hides.units import area_text
from nest.draw import leather
from nest.draw.labels import Labels
from nest.draw.palette import BED_BORDER, FRONTIER, LEFT_OVER, REMNANT
from nest.draw.parts import draw_part, label_part, outline_of
from nest.draw.sheet import Pen
from nest.draw.tints import draw_levels
from nest.draw.words import Type
from nest.figures import Figures
from nest.plan import Plan, borders
from nest.report.names import patterns_of

KEPT = Type(6.0, REMNANT, bold=True)


def draw_layout(pen: Pen, plan: Plan, hide: Hide, figures: Figures) -> None:
    """Draw the hide, the parts with their labels, and what is kept, with a pen of the hide."""
    shapes = {p.id: outline_of(plan.by_id[p.id].part, p) for p in plan.placements}
    covered = shapely.union_all(list(shapes.values()))
    leather.draw_ground(pen, hide)
    leather.draw_flaws(pen, hide, layer=3.8)
    for border in shapely.get_parts(borders(plan.bed_windows).intersection(hide.polygon)):
        pen.line(border.coords, BED_BORDER, layer=2.6, name="bed-border")
    patterns = patterns_of(plan)
    for placement in plan.placements:
        wanted = plan.by_id[placement.id]
        fill = patterns[wanted.kit].fill
        draw_part(pen, wanted.part, placement, fill, name=f"part:{placement.id}")
    labels = Labels(pen)
    _label_parts(pen, plan, shapes, labels)
    leather.name_flaws(pen, hide, labels)
    _draw_kept(pen, figures, labels)
    leather.draw_regions(pen, hide, labels, avoid=covered)
    labels.obstacles += [pen.on_page(shape) for shape in shapes.values()]
    draw_levels(pen, hide, labels)
    leather.draw_stretch(pen, hide, avoid=covered)


def _label_parts(pen: Pen, plan: Plan, shapes: dict[str, Polygon], labels: Labels) -> None:
    patterns, avoid = patterns_of(plan), pen.on_page(shapely.union_all(list(shapes.values())))
    for placement in plan.placements:
        wanted = plan.by_id[placement.id]
        words = patterns[wanted.kit].label(wanted)
        shape = pen.on_page(shapes[placement.id])
        fill = patterns[wanted.kit].fill
        label_part(shape, words, placement.angle, labels, fill=fill, avoid=avoid)


def _draw_kept(pen: Pen, figures: Figures, labels: Labels) -> None:
    """Draw what is left: the frontier, the remnants, the largest circle in each."""
    for remnant in figures.remnants:
        pen.shade(remnant.polygon, LEFT_OVER, layer=1.8, name="remnant")
        x, y, radius = remnant.circle
        circle = Point(x, y).buffer(radius, quad_segs=32)
        pen.shade(circle, replace(FRONTIER, width=0.25, dash=(1.5, 1.0)), layer=2.2)
        for words in (f"kept: {area_text(remnant.polygon.area)}", f"circle Ø {2 * radius:.0f} mm"):
            for room in polygons_of(pen.on_page(circle))[:1]:
                labels.inside(room, words, KEPT)
    for piece in figures.cut_line.geoms:
        pen.line(piece.coords, FRONTIER, layer=4.5, name="frontier")
        labels.obstacles.append(pen.on_page(piece))
