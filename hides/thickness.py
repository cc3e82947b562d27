"""Thickness everywhere on a hide, with its doubt, from a few gauge readings.

Readings are taken as a smooth field plus the gauge's own scatter: a Gaussian process
with a Matérn 3/2 covariance about a tilted plane (Rasmussen and Williams, Gaussian
Processes for Machine Learning, 2006, sections 2.2, 2.7 and 4.2). It gives a mean and a
standard deviation at every point, and the deviation grows with the distance from the
readings: a hide gauged once is known at one place only.

Gauges that follow ISO 2589 read to 0.01 mm under 49 kPa
(:data:`hides.units.FOOT_PRESSURE`); squeezed by hand they repeat to about 0.05 mm
(common practice, no published source).

>>> field = ThicknessMap(readings=(Reading(0, 0, 3.4), Reading(900, 0, 3.0)))
>>> near, far = field.deviation(np.array([[10.0, 0.0], [450.0, 400.0]]))
>>> bool(near < far)
True
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from scipy.special import ndtr
from shapely import Polygon

from hides.errors import InputError
from hides.outline import FloatArray
from hides.units import THICKEST

GAUGE_NOISE = 0.05  # mm; how well a hand gauge repeats
MOST_READINGS = 1000  # the fit takes the cube of this many steps

# What is known of sides before any reading (common practice, no published source: bend to
# belly 0.4 to 1.0 mm over about 0.9 m, waves of 0.1 to 0.4 mm, a few hundred mm long).
LEVEL_DOUBT = 1.0  # mm, deviation of the plane's height about the mean reading
SLOPE_DOUBT = 0.6e-3  # mm per mm, deviation of the plane's slopes about level
WAVE_HEIGHT = (0.25, 0.5)  # mm, and spread of its logarithm
WAVE_LENGTH = (250.0, 0.3)  # mm, and spread of its logarithm

_LEAST_DEVIATION = 1e-6  # mm; keeps the chance defined where a zone has no width
_BLOCK = 2_000_000  # covariances held at once when predicting: 16 MB


@dataclass(frozen=True, slots=True)
class Need:
    """What a part asks of the leather's thickness.

    Attributes
    ----------
    low, high : mm.
    may_split : thicker leather counts too, since it can be split or skived down.
    risk : the greatest accepted chance that the leather under any one point is outside.
    """

    low: float
    high: float
    may_split: bool = False
    risk: float = 0.35

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high <= THICKEST:
            raise InputError(
                f"leather thickness must be > 0 mm, least first, at most {THICKEST:g} mm, "
                f"got {self.low:g} to {self.high:g}.",
                mend="Write the range in mm, such as [3.2, 3.5].",
            )
        if not 0 < self.risk < 1:
            raise InputError(f"risk must lie between 0 and 1, got {self.risk:g}.")


@dataclass(frozen=True, slots=True)
class Reading:
    """One gauge reading: place and thickness in mm, hide frame."""

    x: float
    y: float
    thickness: float


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the hide whose thickness the user gives as a range, low to high in mm."""

    name: str
    low: float
    high: float
    polygon: Polygon

    @property
    def mean(self) -> float:
        """Middle of the range, mm."""
        return (self.low + self.high) / 2

    @property
    def deviation(self) -> float:
        """Standard deviation in mm if any thickness in the range is as likely (uniform)."""
        return float((self.high - self.low) / np.sqrt(12.0))


@dataclass(frozen=True)
class ThicknessMap:
    """Mean and deviation of the thickness at any point.

    Inside a zone its range counts and the readings don't; where zones overlap, the later
    one counts. Elsewhere the readings count. With zones but no reading, the rest of the
    hide has mean NaN and infinite deviation: it meets no need. With neither, nothing is
    known, and :meth:`chance_outside` is 0 everywhere.
    """

    readings: tuple[Reading, ...] = ()
    zones: tuple[Zone, ...] = ()

    @property
    def known(self) -> bool:
        """Whether anything at all is known of the thickness."""
        return bool(self.readings or self.zones)

    def mean(self, points: FloatArray) -> FloatArray:
        """Expected thickness in mm at (n, 2) points; (n,)."""
        return self.field(points)[0]

    def deviation(self, points: FloatArray) -> FloatArray:
        """Standard deviation of the thickness in mm at (n, 2) points; (n,)."""
        return self.field(points)[1]

    def field(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and deviation together, (n,) each; cheaper than asking for one after the other."""
        mean, deviation = self.field_by_readings(points)
        for zone in self.zones:
            shapely.prepare(zone.polygon)
            inside = shapely.intersects_xy(zone.polygon, points[:, 0], points[:, 1])
            mean[inside], deviation[inside] = zone.mean, zone.deviation
        return mean, deviation

    def field_by_readings(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and deviation as the readings alone tell, zones left out; (n,) each."""
        if self._fit is None:
            return np.full(len(points), np.nan), np.full(len(points), np.inf)
        return self._fit.predict(points)

    def chance_outside(self, points: FloatArray, need: Need) -> FloatArray:
        """Chance in 0..1 that the leather at each of (n, 2) points fails the need; (n,)."""
        if not self.known:
            return np.zeros(len(points))
        return chance_outside(*self.field(points), need)

    @property
    def waves(self) -> tuple[float, float] | None:
        """Height and length in mm of the thickness's waves as fitted, None without readings."""
        return None if self._fit is None else (self._fit.height, self._fit.length)

    @cached_property
    def _fit(self) -> _Fit | None:
        if not self.readings:
            return None
        places = np.array([(r.x, r.y) for r in self.readings], dtype=np.float64)
        return _Fit(places, np.array([r.thickness for r in self.readings], dtype=np.float64))

    def surprises(self) -> FloatArray:
        """How far each reading lies from what all others foretell there, mm; (readings,).

        Positive is thicker than foretold. Only differences beyond three times the foretold
        deviation count, others are 0 (leave-one-out prediction, Rasmussen and Williams 2006,
        equations 5.10 to 5.12).
        """
        return np.zeros(0) if self._fit is None else self._fit.surprises(3.0)


def chance_outside(mean: FloatArray, deviation: FloatArray, need: Need) -> FloatArray:
    """Chance that normally distributed thicknesses fail the need; all arrays (n,).

    Where nothing is known (infinite deviation) the chance is 1.
    """
    unknown = np.isinf(deviation)
    spread = np.where(unknown, 1.0, np.maximum(deviation, _LEAST_DEVIATION))
    outside = ndtr((need.low - mean) / spread)
    if not need.may_split:
        outside = outside + ndtr((mean - need.high) / spread)
    return np.where(unknown, 1.0, outside)


class _Fit:
    """The regression through one set of readings."""

    def __init__(self, places: FloatArray, values: FloatArray) -> None:
        self.places = places
        self.middle = places.mean(axis=0)
        self.level = float(values.mean())
        self.bounds = (0.5 * float(values.min()), 1.5 * float(values.max()))
        self.residual = values - self.level
        self.distances = cdist(places, places)
        trend = self._trend(places)
        self.fixed = trend @ trend.T + GAUGE_NOISE**2 * np.eye(len(places))
        start = np.log([WAVE_HEIGHT[0], WAVE_LENGTH[0]])
        spread = np.array([WAVE_HEIGHT[1], WAVE_LENGTH[1]])
        best = minimize(self._misfit, start, args=(start, spread), method="L-BFGS-B")
        self.height, self.length = (float(v) for v in np.exp(best.x))
        self.factor = self._factor(best.x)
        self.weights = cho_solve((self.factor, True), self.residual)

    def predict(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and deviation at (n, 2) points, in blocks that bound the memory."""
        count = max(1, _BLOCK // len(self.places))
        blocks = [
            self._predict(points[at : at + count]) for at in range(0, max(len(points), 1), count)
        ]
        mean, deviation = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
        return np.clip(mean, *self.bounds), deviation

    def surprises(self, limit: float) -> FloatArray:
        """Leave-one-out differences beyond ``limit`` deviations, else 0."""
        precision = np.diag(cho_solve((self.factor, True), np.eye(len(self.places))))
        difference = self.weights / precision
        return np.where(np.abs(difference) * np.sqrt(precision) > limit, difference, 0.0)

    def _predict(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        trend = self._trend(points)
        cross = _matern(cdist(self.places, points), self.height, self.length)
        cross += self._trend(self.places) @ trend.T
        explained = solve_triangular(self.factor, cross, lower=True, check_finite=False)
        before = self.height**2 + np.einsum("ij,ij->i", trend, trend)
        variance = before - np.einsum("ij,ij->j", explained, explained)
        return self.level + self.weights @ cross, np.sqrt(np.maximum(variance, 0.0))

    def _trend(self, points: FloatArray) -> FloatArray:
        """The plane's terms at (n, 2) points, each scaled by its prior deviation; (n, 3)."""
        out = np.empty((len(points), 3))
        out[:, 0] = LEVEL_DOUBT
        out[:, 1:] = (points - self.middle) * SLOPE_DOUBT
        return out

    def _factor(self, logs: FloatArray) -> FloatArray:
        height, length = np.exp(logs)
        return cholesky(self.fixed + _matern(self.distances, height, length), lower=True)

    def _misfit(self, logs: FloatArray, start: FloatArray, spread: FloatArray) -> float:
        """Negative log of marginal likelihood times prior, up to a constant."""
        factor = self._factor(logs)
        whitened = solve_triangular(factor, self.residual, lower=True)
        doubt = (logs - start) / spread
        return float(
            0.5 * whitened @ whitened + np.log(np.diag(factor)).sum() + 0.5 * doubt @ doubt
        )


def _matern(distances: FloatArray, height: float, length: float) -> FloatArray:
    scaled = distances * (np.sqrt(3.0) / length)
    return np.asarray(height**2 * (1.0 + scaled) * np.exp(-scaled), dtype=np.float64)
