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
from shapely import MultiPoint

from hides.hide import Hide
from hides.outline import FloatArray, polygons_of, turned
from hides.units import PAPERS
from nest.cutter.caution import BY_HAND
from nest.draw import leather
from nest.draw.labels import Labels
from nest.draw.palette import INK, PAPER
from nest.draw.parts import draw_part
from nest.draw.rows import Row, cells, gap, note, parted, stack
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.words import Type
from nest.plans import Placement, Plan
from nest.report.names import Shown, draw_gone, gone_of, shown_of
from nest.report.page import LARGE_CAUTION, MARGIN, Page, caution
from nest.report.templates import targets

TAPE_STEP = 0.5  # mm; what a tape can be read to
LIST_GUTTER = 8.0  # mm between the two columns of the list
LIST_WIDTHS = (11.0, 32.0, 15.0, 15.0, 4.0, 15.0, 15.0, 14.0)  # mm, columns of the list
LIST_HEADS = ("part", "sheath", "P along", "P across", "", "Q along", "Q across", "P to Q")
NUMBERS = (2, 3, 5, 6, 7)

HOLE_LETTER = Type(5.0, INK, bold=True, halo=PAPER)
LINE = Type(6.6)
TITLES = Type(6.0, INK, bold=True)
SPOT = Style(fill=INK)
SPOT_WIDTH = 0.8  # page mm

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
    found = [_row_of(one) for one in shown_of(plan)]
    return tuple(sorted(found, key=lambda row: (min(row.p[0], row.q[0]), row.id)))


def placing_pages(plan: Plan, hide: Hide, paper: str) -> list[Sheet]:
    """The picture and the list, landscape on ``paper`` of :data:`hides.units.PAPERS`."""
    found = placing_rows(plan)
    pages: list[Sheet] = [_picture(plan, hide, found, PAPERS[paper])]
    lines = [cells(_words(row), LIST_WIDTHS, LINE, right=NUMBERS) for row in found]
    while lines:
        page, lines = _list_page(plan, lines, PAPERS[paper], first=len(pages) == 1)
        pages.append(page)
    return pages


def _row_of(one: Shown) -> PlacingRow:
    p, q = targets(one.wanted.part)
    apart, at = float(np.hypot(*(q - p))), one.placement
    return PlacingRow(at.id, one.label, one.wanted.kit, _read(p, at), _read(q, at), apart)


def _read(point: FloatArray, at: Placement) -> tuple[float, float]:
    """A point of the part frame on the hide, as a tape reads it."""
    place = turned(point[None], at.angle, at.x, at.y)[0]
    along, across = (np.round(place / TAPE_STEP) * TAPE_STEP + 0.0).tolist()
    return along, across


def _words(row: PlacingRow) -> tuple[str, ...]:
    numbers = [f"{value:.1f}" for value in (*row.p, *row.q)]
    return (row.label, row.sheath, *numbers[:2], "", *numbers[2:], f"{row.apart:.1f}")


# --- the picture -----------------------------------------------------------------------------


def _picture(
    plan: Plan, hide: Hide, found: Sequence[PlacingRow], size: tuple[float, float]
) -> Sheet:
    where = f"hide “{plan.hide_name}”, grain side up"
    page = Page(size, f"{plan.name}: placing sheet", where, plan=plan)
    parts, gone = shown_of(plan), gone_of(plan)
    pen = page.view(page.frame(MARGIN + 9.0), hide.outline.bounds)
    leather.draw_ground(pen, hide)
    leather.draw_flaws(pen, hide, layer=3.8)
    leather.draw_edges(pen, hide)
    draw_gone(pen, gone)
    _draw_parts(pen, parts, gone, found)
    stack(page, leather.scale_bar(pen.scale, 60.0), MARGIN, MARGIN + 7.0)
    return page


def _draw_parts(
    pen: Pen, parts: Sequence[Shown], gone: Sequence[Shown], found: Sequence[PlacingRow]
) -> None:
    labels = Labels(pen)
    covered = shapely.union_all([one.shape for one in (*parts, *gone)])
    for one in parts:
        draw_part(pen, one.wanted.part, one.placement, one.fill)
    spots = pen.at([place for row in found for place in (row.p, row.q)])
    labels.obstacles += polygons_of(MultiPoint(spots).buffer(SPOT_WIDTH / 2))
    for row in found:
        for letter, place in (("P", row.p), ("Q", row.q)):
            pen.dots([place], SPOT_WIDTH, SPOT, layer=4.0)
            labels.near(pen, place, letter, HOLE_LETTER, on_it=False)
    for one in (*parts, *gone):
        one.write_label(pen, labels, covered)


# --- the list --------------------------------------------------------------------------------


def _list_page(
    plan: Plan, lines: Sequence[Row], size: tuple[float, float], *, first: bool
) -> tuple[Sheet, list[Row]]:
    """A page with as many lines as it holds in two columns, and the lines left over."""
    page = Page(size, f"{plan.name}: where P and Q go", "millimetres", plan=plan)
    top = page.top
    if first:
        rows = [row for words in HOW for row in (*note(words, page.room, LINE), gap(1.0))]
        for words in (*plan.warnings, *CAUTIONS):
            rows += caution(words, page.room, LARGE_CAUTION)
        top = stack(page, [*rows, gap(3.0)], MARGIN, top)
    titles = cells(LIST_HEADS, LIST_WIDTHS, TITLES, right=NUMBERS)
    high = top - MARGIN - titles.height
    count = 2 * int(high / lines[0].height)
    here, rest = list(lines[:count]), list(lines[count:])
    for i, column in enumerate(parted(here, 2)):
        if column:
            x = MARGIN + i * (sum(LIST_WIDTHS) + LIST_GUTTER)
            stack(page, [titles, *column], x, top)
    return page, rest
