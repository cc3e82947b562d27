"""Where every pixel of a photo lies on the floor, from printed sheets in unknown places.

Every scale sheet that can be read gives six crossings to a tenth of a pixel, and one fit
(:mod:`hides.capture.adjustment`) explains them all. Nothing is measured but the sheets themselves.

The *floor frame* is in mm, x right, y up as seen from above, on the floor; it is the sheet frame
(:mod:`hides.capture.targets`) of the lowest number that was read. Pixels have y down, and the
centre of the first one is (0, 0).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.optimize import approx_fprime
from shapely import Polygon

from hides.capture import detection, targets
from hides.capture.adjustment import FAIR_RESIDUAL, Adjustment, SheetPose, agreed, hull, rms
from hides.capture.camera import Camera
from hides.capture.detection import GOOD_SHEETS
from hides.capture.masks import Mask, Pixels
from hides.capture.photo import Photo
from hides.errors import InputError, placed
from hides.outline import FloatArray

SHEET_BORDER = 60.0  # mm of floor shown around the sheets
MOST_SCALED = 0.1  # a print that is off by more was made for another paper
TOLD_STRETCH = 0.003  # of a print's length over its height; more is remarked


@dataclass(frozen=True, eq=False)
class View:
    """A photo whose every pixel has a place on the floor.

    Attributes
    ----------
    size : width and height of the photo in pixels.
    sheets : those that the fit rests on, by number.
    spread : (11, 11), covariance of the camera's unknowns (log focal, centre, turn, shift, lens).
    residual, residual_mm : root mean square distance between crossings as seen and as fitted.
    stickers : number to (x, y) mm of the middle of each numbered sticker.
    warnings : sentences for the user.
    """

    camera: Camera
    size: tuple[int, int]
    sheets: tuple[SheetPose, ...]
    residual: float
    residual_mm: float
    spread: FloatArray
    stickers: dict[int, tuple[float, float]]
    warnings: tuple[str, ...] = ()

    def to_floor(self, pixels: ArrayLike, height: float = 0.0) -> FloatArray:
        """(n, 2) mm of (n, 2) pixels; leather's upper face is at ``height`` mm."""
        return self.camera.to_floor(pixels, height)

    def to_pixels(self, floor: ArrayLike, height: float = 0.0) -> FloatArray:
        """(n, 2) pixels of (n, 2) floor points in mm."""
        return self.camera.to_pixels(floor, height)

    def doubt(self, points: ArrayLike) -> FloatArray:
        """How sure the shape of (n, 2) floor points is: a deviation in mm for each, (n,).

        First-order propagation of the fit's covariance. How the shape as a whole lies to the
        first sheet is left out, since no length or area depends on it.
        """
        pixels = self.to_pixels(points)

        def there(vector: FloatArray) -> FloatArray:
            return Camera.of(vector).to_floor(pixels).ravel()

        steps = np.sqrt(np.diag(self.spread)) * 0.01
        slopes = approx_fprime(self.camera.vector, there, steps)
        x, y = np.asarray(points, dtype=np.float64).reshape(-1, 2).T
        x, y = x - x.mean(), y - y.mean()
        rigid = np.stack([(1 + 0 * x, 0 * x), (0 * x, 1 + 0 * x), (-y, x)]).transpose(0, 2, 1)
        basis = np.linalg.qr(rigid.reshape(3, -1).T)[0]
        slopes -= basis @ (basis.T @ slopes)
        variance = np.einsum("ij,jk,ik->i", slopes, self.spread, slopes).reshape(-1, 2)
        doubt: FloatArray = np.sqrt(variance.sum(axis=1))
        return doubt

    @property
    def span(self) -> Polygon:
        """The ground between the sheets, where places are sure: the hull of all crossings."""
        points = [sheet.to_floor(sheet.corners) for sheet in self.sheets]
        return hull(points)


def locate(photo: Photo, ruler: float | None = None) -> View:
    """Find the sheets in a photo and from them the camera.

    Parameters
    ----------
    ruler : mm, what the user measures of the ruler printed beside the pattern, which is
        :data:`hides.capture.targets.RULER` long on a true print; None takes the print as true.

    Raises
    ------
    InputError : no sheet, or fewer than three that can be read (a blurred photo is told from
        one without sheets), a sheet that lies there twice, a print at quite another scale, sheets
        that no camera could see like this on a flat floor.
    """
    with placed(file=photo.path):
        scale, warnings = _scale_of(ruler)
        grey = detection.grey(photo.pixels)
        markers = detection.markers(grey)
        seen, partly = detection.sheets(grey, markers)
        detection.check_enough(grey, len(seen), len(partly))
        seen = [replace(s, corners=s.corners * scale) for s in seen]
        fit, odd = agreed(seen, photo.size, photo.focal)
    warnings += [*map(detection.PARTLY.format, partly), *odd, *_remarks(fit)]
    apart = [s.to_floor(s.corners) - fit.camera.to_floor(s.pixels) for s in fit.sheets]
    return View(
        fit.camera,
        photo.size,
        fit.sheets,
        fit.residual,
        rms(np.concatenate(apart)),
        fit.spread,
        detection.stickers(markers, fit.camera),
        tuple(warnings),
    )


def _remarks(fit: Adjustment) -> Iterator[str]:
    if abs(fit.stretch - 1) > TOLD_STRETCH:
        yield (
            f"The printer made the sheets {abs(fit.stretch - 1):.1%} too "
            f"{'long' if fit.stretch > 1 else 'short'} for their height; this was taken into "
            "account."
        )
    if len(fit.sheets) < GOOD_SHEETS:
        yield (
            f"Only {len(fit.sheets)} sheets could be used; {GOOD_SHEETS} or more around the hide "
            "make sure of the scale everywhere."
        )
    if fit.residual > FAIR_RESIDUAL:
        yield (
            f"The sheets fit with {fit.residual:.2f} pixels of doubt, more than usual "
            f"({FAIR_RESIDUAL}). Lay them flat, and hold the camera still."
        )


def _scale_of(ruler: float | None) -> tuple[float, list[str]]:
    """By how much the printer scaled, and what to say about it."""
    if ruler is None:
        return 1.0, []
    if not np.isfinite(ruler) or ruler <= 0:
        raise InputError(f"the ruler's length must be > 0 mm, got {ruler:g}.")
    scale = ruler / targets.RULER
    for unit, size in (("cm", 10.0), ("inches", 25.4)):
        if abs(scale * size - 1) < 0.1:
            raise InputError(
                f"the printed ruler is said to be {ruler:g} mm long; that looks like {unit}.",
                mend=f"Give it in mm: {ruler * size:.1f}.",
            )
    if abs(scale - 1) > MOST_SCALED:
        raise InputError(
            f"the printed ruler is {ruler:g} mm long in place of {targets.RULER:g} mm.",
            mend='Print the sheets again at "actual size" or 100 %, not "fit to page".',
        )
    if abs(scale - 1) < 0.002:
        return scale, []
    return scale, [
        f"The printer made the sheets {abs(scale - 1):.1%} too {'large' if scale > 1 else 'small'};"
        " this was taken into account."
    ]


@dataclass(frozen=True, eq=False)
class Flat:
    """A photo as if taken from straight above, north up.

    Attributes
    ----------
    pixels : (h, w, 3) uint8 BGR; black where the photo shows nothing.
    seen : (h, w) bool, where it does.
    origin : floor mm of the centre of pixel (0, 0), the upper left one.
    scale : mm per pixel.
    """

    pixels: Pixels
    seen: Mask
    origin: tuple[float, float]
    scale: float

    def to_floor(self, pixels: ArrayLike) -> FloatArray:
        """(n, 2) mm of (n, 2) pixels of this picture."""
        points = np.asarray(pixels, dtype=np.float64).reshape(-1, 2)
        return points * (self.scale, -self.scale) + self.origin

    def to_pixels(self, floor: ArrayLike) -> FloatArray:
        """(n, 2) pixels of this picture of (n, 2) mm."""
        points = np.asarray(floor, dtype=np.float64).reshape(-1, 2)
        return (points - self.origin) / (self.scale, -self.scale)


Box = tuple[float, float, float, float]


def papers_of(views: Sequence[View]) -> tuple[Polygon, ...]:
    """The paper of every sheet that some view shows, each once."""
    return tuple({s.number: s.paper for view in views for s in view.sheets}.values())


def box_around(views: Sequence[View], border: float = SHEET_BORDER) -> Box:
    """The box that holds the sheets of all views and ``border`` mm around them; floor mm."""
    left, low, right, top = shapely.total_bounds(papers_of(views)).tolist()
    return left - border, low - border, right + border, top + border


def flatten(
    photo: Photo,
    view: View,
    mm_per_pixel: float = 1.0,
    box: Box | None = None,
    height: float = 0.0,
) -> Flat:
    """The photo rectified to the floor, or to a plane ``height`` mm above it.

    Parameters
    ----------
    box : min x, min y, max x, max y in floor mm; None takes in all sheets and :data:`SHEET_BORDER`.
    """
    left, low, right, top = box or box_around([view])
    columns = int(np.ceil((right - left) / mm_per_pixel)) + 1
    rows = int(np.ceil((top - low) / mm_per_pixel)) + 1
    pixels = np.zeros((rows, columns, 3), np.uint8)
    seen = np.zeros((rows, columns), bool)
    x = left + np.arange(columns) * mm_per_pixel
    for first in range(0, rows, _STRIP):
        last = min(first + _STRIP, rows)
        y = top - np.arange(first, last) * mm_per_pixel
        floor = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        there = np.nan_to_num(view.to_pixels(floor, height), nan=-1e6).astype(np.float32)
        there = there.reshape(last - first, columns, 2)
        pixels[first:last] = cv2.remap(photo.pixels, there[..., 0], there[..., 1], cv2.INTER_LINEAR)
        within = (there >= 0) & (there <= np.array(photo.size, np.float32) - 1)
        seen[first:last] = within.all(axis=-1)
    return Flat(pixels, seen, (left, top), mm_per_pixel)


_STRIP = 256  # rows at a time, for memory
