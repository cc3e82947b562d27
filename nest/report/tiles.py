"""Drawings at full size on the small pages of a printer at home.

A :class:`FullSize` larger than a page is parted into tiles that overlap, and whoever glues them
together cuts each page where it joins the one before and lays it over that one. Crop marks stand
at the corners of each tile, and short lines cross every joint: they meet when the pages lie
right. The first page has a map of the tiles, a square and a ruler to check the print by, and
every page has the ruler.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, box

from hides.units import PAPERS
from nest.draw.book import Tile
from nest.draw.palette import BODY, FADED, INK, PAPER, STRONG, THICK
from nest.draw.rows import Row, cells, gap, head, height_of, note, stack
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.words import Type
from nest.report.page import (
    FINE,
    LARGE_CAUTION,
    MARGIN,
    RULER,
    SQUARE,
    Page,
    caution,
    draw_check,
    draw_ruler,
)

FOOT = 17.0  # mm, room below a tile for ruler, page number and map
OVERLAP = 10.0  # mm by which a tile laps over the one before
CROP = 4.0  # mm, length of a crop mark
CROSSINGS = (0.12, 0.5, 0.88)  # where along a joint its crossing lines stand
TOLD_AT = 0.31  # where along a joint its words stand
BESIDE = 2.2  # mm from the edge of a tile to the middle of words beside it
CROSSING = 6.0  # mm, how far one reaches to either side
MAP = (42.0, 13.0)  # mm, most room of the map in the foot of a page

LINE_LENGTH = 100  # characters that find room in a line of the foot beside a few more words
CROPS = Style(edge=INK, width=0.15)
JOINT = Style(edge=FADED, width=0.15, dash=(3.0, 1.2))
CUT_HERE = Style(edge=FADED, width=0.15)
SEEN = Style(fill=PAPER, edge=FADED, width=0.15)
HERE = Style(fill=THICK, edge=INK, width=0.3)
TOLD = Type(FINE.size, FADED, halo=PAPER)

HOW = (
    "Print at 100 % (“actual size”), not “fit to page”. Measure the ruler and the square below "
    "with a steel rule; if they are off, so is everything else.",
    "Where a drawing runs over several pages: cut each page along the line with the scissors, "
    "lay it over the page before up to the dashed line, so that the short lines across the "
    "joint meet, and glue it there.",
    "Glue the paper on card and cut on the middle of the outline.",
)


@dataclass(frozen=True, eq=False, slots=True)
class FullSize:
    """Something to print at its true size.

    ``title`` names it, ``below`` is a line about it, ``shown`` are the shapes on it (mm on the
    sheet): tiles without any are left out. ``landscape`` says which way its pages lie.
    """

    title: str
    below: str
    sheet: Sheet
    shown: tuple[Polygon, ...]
    landscape: bool = False


@dataclass(frozen=True, slots=True)
class Joined:
    """A tile of a drawing: its column from the left, row from the top, window and page number."""

    column: int
    row: int
    window: Box
    page: int


def window_of(paper: str, *, landscape: bool = False) -> tuple[float, float]:
    """Width and height in mm of what one page of ``paper`` of :data:`~hides.units.PAPERS` shows."""
    width, height = _size(paper, landscape)
    return width - 2 * MARGIN, height - 2 * MARGIN - FOOT


def _size(paper: str, landscape: bool) -> tuple[float, float]:
    return PAPERS[paper] if landscape else PAPERS[paper][::-1]


def count_of(
    width: float, height: float, paper: str, *, landscape: bool = False
) -> tuple[int, int]:
    """Columns and rows of tiles for a drawing of that size in mm."""
    pairs = zip((width, height), window_of(paper, landscape=landscape), strict=True)
    columns, rows = (
        max(1, math.ceil((size - OVERLAP) / (room - OVERLAP) - 1e-9)) for size, room in pairs
    )
    return columns, rows


def printed(
    title: str,
    drawings: Sequence[FullSize],
    paper: str,
    cautions: Sequence[str] = (),
    warnings: Sequence[str] = (),
    second: Sequence[Sheet] = (),
) -> list[Sheet | Tile]:
    """Lay drawings out on pages of ``paper``, with a first page that says how to use them.

    ``cautions`` stand on the first page, ``warnings`` on every page; ``second`` are pages that
    follow the first one.
    """
    plans: list[tuple[FullSize, list[Joined]]] = []
    next_page = 2 + len(second)
    for drawing in drawings:
        tiles = _tiles(drawing, paper, next_page)
        plans.append((drawing, tiles))
        next_page += len(tiles)
    last = next_page - 1
    cover = _cover(title, plans, paper, last, (*warnings, *cautions))
    pages: list[Sheet | Tile] = [cover, *second]
    for drawing, tiles in plans:
        for tile in tiles:
            tile_page = _page(title, drawing, tiles, tile, paper, last)
            if warnings:
                tile_page.page.text((MARGIN, MARGIN + 13.4), _in_short(warnings), LARGE_CAUTION)
            pages.append(tile_page)
    return pages


def _in_short(warnings: Sequence[str]) -> str:
    """What finds room in the foot of a page: the first of warnings, and where the rest stands."""
    first = textwrap.shorten(warnings[0], LINE_LENGTH, placeholder=" …")
    whole = len(warnings) == 1 and first == warnings[0]
    return first if whole else f"{first} More on the first page."


def _tiles(drawing: FullSize, paper: str, first: int) -> list[Joined]:
    """The tiles that show something, row by row from the upper left."""
    sheet, (wide, high) = drawing.sheet, window_of(paper, landscape=drawing.landscape)
    columns, rows = count_of(sheet.width, sheet.height, paper, landscape=drawing.landscape)
    tiles: list[Joined] = []
    for row in range(rows):
        for column in range(columns):
            x, top = column * (wide - OVERLAP), sheet.height - row * (high - OVERLAP)
            window = (x, top - high, x + wide, top)
            if any(box(*window).intersects(one) for one in drawing.shown):
                tiles.append(Joined(column, row, window, first + len(tiles)))
    return tiles


# --- the pages -------------------------------------------------------------------------------


def _page(
    title: str, drawing: FullSize, tiles: Sequence[Joined], tile: Joined, paper: str, last: int
) -> Tile:
    sheet = Sheet(*_size(paper, drawing.landscape), title=title)
    wide, high = window_of(paper, landscape=drawing.landscape)
    corner = (MARGIN, MARGIN + FOOT)
    _draw_crops(sheet, (*corner, corner[0] + wide, corner[1] + high))
    _draw_joints(sheet, drawing, tiles, tile)
    _draw_foot(sheet, title, drawing, tiles, tile, last)
    return Tile(sheet, drawing.sheet, tile.window, corner)


def _draw_crops(sheet: Sheet, frame: Box) -> None:
    """Two short lines at each corner of the tile, outside it."""
    x0, y0, x1, y1 = frame
    for x, outwards in ((x0, -1.0), (x1, 1.0)):
        for y, upwards in ((y0, -1.0), (y1, 1.0)):
            sheet.line([(x + outwards, y), (x + outwards * (1 + CROP), y)], CROPS)
            sheet.line([(x, y + upwards), (x, y + upwards * (1 + CROP))], CROPS)


def _draw_joints(sheet: Sheet, drawing: FullSize, tiles: Sequence[Joined], tile: Joined) -> None:
    """The joints with the neighbours: a joint is the left or the upper edge of the later tile."""
    places = {(t.column, t.row): t for t in tiles}
    for across, (right, down) in ((True, (1, 0)), (False, (0, 1))):
        before = places.get((tile.column - right, tile.row - down))
        after = places.get((tile.column + right, tile.row + down))
        if before is not None and _joins(drawing, before, tile):
            words = f"✂ cut here and lay it over page {before.page}"
            _draw_joint(sheet, (tile, tile), words, CUT_HERE, across=across)
        if after is not None and _joins(drawing, tile, after):
            words = f"page {after.page} lies over this page up to the dashed line"
            _draw_joint(sheet, (tile, after), words, JOINT, across=across)


def _joins(drawing: FullSize, before: Joined, after: Joined) -> bool:
    """Whether anything runs from one tile into the other."""
    band = box(*before.window).intersection(box(*after.window))
    return any(one.intersects(band) for one in drawing.shown)


def _draw_joint(
    sheet: Sheet,
    pair: tuple[Joined, Joined],
    words: str,
    look: Style,
    *,
    across: bool,
) -> None:
    """A joint of this tile with a later one: a line, the short lines that cross it, words."""
    here, later = pair
    corner = np.array([MARGIN, MARGIN + FOOT]) - here.window[:2]
    pen = Pen(sheet, 1.0, (float(corner[0]), float(corner[1])))
    x0, y0, x1, y1 = later.window
    ends = np.array([[x0, y0], [x0, y1]] if across else [[x0, y1], [x1, y1]])
    beyond = np.array([CROSSING, 0.0] if across else [0.0, CROSSING])
    pen.line(ends, look, layer=2.0)
    for share in CROSSINGS:
        place = ends[0] + share * (ends[1] - ends[0])
        pen.line([place - beyond, place + beyond], CROPS, layer=2.0)
    # The words stand outside the tile, where they hide nothing of the drawing.
    x0, y0, x1, y1 = here.window
    if across:
        place = (x0 - BESIDE if here is later else x1 + BESIDE, y0 + TOLD_AT * (y1 - y0))
    else:
        place = (x1 - TOLD_AT * (x1 - x0), y1 + BESIDE if here is later else y0 - BESIDE)
    pen.text(place, words, TOLD, angle=90.0 if across else 0.0, anchor="middle")


def _draw_foot(
    sheet: Sheet,
    title: str,
    drawing: FullSize,
    tiles: Sequence[Joined],
    tile: Joined,
    last: int,
) -> None:
    foot = MARGIN + 2.0
    draw_ruler(sheet, MARGIN, foot + 1.5)
    sheet.text((MARGIN + RULER + 2.0, foot + 1.5), "mm", FINE)
    sheet.text((MARGIN, foot + 7.0), f"{title}: {drawing.title}", STRONG)
    right = sheet.width - MARGIN
    said = f"page {tile.page} of {last}"
    if len(tiles) > 1:
        said += f" (tile {tiles.index(tile) + 1} of {len(tiles)})"
        wide = _map_width(tiles)
        _draw_map(sheet, tiles, (right - wide, foot - 2.0), MAP[1], tile)
        right -= wide + 4.0
    sheet.text((right, foot + 4.4), said, BODY, anchor="right")
    sheet.text((right, foot + 1.0), "print at 100 %", FINE, anchor="right")


def _map_width(tiles: Sequence[Joined], most: tuple[float, float] = MAP) -> float:
    """Width in mm of a map of the tiles within ``most``."""
    x0, y0, x1, y1 = _reach(tiles)
    return (x1 - x0) * min(most[0] / (x1 - x0), most[1] / (y1 - y0))


def _reach(tiles: Sequence[Joined]) -> Box:
    corners = np.array([tile.window for tile in tiles])
    low, high = corners.min(axis=0), corners.max(axis=0)
    return float(low[0]), float(low[1]), float(high[2]), float(high[3])


def _draw_map(
    sheet: Sheet,
    tiles: Sequence[Joined],
    corner: tuple[float, float],
    height: float,
    here: Joined | None = None,
    shown: Sequence[Polygon] = (),
) -> None:
    """The tiles small, with their page numbers, and what lies on them; ``here`` stands out."""
    world = _reach(tiles)
    wide = _map_width(tiles, (MAP[0] if here else 1e3, height))
    pen = sheet.view((*corner, wide, height), world, wide / (world[2] - world[0]))
    for tile in tiles:
        pen.shade(box(*tile.window), HERE if tile is here else SEEN, layer=2.0)
    for shape in shown:
        pen.shade(shape, Style(edge=INK, width=0.15), layer=3.0)
    for tile in tiles:
        x0, y0, x1, y1 = tile.window
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        pen.text(middle, str(tile.page), FINE if here else BODY, anchor="middle")


# --- the first page --------------------------------------------------------------------------


def _cover(
    title: str,
    plans: Sequence[tuple[FullSize, list[Joined]]],
    paper: str,
    last: int,
    cautions: Sequence[str],
) -> Sheet:
    below = f"full size, 1:1    ·    {last} pages {paper.capitalize()}"
    page = Page(PAPERS[paper][::-1], title, below)
    room, foot = page.room, MARGIN + 8.0
    draw_check(page, MARGIN, foot + 3.0)
    rows = [head("How to use these pages", room), gap(1.0)]
    for words in HOW:
        rows += [*note(words, room, BODY), gap(1.0)]
    for words in cautions:
        rows += [*caution(words, room, LARGE_CAUTION), gap(0.6)]
    rows += [gap(2.0), head("Pages", room), gap(1.0)]
    rows += _contents(plans, room, page.top - height_of(rows) - foot - SQUARE - 8.0)
    stack(page, rows, MARGIN, page.top)
    return page


def _contents(
    plans: Sequence[tuple[FullSize, list[Joined]]], room: float, height: float
) -> list[Row]:
    """A line for each drawing and, while there is room, a map of those on several pages."""
    widths = (22.0, 70.0, room - 92.0)
    lines = [
        cells((_pages(tiles), drawing.title, drawing.below), widths, BODY)
        for drawing, tiles in plans
    ]
    spread = [(drawing, tiles) for drawing, tiles in plans if len(tiles) > 1]
    left = height - height_of(lines)
    if not spread or left < 25.0:
        return lines
    return [*lines, gap(3.0), _maps(spread, room, min(left - 5.0, 100.0))]


def _pages(tiles: Sequence[Joined]) -> str:
    first, last = tiles[0].page, tiles[-1].page
    return f"page {first}" if first == last else f"pages {first} to {last}"


def _maps(spread: Sequence[tuple[FullSize, list[Joined]]], room: float, height: float) -> Row:
    """Maps side by side, all at one scale."""
    high = height - 5.0
    widths = [_map_width(tiles, (1e3, high)) for _, tiles in spread]
    fit = min(1.0, (room - 6.0 * (len(spread) - 1)) / sum(widths))

    def draw(sheet: Sheet, x: float, top: float) -> None:
        for (drawing, tiles), width in zip(spread, widths, strict=True):
            sheet.text((x, top - 3.0), drawing.title, FINE)
            tall = high * fit
            _draw_map(sheet, tiles, (x, top - 5.0 - tall), tall, shown=drawing.shown)
            x += width * fit + 6.0

    return Row(5.0 + high * fit, draw)
