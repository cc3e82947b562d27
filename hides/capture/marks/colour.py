"""Colour: how a mark differs from the leather under it, whatever the light.

Chalk is looked at against the leather beside it, so that neither shadow nor a warm lamp
counts: each pixel is divided by the leather's colour around it and multiplied by what the
leather reflects on the whole. The result is a picture in even white light, in CIE 1976
L*a*b* (ISO/CIE 11664-4), where equal steps look about equal.

A mark covers its ground partly: what is seen is a mixture, by area, of chalk and leather in
linear light. :func:`explain` finds which chalk, and how much of it, explains a colour best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt

from hides.capture.masks import Floats, Mask, Pixels
from hides.outline import FloatArray

LIGHT_STEP = 4.0  # mm; step at which the leather's own colour is looked at
LIGHT_REACH = 120.0  # mm; light changes slower than this along a hide, but for the edges of shadows
HUE_REACH = 400.0  # mm; the leather's hue changes slower than this
GRAIN_BLUR = 1.2  # mm; deviation of the blur that takes out grain and noise
LEAST_TEXTURE = 0.6  # colour difference; no leather is known to be more even than this
WHITE_QUANTILE = 0.8  # of a sheet's pixels are darker than white; nearly half are black
LEATHER_REACH = 120.0  # mm; how deep leather is looked at beside a sheet
DARKEST = 0.004  # of white; keeps ratios sane where the leather is black and in shadow
LIGHTNESS = 0.5  # weight of lightness beside hue: texture and light change it, chalk's dose too
COVERS = np.linspace(0.0, 1.0, 21)  # shares of the ground that a chalk may cover

# linear sRGB, as OpenCV takes it
_LINEAR = np.where(
    np.arange(256) <= 0.04045 * 255,
    np.arange(256) / 255 / 12.92,
    ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4,
).astype(np.float32)  # IEC 61966-2-1


def linear(bgr: Pixels) -> Floats:
    """sRGB values 0 to 255 as linear light 0 to 1; same shape and order of channels."""
    return np.asarray(_LINEAR[bgr], dtype=np.float32)


def lab(light: Floats) -> Floats:
    """CIELAB (n, m, 3) of linear light from 0 to 1 in B, G, R order (n, m, 3)."""
    return np.asarray(cv2.cvtColor(light, cv2.COLOR_LBGR2Lab), dtype=np.float32)


def lab_of(rgb: tuple[int, int, int]) -> FloatArray:
    """L*a*b* (3,) of one sRGB colour, 0 to 255."""
    one = linear(np.array([[rgb[::-1]]], dtype=np.uint8))
    return np.asarray(lab(one)[0, 0], dtype=np.float64)


def difference(one: FloatArray, other: FloatArray) -> float:
    """CIE 1976 colour difference of two CIELAB colours."""
    return float(np.linalg.norm(one - other))


@dataclass(frozen=True)
class Even:
    """A hide in even light, without grain and noise.

    Attributes
    ----------
    looks : (h, w, 3) weighted CIELAB of what the surface reflects, white paper being white.
    bare : (3,) the same of bare leather.
    leather : (3,) bare leather in linear B, G, R.
    """

    looks: Floats
    bare: Floats
    leather: FloatArray


def even_out(pixels: Pixels, mask: Mask, leather: FloatArray, scale: float) -> Even:
    """Take the light out of a picture of a hide.

    Parameters
    ----------
    pixels : (h, w, 3) sRGB, BGR.
    mask : (h, w), where there is bare leather.
    leather : (3,) what the leather reflects, linear B, G, R; see :func:`reflectance`.
    scale : mm per pixel.
    """
    seen = linear(pixels)
    around = _around(seen, mask, scale)
    dark = DARKEST * np.median(seen[mask], axis=0) / leather
    light = (seen + dark) / (around + dark) * (leather + DARKEST) - DARKEST
    soft = cv2.GaussianBlur(np.clip(light, 0.0, 1.5).astype(np.float32), (0, 0), GRAIN_BLUR / scale)
    bare = leather.astype(np.float32)[None, None]
    return Even(
        weighted(lab(np.asarray(soft, dtype=np.float32))), weighted(lab(bare))[0, 0], leather
    )


def reflectance(pixels: Pixels, mask: Mask, papers: Sequence[Mask], scale: float) -> FloatArray:
    """What share of light leather reflects, (3,) linear B, G, R, white paper being 1.

    Each sheet of paper is compared with the leather nearest to it, which mostly lies in the
    same light; the median of the sheets is safe from a shadow's edge between the two. Without
    any paper, the brightest of the picture is taken for white.
    """
    seen = linear(pixels)
    if not mask.any():
        return np.ones(3)
    if not papers:
        some = seen[::3, ::3].reshape(-1, 3)
        level = some.sum(axis=1)
        white = np.median(some[level >= np.quantile(level, 0.99)], axis=0)
        found = np.median(seen[mask], axis=0) / white
    else:
        ratios = []
        for paper in papers:
            white = np.quantile(seen[paper], WHITE_QUANTILE, axis=0)
            away = cv2.distanceTransform((~paper).astype(np.uint8), cv2.DIST_L2, 5)
            near = mask & (away < away[mask].min() + LEATHER_REACH / scale)
            ratios.append(np.median(seen[near], axis=0) / np.maximum(white, 1e-3))
        found = np.median(ratios, axis=0)
    return np.asarray(np.clip(found, DARKEST, 1.0), dtype=np.float64)


def _around(seen: Floats, bare: Mask, scale: float) -> Floats:
    """Colour of bare leather around each pixel: lightness from near, hue from farther away."""
    height, width = bare.shape
    size = (max(1, round(width * scale / LIGHT_STEP)), max(1, round(height * scale / LIGHT_STEP)))
    share = cv2.resize(bare.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(seen * bare[..., None], size, interpolation=cv2.INTER_AREA)
    small = total / np.maximum(share, 1e-6)[..., None]
    good = share > 0.5
    if not good.any():
        good = share > 0
    nearest = distance_transform_edt(~good, return_distances=False, return_indices=True)
    small = small[tuple(nearest)] + np.float32(DARKEST)
    sums = np.log(small.sum(axis=-1, keepdims=True))
    hue = _median(np.log(small) - sums, HUE_REACH)
    level = _median(sums, LIGHT_REACH)
    around = np.exp(hue + level) - DARKEST
    whole = cv2.resize(around, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(whole, dtype=np.float32)


def usual(values: Floats, mask: Mask, scale: float) -> Floats:
    """The usual size of (h, w) values around each pixel of the mask, over HUE_REACH mm."""
    height, width = mask.shape
    size = (max(1, round(width * scale / LIGHT_STEP)), max(1, round(height * scale / LIGHT_STEP)))
    small = cv2.resize(values, size, interpolation=cv2.INTER_NEAREST)
    good = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    if good.any():
        nearest = distance_transform_edt(~good, return_distances=False, return_indices=True)
        small = small[tuple(nearest)]
    small = np.minimum(small, 6 * np.median(small))  # the median's steps are shared out by range
    wide = cv2.resize(_median(small[..., None], HUE_REACH)[..., 0], (width, height))
    return np.asarray(np.maximum(wide, LEAST_TEXTURE), dtype=np.float32)


def _median(values: Floats, reach: float) -> Floats:
    """Running median over ``reach`` mm of a coarse (h, w, n) picture, then smoothed a little."""
    size = 2 * round(reach / LIGHT_STEP / 2) + 1
    low, high = float(values.min()), float(values.max())
    step = max(high - low, 1e-6) / 255  # OpenCV's large medians take bytes
    found = [
        cv2.medianBlur(np.round((channel - low) / step).astype(np.uint8), size)
        for channel in np.moveaxis(values, -1, 0)
    ]
    smooth = cv2.GaussianBlur(np.stack(found, axis=-1).astype(np.float32), (0, 0), 2.0)
    return np.asarray(smooth.reshape(values.shape) * step + low, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Chalks:
    """Colours to be told apart on a certain leather.

    Attributes
    ----------
    names : as in the legend.
    mixed : (n, m, 3) CIELAB of each colour at each of :data:`COVERS`, lightness weighted.
    """

    names: tuple[str, ...]
    mixed: FloatArray

    @classmethod
    def on(cls, leather: FloatArray, colours: dict[str, tuple[int, int, int]]) -> Chalks:
        """The colours (sRGB) on leather that reflects ``leather`` (3,), linear B, G, R."""
        pure = linear(np.array([[rgb[::-1] for rgb in colours.values()]], dtype=np.uint8))[0]
        share = COVERS[None, :, None]
        light = share * pure[:, None, :] + (1 - share) * leather
        return cls(tuple(colours), weighted(lab(light.astype(np.float32))).astype(np.float64))

    def explain(self, colours: Floats) -> FloatArray:
        """What each colour, at its best share, leaves unexplained of (k, 3) colours: (k, n)."""
        seen = colours.astype(np.float64)  # a difference of large squares
        size = np.square(seen).sum(axis=1, keepdims=True)
        off = [
            (size - 2.0 * seen @ line.T + np.square(line).sum(axis=1)).min(axis=1)
            for line in self.mixed
        ]
        return np.asarray(np.sqrt(np.maximum(np.column_stack(off), 0.0)), dtype=np.float64)


def weighted(colours: Floats) -> Floats:
    """L*a*b* (..., 3) with lightness made to count :data:`LIGHTNESS` times."""
    return np.asarray(colours * np.array([LIGHTNESS, 1.0, 1.0], np.float32), dtype=np.float32)
