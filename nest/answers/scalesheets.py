"""The scale sheets and stickers to print for photos of hides."""

from __future__ import annotations

from hides.capture import targets
from nest.draw.book import pdf_of
from nest.draw.sheet import Sheet
from nest.report.scalesheet import ScaleSheets

ENDINGS = (".pdf",)


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
