"""What every page of Croupon shares: paper, margins, the title, the checker's stamp."""

from __future__ import annotations

from shapely import box

from nest.draw.palette import ALARM, BODY, FADED, INK, NOTE, PAPER, REMNANT, RULE, TITLE
from nest.draw.rows import Row, note
from nest.draw.sheet import Box, Sheet, Style
from nest.draw.words import Type
from nest.plans import UNKNOWN_THICKNESS, Plan, number_of

# ISO 216 trimmed sizes of pictures, mm, landscape; what a printer at home takes is in
# hides.units.PAPERS
ISO_A = {"A4": (297.0, 210.0), "A3": (420.0, 297.0), "A2": (594.0, 420.0), "A1": (841.0, 594.0)}
MARGIN = 9.0  # mm; printers of the home leave up to 6 mm blank
BAND = 15.0  # mm, height of the title band
GUTTER = 5.0  # mm between columns
SCALE_ROOM = 7.0  # mm left of a picture for the upright scale beside it
RULER, SQUARE = 100.0, 50.0  # mm, to check the print by
STAMP = 48.0  # mm, width of a stamp
CAUTION, LARGE_CAUTION = Type(6.2, ALARM, bold=True), Type(7.0, ALARM, bold=True)
FINE = Type(7.0, FADED)  # the least that is written on what is printed and read at the bench


class Page(Sheet):
    """A page with its title band: a name in large type and a line of facts below it.

    ``size`` is (width, height); below the band is room for a picture and, at its right, for a
    ``sidebar`` of words. All in mm. A page of a ``plan`` bears its number and its stamps
    (:func:`stamp`), and so does the file's own data.

    Attributes
    ----------
    top : y of the lower end of the band.
    room : width of what lies left of the sidebar.
    side : x of the sidebar.
    """

    def __init__(
        self,
        size: tuple[float, float],
        title: str,
        below: str,
        *,
        plan: Plan | None = None,
        sidebar: float = 0.0,
        gutter: float = GUTTER,
    ) -> None:
        super().__init__(*size, title=title)
        self.top = self.height - MARGIN - BAND
        self.room = self.width - 2 * MARGIN - (sidebar + gutter if sidebar else 0.0)
        self.side = self.width - MARGIN - sidebar
        top = self.height - MARGIN
        self.text((MARGIN, top - 5.0), title, TITLE)
        self.text((MARGIN, top - 10.6), below, BODY)
        self.line([(MARGIN, top - 13.0), (self.width - MARGIN, top - 13.0)], RULE)
        if plan is not None:
            self.keywords = f"plan {number_of(plan)}"
            stamp(self, plan)

    def frame(self, low: float, left: float = SCALE_ROOM) -> Box:
        """Room for a picture (x, y, width, height) in mm from y = ``low`` up to the band."""
        return MARGIN + left, low, self.room - left, self.top - low - 4.0


def caution(words: str, width: float, style: Type = CAUTION) -> list[Row]:
    """Rows, ``width`` mm wide, that warn of what can hurt."""
    return note(f"⚠ {words}", width, style)


def stamp(sheet: Sheet, plan: Plan) -> None:
    """Set the checker's verdict on a plan into the upper right corner as a stamp, with the plan's
    number; left of it, where the thickness isn't known, another that says so.
    """
    verdict = plan.check
    if verdict is None:
        word, colour, below = "NOT CHECKED", ALARM, "do not cut from this page"
    elif not verdict.passed:
        word, colour, below = "REFUSED", ALARM, f"{verdict.findings} findings: do not cut"
    else:
        word, colour = "CHECKED", REMNANT
        below = f"{len(plan.placements)} parts, tolerance {verdict.tolerance:g} mm"
    right = sheet.width - MARGIN
    middle, top = _stamp(sheet, right, colour)
    number = f"plan {number_of(plan)}"
    sheet.text((middle, top - 5.2), word, Type(10.0, colour, bold=True), anchor="centre")
    sheet.text((middle, top - 8.3), number, Type(7.5, colour, bold=True), anchor="centre")
    sheet.text((middle, top - 10.9), below, Type(NOTE.size, colour), anchor="centre")
    if not plan.thickness_known:
        word, below = UNKNOWN_THICKNESS
        middle, top = _stamp(sheet, right - STAMP - 2.0, ALARM)
        look = Type(8.6, ALARM, bold=True)
        sheet.text((middle, top - 6.4), word.upper(), look, anchor="centre")
        sheet.text((middle, top - 10.2), below, Type(NOTE.size, ALARM), anchor="centre")


def _stamp(sheet: Sheet, right: float, colour: str) -> tuple[float, float]:
    """Draw the frame of a stamp; return the middle and the top of it, mm."""
    top = sheet.height - MARGIN + 2.5
    frame = box(right - STAMP, top - 12.5, right, top).buffer(-1.2).buffer(1.2)
    sheet.shade(frame, Style(fill=PAPER, edge=colour, width=0.6), layer=4.0, name="stamp")
    sheet.shade(frame.buffer(-0.8), Style(edge=colour, width=0.2), layer=4.0)
    return right - STAMP / 2, top


def draw_ruler(sheet: Sheet, x: float, y: float) -> None:
    """Draw the 100 mm ruler from (x, y) to the right, ticks up, its numbers below."""
    look = Style(edge=INK, width=0.2)
    sheet.line([(x, y), (x + RULER, y)], look, name="ruler")
    for i in range(11):
        long = 2.5 if i % 5 == 0 else 1.5
        sheet.line([(x + 10 * i, y), (x + 10 * i, y + long)], look)
        if i % 5 == 0:
            sheet.text((x + 10 * i, y - 3.0), f"{10 * i}", FINE, anchor="centre")


def draw_check(sheet: Sheet, x: float, y: float) -> None:
    """Draw a square with its lower left corner at (x, y), and a ruler 3 mm below it.

    Their sizes show whether the print is true.
    """
    look = Style(edge=INK, width=0.2)
    sheet.shade(box(x, y, x + SQUARE, y + SQUARE), look, layer=2.0, name="square")
    sheet.text((x + SQUARE / 2, y + SQUARE / 2), "50 mm square", FINE, anchor="middle")
    draw_ruler(sheet, x, y - 3.0)
    says = "Print at 100 %, no “fit to page”. Measure the square and the ruler before you cut."
    for i, row in enumerate(note(says, RULER - SQUARE - 4.0, FINE)):
        row.draw(sheet, x + SQUARE + 4.0, y + SQUARE - i * row.height)
