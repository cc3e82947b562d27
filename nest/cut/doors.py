"""Compiled search for the order of parts, each begun and left at one of a few doors.

Plain arrays and scalars; nothing here raises. ``d`` is a :class:`Doors`, arrays named once.
Where the tool stands at first and last is one more part, home, with one entry and one exit:

    come (e, 2)      where the entries are, mm; those of part p are efirst[p] .. efirst[p+1]
    gone (x, 2)      where the exits are; those of part p are xfirst[p] .. xfirst[p+1]
    inside           travel from entry i to exit j of part p: inside[tfirst[p] + i·exits + j]
    way              least travel from exit k of part p to exit j of part q, by any entry:
                     way[place(p, q) + k·exits of q + j]
    near (p, c)      parts near a part
    rules (r, 2)     parts (before, after), the first enclosed by a cut of the second

For an order of parts, ``ahead[a]`` holds the least travel from home up to each exit of the part
at place a, ``after[a]`` that from each of its exits to the end. A change of the order between
two places is then judged by what lies between these only. The last row of each is home's and
holds zeros, so that ``ahead[-1]`` is what lies before the first part.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hides.outline import FloatArray

IntArray = NDArray[np.int64]

LEAST = 1e-3  # mm; smaller gains are rounding, as ways are kept in single precision


class Doors(NamedTuple):
    """Where parts may be begun and left, and the travel inside and from one to the next."""

    come: FloatArray
    gone: FloatArray
    efirst: IntArray
    xfirst: IntArray
    inside: FloatArray
    tfirst: IntArray
    way: NDArray[np.float32]
    near: IntArray
    rules: IntArray


@njit(cache=True)
def place(xfirst, p, q):
    """Where the ways from part p to part q begin."""
    return xfirst[p] * xfirst[-1] + (xfirst[p + 1] - xfirst[p]) * xfirst[q]


@njit(cache=True)
def ways_between(come, gone, efirst, xfirst, inside, tfirst):
    """What :class:`Doors` holds as ``way``, of its other arrays."""
    way = np.full(xfirst[-1] ** 2, np.inf, np.float32)
    count = len(efirst) - 1
    for q in range(count):
        wide = xfirst[q + 1] - xfirst[q]
        for p in range(count):
            if p == q:
                continue
            row = place(xfirst, p, q)
            for k in range(xfirst[p], xfirst[p + 1]):
                for i in range(efirst[q], efirst[q + 1]):
                    hop = np.sqrt((gone[k, 0] - come[i, 0]) ** 2 + (gone[k, 1] - come[i, 1]) ** 2)
                    at = tfirst[q] + (i - efirst[q]) * wide
                    for j in range(wide):
                        way[row + j] = min(way[row + j], hop + inside[at + j])
                row += wide
    return way


@njit(cache=True)
def step_on(xfirst, way, p, before, q, into):
    """Travel up to the exits of part q (``into``) from that up to those of p."""
    at, wide = place(xfirst, p, q), xfirst[q + 1] - xfirst[q]
    into[:wide] = np.inf
    for k in range(xfirst[p + 1] - xfirst[p]):
        so_far, row = before[k], way[at : at + wide]
        for j in range(wide):
            into[j] = min(into[j], so_far + row[j])
        at += wide


@njit(cache=True)
def step_back(xfirst, way, p, q, after, into):
    """Travel from the exits of part p (``into``) to the end from that from those of q."""
    at, wide = place(xfirst, p, q), xfirst[q + 1] - xfirst[q]
    for k in range(xfirst[p + 1] - xfirst[p]):
        best = np.float32(np.inf)
        for j in range(wide):
            best = min(best, way[at + j] + after[j])
        into[k] = best
        at += wide


@njit(cache=True)
def forth(xfirst, way, order, ahead, first):
    """Fill ``ahead`` from a place on."""
    home = len(order)
    for a in range(first, len(order)):
        p = order[a - 1] if a > 0 else home
        step_on(xfirst, way, p, ahead[a - 1], order[a], ahead[a])


@njit(cache=True)
def back(xfirst, way, order, after, last):
    """Fill ``after`` from a place down."""
    home = len(order)
    for a in range(last, -1, -1):
        q = order[a + 1] if a + 1 < len(order) else home
        step_back(xfirst, way, order[a], q, after[a + 1], after[a])


@njit(cache=True)
def judged(xfirst, way, order, lo, hi, ahead, after, one, two):
    """Travel of an order that differs from the known one between two places."""
    p, before = len(order), ahead[lo - 1]
    if lo > 0:
        p = order[lo - 1]
    for a in range(lo, hi + 2):
        q = order[a] if a < len(order) else len(order)
        step_on(xfirst, way, p, before, q, one)
        p, before = q, one
        one, two = two, one
    best = np.float32(np.inf)
    for j in range(xfirst[p + 1] - xfirst[p]):
        best = min(best, before[j] + after[hi + 1, j])
    return best


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


@njit(cache=True, nogil=True)
def anneal(d, order, rounds, heat, seed):
    """Change the order ``rounds`` times; longer ones are kept for a while, from ``heat`` mm down.

    Simulated annealing (Kirkpatrick, Gelatt & Vecchi 1983, Science 220, 671-680; from memory).
    The best order met is left in ``order``; returns its travel.
    """
    np.random.seed(seed)
    n = len(order)
    wide = np.max(np.diff(d.xfirst))
    ahead, after = np.zeros((n + 1, wide), np.float32), np.zeros((n + 1, wide), np.float32)
    one, two = np.empty(wide, np.float32), np.empty(wide, np.float32)
    forth(d.xfirst, d.way, order, ahead, 0)
    back(d.xfirst, d.way, order, after, n - 1)
    now = judged(d.xfirst, d.way, order, 0, 0, ahead, after, one, two)
    best, held = now, order.copy()
    row, at = order.copy(), np.empty(n, np.int64)
    for a in range(n):
        at[order[a]] = a
    for r in range(rounds):
        warmth = heat * (1.0 - r / rounds) ** 2
        lo, hi = moved(order, at, d.near, row)
        if hi < lo:
            continue
        new = np.float32(np.inf)
        if allowed(row, d.rules):
            new = judged(d.xfirst, d.way, row, lo, hi, ahead, after, one, two)
        if new < now - LEAST - warmth * np.log(1.0 - np.random.random()):
            now = new
            order[lo : hi + 1] = row[lo : hi + 1]
            for a in range(lo, hi + 1):
                at[order[a]] = a
            forth(d.xfirst, d.way, order, ahead, lo)
            back(d.xfirst, d.way, order, after, hi)
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
    after = np.zeros((n + 1, np.max(np.diff(d.xfirst))), np.float32)
    back(d.xfirst, d.way, order, after, n - 1)
    taken = np.zeros((n, 2), np.int64)
    p, k = n, 0
    for a in range(n):
        q = order[a]
        wide = d.xfirst[q + 1] - d.xfirst[q]
        at = place(d.xfirst, p, q) + k * wide
        j = np.argmin(d.way[at : at + wide] + after[a, :wide])
        x, y = d.gone[d.xfirst[p] + k]
        come = d.come[d.efirst[q] : d.efirst[q + 1]]
        on = d.inside[d.tfirst[q] + j : d.tfirst[q + 1] : wide]
        i = np.argmin(np.sqrt((come[:, 0] - x) ** 2 + (come[:, 1] - y) ** 2) + on)
        taken[q, 0], taken[q, 1] = i, j
        p, k = q, int(j)
    return taken
