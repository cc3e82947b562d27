"""The capture picture: what was understood, drawn over the photo, and what is doubtful in it.

A wrong outline is seen at a glance on the photo and hardly at all in a record, so the
picture is written whether or not the record is.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from hides import record
from hides.capture.pipeline import Captured
from hides.outline import FloatArray
from hides.units import area_text
from nest.draw.book import pdf_of
from nest.draw.labels import Labels
from nest.draw.leather import FLAW_CODE, flaw_code, reading_rows, strike_out
from nest.draw.palette import ALARM, FLAW, INK, PAPER, REMNANT, THREAD
from nest.draw.rows import Row, gap, head, note, pair, stack, stroke
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.words import Type
from nest.report import hidesheet
from nest.report.page import ISO_A, MARGIN, Page

ENDINGS = (".hide.json", ".capture.png", ".capture.pdf")
SIDEBAR = 62.0  # mm, width of the column at the right
MOST_WIDE = 1800  # pixels of the photo on the page
TAPE_GRID = 500.0  # mm between the lines that a tape can check
DOT_AIR = 5.0  # mm on the hide kept free of words round a reading
LINE_STEP = 20.0  # mm; straight lines on the floor bend on a photo, so they are drawn in steps

HIDE_LINE = Style(edge=THREAD, width=0.5)
FLAW_EDGE = Style(edge=FLAW, width=0.4)
DOUBT_EDGE = Style(edge=ALARM, width=0.45, dash=(1.4, 0.9))
SHEET_EDGE = Style(edge=REMNANT, width=0.4)
GRID_LINE = Style(edge=INK, width=0.1)
AXIS = Style(edge=INK, width=0.3, dash=(2.4, 0.8, 0.5, 0.8))
RIM = 0.25  # mm of paper white on both sides of a line, which shows it on any photo
READING_DOT = Style(fill=INK, edge=PAPER, width=0.2)
ON_PHOTO = Type(6.5, INK, bold=True, halo=PAPER)
DOUBT_NUMBER = Type(6.5, ALARM, bold=True, halo=PAPER)
WORDS = Type(6.0)
LOUD = Type(6.2, ALARM, bold=True)


def capture_sheet(found: Captured, photo: int = 0) -> Sheet:
    """Draw the photo of that index with outline, flaws, sheets and doubts on it, landscape."""
    title = f"“{found.hide.name}” as seen"
    page = Page(ISO_A["A4"], title, _below(found, photo), sidebar=SIDEBAR)
    wide, tall = found.views[photo].size
    scale = min(page.room / wide, (page.top - MARGIN) / tall)
    frame = (MARGIN, page.top - tall * scale, wide * scale, tall * scale)
    pen = page.view(frame, (0.0, 0.0, wide, tall), scale=scale, cut=True)
    _Overlay(pen, found, photo).draw()
    rows = [*_verdict_rows(found), *_measure_rows(found, photo), *_legend_rows(found)]
    stack(page, rows, page.side, page.top)
    return page


picture = capture_sheet


def facts(found: Captured) -> dict[str, str]:
    """The hide's main figures, and how well the sheets agree, mm."""
    view = found.views[0]
    seen = f"{len(view.sheets)} read, agree to {view.residual_mm:.2f} mm"
    return hidesheet.facts(found.hide) | {"sheets": seen}


def files(found: Captured, name: str, *, anyway: bool = False) -> dict[str, bytes]:
    """Photos with what was understood, the hide's picture, and the record where nothing speaks
    against it, or ``anyway``.
    """
    pages = [capture_sheet(found, photo) for photo in range(len(found.photos))]
    made = {}
    if found.sure or anyway:
        made[f"{name}.hide.json"] = (found.text or record.text(found.hide)).encode()
    made[f"{name}.capture.png"] = pages[0].data("png")
    pages.append(hidesheet.hide_sheet(found.hide))
    made[f"{name}.capture.pdf"] = pdf_of(pages, pages[0].title)
    return made


class _Overlay:
    """Draws what lies in the hide's frame onto the photo."""

    def __init__(self, pen: Pen, found: Captured, photo: int) -> None:
        self.pen, self.found, self.photo = pen, found, photo
        self.view = found.views[photo]

    def draw(self) -> None:
        hide, labels = self.found.hide, Labels(self.pen)
        wide, tall = self.view.size
        self.pen.picture(_smaller(self.found.photos[self.photo].pixels), (0.0, 0.0, wide, tall))
        self._grid(hide.outline.bounds)
        self._ring(hide.outline.polygon, HIDE_LINE)
        for flaw in hide.flaws:
            self._ring(flaw.shape, FLAW_EDGE)
        for doubt in self.found.doubtful:
            self._ring(doubt.shape, DOUBT_EDGE)
        for laid in self.view.sheets:
            corners = self._flipped(self.view.to_pixels(np.asarray(laid.paper.exterior.coords)))
            self._rimmed(np.vstack([corners, corners[:1]]), SHEET_EDGE, layer=4.0)
            labels.near(self.pen, corners[:-1].mean(axis=0), f"sheet {laid.number}", ON_PHOTO)
        self._words(labels)

    def _words(self, labels: Labels) -> None:
        hide = self.found.hide
        left, _, right, _ = hide.outline.bounds
        for name, x in (("tail", left), ("neck", right)):
            place = self._at(np.array([(x, 0.0)]))[0]
            labels.near(self.pen, place, name, ON_PHOTO, steps=3)
        dots = [Point(reading.x, reading.y).buffer(DOT_AIR) for reading in hide.readings]
        labels.obstacles += [self._seen(dot) for dot in dots]
        doubts = [self._seen(doubt.shape) for doubt in self.found.doubtful]
        labels.name([(f"?{n}", shape) for n, shape in enumerate(doubts, 1)], DOUBT_NUMBER)
        codes = [(flaw_code(flaw.kind), self._seen(flaw.shape)) for flaw in hide.flaws]
        labels.name(codes, FLAW_CODE)
        for reading, off in zip(hide.readings, hide.thickness.surprises(), strict=True):
            place = self._at(np.array([(reading.x, reading.y)]))[0]
            self.pen.dots([place], 1.1, READING_DOT, layer=6.0)
            words = f"{reading.thickness:.2f}"
            written = labels.near(self.pen, place, words, ON_PHOTO, on_it=False, steps=2)
            if off:
                strike_out(self.pen, place, written)

    def _ring(self, shape: Polygon, look: Style) -> None:
        for ring in (shape.exterior, *shape.interiors):
            line = self._at(np.asarray(shapely.segmentize(ring, LINE_STEP).coords))
            self._rimmed(line, look, layer=4.0)

    def _rimmed(self, line: FloatArray, look: Style, *, layer: float) -> None:
        self.pen.line(line, Style(edge=PAPER, width=look.width + 2 * RIM), layer=layer)
        self.pen.line(line, look, layer=layer + 0.5)

    def _grid(self, bounds: Box) -> None:
        """Lines every TAPE_GRID mm of the hide's frame, and its backbone."""
        x0, y0, x1, y1 = bounds
        for x in np.arange(np.ceil(x0 / TAPE_GRID), np.floor(x1 / TAPE_GRID) + 1) * TAPE_GRID:
            self._rimmed(self._at(_line((x, y0), (x, y1))), GRID_LINE, layer=2.0)
        for y in np.arange(np.ceil(y0 / TAPE_GRID), np.floor(y1 / TAPE_GRID) + 1) * TAPE_GRID:
            self._rimmed(self._at(_line((x0, y), (x1, y))), GRID_LINE, layer=2.0)
        self._rimmed(self._at(_line((x0, 0.0), (x1, 0.0))), AXIS, layer=3.0)

    def _seen(self, shape: Polygon) -> Polygon:
        """A shape of the hide's frame on the page, as the photo has it."""
        return self.pen.on_page(shapely.transform(shape, self._at))

    def _at(self, points: FloatArray) -> FloatArray:
        """(n, 2) of the hide's frame in the pen's: pixels with y up."""
        return self._flipped(self.found.on_photo(points, self.photo))

    def _flipped(self, pixels: FloatArray) -> FloatArray:
        """Pixel (0, 0) is the middle of the upper left one."""
        return np.asarray(pixels * (1.0, -1.0) + (0.5, self.view.size[1] - 0.5))


def _below(found: Captured, photo: int) -> str:
    facts = [found.photos[photo].path.name]
    if len(found.photos) > 1:
        facts[0] += f", photo {photo + 1} of {len(found.photos)}"
    facts += [f"{len(found.hide.flaws)} flaws", f"{len(found.hide.readings)} readings"]
    return "    ·    ".join(facts)


def _verdict_rows(found: Captured) -> list[Row]:
    """What is doubtful, loud; then what is worth knowing."""
    rows = [head("Doubtful" if found.doubts else "Understood", SIDEBAR)]
    for words in found.doubts:
        rows += [*note(words, SIDEBAR, LOUD), gap(0.8)]
    words = "Look: does the line follow the edge all round, and is every mark ringed?"
    rows += [*note(words, SIDEBAR, WORDS), gap(0.8)]
    for words in found.remarks:
        rows += [*note(words, SIDEBAR, WORDS), gap(0.5)]
    return [*rows, gap(2.0)]


def _measure_rows(found: Captured, photo: int) -> list[Row]:
    view, hide = found.views[photo], found.hide
    left, low, right, high = hide.outline.bounds
    numbers = ", ".join(str(sheet.number) for sheet in view.sheets)
    rows = [head("Measured", SIDEBAR)]
    rows += [pair("Area", area_text(hide.gross_area), SIDEBAR)]
    if hide.supplier_area:
        rows += [pair("Stamped", area_text(hide.supplier_area), SIDEBAR)]
    rows += [
        pair("Length × depth", f"{right - left:.0f} × {high - low:.0f} mm", SIDEBAR),
        pair("Sheets read", numbers, SIDEBAR),
        pair("Sheets agree to", f"{view.residual:.2f} px, {view.residual_mm:.2f} mm", SIDEBAR),
        pair("Camera", f"{view.camera.height / 1000:.2f} m up, {view.camera.tilt:.0f}°", SIDEBAR),
    ]
    return [*rows, gap(2.0)]


def _legend_rows(found: Captured) -> list[Row]:
    rows = [head("Drawn on the photo", SIDEBAR), *stroke(HIDE_LINE, "edge of the hide", SIDEBAR)]
    if found.hide.flaws:
        kinds = sorted({flaw.kind for flaw in found.hide.flaws})
        codes = ", ".join(f"{flaw_code(kind)} {kind}" for kind in kinds)
        rows += stroke(FLAW_EDGE, f"flaw: {codes}", SIDEBAR)
    if found.doubtful:
        rows += stroke(DOUBT_EDGE, "mark that could not be read for sure", SIDEBAR)
    rows += stroke(SHEET_EDGE, "scale sheet that was read", SIDEBAR)
    rows += reading_rows(found.hide, SIDEBAR)
    words = f"Fine lines: every {TAPE_GRID:g} mm of the record, to check with a tape."
    return [*rows, *note(words, SIDEBAR)]


def _line(start: tuple[float, float], end: tuple[float, float]) -> FloatArray:
    count = max(2, int(np.hypot(end[0] - start[0], end[1] - start[1]) / LINE_STEP))
    return np.linspace(start, end, count)


def _smaller(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """RGB, not wider than MOST_WIDE."""
    share = min(1.0, MOST_WIDE / pixels.shape[1])
    small = cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return np.asarray(small[:, :, ::-1], dtype=np.uint8)
