"""The angle a pose comes to."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from nest.place import shapes
from nest.place.kernels import layout
from nest.place.kernels.poses import direction as direction_at
from tests.stars import worker_of


def test_window_follows_the_local_direction() -> None:
    """A part with no window lies exactly along or against the direction where it is put."""
    ring = np.array([[-20, -5], [20, -5], [20, 5], [-20, 5]], float)
    ground = shapely.box(0, 0, 500, 300)

    def direction(points: np.ndarray) -> np.ndarray:
        return points[:, 0] * 0.1  # 0 to 50 degrees

    shape = shapes.Shape(ring, axis=30.0, window=0.0, regions=((ring, "g"),))
    worker = worker_of([shape], [0], ground={"g": ground}, box=ground.bounds, direction=direction)
    for flip in (0.0, 1.0):
        layout.put_all(np.array([[200.0, 100.0, 0.0, flip]]), *worker.memory)
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
    told = [np.degrees(direction_at(x, y, ints, floats, world.state)) for x, y in places]
    assert np.abs(told - swings(places)).max() < 0.1
