"""The printed sheets: true to size, and read back by OpenCV from a rendered page."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from pypdf import PdfReader

from hides.capture import targets
from hides.errors import InputError
from nest.draw.book import pdf_of
from nest.report.scalesheet import RULER_X, scale_sheets

# ISO 216: A4 is 210 × 297 mm; ANSI/ASME Y14.1: Letter is 8.5 × 11 in
SIZES = {"a4": (297.0, 210.0), "letter": (11 * 25.4, 8.5 * 25.4)}
POINT = 25.4 / 72  # mm in a PDF's unit (ISO 32000)
DPI = 100
DOT = 25.4 / DPI  # mm


@pytest.fixture(scope="module", params=["a4", "letter"])
def printed(request, tmp_path_factory) -> tuple[str, Path]:
    path = tmp_path_factory.mktemp("sheets") / "sheets.pdf"
    path.write_bytes(pdf_of(scale_sheets(request.param).pages))
    return request.param, path


def rendered(path: Path, page: int) -> np.ndarray:
    """One page as poppler shows it, grey."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("poppler's pdftoppm is not installed")
    command = ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-gray"]
    subprocess.run([*command, str(path), str(path.with_suffix(""))], check=True)
    (image,) = path.parent.glob("*.pgm")
    found = cv2.imread(str(image), cv2.IMREAD_GRAYSCALE)
    image.unlink()
    return found


def test_pages_have_the_papers_size(printed: tuple[str, Path]) -> None:
    """By pypdf: eleven pages, each as large as the standard says to 0.1 mm."""
    paper, path = printed
    pages = PdfReader(path).pages
    assert len(pages) == 1 + targets.COUNT + 2  # hints, sheets, two pages of stickers
    for page in pages:
        size = (float(page.mediabox.width) * POINT, float(page.mediabox.height) * POINT)
        assert size == pytest.approx(SIZES[paper], abs=0.1)


@pytest.mark.parametrize("number", [1, 5, 8])
def test_a_printed_sheet_is_read_with_its_number_and_true_to_size(
    printed: tuple[str, Path], number: int
) -> None:
    """OpenCV reads the sheet's own markers and no others, and the crossings lie on the page to
    a tenth of a millimetre where :data:`SQUARE` puts them.
    """
    paper, path = printed
    image = rendered(path, 1 + number)
    sheet = targets.SHEETS[number - 1]
    found, ids, _, marks = cv2.aruco.CharucoDetector(sheet.board).detectBoard(image)
    assert sorted(np.ravel(marks)) == list(sheet.ids)
    corners = (found.reshape(-1, 2) + 0.5) * DOT
    low = (targets.LEFT, (SIZES[paper][1] - targets.HEIGHT) / 2)
    wanted = sheet.corners[np.ravel(ids)] + low
    wanted[:, 1] = SIZES[paper][1] - wanted[:, 1]
    assert len(corners) == 6
    assert np.abs(corners - wanted).max() < 0.15


def test_the_ruler_is_as_long_as_it_says(printed: tuple[str, Path]) -> None:
    """The dark run along its line, ends included."""
    paper, path = printed
    image = rendered(path, 2)
    column = image[:, round(RULER_X / DOT) - 1 : round(RULER_X / DOT) + 2].min(axis=1)
    dark = np.flatnonzero(column < 128)
    assert (dark[-1] - dark[0] + 1) * DOT == pytest.approx(targets.RULER, abs=0.5)
    assert dark.size == dark[-1] - dark[0] + 1  # one unbroken line
    assert paper in SIZES


def test_stickers_bear_their_numbers_in_order(printed: tuple[str, Path]) -> None:
    """On both pages together all markers, once each, none of a sheet's."""
    _, path = printed
    found = []
    detector = cv2.aruco.ArucoDetector(targets.DICTIONARY)
    for page in (10, 11):
        _, ids, _ = detector.detectMarkers(rendered(path, page))
        found += sorted(int(i) for i in np.ravel(ids))
    first = targets.FIRST_STICKER
    assert found == list(range(first, first + targets.STICKERS))


def test_the_same_bytes_every_time() -> None:
    """No dates in it."""
    first, again = (pdf_of(scale_sheets().pages) for _ in range(2))
    assert first == again


def test_an_unknown_paper_is_said() -> None:
    with pytest.raises(InputError, match=r"no such paper: b5\. Use a4 or letter"):
        scale_sheets("b5")
