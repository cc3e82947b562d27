"""The gauge picture: where leather surely is as thick as asked, and where to gauge next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from hides.errors import InputError
from hides.hide import Hide
from hides.outline import FloatArray
from hides.remarks import of_readings
from hides.thickness import THROAT, Need, suggest
from hides.units import THICKEST, area_text, parse_thickness
from nest.draw import leather
from nest.draw.book import KINDS, pictured
from nest.draw.labels import Labels
from nest.draw.palette import ALARM, BODY, INK, LEAF, NOTE, PAPER, REMNANT, STRONG
from nest.draw.rows import Row, cells, gap, head, note, pair, stack, swatch
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.tints import NINETY, doubt_row, draw_doubt, draw_levels, ramp, tints_of
from nest.draw.words import Type
from nest.report.hidesheet import readings_text
from nest.report.page import ISO_A, MARGIN, Page

ENDINGS = tuple(f".gauge.{kind}" for kind in KINDS)
SIDEBAR = 56.0  # mm, width of the column at the right
MOST_NEXT = 50
SURE_LOOK = Style(edge=LEAF, width=0.3, hatch="//")
SURE_EDGE = Style(edge=REMNANT, width=0.5)
OPEN_LOOK = Style(edge=ALARM, width=0.35, dash=(1.2, 0.8))
NEXT_LOOK = Style(fill=PAPER, edge=INK, width=0.35)
NUMBER = Type(6.0, INK, bold=True)


@dataclass(frozen=True, eq=False)
class Gauging:
    """What the readings say of a need, and where the next ones would help most.

    Attributes
    ----------
    sure : where the need is met with the confidence asked for.
    open : where it is neither sure that it is met nor that it isn't.
    places : (n, 2) mm, hide frame, the most helpful first.
    doubts : (n,) mm, half the width of the 90 % interval at each of them now.
    """

    hide: Hide
    need: Need | None
    confidence: float
    sure: BaseGeometry
    open: BaseGeometry
    places: FloatArray
    doubts: FloatArray

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is odd in the readings, a sentence each."""
        return of_readings(self.hide)


def gauging(
    hide: Hide, need: Need | None, *, confidence: float = 0.9, count: int = 5, reach: float = 1e9
) -> Gauging:
    """Judge a need on a hide and choose ``count`` places for the next readings.

    Raises
    ------
    InputError : there is no place to gauge within ``reach`` mm of the edge.
    """
    places = suggest(hide.thickness, hide.polygon, count, need=need, reach=reach)
    doubts = NINETY * hide.thickness.field_by_readings(places)[1]
    sure: BaseGeometry = shapely.Polygon()
    still: BaseGeometry = shapely.Polygon()
    if need is not None and hide.thickness.known:
        sure = hide.allowed(replace(need, risk=1.0 - confidence))
        still = hide.allowed(replace(need, risk=confidence)).difference(sure)
    return Gauging(hide, need, confidence, sure, still, places, doubts)


def asked(
    hide: Hide,
    need: str | None,
    *,
    may_split: bool = False,
    confidence: float = 0.9,
    count: int = 5,
    reach: float = 1e9,
) -> Gauging:
    """The same for a need in words ("3.2-3.5 mm"), with what was asked looked at first.

    Raises
    ------
    InputError : no thickness, or a confidence (a chance), a count of places or a reach in mm
        out of bounds.
    """
    if not 0.5 <= confidence < 1.0:
        raise InputError(f"sure must be from 0.5 to below 1, got {confidence:g}.")
    if not 1 <= count <= MOST_NEXT:
        raise InputError(f"count must be from 1 to {MOST_NEXT}, got {count}.")
    if not reach > THROAT:
        raise InputError(f"reach must be more than {THROAT:g} mm, got {reach:g}.")
    known = Need(*parse_thickness(need), may_split) if need else None
    return gauging(hide, known, confidence=confidence, count=count, reach=reach)


def gauge_sheet(found: Gauging) -> Sheet:
    """Draw it on one page, landscape."""
    hide = found.hide
    page = Page(ISO_A["A4"], f"Gauging “{hide.name}”", _below(found), sidebar=SIDEBAR)
    pen = page.view(page.frame(MARGIN + 8.0), hide.outline.bounds)
    _draw(pen, found)
    side = [*_need_rows(found), *_place_rows(found), gap(2.0), head("Leather", SIDEBAR)]
    side += [*ramp(tints_of(hide), SIDEBAR), *doubt_row(hide, SIDEBAR)]
    side += [*leather.reading_rows(hide, SIDEBAR), gap(2.0)]
    for words in found.remarks:
        side += [*note(words, SIDEBAR, Type(6.0, ALARM, bold=True)), gap(0.8)]
    side += leather.scale_bar(pen.scale, SIDEBAR)
    stack(page, side, page.side, page.top)
    return page


picture = gauge_sheet


def facts(found: Gauging) -> dict[str, str]:
    """What is sure and what is not decided, and the places to gauge, mm along and across."""
    told = {"name": found.hide.name, "readings": readings_text(found.hide)}
    if found.need is not None:
        told["asked"] = need_text(found.need)
        told[f"sure to {found.confidence:.0%}"] = area_text(found.sure.area)
        told["not decided"] = area_text(found.open.area)
    for number, ((x, y), doubt) in enumerate(zip(found.places, found.doubts, strict=True), 1):
        known = f", known to ±{doubt:.2f} mm" if found.hide.readings else ""
        told[f"gauge next, {number}"] = f"{x:.0f} along, {y:.0f} across{known}"
    return told


def files(found: Gauging, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(gauge_sheet(found), f"{name}.gauge")


def need_text(need: Need) -> str:
    """ "3.2 to 3.5 mm", "3.2 mm or more"."""
    if need.may_split or need.high >= THICKEST:
        return f"{need.low:g} mm or more"
    return f"{need.low:g} to {need.high:g} mm"


def _below(found: Gauging) -> str:
    asked = f"asked: {need_text(found.need)}" if found.need else "no thickness asked for"
    return f"{asked}    ·    {readings_text(found.hide, ' readings so far')}"


def _draw(pen: Pen, found: Gauging) -> None:
    hide = found.hide
    leather.draw_ground(pen, hide)
    if found.need is None:
        draw_doubt(pen, hide)
    leather.draw_edges(pen, hide)
    pen.shade(found.open, OPEN_LOOK, layer=2.0, name="open")
    pen.shade(found.sure, SURE_LOOK, layer=2.1, name="sure")
    pen.shade(found.sure, SURE_EDGE, layer=2.2)
    labels = Labels(pen)
    for number, place in enumerate(found.places, 1):
        pen.dots([place], 4.2, NEXT_LOOK, layer=6.5, name=f"next:{number}")
        written = pen.text(place, f"{number}", NUMBER, anchor="middle", layer=9.0)
        labels.obstacles.append(written.box.buffer(1.2))
    leather.draw_readings(pen, hide, labels)
    draw_levels(pen, hide, labels)


def _need_rows(found: Gauging) -> list[Row]:
    if found.need is None:
        return []
    percent = f"{found.confidence:.0%}"
    rows = [head(f"Leather of {need_text(found.need)}", SIDEBAR)]
    rows += [pair(f"Sure to {percent}", area_text(found.sure.area), SIDEBAR)]
    rows += swatch(SURE_LOOK, "hatched: cut parts that need it here", SIDEBAR)
    rows += [gap(0.8), pair("Not decided", area_text(found.open.area), SIDEBAR)]
    rows += swatch(OPEN_LOOK, "dashed: more readings would tell", SIDEBAR)
    return [*rows, gap(2.0)]


def _place_rows(found: Gauging) -> list[Row]:
    rows = [head("Gauge next", SIDEBAR)]
    widths = (8.0, 16.0, 16.0, 16.0)
    rows.append(cells(("", "along", "across", "known to"), widths, NOTE, right=(1, 2, 3)))
    for number, (place, doubt) in enumerate(zip(found.places, found.doubts, strict=True), 1):
        known = f"±{doubt:.2f}" if doubt < THICKEST else "nothing"
        row = (f"{number}", f"{place[0]:.0f}", f"{place[1]:.0f}", known)
        rows.append(cells(row, widths, STRONG if number == 1 else BODY, right=(1, 2, 3)))
    words = (
        "mm from the tail root along the backbone, mm from the backbone, and how well (90 %) the "
        "thickness is known there now. "
        f"Keep the gauge's foot {THROAT:g} mm or more off the edge, press as always, read once the "
        "pointer stands still. ISO 2589: a flat foot of 10 mm, 393 g dead weight (49 kPa), to "
        "0.01 mm."
    )
    return [*rows, gap(0.8), *note(words, SIDEBAR)]
