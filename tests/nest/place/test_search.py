"""The search: valid layouts by shapely's judgement, the same for the same seed and effort."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity

from nest.job import Budget
from nest.place import search, shapes


def rectangle(wide: float, high: float) -> np.ndarray:
    return np.array(
        [[-wide / 2, -high / 2], [wide / 2, -high / 2], [wide / 2, high / 2], [-wide / 2, high / 2]]
    )


def placed(outcome: search.Layout, rings: list[np.ndarray]) -> list[Polygon]:
    return [
        affinity.translate(affinity.rotate(Polygon(ring), a, (0, 0), True), x, y)
        for ring, a, (x, y) in zip(rings, outcome.angles, outcome.poses[:, :2], strict=True)
    ]


def strip_of_bricks() -> tuple[shapes.World, list[np.ndarray]]:
    rings = [rectangle(20, 10)] * 4 + [rectangle(10, 10)] * 4
    kinds = [0] * 4 + [1] * 4
    world = shapes.build(
        [shapes.Shape(rings[0], (0.0, 90.0)), shapes.Shape(rings[4], (0.0,))],
        kinds,
        box=(0, 0, 200, 30),
        exact=True,
    )
    return world, rings


def test_bricks_fill_a_strip_completely() -> None:
    """1200 mm² of bricks in a strip 30 high: 40 long is perfect, and is found."""
    world, rings = strip_of_bricks()
    outcome = search.run(world, Budget(effort=0.4), seed=1, good_enough=40.0 + 1e-6)
    assert outcome.conflict == 0
    shapes_ = placed(outcome, rings)
    total = shapely.union_all(shapes_).area
    assert total == pytest.approx(1200, abs=1e-3)  # nothing overlaps
    assert outcome.reach == pytest.approx(40.0, abs=0.3)


def test_same_seed_and_effort_give_the_same_layout_and_trace() -> None:
    """Two runs agree in every pose and every better layout on the way."""
    runs = [search.run(strip_of_bricks()[0], Budget(effort=0.05), seed=3) for _ in range(2)]
    assert np.array_equal(runs[0].poses, runs[1].poses)
    assert [s.reach for s in runs[0].trace] == [s.reach for s in runs[1].trace]


def test_other_seeds_search_elsewhere() -> None:
    """The seed is really used."""
    a, b = (search.run(strip_of_bricks()[0], Budget(effort=0.02), seed=s) for s in (1, 2))
    assert not np.array_equal(a.poses, b.poses)


def test_parts_keep_gap_and_ground_on_a_hide_with_a_hole() -> None:
    """Mixed parts on ground with a hole and a better zone, judged by shapely."""
    hide = shapely.box(0, 0, 500, 300).difference(shapely.Point(150, 150).buffer(30))
    good = hide.intersection(shapely.box(0, 0, 300, 300))
    body = rectangle(120, 60)
    strap = rectangle(100, 8)
    made = [
        shapes.Shape(body, window=15.0, regions=((body, "good"),)),
        shapes.Shape(strap, window=90.0, regions=((strap, "any"),)),
    ]
    kinds = [0] * 5 + [1] * 6
    world = shapes.build(
        made,
        kinds,
        gap=2.0,
        ground={"good": shapes.shrunk(good), "any": shapes.shrunk(hide)},
        box=hide.bounds,
    )
    outcome = search.run(world, Budget(effort=0.1), seed=1)
    assert outcome.conflict == 0
    parts = placed(outcome, [made[kind].points for kind in kinds])
    for i, part in enumerate(parts):
        assert (good if kinds[i] == 0 else hide).contains(part)
        assert all(part.distance(other) >= 2.0 for other in parts[:i])
    turn = np.rad2deg(outcome.angles[:5]) % 180
    assert np.all(np.minimum(turn, 180 - turn) <= 15.001)


def test_what_cannot_fit_is_reported_with_the_parts_in_conflict() -> None:
    """Two squares of 60 in a box of 100 × 70: never valid, and both are named."""
    square = rectangle(60, 60)
    ground = shapely.box(0, 0, 100, 70)
    world = shapes.build(
        [shapes.Shape(square, window=5.0, regions=((square, "g"),))],
        [0, 0],
        ground={"g": ground},
        box=ground.bounds,
    )
    outcome = search.run(world, Budget(effort=0.02), seed=1)
    assert outcome.conflict > 0
    assert set(outcome.culprits) <= {0, 1}
    assert outcome.culprits


def test_stop_keeps_the_best_so_far() -> None:
    """Stopping at once still returns the first layout."""
    world, rings = strip_of_bricks()
    outcome = search.run(world, Budget(seconds=60), seed=1, stop=lambda: True)
    assert outcome.conflict == 0
    assert shapely.union_all(placed(outcome, rings)).area == pytest.approx(1200, abs=1e-3)


def test_a_search_goes_on_from_an_earlier_layout_and_is_never_worse() -> None:
    world, _ = strip_of_bricks()
    earlier = search.run(world, Budget(effort=0.05), seed=3)
    same = search.run(world, Budget(effort=1e-9), seed=4, begin=earlier.poses)
    assert same.reach == earlier.reach
    assert same.conflict == 0
    assert (
        search.run(world, Budget(effort=0.02), seed=4, begin=earlier.poses).reach <= earlier.reach
    )


def test_a_search_without_a_valid_layout_gives_up_when_told_to() -> None:
    """Three squares of 60 in a box of 100: never valid, so the share of the budget decides."""
    ring = rectangle(60.0, 60.0)
    shape = shapes.Shape(ring, (0.0,))
    world = shapes.build([shape], [0, 0, 0], box=(0, 0, 100, 100), exact=True)
    whole = search.run(world, Budget(effort=0.2))
    early = search.run(world, Budget(effort=0.2), give_up=0.25)
    assert whole.conflict > 0 < early.conflict
    assert early.work < 0.6 * whole.work


def test_better_layouts_are_reported_in_falling_order() -> None:
    """An observer sees each gain once."""
    seen: list[search.Step] = []
    search.run(strip_of_bricks()[0], Budget(effort=0.05), seed=1, observer=seen.append)
    reaches = [step.reach for step in seen if step.valid]
    assert reaches == sorted(reaches, reverse=True)
    assert len(reaches) >= 1


def test_what_two_workers_do_does_not_depend_on_which_is_faster() -> None:
    """Ten jobs whose workers meet often, each run twice: the same layout."""
    rng = np.random.default_rng(11)
    for seed in range(10):
        rings = [rectangle(*rng.uniform(8, 30, 2)) for _ in range(8)]
        made = [shapes.Shape(ring, (0.0, 90.0)) for ring in rings]

        def poses(made=made, seed=seed) -> np.ndarray:
            world = shapes.build(made, range(8), box=(0, 0, 300, 40), exact=True)
            return search.run(world, Budget(effort=0.03), seed=seed).poses

        assert np.array_equal(poses(), poses())


def test_a_layout_that_gains_no_more_is_shaken_and_the_best_is_kept() -> None:
    """Shaking moves parts about and drops none; the best layout stays valid, never worse."""
    worker = search.Worker(strip_of_bricks()[0], 5, search.Tuning(patience=20))
    while worker.best.conflict > 0:
        worker.start(200)
    shaken = went_on = 0
    for _ in range(3000):
        before, waiting = worker.best.reach, worker.shaken
        worker.explore(20_000)
        assert worker.best.conflict == 0
        assert worker.best.reach <= before + 1e-9
        if worker.shaken and worker.shaken is not waiting:
            shaken += 1
            assert worker.shaken.poses.shape == worker.best.poses.shape
            assert not np.array_equal(worker.shaken.poses, worker.best.poses)
            assert worker.shaken.reach > worker.best.reach
        went_on += waiting is not None and worker.shaken is None
        if shaken > 20 and went_on > 5:
            break
    assert shaken > 20 and went_on > 5  # some come to a valid layout again
    assert worker.judged(worker.best.poses)[1].sum() == 0


def test_a_patient_worker_gives_attempts_that_come_to_nothing_more_time() -> None:
    """It never shakes; the work of a failed attempt grows with its patience, up to a limit."""
    tuning = search.Tuning(patience=10, depth=8)
    worker = search.Worker(strip_of_bricks()[0], 5, tuning, patient=True)
    while worker.best.conflict > 0:
        worker.start(200)
    spent: dict[int, list[int]] = {}
    for _ in range(3000):
        depth, before, failed = worker.depth, worker.count, worker.failed
        worker.explore(10**9)  # one attempt, from beginning to end
        assert worker.shaken is None
        assert worker.best.conflict == 0
        if worker.failed == failed + 1:
            spent.setdefault(depth, []).append(worker.count - before)
        if len(spent.get(8, [])) > 10:
            break
    assert list(spent) == [1, 2, 4, 8]
    assert np.median(spent[8]) > 2 * np.median(spent[1])
