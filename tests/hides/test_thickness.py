"""Thickness: the regression against formulas written another way, and on known fields."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from scipy.stats import multivariate_normal, norm
from shapely import box

from hides.errors import InputError
from hides.thickness import (
    GAUGE_NOISE,
    LEVEL_DOUBT,
    SLOPE_DOUBT,
    WAVE_HEIGHT,
    WAVE_LENGTH,
    Need,
    Reading,
    ThicknessMap,
    Zone,
    chance_outside,
)
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
        prior += norm(np.log(WAVE_LENGTH[0]), WAVE_LENGTH[1]).logpdf(np.log(length))
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


def test_no_readings_and_no_zones_forbid_nothing() -> None:
    """Thickness that nobody gave is not watched."""
    field = ThicknessMap()
    assert not field.known
    assert field.chance_outside(np.zeros((3, 2)), Need(3.2, 3.5)).tolist() == [0.0] * 3
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
    loud = ThicknessMap((*readings[:4], Reading(*PLACES[4], VALUES[4]), *readings[5:]))
    assert loud._fit is not None
    assert loud._fit.surprises(0.0)[4] == pytest.approx(VALUES[4] - foretold, abs=1e-9)


def test_large_questions_are_answered_in_blocks() -> None:
    """The same values as asked one by one, whatever the number of points."""
    rng = np.random.default_rng(0)
    places = rng.uniform(0, 2000, (300, 2))
    field = ThicknessMap(gauged(made_field(0, places), places))
    many = rng.uniform(0, 2000, (9000, 2))  # 300 × 9000 covariances: two blocks
    whole = field.mean(many)
    assert np.allclose(whole[[0, 6665, 6667, 8999]], field.mean(many[[0, 6665, 6667, 8999]]))
    assert field.mean(np.empty((0, 2))).shape == (0,)
