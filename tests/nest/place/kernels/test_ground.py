"""Strays against shapely, on random poses."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon, affinity

from nest.place import shapes
from nest.place.kernels import layout
from nest.place.kernels.ground import may_lie
from tests.stars import valid_star, worker_of


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
        layout.put_all(pose, *worker.memory)
        row = worker._rows()[0]
        placed = affinity.translate(
            affinity.rotate(region, np.arctan2(row[9], row[8]), (0, 0), True), *pose[0, :2]
        )
        beyond = placed.difference(ground).area
        assert (worker.strays[0] > 0) == (beyond > 1e-3)
        inside += beyond <= 1e-3
        may = may_lie(0, pose[0, 0], pose[0, 1], *worker.memory)
        assert may or beyond > 1e-3  # a look at the ground refuses only where none can lie
        refused += not may
    assert 100 < inside < 390
    assert refused > 10
