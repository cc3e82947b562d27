"""Compiled search for the shortest way over strokes that must be drawn group by group.

Nothing here raises. All of it works in one :class:`Work`, a tuple of arrays named once:

    pin, pout (m, 2)  where an option begins and ends, mm. An item is one contour; its options
                      are the ways to draw it: each start on a closed one, both ways of an open.
    back (m,)         the option that draws the same the other way round; its own of a closed one
    first (n+1,)      options of item i are first[i] .. first[i+1]
    seq (n,)          items in the order they are drawn, inside their group's range
    at (n,)           the place of each item in seq
    opt (n,)          the option taken of each item
    close (n, c)      items of the same group near an item, nearest first, -1 where none is left
    gfirst (g+1,)     group k holds seq[gfirst[k] : gfirst[k+1]]
    pfirst (p+1,)     part j holds groups pfirst[j] .. pfirst[j+1], drawn in that order
    tail (p,)         the item that is a part's last group alone and is drawn after others (an
                      outline), or -1: its start is chosen anew for every neighbour
    start (2,)        where the tool stands before and after, mm
    pre, post (m,)    travel to an option from before its group, and from it to what comes after
    dirty (n,)        items to look at again

``order`` (p,) holds parts in the order they are cut.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hides.outline import FloatArray

IntArray = NDArray[np.int64]

LEAST = 1e-7  # mm; smaller gains are rounding
LONGEST_MOVED = 3  # items moved together inside a group
FAR = 1e6  # mm; charged where a part begins or ends elsewhere than asked


class Work(NamedTuple):
    """What the search works in; ``seq``, ``opt`` and what stands below ``start`` change."""

    pin: FloatArray
    pout: FloatArray
    back: IntArray
    first: IntArray
    seq: IntArray
    opt: IntArray
    close: IntArray
    gfirst: IntArray
    pfirst: IntArray
    tail: IntArray
    start: FloatArray
    at: IntArray
    pre: FloatArray
    post: FloatArray
    dirty: NDArray[np.bool_]


@njit(cache=True)
def span(ax, ay, bx, by):
    """Distance."""
    return np.sqrt((ax - bx) ** 2 + (ay - by) ** 2)


@njit(cache=True)
def hop(w, a, b):
    """Travel from the end of option a to the beginning of option b."""
    return span(w.pout[a, 0], w.pout[a, 1], w.pin[b, 0], w.pin[b, 1])


@njit(cache=True)
def over(w, item, px, py, qx, qy):
    """Least travel p -> item -> q over the item's options, and that option; item -1 is none."""
    if item < 0:
        return span(px, py, qx, qy), -1
    best, at = np.inf, -1
    for o in range(w.first[item], w.first[item + 1]):
        d = span(px, py, w.pin[o, 0], w.pin[o, 1]) + span(w.pout[o, 0], w.pout[o, 1], qx, qy)
        if d < best:
            best, at = d, o
    return best, at


@njit(cache=True)
def body_end(w, part):
    """One past the last group of a part that is not its tail."""
    return w.pfirst[part + 1] - (1 if w.tail[part] >= 0 else 0)


@njit(cache=True)
def entry(w, part):
    """The option a part begins with."""
    return w.opt[w.seq[w.gfirst[w.pfirst[part]]]]


@njit(cache=True)
def leaving(w, part):
    """The option a part ends with, its tail left out."""
    return w.opt[w.seq[w.gfirst[body_end(w, part)] - 1]]


@njit(cache=True)
def link(w, p, q):
    """Travel from part p over its tail to part q; -1 is where the tool stands."""
    ax, ay, item = w.start[0], w.start[1], -1
    if p >= 0:
        o = leaving(w, p)
        ax, ay, item = w.pout[o, 0], w.pout[o, 1], w.tail[p]
    bx, by = w.start[0], w.start[1]
    if q >= 0:
        o = entry(w, q)
        bx, by = w.pin[o, 0], w.pin[o, 1]
    return over(w, item, ax, ay, bx, by)


@njit(cache=True)
def inner(w, part):
    """Travel inside a part, up to its tail."""
    total = 0.0
    for a in range(w.gfirst[w.pfirst[part]] + 1, w.gfirst[body_end(w, part)]):
        total += hop(w, w.opt[w.seq[a - 1]], w.opt[w.seq[a]])
    return total


@njit(cache=True)
def travel(w, order):
    """Travel of the whole, from the start and back to it."""
    total, before = 0.0, -1
    for p in order:
        total += link(w, before, p)[0]
        total += inner(w, p)
        before = p
    return total + link(w, before, -1)[0]


# --- inside a group ---------------------------------------------------------------------------


@njit(cache=True)
def left_of(w, a, o, lo):
    """Travel to option o where it stands at place a."""
    return w.pre[o] if a == lo else hop(w, w.opt[w.seq[a - 1]], o)


@njit(cache=True)
def right_of(w, b, o, hi):
    """Travel from option o where it stands at place b."""
    return w.post[o] if b == hi - 1 else hop(w, o, w.opt[w.seq[b + 1]])


@njit(cache=True)
def group_travel(w, lo, hi):
    """Travel of a group with what leads to it and away from it."""
    total = w.pre[w.opt[w.seq[lo]]] + w.post[w.opt[w.seq[hi - 1]]]
    for a in range(lo + 1, hi):
        total += hop(w, w.opt[w.seq[a - 1]], w.opt[w.seq[a]])
    return total


@njit(cache=True)
def reverse(w, a, b):
    """Draw places a to b the other way round."""
    w.seq[a : b + 1] = w.seq[a : b + 1][::-1].copy()
    for c in range(a, b + 1):
        w.at[w.seq[c]] = c
        w.opt[w.seq[c]] = w.back[w.opt[w.seq[c]]]


@njit(cache=True)
def exchange(i, j, k, row):
    """Places i..j-1 and j..k-1 of a row change places."""
    held = row[i:j].copy()
    size = k - j
    for a in range(size):
        row[i + a] = row[j + a]
    for a in range(j - i):
        row[i + size + a] = held[a]


@njit(cache=True)
def number(w, lo, hi):
    """Note the place of each item."""
    for a in range(lo, hi):
        w.at[w.seq[a]] = a


@njit(cache=True)
def turning_gain(w, a, b, lo, hi):
    """What drawing places a to b the other way round saves."""
    x, y = w.opt[w.seq[a]], w.opt[w.seq[b]]
    old = left_of(w, a, x, lo) + right_of(w, b, y, hi)
    u, v = w.back[y], w.back[x]
    new = left_of(w, a, u, lo) + right_of(w, b, v, hi)
    return old - new


@njit(cache=True)
def best_turning(w, a, lo, hi):
    """The best reversal that makes place a the neighbour of a close item: gain, from, to.

    Of the two hops that are new, the one at place a must be shorter than the old one there; a
    reversal that saves has such a place, or reaches the group's first or last.
    """
    best, i, j = 0.0, -1, -1
    o = w.opt[w.seq[a]]
    left = left_of(w, a, o, lo)
    right = right_of(w, a, o, hi)
    for item in w.close[w.seq[a]]:
        if item < 0:
            break
        b, other = w.at[item], w.opt[item]
        if b > a:
            after = hop(w, o, w.back[other]) < right
            before = hop(w, w.back[o], other) < left
            tries = ((a + 1, b, after), (a, b - 1, before))
        else:
            after = hop(w, other, w.back[o]) < right
            before = hop(w, w.back[other], o) < left
            tries = ((b + 1, a, after), (b, a - 1, before))
        for x, y, worth in tries:
            if worth and x <= y:
                gain = turning_gain(w, x, y, lo, hi)
                if gain > best:
                    best, i, j = gain, x, y
    for x, y in ((lo, a), (lo, a - 1), (a, hi - 1), (a + 1, hi - 1)):
        if x <= y:
            gain = turning_gain(w, x, y, lo, hi)
            if gain > best:
                best, i, j = gain, x, y
    return best, i, j


@njit(cache=True)
def removal_gain(w, a, b, lo, hi):
    """What leaving out places a to b saves; not all of them."""
    x, y = w.opt[w.seq[a]], w.opt[w.seq[b]]
    old = left_of(w, a, x, lo) + right_of(w, b, y, hi)
    if a == lo:
        return old - w.pre[w.opt[w.seq[b + 1]]]
    return old - right_without(w, a - 1, b, hi)


@njit(cache=True)
def right_without(w, a, b, hi):
    """Travel from place a to what comes after place b."""
    o = w.opt[w.seq[a]]
    return w.post[o] if b == hi - 1 else hop(w, o, w.opt[w.seq[b + 1]])


@njit(cache=True)
def insertion_cost(w, c, x, y, lo, hi):
    """What a run from option x to option y costs before place c (hi: at the end)."""
    if c == hi:
        o = w.opt[w.seq[hi - 1]]
        return hop(w, o, x) + w.post[y] - w.post[o]
    o = w.opt[w.seq[c]]
    to = left_of(w, c, x, lo)
    return to + hop(w, y, o) - left_of(w, c, o, lo)


@njit(cache=True)
def best_moving(w, a, lo, hi):
    """The best move of a short run that begins or ends at place a, to beside an item close to
    that place or to the group's first or last: gain, run, where, turned."""
    best, i, j, where, turned = 0.0, -1, -1, -1, False
    for size in range(1, LONGEST_MOVED + 1):
        for x in (a, a - size + 1):
            y = x + size - 1
            if x < lo or y >= hi or size == hi - lo or (size == 1 and x != a):
                continue
            saved = removal_gain(w, x, y, lo, hi)
            if saved <= best:
                continue
            head, foot = w.opt[w.seq[x]], w.opt[w.seq[y]]
            for t in range(-1, w.close.shape[1]):
                item = w.close[w.seq[a], t] if t >= 0 else 0
                if item < 0:
                    break
                for c in (lo, hi) if t < 0 else (w.at[item], w.at[item] + 1):
                    if x <= c <= y + 1:
                        continue
                    straight = insertion_cost(w, c, head, foot, lo, hi)
                    crosswise = insertion_cost(w, c, w.back[foot], w.back[head], lo, hi)
                    gain = saved - min(straight, crosswise)
                    if gain > best:
                        best, i, j, where, turned = gain, x, y, c, crosswise < straight
    return best, i, j, where, turned


@njit(cache=True)
def best_option(w, a, lo, hi):
    """The best way to draw the item at place a where it stands: gain and option."""
    item = w.seq[a]
    now = w.opt[item]
    old = left_of(w, a, now, lo)
    old += right_of(w, a, now, hi)
    best, at = 0.0, now
    for o in range(w.first[item], w.first[item + 1]):
        new = left_of(w, a, o, lo)
        new += right_of(w, a, o, hi)
        if old - new > best:
            best, at = old - new, o
    return best, at


@njit(cache=True)
def wake(w, a, lo, hi):
    """Look again at the items at and beside place a."""
    for b in range(max(a - 1, lo), min(a + 2, hi)):
        w.dirty[w.seq[b]] = True


@njit(cache=True)
def step(w, a, lo, hi):
    """Make the best change at place a; returns what it saves."""
    g0, o = best_option(w, a, lo, hi)
    g1, i1, j1 = best_turning(w, a, lo, hi)
    g2, i2, j2, c, turned = best_moving(w, a, lo, hi)
    if max(g0, g1, g2) <= LEAST:
        return 0.0
    if g0 >= g1 and g0 >= g2:
        w.opt[w.seq[a]] = o
        wake(w, a, lo, hi)
        return g0
    if g1 >= g2:
        reverse(w, i1, j1)
        wake(w, i1, lo, hi)
        wake(w, j1, lo, hi)
        return g1
    wake(w, i2, lo, hi)
    wake(w, j2, lo, hi)
    wake(w, min(c, hi - 1), lo, hi)
    if turned:
        reverse(w, i2, j2)
    if c > j2:
        exchange(i2, j2 + 1, c, w.seq)
    else:
        exchange(c, i2, j2 + 1, w.seq)
    number(w, min(c, i2), max(c, j2 + 1))
    return g2


@njit(cache=True)
def descend(w, lo, hi):
    """Improve a group where its items are dirty, until nothing more is gained."""
    changed = True
    while changed:
        changed = False
        for a in range(lo, hi):
            if w.dirty[w.seq[a]]:
                if step(w, a, lo, hi) > 0:
                    changed = True
                else:
                    w.dirty[w.seq[a]] = False


@njit(cache=True)
def long_place(w, lo, hi):
    """A place to cut a group before: the one of two at random with the longer hop."""
    a = np.random.randint(lo + 1, hi)
    b = np.random.randint(lo + 1, hi)
    da = hop(w, w.opt[w.seq[a - 1]], w.opt[w.seq[a]])
    db = hop(w, w.opt[w.seq[b - 1]], w.opt[w.seq[b]])
    return a if da >= db else b


@njit(cache=True)
def shake(w, lo, hi):
    """Let two neighbouring runs of a group change places."""
    i = long_place(w, lo, hi) - (1 if np.random.randint(8) == 0 else 0)
    j = long_place(w, lo, hi)
    k = long_place(w, lo, hi) + (1 if np.random.randint(8) == 0 else 0)
    i, j, k = min(i, j, k), max(min(i, j), min(max(i, j), k)), max(i, j, k)
    if i == j or j == k:
        return False
    exchange(i, j, k, w.seq)
    number(w, i, k)
    for a in (i, i + k - j, k - 1):
        wake(w, a, lo, hi)
    return True


@njit(cache=True)
def refine(w, lo, hi, tries):
    """Shake a group and improve it ``tries`` times, keeping what is shorter."""
    if hi - lo < 4:
        return
    now = group_travel(w, lo, hi)
    held = w.seq[lo:hi].copy()
    ways = w.opt[held].copy()
    for _ in range(tries):
        if not shake(w, lo, hi):
            continue
        descend(w, lo, hi)
        new = group_travel(w, lo, hi)
        if new < now - LEAST:
            now = new
            for a in range(hi - lo):
                held[a] = w.seq[lo + a]
                ways[a] = w.opt[held[a]]
        else:
            for a in range(hi - lo):
                w.seq[lo + a] = held[a]
                w.opt[held[a]] = ways[a]
            number(w, lo, hi)


# --- between parts ----------------------------------------------------------------------------


@njit(cache=True)
def surround(w, k, part, before, after):
    """Fill pre and post for the options of group k of a part between two others (-1: the start)."""
    for a in range(w.gfirst[k], w.gfirst[k + 1]):
        item = w.seq[a]
        for o in range(w.first[item], w.first[item + 1]):
            if k > w.pfirst[part]:
                w.pre[o] = hop(w, w.opt[w.seq[w.gfirst[k] - 1]], o)
            elif before < 0:
                w.pre[o] = span(w.start[0], w.start[1], w.pin[o, 0], w.pin[o, 1])
            else:
                p = w.pout[leaving(w, before)]
                q = w.pin[o]
                w.pre[o] = over(w, w.tail[before], p[0], p[1], q[0], q[1])[0]
            if k + 1 < body_end(w, part):
                w.post[o] = hop(w, o, w.opt[w.seq[w.gfirst[k + 1]]])
            else:
                x, y = w.start[0], w.start[1]
                if after >= 0:
                    x, y = w.pin[entry(w, after), 0], w.pin[entry(w, after), 1]
                w.post[o] = over(w, w.tail[part], w.pout[o, 0], w.pout[o, 1], x, y)[0]


@njit(cache=True)
def settle(w, part, before, after, tries):
    """Improve all groups of a part between its neighbours; shake each ``tries`` times an item."""
    for sweep in range(2):
        for k in range(w.pfirst[part], body_end(w, part)):
            lo, hi = w.gfirst[k], w.gfirst[k + 1]
            number(w, lo, hi)
            surround(w, k, part, before, after)
            w.dirty[w.seq[lo]] = True
            w.dirty[w.seq[hi - 1]] = True
            descend(w, lo, hi)
            refine(w, lo, hi, int(sweep * tries * (hi - lo)))


@njit(cache=True)
def begin(w, order, x, y):
    """Draw some parts by going to the nearest option that may come next, from (x, y) on."""
    for p in order:
        for k in range(w.pfirst[p], body_end(w, p)):
            for a in range(w.gfirst[k], w.gfirst[k + 1]):
                best, at, way = np.inf, a, 0
                for b in range(a, w.gfirst[k + 1]):
                    for o in range(w.first[w.seq[b]], w.first[w.seq[b] + 1]):
                        d = span(x, y, w.pin[o, 0], w.pin[o, 1])
                        if d < best:
                            best, at, way = d, b, o
                w.seq[a], w.seq[at] = w.seq[at], w.seq[a]
                w.opt[w.seq[a]] = way
                x, y = w.pout[way, 0], w.pout[way, 1]


@njit(cache=True, nogil=True)
def settle_all(w, order, tries, seed):
    """Settle every part between its neighbours, in order."""
    np.random.seed(seed)
    n = len(order)
    for a in range(n):
        before = order[a - 1] if a > 0 else -1
        after = order[a + 1] if a + 1 < n else -1
        settle(w, order[a], before, after, tries)


@njit(cache=True)
def choose_tails(w, order):
    """Choose every tail's option between its neighbours."""
    n = len(order)
    for a in range(n):
        if w.tail[order[a]] >= 0:
            after = order[a + 1] if a + 1 < n else -1
            w.opt[w.tail[order[a]]] = link(w, order[a], after)[1]


@njit(cache=True)
def fence(w, lo, hi, first_door, last_door):
    """Fill pre and post so that a group begins and ends at doors, and wake what this concerns."""
    w.dirty[w.seq[lo]] = True
    w.dirty[w.seq[hi - 1]] = True
    for a in range(lo, hi):
        for o in range(w.first[w.seq[a]], w.first[w.seq[a] + 1]):
            w.pre[o] = 0.0 if o == first_door else FAR
            w.post[o] = 0.0 if o == last_door else FAR
            if o in (first_door, last_door):
                w.dirty[w.seq[a]] = True


@njit(cache=True)
def put_at(w, place, option, lo, hi):
    """Bring the item of an option to a place of its group, drawn that way."""
    for a in range(lo, hi):
        item = w.seq[a]
        if w.first[item] <= option < w.first[item + 1]:
            if a < place:
                exchange(a, a + 1, place + 1, w.seq)
            else:
                exchange(place, a, a + 1, w.seq)
            w.opt[item] = option
            number(w, lo, hi)
            wake(w, a, lo, hi)
            return


@njit(cache=True)
def between(w, lo, hi, first_door, last_door, tries):
    """Find a short way through a group from one option to another; inf where there is none."""
    fence(w, lo, hi, first_door, last_door)
    put_at(w, lo, first_door, lo, hi)
    put_at(w, hi - 1, last_door, lo, hi)
    if w.opt[w.seq[lo]] != first_door or w.opt[w.seq[hi - 1]] != last_door:
        return np.inf  # one item can't be both
    descend(w, lo, hi)
    refine(w, lo, hi, tries)
    return group_travel(w, lo, hi)


@njit(cache=True)
def hold(w, lo, hi, i, j, cost, rows, taken):
    """Keep the way that a group is drawn by now, and the same the other way round, if shorter."""
    now = group_travel(w, lo, hi)
    if now < cost[i, j]:
        cost[i, j] = cost[j, i] = now
        rows[i, j] = w.seq[lo:hi]
        taken[i, j] = w.opt[w.seq[lo:hi]]
        rows[j, i] = rows[i, j][::-1]
        taken[j, i] = w.back[taken[i, j][::-1]]


@njit(cache=True)
def remade(w, lo, hi, doors, i, j, a, b, cost, rows, taken):
    """Make the way from door i to door j of the one from a to b, which shares one of them.

    Only where that one is so short that it may be worth it.
    """
    far = hop(w, doors[i], doors[a]) + hop(w, doors[j], doors[b])
    if cost[a, b] + far < cost[i, j]:
        w.seq[lo:hi] = rows[a, b]
        w.opt[rows[a, b]] = taken[a, b]
        if between(w, lo, hi, doors[i], w.back[doors[j]], 0) < np.inf:
            hold(w, lo, hi, i, j, cost, rows, taken)


@njit(cache=True, nogil=True)
def all_between(w, group, doors, begins, tries, seed, cost, rows, taken):
    """Ways through a group from each door to each other's reverse: cost (d, d), items and
    options (d, d, n). Each way is one the other way round as well; where neither door is one of
    those that the group ``begins`` with, none is looked for.

    After a first search each way is tried to be made of those that share a door with it.
    """
    np.random.seed(seed)
    lo, hi = w.gfirst[group], w.gfirst[group + 1]
    count = len(doors)
    cost[:] = np.inf
    for i in range(count):
        for j in range(i, count):
            if not (begins[i] or begins[j]):
                continue
            if between(w, lo, hi, doors[i], w.back[doors[j]], tries) < np.inf:
                hold(w, lo, hi, i, j, cost, rows, taken)
    for i in range(count):
        for j in range(i + 1, count):
            if not (begins[i] or begins[j]):
                continue
            for k in range(count):
                if k != i and k != j:
                    remade(w, lo, hi, doors, i, j, i, k, cost, rows, taken)
                    remade(w, lo, hi, doors, i, j, k, j, cost, rows, taken)
