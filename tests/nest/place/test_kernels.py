"""The compiled loops against shapely, on the same random shapes."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity

from nest.place import kernels as k
from nest.place import shapes
from nest.place.search import Tuning, Worker

DATA = Path(os.environ.get("CROUPON_DATA", "../shared"))


def star(rng: np.random.Generator, corners: int = 9, size: float = 40.0) -> np.ndarray:
    """A random simple polygon, mostly concave, about the origin."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(0.3, 1.0, corners) * size
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def valid_star(rng: np.random.Generator) -> np.ndarray:
    while True:
        ring = star(rng)
        shape = Polygon(ring)
        if shape.is_valid and shape.exterior.is_ccw and shape.area > 100:
            return ring


def worker_of(shape_list, kinds, **world) -> Worker:
    return Worker(shapes.build(shape_list, kinds, **world), 1, Tuning())


def test_convex_pieces_are_convex_and_cover_the_ring_once() -> None:
    """Area adds up, union is the ring, every piece equals its hull."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        ring = valid_star(rng)
        pieces = [Polygon(p) for p in shapes.convex_pieces(ring)]
        assert sum(p.area for p in pieces) == pytest.approx(Polygon(ring).area, rel=1e-9)
        assert shapely.union_all(pieces).symmetric_difference(Polygon(ring)).area < 1e-6
        assert all(p.area == pytest.approx(p.convex_hull.area, rel=1e-9) for p in pieces)


def test_convex_pieces_are_few() -> None:
    """At most two cuts mend a reflex corner (Chazelle & Dobkin 1985), and few need two."""
    rng = np.random.default_rng(6)
    cuts = reflex = 0
    for _ in range(30):
        ring = valid_star(rng)
        turn = np.cross(
            np.c_[ring - np.roll(ring, 1, 0), np.zeros(len(ring))],
            np.c_[np.roll(ring, -1, 0) - ring, np.zeros(len(ring))],
        )[:, 2]
        pieces = len(shapes.convex_pieces(ring))
        assert pieces <= 2 * (turn < 0).sum() + 1
        cuts += pieces - 1
        reflex += (turn < 0).sum()
    assert cuts <= 1.05 * reflex


@pytest.mark.parametrize("by", [0.0, 1.0, 2.5])
def test_grown_contains_the_ring_grown_exactly(by: float) -> None:
    """The gap's promise: search shapes contain the part grown by half the gap."""
    rng = np.random.default_rng(7)
    for _ in range(20):
        ring = valid_star(rng)
        wide = Polygon(shapes.grown(ring, by))
        exact = Polygon(ring).buffer(by, quad_segs=64)
        assert exact.difference(wide).area <= 0.02 * by + 1e-9  # a 64-gon's sagitta, not a hole
        assert wide.area < Polygon(ring).buffer(by + 0.8, join_style="mitre").area


@pytest.mark.parametrize("listed", [True, False])  # half-planes; separating axes
def test_overlap_is_positive_exactly_when_interiors_meet(listed: bool) -> None:
    """2 × 300 random pairs of poses, judged by shapely's intersection area."""
    rng = np.random.default_rng(8)
    angles = (0.0, 90.0, 180.0, 270.0) if listed else None
    rings = [valid_star(rng) for _ in range(6)]
    worker = worker_of(
        [shapes.Shape(ring, angles, window=180.0) for ring in rings],
        range(6),
        box=(-200, -200, 200, 200),
        exact=True,
    )
    met = 0
    for _ in range(300):
        i, j = rng.choice(6, 2, replace=False)
        poses = np.zeros((6, 4))
        poses[:, 0] = 1e4 * (1 + np.arange(6))  # the others are far away
        for part in (i, j):
            turn = 0.0 if listed else rng.uniform(-3, 3)
            poses[part] = [*rng.uniform(-30, 30, 2), turn, rng.integers(4 if listed else 2)]
        k.put_all(poses, *worker.memory)
        over = worker.overlaps[i, j]
        rows = worker._rows()
        placed = [
            affinity.translate(
                affinity.rotate(
                    Polygon(rings[p]), np.arctan2(rows[p, 9], rows[p, 8]), (0, 0), True
                ),
                *poses[p, :2],
            )
            for p in (i, j)
        ]
        area = placed[0].intersection(placed[1]).area
        assert (over > 0) == (area > 1e-6)
        met += over > 0
    assert 50 < met < 290  # both answers were asked for


def test_listed_angles_give_the_sum_that_separating_axes_give() -> None:
    """The index by displacement leaves nothing out: 3 angles, 400 layouts of 4 concave parts.

    Asked for no more than a limit, it never says more unless there is more.
    """
    rng = np.random.default_rng(18)
    rings = [valid_star(rng) for _ in range(4)]
    angles = (0.0, 90.0, 213.0)
    around = {"box": (-200, -200, 200, 200), "exact": True}
    listed = worker_of([shapes.Shape(ring, angles) for ring in rings], range(4), **around)
    turned = worker_of([shapes.Shape(ring, window=180.0) for ring in rings], range(4), **around)
    ints, floats, *_ = listed.memory
    met = 0
    for _ in range(400):
        which = rng.integers(3, size=4)
        poses = np.column_stack([rng.uniform(-30, 30, (4, 2)), np.zeros(4), which])
        k.put_all(poses, *listed.memory)
        poses[:, 2], poses[:, 3] = np.deg2rad(np.take(angles, which)), 0.0
        k.put_all(poses, *turned.memory)
        np.testing.assert_allclose(listed.overlaps, turned.overlaps, rtol=1e-9, atol=1e-7)
        a, b = int(which[0]), 3 + int(which[1])
        shift = poses[1, :2] - poses[0, :2]
        full = k._overlap_listed(a, b, *shift, 1e300, 1e-9, ints, floats)
        limit = full * rng.uniform(0.5, 1.5)
        early = k._overlap_listed(a, b, *shift, limit, 1e-9, ints, floats)
        assert early > limit if full > limit else early == pytest.approx(full, rel=1e-12)
        met += full > 0
    assert 100 < met < 400


@pytest.mark.parametrize("listed", [True, False])
def test_cost_of_a_pose_is_what_it_comes_to_once_the_part_is_there(listed: bool) -> None:
    """Among the parts around, and among those near only, whatever the candidate pose is."""
    rng = np.random.default_rng(19)
    rings = [valid_star(rng) for _ in range(5)]
    angles = (0.0, 180.0) if listed else None
    made = [shapes.Shape(ring, angles, window=180.0) for ring in rings]
    worker = worker_of(made, range(5), box=(-300, -300, 300, 300), exact=True)
    start = worker.world.shared[0][k.AT_PAIR_WEIGHTS]
    weights = rng.uniform(1, 3, (5, 5))
    worker.state[start : start + 25] = (weights + weights.T).ravel()
    poses = np.column_stack([rng.uniform(-60, 60, (5, 2)), np.zeros(5), rng.integers(2, size=5)])
    k.put_all(poses, *worker.memory)
    k.look_around(2, worker.memory[0], worker.memory[1], worker.state)
    for step in range(200):
        if listed and step % 50 == 25:  # from here on only what is near this pose is looked at
            k._look_near(2, poses[2], 20.0, worker.memory[0], worker.memory[1], worker.state)
        new = poses.copy()
        new[2, :2] += rng.uniform(-40, 40, 2)
        new[2, 3] = poses[2, 3] if listed else rng.integers(2)
        cost = k.cost_at(2, *new[2], 1e300, *worker.memory)
        k.put_all(new, *worker.memory)
        wanted = float((worker.overlaps[2] * (weights + weights.T)[2]).sum())
        assert cost == pytest.approx(wanted, rel=1e-9, abs=1e-9)
        k.put_all(poses, *worker.memory)


def test_depth_of_convex_shapes_is_the_least_translation_apart() -> None:
    """Known value: squares of side 10 shifted by (7, 2) are 3 apart along x."""
    square = np.array([[-5, -5], [5, -5], [5, 5], [-5, 5]], float)
    worker = worker_of([shapes.Shape(square, (0.0,))], [0, 0], box=(-50, -50, 50, 50), exact=True)
    k.put_all(np.array([[0, 0, 0, 0], [7, 2, 0, 0]], float), *worker.memory)
    assert worker.overlaps[0, 1] == pytest.approx(3.0 * 10.0)  # times both sizes, √10 each


def test_stray_is_zero_exactly_when_the_region_is_in_its_ground() -> None:
    """400 random poses of a concave part over a ground with a hole and a notch."""
    rng = np.random.default_rng(9)
    ground = (
        shapely.box(0, 0, 600, 400)
        .difference(shapely.Point(300, 200).buffer(35))
        .difference(shapely.box(250, 330, 280, 400))
        .difference(shapely.Point(120, 90).buffer(1.0))
    )
    ring = valid_star(rng)
    shape = shapes.Shape(ring, window=180.0, regions=((ring, "g"),))
    worker = worker_of([shape], [0], ground={"g": ground}, box=ground.bounds)
    region = Polygon(shapes.grown(ring, 0.0))
    inside = refused = 0
    for _ in range(400):
        pose = np.array([[*rng.uniform([0, 0], [600, 400]), rng.uniform(-3, 3), 0.0]])
        k.put_all(pose, *worker.memory)
        row = worker._rows()[0]
        placed = affinity.translate(
            affinity.rotate(region, np.arctan2(row[9], row[8]), (0, 0), True), *pose[0, :2]
        )
        beyond = placed.difference(ground).area
        assert (worker.strays[0] > 0) == (beyond > 1e-3)
        inside += beyond <= 1e-3
        may = k.may_lie(0, pose[0, 0], pose[0, 1], *worker.memory)
        assert may or beyond > 1e-3  # a look at the ground refuses only where none can lie
        refused += not may
    assert 100 < inside < 390
    assert refused > 10


def test_window_follows_the_local_direction() -> None:
    """A part with no window lies exactly along or against the direction where it is put."""
    ring = np.array([[-20, -5], [20, -5], [20, 5], [-20, 5]], float)
    ground = shapely.box(0, 0, 500, 300)

    def direction(points: np.ndarray) -> np.ndarray:
        return points[:, 0] * 0.1  # 0 to 50 degrees

    shape = shapes.Shape(ring, axis=30.0, window=0.0, regions=((ring, "g"),))
    worker = worker_of([shape], [0], ground={"g": ground}, box=ground.bounds, direction=direction)
    for flip in (0.0, 1.0):
        k.put_all(np.array([[200.0, 100.0, 0.0, flip]]), *worker.memory)
        angle, _ = worker.judged(np.array([[200.0, 100.0, 0.0, flip]]))
        assert np.rad2deg(angle[0]) % 360 == pytest.approx((20 - 30 + 180 * flip) % 360, abs=0.05)


def test_small_leather_has_its_stretch_told_finely() -> None:
    """A direction that swings by 30 degrees within 3 cm, on a scrap of 20 cm: right to 0.1."""

    def swings(points: np.ndarray) -> np.ndarray:
        return 15.0 * np.sin(points[:, 0] / 10.0)

    scrap = shapely.box(0, 0, 200, 200)
    rectangle = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 5.0], [0.0, 5.0]])
    part = shapes.Shape(rectangle, regions=((rectangle, "all"),))
    world = shapes.build([part], [0], ground={"all": scrap}, box=scrap.bounds, direction=swings)
    places = np.random.default_rng(2).uniform(5, 195, (500, 2))
    ints, floats, _ = world.shared
    told = [np.degrees(k.direction(x, y, ints, floats, world.state)) for x, y in places]
    assert np.abs(told - swings(places)).max() < 0.1


@pytest.mark.skipif(not (DATA / "esicup/swim.json").exists(), reason="CROUPON_DATA has no esicup")
def test_open_shapes_split_into_few_pieces() -> None:
    """The most ragged of the open instances: far fewer pieces than triangles."""
    for item in json.loads((DATA / "esicup/swim.json").read_text())["items"]:
        ring = shapes.straightened(np.array(item["points"], float))
        assert len(shapes.convex_pieces(ring)) <= max(1, len(ring) // 2)


@pytest.mark.parametrize("seed", range(6))
def test_signs_of_the_distance_grid_are_exact(seed: int) -> None:
    """Against Shapely, node by node: grounds with notches, islands and holes between nodes."""
    rng = np.random.default_rng(seed)
    ground = shapely.box(0, 0, 300, 200)
    for _ in range(25):
        x, y = rng.uniform([0, 0], [300, 200])
        scar = shapely.Point(x, y).buffer(rng.choice([0.5, 3.0, 20.0]))
        ground = ground.difference(scar)
    ground = ground.union(shapely.box(*rng.uniform(305, 310, 2), 330, 330)).buffer(0)
    pad = shapes.PAD
    x, y = np.meshgrid(np.arange(-pad, 331 + pad, shapes.CELL), np.arange(-pad, 331 + pad, 4.0))
    found = shapes._signed_distance(ground, (x, y))
    assert ((found > 0) == shapely.contains_xy(ground, x, y)).all()
    away = shapely.distance(shapely.points(x, y), ground.boundary)
    assert (np.abs(np.abs(found) - away) < 0.83 * shapes.CELL).all()
