"""The scale sheets to print: how to take the photo, eight coded sheets, and numbered stickers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon, box
from shapely.affinity import rotate

from hides.capture import targets
from hides.errors import InputError
from hides.units import PAPERS
from nest.draw.book import pdf_of
from nest.draw.palette import (
    BLACK,
    FADED,
    FLOOR,
    HAIR,
    INK,
    NOTE,
    PAPER,
    THICK,
    THREAD,
    TITLE,
)
from nest.draw.rows import Row, gap, head, note, stack
from nest.draw.sheet import Sheet, Style
from nest.draw.words import Type

ENDINGS = (".pdf",)
CELL = Style(fill=BLACK)
LINE = Style(edge=BLACK, width=0.25)
CUT = Style(edge=HAIR, width=0.15, dash=(1.5, 1.5))
FIGURE = Type(7.0, BLACK)
NUMBER = Type(10.0, BLACK, bold=True)
HINT = Type(9.0)

RULER_X = targets.LEFT + targets.WIDTH + 4.0  # mm; its ticks point away from the pattern
SAFE = 7.0  # mm that a printer of the home may leave blank

HINTS = (
    ("Print", (
        "Print at “actual size” or 100 %, never “fit to page”. Then lay a steel rule on the "
        f"printed ruler: it must be {targets.RULER:.0f} mm long. Write down what you measure, to "
        "half a millimetre, and give it with --ruler, even if it is right.",
        "Use matt paper; glossy paper mirrors the light. Stick the sheets to card if they curl.",
    )),
    ("Lay out", (
        "Lay the side flat on a flat floor, grain up, legs spread, no edge turned under. A plain "
        "floor or sheet of another colour than the leather works best: a tarp, dark cloth, bare "
        "concrete. Wood and brick may need a few points clicked by hand.",
        "Lay four or more of the sheets around it, one near each corner, 30 to 100 mm off the "
        "edge, every one whole in view. Where they lie doesn’t matter, nor which way they are "
        "turned. Each number only once.",
        "If the leather is thicker than 4 mm or its edges rise, lay the sheets on offcuts of it.",
    )),
    ("Mark", (
        "Ring every flaw with a closed line of chalk or paste a coloured sticker on it; one "
        "colour for each kind. Blue and red are seen best.",
        "Where you gauge the thickness, lay a numbered sticker and write the reading down "
        "beside its number. Twenty-five spread over the side are good.",
    )),
    ("Take the photo", (
        "Stand on a chair or ladder (have someone hold it) or hold the phone high on a stick: "
        "from above the middle, looking down, tilted no more than 35°. Use the main camera, not "
        "the wide one, and no zoom.",
        "The whole side and all sheets in one picture, with floor to see all around. Even light, "
        "no flash. Send the original file, not one that a messenger has made smaller.",
    )),
)  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class ScaleSheets:
    """What is printed for photos of hides: pages in mm, hints first, then sheets and stickers."""

    pages: tuple[Sheet, ...]


def scale_sheets(paper: str = "a4") -> ScaleSheets:
    """The pages of hints, sheets and stickers, on one of the papers of the scale sheets.

    Raises
    ------
    InputError : no such paper.
    """
    if paper not in PAPERS:
        raise InputError(f"no such paper: {paper}.", mend=f"Use {' or '.join(PAPERS)}.")
    pages = [hints_page(paper), *(sheet_page(sheet, paper) for sheet in targets.SHEETS)]
    pages += sticker_pages(paper)
    return ScaleSheets(tuple(pages))


def facts(sheets: ScaleSheets) -> dict[str, str]:
    """How many pages, and how long the printed ruler must be, mm."""
    count = f"{len(sheets.pages)}: hints, {targets.COUNT} scale sheets, {targets.STICKERS} stickers"
    printed = f'at "actual size"; the ruler on each sheet must be {targets.RULER:g} mm long'
    return {"pages": count, "print": printed}


def picture(sheets: ScaleSheets) -> Sheet:
    """The first page, with hints; in mm."""
    return sheets.pages[0]


def files(sheets: ScaleSheets, name: str) -> dict[str, bytes]:
    """All pages in one PDF."""
    return {f"{name}.pdf": pdf_of(sheets.pages, sheets.pages[0].title)}


def hints_page(paper: str) -> Sheet:
    """How to print, lay out and photograph, with a small picture of it."""
    page = _page(paper)
    top = page.height - 14.0
    page.text((SAFE + 7.0, top), "A side on a photo", TITLE)
    wide = page.width / 2 - 22.0
    left = [row for name, lines in HINTS[:2] for row in _hint_rows(name, lines, wide)]
    right = [row for name, lines in HINTS[2:] for row in _hint_rows(name, lines, wide)]
    stack(page, left, SAFE + 7.0, top - 6.0)
    end = stack(page, right, page.width / 2 + 4.0, top - 6.0)
    _little_picture(page, (page.width / 2 + 4.0, SAFE + 4.0, wide, end - SAFE - 10.0))
    return page


def sheet_page(sheet: targets.Sheet, paper: str) -> Sheet:
    """One scale sheet with its number and the ruler that shows whether the print is true."""
    page = _page(paper)
    low = (targets.LEFT, (page.height - targets.HEIGHT) / 2)
    black = shapely.union_all([Polygon(ring + low) for ring in sheet.black()])
    page.shade(black, CELL, name=f"sheet:{sheet.number}")
    _ruler(page, (page.height - targets.RULER) / 2)
    above, below = low[1] + targets.HEIGHT + 2.0, low[1] - 4.2
    page.text((targets.LEFT, above), f"Scale sheet {sheet.number}", NUMBER)
    words = f"print at 100 %: the ruler at the right must be {targets.RULER:.0f} mm long"
    page.text((targets.LEFT + targets.WIDTH, above), words, FIGURE, anchor="right")
    words = "lay four or more different sheets flat around the hide, each whole in view"
    page.text((targets.LEFT, below), words, FIGURE)
    return page


def sticker_pages(paper: str) -> list[Sheet]:
    """Numbered stickers for the places of gauge readings, to cut apart."""
    page = _page(paper)
    size = targets.STICKER
    across = int((page.width - 2 * SAFE) // size)
    down = int((page.height - 2 * SAFE) // size)
    pages = []
    for first in range(1, targets.STICKERS + 1, across * down):
        page = _page(paper)
        numbers = range(first, min(first + across * down, targets.STICKERS + 1))
        left = (page.width - across * size) / 2
        top = (page.height + down * size) / 2
        for at, number in enumerate(numbers):
            low = (left + at % across * size, top - (at // across + 1) * size)
            _sticker(page, number, low)
        pages.append(page)
    return pages


def _sticker(page: Sheet, number: int, low: tuple[float, float]) -> None:
    size, inset = targets.STICKER, (targets.STICKER - targets.STICKER_MARKER) / 2
    marker = targets.FIRST_STICKER + number - 1
    corner = (low[0] + inset, low[1] + inset)
    cells = targets.black_cells(marker, corner, targets.STICKER_MARKER)
    page.shade(shapely.union_all([Polygon(cell) for cell in cells]), CELL, name=f"s:{number}")
    page.shade(box(*low, low[0] + size, low[1] + size), CUT)
    page.text((low[0] + size / 2, low[1] + 1.6), f"{number}", NUMBER, anchor="centre")


def _ruler(page: Sheet, low: float) -> None:
    """An upright ruler of RULER mm; the whole line is what the user measures."""
    page.line([(RULER_X, low), (RULER_X, low + targets.RULER)], LINE)
    for mark in np.arange(0.0, targets.RULER + 1.0, 5.0):
        long = {0.0: 5.0, 5.0: 3.0}[mark % 10.0]
        long = 7.0 if mark in (0.0, targets.RULER) else long
        page.line([(RULER_X, low + mark), (RULER_X + long, low + mark)], LINE)
        if mark % 20.0 == 0.0:
            at = (RULER_X + long + 0.8, low + mark - 0.9)
            page.text(at, f"{mark:.0f}", FIGURE)


def _little_picture(page: Sheet, frame: tuple[float, float, float, float]) -> None:
    """A side with sheets at its corners, as the camera should see them."""
    rim = np.array(
        [(0, 0), (1, 0), (1.02, 0.1), (0.97, 0.27), (0.8, 0.37), (0.78, 0.47), (0.73, 0.47),
         (0.7, 0.37), (0.45, 0.36), (0.22, 0.36), (0.15, 0.48), (0.09, 0.47), (0.08, 0.36),
         (-0.01, 0.2)]
    )  # fmt: skip
    pen = page.view(frame, (-0.25, -0.24, 1.25, 0.72), scale=min(frame[2] / 1.5, frame[3] / 0.96))
    pen.shade(box(-0.25, -0.24, 1.25, 0.72), Style(fill=FLOOR, edge=FADED, width=0.2))
    side = Polygon(rim).buffer(0.03).buffer(-0.05).buffer(0.02)
    pen.shade(side, Style(fill=THICK, edge=INK, width=0.3), layer=2.0)
    for x, y, turn in ((-0.13, 0.5, 20), (1.1, 0.45, -30), (-0.14, -0.1, 80), (1.12, -0.1, 10)):
        paper = rotate(box(x - 0.067, y - 0.047, x + 0.067, y + 0.047), turn)
        pen.shade(paper, Style(fill=PAPER, edge=INK, width=0.25), layer=2.0)
        inner = rotate(box(x - 0.05, y - 0.035, x + 0.05, y + 0.035), turn, origin=(x, y))
        pen.shade(inner, Style(fill=INK, hatch=""), layer=2.1)
    pen.line([(0.3, 0.16), (0.34, 0.2), (0.38, 0.16), (0.34, 0.12)], _CHALK, closed=True, layer=3.0)
    pen.text((0.5, -0.14), "the whole side, all sheets, floor all round", NOTE, anchor="centre")


_CHALK = Style(edge=THREAD, width=0.7)


def _hint_rows(name: str, lines: tuple[str, ...], width: float) -> list[Row]:
    rows = [head(name, width)]
    for words in lines:
        rows += [*note(words, width, HINT), gap(1.4)]
    return [*rows, gap(2.0)]


def _page(paper: str) -> Sheet:
    width, height = PAPERS[paper]
    return Sheet(width, height, title="Scale sheets for hides")
