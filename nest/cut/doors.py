"""Compiled search for the order of parts, each begun and left at one of a few doors.

Plain arrays and scalars; nothing here raises. ``d`` is a :class:`Doors`, arrays named once:

    come (e, 2)      where the entries are, mm; those of part p are efirst[p] .. efirst[p+1]
    gone (x, 2)      where the exits are; those of part p are xfirst[p] .. xfirst[p+1]
    inside           travel from entry i to exit j of part p: inside[tfirst[p] + i·exits + j]
    near (p, c)      parts near a part
    rules (r, 2)     parts (before, after), the first enclosed by a cut of the second
    start (2,)       where the tool stands before and after

For an order of parts, ``ahead[a]`` holds the least travel from the start up to each exit of the
part at place a, ``after[a]`` that from each of its entries to the end. A change of the order
between two places is then judged by what lies between these only.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hides.outline import FloatArray

IntArray = NDArray[np.int64]

LEAST = 1e-7  # mm; smaller gains are rounding


class Doors(NamedTuple):
    """Where parts may be begun and left, and the travel inside between the two."""

    come: FloatArray
    gone: FloatArray
    efirst: IntArray
    xfirst: IntArray
    inside: FloatArray
    tfirst: IntArray
    near: IntArray
    rules: IntArray
    start: FloatArray


@njit(cache=True)
def step_on(d, p, before, q, into):
    """Travel up to the exits of part q (``into``) from that up to those of p; p < 0: the start."""
    count = d.xfirst[q + 1] - d.xfirst[q]
    for j in range(count):
        into[j] = np.inf
    for i in range(d.efirst[q + 1] - d.efirst[q]):
        x, y = d.come[d.efirst[q] + i]
        best = np.inf
        if p < 0:
            best = np.sqrt((d.start[0] - x) ** 2 + (d.start[1] - y) ** 2)
        else:
            for k in range(d.xfirst[p + 1] - d.xfirst[p]):
                u, v = d.gone[d.xfirst[p] + k]
                best = min(best, before[k] + np.sqrt((u - x) ** 2 + (v - y) ** 2))
        row = d.tfirst[q] + i * count
        for j in range(count):
            into[j] = min(into[j], best + d.inside[row + j])


@njit(cache=True)
def join(d, p, before, q, after):
    """Least travel of the whole, from that up to the exits of p and that from the entries of q."""
    best = np.inf
    for k in range(d.xfirst[p + 1] - d.xfirst[p]):
        u, v = d.gone[d.xfirst[p] + k]
        if q < 0:
            best = min(best, before[k] + np.sqrt((u - d.start[0]) ** 2 + (v - d.start[1]) ** 2))
            continue
        for i in range(d.efirst[q + 1] - d.efirst[q]):
            x, y = d.come[d.efirst[q] + i]
            best = min(best, before[k] + np.sqrt((u - x) ** 2 + (v - y) ** 2) + after[i])
    return best


@njit(cache=True)
def step_back(d, p, q, after, into):
    """Travel from the entries of part p (``into``) from that of part q; q < 0: the start."""
    count = d.xfirst[p + 1] - d.xfirst[p]
    for i in range(d.efirst[p + 1] - d.efirst[p]):
        into[i] = np.inf
    for j in range(count):
        u, v = d.gone[d.xfirst[p] + j]
        best = np.inf
        if q < 0:
            best = np.sqrt((u - d.start[0]) ** 2 + (v - d.start[1]) ** 2)
        else:
            for i in range(d.efirst[q + 1] - d.efirst[q]):
                x, y = d.come[d.efirst[q] + i]
                best = min(best, np.sqrt((u - x) ** 2 + (v - y) ** 2) + after[i])
        for i in range(d.efirst[p + 1] - d.efirst[p]):
            into[i] = min(into[i], d.inside[d.tfirst[p] + i * count + j] + best)


@njit(cache=True)
def forth(d, order, ahead, first):
    """Fill ``ahead`` from a place on."""
    for a in range(first, len(order)):
        p = order[a - 1] if a > 0 else -1
        step_on(d, p, ahead[a - 1], order[a], ahead[a])


@njit(cache=True)
def back(d, order, after, last):
    """Fill ``after`` from a place down."""
    n = len(order)
    for a in range(last, -1, -1):
        q = order[a + 1] if a + 1 < n else -1
        step_back(d, order[a], q, after[min(a + 1, n - 1)], after[a])


@njit(cache=True)
def judged(d, order, lo, hi, ahead, after, one, two):
    """Travel of an order that differs from the known one between two places."""
    n = len(order)
    p, before = -1, ahead[0]
    if lo > 0:
        p, before = order[lo - 1], ahead[lo - 1]
    for a in range(lo, hi + 1):
        step_on(d, p, before, order[a], one)
        p, before = order[a], one
        one, two = two, one
    q = order[hi + 1] if hi + 1 < n else -1
    return join(d, p, before, q, after[min(hi + 1, n - 1)])


@njit(cache=True)
def allowed(row, rules):
    """Whether every part that is enclosed comes before the other."""
    if len(rules) == 0:
        return True
    at = np.empty(len(row), np.int64)
    for a in range(len(row)):
        at[row[a]] = a
    return np.all(at[rules[:, 0]] <= at[rules[:, 1]])


@njit(cache=True)
def moved(order, at, near, row):
    """Change ``row``, a copy of the order: a short run goes beside a near part, or the stretch
    from one to the other is turned round. Returns the places between which it differs."""
    n = len(order)
    i = np.random.randint(n)
    c = at[near[order[i], np.random.randint(near.shape[1])]]
    if np.random.randint(3) == 0:
        lo, hi = (i + 1, c) if i < c else (c, i - 1)
        row[lo : hi + 1] = order[lo : hi + 1][::-1]
        return lo, hi
    j = min(i + np.random.randint(1, 4), n)
    if i <= c < j:
        return 0, -1
    c += np.random.randint(2)
    turned = np.random.randint(2) == 0
    if c >= j:
        row[i : i + c - j] = order[j:c]
        row[i + c - j : c] = order[i:j][::-1] if turned else order[i:j]
        return i, c - 1
    row[c : c + j - i] = order[i:j][::-1] if turned else order[i:j]
    row[c + j - i : j] = order[c:i]
    return c, j - 1


@njit(cache=True)
def anneal(d, order, rounds, heat, seed):
    """Change the order ``rounds`` times; longer ones are kept for a while, from ``heat`` mm down.

    Simulated annealing (Kirkpatrick, Gelatt & Vecchi 1983, Science 220, 671-680; from memory).
    The best order met is left in ``order``; returns its travel.
    """
    np.random.seed(seed)
    n = len(order)
    wide = max(np.max(np.diff(d.efirst)), np.max(np.diff(d.xfirst)))
    ahead, after = np.empty((n, wide)), np.empty((n, wide))
    one, two = np.empty(wide), np.empty(wide)
    forth(d, order, ahead, 0)
    back(d, order, after, n - 1)
    now = join(d, order[n - 1], ahead[n - 1], -1, after[0])
    best, held = now, order.copy()
    row, at = order.copy(), np.empty(n, np.int64)
    for a in range(n):
        at[order[a]] = a
    for r in range(rounds):
        warmth = heat * (1.0 - r / rounds) ** 2
        lo, hi = moved(order, at, d.near, row)
        if hi < lo:
            continue
        new = np.inf
        if allowed(row, d.rules):
            new = judged(d, row, lo, hi, ahead, after, one, two)
        if new < now - LEAST - warmth * np.log(1.0 - np.random.random()):
            now = new
            order[lo : hi + 1] = row[lo : hi + 1]
            for a in range(lo, hi + 1):
                at[order[a]] = a
            forth(d, order, ahead, lo)
            back(d, order, after, hi)
            if now < best - LEAST:
                best = now
                held[:] = order
        else:
            row[lo : hi + 1] = order[lo : hi + 1]
    order[:] = held
    return best


@njit(cache=True)
def doors_of(d, order):
    """Entry and exit of each part, (p, 2), for the least travel of an order."""
    n = len(order)
    wide = max(np.max(np.diff(d.efirst)), np.max(np.diff(d.xfirst)))
    after = np.empty((n, wide))
    back(d, order, after, n - 1)
    taken = np.zeros((n, 2), np.int64)
    x, y = d.start
    for a in range(n):
        p = order[a]
        entries = d.come[d.efirst[p] : d.efirst[p + 1]]
        here = np.sqrt((entries[:, 0] - x) ** 2 + (entries[:, 1] - y) ** 2)
        i = np.argmin(here + after[a, : len(entries)])
        count = d.xfirst[p + 1] - d.xfirst[p]
        best, at = np.inf, 0
        for j in range(count):
            u, v = d.gone[d.xfirst[p] + j]
            on = np.sqrt((u - d.start[0]) ** 2 + (v - d.start[1]) ** 2)
            if a + 1 < n:
                q = order[a + 1]
                on = np.inf
                for k in range(d.efirst[q + 1] - d.efirst[q]):
                    s, t = d.come[d.efirst[q] + k]
                    on = min(on, np.sqrt((u - s) ** 2 + (v - t) ** 2) + after[a + 1, k])
            c = d.inside[d.tfirst[p] + i * count + j] + on
            if c < best:
                best, at = c, j
        taken[p, 0], taken[p, 1] = i, at
        x, y = d.gone[d.xfirst[p] + at]
    return taken
