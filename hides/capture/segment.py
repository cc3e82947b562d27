"""Hide or floor, roughly: which pixels of a flat picture are leather, in three ways.

The picture is looked at in pixels of about :data:`COARSE_PIXEL` mm. What is known beforehand: the
printed sheets lie on the floor, and so does what is seen along the rim of the picture.

* :func:`unlike_floor` starts from what is unlike that floor (Mahalanobis distance to clusters of
  it, split by Otsu's threshold), and cuts the picture in two by its colours in Lab.
* :func:`by_tint` starts from the middle of the sheets, without any such distance, and cuts by
  tint (ratios of the colours, which shadows hardly change) and texture, without brightness.
* :func:`by_colour` starts from there too, and cuts by colours in Lab. It is asked where tints
  say nothing, such as of black leather.

All cuts are minimum cuts between two mixtures of colours (GrabCut, Rother, Kolmogorov, Blake:
"GrabCut", ACM Transactions on Graphics 23, 2004), as OpenCV has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from hides.capture.masks import (
    Floats,
    Mask,
    Pixels,
    dilated,
    eroded,
    filled,
    pieces,
    shrunk,
    without_holes,
)
from hides.outline import FloatArray

COARSE_PIXEL = 6.0  # mm per pixel
TEXTURE_PIXEL = 2.0  # mm per pixel in which texture is looked at
PICTURE_RIM = 40.0  # mm along the edge of the picture that are taken as floor
SHEET_SHADOW = 12.0  # mm around a sheet that are left out, for its shadow and what was not fitted
FLOOR_RING = (12.0, 45.0)  # mm around a sheet that are taken as floor
DARK = 12.0  # added to pixel values before their logarithm: what noise would make of black
FEW_PIXELS = 400  # coarse pixels; fewer around the sheets say little of the floor
LIKE = 7.0  # deviations from the floor around the sheets; what is like that on the rim is floor
CLUSTERS = 5  # of floor colours: light, shade, joints, boards
HALVED = 2  # coarse pixels along one of the second cut, which needs not be as fine
CUT_ROUNDS = 3  # of the cut; more change little
THIN = 12.0  # mm; thinner things are no hide
FLOOR_SPREAD = np.array([0.02, 0.0008, 0.0008, 0.02])  # no floor is more even than that


@dataclass(frozen=True, eq=False)
class Coarse:
    """A flat picture in coarse pixels, and what is known of it beforehand.

    Attributes
    ----------
    ratio : (2,) flat pixels per coarse pixel of :data:`COARSE_PIXEL` mm.
    lab : (h, w, 3) uint8.
    features : (h, w, 4) float32: log brightness, two log tints, log texture.
    open : (h, w) bool, seen in the photo and not covered by a sheet.
    covered : (h, w) bool, a sheet and its shadow.
    floor : (h, w) bool, known as floor by the sheets and the rim.
    rim : (h, w) bool, the strip along the edge of what is seen.
    middle : (h, w) bool, between the middles of the sheets.
    """

    ratio: FloatArray
    lab: Pixels
    features: Floats
    open: Mask
    covered: Mask
    floor: Mask
    rim: Mask
    middle: Mask

    def to_coarse(self, pixels: FloatArray) -> FloatArray:
        """(n, 2) coarse pixels of (n, 2) pixels of the flat picture."""
        return np.asarray((pixels + 0.5) / self.ratio - 0.5)

    def to_flat(self, coarse: FloatArray) -> FloatArray:
        """(n, 2) pixels of the flat picture of (n, 2) coarse pixels."""
        return np.asarray((coarse + 0.5) * self.ratio - 0.5)


def coarse_of(pixels: Pixels, seen: Mask, scale: float, sheets: Sequence[FloatArray]) -> Coarse:
    """Look at a flat picture in coarse pixels.

    Parameters
    ----------
    pixels, seen : (h, w, 3) uint8 BGR; (h, w) bool where the photo shows something.
    scale : mm per pixel.
    sheets : (n, 2) pixels each, the corners of the paper.
    """
    finer = max(TEXTURE_PIXEL / scale, 1.0)
    fine = shrunk(pixels, _size(pixels, finer)).astype(np.float32)
    size = _size(pixels, COARSE_PIXEL / scale)
    ratio = np.array([pixels.shape[1] / size[0], pixels.shape[0] / size[1]])
    corners = [(sheet + 0.5) / ratio - 0.5 for sheet in sheets]
    shown = cv2.resize(seen.astype(np.uint8), size, interpolation=cv2.INTER_AREA) > 0
    shown = eroded(shown, 1.0)
    paper = filled(shown.shape, corners)
    rim = shown & ~eroded(shown, PICTURE_RIM / COARSE_PIXEL)
    covered = dilated(paper, SHEET_SHADOW / COARSE_PIXEL)
    inner, outer = (dilated(paper, reach / COARSE_PIXEL) for reach in FLOOR_RING)
    middle = np.zeros(shown.shape, np.uint8)
    if corners:
        hull = cv2.convexHull(np.array([c.mean(axis=0) for c in corners], np.float32))
        cv2.fillConvexPoly(middle, np.round(hull).astype(np.int32), 1)
    free = shown & ~covered
    small = shrunk(fine, size).astype(np.uint8)
    lab = np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2LAB), dtype=np.uint8)
    features = _features(fine, size)
    floor = outer & ~inner & free
    if floor.sum() > FEW_PIXELS:  # a hide may lie on the rim, but not under a sheet
        floor |= rim & free & (_distance(features, features[floor]) < LIKE)
    else:
        floor = rim & free
    return Coarse(ratio, lab, features, free, covered, floor, rim, middle.astype(bool))


def unlike_floor(look: Coarse) -> Mask:
    """The hide as what is unlike the floor, cut by colour; all pieces."""
    far = np.minimum(_distance(look.features, look.features[look.floor]), 12.0)
    level = np.round(far * (255 / 12.0)).astype(np.uint8)
    split, _ = cv2.threshold(level[look.open].reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)
    return _cut(look, look.lab, (level > split) & look.open, 1)


def by_colour(look: Coarse) -> Mask:
    """The hide as what lies between the sheets, cut by colour; all pieces."""
    return _cut(look, look.lab, look.middle, HALVED)


def by_tint(look: Coarse) -> Mask:
    """The hide as what lies between the sheets, cut by tint and texture; all pieces."""
    tints = look.features[..., 1:]
    centred = (tints - np.median(tints[look.open], axis=0)) * (200.0, 200.0, 40.0)
    picture = np.clip(128 + centred, 0, 255).astype(np.uint8)
    return _cut(look, picture, look.middle, HALVED)


def pieces_of(mask: Mask) -> list[Mask]:
    """The pieces of a mask, without what is thin, largest first, their holes filled."""
    size = round(THIN / COARSE_PIXEL) // 2 * 2 + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    clean = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    whole = without_holes(clean > 0)
    return sorted(pieces(whole), key=np.count_nonzero, reverse=True)


def _cut(look: Coarse, picture: Pixels, start: Mask, by: int) -> Mask:
    """Minimum cut of a picture from a start, in pixels of ``by`` coarse ones."""
    marks = np.where(start, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    marks[~look.open | look.rim & look.floor] = cv2.GC_BGD
    if not (marks & 1).any():
        return np.zeros_like(start)
    # What shows nothing must teach nothing: fill it with floor.
    picture = picture.copy()
    known, blank = picture[look.floor], ~look.open
    picture[blank] = known[np.random.default_rng(1).integers(0, len(known), int(blank.sum()))]
    size = picture.shape[1] // by, picture.shape[0] // by
    picture = shrunk(picture, size)
    marks = np.asarray(cv2.resize(marks, size, interpolation=cv2.INTER_NEAREST))
    cv2.setRNGSeed(1)
    floor, leather = np.zeros((1, 65)), np.zeros((1, 65))
    way = cv2.GC_INIT_WITH_MASK
    cv2.grabCut(picture, marks, (0, 0, 1, 1), floor, leather, CUT_ROUNDS, way)
    whole = start.shape[1], start.shape[0]
    full = np.asarray(cv2.resize(marks & 1, whole, interpolation=cv2.INTER_NEAREST))
    return np.asarray((full > 0) & look.open)


def _features(fine: Floats, size: tuple[int, int]) -> Floats:
    logs = np.log(fine + DARK)
    bright = logs.mean(axis=2)
    detail = np.abs(bright - cv2.GaussianBlur(bright, (0, 0), 6.0 / TEXTURE_PIXEL))
    texture = shrunk(cv2.GaussianBlur(detail, (0, 0), 12.0 / TEXTURE_PIXEL), size)
    b, g, r = cv2.split(shrunk(logs, size))
    return np.dstack([shrunk(bright, size), r - g, b - g, np.log(texture + 0.01)])


def _distance(features: Floats, samples: Floats) -> Floats:
    """Mahalanobis distance of (h, w, 4) features to the nearest cluster of samples."""
    cv2.setRNGSeed(1)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.01)
    few = samples[:: max(len(samples) // 20_000, 1)]
    label = np.zeros((len(few), 1), np.int32)
    cv2.kmeans(few, CLUSTERS, label, stop, 2, cv2.KMEANS_PP_CENTERS)
    nearest = np.full(features.shape[:2], np.inf, np.float32)
    for k in range(CLUSTERS):
        own = few[label[:, 0] == k]
        if len(own) < 30:
            continue
        inverse = np.linalg.inv(np.cov(own.T) + np.diag(FLOOR_SPREAD)).astype(np.float32)
        off = features - own.mean(axis=0)
        nearest = np.minimum(nearest, ((off @ inverse) * off).sum(axis=2))
    return np.sqrt(nearest)


def _size(pixels: Pixels, factor: float) -> tuple[int, int]:
    h, w = pixels.shape[:2]
    return max(round(w / factor), 1), max(round(h / factor), 1)
