"""The sheath pattern at full size: cut it out, fold it round the knife, and it fits.

Parts lie grain side up at exactly 1:1, with the knife laid in, every stitch hole, the
measures, and beside them what a maker needs to know: the print check, the stitching, the
leather, and the fit station by station. Cautions stand with the step they belong to. On paper
all this is parted into pages of a printer at home; as a picture it is one page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiPoint, Point, Polygon, box

from hides.keys import one_of
from hides.outline import FloatArray, polygons_of
from hides.units import DM2, area_text
from hides.units import PAPERS as HOME_PAPERS
from nest.draw.book import Tile, pdf_of
from nest.draw.labels import Labels
from nest.draw.palette import (
    ALARM,
    BODY,
    FADED,
    INK,
    KNIFE,
    MEASURE,
    PATTERN,
    RULE,
    THREAD,
)
from nest.draw.parts import AT_HOME, TILTS, TRUE_HOLE, draw_marks
from nest.draw.rows import (
    Row,
    cells,
    gap,
    head,
    height_of,
    joined,
    note,
    pair,
    parted,
    stack,
    stroke,
)
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.words import Type, words_size
from nest.knife import profile_of
from nest.part import XY, Mark, Part
from nest.report.page import BAND, FINE, ISO_A, MARGIN, RULER, SQUARE, Page, caution, draw_check
from nest.report.tiles import FullSize, count_of, printed
from nest.sheaths import BACKSTITCHES, Sheath, told

ENDINGS = (".pattern.png", ".pattern.pdf", ".pattern.svg")
SIDEBAR = 91.0  # mm, width of a column of words
BESIDE = SIDEBAR + 7.0  # mm, with the room left of it
PART_AIR = 5.0  # mm round each part with its measures
MEASURE_STEP = 4.5  # mm from a part to its measures, and from one to the next
ASIDE = 1.9  # mm from a measure's line to the middle of its words
TICK = 1.5  # mm, to either side of the fold, where a station of the fit lies
LINE_AIR, SEAM_AIR = 0.25, 1.5  # mm kept free between words and lines, and an edge seam's holes
LABEL_NEAR = 45.0  # mm from where a part wants its label to where it may stand

# Nothing is set in less than 7 points: patterns are read at the bench.
FACE = Type(11.0, FADED, bold=True)
NAME = Type(7.0, FADED, bold=True)
ON_PART = Type(7.0, FADED)
SIDE = Type(7.0, INK, bold=True, halo=KNIFE.fill)
SMALL_MARK = Type(7.0, THREAD, halo=KNIFE.fill)
WARN = Type(7.0, ALARM, bold=True)
TIE = Style(edge=MEASURE.edge, width=0.08)
SIZE = Type(7.0, MEASURE.edge, halo=PATTERN.fill)
TWICE = Style(edge=THREAD, width=0.45)  # a stitch that is sewn twice


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


def pattern_sheet(sheath: Sheath) -> Sheet:
    """Draw a sheath's pattern at 1:1 as one picture: the smallest of
    :data:`nest.report.page.ISO_A` that holds all, beyond A1 as large as needed.
    """
    items = [Item(_reach(sheath, part), part) for part in sheath.parts]
    rows = [row for section in _sections(sheath) for row in (section, gap(2.0))]
    width, height, places = _laid_out([*items, CHECK], height_of(rows))
    title = f"{sheath.name}: sheath pattern 1:1"
    page = Page((width, height), title, _about(sheath), sidebar=SIDEBAR)
    for item, place in zip(items, places, strict=False):
        _draw_part(page, sheath, item, place)
    x, y = places[-1]
    draw_check(page, x + PART_AIR, y + PART_AIR + 8.0)
    stack(page, rows, page.side, page.top)
    return page


picture = pattern_sheet


def pattern_pages(sheath: Sheath, paper: str) -> list[Sheet | Tile]:
    """The pattern to print on ``paper`` of :data:`hides.units.PAPERS`.

    How to use it, all figures, and the parts at 1:1 over as many pages as they need.
    """
    title = f"{sheath.name}: sheath pattern 1:1"
    body, *others = sheath.parts
    drawings = [_full_size(sheath, [body], paper)]
    drawings.append(_full_size(sheath, others, paper))
    return printed(title, drawings, paper, second=_figure_pages(sheath, paper))


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
        "backstitches": f"{BACKSTITCHES} at each end of each seam, counted in the thread",
        "welt when closed": f"its seam is {_welt_seam(sheath)} than flat",
        "welt trim": f"{f.welt_trim:.1f} mm",
        "retention": told(f.retention),
        **{f"{kind} area": area_text(area) for kind, area in f.areas.items()},
    }


def files(sheath: Sheath, name: str, *, paper: str | None = None) -> dict[str, bytes]:
    """The pattern as a picture and, for a printer, on pages of ``paper``: "a4" or "letter"."""
    paper = paper or "a4"
    one_of(paper, "paper", tuple(HOME_PAPERS))
    sheet = pattern_sheet(sheath)
    png, pdf, svg = (name + ending for ending in ENDINGS)
    pages = pdf_of(pattern_pages(sheath, paper), sheet.title)
    return {png: sheet.data("png"), pdf: pages, svg: sheet.data("svg")}


def _about(sheath: Sheath) -> str:
    loop = "loop sewn on" if sheath.choices.loop == "sewn" else "back rises to the loop"
    worn = f"worn on the {sheath.hand}, {loop}, belt {sheath.choices.belt:g} mm"
    return f"{worn}    ·    {sheath.choices.leather:g} mm leather    ·    grain side up"


# --- the pages -------------------------------------------------------------------------------


def _full_size(sheath: Sheath, parts: Sequence[Part], paper: str) -> FullSize:
    """Parts one below the other, with as much of the knife as takes no page more."""
    bare, whole = ([Item(_reach(sheath, p, knife=k), p) for p in parts] for k in (False, True))
    items = min(whole, bare, key=lambda tried: _tiles_of(tried, paper))
    width, height = _extent(items)
    sheet = Sheet(width, height)
    shown, top = [], height
    for item in items:
        top -= item.height
        shown.append(_draw_part(sheet, sheath, item, (0.0, top)))
    kinds = " and ".join(part.kind for part in parts)
    return FullSize(kinds, f"cut 1 × {kinds}", sheet, tuple(shown), landscape=True)


def _tiles_of(items: Sequence[Item], paper: str) -> int:
    columns, rows = count_of(*_extent(items), paper, landscape=True)
    return columns * rows


def _extent(items: Sequence[Item]) -> tuple[float, float]:
    return max(item.width for item in items), sum(item.height for item in items)


def _figure_pages(sheath: Sheath, paper: str) -> list[Sheet]:
    """All that is told beside the parts, in two columns a page."""
    width, height = HOME_PAPERS[paper][::-1]
    room = height - 2 * MARGIN - BAND - 2.0
    sections = [joined([section, gap(2.0)]) for section in _sections(sheath)]
    count = next(n for n in range(2, 99, 2) if max(map(height_of, parted(sections, n))) <= room)
    columns = parted(sections, count)
    pages: list[Sheet] = []
    for left, right in zip(columns[::2], columns[1::2], strict=True):
        page = Page((width, height), f"{sheath.name}: figures", _about(sheath), sidebar=SIDEBAR)
        stack(page, left, MARGIN, page.top)
        stack(page, right, page.side, page.top)
        pages.append(page)
    return pages


def _laid_out(items: Sequence[Item], words: float) -> tuple[float, float, list[XY]]:
    """Page size, and where the lower left corner of each item's box goes."""
    for width, height in (size[::way] for size in ISO_A.values() for way in (1, -1)):
        top = height - MARGIN - BAND
        places, foot = _shelves(items, width - 2 * MARGIN - BESIDE, top)
        if min(foot, top - words) >= MARGIN:
            return width, height, places
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


def _reach(sheath: Sheath, part: Part, *, knife: bool = True) -> tuple[float, float, float, float]:
    """The box of a part with its measures and, if asked for, the knife laid in."""
    points = [part.outline.points, *(line for m in _measures(sheath, part) for line in m.lines)]
    if part.kind == "body" and knife:
        points.append(sheath.knife)
    low, high = np.vstack(points).min(axis=0), np.vstack(points).max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


# --- the parts -------------------------------------------------------------------------------


def _draw_part(sheet: Sheet, sheath: Sheath, item: Item, place: XY) -> Polygon:
    """Draw a part with all that stands on it; its outline on the page."""
    part = item.part
    if part is None:
        return Polygon()
    x, y = place
    pen = Pen(sheet, 1.0, (x + PART_AIR - item.bounds[0], y + PART_AIR - item.bounds[1]))
    shape = pen.on_page(part.outline.polygon)
    sheet.shade(shape, PATTERN, layer=2.0, name=f"part:{part.kind}")
    measures = _measures(sheath, part)
    labels = Labels(pen)
    labels.room = shape.buffer(-0.8)
    labels.obstacles += _taken(pen, part, measures)
    if part.kind == "body":
        labels.obstacles.append(pen.on_page(LinearRing(sheath.knife)))
        _draw_knife(pen, sheath, labels)
        _name_sides(pen, sheath, labels)
    draw_marks(pen, part, AT_HOME, hole=TRUE_HOLE)
    for mark in part.marks:
        for ends in _sewn_twice(mark):
            pen.line(ends, TWICE, layer=3.5, name="backstitches")
    for measure in sorted(measures, key=lambda m: not m.inside):
        _draw_measure(pen, part, measure, labels)
    for mark in part.marks:
        _write_mark(pen, part, mark, labels)
    rule = "cut 1, grain side up, do not turn over"
    for words in (f"{sheath.name} {part.kind}: {rule}", f"{sheath.name} {part.kind}: cut 1"):
        if labels.inside(shape, words, ON_PART, angles=TILTS):
            break
    return shape


def _taken(pen: Pen, part: Part, measures: Sequence[Measure]) -> list[shapely.Geometry]:
    """Where no words may stand: on holes, lines and measures; page mm."""
    taken: list[shapely.Geometry] = []
    for mark in part.marks:
        points = pen.at(mark.points)
        if mark.kind == "stitch" and mark.text == "loop":
            taken += polygons_of(MultiPoint(points).buffer(TRUE_HOLE / 2 + LINE_AIR))
        elif mark.kind == "stitch":
            taken.append(LineString(points).buffer(SEAM_AIR))
        elif len(points) > 1:
            line = np.vstack([points, points[:1]]) if mark.closed else points
            taken.append(LineString(line).buffer(LINE_AIR))
    lines = (line for m in measures for line in m.lines)
    return [*taken, *(LineString(pen.at(line)).buffer(LINE_AIR) for line in lines)]


def _sewn_twice(mark: Mark) -> Iterator[FloatArray]:
    """The holes of the stitches at each end of a mark's seams that are sewn twice."""
    if mark.kind == "stitch":
        pads = 2 if mark.text == "loop" else 1
        for seam in np.split(mark.points, pads):
            yield seam[: BACKSTITCHES + 1]
            yield seam[-BACKSTITCHES - 1 :]


def _write_mark(pen: Pen, part: Part, mark: Mark, labels: Labels) -> None:
    """Write a mark's words: large on the leather, small in the loop's pads."""
    if mark.kind == "label" and part.kind == "body":
        place = Point(mark.points[0])
        half = next(r.outline.polygon for r in part.regions if r.outline.polygon.contains(place))
        near = pen.on_page(half.intersection(place.buffer(LABEL_NEAR)))
        for style in (FACE, NAME):
            if any(labels.inside(one, mark.text, style) for one in polygons_of(near)[:1]):
                return
    elif mark.kind == "loop":
        pad = pen.on_page(Polygon(mark.points))
        labels.inside(pad, mark.text.removeprefix("loop, "), SMALL_MARK, angles=(0.0, 90.0))
    elif mark.kind == "drain" or (mark.kind == "fold" and mark.text):
        labels.near(pen, mark.points.mean(axis=0), mark.text, SMALL_MARK, on_it=False, steps=4)


def _draw_knife(pen: Pen, sheath: Sheath, labels: Labels) -> None:
    """Lay in the knife and number the stations of the fit table on the front, along the fold."""
    pen.shade(Polygon(sheath.knife), KNIFE, layer=2.1, name="knife")
    side = 1.0 if sheath.knife[:, 1].mean() > sheath.fold else -1.0
    for number, station in enumerate(sheath.stations, 1):
        x, foot, top = station.x, sheath.fold, sheath.fold + side * station.available
        pen.line([(x, foot - TICK), (x, foot + TICK)], RULE, layer=3.3)
        pen.line([(x, top - side * TICK), (x, top)], RULE, layer=3.3)
        spots = [(x + off, foot - side * (TICK + 1.8)) for off in (0.0, 1.5, -1.5, 3.0)]
        written = labels.at(pen.at(spots), str(number), FINE)
        if written:  # the next one keeps off a little more than other words do
            labels.obstacles.append(written.box.buffer(0.8))


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
        if level and abs(q[0] - p[0]) > 0.5 * (x1 - x0):
            below += 1
            found.append(Measure.moved(p, q, 1, y0 - MEASURE_STEP * below, words))
        elif not level and (min(p[0], q[0]) < x0 + 1.0 or abs(q[1] - p[1]) > 0.9 * (y1 - y0)):
            left += 1
            found.append(Measure.moved(p, q, 0, x0 - MEASURE_STEP * left, words))
        else:
            found.append(Measure((np.array([p, q]),), words, inside=True))
    return found


def _draw_measure(pen: Pen, part: Part, measure: Measure, labels: Labels) -> None:
    """Draw a measure, its words along its line, or near it where the line is short."""
    line, *ties = measure.lines
    for tie in ties:
        pen.line(tie, TIE, layer=2.3)
    long = float(np.hypot(*(line[1] - line[0])))
    pen.arrow(line[0], line[1], MEASURE, both=True, head=0.8 if long < 6.0 else 1.8)
    level = bool(line[0][1] == line[1][1])
    along, aside = np.array([[1.0, 0.0], [0.0, 1.0]])[:: 1 if level else -1]
    middle = pen.at(line).mean(axis=0)
    width = words_size(measure.words, SIZE)[0]
    most = max(0.0, (long - width) / 2)
    shifts = sorted(np.linspace(-most, most, 2 * int(most) + 3), key=abs)
    sides = (1, -1) if measure.inside else (1,)  # else the part lies above it or to its right
    places = np.array([middle + s * along + d * ASIDE * aside for s in shifts for d in sides])
    near = copy(labels)
    near.room = (
        _room_of(pen, part, line)
        if measure.inside
        else box(0, 0, pen.sheet.width, pen.sheet.height)
    )
    if long > width and near.at(places, measure.words, SIZE, angle=0.0 if level else 90.0):
        return
    if not near.near(pen, line.mean(axis=0), measure.words, SIZE, on_it=False):
        near.beside(Point(middle).buffer(0.3), measure.words, SIZE)


def _room_of(pen: Pen, part: Part, line: FloatArray) -> Polygon:
    """Where the words of a measure on a part belong: on the same half as its line."""
    middle = Point(line.mean(axis=0))
    shapes = [region.outline.polygon for region in part.regions]
    return pen.on_page(min(shapes, key=middle.distance)).buffer(-0.8)


# --- the words -------------------------------------------------------------------------------


def _sections(sheath: Sheath) -> list[Row]:
    """All that is told beside the parts, what to mind first; each section stays whole."""
    sections = (
        _sentences("Mind", sheath.warnings),
        _cut_rows(sheath),
        _sew_rows(sheath),
        _fit_rows(sheath),
        _held_rows(sheath),
        _sentences("Taken from the drawing", sheath.guesses),
    )
    return [joined(rows) for rows in sections if rows]


def _cut_rows(sheath: Sheath) -> list[Row]:
    facts = sheath.facts
    rows = [head("Cut and glue", SIDEBAR)]
    for kind, area in facts.areas.items():
        rows.append(pair(f"Leather, {kind}", f"{area / DM2:.2f} dm²", SIDEBAR))
    rows.append(pair("Fold to the knife's back", f"{facts.fold_allowance:.1f} mm", SIDEBAR))
    rule = f"{facts.fold_rule:.1f} mm by the rule of thumb: the leather's thickness and a little"
    rows += _note(rule)
    rows.append(pair("Welt stands out of the throat", f"{facts.welt_trim:g} mm", SIDEBAR))
    rows += _note("trim it flush when the glue has set")
    rows.append(pair("Welt's seam when closed", f"{_welt_seam(sheath)} than flat", SIDEBAR))
    rows += _note("glue it from the tip on, hole on hole: the difference comes out at the throat")
    return [*rows, gap(0.6), *_caution("Glue fumes: air the room and follow the label.")]


def _welt_seam(sheath: Sheath) -> str:
    """The length of the welt's seam when the sheath is closed, against flat."""
    f = sheath.facts
    way = "longer" if f.welt_longer > 0 else "shorter"
    return f"{f.seam + f.welt_longer:.1f} mm, {abs(f.welt_longer):.1f} mm {way}"


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
    rows += _note(f"rule of thumb, 7 to 8 × the seam: {few / 1000:.2f} to {many / 1000:.2f} m")
    if facts.loop_stitches:
        rows.append(pair("Thread for the loop", f"{facts.loop_thread / 1000:.2f} m", SIDEBAR))
    rows.append(pair("Needles", f"{facts.needles}", SIDEBAR))
    twice = f"sewn twice: {BACKSTITCHES} stitches at each end of each seam, counted in the thread"
    rows += [gap(0.6), *stroke(TWICE, twice, SIDEBAR, FINE)]
    return [*rows, gap(0.6), *_caution("Awl: keep the other hand out of its line.")]


def _fit_rows(sheath: Sheath) -> list[Row]:
    numbers, widths = (1, 2, 3, 4, 7), (5.0, 9.0, 13.0, 11.0, 11.0, 2.0, 16.0, 9.0, 2.0, 13.0)
    titles = ("", "at", "needed", "there", "slack", "", "", "off fold", "", "")
    rows = [head("Fit: fold to welt, mm", SIDEBAR), cells(titles, widths, FINE, right=numbers)]
    for number, s in enumerate(sheath.stations, 1):
        figures = (f"{s.u:.0f}", f"{s.needed:.1f}", f"{s.available:.1f}", f"{s.slack:+.1f}")
        style = Type(7.0, ALARM if s.slack < -1.0 else INK)
        words = (f"{number}", *figures, "", s.verdict, f"{s.off:.1f}", "", s.standing)
        rows.append(cells(words, widths, style, right=numbers))
    says = (
        "“at” counts from the butt along the knife; leather along its neutral line. “off fold” is "
        "how far the knife's back stands off the fold, over 3 mm off, over 8 mm far off."
    )
    rows += [gap(0.6), *_note(says), gap(0.6)]
    return [*rows, *_caution("Tape over the blade's edge before you try the fit.")]


def _held_rows(sheath: Sheath) -> list[Row]:
    word, _, why = told(sheath.facts.retention).partition(": ")
    rows = [head("What holds the knife", SIDEBAR), pair("Retention", word, SIDEBAR), *_note(why)]
    rule = (
        "By the give of each half, fold to welt: none under 0.3 mm, little under 0.8, firm from "
        "there on. Our own choice, no published source."
    )
    return [*rows, *_note(rule)]


def _sentences(title: str, words: Sequence[str]) -> list[Row]:
    rows = [head(title, SIDEBAR)] if words else []
    for sentence in words:
        rows += [*note(sentence, SIDEBAR, BODY), gap(0.6)]
    return rows


def _note(words: str) -> list[Row]:
    return note(words, SIDEBAR, FINE)


def _caution(words: str) -> list[Row]:
    return caution(words, SIDEBAR, WARN)
