"""All parts together: parting what overlaps, placing one by one, sliding back.

The layout in place is the rows of S; X (parts, 4) are poses as they go in and come out.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.ground import off_box, off_ground
from nest.place.kernels.moves import (
    UNPLACED,
    better_pose,
    cost_at,
    into_strip,
    look_around,
    random_place,
    random_turn,
)
from nest.place.kernels.overlap import overlap, put
from nest.place.kernels.random import shuffle


@kernel
def measure(i, I, M, G, S):
    """Recompute the overlaps of part i and how far it strays."""
    t = mem.type_of(i, I)
    scale = mem.scale_of(t, I, M)
    stray = off_ground(i, t, 1e300, I, M, G, S) + off_box(i, S)
    S[I[mem.AT_STRAYS] + i] = stray * scale * scale if stray > S[mem.F_TOUCH] else 0.0
    x0, y0, x1, y1 = mem.box_of(i, S)
    for j in range(I[mem.N_PARTS]):
        depth = 0.0
        jx0, jy0, jx1, jy1 = mem.box_of(j, S)
        if j != i and not (jx0 >= x1 or jx1 <= x0 or jy0 >= y1 or jy1 <= y0):
            depth = overlap(i, t, j, 1e300, I, M, S) * scale * mem.scale_of(mem.type_of(j, I), I, M)
        S[mem.of_pair(mem.AT_OVERLAPS, i, j, I)] = S[mem.of_pair(mem.AT_OVERLAPS, j, i, I)] = depth


@kernel
def conflict_of(i, I, S):
    """How far part i strays and overlaps, mm times sizes."""
    total = S[I[mem.AT_STRAYS] + i]
    for j in range(I[mem.N_PARTS]):
        total += S[mem.of_pair(mem.AT_OVERLAPS, i, j, I)]
    return total


@kernel
def conflict(I, S):
    """How far all parts stray and overlap, mm times sizes; 0.0: the layout is valid."""
    total = 0.0
    for i in range(I[mem.N_PARTS]):
        total += S[I[mem.AT_STRAYS] + i]
        for j in range(i):
            total += S[mem.of_pair(mem.AT_OVERLAPS, i, j, I)]
    return total


@kernel
def put_all(X, I, M, G, S):
    """Put every part at its row of X (parts, 4: x, y, turn, flip); returns the conflict."""
    for i in range(I[mem.N_PARTS]):
        _put_part(i, X[i], I, M, S)
    for i in range(I[mem.N_PARTS]):
        measure(i, I, M, G, S)
    return conflict(I, S)


@kernel
def _put_part(i, pose, I, M, S):
    """Put part i at a pose (x, y, turn, flip)."""
    put(i, mem.type_of(i, I), pose[0], pose[1], pose[2], pose[3], I, M, S)


@kernel
def poses_into(X, I, S):
    """Write the poses in place to X (parts, 4)."""
    for i in range(I[mem.N_PARTS]):
        X[i, 0], X[i, 1], X[i, 2], X[i, 3] = mem.pose_of(i, S)


@kernel
def _reweighed(weight, share):
    """A weight after a pass, by the share that its conflict has of the worst one."""
    return weight * (1.0 + 0.8 * share) if share > 0 else max(1.0, 0.95 * weight)


@kernel
def raise_weights(I, S):
    """Conflicts gain weight with their share of the worst one, the rest relax towards 1.

    Small conflicts hardly gain, so that the worst are steered round first. By the work to a
    fixed density on eight open strips, a common gain for all (1.2 to 2) is as good or somewhat
    worse, within the noise of six runs; one of 1.4 to 3 takes three times as much.
    """
    n, strays, own = I[mem.N_PARTS], I[mem.AT_STRAYS], I[mem.AT_OWN_WEIGHTS]
    worst = 0.0
    for i in range(n):
        worst = max(worst, S[strays + i])
        for j in range(i):
            worst = max(worst, S[mem.of_pair(mem.AT_OVERLAPS, i, j, I)])
    if worst <= 0.0:
        return
    for i in range(n):
        S[own + i] = _reweighed(S[own + i], S[strays + i] / worst)
        for j in range(i):
            ij, ji = (
                mem.of_pair(mem.AT_PAIR_WEIGHTS, i, j, I),
                mem.of_pair(mem.AT_PAIR_WEIGHTS, j, i, I),
            )
            S[ij] = S[ji] = _reweighed(S[ij], S[mem.of_pair(mem.AT_OVERLAPS, i, j, I)] / worst)


@kernel
def separate(X, memo, patience, budget, here, wide, I, M, G, S, R):
    """Move parts that are in conflict until none is, or patience or budget runs out.

    X (parts, 4) holds the best poses found, in and out; ``patience`` is the number of
    passes without a gain of 2 %, ``budget`` the candidate poses that may be looked at.
    ``memo`` (3,) carries the search over calls: passes failed (below 0: begin at X), the
    conflict that has to be bettered, the least conflict met, which is returned (0.0: the
    layout in X is valid).
    """
    n = I[mem.N_PARTS]
    if memo[0] < 0:
        memo[1] = memo[2] = put_all(X, I, M, G, S)
        memo[0] = 0.0
    end = S[mem.F_COUNT] + budget
    order = np.empty(n, np.int64)
    best = np.empty((3, 5))
    while memo[2] > 0.0 and memo[0] < patience and S[mem.F_COUNT] < end:
        m = 0
        for i in range(n):
            if conflict_of(i, I, S) > 0.0:
                order[m] = i
                m += 1
        shuffle(order, m, R)
        for i in order[:m]:
            if conflict_of(i, I, S) > 0.0:
                now = better_pose(i, here, wide, best, I, M, G, S, R)
                if best[0, 4] < now:
                    _put_part(i, best[0], I, M, S)
                    measure(i, I, M, G, S)
        total = conflict(I, S)
        if total < memo[2]:
            memo[2] = total
            poses_into(X, I, S)
        if total < 0.98 * memo[1]:
            memo[1], memo[0] = total, 0.0
        else:
            memo[0] += 1.0
        raise_weights(I, S)
    return memo[2]


@kernel
def _slide_back(i, pose, I, M, G, S):
    """Slide a free pose (x, y, turn, flip) of part i towards the start and down, in place."""
    t = mem.type_of(i, I)
    step = size = mem.scale_of(t, I, M) ** 2
    look_around(i, I, M, S)
    while step > 0.002 * size:
        moved = False
        for axis in range(2):
            x = pose[0] - step if axis == 0 else pose[0]
            y = pose[1] - step if axis == 1 else pose[1]
            x, y = into_strip(t, x, y, pose[3], I, M, S)
            if x == pose[0] and y == pose[1]:
                continue
            if cost_at(i, x, y, pose[2], pose[3], 1e-300, I, M, G, S) <= 0.0:
                pose[0], pose[1], moved = x, y, True
                break
        if not moved:
            step *= 0.5


@kernel
def construct(X, order, tries, I, M, G, S, R):
    """Place parts one by one, each where it reaches least far; poses go to X (parts, 4).

    Every part takes the best of ``tries`` random free places, then slides back towards the
    start and down. One that finds none is put where it conflicts least. Returns how many
    found no free place.
    """
    n = I[mem.N_PARTS]
    for i in range(n):
        mem.set_box(i, UNPLACED, UNPLACED, UNPLACED, UNPLACED, S)
    stuck = 0
    farthest = S[mem.F_X0]
    pose = np.empty(4)
    for i in order:
        t = mem.type_of(i, I)
        reach = mem.reach_of(t, I, M)
        found, score = False, 1e300
        look_around(i, I, M, S)
        for trial in range(tries):
            turn, flip = random_turn(t, I, M, R)
            x1 = S[mem.F_X1]
            if found:
                x1 = min(x1, pose[0] + reach)
            elif trial < tries // 2:
                x1 = min(x1, farthest + reach)
            x, y = random_place(t, flip, x1, I, M, G, S, R)
            x, y = into_strip(t, x, y, flip, I, M, S)
            cost = cost_at(i, x, y, turn, flip, 1e-300 if found else score, I, M, G, S)
            _, _, right, top = mem.box_of(n, S)
            reached = right + 0.02 * top
            if (cost <= 0.0 and (not found or reached < score)) or (not found and cost < score):
                found = cost <= 0.0
                score = reached if found else cost
                pose[0], pose[1], pose[2], pose[3] = x, y, turn, flip
        if found:
            _slide_back(i, pose, I, M, G, S)
        else:
            stuck += 1
        _put_part(i, pose, I, M, S)
        if found:
            farthest = max(farthest, mem.box_of(i, S)[2])
        X[i, :] = pose
    return stuck


@kernel
def settle(X, order, I, M, G, S):
    """Slide the parts of a valid layout, in ``order``, back towards the start; X in and out."""
    put_all(X, I, M, G, S)
    for i in order:
        before = X[i, 0], X[i, 1]
        _slide_back(i, X[i], I, M, G, S)
        if (X[i, 0], X[i, 1]) != before:
            _put_part(i, X[i], I, M, S)
