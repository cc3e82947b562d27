"""Moving one part: what a pose of it would cost, and the search for one that costs less.

Weights on pairs that stay in conflict are raised until the search leaves a bad arrangement by
itself: guided local search (Voudouris & Tsang 1999), used for cutting by Egeblad, Nielsen &
Odgaard 2007 and Umetani et al. 2009; samples refined by adaptive coordinate descent follow
Gardeyn, Vanden Berghe & Wauters 2025.

A pose is x, y (mm), turn (rad) and flip (0 or 1: turned by half a turn), or, at listed angles,
the number of one of the type's as its flip.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.ground import may_lie, off_box, off_ground
from nest.place.kernels.overlap import lay_out, meeting, overlap
from nest.place.kernels.poses import set_pose
from nest.place.kernels.random import next_random
from nest.place.kernels.simd import LANES, at, next_of

# Strides of a refinement along x, y and the two diagonals; the fifth is the turn.
STRIDES = np.array([[1.0, 0.0], [0.0, 1.0], [0.7071, 0.7071], [0.7071, -0.7071], [0.0, 0.0]])
LOOKS = 20  # for a random place that may do, before any will: where a seventh of the box may,
# one time in twenty none of them is found
NEAR = 3.0  # first strides of a refinement within which the parts near are listed
UNPLACED = 1e7  # where the box of a part is that is not yet placed


@kernel
def look_around(i, I, M, S):
    """List the other parts for :func:`cost_at` of part i: their boxes and what overlap costs.

    Whatever moves a part or a weight makes the list out of date.
    """
    scale = mem.scale_of(mem.type_of(i, I), I, M)
    first = w = I[mem.AT_AROUND]
    m = I[mem.N_AROUND]
    for j in range(I[mem.N_PARTS]):
        x0, y0, x1, y1 = mem.box_of(j, S)
        if j != i and x0 < UNPLACED:
            S[w], S[w + m], S[w + 2 * m], S[w + 3 * m] = x0, y0, x1, y1
            weight = S[mem.of_pair(mem.AT_PAIR_WEIGHTS, i, j, I)]
            S[w + 4 * m] = weight * scale * mem.scale_of(mem.type_of(j, I), I, M)
            S[w + 5 * m] = j
            w += 1
    S[mem.F_AROUND] = _closed(first, w, S)
    S[mem.F_NEAR_X0] = 1e300


@kernel
def _closed(first, end, S):
    """Close a list with empty boxes up to a multiple of LANES; how long it is then."""
    while (end - first) % LANES > 0:
        S[end] = 1e300
        end += 1
    return end - first


@kernel
def look_near(t, x, y, flip, margin, I, M, S):
    """List those parts around that meet the box of a place, grown; inside it they suffice."""
    first, count = mem.angles_of(t, I)
    if count > 0:
        x0, y0, x1, y1 = mem.box_at_angle(first + int(flip), x, y, I, M)
    else:
        reach = mem.reach_of(t, I, M)
        x0, y0, x1, y1 = x - reach, y - reach, x + reach, y + reach
    x0, y0, x1, y1 = x0 - margin, y0 - margin, x1 + margin, y1 + margin
    w, m = I[mem.AT_AROUND], I[mem.N_AROUND]
    v = near = w + mem.AROUND * m
    for _ in range(int(S[mem.F_AROUND])):
        if not (S[w] >= x1 or S[w + 2 * m] <= x0 or S[w + m] >= y1 or S[w + 3 * m] <= y0):
            for c in range(0, mem.AROUND * m, m):
                S[v + c] = S[w + c]
            v += 1
        w += 1
    S[mem.F_NEAR] = _closed(near, v, S)
    S[mem.F_NEAR_X0], S[mem.F_NEAR_Y0], S[mem.F_NEAR_X1], S[mem.F_NEAR_Y1] = x0, y0, x1, y1


@kernel
def _listed_for(x0, y0, x1, y1, I, S):
    """Where the shortest list is that has all parts around that meet a box, and its end."""
    q = I[mem.AT_AROUND]
    if (
        x0 >= S[mem.F_NEAR_X0]
        and y0 >= S[mem.F_NEAR_Y0]
        and x1 <= S[mem.F_NEAR_X1]
        and y1 <= S[mem.F_NEAR_Y1]
    ):
        q += mem.AROUND * I[mem.N_AROUND]
        return q, q + int(S[mem.F_NEAR])
    return q, q + int(S[mem.F_AROUND])


@kernel
def cost_at(i, x, y, turn, flip, limit, I, M, G, S):
    """Weighted conflict of part i if it had this pose; may stop early above ``limit``.

    What surrounds the part is as :func:`look_around` found it.
    """
    S[mem.F_COUNT] += 1.0
    n, t = I[mem.N_PARTS], mem.type_of(i, I)
    scale = mem.scale_of(t, I, M)
    weight = S[I[mem.AT_OWN_WEIGHTS] + i] * scale * scale
    # The ground first: it needs no pieces, and most places tried are off it or too deep.
    set_pose(n, t, x, y, turn, flip, I, M, S)
    stray = 0.0
    if S[mem.F_STRIP] <= 0:
        stray = off_ground(n, t, limit / weight, I, M, G, S)
        if weight * stray >= limit:
            return weight * stray
    lay_out(n, t, I, M, S)
    stray += off_box(n, S)
    cost = 0.0
    if stray > S[mem.F_TOUCH]:
        cost = weight * stray
        if cost >= limit:
            return cost
    x0, y0, x1, y1 = mem.box_of(n, S)
    m = I[mem.N_AROUND]
    begin, end = _listed_for(x0, y0, x1, y1, I, S)
    for first in range(begin, end, LANES):
        meets = meeting(first, m, x0, y0, x1, y1, S)
        while meets > 0:
            j = first + next_of(meets)
            meets &= meets - 1
            k = at(S, j + 4 * m)
            depth = overlap(n, t, int(at(S, j + 5 * m)), (limit - cost) / k, I, M, S)
            if depth > 0.0:
                cost += k * depth
                if cost >= limit:
                    return cost
    return cost


@kernel
def room(t, flip, I, M, S):
    """Where a part with listed angles is inside the strip: lowest x and y, highest x and y."""
    first, count = mem.angles_of(t, I)
    if S[mem.F_STRIP] <= 0 or count == 0:
        return -1e300, -1e300, 1e300, 1e300
    x0, y0, x1, y1 = mem.box_at_angle(first + int(flip), 0.0, 0.0, I, M)
    front = min(S[mem.F_X1], S[mem.F_FRONT])
    return S[mem.F_X0] - x0, S[mem.F_Y0] - y0, front - x1, S[mem.F_Y1] - y1


@kernel
def into_strip(t, x, y, flip, I, M, S):
    """In a strip, the nearest place where a part with listed angles is inside the box."""
    x0, y0, x1, y1 = room(t, flip, I, M, S)
    return max(x0, min(x, x1)), max(y0, min(y, y1))


@kernel
def random_turn(t, I, M, R):
    """A random turn within the window and a random flip (or one of the listed angles)."""
    _, count = mem.angles_of(t, I)
    if count > 0:
        return 0.0, float(int(next_random(R) * count))
    turn = mem.window_of(t, I, M) * (2.0 * next_random(R) - 1.0)
    return turn, 1.0 if next_random(R) < 0.5 else 0.0


@kernel
def random_place(t, flip, x1, I, M, G, S, R):
    """A place up to x1, uniform over the container, or over where the part fits in a strip.

    While the whole hide is open, it is uniform over where the part may lie, as far as one look
    tells that: 60 % of a hide then take half the work. Once a frontier is drawn in, places off
    the ground are left as they are, for they are soon done with.
    """
    x0, y0, y1 = S[mem.F_X0], S[mem.F_Y0], S[mem.F_Y1]
    first, count = mem.angles_of(t, I)
    if S[mem.F_STRIP] > 0 and count > 0:
        ax0, ay0, ax1, ay1 = mem.box_at_angle(first + int(flip), 0.0, 0.0, I, M)
        x0, y0, x1, y1 = x0 - ax0, y0 - ay0, x1 - ax1, y1 - ay1
    looks = 1 if S[mem.F_STRIP] > 0 or S[mem.F_FRONT] < S[mem.F_X1] else LOOKS
    x = y = 0.0
    for _ in range(looks):
        x, y = x0 + (x1 - x0) * next_random(R), y0 + (y1 - y0) * next_random(R)
        if looks > 1 and may_lie(t, x, y, I, M, G, S):
            break
    return x, y


@kernel
def refine(i, pose, step, least, tilt, I, M, G, S, R):
    """Coordinate descent of part i from ``pose`` (x, y, turn, flip, cost), changed in place.

    A stride that gains grows by a tenth, one that does not is halved, until it is below
    ``least`` mm (and the turn's stride in the same proportion).
    """
    t = mem.type_of(i, I)
    window = mem.window_of(t, I, M)
    free = mem.angles_of(t, I)[1] == 0 and window > 0
    least_tilt = tilt * least / step if free else np.inf
    x0, y0, x1, y1 = room(t, pose[3], I, M, S)
    look_near(t, pose[0], pose[1], pose[3], NEAR * step, I, M, S)
    while (step >= least or tilt >= least_tilt) and pose[4] > 0.0:
        axis = int(next_random(R) * (5 if free else 4))
        if step < least:
            axis = 4
        elif axis == 4 and tilt < least_tilt:
            axis = int(next_random(R) * 4)
        gained = False
        along, up = STRIDES[axis, 0] * step, STRIDES[axis, 1] * step
        for sign in (1.0, -1.0):
            x = max(x0, min(pose[0] + sign * along, x1))
            y = max(y0, min(pose[1] + sign * up, y1))
            turn = pose[2]
            if axis == 4:
                turn = min(max(turn + sign * tilt, -window), window)
            if x == pose[0] and y == pose[1] and turn == pose[2]:
                continue
            cost = cost_at(i, x, y, turn, pose[3], pose[4], I, M, G, S)
            if cost < pose[4]:
                pose[0], pose[1], pose[2], pose[4] = x, y, turn, cost
                gained = True
                break
        if axis == 4:
            tilt *= 1.1 if gained else 0.5
        else:
            step *= 1.1 if gained else 0.5


@kernel
def _rank(best, x, y, turn, flip, cost, apart):
    """Put a pose into the ranked list (m, 5), replacing one that is nearly the same."""
    for k in range(len(best)):
        near = (
            best[k, 4] < 1e299
            and best[k, 3] == flip
            and abs(best[k, 0] - x) + abs(best[k, 1] - y) < apart
        )
        if near and cost >= best[k, 4]:
            return
        if cost < best[k, 4]:
            for m in range(k if near else len(best) - 1, k, -1):
                best[m, :] = best[m - 1, :]
            best[k, 0], best[k, 1], best[k, 2], best[k, 3], best[k, 4] = x, y, turn, flip, cost
            return


@kernel
def better_pose(i, here, wide, best, I, M, G, S, R):
    """Look for a pose of part i that costs less than where it is; ``best`` (3, 5) is scratch.

    ``here`` samples near the present pose, ``wide`` over the container; the best three that
    are distinct are refined, and the best of those once more, finely. Row 0 of ``best``
    holds the result. Returns the cost of the present pose.
    """
    t = mem.type_of(i, I)
    size = mem.scale_of(t, I, M) ** 2
    x, y, turn, flip = mem.pose_of(i, S)
    look_around(i, I, M, S)
    now = cost_at(i, x, y, turn, flip, 1e300, I, M, G, S)
    best[0, 0], best[0, 1], best[0, 2], best[0, 3], best[0, 4] = x, y, turn, flip, now
    best[1, 4] = best[2, 4] = 1e300
    x1 = min(S[mem.F_X1], S[mem.F_FRONT])
    for k in range(here + wide):
        tu, fl = random_turn(t, I, M, R)
        if k >= here:
            cx, cy = random_place(t, fl, x1, I, M, G, S, R)
        else:
            cx, cy = x + size * (next_random(R) - 0.5), y + size * (next_random(R) - 0.5)
            if next_random(R) < 0.5:
                tu, fl = turn, flip
        cx, cy = into_strip(t, cx, cy, fl, I, M, S)
        cost = cost_at(i, cx, cy, tu, fl, best[2, 4], I, M, G, S)
        if cost < best[2, 4]:
            _rank(best, cx, cy, tu, fl, cost, 0.1 * size)
            if cost <= 0.0:
                return now
    top = 0
    for k in range(3):
        if best[k, 4] < 1e299:
            refine(i, best[k], 0.25 * size, 0.02 * size, 0.05, I, M, G, S, R)
            if best[k, 4] < best[top, 4]:
                top = k
        if best[top, 4] <= 0.0:
            break
    if top > 0:
        best[0, :] = best[top, :]
    refine(i, best[0], 0.02 * size, 0.001 * size, 0.01, I, M, G, S, R)
    return now
