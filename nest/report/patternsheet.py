"""The sheath pattern at full size: cut it out, fold it round the knife, and it fits.

Parts lie grain side up at exactly 1:1, with the knife laid in, every stitch hole, the
measures, and beside them what a maker needs to know: the print check, the stitching, the
leather, and the fit station by station. Cautions stand with the step they belong to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from shapely import LineString, MultiPoint, Polygon

from hides.keys import one_of
from hides.outline import FloatArray, polygons_of
from hides.units import DM2, area_text
from hides.units import PAPERS as HOME_PAPERS
from nest.draw.book import KINDS, pdf_of, pictured
from nest.draw.labels import Labels
from nest.draw.palette import (
    ALARM,
    FADED,
    INK,
    KNIFE,
    MEASURE,
    NOTE,
    PAPER,
    PATTERN,
    RULE,
    SMALL,
    THREAD,
)
from nest.draw.parts import AT_HOME, TILTS, TRUE_HOLE, draw_marks
from nest.draw.rows import Row, cells, gap, head, height_of, note, pair, stack
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.words import Type
from nest.knife import profile_of
from nest.part import XY, Mark, Part
from nest.report.page import BAND, ISO_A, MARGIN, RULER, SQUARE, Page, caution, draw_check
from nest.report.templates import Template, template_pages
from nest.sheaths import Sheath, told

ENDINGS = (*(f".pattern.{kind}" for kind in KINDS), ".templates.pdf")
SIDEBAR = 86.0  # mm, width of the words beside the parts
BESIDE = SIDEBAR + 7.0  # mm, with the room left of them
PART_AIR = 5.0  # mm round each part with its measures
MEASURE_STEP = 4.5  # mm from a part to its measures, and from one to the next

FACE = Type(11.0, FADED, bold=True)
NAME = Type(7.0, FADED, bold=True)
SIDE = Type(7.0, INK, bold=True, halo=KNIFE.fill)
SMALL_MARK = Type(5.4, THREAD, halo=KNIFE.fill)
TIE = Style(edge=MEASURE.edge, width=0.08)
SIZE = Type(6.0, MEASURE.edge, halo=PAPER)


@dataclass(frozen=True, slots=True)
class Item:
    """Something to be laid on the page: ``bounds`` in mm of its own frame."""

    bounds: tuple[float, float, float, float]
    part: Part | None = None

    @property
    def width(self) -> float:
        """With air on both sides, mm."""
        return self.bounds[2] - self.bounds[0] + 2 * PART_AIR

    @property
    def height(self) -> float:
        """With air above and below, mm."""
        return self.bounds[3] - self.bounds[1] + 2 * PART_AIR


@dataclass(frozen=True, slots=True)
class Measure:
    """A dimension as drawn, mm: the line with arrows first, then the ties back to the part."""

    lines: tuple[FloatArray, ...]
    words: str
    inside: bool = False

    @classmethod
    def moved(cls, p: FloatArray, q: FloatArray, axis: int, to: float, words: str) -> Measure:
        """Move a measure along ``axis`` (0 is x) to the coordinate ``to`` in mm, with ties."""
        ends = np.array([p, q])
        line = ends.copy()
        line[:, axis] = to
        return cls((line, *(np.array(pair) for pair in zip(ends, line, strict=True))), words)


CHECK = Item((0.0, -8.0, RULER, SQUARE + 4.0))


def pattern_sheet(sheath: Sheath, *, paper: str | None = None) -> Sheet:
    """Draw a sheath's pattern at 1:1.

    Parameters
    ----------
    paper : one of :data:`nest.report.page.ISO_A`; by default the smallest that holds all,
        and beyond A1 a page as large as needed.

    Raises
    ------
    ValueError : the pattern doesn't fit the paper asked for.
    """
    items = [Item(_reach(sheath, part), part) for part in sheath.parts]
    rows = _rows(sheath)
    width, height, places = _laid_out([*items, CHECK], height_of(rows), paper)
    below = f"{_style(sheath)}    ·    {sheath.choices.leather:g} mm leather    ·    grain side up"
    page = Page((width, height), f"{sheath.name}: sheath pattern 1:1", below, sidebar=SIDEBAR)
    for item, place in zip(items, places, strict=False):
        _draw_part(page, sheath, item, place)
    x, y = places[-1]
    draw_check(page, x + PART_AIR, y + PART_AIR + 8.0)
    stack(page, rows, page.side, page.top)
    return page


picture = pattern_sheet


def facts(sheath: Sheath) -> dict[str, str]:
    """Seams, thread, trim and leather in words; mm, m and areas."""
    f = sheath.facts
    low, high = f.thread_rule
    least, most = f.pitches
    return {
        "sheath": f"{sheath.name}, {sheath.hand} hand",
        "cutting edge": f"{sheath.edge_side}; it lies at the welt, the knife's back at the fold",
        "fold allowance": f"{f.fold_allowance:.1f} mm (rule of thumb {f.fold_rule:.1f} mm)",
        "edge seam": f"{f.seam:.0f} mm, {f.stitches} stitches of {least:.2f} to {most:.2f} mm",
        "its thread": f"{f.thread / 1000:.2f} m of {f.thread_diameter:g} mm, {f.needles} needles "
        f"(rule of thumb {low / 1000:.2f} to {high / 1000:.2f} m)",
        "loop seams": f"{f.loop_seam:.0f} mm, {f.loop_stitches} stitches, "
        f"{f.loop_thread / 1000:.2f} m of thread",
        "welt trim": f"{f.welt_trim:.1f} mm",
        "retention": told(f.retention),
        **{f"{kind} area": area_text(area) for kind, area in f.areas.items()},
    }


def files(sheath: Sheath, name: str, *, paper: str | None = None) -> dict[str, bytes]:
    """The pattern in three formats; with ``paper`` ("a4" or "letter") full-size templates too."""
    made = pictured(pattern_sheet(sheath), f"{name}.pattern")
    if paper:
        one_of(paper, "paper", tuple(HOME_PAPERS))
        title = f"{sheath.name}: templates"
        templates = [Template(sheath.name, part) for part in sheath.parts]
        made[f"{name}.templates.pdf"] = pdf_of(template_pages(title, templates, paper), title)
    return made


def _style(sheath: Sheath) -> str:
    loop = "loop sewn on" if sheath.choices.loop == "sewn" else "back rises to the loop"
    return f"worn on the {sheath.hand}, {loop}, belt {sheath.choices.belt:g} mm"


# --- the page --------------------------------------------------------------------------------


def _laid_out(
    items: Sequence[Item], words: float, paper: str | None
) -> tuple[float, float, list[XY]]:
    """Page size, and where the lower left corner of each item's box goes."""
    for name in [paper] if paper else ISO_A:
        for width, height in (ISO_A[name], ISO_A[name][::-1]):
            top = height - MARGIN - BAND
            places, foot = _shelves(items, width - 2 * MARGIN - BESIDE, top)
            if min(foot, top - words) >= MARGIN:
                return width, height, places
    if paper:
        raise ValueError(f"the pattern doesn't fit {paper} at full size")
    room = max(600.0, *(item.width for item in items))
    tall = max(words, -_shelves(items, room, 0.0)[1])
    width, height = room + 2 * MARGIN + BESIDE, tall + 2 * MARGIN + BAND
    return width, height, _shelves(items, room, height - MARGIN - BAND)[0]


def _shelves(items: Sequence[Item], room: float, top: float) -> tuple[list[XY], float]:
    """Lay items in rows from ``top`` down, the first one first and the others in the best order.

    Returns their places and where the last row ends: minus infinity if one is too wide.
    """
    if max(item.width for item in items) > room:
        return [], -float("inf")
    tried = []
    for order in permutations(range(1, len(items))):
        places: dict[int, XY] = {}
        x, high, low = 0.0, top, top
        for i in (0, *order):
            if x and x + items[i].width > room:
                x, high = 0.0, low
            places[i] = (MARGIN + x, high - items[i].height)
            low = min(low, high - items[i].height)
            x += items[i].width
        tried.append((low, [places[i] for i in range(len(items))]))
    low, best = max(tried, key=lambda layout: layout[0])
    return best, low


def _reach(sheath: Sheath, part: Part) -> tuple[float, float, float, float]:
    """The box of a part with the knife laid in and its measures."""
    points = [part.outline.points, *(line for m in _measures(sheath, part) for line in m.lines)]
    if part.kind == "body":
        points.append(sheath.knife)
    low, high = np.vstack(points).min(axis=0), np.vstack(points).max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


# --- the parts -------------------------------------------------------------------------------


def _draw_part(sheet: Sheet, sheath: Sheath, item: Item, place: XY) -> None:
    part = item.part
    if part is None:
        return
    x, y = place
    pen = Pen(sheet, 1.0, (x + PART_AIR - item.bounds[0], y + PART_AIR - item.bounds[1]))
    pen.shade(part.outline.polygon, PATTERN, layer=2.0, name=f"part:{part.kind}")
    if part.kind == "body":
        _draw_knife(pen, sheath)
    draw_marks(pen, part, AT_HOME, hole=TRUE_HOLE)
    labels = Labels(pen)
    holes = [mark.points for mark in part.marks if mark.kind == "stitch"]
    labels.obstacles += polygons_of(MultiPoint(pen.at(np.vstack(holes))).buffer(TRUE_HOLE))
    measures = _measures(sheath, part)
    labels.obstacles += [LineString(pen.at(m.lines[0])) for m in measures if m.inside]
    for mark in part.marks:
        _write_mark(pen, part, mark, labels)
    for measure in measures:
        _draw_measure(pen, measure, labels)
    if part.kind == "body":
        _name_sides(pen, sheath, labels)
    title = f"{sheath.name}: {part.kind.upper()}  ·  cut 1, grain side up, do not turn over"
    sheet.text((x + PART_AIR, y + 1.0), title, NOTE)


def _write_mark(pen: Pen, part: Part, mark: Mark, labels: Labels) -> None:
    """Write a mark's words: large on the leather, small in the welt and the loop's pads."""
    if mark.kind == "label" and part.kind == "welt":
        labels.inside(pen.on_page(part.outline.polygon), mark.text, SMALL_MARK, angles=TILTS)
    elif mark.kind == "label":
        for style in (FACE, NAME):
            if labels.near(pen, mark.points[0], mark.text, style, steps=3):
                return
    elif mark.kind == "loop":
        labels.inside(pen.on_page(Polygon(mark.points)), mark.text, SMALL_MARK)
    elif mark.kind == "drain":
        labels.near(pen, mark.points.mean(axis=0), mark.text, SMALL_MARK, on_it=False)


def _draw_knife(pen: Pen, sheath: Sheath) -> None:
    """Lay in the knife and number the stations of the fit table along the fold."""
    pen.shade(Polygon(sheath.knife), KNIFE, layer=2.1, name="knife")
    side = 1.0 if sheath.knife[:, 1].mean() > sheath.fold else -1.0
    last = -np.inf  # the last number written; stations crowd at the tip
    for number, station in enumerate(sheath.stations, 1):
        foot, top = sheath.fold, sheath.fold + side * station.available
        pen.line([(station.x, foot), (station.x, top)], RULE, layer=2.2)
        if station.x > last + 3.0:
            pen.text((station.x + 0.5, foot + side * 2.0 - 0.7), str(number), SMALL)
            last = station.x


def _name_sides(pen: Pen, sheath: Sheath, labels: Labels) -> None:
    """Say on the knife which side of its blade is the edge: a mistaken one cuts the fold."""
    ring = sheath.knife
    start = next(s.x for s in sheath.stations if s.where == "blade")
    x = np.linspace(start, ring[:, 0].max(), 60)[:-1]
    seen = profile_of(ring, x)
    low, high = seen.back, seen.edge
    if ring[:, 1].mean() < sheath.fold:
        low, high = high, low
    middle = (low + high) / 2
    for words, side in (("KNIFE'S BACK", low), ("CUTTING EDGE", high)):
        strip = Polygon(np.vstack([np.c_[x, side], np.c_[x, middle][::-1]])).buffer(0)
        for shape in polygons_of(pen.on_page(strip))[:1]:
            if not labels.inside(shape, words, SIDE):
                labels.beside(shape, words, SIDE)


def _measures(sheath: Sheath, part: Part) -> list[Measure]:
    """The measures of a part, each drawn below it, to its left, or where it is."""
    x0, y0, x1, y1 = part.outline.bounds
    found: list[Measure] = []
    below = left = 0
    for d in (d for d in sheath.dimensions if d.part == part.kind):
        p, q = np.array(d.p), np.array(d.q)
        words = f"{d.label} {d.value:.1f}"
        level = abs(q[0] - p[0]) >= abs(q[1] - p[1])
        if level and abs(q[0] - p[0]) > 0.9 * (x1 - x0):
            below += 1
            found.append(Measure.moved(p, q, 1, y0 - MEASURE_STEP * below, words))
        elif not level and (min(p[0], q[0]) < x0 + 1.0 or abs(q[1] - p[1]) > 0.9 * (y1 - y0)):
            left += 1
            found.append(Measure.moved(p, q, 0, x0 - MEASURE_STEP * left, words))
        else:
            found.append(Measure((np.array([p, q]),), words, inside=True))
    return found


def _draw_measure(pen: Pen, measure: Measure, labels: Labels) -> None:
    line, *ties = measure.lines
    for tie in ties:
        pen.line(tie, TIE, layer=2.3)
    small = float(np.hypot(*(line[1] - line[0]))) < 6.0
    pen.arrow(line[0], line[1], MEASURE, both=True, head=0.8 if small else 1.8)
    middle = line.mean(axis=0)
    if measure.inside:
        labels.near(pen, middle, measure.words, SIZE, on_it=False, steps=6)
    else:
        angle = 0.0 if line[0][1] == line[1][1] else 90.0
        words = pen.text(middle, measure.words, SIZE, anchor="middle", angle=angle)
        pen.sheet.shade(words.box.buffer(0.6), Style(fill=PAPER), layer=3.2)


# --- the words -------------------------------------------------------------------------------


def _rows(sheath: Sheath) -> list[Row]:
    return [
        *_cut_rows(sheath),
        gap(2.0),
        *_sew_rows(sheath),
        gap(2.0),
        *_fit_rows(sheath),
        gap(2.0),
        *_remark_rows((*sheath.warnings, *sheath.guesses)),
    ]


def _cut_rows(sheath: Sheath) -> list[Row]:
    facts = sheath.facts
    rows = [head("Cut and glue", SIDEBAR)]
    for kind, area in facts.areas.items():
        rows.append(pair(f"Leather, {kind}", f"{area / DM2:.2f} dm²", SIDEBAR))
    rows.append(pair("Fold to the knife's back", f"{facts.fold_allowance:.1f} mm", SIDEBAR))
    rule = f"{facts.fold_rule:.1f} mm by the rule of thumb: the leather's thickness and a little"
    rows += note(rule, SIDEBAR)
    rows.append(pair("Welt stands out of the throat", f"{facts.welt_trim:g} mm", SIDEBAR))
    rows += note("trim it flush when the glue has set", SIDEBAR)
    return [*rows, gap(0.6), *caution("Glue fumes: air the room and follow the label.", SIDEBAR)]


def _sew_rows(sheath: Sheath) -> list[Row]:
    facts = sheath.facts
    low, high = facts.pitches
    pitch = f"{low:.2f}" if high - low < 0.005 else f"{low:.2f} to {high:.2f}"
    rows = [head("Sew", SIDEBAR)]
    rows.append(pair("Edge seam", f"{facts.stitches} stitches, {facts.seam:.0f} mm", SIDEBAR))
    if facts.loop_stitches:
        loop = f"{facts.loop_stitches} stitches, {facts.loop_seam:.0f} mm"
        rows.append(pair("Loop seams", loop, SIDEBAR))
    rows.append(pair("Pitch", f"{pitch} mm", SIDEBAR))
    thread = f"{facts.thread / 1000:.2f} m of {facts.thread_diameter:g} mm"
    rows.append(pair("Thread for the edge seam", thread, SIDEBAR))
    few, many = facts.thread_rule
    rule = f"rule of thumb, 7 to 8 × the seam: {few / 1000:.2f} to {many / 1000:.2f} m"
    rows += note(rule, SIDEBAR)
    if facts.loop_stitches:
        rows.append(pair("Thread for the loop", f"{facts.loop_thread / 1000:.2f} m", SIDEBAR))
    rows.append(pair("Needles", f"{facts.needles}", SIDEBAR))
    return [*rows, gap(0.6), *caution("Awl: keep the other hand out of its line.", SIDEBAR)]


def _fit_rows(sheath: Sheath) -> list[Row]:
    numbers, widths = (1, 2, 3, 4, 7), (5.0, 9.0, 13.0, 11.0, 11.0, 2.0, 15.0, 8.0, 2.0, 10.0)
    titles = ("", "at", "needed", "there", "slack", "", "", "off fold", "", "")
    rows = [head("Fit: fold to welt, mm", SIDEBAR), cells(titles, widths, NOTE, right=numbers)]
    for number, s in enumerate(sheath.stations, 1):
        figures = (f"{s.u:.0f}", f"{s.needed:.1f}", f"{s.available:.1f}", f"{s.slack:+.1f}")
        style = Type(6.2, ALARM if s.slack < -1.0 else INK)
        words = (f"{number}", *figures, "", s.verdict, f"{s.off:.1f}", "", s.standing)
        rows.append(cells(words, widths, style, right=numbers))
    says = (
        "“at” counts from the butt along the knife; leather along its neutral line. “off fold” is "
        "how far the knife's back stands off the fold, over 3 mm off, over 8 mm far off."
    )
    rows += [gap(0.6), *note(says, SIDEBAR), gap(0.6)]
    rows += [pair("Held in", told(sheath.facts.retention).partition(":")[0], SIDEBAR)]
    rows += note(told(sheath.facts.retention).partition(": ")[2], SIDEBAR)
    rule = "none under 0.3 mm, little under 0.8, else firm: our own choice, no published source"
    rows += [*note(rule, SIDEBAR), gap(0.6)]
    return [*rows, *caution("Tape over the blade's edge before you try the fit.", SIDEBAR)]


def _remark_rows(words: Sequence[str]) -> list[Row]:
    rows = [head("Mind", SIDEBAR)] if words else []
    for sentence in words:
        rows += [*note(sentence, SIDEBAR), gap(0.6)]
    return rows
