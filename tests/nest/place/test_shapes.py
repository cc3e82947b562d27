"""What the search prepares against shapely, on random shapes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon

from nest.place import shapes
from tests.stars import valid_star


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
