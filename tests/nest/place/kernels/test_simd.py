"""Four numbers at a time against numpy, bit for bit."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit

from nest.place.kernels import simd
from nest.place.kernels.simd import (
    at,
    four,
    higher,
    highest,
    less,
    lower,
    lowest,
    same,
    store,
)


@njit
def _every(a, b, out, picked):
    """All that can be done with the fours at 1 in a and at 2 in b."""
    x, y = four(a, 1), four(b, 2)
    store(out, 0, x + y)
    store(out, 4, x - y)
    store(out, 8, x * y)
    store(out, 12, lower(x, y))
    store(out, 16, higher(x, y))
    store(out, 20, 0.1 - x)
    store(out, 24, y * 3.7)
    store(out, 28, same(at(a, 3)))
    picked[0], picked[1] = lowest(x), highest(x)
    return less(x, y)


@pytest.mark.parametrize("seed", range(20))
def test_fours_are_what_numpy_makes_of_each_number(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(2, 9)) * 10.0 ** rng.integers(-9, 9, (2, 9))
    if seed % 2:
        b[2:6] = a[1:5]  # neither less nor greater
    out, picked = np.full(32, np.nan), np.empty(2)
    bits = _every(a, b, out, picked)
    x, y = a[1:5], b[2:6]
    expected = [x + y, x - y, x * y, np.minimum(x, y), np.maximum(x, y)]
    expected += [0.1 - x, y * 3.7, np.full(4, a[3])]
    assert (out == np.concatenate(expected)).all()
    assert bits == sum(1 << i for i in range(simd.LANES) if x[i] < y[i])
    assert picked[0] == x.min()
    assert picked[1] == x.max()


def test_less_leaves_out_what_is_no_number() -> None:
    """As comparisons of IEEE 754 do."""
    a, b = np.array([0.0, np.nan, 1.0, 2.0, -np.inf]), np.array([0.0, 0.0, 5.0, np.nan, 3.0, 0.0])
    assert _every(a, b, np.empty(32), np.empty(2)) == 0b1100


@njit
def _numbers(bits):
    found = []
    while bits > 0:
        found.append(simd.next_of(bits))
        bits &= bits - 1
    return found


@pytest.mark.parametrize("bits", range(1, 1 << simd.LANES))
def test_bits_are_gone_through_from_the_lowest(bits: int) -> None:
    assert _numbers(bits) == [i for i in range(simd.LANES) if bits >> i & 1]
