"""Compiled parts of the bound on travel: trees, short hops and subgradient steps.

Plain arrays and scalars; nothing here raises. Nodes, groups and parts are those of
:class:`nest.cut.least.Nodes`. Where the tool stands at first and last is part -1 in words and
the last row and column in matrices. ``pi`` (n,) is the price of each node of a group; ``come``
and ``gone`` (n,) are what a hop from part to part is charged at the node where it ends, and at
the one where it begins.
"""

from __future__ import annotations

import numpy as np
from numba import njit

FORCED = -1e7  # mm; the hop along an open stroke, which every tree takes
PAIRS = 6  # short hops kept from a part to a near one
PATIENCE = 12  # steps without a better bound before steps get shorter, between parts
HASTE = 4  # the same inside groups


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
def table_of(lo, hi, mate, spots, sfirst, reach):
    """Distances of the nodes of a group, (n, n)."""
    table = np.zeros((hi - lo, hi - lo))
    for i in range(lo, hi):
        for j in range(lo, i):
            d = FORCED if mate[i] == j else apart(i, j, spots, sfirst, reach)
            table[i - lo, j - lo] = table[j - lo, i - lo] = d
    return table


@njit(cache=True)
def gaps_of(lo, hi, first, last, spots, sfirst, reach):
    """Distances from the nodes of a group to those of the next, (n, m)."""
    gaps = np.zeros((hi - lo, last - first))
    for i in range(lo, hi):
        for j in range(first, last):
            gaps[i - lo, j - first] = apart(i, j, spots, sfirst, reach)
    return gaps


@njit(cache=True)
def tree(table, pi, degree):
    """Cost of the least spanning tree of a group, each hop with its ends' prices, less all
    prices twice; forced hops cost their prices only. Counts the neighbours of each node."""
    size = len(table)
    near = np.full(size, np.inf)
    source = np.zeros(size, np.int64)
    done = np.zeros(size, np.bool_)
    total, here = -2.0 * pi.sum(), 0
    for _ in range(size - 1):
        done[here] = True
        best, nearest = np.inf, -1
        for j in range(size):
            if not done[j]:
                d = table[here, j] + pi[here] + pi[j]
                if d < near[j]:
                    near[j] = d
                    source[j] = here
                if near[j] < best:
                    best, nearest = near[j], j
        forced = table[source[nearest], nearest] == FORCED
        total += best - (FORCED if forced else 0.0)
        degree[source[nearest]] += 1
        degree[nearest] += 1
        here = nearest
    return total


@njit(cache=True, nogil=True)
def balanced(table, i, j, pi, steps, stride):
    """Prices, found from others, that make the least tree nearly a way from node i to node j."""
    best, idle = -np.inf, 0
    held, pi = pi.copy(), pi.copy()
    way = np.zeros(len(pi))
    for _ in range(steps):
        slope = np.full(len(pi), -2.0)
        slope[i] = slope[j] = -1.0
        bound = tree(table, pi, slope) + pi[i] + pi[j]
        if bound > best:
            best, idle = bound, 0
            held[:] = pi
        else:
            idle += 1
            if idle >= HASTE:
                stride, idle = 0.7 * stride, 0
        norm = np.sqrt((slope**2).sum())
        if norm == 0.0:
            break
        way = 0.7 * slope + 0.3 * way
        pi += stride / norm * way
    return held


@njit(cache=True)
def raised(table, pi, least):
    """Raise what is known of all ways by the least tree with some prices; returns its cost."""
    total = tree(table, pi, np.zeros(len(pi)))
    for i in range(len(pi)):
        for j in range(len(pi)):
            least[i, j] = max(least[i, j], total + pi[i] + pi[j])
    return total


@njit(cache=True)
def least_sum(a, b):
    """c[i, j] = least a[i, k] + b[k, j]."""
    c = np.full((len(a), b.shape[1]), np.inf)
    for i in range(len(a)):
        for k in range(len(b)):
            for j in range(b.shape[1]):
                c[i, j] = min(c[i, j], a[i, k] + b[k, j])
    return c


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
def rough_hops(come, gone, gfirst, pfirst, spots, sfirst, reach, start):
    """(p+1, p+1) costs that no hop from part to part undercuts, by boxes; exact at the start."""
    count = len(pfirst) - 1
    cost = np.full((count + 1, count + 1), np.inf)
    begun = boxes_of(gfirst, pfirst, spots, sfirst, False)
    left = boxes_of(gfirst, pfirst, spots, sfirst, True)
    away, to = np.empty(count), np.empty(count)
    for p in range(count):
        g = pfirst[p + 1] - 1
        away[p] = lowest(gfirst[g], gfirst[g + 1], gone, reach)
        for i in range(gfirst[g], gfirst[g + 1]):
            d = from_point(i, start, spots, sfirst, reach) + gone[i]
            cost[p, count] = min(cost[p, count], d)
        g = pfirst[p]
        to[p] = lowest(gfirst[g], gfirst[g + 1], come, reach)
        for i in range(gfirst[g], gfirst[g + 1]):
            d = from_point(i, start, spots, sfirst, reach) + come[i]
            cost[count, p] = min(cost[count, p], d)
    for p in range(count):
        for q in range(count):
            if p != q:
                cost[p, q] = box_gap(left[p], begun[q]) + away[p] + to[q]
    return cost


@njit(cache=True)
def hops(come, gone, gfirst, pfirst, spots, sfirst, reach, start, near):
    """The same, and exact between near parts."""
    cost = rough_hops(come, gone, gfirst, pfirst, spots, sfirst, reach, start)
    for p in range(len(pfirst) - 1):
        for q in near[p]:
            for a, b in ((p, q), (q, p)):
                exact = pair_hops(a, b, come, gone, gfirst, pfirst, spots, sfirst, reach)[0]
                cost[a, b] = exact[0]
    return cost


@njit(cache=True)
def pair_hops(p, q, come, gone, gfirst, pfirst, spots, sfirst, reach):
    """The cheapest hops from part p to part q: cost with prices, nodes, distance."""
    cost = np.full(PAIRS, np.inf)
    ends = np.zeros((PAIRS, 2), np.int64)
    length = np.zeros(PAIRS)
    g, h = pfirst[p + 1] - 1, pfirst[q]
    for i in range(gfirst[g], gfirst[g + 1]):
        for j in range(gfirst[h], gfirst[h + 1]):
            if gone[i] + come[j] >= cost[PAIRS - 1]:
                continue
            d = apart(i, j, spots, sfirst, reach)
            c = d + gone[i] + come[j]
            if c < cost[PAIRS - 1]:
                k = PAIRS - 1
                while k > 0 and cost[k - 1] > c:
                    cost[k], length[k] = cost[k - 1], length[k - 1]
                    ends[k, 0], ends[k, 1] = ends[k - 1, 0], ends[k - 1, 1]
                    k -= 1
                cost[k], length[k] = c, d
                ends[k, 0], ends[k, 1] = i, j
    return cost, ends, length


@njit(cache=True, nogil=True)
def short_hops(batch, come, gone, gfirst, pfirst, spots, sfirst, reach, start, near):
    """The cheapest hops of some parts (low, high) to and from near ones and the start, as a list.

    Returns (k, 4) part, part, node, node and (k,) lengths; the start is part and node -1.
    """
    low, high = batch
    rows = np.empty(((high - low) * (2 * PAIRS * near.shape[1] + 2 * PAIRS), 4), np.int64)
    length = np.empty(len(rows))
    k = 0
    for p in range(low, high):
        for q in near[p]:
            for a, b in ((p, q), (q, p)):
                cost, ends, far = pair_hops(a, b, come, gone, gfirst, pfirst, spots, sfirst, reach)
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
            price = come if first else gone
            for i in np.argsort(far + price[gfirst[g] : gfirst[g + 1]])[:PAIRS]:
                node = gfirst[g] + i
                rows[k, 0], rows[k, 2] = (-1, -1) if first else (p, node)
                rows[k, 1], rows[k, 3] = (p, node) if first else (-1, -1)
                length[k] = far[i]
                k += 1
    return rows[:k], length[:k]


@njit(cache=True)
def round_of(come, gone, rows, length, count, into, out):
    """A least tree over the parts and the least hops from and to the start; counts their ends."""
    cost = np.full((count + 1, count + 1), np.inf)
    which = np.full((count + 1, count + 1), -1, np.int64)
    for k in range(len(rows)):
        p, q, i, j = rows[k]
        c = length[k]
        c += gone[i] if p >= 0 else 0.0
        c += come[j] if q >= 0 else 0.0
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
        out[rows[chosen[nearest], 2]] += 1
        into[rows[chosen[nearest], 3]] += 1
        here = nearest
    first, last = np.argmin(cost[count, :count]), np.argmin(cost[:count, count])
    into[rows[which[count, first], 3]] += 1
    out[rows[which[last, count], 2]] += 1
    return total + cost[count, first] + cost[last, count]


@njit(cache=True)
def passed(come, gone, inside, gfirst, pfirst, into, out):
    """Cost of the least ways through parts, prices spared; takes their ends off the counts.

    ``inside`` holds for each part in turn what every way from a node that it can be begun with
    to one that it can be left from travels at least.
    """
    total, at = 0.0, 0
    for p in range(len(pfirst) - 1):
        g, h = pfirst[p], pfirst[p + 1] - 1
        best, begun, left = np.inf, 0, 0
        for i in range(gfirst[g], gfirst[g + 1]):
            for j in range(gfirst[h], gfirst[h + 1]):
                c = inside[at] - come[i] - gone[j]
                at += 1
                if c < best:
                    best, begun, left = c, i, j
        total += best
        into[begun] -= 1
        out[left] -= 1
    return total


@njit(cache=True)
def climb(come, gone, pairs, inside, frame, upper, steps, stride):
    """Subgradient steps from some prices; returns the best met, where hops end and begin."""
    rows, length = pairs
    gfirst, pfirst = frame
    count = len(pfirst) - 1
    best, idle = -np.inf, 0
    come, gone = come.copy(), gone.copy()
    held = come.copy(), gone.copy()
    to, away = np.zeros(len(come)), np.zeros(len(come))
    for _ in range(steps):
        into, out = np.zeros(len(come)), np.zeros(len(come))
        bound = passed(come, gone, inside, gfirst, pfirst, into, out)
        bound += round_of(come, gone, rows, length, count, into, out)
        if bound > best:
            best, idle = bound, 0
            held[0][:] = come
            held[1][:] = gone
        else:
            idle += 1
            if idle >= PATIENCE:
                stride, idle = 0.7 * stride, 0
        norm = (into**2).sum() + (out**2).sum()
        if norm == 0.0:
            break
        to = 0.7 * into + 0.3 * to
        away = 0.7 * out + 0.3 * away
        step = stride * max(upper - bound, 1e-3 * upper) / norm
        come += step * to
        gone += step * away
    return held
