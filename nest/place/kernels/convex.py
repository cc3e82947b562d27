"""Compiled loops that cut a simple ring into few convex pieces.

Fewest pieces without new corners is a known problem with a costly exact answer (Keil 1985);
the best of many random partitions by good diagonals is as small in practice and takes
milliseconds. Arrays only; the caller is :func:`nest.place.shapes.convex_pieces`.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels.random import next_random


@kernel
def _cross(p, a, b, c):
    return (p[b, 0] - p[a, 0]) * (p[c, 1] - p[a, 1]) - (p[b, 1] - p[a, 1]) * (p[c, 0] - p[a, 0])


@kernel
def _inside_corner(p, before, at, after, to):
    """Does the direction at -> to lie strictly inside the corner before, at, after?"""
    if _cross(p, before, at, after) > 0:
        return _cross(p, at, to, before) > 0 and _cross(p, to, at, after) > 0
    return not (_cross(p, at, to, after) >= 0 and _cross(p, to, at, before) >= 0)


@kernel
def _cuts_edge(p, a, b, c, d):
    """Does segment a-b meet segment c-d (touching counts), unless they share an end?"""
    if a in (c, d) or b in (c, d):
        return False
    d1, d2 = _cross(p, a, b, c), _cross(p, a, b, d)
    d3, d4 = _cross(p, c, d, a), _cross(p, c, d, b)
    return min(d1, d2) <= 0.0 <= max(d1, d2) and min(d3, d4) <= 0.0 <= max(d3, d4)


@kernel
def split_convex(p, tolerance, state, starts, members):
    """Cut one simple counter-clockwise ring into convex pieces by diagonals, at random.

    Each cut joins two corners that see each other and prefers one that mends both of them
    (no reflex corner left at either end), then one, then a short one; the choice among
    near equals is random, so that repeated calls give different partitions.

    Parameters: p (n, 2); tolerance, the cross product below which a corner counts as
    straight; state, random state; starts (m + 1,) and members (n * 3,) int64 receive the
    pieces as lists of indices. Returns the number of pieces, or 0 if a ring has no cut.
    """
    n = len(p)
    short = 0.1 / (np.ptp(p[:, 0]) + np.ptp(p[:, 1]))
    stack = np.empty((n, n), np.int64)
    size = np.empty(n, np.int64)
    stack[0, :n] = np.arange(n)
    size[0] = n
    top, pieces, used = 1, 0, 0
    starts[0] = 0
    ring = np.empty(n, np.int64)
    while top > 0:
        top -= 1
        m = size[top]
        ring[:m] = stack[top, :m]
        best, cut_i, cut_j = -1e300, -1, -1
        reflex = 0
        for i in range(m):
            before, at, after = ring[(i + m - 1) % m], ring[i], ring[(i + 1) % m]
            if _cross(p, before, at, after) >= -tolerance:
                continue
            reflex += 1
            for k in range(2, m - 1):
                j = (i + k) % m
                to, tb, ta = ring[j], ring[(j + m - 1) % m], ring[(j + 1) % m]
                if not _inside_corner(p, before, at, after, to):
                    continue
                if not _inside_corner(p, tb, to, ta, at):
                    continue
                mended = 0.0
                if (
                    _cross(p, before, at, to) >= -tolerance
                    and _cross(p, to, at, after) >= -tolerance
                ):
                    mended += 1.0
                if _cross(p, tb, to, ta) < -tolerance and (
                    _cross(p, tb, to, at) >= -tolerance and _cross(p, at, to, ta) >= -tolerance
                ):
                    mended += 1.0
                length = np.hypot(p[to, 0] - p[at, 0], p[to, 1] - p[at, 1])
                score = mended + 0.9 * next_random(state) - short * length
                if score <= best:
                    continue
                seen = True
                for q in range(m):
                    if _cuts_edge(p, at, to, ring[q], ring[(q + 1) % m]):
                        seen = False
                        break
                if seen:
                    best, cut_i, cut_j = score, i, j
        if reflex == 0:
            members[used : used + m] = ring[:m]
            used += m
            pieces += 1
            starts[pieces] = used
            continue
        if cut_i < 0:
            return 0
        lo, hi = min(cut_i, cut_j), max(cut_i, cut_j)
        size[top], size[top + 1] = hi - lo + 1, m - hi + lo + 1
        stack[top, : hi - lo + 1] = ring[lo : hi + 1]
        stack[top + 1, : m - hi] = ring[hi:m]
        stack[top + 1, m - hi : m - hi + lo + 1] = ring[: lo + 1]
        top += 2
    return pieces


@kernel
def fewest_convex(p, tolerance, tries, state, starts, members):
    """The partition with fewest pieces (then fewest corners) of ``tries`` random ones."""
    n = len(p)
    s, m = np.empty(n + 1, np.int64), np.empty(4 * n, np.int64)
    best, best_corners = 0, 0
    for _ in range(tries):
        count = split_convex(p, tolerance, state, s, m)
        if count > 0 and (best == 0 or count < best or (count == best and s[count] < best_corners)):
            best, best_corners = count, s[count]
            starts[: count + 1] = s[: count + 1]
            members[: s[count]] = m[: s[count]]
            if count == 1:
                break
    return best
