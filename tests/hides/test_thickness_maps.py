"""Thickness from few readings: against a general-purpose library, on made-up sides, and where
to gauge next.

The formulas themselves, zones, chances and surprises have their tests in
tests/hides/test_hide_thickness.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import box
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Matern

from hides.errors import InputError
from hides.thickness import (
    BELLY_DROP,
    GAUGE_NOISE,
    LEVEL_DOUBT,
    NECK_DROP,
    SLOPE_DOUBT,
    THROAT,
    Need,
    Reading,
    Regions,
    ThicknessMap,
    Zone,
    suggest,
)
from hides.units import THICKEST
from tests.bench import thickness as bench

SIDE = Regions(0.0, 2200.0, 950.0)
LEATHER = box(0, 0, 2200, 950)
RNG = np.random.default_rng(11)
SPOTS = RNG.uniform((50, 50), (2150, 900), (18, 2))
GAUGED = bench.gauged(bench.Field(3), SPOTS, RNG)


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
    asked = RNG.uniform((-100, -100), (2300, 1050), (200, 2))
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
    points = RNG.uniform(hide.outline.bounds[:2], hide.outline.bounds[2:], (4000, 2))
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
    assert [row.split()[:2] for row in rows] == [
        ["6", "spread"], ["8", "spread"], ["6", "asked"], ["8", "asked"],
    ]  # fmt: skip
    for row in rows:
        shares = [float(cell.rstrip("%")) for cell in row.split()[4:]]
        assert all(0 <= share <= 100 for share in shares)
