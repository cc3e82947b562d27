"""What every page of Croupon shares: paper sizes, the title, the checker's stamp."""

from __future__ import annotations

from shapely import box

from nest.draw.palette import ALARM, BODY, NOTE, REMNANT, RULE, TITLE
from nest.draw.sheet import Sheet, Style
from nest.draw.words import Type
from nest.plan import Verdict

# ISO 216 trimmed sizes, mm, landscape
PAPERS = {"A4": (297.0, 210.0), "A3": (420.0, 297.0), "A2": (594.0, 420.0), "A1": (841.0, 594.0)}
MARGIN = 9.0  # mm; printers of the home leave up to 6 mm blank
BAND = 15.0  # mm, height of the title band


def titled(width: float, height: float, title: str, below: str) -> Sheet:
    """Start a page with its title band: a name in large type and a line of facts below it."""
    sheet = Sheet(width, height, title=title)
    top = height - MARGIN
    sheet.text((MARGIN, top - 5.0), title, TITLE)
    sheet.text((MARGIN, top - 10.6), below, BODY)
    sheet.line([(MARGIN, top - 13.0), (width - MARGIN, top - 13.0)], RULE)
    return sheet


def stamp(sheet: Sheet, verdict: Verdict | None, parts: int) -> None:
    """Set the checker's verdict into the upper right corner like a rubber stamp."""
    if verdict is None:
        word, colour, below = "NOT CHECKED", ALARM, "do not cut from this page"
    elif not verdict.passed:
        word, colour, below = "REFUSED", ALARM, f"{verdict.findings} findings: do not cut"
    else:
        word, colour = "CHECKED", REMNANT
        below = f"{parts} parts, tolerance {verdict.tolerance:g} mm"
    right, top = sheet.width - MARGIN, sheet.height - MARGIN + 2.5
    frame = box(right - 48.0, top - 12.5, right, top).buffer(-1.2).buffer(1.2)
    sheet.shade(frame, Style(edge=colour, width=0.6), layer=4.0, name="stamp")
    sheet.shade(frame.buffer(-0.8), Style(edge=colour, width=0.2), layer=4.0)
    middle = right - 24.0
    sheet.text((middle, top - 6.4), word, Type(11.0, colour, bold=True), anchor="centre")
    sheet.text((middle, top - 10.2), below, Type(NOTE.size, colour), anchor="centre")
