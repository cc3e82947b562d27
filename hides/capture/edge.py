"""The edge of a shape in a flat picture, found to a millimetre in a band around a first guess.

The band is unrolled: one row for every :data:`RING_STEP` mm of the ring, one column for every
millimetre across it, inside on the left. In each row the colours well inside and well outside,
gathered over a stretch of the ring, say how probable each pixel is as leather and as floor. The
edge is then the closed path down the band that splits leather from floor with the greatest
probability and does not jump: a shortest path, found exactly by dynamic programming (Bellman).
What is learned along the ring is local, so a shadow across the hide does not move the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.spatial import cKDTree
from shapely import LinearRing

from hides.capture.masks import Pixels
from hides.outline import FloatArray

RING_STEP = 2.0  # mm along the ring between rows
STRANGE = -11.0  # log density of any colour at all, so that chalk on the edge says little
COLOUR_STRETCH = 160.0  # mm of the ring over which colours are gathered
MOST_LEANING = 4.0  # how much one pixel may say for leather or floor, in log probability
JUMP = 1.5  # cost of moving one pixel across from row to row
PASSES = ((24.0, 7.0, 10.0), (14.0, 2.0, 6.0))  # mm: reach, core, and smoothing before
PULL = 12.0  # mm, deviation of where the edge is believed to lie around a first guess
PATCH = 40.0  # mm of the ring that are judged as one
# Of Lab values: no picture is surer of its colours. Brightness says less than tint, since the
# hide's shadow darkens the floor beside it and its own rim is often dark.
COLOUR_NOISE = np.diag([100.0, 4.0, 4.0])


@dataclass(frozen=True, eq=False)
class Leash:
    """How far the edge may lie off a line that somebody has drawn along it.

    Attributes
    ----------
    line : (n, 2) pixels, a few mm apart.
    reach : (n,) mm, how far off each of its points.
    """

    line: FloatArray
    reach: FloatArray

    def liking(self, at: FloatArray, scale: float) -> FloatArray:
        """What speaks for an edge at (..., 2) pixels, by their distance from the line, (...)."""
        far, nearest = cKDTree(self.line).query(at)
        share = far * scale / self.reach[nearest]
        beyond = np.maximum(share - 1.0, 0.0) * self.reach[nearest]
        return np.asarray(-0.5 * (2.0 * share) ** 2 - 2.0 * MOST_LEANING * beyond, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Band:
    """The picture around a ring, unrolled.

    Attributes
    ----------
    ring, outward : (n, 2) pixels; points every RING_STEP mm, and the unit normal at each.
    across : (m,) mm, where each column lies, outside positive.
    colours : (n, m, 3) float64, Lab.
    """

    ring: FloatArray
    outward: FloatArray
    across: FloatArray
    colours: FloatArray


def unrolled(picture: Pixels, ring: FloatArray, scale: float, reach: float) -> Band:
    """The band of ``reach`` mm to both sides of a ring.

    Parameters
    ----------
    picture : (h, w, 3) uint8 Lab, already smoothed by about a millimetre.
    ring : (n, 2) pixels, every RING_STEP mm, clockwise as seen (y down) or not.
    scale : mm per pixel.
    """
    tangent = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T)[:, None], 1e-9)
    turn = 1.0 if LinearRing(ring).is_ccw else -1.0
    outward = np.column_stack([tangent[:, 1], -tangent[:, 0]]) * turn
    across = np.arange(-reach, reach + 0.5, 1.0)
    at = (ring[:, None, :] + across[None, :, None] / scale * outward[:, None, :]).astype(np.float32)
    colours = np.asarray(
        cv2.remap(
            *(picture, at[..., 0], at[..., 1]),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float64,
    )
    return Band(ring, outward, across, colours)


def every(ring: FloatArray, step: float) -> FloatArray:
    """Points at equal distances, close to ``step``, along a closed (n, 2) ring, both in pixels."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(round(float(along[-1]) / step), 8)
    at = np.arange(count) * along[-1] / count
    return np.column_stack([np.interp(at, along, closed[:, i]) for i in (0, 1)])


def smoothed(ring: FloatArray, sigma: float) -> FloatArray:
    """A closed ring in pixels, evened out along it by ``sigma``, a number of points."""
    return np.asarray(gaussian_filter1d(ring, sigma, axis=0, mode="wrap"), dtype=np.float64)


def leaning(band: Band, core: float) -> FloatArray:
    """(n, m) log probability of leather over floor, each pixel held to ±MOST_LEANING.

    ``core`` mm around the ring teach nothing, since the edge lies there.
    """
    inside = band.across <= -core
    outside = band.across >= core
    rows = round(COLOUR_STRETCH / RING_STEP)
    leather = _likely(band.colours, band.colours[:, inside], rows)
    floor = _likely(band.colours, band.colours[:, outside], rows)
    return np.asarray(np.clip(leather - floor, -MOST_LEANING, MOST_LEANING), dtype=np.float64)


def settled(
    pixels: Pixels, ring: FloatArray, scale: float, leash: Leash | None = None
) -> FloatArray:
    """Move a ring that lies near an edge onto it; (n, 2) pixels about every RING_STEP mm.

    Parameters
    ----------
    pixels : (h, w, 3) uint8 BGR.
    scale : mm per pixel.
    leash : what keeps the edge; without one, it lies about 20 mm around the ring.
    """
    picture = to_lab(pixels, scale)
    most = 0.0 if leash is None else float(leash.reach.max())
    wide = [] if leash is None else [(most, 0.55 * most, 10.0)]
    for reach, core, sigma in (*wide, *PASSES):
        even = smoothed(every(ring, RING_STEP / scale), sigma / RING_STEP)
        band = unrolled(picture, even, scale, reach)
        places = np.append(band.across - 0.5, band.across[-1] + 0.5)
        if leash is None:
            liked = -0.5 * (places / PULL) ** 2
        else:
            at = even[:, None] + (places[:, None] / scale) * band.outward[:, None]
            liked = leash.liking(at, scale)
        moved = places[path(leaning(band, core), liked)]
        ring = even + (moved / scale)[:, None] * band.outward
    return ring


def support(pixels: Pixels, ring: FloatArray, scale: float) -> FloatArray:
    """How well the picture supports each point of a ring as an edge, 0 (not at all) to 1.

    It is by how much the pixels of the 9 mm inside look like leather and those of the 9 mm
    outside like the floor, as far as colours nearby on both sides can be told apart, averaged
    over :data:`PATCH` mm of the ring.
    """
    even = smoothed(ring, 10.0 / RING_STEP)
    band = unrolled(to_lab(pixels, scale), even, scale, 30.0)
    lean = leaning(band, 4.0)
    inside = (band.across >= -10) & (band.across <= -2)
    outside = (band.across >= 2) & (band.across <= 10)
    margin = (lean[:, inside].mean(axis=1) - lean[:, outside].mean(axis=1)) / (2 * MOST_LEANING)
    return np.asarray(uniform_filter1d(margin, round(PATCH / RING_STEP), mode="wrap"))


def to_lab(pixels: Pixels, scale: float) -> Pixels:
    """A BGR picture in Lab, smoothed by a millimetre, so that a pixel says something."""
    smooth = cv2.GaussianBlur(pixels, (0, 0), max(1.0 / scale, 0.3))
    return np.asarray(cv2.cvtColor(smooth, cv2.COLOR_BGR2LAB), dtype=np.uint8)


def path(lean: FloatArray, liked: FloatArray | float = 0.0) -> NDArray[np.intp]:
    """The best closed path down a band: in each row, the index of the first column that is floor.

    A path that splits row i at column c gains what lies left of c, loses what lies right of it,
    and gains ``liked`` of that place, (m + 1) or (n, m + 1). The way round is gone twice, so
    that its start is as good as the rest.
    """
    n, m = lean.shape
    gain = np.concatenate([np.zeros((n, 1)), np.cumsum(lean, axis=1)], axis=1) + liked
    shifts = (0, -1, 1, -2, 2)
    best, wide = np.zeros(m + 1), np.full(m + 5, -np.inf)  # nothing comes from beyond the ends
    came = np.zeros((2 * n, m + 1), dtype=np.intp)
    for i in range(2 * n):
        wide[2:-2] = best
        options = np.stack([wide[2 + s : m + 3 + s] - JUMP * abs(s) for s in shifts])
        choice = options.argmax(axis=0)
        came[i] = np.arange(m + 1) + np.take(shifts, choice)
        best = options[choice, np.arange(m + 1)] + gain[i % n]
    column = int(best.argmax())
    columns = np.empty(2 * n, dtype=np.intp)
    for i in range(2 * n - 1, -1, -1):
        columns[i] = column
        column = came[i, column]
    half = n // 2
    return np.roll(columns[half : half + n], half)


def _likely(colours: FloatArray, samples: FloatArray, rows: int) -> FloatArray:
    """Log density of (n, m, 3) colours under a Gaussian of the samples of nearby rows."""
    mean = uniform_filter1d(samples.mean(axis=1), rows, axis=0, mode="wrap")
    square = np.einsum("nki,nkj->nij", samples, samples) / samples.shape[1]
    square = uniform_filter1d(square, rows, axis=0, mode="wrap")
    spread = square - np.einsum("ni,nj->nij", mean, mean) + COLOUR_NOISE
    off = colours - mean[:, None, :]
    distance = np.einsum("nmi,nij,nmj->nm", off, np.linalg.inv(spread), off, optimize=True)
    likely = -0.5 * (distance + np.log(np.linalg.det(spread))[:, None])
    return np.asarray(np.logaddexp(likely, STRANGE), dtype=np.float64)
