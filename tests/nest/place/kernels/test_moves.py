"""What a move is said to cost against what it comes to."""

from __future__ import annotations

import numpy as np
import pytest

from nest.place import shapes
from nest.place.kernels import layout, memory
from nest.place.kernels.moves import cost_at, look_around, look_near
from tests.stars import valid_star, worker_of


@pytest.mark.parametrize("listed", [True, False])
def test_cost_of_a_pose_is_what_it_comes_to_once_the_part_is_there(listed: bool) -> None:
    """Among the parts around, and among those near only, whatever the candidate pose is."""
    rng = np.random.default_rng(19)
    rings = [valid_star(rng) for _ in range(5)]
    angles = (0.0, 180.0) if listed else None
    made = [shapes.Shape(ring, angles, window=180.0) for ring in rings]
    worker = worker_of(made, range(5), box=(-300, -300, 300, 300), exact=True)
    start = worker.world.shared[0][memory.AT_PAIR_WEIGHTS]
    weights = rng.uniform(1, 3, (5, 5))
    worker.state[start : start + 25] = (weights + weights.T).ravel()
    poses = np.column_stack([rng.uniform(-60, 60, (5, 2)), np.zeros(5), rng.integers(2, size=5)])
    layout.put_all(poses, *worker.memory)
    ints, floats, _, state = worker.memory
    look_around(2, ints, floats, state)
    for step in range(200):
        if listed and step % 50 == 25:  # from here on only what is near this pose is looked at
            look_near(
                2, *poses[2, [0, 1, 3]], 20.0, worker.memory[0], worker.memory[1], worker.state
            )
        new = poses.copy()
        new[2, :2] += rng.uniform(-40, 40, 2)
        new[2, 3] = poses[2, 3] if listed else rng.integers(2)
        cost = cost_at(2, *new[2], 1e300, *worker.memory)
        layout.put_all(new, *worker.memory)
        wanted = float((worker.overlaps[2] * (weights + weights.T)[2]).sum())
        assert cost == pytest.approx(wanted, rel=1e-9, abs=1e-9)
        layout.put_all(poses, *worker.memory)
