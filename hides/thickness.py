"""Thickness everywhere on a hide, with its doubt, from a few gauge readings.

Readings are taken as a smooth field plus the gauge's own scatter: a Gaussian process
with a Matérn 3/2 covariance about a tilted plane (Rasmussen and Williams, Gaussian
Processes for Machine Learning, 2006, sections 2.2, 2.7 and 4.2). It gives a mean and a
standard deviation at every point, and the deviation grows with the distance from the
readings: a hide gauged once is known at one place only. What is known of a side before any
reading (:class:`Regions`) steers the plane, which matters while readings are few.

The constants below were chosen on made-up sides (``tests/bench/thickness.py``): with 25 spread
readings 93 % of even leather and 86 % of rough leather lie in the 90 % interval. Where the readings
scatter more than even leather does, they are taken to be farther apart than the waves between them
are long (:data:`SHORTER`): then the doubt grows at once beside a reading, and
:meth:`ThicknessMap.wanted` says how many readings would follow such waves. :func:`suggest` says
where the next readings would help most.

A reading that the others do not foretell counts for nothing until it is confirmed
(:meth:`ThicknessMap.surprises`).

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
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from scipy.special import ndtr, ndtri
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.errors import InputError
from hides.outline import FloatArray
from hides.units import THICKEST

GAUGE_NOISE = 0.05  # mm; how well a hand gauge repeats
MOST_READINGS = 1000  # the fit takes the cube of this many steps

# What is known of sides before any reading (common practice, no published source: bend to
# belly 0.4 to 1.0 mm over about 0.9 m, to the neck 0.1 to 0.3 mm, waves of 0.1 to 0.4 mm, a
# few hundred mm long).
LEVEL_DOUBT = 1.0  # mm, deviation of the plane's height about the mean reading
SLOPE_DOUBT = 0.6e-3  # mm per mm, deviation of the plane's slopes about level
WAVE_HEIGHT = (0.2, 0.3)  # mm, and spread of its logarithm
WAVE_LENGTH = (180.0, 0.2)  # mm, and spread of its logarithm
# Higher waves are shorter: the likely length falls with this power of the height above EVEN, as far
# as there are readings to tell it. Set by hand so that the interval is honest on made-up sides with
# waves of 90 to 400 mm.
EVEN, SHORTER = 0.13, 6.0  # mm, wave height of even leather; and the power
TELLING = 10  # so many readings tell of waves half of what any number does
BELLY_DROP = (-0.6, 0.4)  # mm from butt to belly, and its deviation
NECK_DROP = (-0.2, 0.15)  # mm from butt to neck, and its deviation
BELLY_SPAN = (0.1, 1.0)  # of the depth: it thins between these, fastest round 0.55
NECK_SPAN = (0.4, 1.0)  # of the length

# The greatest chance that any reading of a sound side is taken for odd (Bonferroni's inequality, as
# for outliers in Cook and Weisberg, Residuals and Influence in Regression, 1982, section 2.2.2;
# from memory).
FALSE_ALARMS = 0.02
MOST_FLAGGED = 4  # one reading in so many at most: where more disagree, none can be told wrong

THROAT = 20.0  # mm; nearer to the edge a gauge's foot doesn't stand wholly on leather
PLACES_STEP = 40.0  # mm; grid of the places that are weighed for the next reading
MOST_PLACES = 2000  # of them: their covariances take 32 MB
ANY_THICKNESS = 3.5  # mm; any thickness: where to gauge next doesn't depend on it

_LEAST_DEVIATION = 1e-6  # mm; keeps the chance defined where a zone has no width
_BLOCK = 100_000  # covariances held at once when predicting: 0.8 MB, which caches hold
USUAL_RISK = 0.35  # accepted chance that the leather at a point is outside of what is asked


@dataclass(frozen=True, slots=True)
class Need:
    """What a part asks of the leather's thickness.

    Attributes
    ----------
    low, high : mm.
    may_split : thicker leather counts too, since it can be split or skived down.
    risk : the greatest accepted chance that the leather under any one point is outside.
    unknown : leather whose thickness nobody knows counts too, because the user said so.
    """

    low: float
    high: float
    may_split: bool = False
    risk: float = USUAL_RISK
    unknown: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high <= THICKEST:
            raise InputError(
                f"leather thickness must be > 0 mm, least first, at most {THICKEST:g} mm, "
                f"got {self.low:g} to {self.high:g}.",
                mend="Write the range in mm, such as [3.2, 3.5].",
            )
        if not 0 < self.risk < 1:
            raise InputError(f"risk must lie between 0 and 1, got {self.risk:g}.")

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g} mm" + (" or thicker" if self.may_split else "")


@dataclass(frozen=True, slots=True)
class Reading:
    """One gauge reading: place and thickness in mm, hide frame.

    ``confirmed``: it was looked at again and is right, however odd it looks.
    """

    x: float
    y: float
    thickness: float
    confirmed: bool = False


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

    def meets(self, need: Need) -> bool:
        """Whether the leather of the zone, which is judged as one, meets a need."""
        chance = chance_outside(np.array([self.mean]), np.array([self.deviation]), need)
        return bool(chance[0] <= need.risk)


@dataclass(frozen=True, slots=True)
class Regions:
    """Where a side thins before any reading is taken: towards the belly, and to the neck.

    By how much is :data:`BELLY_DROP` and :data:`NECK_DROP`; where, :data:`BELLY_SPAN` (belly
    lines lie at 0.6 of the depth or so, but no two hides agree, so the step is a soft one) and
    :data:`NECK_SPAN`. Readings overrule both.

    Attributes
    ----------
    tail : x in mm where the side begins.
    length, depth : mm; depth is area over length, which a leg doesn't change much.
    back : y in mm of the backbone.
    """

    tail: float
    length: float
    depth: float
    back: float = 0.0

    def drops(self, points: FloatArray) -> FloatArray:
        """Shares 0..1 of the whole drop to belly and to neck at (n, 2) points; (n, 2)."""
        belly = smoothstep(np.abs(points[:, 1] - self.back) / self.depth, *BELLY_SPAN)
        neck = smoothstep((points[:, 0] - self.tail) / self.length, *NECK_SPAN)
        return np.column_stack([belly, neck])


@dataclass(frozen=True)
class ThicknessMap:
    """Mean and deviation of the thickness at any point.

    Inside a zone its range counts and the readings don't; where zones overlap, the later
    one counts. Elsewhere the readings count. Without any reading, the leather outside of
    zones has mean NaN and infinite deviation: it meets no need, but for one that says that
    unknown leather counts. ``regions`` is for sides.
    """

    readings: tuple[Reading, ...] = ()
    zones: tuple[Zone, ...] = ()
    regions: Regions | None = None

    @cached_property
    def counted(self) -> tuple[Reading, ...]:
        """The readings that count: all but those that surprise."""
        return tuple(r for r, off in zip(self.readings, self.surprises(), strict=True) if not off)

    @property
    def known(self) -> bool:
        """Whether anything at all is known of the thickness."""
        return bool(self.readings or self.zones)

    def unknown(self, leather: Polygon) -> BaseGeometry:
        """The part of ``leather`` whose thickness nobody gave: off all zones, without a reading."""
        return Polygon() if self.readings else leather.difference(self.zoned)

    @cached_property
    def zoned(self) -> BaseGeometry:
        """Where a zone counts and readings don't."""
        return shapely.union_all([zone.polygon for zone in self.zones])

    def mean(self, points: FloatArray) -> FloatArray:
        """Expected thickness in mm at (n, 2) points; (n,)."""
        return self.field(points)[0]

    def deviation(self, points: FloatArray) -> FloatArray:
        """Standard deviation of the thickness in mm at (n, 2) points; (n,)."""
        return self.field(points)[1]

    def field(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and deviation together, (n,) mm each; cheaper than one after the other."""
        mean, deviation = self.field_by_readings(points)
        for zone in self.zones:
            shapely.prepare(zone.polygon)
            inside = shapely.intersects_xy(zone.polygon, points[:, 0], points[:, 1])
            mean[inside], deviation[inside] = zone.mean, zone.deviation
        return mean, deviation

    def field_by_readings(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and deviation as the readings alone tell, zones left out; (n,) mm each."""
        if self._fit is None:
            return np.full(len(points), np.nan), np.full(len(points), np.inf)
        return self._fit.predict(points)

    def chance_outside(self, points: FloatArray, need: Need) -> FloatArray:
        """Chance in 0..1 that the leather at each of (n, 2) points fails the need; (n,)."""
        return chance_outside(*self.field(points), need)

    @property
    def waves(self) -> tuple[float, float] | None:
        """Height and length in mm of the thickness's waves as fitted, None without readings."""
        return None if self._fit is None else (self._fit.height, self._fit.length)

    def wanted(self, leather: Polygon) -> int:
        """How many readings, spread evenly, it takes to follow the waves as they are fitted: one to
        each square of two wave lengths, beyond which readings tell next to nothing of each other.
        """
        return 0 if self.waves is None else int(np.ceil(leather.area / (2 * self.waves[1]) ** 2))

    def surprises(self) -> FloatArray:
        """How far readings lie from what all others foretell there, mm; (readings,).

        Positive is thicker than foretold, 0 is a reading that counts. Looked at is the reading that
        is most off in the leave-one-out prediction (Rasmussen and Williams 2006, equations 5.10 to
        5.12). The map is then fitted anew without it, since a wrong reading makes the waves look
        higher than they are. If it is no farther off that map than the most odd of so many sound
        readings is but once in fifty sides (:data:`FALSE_ALARMS`), all is well; else it counts no
        more, and the next is looked at. One that was confirmed is never looked at.
        """
        return self._sifted[1]

    @property
    def _fit(self) -> _Regression | None:
        return self._sifted[0]

    @cached_property
    def _sifted(self) -> tuple[_Regression | None, FloatArray]:
        """The regression through the readings that count, and the :meth:`surprises`."""
        off = np.zeros(len(self.readings))
        if not self.readings:
            return None, off
        places = np.array([(r.x, r.y) for r in self.readings], dtype=np.float64)
        values = np.array([r.thickness for r in self.readings], dtype=np.float64)
        open_ = np.array([not r.confirmed for r in self.readings])
        counted = np.ones(len(values), dtype=bool)
        fit = _Regression(places, values, self.regions)
        for _ in range(len(values) // MOST_FLAGGED):
            difference, deviation = fit.left_out()
            by = np.zeros(len(values))
            by[counted] = np.abs(difference) / deviation
            suspect = int(np.argmax(np.where(open_, by, 0.0)))
            if not by[suspect] or not open_[suspect]:
                break
            others = counted.copy()
            others[suspect] = False
            without = _Regression(places[others], values[others], self.regions)
            mean, doubt = without.predict(places[[suspect]])
            beyond = float(values[suspect] - mean[0])
            limit = -ndtri(FALSE_ALARMS / 2 / counted.sum())
            if abs(beyond) <= limit * np.hypot(doubt[0], GAUGE_NOISE):
                break
            off[suspect], counted, fit = beyond, others, without
        return fit, off


def chance_outside(mean: FloatArray, deviation: FloatArray, need: Need) -> FloatArray:
    """Chance that normally distributed thicknesses fail the need; all arrays (n,).

    Where nothing is known (infinite deviation) the chance is 1, but 0 for a need that lets
    unknown leather count.
    """
    unknown = np.isinf(deviation)
    spread = np.where(unknown, 1.0, np.maximum(deviation, _LEAST_DEVIATION))
    outside = ndtr((need.low - mean) / spread)
    if not need.may_split:
        outside = outside + ndtr((mean - need.high) / spread)
    return np.where(unknown, 0.0 if need.unknown else 1.0, outside)


def suggest(
    known: ThicknessMap,
    leather: Polygon,
    count: int,
    *,
    need: Need | None = None,
    reach: float = np.inf,
) -> FloatArray:
    """Where the next ``count`` readings would help most, the most helpful first; (n, 2) mm.

    Each place is the one whose reading lowers the mean variance over the leather the most,
    given all readings before it (Cohn, Ghahramani and Jordan, Active Learning with Statistical
    Models, 1996; how much does not depend on what will be read). With a ``need``, leather
    counts by how undecided it is that it meets the need, chance times counter-chance, so that
    readings go to where they decide something. Zones are not asked about.

    Parameters
    ----------
    leather : in the hide's frame.
    reach : mm from the edge that the gauge's arm allows.

    Raises
    ------
    InputError : the leather is too small to hold any place to gauge.
    """
    grid = _places(leather, leather.difference(known.zoned))
    edge = np.asarray(shapely.distance(shapely.points(grid), leather.boundary))
    offered = (edge >= THROAT) & (edge <= reach)
    if not offered.any():
        raise InputError(
            f"there is no place to gauge {THROAT:g} to {reach:g} mm from the edge.",
            mend="Zones that are given need no readings; or let the gauge reach farther.",
        )
    first = []
    if known._fit is None:  # the middle, as good as any; then as if it had been read
        central = np.hypot(*(grid - grid[offered].mean(axis=0)).T)
        first = [int(np.argmin(np.where(offered, central, np.inf)))]
    fit = known._fit or _Regression(grid[first], np.array([ANY_THICKNESS]), known.regions)
    undecided = np.ones(len(grid))
    if need is not None and known.readings:
        chance = known.chance_outside(grid, need)
        undecided = chance * (1.0 - chance) + _LEAST_DEVIATION
    chosen = [*first, *_greedy(fit.covariance(grid), undecided, offered, count - len(first))]
    return grid[chosen[:count]]


def _greedy(
    covariance: FloatArray, weights: FloatArray, offered: NDArray[np.bool_], count: int
) -> list[int]:
    """Choose one place after the other that lowers the weighted sum of variances most."""
    chosen: list[int] = []
    for _ in range(count):
        noisy = np.diag(covariance) + GAUGE_NOISE**2
        gain = weights @ covariance**2 / noisy
        best = int(np.argmax(np.where(offered, gain, -1.0)))
        covariance = covariance - np.outer(covariance[best], covariance[best]) / noisy[best]
        chosen.append(best)
    return chosen


def _places(leather: Polygon, room: BaseGeometry) -> FloatArray:
    """Grid points (n, 2) in what is asked about; coarser on a very large hide."""
    step = max(PLACES_STEP, float(np.sqrt(leather.area / MOST_PLACES)))
    x0, y0, x1, y1 = leather.bounds
    x, y = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(np.float64)
    return grid[np.asarray(shapely.contains_xy(room, grid))]


class _Regression:
    """The regression through one set of readings."""

    def __init__(self, places: FloatArray, values: FloatArray, regions: Regions | None) -> None:
        self.places = places
        self.regions = regions
        self.middle = places.mean(axis=0)
        expected = self._expected(places)
        self.level = float((values - expected).mean())
        self.bounds = (0.5 * float(values.min()), 1.5 * float(values.max()))
        self.residual = values - expected - self.level
        self.distances = cdist(places, places)
        trend = self._trend(places)
        self.fixed = trend @ trend.T + GAUGE_NOISE**2 * np.eye(len(places))
        start = np.log([WAVE_HEIGHT[0], WAVE_LENGTH[0]])
        spread = np.array([WAVE_HEIGHT[1], WAVE_LENGTH[1]])
        tries = (start, start - (0.0, 1.0))  # even leather, and rough
        best = min(
            (minimize(self._misfit, at, args=(start, spread), method="L-BFGS-B") for at in tries),
            key=lambda found: float(found.fun),
        )
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

    def covariance(self, points: FloatArray) -> FloatArray:
        """Covariance of the thickness between (n, 2) points, given the readings; (n, n) mm²."""
        trend = self._trend(points)
        explained = solve_triangular(self.factor, self._cross(points, trend), lower=True)
        before = _matern(cdist(points, points), self.height, self.length) + trend @ trend.T
        return np.asarray(before - explained.T @ explained, dtype=np.float64)

    def left_out(self) -> tuple[FloatArray, FloatArray]:
        """Of each reading how far it is off what the others foretell, with the waves as fitted to
        all, and the deviation of that; (readings,) mm each.
        """
        precision = np.diag(cho_solve((self.factor, True), np.eye(len(self.places))))
        return self.weights / precision, 1.0 / np.sqrt(precision)

    def _predict(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        trend = self._trend(points)
        cross = self._cross(points, trend)
        explained = solve_triangular(self.factor, cross, lower=True, check_finite=False)
        before = self.height**2 + np.einsum("ij,ij->i", trend, trend)
        variance = before - np.einsum("ij,ij->j", explained, explained)
        mean = self.level + self._expected(points) + self.weights @ cross
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def _cross(self, points: FloatArray, trend: FloatArray) -> FloatArray:
        """Covariance between readings and (n, 2) points of that trend before any is read."""
        waves = _matern(cdist(self.places, points), self.height, self.length)
        return waves + self._trend(self.places) @ trend.T

    def _trend(self, points: FloatArray) -> FloatArray:
        """The plane's and the regions' terms at (n, 2) points, each times its prior deviation."""
        level = np.full((len(points), 1), LEVEL_DOUBT)
        plane = [level, (points - self.middle) * SLOPE_DOUBT]
        if self.regions is not None:
            plane.append(self.regions.drops(points) * (BELLY_DROP[1], NECK_DROP[1]))
        return np.hstack(plane)

    def _expected(self, points: FloatArray) -> FloatArray:
        """What the regions alone foretell at (n, 2) points, less the level; (n,) mm."""
        if self.regions is None:
            return np.zeros(len(points))
        return self.regions.drops(points) @ (BELLY_DROP[0], NECK_DROP[0])

    def _factor(self, logs: FloatArray) -> FloatArray:
        height, length = np.exp(logs)
        return cholesky(self.fixed + _matern(self.distances, height, length), lower=True)

    def _misfit(self, logs: FloatArray, start: FloatArray, spread: FloatArray) -> float:
        """Negative log of marginal likelihood times prior, up to a constant."""
        factor = self._factor(logs)
        whitened = solve_triangular(factor, self.residual, lower=True)
        rough = max(0.0, float(logs[0]) - np.log(EVEN))
        told = len(self.places) / (len(self.places) + TELLING)  # few readings tell little of waves
        doubt = (logs - start + (0.0, SHORTER * told * rough)) / spread
        return float(
            0.5 * whitened @ whitened + np.log(np.diag(factor)).sum() + 0.5 * doubt @ doubt
        )


def smoothstep(at: FloatArray, low: float, high: float) -> FloatArray:
    """A share that rises from 0 at ``low`` to 1 at ``high``, a cubic that is level at both ends."""
    t = np.clip((at - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), dtype=np.float64)


def _matern(distances: FloatArray, height: float, length: float) -> FloatArray:
    scaled = distances * (np.sqrt(3.0) / length)
    return np.asarray(height**2 * (1.0 + scaled) * np.exp(-scaled), dtype=np.float64)
