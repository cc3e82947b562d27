"""A hide understood from photos: what was seen, drawn on them, and its record if it is sure."""

from __future__ import annotations

from hides import record
from hides.capture.pipeline import Captured
from nest.answers import hide as hides
from nest.draw.book import pdf_of
from nest.draw.sheet import Sheet
from nest.report.capturesheet import capture_sheet

ENDINGS = (".hide.json", ".capture.png", ".capture.pdf")


def facts(found: Captured) -> dict[str, str]:
    """The hide's main figures, and how well the sheets agree, mm."""
    view = found.views[0]
    seen = f"{len(view.sheets)} read, agree to {view.residual_mm:.2f} mm"
    return hides.facts(found.hide) | {"sheets": seen}


def picture(found: Captured) -> Sheet:
    """The first photo with what was understood of it; A4, in mm."""
    return capture_sheet(found)


def files(found: Captured, name: str, *, anyway: bool = False) -> dict[str, bytes]:
    """Photos with what was understood, the hide's picture, and the record where nothing speaks
    against it, or ``anyway``.
    """
    pages = [capture_sheet(found, photo) for photo in range(len(found.photos))]
    made = {}
    if found.sure or anyway:
        made[f"{name}.hide.json"] = record.text(found.hide).encode()
    made[f"{name}.capture.png"] = pages[0].data("png")
    made[f"{name}.capture.pdf"] = pdf_of([*pages, hides.picture(found.hide)], pages[0].title)
    return made
