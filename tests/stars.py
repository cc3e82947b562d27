"""Random shapes, and a worker whose memory the kernels are tried in."""

from __future__ import annotations

import numpy as np
from shapely import Polygon

from nest.place import shapes
from nest.place.search import Tuning, Worker


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
