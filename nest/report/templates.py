"""Templates for cutting by hand: each different part once, at full size.

A template shows what is cut and what is pricked through it: the outline, every stitch hole as
an awl dot, fold and throat, and on a body the welt's inner line as a line of awl dots. P and Q
are the two stitch holes farthest apart; the placing sheet says where on the hide they belong.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product

import numpy as np
import shapely
from scipy.spatial.distance import pdist, squareform
from shapely import LineString, MultiPoint, Point, Polygon

from hides.outline import FloatArray, polygons_of, turned
from nest.cutter.caution import BY_HAND
from nest.draw.book import Tile
from nest.draw.labels import Labels
from nest.draw.palette import INK, NOTE, PATTERN, SEAM, THREAD
from nest.draw.parts import TILTS, TRUE_HOLE, draw_marks, outline_of
from nest.draw.sheet import Box, Sheet, Style
from nest.draw.words import Type
from nest.part import Part
from nest.plans import SUFFIX, Placement, Plan, number_of, patterns_of
from nest.report.tiles import OVERLAP, FullSize, count_of, printed, window_of

TEMPLATE_AIR = 3.0  # mm kept round each template
WORDS_CLEAR = 1.6  # mm kept free between words and lines: letters hang below their line
AWL_DOT = 0.8  # mm, a dot of the welt's inner line
DOT_STEP = 8.0  # mm from one such dot to the next
RING_WIDTH = 4.0  # mm, diameter of the rings at P and Q
LABEL_NEAR = 30.0  # mm from where a part wants its label to where it may stand
MOST_COLUMNS = 4  # tiles side by side at most, while looking for a good layout

NAME = Type(9.0, INK, bold=True)
SAYS = Type(6.4, INK)
FACE = Type(8.0, THREAD, bold=True)
LETTER = Type(9.0, INK, bold=True, halo=PATTERN.fill)
RING = Style(edge=INK, width=0.3)


@dataclass(frozen=True, slots=True)
class Template:
    """A part to be drawn once.

    ``sheath`` names what it belongs to, ``letter`` is that pattern's letter on the plan's pages,
    ``count`` how many the plan places and ``plan`` the plan's number.
    """

    sheath: str
    part: Part
    letter: str
    count: int
    plan: str

    @property
    def name(self) -> str:
        """What it is called: the letter, with W for welt, L for loop, and in words."""
        return f"{self.letter}{SUFFIX[self.part.kind]}  {self.sheath} {self.part.kind}"


def templates_of(plan: Plan) -> tuple[Template, ...]:
    """Every different part that the plan places, once, in the order of the week."""
    patterns, found = patterns_of(plan), dict[tuple[str, str], Template]()
    placed = {placement.id for placement in plan.placements}
    for wanted in plan.wanted:
        if wanted.id in placed:
            pattern = patterns[wanted.kit]
            key = (pattern.letter, wanted.part.kind)
            first = Template(pattern.name, wanted.part, pattern.letter, 0, number_of(plan))
            seen = found.setdefault(key, first)
            found[key] = replace(seen, count=seen.count + 1)
    return tuple(found.values())


def targets(part: Part) -> tuple[FloatArray, FloatArray]:
    """P and Q in the part frame, mm: the two stitch holes farthest apart, P nearer to the left.

    Where the holes are no more than half as far apart as the corners of the outline, a template
    laid by them would lie askew, and those corners are P and Q.
    """
    holes = [mark.points for mark in part.marks if mark.kind == "stitch"]
    best = _farthest(part.outline.points)
    if holes:
        seam = _farthest(np.vstack(holes))
        if np.hypot(*(seam[1] - seam[0])) > 0.5 * np.hypot(*(best[1] - best[0])):
            best = seam
    return best


def _farthest(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The two of (n, 2) points that lie farthest apart, the left one first."""
    i, j = divmod(int(np.argmax(squareform(pdist(points)))), len(points))
    first, second = sorted((points[i], points[j]), key=lambda point: tuple(point))
    return first, second


def template_pages(
    title: str, templates: Sequence[Template], paper: str, warnings: Sequence[str] = ()
) -> list[Sheet | Tile]:
    """The pages to print, ``paper`` of :data:`hides.units.PAPERS`; one sheath a page, all
    ``warnings`` on each.
    """
    groups: dict[tuple[str, str], list[Template]] = {}
    for template in templates:
        groups.setdefault((template.letter, template.sheath), []).append(template)
    drawings = [_drawing(group, paper) for group in groups.values()]
    return printed(title, drawings, paper, BY_HAND, warnings)


# --- laying the templates of a sheath on few pages -------------------------------------------


@dataclass(frozen=True, slots=True)
class _Arranged:
    """A template on the drawing: turned by 0 or 90 degrees, then moved."""

    template: Template
    at: Placement
    bounds: Box


def _drawing(group: Sequence[Template], paper: str) -> FullSize:
    laid = min(_layouts(group, paper), key=lambda tried: _cost(tried, paper))
    width, height = _extent(laid)
    sheet = Sheet(width, height)
    for one in laid:
        _draw_template(sheet, one)
    parts = ", ".join(f"{t.count} × {t.part.kind}" for t in group)
    title = f"{group[0].letter}  {group[0].sheath}"
    return FullSize(
        title, f"cut {parts}", sheet, tuple(outline_of(one.template.part, one.at) for one in laid)
    )


def _layouts(group: Sequence[Template], paper: str) -> Iterator[list[_Arranged]]:
    """Rows of templates in every order and turn, on up to :data:`MOST_COLUMNS` pages abreast."""
    wide = window_of(paper)[0]
    for columns in range(1, MOST_COLUMNS + 1):
        room = columns * (wide - OVERLAP) + OVERLAP
        for order in permutations(group):
            for turns in product((0.0, 90.0), repeat=len(group)):
                yield _shelved(list(zip(order, turns, strict=True)), room, wide)


def _shelved(items: Sequence[tuple[Template, float]], room: float, wide: float) -> list[_Arranged]:
    """Rows from the top down; a template wider than the room sticks out of it."""
    laid: list[_Arranged] = []
    x = top = low = 0.0
    for template, turn in items:
        points = turned(template.part.outline.points, turn)
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        width, height = x1 - x0 + 2 * TEMPLATE_AIR, y1 - y0 + 2 * TEMPLATE_AIR
        x = _clear_of_joints(x, width, wide)
        if x and x + width > room:
            x, top = 0.0, low
        at = Placement("", turn, float(x + TEMPLATE_AIR - x0), float(top - TEMPLATE_AIR - y1))
        bounds = (float(x), float(top - height), float(x + width), float(top))
        laid.append(_Arranged(template, at, bounds))
        low = min(low, top - height)
        x += width
    return [_raised(one, -low) for one in laid]


def _clear_of_joints(x: float, width: float, wide: float) -> float:
    """The next x at which a template is whole on one page, if a page is wide enough for it."""
    step = wide - OVERLAP
    page = max(np.floor(x / step), 0.0)
    if width > wide or x + width <= page * step + wide:
        return x
    return float((page + 1) * step) + (OVERLAP if width <= step else 0.0)


def _raised(one: _Arranged, by: float) -> _Arranged:
    x0, y0, x1, y1 = one.bounds
    return _Arranged(one.template, replace(one.at, y=one.at.y + by), (x0, y0 + by, x1, y1 + by))


def _extent(laid: Sequence[_Arranged]) -> tuple[float, float]:
    return max(one.bounds[2] for one in laid), max(one.bounds[3] for one in laid)


def _cost(laid: Sequence[_Arranged], paper: str) -> tuple[int, float, float]:
    """Fewest pages, then fewest templates turned, then the lowest."""
    width, height = _extent(laid)
    columns, rows = count_of(width, height, paper)
    return columns * rows, sum(one.at.angle for one in laid), height


# --- one template ----------------------------------------------------------------------------


def _draw_template(sheet: Sheet, one: _Arranged) -> None:
    part, at = one.template.part, one.at
    shape = outline_of(part, at)
    sheet.shade(shape, PATTERN, layer=2.0, name=f"template:{one.template.name}")
    draw_marks(sheet, part, at, hole=TRUE_HOLE)
    labels = Labels(sheet)
    labels.room = shape.buffer(-1.0)
    labels.obstacles += _taken(part, at)
    for mark in part.marks:
        if mark.kind == "inner":
            line = turned(mark.points, at.angle, at.x, at.y)
            sheet.dots(_along(line), AWL_DOT, SEAM, layer=3.6, name="awl:inner")
    _draw_targets(sheet, part, at, labels)
    _write(sheet, one, labels)


def _taken(part: Part, at: Placement) -> list[shapely.Geometry]:
    """Where no words may stand: on holes and lines."""
    taken: list[shapely.Geometry] = []
    for mark in part.marks:
        points = turned(mark.points, at.angle, at.x, at.y)
        if mark.kind == "stitch":
            taken += polygons_of(MultiPoint(points).buffer(TRUE_HOLE, quad_segs=2))
        elif len(points) > 1:
            taken.append(LineString(points).buffer(WORDS_CLEAR, quad_segs=2))
    return taken


def _along(line: FloatArray) -> FloatArray:
    """Points every :data:`DOT_STEP` mm or a little less along a line, both ends among them."""
    path = LineString(line)
    count = max(2, int(np.ceil(path.length / DOT_STEP)) + 1)
    places = [path.interpolate(share, normalized=True) for share in np.linspace(0, 1, count)]
    return np.array([(place.x, place.y) for place in places])


def _draw_targets(sheet: Sheet, part: Part, at: Placement, labels: Labels) -> None:
    for letter, point in zip("PQ", targets(part), strict=True):
        place = turned(point[None], at.angle, at.x, at.y)[0]
        sheet.dots([place], RING_WIDTH, RING, layer=3.8, name=f"target:{letter}")
        labels.obstacles.append(Point(place).buffer(RING_WIDTH / 2))
        reach = RING_WIDTH / 2 + 2.2
        free = [place + reach * np.array(way) for way in _ways()]
        inside = [spot for spot in free if labels.room.contains(Point(spot).buffer(1.6))]
        spots = inside or free
        clear = [spot for spot in spots if not _hits(labels, spot)]
        sheet.text((clear or spots)[0], letter, LETTER, anchor="middle")


def _ways() -> Iterator[tuple[float, float]]:
    for degrees in range(0, 360, 15):
        yield float(np.cos(np.deg2rad(degrees))), float(np.sin(np.deg2rad(degrees)))


def _hits(labels: Labels, spot: FloatArray) -> bool:
    return any(shapely.dwithin(obstacle, Point(spot), 1.6) for obstacle in labels.obstacles)


def _write(sheet: Sheet, one: _Arranged, labels: Labels) -> None:
    """The template's name and what to mind, then what the part's own labels say."""
    template, part, at = one.template, one.template.part, one.at
    shape, angles = outline_of(part, at), tuple(at.angle + tilt for tilt in TILTS[:5])
    p, q = targets(part)
    _fit(labels, shape, f"{template.name}  × {template.count}", (NAME, SAYS), angles)
    _fit(labels, shape, f"plan {template.plan}", (SAYS, NOTE), angles)
    facts = f"grain side up, never turned over; P to Q {np.hypot(*(q - p)):.1f} mm"
    _fit(labels, shape, facts, (SAYS, NOTE), angles)
    for mark in part.marks:
        if mark.kind == "label" and part.kind == "body":
            place = Point(turned(mark.points, at.angle, at.x, at.y)[0])
            _fit(labels, place.buffer(LABEL_NEAR), mark.text, (FACE, SAYS), angles)


def _fit(
    labels: Labels, shape: Polygon, words: str, styles: Sequence[Type], angles: Sequence[float]
) -> None:
    """Write in the first of ``styles`` that finds room within ``shape``."""
    for style in styles:
        written = labels.inside(shape, words, style, angles=angles)
        if written:
            labels.obstacles.append(written.box.buffer(WORDS_CLEAR))
            return
