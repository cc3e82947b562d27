"""Overlaps against shapely, on random shapes."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, affinity

from nest.place import shapes
from nest.place.kernels import layout
from tests.stars import valid_star, worker_of


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
        layout.put_all(poses, *worker.memory)
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


def test_depth_of_convex_shapes_is_the_least_translation_apart() -> None:
    """Known value: squares of side 10 shifted by (7, 2) are 3 apart along x."""
    square = np.array([[-5, -5], [5, -5], [5, 5], [-5, 5]], float)
    worker = worker_of([shapes.Shape(square, (0.0,))], [0, 0], box=(-50, -50, 50, 50), exact=True)
    layout.put_all(np.array([[0, 0, 0, 0], [7, 2, 0, 0]], float), *worker.memory)
    assert worker.overlaps[0, 1] == pytest.approx(3.0 * 10.0)  # times both sizes, √10 each
