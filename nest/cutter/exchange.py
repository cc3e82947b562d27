"""Exchange: compiled search for a short order of rows, each drawn in one of two ways.

A row is a contour, or a part with all that is in it; way ``2·k`` draws row k as it is, ``2·k + 1``
turned round, so ``way ^ 1`` is the same row the other way round. Nothing here raises. Arrays:

    begin, end (2n, 2)  where each way begins and ends, mm
    inside (2n,)        travel inside each way, mm
    row (n,)            ways in the order they are drawn; the first and the last stay
    rules (r, 2)        pairs of rows (before, after), by index
"""

import numpy as np

from nest.compiled import kernel

LEAST = 1e-6  # mm; smaller gains are rounding


@kernel
def hop(begin, end, a, b):
    """Travel from the end of way a to the beginning of way b, mm."""
    return np.sqrt((end[a, 0] - begin[b, 0]) ** 2 + (end[a, 1] - begin[b, 1]) ** 2)


@kernel
def best_exchange(begin, end, inside, row, i):
    """The best that can be done with a run of rows that begins at place i: up to, where, turned.

    The run is turned round where it is (2-opt), or put before the row at another place as it is
    or turned round (or-opt). Place -1 where nothing saves. ``turning`` is what is travelled more,
    mm, inside the run when it is turned round; it grows with the run.
    """
    best, last, where, turned = LEAST, -1, -1, False
    before, first, turning = row[i - 1], row[i], 0.0
    for j in range(i, len(row) - 1):
        foot, after = row[j], row[j + 1]
        turning += inside[foot ^ 1] - inside[foot]
        if j > i:
            turning += hop(begin, end, foot ^ 1, row[j - 1] ^ 1) - hop(begin, end, row[j - 1], foot)
        old = hop(begin, end, before, first) + hop(begin, end, foot, after)
        new = hop(begin, end, before, foot ^ 1) + hop(begin, end, first ^ 1, after)
        if old - new - turning > best:
            best, last, where, turned = old - new - turning, j, i, True
        saved = old - hop(begin, end, before, after)
        if saved - min(turning, 0.0) <= best:
            continue
        for k in range(1, len(row)):
            if i <= k <= j + 1:
                continue
            p, q = row[k - 1], row[k]
            room = saved + hop(begin, end, p, q)
            gain = room - hop(begin, end, p, first) - hop(begin, end, foot, q)
            if gain > best:
                best, last, where, turned = gain, j, k, False
            gain = room - hop(begin, end, p, foot ^ 1) - hop(begin, end, first ^ 1, q) - turning
            if gain > best:
                best, last, where, turned = gain, j, k, True
    return last, where, turned


@kernel
def put(row, i, j, k, turned):
    """Put the run from place i to j before place k, turned round or not."""
    run, size = row[i : j + 1].copy(), j + 1 - i
    for a in range(i - 1, k - 1, -1):
        row[a + size] = row[a]
    for a in range(j + 1, k):
        row[a - size] = row[a]
    first = k if k <= i else k - size
    for a in range(size):
        row[first + a] = run[size - 1 - a] ^ 1 if turned else run[a]


@kernel
def kept(row, rules):
    """Whether every row that must be first of two comes before the other."""
    at = np.empty(len(row), np.int64)
    for place, way in enumerate(row):
        at[way >> 1] = place
    return np.all(at[rules[:, 0]] < at[rules[:, 1]])


@kernel
def shorten(begin, end, inside, row, rules):
    """Change ``row`` in place until no exchange that keeps the rules saves anything more."""
    better = True
    while better:
        better = False
        for i in range(1, len(row) - 1):
            last, where, turned = best_exchange(begin, end, inside, row, i)
            if last < 0:
                continue
            held = row.copy()
            put(row, i, last, where, turned)
            if kept(row, rules):
                better = True
                continue
            for a in range(len(row)):
                row[a] = held[a]
