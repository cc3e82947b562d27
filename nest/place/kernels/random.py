"""The random numbers of all compiled loops."""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel


@kernel
def next_random(R):
    """Uniform in [0, 1): xorshift64* (Marsaglia 2003, Vigna 2016), the same on every machine.

    R (1,) uint64 is the state, a number other than 0.
    """
    x = R[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    R[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@kernel
def shuffle(order, count, R):
    """Put the first ``count`` numbers of ``order`` into a random order (Fisher & Yates 1938)."""
    for k in range(count - 1, 0, -1):
        j = int(next_random(R) * (k + 1))
        order[k], order[j] = order[j], order[k]
