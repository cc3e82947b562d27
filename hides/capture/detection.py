"""What of the printed sheets can be read in a photo: crossings and stickers, in pixels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from hides.capture import targets
from hides.capture.camera import Camera
from hides.capture.masks import Pixels
from hides.errors import InputError
from hides.outline import FloatArray

FEWEST_SHEETS = 3  # fewer leave the lens free
GOOD_SHEETS = 4
FEWEST_CORNERS = 4  # of the six crossings of a sheet
DARK = 60.0  # of 255: where the brightest of a photo, its paper, is no brighter, it is dark
BLURRED = 0.33  # gradients at full size over those at an eighth; in focus 0.5 and more

Markers = dict[int, list[FloatArray]]


@dataclass(frozen=True, eq=False)
class DetectedSheet:
    """A sheet as read in the photo: crossings in mm (as printed) and in pixels, (n, 2) each."""

    number: int
    corners: FloatArray
    pixels: FloatArray


PARTLY = (
    "Sheet {} is partly hidden or hard to read and was left out. "
    "Lay it flat, free and in the light."
)


def grey(pixels: Pixels) -> Pixels:
    """(h, w) brightness of (h, w, 3) BGR, both 0 to 255."""
    image: Pixels = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY).astype(np.uint8, copy=False)
    return image


def markers(grey: Pixels) -> Markers:
    """Every marker in the picture: id to the (4, 2) pixels of each find."""
    detector = cv2.aruco.ArucoDetector(targets.DICTIONARY)
    corners, ids, _ = detector.detectMarkers(grey)
    found: Markers = {}
    for corner, marker in zip(corners, np.ravel(ids) if ids is not None else (), strict=True):
        ring = np.asarray(corner, dtype=np.float64).reshape(4, 2)
        finds = found.setdefault(int(marker), [])
        if not any(_same(ring, other) for other in finds):
            finds.append(ring)
    return found


def _same(ring: FloatArray, other: FloatArray) -> bool:
    """Whether two finds of a marker are one marker found twice."""
    apart = np.hypot(*(ring.mean(axis=0) - other.mean(axis=0)))
    return bool(apart < 0.5 * np.sqrt(cv2.contourArea(ring.astype(np.float32))))


def sheets(grey: Pixels, markers: Markers) -> tuple[list[DetectedSheet], list[int]]:
    """The sheets with enough crossings, and the numbers of those seen in part."""
    seen, partly = [], []
    for sheet in targets.SHEETS:
        own = _together(sheet, {i: markers[i] for i in sheet.ids if i in markers})
        if len(own) < 2:  # one alone may be a chance find in a floor's pattern
            continue
        corners, ids, _, _ = cv2.aruco.CharucoDetector(sheet.board).detectBoard(
            grey,
            markerCorners=[ring.astype(np.float32)[None] for ring in own.values()],
            markerIds=np.array(list(own), dtype=np.int32)[:, None],
        )
        if ids is None or len(ids) < FEWEST_CORNERS:
            partly.append(sheet.number)
            continue
        which = np.ravel(ids)
        pixels = np.asarray(corners, dtype=np.float64).reshape(-1, 2)
        seen.append(DetectedSheet(sheet.number, sheet.corners[which], pixels))
    return seen, partly


def _together(sheet: targets.Sheet, finds: Markers) -> dict[int, FloatArray]:
    """One find for each marker: those that lie together as on one sheet."""
    rings = [(marker, ring) for marker, all_ in finds.items() for ring in all_]
    if not rings:
        return {}
    middles = np.array([ring.mean(axis=0) for _, ring in rings])
    sides = np.array([np.sqrt(cv2.contourArea(ring.astype(np.float32))) for _, ring in rings])
    reach = np.hypot(targets.WIDTH, targets.HEIGHT) / targets.MARKER * 1.5
    near = [
        (np.hypot(*(middles - middle).T) < reach * side) & (np.abs(np.log(sides / side)) < 0.7)
        for middle, side in zip(middles, sides, strict=True)
    ]
    best = max(near, key=np.count_nonzero)
    group = {marker: ring for (marker, ring), is_near in zip(rings, best, strict=True) if is_near}
    rest = {marker for (marker, _), is_near in zip(rings, best, strict=True) if not is_near}
    if len(rest) >= 3 or len(group) < np.count_nonzero(best):
        raise InputError(
            f"sheet {sheet.number} lies there twice.",
            mend="Every sheet has its own number; print each page once and lay it once.",
        )
    return group


def check_enough(grey: Pixels, count: int, partly: int) -> None:
    """Refuse a photo with too few sheets, and say whether it is too dark, or blurred.

    ``count`` is the number of those read, ``partly`` that of those seen in part.
    """
    if count >= FEWEST_SHEETS:
        return
    found = "no scale sheet" if count == 0 else f"only {count} scale sheet{'s' * (count > 1)}"
    hidden = f" ({partly} more in part)" if partly else ""
    mend = (
        f"Lay {GOOD_SHEETS} or more of the sheets that `croupon hide targets` prints around the "
        "hide, all of each in view, flat and evenly lit."
    )
    if np.percentile(grey[::4, ::4], 99.5) < DARK:
        raise InputError(
            f"the photo is too dark; {found} can be read in it{hidden}.",
            mend="Take it again in more light: daylight or lamps from all sides, no flash.",
        )
    if _sharpness(grey) < BLURRED:
        raise InputError(
            f"the photo is blurred; {found} can be read in it{hidden}.",
            mend="Hold the camera still, tap the hide to focus, and take it again in more light.",
        )
    raise InputError(f"{found} can be read in the photo{hidden}.", mend=mend)


def _sharpness(grey: Pixels) -> float:
    """Steepest edges at full size beside those at an eighth of it: blurs hardly change these."""

    def steepest(image: NDArray[Any]) -> float:
        across = cv2.absdiff(image[:, 2:], image[:, :-2])
        down = cv2.absdiff(image[2:], image[:-2])
        return float(max(np.percentile(across, 99.95), np.percentile(down, 99.95)))

    eighth = cv2.resize(grey, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    return steepest(cv2.GaussianBlur(grey, (0, 0), 0.8)) / max(steepest(eighth), 1.0)


def stickers(markers: Markers, camera: Camera) -> dict[int, tuple[float, float]]:
    """Stickers by number, where their size on the floor is that of a sticker."""
    found = {}
    for number in range(1, targets.STICKERS + 1):
        for ring in markers.get(targets.FIRST_STICKER + number - 1, ()):
            there = camera.to_floor(ring)
            side = np.sqrt(Polygon(there).area)
            if abs(side / targets.STICKER_MARKER - 1) < 0.2:
                x, y = _crossing(there)
                found[number] = (x, y)
    return found


def _crossing(ring: FloatArray) -> tuple[float, float]:
    """Where the diagonals of a (4, 2) ring cross."""
    a, b, c, d = ring
    step = np.linalg.solve(np.column_stack([c - a, b - d]), b - a)
    x, y = a + step[0] * (c - a)
    return float(x), float(y)
