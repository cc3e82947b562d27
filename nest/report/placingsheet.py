"""The placing sheet: where each template goes on the hide, with a tape and a set square.

Each template has two holes marked P and Q. Their places are given as two lengths: along the
backbone from the tail root, and square to the backbone. P and Q are stitch holes, so that what
is pricked there does no harm. The first page is a picture, the others are the list.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from hides.hide import Hide
from hides.outline import FloatArray, turned
from nest.cut.caution import BY_HAND
from nest.draw import leather
from nest.draw.labels import Labels
from nest.draw.palette import ALARM, INK, PAPER
from nest.draw.parts import draw_part, label_part, outline_of
from nest.draw.rows import Row, cells, gap, note, parted, stack
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.words import Type
from nest.plan import Placement, Plan
from nest.report.names import Pattern, patterns_of
from nest.report.page import BAND, MARGIN, stamp, titled
from nest.report.templates import targets
from nest.report.tiles import PRINTED

STEP = 0.5  # mm; what a tape can be read to
RULER = 7.0  # mm, room for the upright ruler
GUTTER = 8.0
WIDTHS = (11.0, 32.0, 15.0, 15.0, 4.0, 15.0, 15.0, 14.0)  # mm, columns of the list
HEADS = ("part", "sheath", "P along", "P across", "", "Q along", "Q across", "P to Q")
NUMBERS = (2, 3, 5, 6, 7)

LETTER = Type(5.0, INK, bold=True, halo=PAPER)
LINE = Type(6.6)
TITLES = Type(6.0, INK, bold=True)
CAUTION = Type(6.4, ALARM, bold=True)
SPOT = Style(fill=INK)

HOW = (
    "Lay the hide flat, grain side up. “Along” is measured along the backbone from the tail "
    "root (0) towards the neck, “across” square to the backbone; both in millimetres. Where the "
    "piece has no backbone, snap a chalk line along its lower edge in the picture.",
    "Mark P and Q lightly, check their distance against the last column, and lay the template "
    "with its holes P and Q on the marks. Draw round all templates before anything is cut, and "
    "look that each lies clear of the others and of the flaws.",
)
CAUTIONS = (*BY_HAND, "A flaw that the picture does not show? Stop, record it, and plan anew.")


@dataclass(frozen=True, slots=True)
class PlacingRow:
    """Where a template goes: P and Q as (along, across) in mm, rounded as a tape is read."""

    id: str
    label: str
    sheath: str
    p: tuple[float, float]
    q: tuple[float, float]
    apart: float


def placing_rows(plan: Plan) -> tuple[PlacingRow, ...]:
    """The places of all parts, in order along the backbone."""
    patterns = patterns_of(plan)
    found = [_row_of(plan, placement, patterns) for placement in plan.placements]
    return tuple(sorted(found, key=lambda row: (min(row.p[0], row.q[0]), row.id)))


def placing_pages(plan: Plan, hide: Hide | None, paper: str) -> list[Sheet]:
    """The picture and the list, landscape on ``paper`` of :data:`nest.report.tiles.PRINTED`.

    Without a hide the picture shows the parts alone.
    """
    found = placing_rows(plan)
    height, width = PRINTED[paper]
    pages = [_picture(plan, hide, found, (width, height))]
    lines = [cells(_words(row), WIDTHS, LINE, right=NUMBERS) for row in found]
    while lines:
        page, lines = _list_page(plan, lines, (width, height), first=len(pages) == 1)
        pages.append(page)
    return pages


def _row_of(plan: Plan, placement: Placement, patterns: dict[str, Pattern]) -> PlacingRow:
    wanted = plan.by_id[placement.id]
    p, q = targets(wanted.part)
    label = patterns[wanted.kit].label(wanted)
    apart = float(np.hypot(*(q - p)))
    return PlacingRow(
        placement.id, label, wanted.kit, _read(p, placement), _read(q, placement), apart
    )


def _read(point: FloatArray, at: Placement) -> tuple[float, float]:
    """A point of the part frame on the hide, as a tape reads it."""
    x, y = turned(point[None], at.angle, at.x, at.y)[0]
    return round(float(x) / STEP) * STEP + 0.0, round(float(y) / STEP) * STEP + 0.0


def _words(row: PlacingRow) -> tuple[str, ...]:
    numbers = [f"{value:.1f}" for value in (*row.p, *row.q)]
    return (row.label, row.sheath, *numbers[:2], "", *numbers[2:], f"{row.apart:.1f}")


# --- the picture -----------------------------------------------------------------------------


def _picture(
    plan: Plan, hide: Hide | None, found: Sequence[PlacingRow], size: tuple[float, float]
) -> Sheet:
    width, height = size
    where = f"hide “{plan.hide_name}”, grain side up"
    sheet = titled(width, height, f"{plan.name}: placing sheet", where)
    stamp(sheet, plan.check, len(plan.placements))
    shapes = {p.id: outline_of(plan.by_id[p.id].part, p) for p in plan.placements}
    world = hide.outline.bounds if hide else _around(list(shapes.values()))
    frame = (MARGIN + RULER, MARGIN + 9.0, width - 2 * MARGIN - RULER, 0.0)
    frame = (*frame[:3], height - MARGIN - BAND - frame[1] - 4.0)
    pen = sheet.view(frame, world)
    if hide:
        leather.draw_ground(pen, hide)
        leather.draw_flaws(pen, hide, layer=3.8)
        leather.draw_edges(pen, hide)
    else:
        leather.draw_rulers(pen, world)
    _draw_parts(pen, plan, shapes, found)
    stack(sheet, leather.scale_bar(pen.scale, 60.0), MARGIN, MARGIN + 7.0)
    return sheet


def _around(shapes: Sequence[shapely.Polygon]) -> Box:
    x0, y0, x1, y1 = shapely.union_all(shapes).bounds
    return x0, y0, x1, y1


def _draw_parts(
    pen: Pen, plan: Plan, shapes: dict[str, shapely.Polygon], found: Sequence[PlacingRow]
) -> None:
    patterns = patterns_of(plan)
    labels = Labels(pen)
    covered = pen.on_page(shapely.union_all(list(shapes.values())))
    for placement in plan.placements:
        wanted = plan.by_id[placement.id]
        draw_part(pen, wanted.part, placement, patterns[wanted.kit].fill)
    for row in found:
        for letter, place in (("P", row.p), ("Q", row.q)):
            pen.dots([place], 0.8, SPOT, layer=4.0)
            labels.near(pen, place, letter, LETTER, on_it=False)
    for placement in plan.placements:
        wanted = plan.by_id[placement.id]
        shape, fill = pen.on_page(shapes[placement.id]), patterns[wanted.kit].fill
        words = patterns[wanted.kit].label(wanted)
        label_part(shape, words, placement.angle, labels, fill=fill, avoid=covered)


# --- the list --------------------------------------------------------------------------------


def _list_page(
    plan: Plan, lines: Sequence[Row], size: tuple[float, float], *, first: bool
) -> tuple[Sheet, list[Row]]:
    """A page with as many lines as it holds in two columns, and the lines left over."""
    width, height = size
    sheet = titled(width, height, f"{plan.name}: where P and Q go", "millimetres")
    room, top = width - 2 * MARGIN, height - MARGIN - BAND
    if first:
        rows = [row for words in HOW for row in (*note(words, room, LINE), gap(1.0))]
        rows += [row for words in CAUTIONS for row in note(f"⚠ {words}", room, CAUTION)]
        top = stack(sheet, [*rows, gap(3.0)], MARGIN, top)
    titles = cells(HEADS, WIDTHS, TITLES, right=NUMBERS)
    high = top - MARGIN - titles.height
    count = 2 * int(high / lines[0].height)
    here, rest = list(lines[:count]), list(lines[count:])
    for i, column in enumerate(parted(here, 2)):
        if column:
            x = MARGIN + i * (sum(WIDTHS) + GUTTER)
            stack(sheet, [titles, *column], x, top)
    return sheet, rest
