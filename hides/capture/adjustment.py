"""Bundle adjustment: a camera and the places of sheets by one least-squares fit.

Unknown are the camera's focal length, middle, place and two lens terms, for each sheet its place
(but for the first, which is at the origin) and how large it came out of the printer, and how much
longer than high that printer makes all of them: sheets that lie turned to each other tell it. What
the crossings leave open is held by loose beliefs: a photo straight from above says nothing of
the focal length, and sheets of one printer are of one size. The loss is robust, so that a sheet
that does not lie flat, or was printed at another scale, shows as odd and can be left out
(Triggs, McLauchlan, Hartley and Fitzgibbon, Bundle Adjustment: A Modern Synthesis, 2000).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.optimize import least_squares
from shapely import Polygon

from hides.capture import targets
from hides.capture.camera import UNKNOWNS, Camera, rigid
from hides.capture.detection import FEWEST_SHEETS, GOOD_SHEETS, DetectedSheet
from hides.errors import InputError
from hides.outline import FloatArray, polygons_of, turned
from hides.units import PAPERS

MOST_RESIDUAL = 1.0  # pixels, root mean square; flat sheets give 0.05, a wrong match 10 and more
FAIR_RESIDUAL = 0.35
ODD_RATIO = 4.0  # a sheet whose residual is so many times that of the others is left out

# Loose beliefs of the fit, as deviations. A phone's main camera sees like a 24 to 28 mm lens on
# 36 x 24 mm film; the optical axis passes within about 1 % of the width of the middle (from
# memory); k1 and k2 are OpenCV's.
USUAL_FOCAL = 0.75  # of the long side
UNKNOWN_FOCAL, TOLD_FOCAL = 0.3, 0.06  # of the logarithm, without and with EXIF
CENTRE_SPREAD = 0.01  # of the long side
LENS_SPREAD = (0.15, 0.1)
CROSSING_NOISE = 0.1  # pixels, of a crossing
PRINT_SPREAD = 0.001  # of the logarithm of a sheet's scale: one printer's differ by so little
STRETCH_SPREAD = 0.006  # of the logarithm of length over height: paper feeds slip (from memory)
MOST_APART = 0.005  # of a sheet's scale from that of the others


@dataclass(frozen=True, eq=False)
class SheetPose:
    """A sheet that was read: where it lies and how well it fits.

    Attributes
    ----------
    angle, x, y : degrees and mm; its sheet frame turned, then shifted, into the floor frame.
    corners : (n, 2) mm, sheet frame, the crossings that were read, as large as they lie there.
    pixels : (n, 2) of them.
    scale : of this sheet beside a true print, or beside the ruler that the user measured.
    residual : pixels, root mean square.
    """

    number: int
    angle: float
    x: float
    y: float
    corners: FloatArray
    pixels: FloatArray
    scale: float = 1.0
    residual: float = 0.0

    def to_floor(self, points: ArrayLike) -> FloatArray:
        """(n, 2) points of the sheet frame in the floor frame."""
        return turned(np.asarray(points, dtype=np.float64), self.angle, self.x, self.y)

    def moved(self, angle: float, x: float, y: float) -> SheetPose:
        """The same in a floor frame in which its own lies turned (degrees) and shifted (mm)."""
        ((at_x, at_y),) = turned(np.array([(self.x, self.y)]), angle, x, y)
        return replace(self, angle=self.angle + angle, x=float(at_x), y=float(at_y))

    @property
    def paper(self) -> Polygon:
        """The paper in the floor frame: what A4 and Letter cover together."""
        rings = [self.to_floor(targets.paper_of(name)) for name in PAPERS]
        return hull(rings)


@dataclass(frozen=True, eq=False)
class Adjustment:
    """Camera and sheets as fitted.

    Attributes
    ----------
    spread : covariance of the camera's unknowns in their units: the logarithm of pixels, pixels,
        radians, mm and pure numbers; :attr:`Camera.vector`.
    stretch : how much longer than high all sheets were printed, 1 on a true print.
    """

    camera: Camera
    sheets: tuple[SheetPose, ...]
    spread: FloatArray
    stretch: float = 1.0

    @property
    def residual(self) -> float:
        """Pixels, root mean square over all crossings."""
        return rms(np.concatenate([_misses(self.camera, sheet) for sheet in self.sheets]))


def agreed(
    seen: Sequence[DetectedSheet], size: tuple[int, int], told: float | None
) -> tuple[Adjustment, list[str]]:
    """The fit of all sheets that agree; the odd ones are named and left out.

    ``size`` is the photo's in pixels, ``told`` the focal length in pixels that the camera wrote.
    """
    left_out = []
    fit = _fitted(seen, size, told)
    while (odd := _odd(fit)) is not None and len(seen) > FEWEST_SHEETS:
        left_out.append(odd)
        seen = [s for s in seen if s.number != odd.number]
        fit = _fitted(seen, size, told)
    if odd is not None:
        left_out.append(odd)
    # Three sheets fit almost any scales of theirs by a tilt of the camera, and prove nothing.
    if len(seen) < GOOD_SHEETS and any(odd.scaled for odd in left_out):
        named = ", ".join(f"{odd.number}" for odd in left_out if odd.scaled)
        raise InputError(
            f"the sheets are not all of one size (sheet {named} differs from the others).",
            mend="Print them all at 100 % on the same printer, and lay them on the floor.",
        )
    if fit.residual > MOST_RESIDUAL:
        raise InputError(
            f"the sheets contradict each other by {fit.residual:.1f} pixels.",
            mend="Lay them flat on the same flat floor as the hide, and use the photo as the "
            "camera took it, not one cut or put together from several.",
        )
    return fit, [odd.says for odd in left_out]


@dataclass(frozen=True)
class _Odd:
    """A sheet that does not agree with the others, and why."""

    number: int
    says: str
    scaled: bool = False


def _odd(fit: Adjustment) -> _Odd | None:
    """The sheet that agrees least, if it is past what is usual."""
    scales = np.array([sheet.scale for sheet in fit.sheets])
    apart = scales / np.median(scales) - 1
    which = int(np.argmax(np.abs(apart)))
    number, ratio = fit.sheets[which].number, float(apart[which])
    if abs(ratio) > MOST_APART:
        than = "larger" if ratio > 0 else "smaller"
        says = (
            f"Sheet {number} looks {abs(ratio):.1%} {than} than the others and was left out. "
            "Was it printed at another scale, or does it not lie on the floor?"
        )
        return _Odd(number, says, scaled=True)
    misses = np.array([sheet.residual for sheet in fit.sheets])
    which = int(np.argmax(misses))
    number, others = fit.sheets[which].number, float(np.median(np.delete(misses, which)))
    if misses[which] > max(FAIR_RESIDUAL, ODD_RATIO * others):
        return _Odd(number, f"Sheet {number} does not lie flat and was left out.")
    return None


def _fitted(seen: Sequence[DetectedSheet], size: tuple[int, int], told: float | None) -> Adjustment:
    """Camera and sheet places that explain all crossings best."""
    guess = told or USUAL_FOCAL * max(size)
    starts = sorted(_starts(seen, size, guess), key=lambda start: _cost(start, seen))[:3]
    best = min(
        (
            least_squares(
                _errors,
                _packed(camera, 0.0, places),
                x_scale="jac",
                loss="soft_l1",
                f_scale=5.0,
                args=(seen, size, guess, TOLD_FOCAL if told else UNKNOWN_FOCAL),
            )
            for camera, places in starts
        ),
        key=lambda result: float(result.cost),
    )
    camera, stretch, places = _unpacked(best.x, len(seen))
    slopes = np.asarray(best.jac, dtype=np.float64)
    spread = np.linalg.inv(slopes.T @ slopes).astype(np.float64)[:UNKNOWNS, :UNKNOWNS]
    laid = [_sheet_pose(camera, stretch, *each) for each in zip(seen, places.tolist(), strict=True)]
    return Adjustment(camera, tuple(laid), spread, float(np.exp(stretch)))


def _sheet_pose(
    camera: Camera, stretch: float, seen: DetectedSheet, place: Sequence[float]
) -> SheetPose:
    angle, x, y, size = place
    corners = _printed(seen, stretch, size)
    degrees = float(np.rad2deg(angle))
    laid = SheetPose(seen.number, degrees, x, y, corners, seen.pixels, float(np.exp(size)))
    return replace(laid, residual=rms(_misses(camera, laid)))


def _printed(seen: DetectedSheet, stretch: float, size: float) -> FloatArray:
    """(n, 2) mm, the crossings as large as they lie there; logarithms of scales.

    The ruler beside the pattern stands upright, so heights are what it says.
    """
    return np.asarray(seen.corners * np.exp([size + stretch, size]))


def _starts(
    seen: Sequence[DetectedSheet], size: tuple[int, int], focal: float
) -> list[tuple[Camera, FloatArray]]:
    """A camera by each sheet alone, in the two ways a small flat thing can be seen."""
    centre = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    matrix = np.array([(focal, 0, centre[0]), (0, focal, centre[1]), (0, 0, 1)])
    found = []
    for sheet in seen:
        flat = np.column_stack([sheet.corners, np.zeros(len(sheet.corners))])
        _, turns, shifts, _ = cv2.solvePnPGeneric(
            flat, sheet.pixels, matrix, None, flags=cv2.SOLVEPNP_IPPE
        )
        for turn, shift in zip(turns, shifts, strict=True):
            whole = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)
            camera = Camera(focal, centre, whole, np.ravel(shift).astype(np.float64), (0.0, 0.0))
            there = [camera.to_floor(other.pixels) for other in seen]
            if camera.height > 0 and np.isfinite(np.concatenate(there)).all():
                pairs = zip(seen, there, strict=True)
                places = np.array([_place(s.corners, points) for s, points in pairs])
                found.append(_rebased(camera, places))
    if not found:
        raise InputError("the sheets can't be seen like this on a flat floor.", mend=_FLAT)
    return found


_FLAT = "Lay them face up on the same flat floor as the hide."


def _place(sheet: FloatArray, floor: FloatArray) -> tuple[float, float, float, float]:
    """Angle in radians and shift of a sheet whose crossings lie there, and 0."""
    return *rigid(sheet, floor), 0.0


def _rebased(camera: Camera, places: FloatArray) -> tuple[Camera, FloatArray]:
    """The same with the first sheet at the origin."""
    angle, x, y, _ = places[0]
    c, s = np.cos(angle), np.sin(angle)
    turn = camera.turn @ np.array([(c, -s, 0), (s, c, 0), (0, 0, 1)])
    shift = camera.turn @ np.array([x, y, 0.0]) + camera.shift
    moved = turned(places[:, 1:3] - (x, y), -float(np.rad2deg(angle)))
    moved = np.column_stack([places[:, 0] - angle, moved, places[:, 3]])
    return replace(camera, turn=turn, shift=shift), moved


def _packed(camera: Camera, stretch: float, places: FloatArray) -> FloatArray:
    """Unknowns as one vector: the camera's, the printer's, every sheet's scale, all places but
    the first.
    """
    return np.concatenate([camera.vector, [stretch], places[:, 3], places[1:, :3].ravel()])


def _unpacked(unknowns: FloatArray, count: int) -> tuple[Camera, float, FloatArray]:
    """The inverse of :func:`_packed`: the camera, the logarithm of the printer's stretch, and
    places (n, 4): angle, x, y and logarithm of scale.
    """
    scales, places = np.split(unknowns[UNKNOWNS + 1 :], [count])
    places = np.vstack([np.zeros((1, 3)), places.reshape(-1, 3)])
    stretch = float(unknowns[UNKNOWNS])
    return Camera.of(unknowns[:UNKNOWNS]), stretch, np.column_stack([places, scales])


def _errors(
    unknowns: FloatArray,
    seen: Sequence[DetectedSheet],
    size: tuple[int, int],
    focal: float,
    doubt: float,
) -> FloatArray:
    """Misses of all crossings, then of the beliefs, each over its deviation."""
    camera, stretch, places = _unpacked(unknowns, len(seen))
    long = max(size) * CENTRE_SPREAD
    beliefs = [
        (unknowns[0] - np.log(focal)) / doubt,
        (camera.centre[0] - (size[0] - 1) / 2) / long,
        (camera.centre[1] - (size[1] - 1) / 2) / long,
        camera.lens[0] / LENS_SPREAD[0],
        camera.lens[1] / LENS_SPREAD[1],
        stretch / STRETCH_SPREAD,
    ]
    misses = _all_misses(camera, stretch, places, seen).ravel() / CROSSING_NOISE
    return np.concatenate([misses, beliefs, places[:, 3] / PRINT_SPREAD])


_NOWHERE = 1e6  # pixels; a wild guess of the camera sees nothing of a sheet


def _all_misses(
    camera: Camera, stretch: float, places: FloatArray, seen: Sequence[DetectedSheet]
) -> FloatArray:
    """(n, 2) pixels between the crossings of all sheets as fitted and as seen."""
    floor = np.concatenate(
        [
            turned(_printed(s, stretch, size), float(np.rad2deg(a)), x, y)
            for s, (a, x, y, size) in zip(seen, places, strict=True)
        ]
    )
    pixels = np.nan_to_num(camera.to_pixels(floor), nan=_NOWHERE)
    misses: FloatArray = pixels - np.concatenate([s.pixels for s in seen])
    return misses


def _cost(start: tuple[Camera, FloatArray], seen: Sequence[DetectedSheet]) -> float:
    """How badly a start explains the sheets; a single bad one counts little."""
    camera, places = start
    return float(np.sqrt(np.hypot(*_all_misses(camera, 0.0, places, seen).T)).sum())


def _misses(camera: Camera, sheet: SheetPose) -> FloatArray:
    return camera.to_pixels(sheet.to_floor(sheet.corners)) - sheet.pixels


def rms(errors: FloatArray) -> float:
    """Root mean square length of (n, 2) vectors, in mm or pixels as they are."""
    return float(np.sqrt((errors**2).sum(axis=1).mean()))


def hull(rings: Sequence[FloatArray]) -> Polygon:
    """The convex hull of all points, (n, 2) mm each."""
    return polygons_of(shapely.MultiPoint(np.concatenate(rings)).convex_hull)[0]
