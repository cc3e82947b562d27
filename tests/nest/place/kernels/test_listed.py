"""Listed angles against the same angles turned freely."""

from __future__ import annotations

import numpy as np
import pytest

from nest.place import shapes
from nest.place.kernels import layout
from nest.place.kernels.listed import overlap_listed
from tests.stars import valid_star, worker_of


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
        layout.put_all(poses, *listed.memory)
        poses[:, 2], poses[:, 3] = np.deg2rad(np.take(angles, which)), 0.0
        layout.put_all(poses, *turned.memory)
        np.testing.assert_allclose(listed.overlaps, turned.overlaps, rtol=1e-9, atol=1e-7)
        a, b = int(which[0]), 3 + int(which[1])
        shift = poses[1, :2] - poses[0, :2]
        full = overlap_listed(a, b, *shift, 1e300, 1e-9, ints, floats)
        limit = full * rng.uniform(0.5, 1.5)
        early = overlap_listed(a, b, *shift, limit, 1e-9, ints, floats)
        assert early > limit if full > limit else early == pytest.approx(full, rel=1e-12)
        met += full > 0
    assert 100 < met < 400
