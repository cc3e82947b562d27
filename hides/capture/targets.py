"""Printed scale sheets: what each one holds (:mod:`nest.report.scalesheet` draws them).

A scale sheet is a page with a chessboard whose white squares hold coded markers (a ChArUco
board): the markers tell which sheet it is, the crossings of the chessboard are where it is, to
a tenth of a pixel. Four or more of them thrown around a hide give the scale, the place of the
camera and the bend of its lens, whatever their places are (:mod:`hides.capture.pose`).

A *sheet frame* is in mm, x to the right along the long side, y up, the origin in the lower left
corner of the pattern. The pattern has the same size on A4 and on Letter paper. A ruler beside
it shows whether the printer kept the scale.

Stickers are single markers from the same set, each with its number in plain figures, for the
places of gauge readings; their markers are never those of a sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from hides.outline import FloatArray
from hides.units import PAPERS

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
COLUMNS, ROWS = 4, 3
SQUARE, MARKER = 62.0, 48.0  # mm; a marker is six modules of 8 mm wide
WIDTH, HEIGHT = COLUMNS * SQUARE, ROWS * SQUARE
RULER = 180.0  # mm, as printed beside each pattern
COUNT = 8  # sheets that differ

LEFT = 9.0  # mm from the paper's left edge to the pattern; above and below it the same is left

STICKER, STICKER_MARKER = 48.0, 36.0  # mm; the white square, and the marker in its middle
STICKERS = 40
FIRST_STICKER = 50  # the marker of sticker 1 has this id, that of sticker 2 the next


@dataclass(frozen=True)
class Sheet:
    """One printed scale sheet, numbered from 1."""

    number: int

    @property
    def ids(self) -> tuple[int, ...]:
        """Ids of its markers, row by row from the upper left."""
        each = ROWS * COLUMNS // 2
        return tuple(range((self.number - 1) * each, self.number * each))

    @cached_property
    def board(self) -> cv2.aruco.CharucoBoard:
        """The same for OpenCV, in mm. Its frame has y down, from the upper left corner."""
        ids = np.array(self.ids, dtype=np.int32)
        return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE, MARKER, DICTIONARY, ids)

    @cached_property
    def corners(self) -> FloatArray:
        """(6, 2) mm, sheet frame: the inner crossings in OpenCV's order (by rows, from above)."""
        corners = np.asarray(self.board.getChessboardCorners(), dtype=np.float64)[:, :2]
        return np.column_stack([corners[:, 0], HEIGHT - corners[:, 1]])

    def black(self) -> list[FloatArray]:
        """Every black rectangle and cell of the pattern, each (4, 2) mm in the sheet frame."""
        found = []
        for row in range(ROWS):
            for column in range(COLUMNS):
                low = (column * SQUARE, HEIGHT - (row + 1) * SQUARE)
                if (row + column) % 2 == 0:
                    found.append(_square(low, SQUARE))
                else:
                    marker = self.ids[(row * COLUMNS + column) // 2]
                    inset = (SQUARE - MARKER) / 2
                    found += black_cells(marker, (low[0] + inset, low[1] + inset), MARKER)
        return found


SHEETS = tuple(Sheet(number) for number in range(1, COUNT + 1))


def paper_of(paper: str) -> FloatArray:
    """The (4, 2) corners in mm of the paper around a pattern, in the sheet frame."""
    width, height = PAPERS[paper]
    low = (-LEFT, (HEIGHT - height) / 2)
    return np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]) + low


def black_cells(marker: int, low: tuple[float, float], size: float) -> list[FloatArray]:
    """Black cells of a marker of ``size`` mm whose lower left corner is ``low``: (4, 2) each."""
    cells = DICTIONARY.markerSize + 2
    image = cv2.aruco.generateImageMarker(DICTIONARY, marker, cells, borderBits=1)
    step = size / cells
    return [
        _square((low[0] + column * step, low[1] + (cells - 1 - row) * step), step)
        for row, column in np.argwhere(image == 0)
    ]


def _square(low: tuple[float, float], size: float) -> FloatArray:
    corners = np.array([(0.0, 0.0), (size, 0.0), (size, size), (0.0, size)])
    return corners + low
