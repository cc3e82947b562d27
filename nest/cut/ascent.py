"""Compiled parts of the bound on travel: trees, short hops and subgradient steps.

Plain arrays and scalars; nothing here raises. Nodes, groups and parts are those of
:class:`nest.cut.least.Nodes`. Where the tool stands at first and last is part -1 in words and
the last row and column in matrices. ``pi`` (n,) is the price of each node.

    table, tfirst   distances inside group g: table[tfirst[g] + i·size + j]
    between, bfirst least hops from a group to the next one of its part, in the same way; of the
                    last group of a part there are none
"""

from __future__ import annotations

import numpy as np
from numba import njit

FORCED = -1e7  # mm; the hop along an open stroke, which every tree takes
PAIRS = 6  # short hops kept from a part to a near one
PATIENCE = 12  # steps without a better bound before steps get shorter


@njit(cache=True)
def apart(i, j, spots, sfirst, reach):
    """Least distance of two nodes, wherever each of them is."""
    best = np.inf
    for a in range(sfirst[i], sfirst[i + 1]):
        for b in range(sfirst[j], sfirst[j + 1]):
            d = (spots[a, 0] - spots[b, 0]) ** 2 + (spots[a, 1] - spots[b, 1]) ** 2
            best = min(best, d)
    return max(np.sqrt(best) - reach[i] - reach[j], 0.0)


@njit(cache=True)
def from_point(i, point, spots, sfirst, reach):
    """Least distance of a node from a point."""
    best = np.inf
    for a in range(sfirst[i], sfirst[i + 1]):
        d = (spots[a, 0] - point[0]) ** 2 + (spots[a, 1] - point[1]) ** 2
        best = min(best, d)
    return max(np.sqrt(best) - reach[i], 0.0)


@njit(cache=True)
def tables(gfirst, pfirst, mate, spots, sfirst, reach):
    """Distances inside groups and from each to the next of its part."""
    count = len(gfirst) - 1
    tfirst = np.zeros(count + 1, np.int64)
    bfirst = np.zeros(count + 1, np.int64)
    last = np.zeros(count, np.bool_)
    for p in range(len(pfirst) - 1):
        last[pfirst[p + 1] - 1] = True
    for g in range(count):
        size = gfirst[g + 1] - gfirst[g]
        tfirst[g + 1] = tfirst[g] + size * size
        after = 0 if last[g] else gfirst[g + 2] - gfirst[g + 1]
        bfirst[g + 1] = bfirst[g] + size * after
    table, between = np.zeros(tfirst[count]), np.zeros(bfirst[count])
    for g in range(count):
        size = gfirst[g + 1] - gfirst[g]
        for i in range(size):
            for j in range(i):
                a, b = gfirst[g] + i, gfirst[g] + j
                d = FORCED if mate[a] == b else apart(a, b, spots, sfirst, reach)
                table[tfirst[g] + i * size + j] = d
                table[tfirst[g] + j * size + i] = d
        if not last[g]:
            after = gfirst[g + 2] - gfirst[g + 1]
            for i in range(size):
                for j in range(after):
                    between[bfirst[g] + i * after + j] = apart(
                        gfirst[g] + i, gfirst[g + 1] + j, spots, sfirst, reach
                    )
    return table, tfirst, between, bfirst


@njit(cache=True)
def tree(lo, size, pi, table, at, degree):
    """Cost of the least spanning tree of a group, forced hops costing their prices only."""
    near = np.full(size, np.inf)
    source = np.zeros(size, np.int64)
    done = np.zeros(size, np.bool_)
    total, here = 0.0, 0
    for _ in range(size - 1):
        done[here] = True
        best, nearest = np.inf, -1
        row = at + here * size
        for j in range(size):
            if not done[j]:
                d = table[row + j] + pi[lo + here] + pi[lo + j]
                if d < near[j]:
                    near[j] = d
                    source[j] = here
                if near[j] < best:
                    best, nearest = near[j], j
        forced = table[at + source[nearest] * size + nearest] == FORCED
        total += best - (FORCED if forced else 0.0)
        degree[lo + source[nearest]] += 1
        degree[lo + nearest] += 1
        here = nearest
    return total


@njit(cache=True)
def inner(pi, table, tfirst, between, bfirst, gfirst, pfirst, degree):
    """Cost of all trees and of the least hops between a part's groups; counts degrees."""
    total = 0.0
    for p in range(len(pfirst) - 1):
        for g in range(pfirst[p], pfirst[p + 1]):
            lo, size = gfirst[g], gfirst[g + 1] - gfirst[g]
            total += tree(lo, size, pi, table, tfirst[g], degree)
            if g + 1 < pfirst[p + 1]:
                after = gfirst[g + 2] - gfirst[g + 1]
                best, x, y = np.inf, 0, 0
                for i in range(size):
                    for j in range(after):
                        d = between[bfirst[g] + i * after + j]
                        d += pi[lo + i] + pi[gfirst[g + 1] + j]
                        if d < best:
                            best, x, y = d, lo + i, gfirst[g + 1] + j
                total += best
                degree[x] += 1
                degree[y] += 1
    return total


@njit(cache=True)
def trees(pi, table, tfirst, between, bfirst, gfirst, pfirst):
    """Cost of all that happens inside parts."""
    degree = np.zeros(len(pi))
    return inner(pi, table, tfirst, between, bfirst, gfirst, pfirst, degree)


# --- from part to part ------------------------------------------------------------------------


@njit(cache=True)
def boxes_of(gfirst, pfirst, spots, sfirst, last):
    """(p, 4) boxes around the groups that a part is left from (last) or begun with."""
    count = len(pfirst) - 1
    found = np.empty((count, 4))
    for p in range(count):
        g = pfirst[p + 1] - 1 if last else pfirst[p]
        found[p, 0] = found[p, 1] = np.inf
        found[p, 2] = found[p, 3] = -np.inf
        for s in range(sfirst[gfirst[g]], sfirst[gfirst[g + 1]]):
            for axis in range(2):
                found[p, axis] = min(found[p, axis], spots[s, axis])
                found[p, 2 + axis] = max(found[p, 2 + axis], spots[s, axis])
    return found


@njit(cache=True)
def box_gap(a, b):
    """Distance of two boxes."""
    x = max(0.0, a[0] - b[2], b[0] - a[2])
    y = max(0.0, a[1] - b[3], b[1] - a[3])
    return np.sqrt(x * x + y * y)


@njit(cache=True)
def lowest(lo, hi, pi, reach):
    """The least price of some nodes, their reach taken off."""
    best = np.inf
    for i in range(lo, hi):
        best = min(best, pi[i] - reach[i])
    return best


@njit(cache=True)
def rough_hops(pi, gfirst, pfirst, spots, sfirst, reach, start):
    """(p+1, p+1) costs that no hop from part to part undercuts, by boxes; exact at the start."""
    count = len(pfirst) - 1
    cost = np.full((count + 1, count + 1), np.inf)
    begun = boxes_of(gfirst, pfirst, spots, sfirst, False)
    left = boxes_of(gfirst, pfirst, spots, sfirst, True)
    away, to = np.empty(count), np.empty(count)
    for p in range(count):
        g = pfirst[p + 1] - 1
        away[p] = lowest(gfirst[g], gfirst[g + 1], pi, reach)
        for i in range(gfirst[g], gfirst[g + 1]):
            d = from_point(i, start, spots, sfirst, reach) + pi[i]
            cost[p, count] = min(cost[p, count], d)
        g = pfirst[p]
        to[p] = lowest(gfirst[g], gfirst[g + 1], pi, reach)
        for i in range(gfirst[g], gfirst[g + 1]):
            d = from_point(i, start, spots, sfirst, reach) + pi[i]
            cost[count, p] = min(cost[count, p], d)
    for p in range(count):
        for q in range(count):
            if p != q:
                cost[p, q] = box_gap(left[p], begun[q]) + away[p] + to[q]
    return cost


@njit(cache=True)
def hops(pi, gfirst, pfirst, spots, sfirst, reach, start, near):
    """The same, and exact between near parts."""
    cost = rough_hops(pi, gfirst, pfirst, spots, sfirst, reach, start)
    for p in range(len(pfirst) - 1):
        for q in near[p]:
            for a, b in ((p, q), (q, p)):
                exact = pair_hops(a, b, pi, gfirst, pfirst, spots, sfirst, reach)[0]
                cost[a, b] = exact[0]
    return cost


@njit(cache=True)
def pair_hops(p, q, pi, gfirst, pfirst, spots, sfirst, reach):
    """The cheapest hops from part p to part q: cost with prices, nodes, distance."""
    cost = np.full(PAIRS, np.inf)
    ends = np.zeros((PAIRS, 2), np.int64)
    length = np.zeros(PAIRS)
    g, h = pfirst[p + 1] - 1, pfirst[q]
    for i in range(gfirst[g], gfirst[g + 1]):
        for j in range(gfirst[h], gfirst[h + 1]):
            if pi[i] + pi[j] >= cost[PAIRS - 1]:
                continue
            d = apart(i, j, spots, sfirst, reach)
            c = d + pi[i] + pi[j]
            if c < cost[PAIRS - 1]:
                k = PAIRS - 1
                while k > 0 and cost[k - 1] > c:
                    cost[k], length[k] = cost[k - 1], length[k - 1]
                    ends[k, 0], ends[k, 1] = ends[k - 1, 0], ends[k - 1, 1]
                    k -= 1
                cost[k], length[k] = c, d
                ends[k, 0], ends[k, 1] = i, j
    return cost, ends, length


@njit(cache=True)
def short_hops(pi, gfirst, pfirst, spots, sfirst, reach, start, near):
    """The cheapest hops from each part to near ones and to and from the start, as a list.

    Returns (k, 4) part, part, node, node and (k,) lengths; the start is part and node -1.
    """
    count = len(pfirst) - 1
    rows = np.empty((count * (2 * PAIRS * near.shape[1] + 2 * PAIRS), 4), np.int64)
    length = np.empty(len(rows))
    k = 0
    for p in range(count):
        for q in near[p]:
            for a, b in ((p, q), (q, p)):
                cost, ends, far = pair_hops(a, b, pi, gfirst, pfirst, spots, sfirst, reach)
                for t in range(PAIRS):
                    if cost[t] < np.inf:
                        rows[k, 0], rows[k, 1] = a, b
                        rows[k, 2], rows[k, 3] = ends[t, 0], ends[t, 1]
                        length[k] = far[t]
                        k += 1
        for first in (True, False):
            g = pfirst[p] if first else pfirst[p + 1] - 1
            size = gfirst[g + 1] - gfirst[g]
            far = np.empty(size)
            for i in range(size):
                far[i] = from_point(gfirst[g] + i, start, spots, sfirst, reach)
            for i in np.argsort(far + pi[gfirst[g] : gfirst[g + 1]])[:PAIRS]:
                node = gfirst[g] + i
                rows[k, 0], rows[k, 2] = (-1, -1) if first else (p, node)
                rows[k, 1], rows[k, 3] = (p, node) if first else (-1, -1)
                length[k] = far[i]
                k += 1
    return rows[:k], length[:k]


@njit(cache=True)
def round_of(pi, rows, length, count, degree):
    """A least tree over the parts and the least hops from and to the start; counts their ends."""
    cost = np.full((count + 1, count + 1), np.inf)
    which = np.full((count + 1, count + 1), -1, np.int64)
    for k in range(len(rows)):
        p, q, i, j = rows[k]
        c = length[k]
        c += pi[i] if p >= 0 else 0.0
        c += pi[j] if q >= 0 else 0.0
        if c < cost[p, q]:
            cost[p, q] = c
            which[p, q] = k
    total = 0.0
    near = np.full(count, np.inf)
    chosen = np.full(count, -1, np.int64)
    done = np.zeros(count, np.bool_)
    here = 0
    for _ in range(count - 1):
        done[here] = True
        best, nearest = np.inf, -1
        for q in range(count):
            if not done[q]:
                for a, b in ((here, q), (q, here)):
                    if cost[a, b] < near[q]:
                        near[q] = cost[a, b]
                        chosen[q] = which[a, b]
                if near[q] < best:
                    best, nearest = near[q], q
        if nearest < 0:
            return -np.inf
        total += best
        count_hop(rows[chosen[nearest]], degree)
        here = nearest
    first, last = np.argmin(cost[count, :count]), np.argmin(cost[:count, count])
    count_hop(rows[which[count, first]], degree)
    count_hop(rows[which[last, count]], degree)
    return total + cost[count, first] + cost[last, count]


@njit(cache=True)
def count_hop(row, degree):
    """Count a hop at its ends."""
    if row[0] >= 0:
        degree[row[2]] += 1
    if row[1] >= 0:
        degree[row[3]] += 1


@njit(cache=True)
def climb(pi, pairs, inside, frame, upper, steps, stride):
    """Subgradient steps from some prices of the nodes; returns the best met."""
    rows, length = pairs
    table, tfirst, between, bfirst = inside
    gfirst, pfirst = frame
    count = len(pfirst) - 1
    best, idle = -np.inf, 0
    held, pi = pi.copy(), pi.copy()
    way = np.zeros(len(pi))
    for _ in range(steps):
        slope = np.full(len(pi), -2.0)
        bound = inner(pi, table, tfirst, between, bfirst, gfirst, pfirst, slope)
        bound += round_of(pi, rows, length, count, slope) - 2 * pi.sum()
        if bound > best:
            best, idle = bound, 0
            held[:] = pi
        else:
            idle += 1
            if idle >= PATIENCE:
                stride, idle = 0.7 * stride, 0
        norm = (slope**2).sum()
        if norm == 0.0:
            break
        way = 0.7 * slope + 0.3 * way
        pi += stride * max(upper - bound, 1e-3 * upper) / norm * way
    return held
