"""Masks: where in a picture something is, (h, w) bool; all lengths are in pixels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from hides.outline import FloatArray

Pixels = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Floats = NDArray[np.float32]


def depth(mask: Mask) -> Floats:
    """Each pixel's distance to the outside in pixels; beyond the picture nothing is inside."""
    wide = np.pad(mask, 1).astype(np.uint8)
    inner = cv2.distanceTransform(wide, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    return np.asarray(inner, dtype=np.float32)


def eroded(mask: Mask, by: float) -> Mask:
    """What lies more than ``by`` pixels inside the mask and the picture."""
    return np.asarray(depth(mask) > by)


def dilated(mask: Mask, by: float) -> Mask:
    """All within ``by`` pixels of the mask."""
    if not mask.any():
        return mask
    away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away <= by)


def pieces(mask: Mask) -> Iterator[Mask]:
    """The connected pieces of a mask."""
    count, labels = cv2.connectedComponents(mask.astype(np.uint8))
    for i in range(1, count):
        yield np.asarray(labels == i)


def shrunk(picture: NDArray[Any], size: tuple[int, int]) -> NDArray[Any]:
    """A picture of that width and height in pixels, which are means of the old ones."""
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA))


def rings_of(mask: Mask) -> list[FloatArray]:
    """The outermost pixels of each piece of a mask, (n, 2) pixels, the longest ring first."""
    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return sorted((ring[:, 0].astype(np.float64) for ring in rings), key=len, reverse=True)


def without_holes(mask: Mask) -> Mask:
    """The mask with its holes filled."""
    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(cv2.drawContours(np.zeros(mask.shape, np.uint8), rings, -1, 1, -1) > 0)


def filled(shape: tuple[int, ...], rings: Sequence[FloatArray]) -> Mask:
    """Mask of that shape, (h, w), of (n, 2) pixel rings."""
    mask = np.zeros(shape[:2], np.uint8)
    for ring in rings:
        cv2.fillPoly(mask, [np.round(ring * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return mask.astype(bool)
