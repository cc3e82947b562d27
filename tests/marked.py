"""Patches of leather with marks whose truth is known: pictures from straight above, 1 mm per pixel.

    flat = patch("tan", [("ring", "red", at(300, 260))], shadow=0.5, gap=8.0, cover=0.8)

Leather with grain (:data:`HIDE`) lies on a floor, a sheet of :data:`PAPER` beside it. Chalk has
gaps and bare spots; then come light, blur, noise and JPEG. Floor frame: mm, y up.
"""

from __future__ import annotations

import cv2
import numpy as np
from shapely import LineString, Polygon, box

from hides.capture.marks import PALETTE
from hides.capture.pose import Flat
from tests.scenes import CHALKS, LEATHERS

SIZE = (520, 760)  # mm, height and width of a patch
HIDE = box(40, 40, 560, 480)
PAPER = box(600, 100, 740, 300)


def at(x: float, y: float, radius: float = 45.0) -> Polygon:
    """A lobed ring's middle line, as people draw it."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = radius * (1 + 0.12 * np.cos(2 * turn) + 0.06 * np.sin(3 * turn))
    return Polygon(np.column_stack([x + r * np.cos(turn), y + r * np.sin(turn)]))


def painted(shape: Polygon, form: str, gap: float = 0.0) -> np.ndarray:
    """(h, w) 0 to 1: where chalk lies; a ring's line is 6 mm wide, ``gap`` mm off each 40 mm."""
    mask = np.zeros(SIZE, np.uint8)
    ring = np.array(shape.exterior.coords)
    ring = np.column_stack([ring[:, 0], SIZE[0] - 1 - ring[:, 1]])
    if form != "ring":
        cv2.fillPoly(mask, [np.round(ring * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return mask / 255.0
    line = LineString(ring)
    for start in np.arange(0, line.length, 40.0):
        steps = np.arange(start, min(start + 40.0 - gap, line.length) + 1, 2.0)
        points = np.array([line.interpolate(s).coords[0] for s in steps])
        cv2.polylines(mask, [np.round(points * 16).astype(np.int32)], False, 255, 6, cv2.LINE_AA, 4)
    return mask / 255.0


def patch(
    leather: str,
    marks: list[tuple[str, str, Polygon]],
    *,
    seed: int = 1,
    shadow: float = 0.0,
    gap: float = 8.0,
    cover: float = 0.8,
) -> Flat:
    """A picture of a patch with marks (form, colour, shape)."""
    rng = np.random.default_rng(seed)
    grain = 1 + 0.04 * rng.standard_normal(SIZE)
    grain += 0.05 * cv2.resize(rng.standard_normal((8, 12)), SIZE[::-1], interpolation=2)
    paint = np.full((*SIZE, 3), 105.0)
    paint[SIZE[0] - 480 : SIZE[0] - 40, 40:560] = LEATHERS[leather]
    paint *= grain[..., None]
    for form, colour, shape in marks:
        takes = cv2.GaussianBlur(rng.random(SIZE), (0, 0), 1.5)
        share = painted(shape, form, gap) * np.where(takes > 0.55, 0.3, cover)
        inside = painted(HIDE, "area")
        share = (share * inside)[..., None]
        paint += share * (np.array(CHALKS.get(colour, PALETTE.get(colour, (0,))[::-1])) - paint)
    paint[SIZE[0] - 300 : SIZE[0] - 100, 600:740] = 245
    light = np.ones(SIZE)
    light[:, :300] -= shadow
    seen = cv2.GaussianBlur(paint * cv2.GaussianBlur(light, (0, 0), 12)[..., None], (0, 0), 0.8)
    seen = (seen + rng.normal(0, 2.5, seen.shape)).clip(0, 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", seen, [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    pixels = np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), dtype=np.uint8)
    return Flat(pixels, np.ones(SIZE, bool), (0.0, SIZE[0] - 1.0), 1.0)
