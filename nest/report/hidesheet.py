"""The hide picture: all that the record says of one piece of leather, on one page."""

from __future__ import annotations

from shapely import Point

from hides.hide import Hide
from hides.remarks import remarks
from hides.units import area_text
from nest.draw import leather
from nest.draw.book import KINDS, pictured
from nest.draw.labels import Labels
from nest.draw.palette import BACKBONE, STRETCH, ZONE_EDGE
from nest.draw.rows import Row, gap, head, note, pair, stack, stroke
from nest.draw.sheet import Pen, Sheet
from nest.draw.tints import doubt_row, draw_doubt, draw_levels, ramp, tints_of
from nest.draw.words import Type
from nest.report.page import ISO_A, MARGIN, Page

ENDINGS = tuple(f".hide.{kind}" for kind in KINDS)
ON_IT = 1.0  # mm; a reading so near to the leather is on it
SIDEBAR = 56.0  # mm, width of the column at the right
REMARK = Type(6.0)


def hide_sheet(hide: Hide) -> Sheet:
    """Draw a hide with its flaws, thickness, stretch and areas, landscape."""
    page = Page(ISO_A["A4"], f"Hide “{hide.name}”", _below(hide), sidebar=SIDEBAR)
    pen = page.view(page.frame(MARGIN + 8.0), hide.outline.bounds)
    _draw(pen, hide)
    side = [*_area_rows(hide), gap(2.0), *_leather_rows(hide), gap(2.0)]
    side += [*leather.scale_bar(pen.scale, SIDEBAR), gap(2.0), *_remark_rows(hide)]
    stack(page, side, page.side, page.top)
    return page


def facts(hide: Hide) -> dict[str, str]:
    """The main figures in words, by label."""
    told = {
        "name": hide.name,
        "piece": f"{hide.piece}, {hide.tanned}",
        "gross area": area_text(hide.gross_area),
        "usable area": area_text(hide.usable_area),
        "flaws": str(len(hide.flaws)),
        "readings": readings_text(hide),
    }
    if hide.supplier_area:
        told["stamped area"] = area_text(hide.supplier_area)
    if hide.price and hide.paid is not None:
        told["price"] = f"{hide.paid:.2f} {hide.price.currency}"
    return told


def readings_text(hide: Hide, word: str = "") -> str:
    """How many; of a remnant most may lie off it, where its hide was, and some may not count."""
    on = sum(hide.polygon.dwithin(Point(r.x, r.y), ON_IT) for r in hide.readings)
    odd = len(hide.readings) - len(hide.thickness.counted)
    off = f" ({on} on it)" if on < len(hide.readings) else ""
    return f"{len(hide.readings)}{word}{off}" + (f", {odd} of no account" if odd else "")


picture = hide_sheet


def files(hide: Hide, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(hide_sheet(hide), f"{name}.hide")


def _below(hide: Hide) -> str:
    facts = [f"{hide.piece}, {hide.tanned}, grain side up"]
    if hide.parent:
        facts.append(f"cut from “{hide.parent}”")
    facts.append(f"{len(hide.flaws)} flaws, {readings_text(hide, ' readings')}")
    return "    ·    ".join(facts)


def _draw(pen: Pen, hide: Hide) -> None:
    leather.draw_ground(pen, hide)
    draw_doubt(pen, hide)
    leather.draw_flaws(pen, hide)
    leather.draw_edges(pen, hide)
    labels = Labels(pen)
    labels.obstacles += leather.flaw_marks(pen, hide)
    leather.draw_readings(pen, hide, labels)
    leather.name_flaws(pen, hide, labels)
    labels.obstacles += [pen.on_page(flaw.shape) for flaw in hide.flaws]
    leather.draw_regions(pen, hide, labels)
    draw_levels(pen, hide, labels)
    leather.draw_stretch(pen, hide)


def _area_rows(hide: Hide) -> list[Row]:
    rows = [head("Area and price", SIDEBAR)]
    rows += _told("Traced", area_text(hide.gross_area), "inside the outline, holes left out")
    says = "without the flaws that bar every part, as drawn"
    rows += _told("Usable", area_text(hide.usable_area), says)
    if hide.supplier_area:
        off = hide.gross_area / hide.supplier_area - 1
        says = f"as the seller measured it; traced is {off:+.1%} off"
        rows += _told("Stamped", area_text(hide.supplier_area), says)
    if hide.price is not None and hide.paid is not None:
        paid = f"{hide.paid:.2f} {hide.price.currency}"
        per = {"ft2": "per ft²", "dm2": "per dm²", "piece": "for the piece"}[hide.price.per]
        rows += _told("Paid", paid, f"{hide.price.amount:g} {hide.price.currency} {per}")
    return rows


def _told(label: str, value: str, says: str) -> list[Row]:
    return [pair(label, value, SIDEBAR), *note(says, SIDEBAR), gap(0.8)]


def _leather_rows(hide: Hide) -> list[Row]:
    rows = [head("Leather", SIDEBAR)]
    rows += [*ramp(tints_of(hide), SIDEBAR), *doubt_row(hide, SIDEBAR)]
    rows += leather.reading_rows(hide, SIDEBAR)
    for zone in hide.zones:
        words = f"{zone.name}: {zone.low:g} to {zone.high:g} mm, as given"
        rows += stroke(ZONE_EDGE, words, SIDEBAR)
    rows += stroke(STRETCH, "direction of least stretch", SIDEBAR)
    if hide.backbone is not None:
        rows += stroke(BACKBONE, "backbone", SIDEBAR)
    return rows + leather.flaw_legend(hide, SIDEBAR)


def _remark_rows(hide: Hide) -> list[Row]:
    rows = [head("Remarks", SIDEBAR)]
    for words in remarks(hide) or ("None.",):
        rows += [*note(words, SIDEBAR, REMARK), gap(0.8)]
    return rows
