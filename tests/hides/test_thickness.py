"""Thickness: the regression against formulas written another way and against a general-purpose
library, on known fields and made-up sides, and where to gauge next.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.spatial.distance import cdist
from scipy.stats import multivariate_normal, norm
from shapely import box
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Matern

from hides.errors import InputError
from hides.thickness import (
    BELLY_DROP,
    EVEN,
    GAUGE_NOISE,
    LEVEL_DOUBT,
    NECK_DROP,
    SHORTER,
    SLOPE_DOUBT,
    TELLING,
    THROAT,
    WAVE_HEIGHT,
    WAVE_LENGTH,
    Need,
    Reading,
    Regions,
    ThicknessMap,
    Zone,
    chance_outside,
    suggest,
)
from hides.units import THICKEST
from tests.bench import thickness as bench
from tests.small_hides import gauged

RNG = np.random.default_rng(7)
PLACES = RNG.uniform((100, 80), (2100, 850), (12, 2))
VALUES = 3.5 - 0.7 * (PLACES[:, 1] / 900) ** 2 + RNG.normal(0, 0.05, 12)
GRID = np.stack(np.meshgrid(np.arange(0, 2201, 25.0), np.arange(0, 951, 25.0)), -1).reshape(-1, 2)


def matern(a: np.ndarray, b: np.ndarray, height: float, length: float) -> np.ndarray:
    """Matérn covariance with ν = 3/2: Rasmussen and Williams 2006, equation 4.17."""
    r = cdist(a, b)
    return height**2 * (1 + np.sqrt(3) * r / length) * np.exp(-np.sqrt(3) * r / length)


def test_mean_and_deviation_are_the_textbooks() -> None:
    """Rasmussen and Williams 2006, equations 2.41 and 2.42: a Gaussian process with explicit
    basis functions (1, x, y) and a Gaussian prior on their coefficients.
    """
    field = ThicknessMap(gauged(VALUES, PLACES))
    height, length = field.waves or (0, 0)
    asked = RNG.uniform((0, 0), (2200, 950), (40, 2))
    middle = PLACES.mean(axis=0)
    basis, basis_asked = (np.column_stack([np.ones(len(p)), p - middle]).T for p in (PLACES, asked))
    prior = np.diag([LEVEL_DOUBT**2, SLOPE_DOUBT**2, SLOPE_DOUBT**2])
    noisy = matern(PLACES, PLACES, height, length) + GAUGE_NOISE**2 * np.eye(12)
    inverse, cross = np.linalg.inv(noisy), matern(PLACES, asked, height, length)
    centred = VALUES - VALUES.mean()
    remainder = basis_asked - basis @ inverse @ cross
    precision = np.linalg.inv(prior) + basis @ inverse @ basis.T
    coefficients = np.linalg.solve(precision, basis @ inverse @ centred)
    mean = VALUES.mean() + cross.T @ inverse @ centred + remainder.T @ coefficients
    variance = height**2 - np.diag(cross.T @ inverse @ cross)
    variance = variance + np.diag(remainder.T @ np.linalg.solve(precision, remainder))
    assert np.allclose(field.mean(asked), mean, atol=1e-9)
    assert np.allclose(field.deviation(asked), np.sqrt(variance), atol=1e-9)


def test_waves_are_the_most_likely_ones() -> None:
    """No height and length on a grid explain the readings better, prior included; the density
    is scipy's.
    """
    field = ThicknessMap(gauged(VALUES, PLACES))
    basis = np.column_stack(
        [np.full(12, LEVEL_DOUBT), (PLACES - PLACES.mean(axis=0)) * SLOPE_DOUBT]
    )

    def likelihood(height: float, length: float) -> float:
        covariance = matern(PLACES, PLACES, height, length) + basis @ basis.T
        covariance += GAUGE_NOISE**2 * np.eye(12)
        fit = multivariate_normal(np.full(12, VALUES.mean()), covariance).logpdf(VALUES)
        prior = norm(np.log(WAVE_HEIGHT[0]), WAVE_HEIGHT[1]).logpdf(np.log(height))
        power = SHORTER * 12 / (12 + TELLING)
        likely = WAVE_LENGTH[0] * min(1.0, EVEN / height) ** power  # higher waves are shorter
        prior += norm(np.log(likely), WAVE_LENGTH[1]).logpdf(np.log(length))
        return float(fit + prior)

    best = likelihood(*(field.waves or (0, 0)))
    others = [
        likelihood(height, length)
        for height in np.geomspace(0.03, 1.0, 15)
        for length in np.geomspace(60, 900, 15)
    ]
    assert best >= max(others) - 1e-6


def made_field(seed: int, points: np.ndarray) -> np.ndarray:
    """A made-up side of 2200 × 950 mm: thin belly, thick rump, waves; mm."""
    rng = np.random.default_rng(seed)
    x, y = points[:, 0] / 2200, points[:, 1] / 950
    out = 3.55 - 0.35 * x - 0.9 * y**2 + 0.3 * np.exp(-((x - 0.3) ** 2) / 0.05 - y**2 / 0.2)
    for _ in range(10):
        wave = rng.normal(size=2) * 2 * np.pi / 900
        out += 0.05 * np.sin(points @ wave + rng.uniform(0, 2 * np.pi))
    return out


def spread_places(rng: np.random.Generator, count: int) -> np.ndarray:
    """Places spread over the side, each as far as can be from those before."""
    offered = rng.uniform((100, 80), (2100, 870), (400, 2))
    chosen = [0]
    while len(chosen) < count:
        chosen.append(int(cdist(offered, offered[chosen]).min(axis=1).argmax()))
    return offered[chosen]


@pytest.mark.parametrize(
    ("count", "error"),
    [
        (40, 0.10),  # mm; hides vary by about 0.3 mm
        (25, 0.12),
        (10, 0.20),
        (5, 0.25),
    ],
)
def test_known_fields_are_found_again(count: int, error: float) -> None:
    """The error is small against the field's own spread, and the doubt is honest: at least
    five sixths of the hide lie within two deviations.
    """
    square, inside, plain = [], [], []
    for seed in range(5):
        rng = np.random.default_rng(seed + 50)
        places = spread_places(rng, count)
        values = made_field(seed, places) + rng.normal(0, GAUGE_NOISE, count)
        mean, deviation = ThicknessMap(gauged(values, places)).field(GRID)
        true = made_field(seed, GRID)
        square.append(np.mean((mean - true) ** 2))
        inside.append(np.mean(np.abs(mean - true) < 2 * deviation))
        plain.append(np.mean((values.mean() - true) ** 2))
    assert np.sqrt(np.mean(square)) < error
    assert np.mean(square) < np.mean(plain) / 2
    assert np.mean(inside) > 5 / 6


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_few_readings_are_honoured_and_not_overstretched(count: int) -> None:
    """Sure at the readings, unsure far from them, and never an absurd thickness."""
    readings = gauged(VALUES[:count], PLACES[:count])
    field = ThicknessMap(readings)
    assert np.allclose(field.mean(PLACES[:count]), VALUES[:count], atol=2 * GAUGE_NOISE)
    assert (field.deviation(PLACES[:count]) <= 1.02 * GAUGE_NOISE).all()
    mean, deviation = field.field(GRID)
    assert deviation.max() > 3 * GAUGE_NOISE
    assert (mean >= 0.5 * VALUES[:count].min()).all()
    assert (mean <= 1.5 * VALUES[:count].max()).all()


def test_doubt_grows_with_the_distance_from_a_lone_reading() -> None:
    """One reading tells of its own place only."""
    field = ThicknessMap((Reading(500, 300, 3.4),))
    away = np.column_stack([500 + np.array([0, 50, 150, 400, 1000.0]), np.full(5, 300.0)])
    deviation = field.deviation(away)
    assert (np.diff(deviation) > 0).all()
    assert deviation[-1] > 0.3


def test_a_steep_trend_is_not_carried_to_absurd_thickness() -> None:
    """Far outside the readings the mean stays between half the least and 1.5 times the most."""
    field = ThicknessMap((Reading(0, 0, 3.5), Reading(0, 100, 3.0), Reading(0, 200, 2.5)))
    far = np.array([[0.0, 20000.0], [0.0, -20000.0]])
    assert np.allclose(field.mean(far), [1.25, 5.25])


def test_two_readings_at_one_place_are_averaged() -> None:
    """A repeated reading is no fault."""
    field = ThicknessMap((Reading(10, 10, 3.2), Reading(10, 10, 3.4), Reading(900, 500, 3.0)))
    assert field.mean(np.array([[10.0, 10.0]]))[0] == pytest.approx(3.3, abs=0.01)


def test_a_zone_speaks_louder_than_readings_and_a_later_zone_than_an_earlier() -> None:
    """Inside, the range counts: middle, and the deviation of a uniform distribution."""
    zones = (Zone("a", 3.0, 3.6, box(0, 0, 500, 500)), Zone("b", 2.0, 2.4, box(300, 0, 800, 500)))
    field = ThicknessMap((Reading(100, 100, 4.0), Reading(1500, 100, 3.3)), zones)
    mean, deviation = field.field(np.array([[100.0, 100], [400, 100], [1500, 100]]))
    assert np.allclose(mean, [3.3, 2.2, 3.3], atol=0.01)
    assert np.allclose(deviation[:2], [0.6 / np.sqrt(12), 0.4 / np.sqrt(12)])  # uniform, by formula
    assert np.allclose(field.field_by_readings(np.array([[100.0, 100]]))[0], 4.0, atol=0.05)


def test_zones_without_readings_leave_the_rest_unknown() -> None:
    """Nothing can be promised there, so the chance to fail is 1."""
    field = ThicknessMap(zones=(Zone("a", 3.3, 3.3, box(0, 0, 500, 500)),))
    points = np.array([[100.0, 100], [900, 100]])
    assert field.known
    assert field.waves is None
    assert field.chance_outside(points, Need(3.2, 3.5)).tolist() == [0.0, 1.0]
    assert field.chance_outside(points, Need(3.2, 3.5, may_split=True)).tolist() == [0.0, 1.0]
    assert field.chance_outside(points, Need(3.4, 3.5)).tolist() == [1.0, 1.0]


def test_unknown_thickness_meets_no_need_unless_it_is_let_count() -> None:
    """Without reading and zone nothing is known anywhere."""
    field, asked = ThicknessMap(), np.zeros((3, 2))
    assert not field.known
    assert field.chance_outside(asked, Need(3.2, 3.5)).tolist() == [1.0] * 3
    assert field.chance_outside(asked, Need(3.2, 3.5, unknown=True)).tolist() == [0.0] * 3
    assert field.surprises().tolist() == []


@pytest.mark.parametrize(
    ("mean", "deviation", "split", "chance"),
    [
        (3.35, 0.15, False, 0.3173105),  # one deviation to either side: 1 − 0.6826895
        (3.20, 0.10, False, 0.5013499),  # on the border: a half, and three deviations' tail
        (3.50, 0.15, True, 0.0227501),  # only too thin counts: two deviations' tail
        (4.50, 0.15, True, 0.0),
        (4.50, 0.15, False, 1.0),
    ],
)
def test_chance_is_the_normal_distributions(
    mean: float, deviation: float, split: bool, chance: float
) -> None:
    """For 3.2 to 3.5 mm; values from tables of the normal distribution."""
    need = Need(3.2, 3.5, may_split=split)
    found = chance_outside(np.array([mean]), np.array([deviation]), need)
    assert found[0] == pytest.approx(chance, abs=1e-6)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"low": 3.5, "high": 3.2}, "least first"),
        ({"low": 0.0, "high": 3.2}, "> 0 mm"),
        ({"low": 3.0, "high": 32.0}, "at most 15 mm"),
        ({"low": 3.0, "high": float("nan")}, "least first"),
        ({"low": 3.0, "high": 3.4, "risk": 0.0}, "between 0 and 1"),
        ({"low": 3.0, "high": 3.4, "risk": 1.0}, "between 0 and 1"),
    ],
)
def test_a_need_that_no_leather_meets_is_refused(values: dict[str, float], says: str) -> None:
    """With the value met in the message."""
    with pytest.raises(InputError, match=says):
        Need(**values)


def test_a_wrong_reading_stands_out_among_its_neighbours() -> None:
    """Only the one mistyped by half a millimetre is named, and by about that much."""
    rng = np.random.default_rng(3)
    places = spread_places(rng, 30)
    values = made_field(1, places) + rng.normal(0, 0.03, 30)
    values[11] += 0.8
    off = ThicknessMap(gauged(values, places)).surprises()
    assert np.flatnonzero(off).tolist() == [11]
    assert off[11] == pytest.approx(0.8, abs=0.3)


def typed_wrong(by: float = 1.0) -> tuple[ThicknessMap, ThicknessMap]:
    """25 readings of a made-up side, and the same with one mistyped by so many mm."""
    rng = np.random.default_rng(5)
    readings = bench.gauged(bench.Field(5), bench.places(rng, LEATHER, 25, "spread"), rng)
    wrong = replace(readings[7], thickness=readings[7].thickness + by)
    with_it = (*readings[:7], wrong, *readings[8:])
    return ThicknessMap(readings, regions=SIDE), ThicknessMap(with_it, regions=SIDE)


def test_a_mistyped_reading_counts_for_nothing() -> None:
    """The map is that of the others alone, and no leather is called thick for it."""
    right, wrong = typed_wrong()
    others = ThicknessMap(right.readings[:7] + right.readings[8:], regions=SIDE)
    assert wrong.counted == others.readings
    assert np.array_equal(wrong.field(GRID), others.field(GRID))
    need = Need(float(right.mean(GRID).max()) + 0.1, THICKEST, risk=0.1)
    assert wrong.chance_outside(GRID, need).min() > need.risk


def test_an_odd_reading_that_was_confirmed_counts() -> None:
    """The leather there is as thick as it was gauged twice."""
    _, wrong = typed_wrong()
    odd = wrong.readings[7]
    sure = replace(odd, confirmed=True)
    known = ThicknessMap((*wrong.readings[:7], sure, *wrong.readings[8:]), regions=SIDE)
    assert not known.surprises().any()
    mean = known.mean(np.array([(odd.x, odd.y)]))[0]
    assert mean == pytest.approx(odd.thickness, abs=2 * GAUGE_NOISE)


def test_two_mistyped_readings_do_not_hide_each_other() -> None:
    """Each makes the waves look higher, and so the other likelier."""
    right, wrong = typed_wrong()
    also = replace(wrong.readings[18], thickness=wrong.readings[18].thickness - 1.0)
    known = ThicknessMap((*wrong.readings[:18], also, *wrong.readings[19:]), regions=SIDE)
    assert np.flatnonzero(known.surprises()).tolist() == [7, 18]
    assert not right.surprises().any()


def test_no_reading_of_a_sound_side_is_taken_for_odd() -> None:
    """At most one side in fifty has one, by the rule; of these twenty, none."""
    for seed in range(400, 420):
        rng = np.random.default_rng(seed)
        spots = bench.places(rng, LEATHER, 25, "random")
        known = ThicknessMap(bench.gauged(bench.Field(seed), spots, rng), regions=SIDE)
        assert not known.surprises().any()


@pytest.mark.parametrize("how", ["spread", "random", "rim"])
def test_on_rough_leather_the_doubt_is_honest(how: str) -> None:
    """Waves shorter than 25 readings are apart: at least 82 of 100 points lie in the stated 90 %
    interval, on sides of seeds that no constant was chosen on (the bench's own).
    """
    hides = bench.samples()
    seeds = range(bench.SEEDS, bench.SEEDS + 12)
    scores = [bench.trial(seed, 25, how, hides, rough=True) for seed in seeds]
    assert np.mean([score.covered for score in scores]) >= 0.82


def test_on_even_leather_the_doubt_is_neither_too_small_nor_too_large() -> None:
    """About nine tenths lie in the stated 90 % interval, and the leather called thick is."""
    hides = bench.samples()
    scores = [bench.trial(seed, 25, "spread", hides) for seed in range(500, 512)]
    assert 0.87 <= np.mean([score.covered for score in scores]) <= 0.96
    assert np.mean([score.right for score in scores]) > 0.98
    assert np.mean([score.called for score in scores]) > 0.33


def test_more_readings_are_wanted_where_waves_are_short() -> None:
    """One to each square of two wave lengths: rough leather takes several times as many."""
    rng = np.random.default_rng(9)
    spots = bench.places(rng, LEATHER, 25, "spread")
    even, rough = (
        ThicknessMap(bench.gauged(bench.Field(9, rough=rough), spots, rng), regions=SIDE)
        for rough in (False, True)
    )
    assert even.wanted(LEATHER) < 30
    assert rough.wanted(LEATHER) > 60
    assert rough.waves is not None
    assert rough.wanted(LEATHER) == np.ceil(2200 * 950 / (2 * rough.waves[1]) ** 2)


def test_left_out_readings_are_foretold_as_by_a_fit_without_them() -> None:
    """The leave-one-out formula against leaving one out, waves held as fitted."""
    readings = gauged(VALUES, PLACES)
    field = ThicknessMap(readings)
    height, length = field.waves or (0, 0)
    middle = PLACES.mean(axis=0)
    basis = np.column_stack([np.full(12, LEVEL_DOUBT), (PLACES - middle) * SLOPE_DOUBT])
    covariance = matern(PLACES, PLACES, height, length) + basis @ basis.T
    covariance += GAUGE_NOISE**2 * np.eye(12)
    rest = np.arange(12) != 4
    weights = np.linalg.solve(covariance[np.ix_(rest, rest)], covariance[rest, 4])
    foretold = VALUES.mean() + weights @ (VALUES - VALUES.mean())[rest]
    variance = covariance[4, 4] - weights @ covariance[rest, 4]
    assert field._fit is not None
    difference, deviation = field._fit.left_out()
    assert difference[4] == pytest.approx(VALUES[4] - foretold, abs=1e-9)
    assert deviation[4] == pytest.approx(np.sqrt(variance), abs=1e-9)


def test_large_questions_are_answered_in_blocks() -> None:
    """The same values as asked one by one, whatever the number of points."""
    rng = np.random.default_rng(0)
    places = rng.uniform(0, 2000, (300, 2))
    field = ThicknessMap(gauged(made_field(0, places), places))
    many = rng.uniform(0, 2000, (9000, 2))  # 300 × 9000 covariances: two blocks
    whole = field.mean(many)
    assert np.allclose(whole[[0, 6665, 6667, 8999]], field.mean(many[[0, 6665, 6667, 8999]]))
    assert field.mean(np.empty((0, 2))).shape == (0,)


SIDE = Regions(0.0, 2200.0, 950.0)
LEATHER = box(0, 0, 2200, 950)
SCATTER = np.random.default_rng(11)
SPOTS = SCATTER.uniform((50, 50), (2150, 900), (18, 2))
GAUGED = bench.gauged(bench.Field(3), SPOTS, SCATTER)


def by_scikit_learn(known: ThicknessMap, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same model in scikit-learn: a Matérn 3/2 kernel of x and y, and a linear kernel of
    the plane's and the regions' terms. Both kernels see all columns, so x and y are made tiny
    for the linear one, and the terms are given an endless length for the other.
    """
    spots = np.array([(r.x, r.y) for r in known.readings])
    values = np.array([r.thickness for r in known.readings])
    height, length = known.waves or (0.0, 0.0)
    tiny = 1e-9

    def columns(points: np.ndarray) -> np.ndarray:
        parts = [points * tiny, (points - spots.mean(axis=0)) * SLOPE_DOUBT]
        if known.regions:
            parts.append(known.regions.drops(points) * (BELLY_DROP[1], NECK_DROP[1]))
        return np.hstack(parts)

    def expected(points: np.ndarray) -> np.ndarray:
        if known.regions is None:
            return np.zeros(len(points))
        return known.regions.drops(points) @ (BELLY_DROP[0], NECK_DROP[0])

    scales = np.full(columns(asked).shape[1], 1e9)
    scales[:2] = length * tiny
    kernel = ConstantKernel(height**2) * Matern(scales, nu=1.5) + DotProduct(LEVEL_DOUBT)
    level = (values - expected(spots)).mean()
    fit = GaussianProcessRegressor(kernel, alpha=GAUGE_NOISE**2, optimizer=None)
    fit.fit(columns(spots), values - expected(spots) - level)
    mean, deviation = fit.predict(columns(asked), return_std=True)
    return mean + level + expected(asked), deviation


@pytest.mark.parametrize(
    ("regions", "count"),
    [
        (None, 18),  # a bend, a belly: a plane and waves
        (SIDE, 18),
        (SIDE, 3),  # hardly more than what is known beforehand
        (SIDE, 1),
    ],
)
def test_mean_and_deviation_are_those_of_a_general_library(
    regions: Regions | None, count: int
) -> None:
    """scikit-learn's Gaussian process with the fitted waves, at 200 places on and off the
    leather.
    """
    known = ThicknessMap(GAUGED[:count], regions=regions)
    asked = SCATTER.uniform((-100, -100), (2300, 1050), (200, 2))
    mean, deviation = by_scikit_learn(known, asked)
    low, high = (f(r.thickness for r in known.readings) for f in (min, max))
    found = known.field(asked)
    assert np.allclose(found[0], np.clip(mean, 0.5 * low, 1.5 * high), atol=1e-4)
    assert np.allclose(found[1], deviation, atol=1e-4)


@pytest.mark.parametrize("how", ["spread", "random"])
def test_25_readings_tell_a_sides_thickness_with_honest_doubt(how: str) -> None:
    """On made-up sides of other seeds than the constants were chosen on: the error, how much of
    the leather lies in the 90 % interval, and how much of what is called thick enough is.
    """
    scores = [bench.trial(seed, 25, how, bench.samples()) for seed in range(500, 516)]
    assert np.sqrt(np.mean([s.error**2 for s in scores])) < (0.10 if how == "spread" else 0.12)
    assert 0.85 <= np.mean([s.covered for s in scores]) <= 0.97
    called = sum(s.called for s in scores)
    assert called / len(scores) > 0.25  # half of each side is thick enough: not merely timid
    assert sum(s.called * s.right for s in scores) >= 0.98 * called


@pytest.mark.parametrize("count", [3, 5, 8])
def test_what_is_known_of_sides_helps_while_readings_are_few(count: int) -> None:
    """With the regions the error is smaller than without, on the made-up sides taken together."""
    square = np.zeros(2)
    for seed in range(600, 616):
        rng = np.random.default_rng(seed)
        field = bench.Field(seed)
        readings = bench.gauged(field, bench.places(rng, LEATHER, count, "spread"), rng)
        for at, regions in enumerate((None, SIDE)):
            known = ThicknessMap(readings, regions=regions)
            square[at] += bench.judge(field, LEATHER, known).error ** 2
    assert square[1] < square[0]


def test_one_reading_in_the_butt_foretells_a_thinner_belly_and_a_thinner_neck() -> None:
    """By about what sides usually lose, and with more doubt than at the reading."""
    known = ThicknessMap((Reading(600, 100, 3.6),), regions=SIDE)
    mean, deviation = known.field(np.array([[600.0, 100], [600, 900], [2150, 100]]))
    assert mean[0] == pytest.approx(3.6, abs=0.02)
    assert mean[1] - mean[0] == pytest.approx(BELLY_DROP[0], abs=0.05)
    assert mean[2] - mean[0] == pytest.approx(NECK_DROP[0], abs=0.05)
    assert deviation[1] > 0.3 > 0.05 >= deviation[0]


def test_readings_overrule_what_is_known_of_sides() -> None:
    """A side whose belly is as thick as its butt is believed after 25 readings."""
    spots = bench.places(np.random.default_rng(1), LEATHER, 25, "spread")
    flat = tuple(Reading(float(x), float(y), 3.5) for x, y in spots)
    mean, _ = ThicknessMap(flat, regions=SIDE).field(spots)
    assert np.abs(mean - 3.5).max() < 0.05


@pytest.mark.parametrize(
    ("need", "confidence"),
    [
        (Need(3.2, THICKEST, risk=0.1), 0.9),
        (Need(2.9, 3.4, risk=0.2), 0.8),
        (Need(2.5, 3.0, may_split=True, risk=0.05), 0.95),
    ],
)
def test_a_zone_of_any_range_holds_at_the_confidence_stated(need: Need, confidence: float) -> None:
    """Every point well inside the polygons has at least that chance to lie in the range, and
    no point of the leather that surely has is left out by more than a grid step.
    """
    hide = replace(bench.samples()[0], zones=(), flaws=())
    zone = hide.allowed(need)
    points = SCATTER.uniform(hide.outline.bounds[:2], hide.outline.bounds[2:], (4000, 2))
    met = 1.0 - hide.thickness.chance_outside(points, need)
    inside = shapely.contains_xy(zone, points)
    assert inside.any()
    assert met[inside].min() >= confidence - 0.005
    far = shapely.contains_xy(hide.polygon.difference(zone.buffer(12.0)), points)
    assert met[far].max() < confidence + 0.02


# --- where to gauge next ---------------------------------------------------------------------


def test_suggested_readings_lower_the_doubt_more_than_others() -> None:
    """Eight more readings, asked for or taken elsewhere, by what the map itself says after."""
    grid = np.stack(np.meshgrid(np.arange(20, 2200, 40.0), np.arange(20, 950, 40.0)), -1)
    grid = grid.reshape(-1, 2)
    known = ThicknessMap(GAUGED[:10], regions=SIDE)

    def doubt_with(spots: np.ndarray) -> float:
        told = zip(spots, known.mean(spots), strict=True)  # as foretold: no surprise in them
        more = tuple(Reading(float(x), float(y), float(t)) for (x, y), t in told)
        fit = ThicknessMap(GAUGED[:10] + more, regions=SIDE)
        return float(np.mean(fit.deviation(grid) ** 2))

    asked = doubt_with(suggest(known, LEATHER, 8))
    others = [
        doubt_with(np.random.default_rng(i).uniform((30, 30), (2170, 920), (8, 2)))
        for i in range(12)
    ]
    assert asked < min(others)


def test_with_a_need_readings_are_asked_where_they_decide_something() -> None:
    """The butt is surely thick enough and the belly surely not: the border between is gauged."""
    spots = np.array([(x, y) for x in range(100, 2200, 200) for y in (100, 250, 750, 900)], float)
    readings = tuple(Reading(x, y, 3.8 if y < 500 else 2.6) for x, y in spots)
    known = ThicknessMap(readings, regions=SIDE)
    asked = suggest(known, LEATHER, 5, need=Need(3.2, THICKEST))
    assert ((asked[:, 1] > 330) & (asked[:, 1] < 670)).all()


def test_suggestions_before_any_reading_are_spread_over_the_hide() -> None:
    """Twelve places, none nearer than 250 mm to another, all a gauge's foot from the edge."""
    asked = suggest(ThicknessMap(regions=SIDE), LEATHER, 12)
    apart = np.hypot(*(asked[:, None] - asked[None]).T) + 1e9 * np.eye(12)
    assert apart.min() > 250
    assert shapely.contains_xy(LEATHER.buffer(-THROAT + 1e-6), asked).all()


def test_suggestions_keep_within_the_gauges_reach_and_out_of_zones() -> None:
    """A gauge whose arm reaches 200 mm; the left half is given as a zone."""
    known = ThicknessMap(GAUGED[:4], (Zone("half", 3.0, 3.4, box(0, 0, 1100, 950)),), SIDE)
    asked = suggest(known, LEATHER, 6, reach=200.0)
    edge = shapely.distance(shapely.points(asked), LEATHER.boundary)
    assert (edge <= 200.0).all()
    assert (asked[:, 0] > 1100).all()


def test_the_same_question_has_the_same_answer() -> None:
    """No chance is involved."""
    known = ThicknessMap(GAUGED, regions=SIDE)
    assert np.array_equal(suggest(known, LEATHER, 4), suggest(known, LEATHER, 4))


def test_no_place_to_gauge_is_said() -> None:
    """All of it is given as a zone."""
    known = ThicknessMap(GAUGED[:2], (Zone("all", 3.0, 3.4, box(-1, -1, 2300, 1000)),), SIDE)
    with pytest.raises(InputError, match="no place to gauge"):
        suggest(known, LEATHER, 3)


def test_the_bench_prints_a_row_for_every_count_and_choice_of_places(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Rows of figures under a head, shares between 0 and 100 %."""
    bench.main(["--fields", "2", "--counts", "6", "8", "--places", "spread", "asked"])
    _, _, *rows = capsys.readouterr().out.splitlines()
    wanted = [["6", "spread"], ["8", "spread"], ["6", "asked"], ["8", "asked"]]
    assert [row.split()[:3] for row in rows] == [
        [name, *row] for name in ("even", "rough") for row in wanted
    ]
    for row in rows:
        shares = [float(cell.rstrip("%")) for cell in row.split()[5:]]
        assert all(0 <= share <= 100 for share in shares)
