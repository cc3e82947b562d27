"""Book: a page in its formats, several in one PDF, a large drawing in pieces on small pages.

A page is a :class:`~nest.draw.sheet.Sheet`, or a :class:`Tile`: a window of a larger drawing
at exactly its size, and over it a sheet that holds the page's own lines and words. The
drawing is drawn once and cut by the PDF's own clipping, so that its lines and words run on
from page to page.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from pypdf import PageObject, PdfReader, PdfWriter, Transformation
from pypdf.generic import RectangleObject

from nest.draw.sheet import Box, Sheet
from nest.draw.words import POINT

KINDS = ("png", "pdf", "svg")


@dataclass(frozen=True, slots=True)
class Tile:
    """A window of ``drawing`` shown 1:1 on ``page``.

    ``window`` is (min x, min y, max x, max y) on the drawing, ``place`` where its lower left
    corner lies on the page; all in mm.
    """

    page: Sheet
    drawing: Sheet
    window: Box
    place: tuple[float, float]


def pictured(sheet: Sheet, name: str) -> dict[str, bytes]:
    """A page in each of :data:`KINDS`, by file name."""
    return {f"{name}.{kind}": sheet.data(kind) for kind in KINDS}


def pdf_of(pages: Sequence[Sheet | Tile], title: str = "", keywords: str = "") -> bytes:
    """Pages as one PDF, each in its true size; the same pages give the same bytes.

    The file's own data are those of the first page unless given.
    """
    writer = PdfWriter()
    own = [page if isinstance(page, Sheet) else page.page for page in pages]
    about = {"/Title": title or own[0].title, "/Keywords": keywords or own[0].keywords}
    writer.add_metadata(
        {**{key: text for key, text in about.items() if text}, "/Creator": "Croupon"}
    )
    drawings = {id(page.drawing): page.drawing for page in pages if isinstance(page, Tile)}
    drawn = {key: drawing.data("pdf") for key, drawing in drawings.items()}
    for page, sheet in zip(pages, own, strict=True):
        whole = writer.add_page(_page_of(sheet.data("pdf")))
        if isinstance(page, Tile):
            _lay(whole, _page_of(drawn[id(page.drawing)]), page)
    for page_object in writer.pages:
        page_object.compress_content_streams()
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def _lay(whole: PageObject, drawing: PageObject, tile: Tile) -> None:
    """Put the tile's window of ``drawing`` on the page; pypdf clips it to the crop box."""
    x0, y0, x1, y1 = tile.window
    drawing.cropbox = RectangleObject((x0 / POINT, y0 / POINT, x1 / POINT, y1 / POINT))
    x, y = tile.place
    shift = Transformation().translate((x - x0) / POINT, (y - y0) / POINT)
    whole.merge_transformed_page(drawing, shift, over=False)


def _page_of(data: bytes) -> PageObject:
    return PdfReader(io.BytesIO(data)).pages[0]
