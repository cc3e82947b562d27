"""Picture: the part of a flat photo that shows the hide, and where it is painted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.capture.marks.colour import Even, even_out, reflectance, usual
from hides.capture.marks.strokes import RING_GAPS, STROKE_GAP
from hides.capture.masks import Mask, Pixels, dilated, eroded, rings_of
from hides.capture.pose import Flat
from hides.outline import FloatArray, Outline, polygons_of

FINEST_PIXEL = 1.0  # mm per pixel; what is finer is made coarser
REFLECTANCE_PIXEL = 4.0  # mm per pixel; enough to compare leather and paper
MIXED_RIM = 4.0  # mm; along the edge the picture shows leather and floor mixed
SKIRT = 15.0  # mm; what lies so near the edge as a whole may be floor that the edge took in
WINDOW = (
    RING_GAPS[-1] + STROKE_GAP
)  # mm; what is looked at around the hide, and around a group of strokes
SURE_SCORE, DRAWN_SCORE = (
    8.0,
    4.0,
)  # times the leather's own spread: surely painted, and its continuation
LEAST_SURE, LEAST_DRAWN = 6.0, 3.5  # least differences, however even the leather
BRIGHT = 1.5  # how much more than hue lightness must stand out, which light changes too
STRAIGHTENED = 0.7  # mm; by how much a shape's edge may be straightened


@dataclass(frozen=True, eq=False)
class Picture:
    """A hide in a picture of its own.

    Attributes
    ----------
    pixels : (h, w, 3) uint8 BGR.
    leather : (h, w), where the photo shows it, without the rim and without what is to be ignored.
    floor : (h, w), where the photo shows that, without the rim and the sheets.
    reflects : (3,) linear B, G, R: what the leather reflects, white paper being 1.
    low, step : pixel p is pixel low + (p + 0.5) * step - 0.5 of the flat.
    """

    flat: Flat
    outline: Polygon
    pixels: Pixels
    leather: Mask
    floor: Mask
    reflects: FloatArray
    low: FloatArray
    step: float

    @property
    def scale(self) -> float:
        """mm per pixel."""
        return self.flat.scale * self.step

    def polygon(self, mask: Mask, corner: tuple[int, int]) -> Polygon | None:
        """The largest piece of a window's mask on the hide, in mm; ``corner`` is (row, column)."""
        edges = rings_of(mask)
        if not edges or len(edges[0]) < 3:
            return None
        ring = edges[0] + np.array(corner[::-1])
        places = self.flat.to_floor(self.low + (ring + 0.5) * self.step - 0.5)
        # the ring runs through the middles of the outermost pixels
        shape = Polygon(places).buffer(0.5 * self.scale).simplify(STRAIGHTENED)
        if (
            shape.distance(self.outline.exterior) < 1.5 * MIXED_RIM
        ):  # what ends there goes to the edge
            shape = shape.union(shape.buffer(1.5 * MIXED_RIM).intersection(self._rim))
        found = polygons_of(shape.intersection(self.outline))
        return found[0] if found else None

    @cached_property
    def _rim(self) -> BaseGeometry:
        """The leather in which no mark can be seen for sure."""
        return self.outline.difference(self.outline.buffer(-1.5 * MIXED_RIM))

    @cached_property
    def within(self) -> BaseGeometry:
        """The hide without a border of :data:`SKIRT`."""
        return self.outline.buffer(-SKIRT)

    def painted(self) -> tuple[Even, Mask]:
        """The hide in even light, and where it is painted.

        The light is taken out twice, the second time with the marks of the first look left out.
        """
        painted = np.zeros_like(self.leather)
        for _ in range(2):
            bare = self.leather & ~dilated(painted, 2 * MIXED_RIM / self.scale)
            even = even_out(self.pixels, bare, self.reflects, self.scale)
            painted = _standing_out(even, self.leather, self.scale)
        return even, painted


def picture_of(
    flat: Flat, outline: Outline, papers: Iterable[Polygon], ignore: Iterable[Polygon]
) -> Picture:
    """Cut the hide out of a flat; see :func:`hides.capture.marks.finder.find`."""
    ring = flat.to_pixels(outline.points)
    pad = WINDOW / flat.scale
    size = np.array(flat.pixels.shape[1::-1])
    low = np.clip(np.floor(ring.min(axis=0) - pad), 0, size - 1).astype(int)
    high = np.clip(np.ceil(ring.max(axis=0) + pad), low + 1, size).astype(int)
    step = max(1.0, FINEST_PIXEL / flat.scale)
    part = np.s_[low[1] : high[1], low[0] : high[0]]
    pixels = _reduced(flat.pixels[part], step)
    seen = _reduced(flat.seen[part].astype(np.uint8), step) > 0

    def inside(shape: Polygon) -> Mask:
        return _inside(shape, flat, low, step, pixels.shape[:2])

    papers, rim = tuple(papers), MIXED_RIM / (flat.scale * step)
    hide = inside(outline.polygon)
    leather, floor = eroded(hide & seen, rim), seen & ~dilated(hide, rim)
    for each in ignore:
        leather &= ~inside(each.buffer(MIXED_RIM))
    for paper in papers:
        floor &= ~inside(paper.buffer(MIXED_RIM))
    reflects = _reflects(flat, outline.polygon, papers)
    return Picture(flat, outline.polygon, pixels, leather, floor, reflects, low.astype(float), step)


def _reflects(flat: Flat, outline: Polygon, papers: Iterable[Polygon]) -> FloatArray:
    """What the leather reflects, from a coarse picture of the whole flat."""
    step = max(1.0, REFLECTANCE_PIXEL / flat.scale)
    pixels = _reduced(flat.pixels, step)
    origin = np.zeros(2)

    def inside(shape: Polygon) -> Mask:
        return _inside(shape, flat, origin, step, pixels.shape[:2])

    scale = flat.scale * step
    leather = inside(outline) & (_reduced(flat.seen.astype(np.uint8), step) > 0)
    shrunk = eroded(leather, MIXED_RIM / scale)
    sheets = [eroded(inside(paper), MIXED_RIM / scale) for paper in papers]
    shown = [sheet for sheet in sheets if sheet.any()]
    return reflectance(pixels, shrunk if shrunk.any() else leather, shown, scale)


def _reduced(pixels: Pixels, step: float) -> Pixels:
    if step == 1.0:
        return pixels
    size = (max(1, round(pixels.shape[1] / step)), max(1, round(pixels.shape[0] / step)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _inside(
    shape: Polygon, flat: Flat, low: FloatArray, step: float, size: tuple[int, ...]
) -> Mask:
    """A shape's pixels in a picture that begins at ``low`` and is ``step`` times coarser."""
    corners = flat.to_pixels(np.asarray(shape.exterior.coords[:-1]))
    places = np.round((corners - low + 0.5) / step - 0.5).astype(np.int32)
    mask = np.zeros(size, np.uint8)
    return np.asarray(cv2.fillPoly(mask, [places], 1) > 0)


def _standing_out(even: Even, leather: Mask, scale: float) -> Mask:
    """Where the colour differs from the leather's by far more than its texture makes it."""
    off = even.looks - even.bare
    hue = np.hypot(off[..., 1], off[..., 2])
    bright = np.maximum(off[..., 0], 0.0)
    score = np.maximum(
        hue / usual(hue, leather, scale),
        bright / (BRIGHT * usual(np.abs(off[..., 0]), leather, scale)),
    )
    strong = np.maximum(hue, bright)
    drawn = leather & (score > DRAWN_SCORE) & (strong > LEAST_DRAWN)
    sure = drawn & (score > SURE_SCORE) & (strong > LEAST_SURE)
    _, labels = cv2.connectedComponents(drawn.astype(np.uint8))
    seeded = np.zeros(labels.max() + 1, dtype=bool)
    seeded[labels[sure]] = True
    return np.asarray(seeded[labels] & drawn)
