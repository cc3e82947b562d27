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
from hides.capture.masks import Mask, dilated, eroded, filled, rings_of
from hides.capture.pose import Flat
from hides.outline import FloatArray, Outline, polygons_of

FINEST_PIXEL = 1.0  # mm per pixel; what is finer is made coarser
REFLECTANCE_PIXEL = 4.0  # mm per pixel; enough to compare leather and paper
MIXED_RIM = 4.0  # mm; along the edge the picture shows leather and floor mixed
SKIRT = 15.0  # mm; what lies so near the edge as a whole may be floor that the edge took in
WINDOW = RING_GAPS[-1] + STROKE_GAP  # mm; what is looked at around a hide, or strokes
# times the leather's own spread: surely painted, and its continuation
SURE_SCORE, DRAWN_SCORE = 8.0, 4.0
LEAST_SURE, LEAST_DRAWN = 6.0, 3.5  # least differences, however even the leather
BRIGHT = 1.5  # how much more than hue lightness must stand out, which light changes too
STRAIGHTENED = 0.7  # mm; by how much a shape's edge may be straightened


@dataclass(frozen=True, eq=False)
class Picture:
    """A hide in a picture of its own.

    Attributes
    ----------
    flat : its part of the flat photo, in pixels of :data:`FINEST_PIXEL` or more.
    leather : (h, w), where the photo shows it, without the rim and without what is to be ignored.
    floor : (h, w), where the photo shows that, without the rim and the sheets.
    reflects : (3,) linear B, G, R: what the leather reflects, white paper being 1.
    """

    flat: Flat
    outline: Polygon
    leather: Mask
    floor: Mask
    reflects: FloatArray

    @property
    def scale(self) -> float:
        """mm per pixel."""
        return self.flat.scale

    def polygon(self, mask: Mask, corner: tuple[int, int]) -> Polygon | None:
        """The largest piece of a window's mask on the hide, in mm; ``corner`` is (row, column)."""
        edges = rings_of(mask)
        if not edges or len(edges[0]) < 3:
            return None
        ring = edges[0] + np.array(corner[::-1])
        # the ring runs through the middles of the outermost pixels
        shape = Polygon(self.flat.to_floor(ring)).buffer(0.5 * self.scale).simplify(STRAIGHTENED)
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
            even = even_out(self.flat.pixels, bare, self.reflects, self.scale)
            painted = _standing_out(even, self.leather, self.scale)
        return even, painted


def picture_of(
    flat: Flat, outline: Outline, papers: Iterable[Polygon], ignore: Iterable[Polygon]
) -> Picture:
    """Cut the hide out of a flat; see :func:`hides.capture.marks.finder.find`."""
    papers = tuple(papers)
    reflects = _reflects(flat, outline.polygon, papers)
    ring, pad = flat.to_pixels(outline.points), WINDOW / flat.scale
    size = np.array(flat.pixels.shape[1::-1])
    low = np.clip(np.floor(ring.min(axis=0) - pad), 0, size - 1).astype(int)
    high = np.clip(np.ceil(ring.max(axis=0) + pad), low + 1, size).astype(int)
    part = np.s_[low[1] : high[1], low[0] : high[0]]
    ((left, top),) = flat.to_floor(low)
    flat = _reduced(Flat(flat.pixels[part], flat.seen[part], (left, top), flat.scale), FINEST_PIXEL)
    hide, rim = _inside(outline.polygon, flat), MIXED_RIM / flat.scale
    leather, floor = eroded(hide & flat.seen, rim), flat.seen & ~dilated(hide, rim)
    for each in ignore:
        leather &= ~_inside(each.buffer(MIXED_RIM), flat)
    for paper in papers:
        floor &= ~_inside(paper.buffer(MIXED_RIM), flat)
    return Picture(flat, outline.polygon, leather, floor, reflects)


def _reflects(flat: Flat, outline: Polygon, papers: Iterable[Polygon]) -> FloatArray:
    """What the leather reflects, from a coarse picture of the whole flat."""
    flat = _reduced(flat, REFLECTANCE_PIXEL)
    leather = _inside(outline, flat) & flat.seen
    shrunk = eroded(leather, MIXED_RIM / flat.scale)
    sheets = [eroded(_inside(paper, flat), MIXED_RIM / flat.scale) for paper in papers]
    shown = [sheet for sheet in sheets if sheet.any()]
    return reflectance(flat.pixels, shrunk if shrunk.any() else leather, shown, flat.scale)


def _reduced(flat: Flat, pixel: float) -> Flat:
    """The same picture in pixels of at least ``pixel`` mm."""
    step = pixel / flat.scale
    if step <= 1.0:
        return flat
    height, width = (max(1, round(side / step)) for side in flat.seen.shape)
    pixels, seen = (
        np.asarray(cv2.resize(each, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)
        for each in (flat.pixels, flat.seen.astype(np.uint8))
    )
    ((left, top),) = flat.to_floor([(step - 1) / 2, (step - 1) / 2])
    return Flat(pixels, seen > 0, (left, top), pixel)


def _inside(shape: Polygon, flat: Flat) -> Mask:
    """A shape's pixels in a flat."""
    return filled(flat.seen.shape, [flat.to_pixels(np.asarray(shape.exterior.coords[:-1]))])


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
