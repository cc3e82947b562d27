"""What the printed sheets hold: all different, and the very patterns that OpenCV draws.

Paper sizes: ISO 216 (A4 210 x 297 mm) and ANSI/ASME Y14.1 (size A, 8.5 x 11 inches).
"""

import cv2
import numpy as np
import pytest

from hides.capture import targets

INCH = 25.4


def test_every_marker_is_used_once():
    """Sheets and stickers are told apart by their markers alone."""
    ids = [marker for sheet in targets.SHEETS for marker in sheet.ids]
    ids += range(targets.FIRST_STICKER, targets.FIRST_STICKER + targets.STICKERS)
    assert len(set(ids)) == len(ids)
    assert max(ids) < len(targets.DICTIONARY.bytesList)
    assert len(targets.SHEETS) >= 6


@pytest.mark.parametrize("sheet", targets.SHEETS[::3], ids=lambda sheet: f"sheet-{sheet.number}")
def test_a_pattern_is_the_board_that_opencv_draws(sheet):
    """Our black rectangles, four dots to the millimetre, against CharucoBoard.generateImage."""
    image = np.full((round(targets.HEIGHT * 4), round(targets.WIDTH * 4)), 255, np.uint8)
    for ring in sheet.black():
        (x1, y1), (x2, y2) = np.round(np.array([ring.min(axis=0), ring.max(axis=0)]) * 4).astype(
            int
        )
        image[len(image) - y2 : len(image) - y1, x1:x2] = 0
    assert np.array_equal(image, sheet.board.generateImage(image.shape[::-1]))


def test_crossings_are_those_of_the_board_with_y_up():
    """The first is the upper left one."""
    assert targets.SHEETS[0].corners[[0, 5]].tolist() == [[62.0, 124.0], [186.0, 62.0]]


@pytest.mark.parametrize(
    ("paper", "width", "height"),
    [("a4", 297.0, 210.0), ("letter", 11 * INCH, 8.5 * INCH)],
)
def test_the_pattern_fits_on_the_paper(paper, width, height):
    """With the ruler beside it, and 5 mm all round that home printers leave blank (from memory)."""
    ring = targets.paper_of(paper)
    assert np.ptp(ring, axis=0) == pytest.approx((width, height))
    assert (ring.min(axis=0) <= -5.0).all()
    assert (ring.max(axis=0) >= (targets.WIDTH + 10.0, targets.HEIGHT + 5.0)).all()
    assert targets.RULER < targets.HEIGHT


def test_a_marker_is_the_one_that_opencv_draws():
    """A sticker's cells on a grid of one dot each, against generateImageMarker."""
    image = np.full((6, 6), 255, np.uint8)
    for ring in targets.black_cells(targets.FIRST_STICKER, (0.0, 0.0), 6.0):
        x, y = np.round(ring.min(axis=0)).astype(int)
        image[5 - y, x] = 0
    expected = cv2.aruco.generateImageMarker(targets.DICTIONARY, targets.FIRST_STICKER, 6)
    assert np.array_equal(image, expected)
