"""Moving all parts at once: what overlaps comes apart, what is loose is drawn in, exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from shapely import Polygon, affinity, box
from shapely.ops import unary_union

from nest.job import Budget
from nest.place import search, shapes
from nest.place.compact import Compaction
from nest.place.search import Tuning, Worker
from nest.place.shapes import Shape, World

SQUARE = np.array([[-5.0, -5.0], [5.0, -5.0], [5.0, 5.0], [-5.0, 5.0]])
BEAM = np.array([[-20.0, -2.0], [20.0, -2.0], [20.0, 2.0], [-20.0, 2.0]])
HOOK = np.array(
    [[-10.0, -10.0], [10.0, -10.0], [10.0, -4.0], [-4.0, -4.0], [-4.0, 10.0], [-10.0, 10.0]]
)


def strip(points: np.ndarray, count: int, height: float, *, turns: bool = False) -> World:
    shape = Shape(points, None if turns else (0.0,), window=10.0)
    return shapes.build([shape], [0] * count, box=(0, 0, 400, height), exact=True)


def compaction(world: World) -> Compaction:
    return Worker(world, 1, Tuning()).compact


def poses(*places: Sequence[float]) -> np.ndarray:
    rows = np.zeros((len(places), 4))
    for row, place in zip(rows, places, strict=True):
        row[: len(place)] = place
    return rows


def drawn(points: np.ndarray, rows: np.ndarray) -> list[Polygon]:
    """Parts in place, by shapely; without a field of stretch the angle is the turn."""
    return [
        affinity.translate(
            affinity.rotate(Polygon(points), turn + flip * np.pi, (0, 0), use_radians=True), x, y
        )
        for x, y, turn, flip in rows
    ]


def test_a_row_that_fits_to_a_hair_comes_apart_at_once():
    """Four squares in a wall-to-wall column of their height: no single one of them can move."""
    world = strip(SQUARE, 4, 40.0)
    found = compaction(world)(poses((5.2, 5.0), (5.0, 14.8), (5.1, 25.1), (5.0, 35.0)), np.inf)
    assert found is not None
    parts = drawn(SQUARE, found[0])
    assert found[1] == pytest.approx(10.0, abs=1e-6)
    assert unary_union(parts).area == pytest.approx(400.0, abs=1e-3)  # no overlap is left


def test_loose_parts_are_drawn_in_to_the_least_length():
    """Nothing else moves a chain of parts together than moving all of it; 3 x 10 mm is least."""
    world = strip(SQUARE, 3, 10.0)
    start = poses((5.1, 5.0), (15.5, 5.0), (25.8, 5.0))
    found = compaction(world)(start, np.inf)
    assert found is not None
    assert found[1] == pytest.approx(30.0, abs=1e-5)


def test_a_layout_without_any_gain_is_none():
    """What reaches no less far than asked is no find."""
    world = strip(SQUARE, 1, 10.0)
    assert compaction(world)(poses((5.0, 5.0)), 10.0) is None


def test_what_cant_come_apart_is_none():
    """Five squares in a column of four need more room than small moves can give."""
    world = strip(SQUARE, 5, 40.0)
    rows = poses((5, 5), (5, 13), (5, 20), (5, 27), (5, 35))
    assert compaction(world)(rows, 10.5) is None


def test_beams_turn_within_their_window_and_not_beyond():
    """Askew beams lie straight after compaction; the turn is kept within ±10°."""
    world = strip(BEAM, 3, 60.0, turns=True)
    start = poses((21.5, 10.0, 0.15), (21.5, 25.0, -0.12), (21.5, 40.0, 0.1))
    found = compaction(world)(start, np.inf)
    assert found is not None
    parts = drawn(BEAM, found[0])
    assert found[1] == pytest.approx(max(part.bounds[2] for part in parts), abs=1e-6)
    assert found[1] < reach_of(world, start)
    assert np.all(np.abs(found[0][:, 2]) <= np.deg2rad(10.0) + 1e-9)


def reach_of(world: World, start: np.ndarray) -> float:
    """How far the start reaches."""
    return max(part.bounds[2] for part in drawn(BEAM, start))


@pytest.mark.parametrize("seed", range(12))
def test_what_is_found_is_valid_by_shapely(seed):
    """Random scatterings of hooks, which overlap or not: a find overlaps nowhere and fits."""
    random = np.random.default_rng(seed)
    turns = seed % 2 == 1
    world = strip(HOOK, 6, 60.0, turns=turns)
    worker = Worker(world, seed, Tuning())
    worker.start(30)
    while worker.best.conflict > 0:
        worker.repair(20_000)
    start = worker.best.poses + random.normal(0.0, 0.3, (6, 4)) * [1, 1, 0, 0]
    found = worker.compact(start, np.inf)
    if found is None:  # pushed too deep into each other; from the layout itself it must do
        found = worker.compact(worker.best.poses, np.inf)
    assert found is not None
    parts = drawn(HOOK, found[0])
    whole = unary_union(parts)
    assert whole.area == pytest.approx(6 * Polygon(HOOK).area, rel=1e-6)
    assert box(-1e-6, -1e-6, found[1] + 1e-6, 60.0 + 1e-6).covers(whole)


def test_compacted_layouts_on_ground_stay_on_it():
    """A hide-like ground with a hole: regions stay inside, as shapely sees it."""
    ground = box(0, 0, 200, 80).difference(box(60, 20, 90, 50))
    shape = Shape(HOOK, None, window=15.0, regions=((HOOK, "sound"),))
    world = shapes.build([shape], [0] * 8, ground={"sound": ground}, box=(0, 0, 200, 80))
    outcome = search.run(world, Budget(effort=0.02), seed=3)
    assert outcome.conflict <= 0
    found = compaction(world)(outcome.poses, np.inf)
    assert found is not None
    assert found[1] <= outcome.reach + 1e-9
    for part in drawn(HOOK, found[0]):
        assert ground.buffer(1e-6).covers(part)
