"""How far regions leave the ground they may lie on, and parts the box of the container.

Far from the ground's edge a grid of distances decides. Near it convex pieces are measured
against the edges, found by an index of bins.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.poses import turn_piece
from nest.place.kernels.simd import LANES, four, higher, highest, lower, lowest, same


@kernel
def _distance(g, x, y, G, S):
    """Signed distance (mm) at a place (bilinear), falling further away outside the grid."""
    cell = S[mem.F_CELL]
    u, v = (x - S[mem.F_GX]) / cell, (y - S[mem.F_GY]) / cell
    cu = min(max(u, 0.0), G.shape[2] - 1.001)
    cv = min(max(v, 0.0), G.shape[1] - 1.001)
    i, j = int(cu), int(cv)
    a, b = cu - i, cv - j
    near = (1 - b) * ((1 - a) * G[g, j, i] + a * G[g, j, i + 1]) + b * (
        (1 - a) * G[g, j + 1, i] + a * G[g, j + 1, i + 1]
    )
    return near - cell * (abs(u - cu) + abs(v - cv))


@kernel
def _inside(circle, by, g, x, y, c, n, M, G, S):
    """Is a circle's centre, turned by (c, n) and shifted, nearest to a node so deep in ground g?

    The sign is exact at nodes; outside the grid there is no ground.
    """
    cx, cy = _moved(circle, x, y, c, n, M)
    i = int(np.floor((cx - S[mem.F_GX]) / S[mem.F_CELL] + 0.5))
    j = int(np.floor((cy - S[mem.F_GY]) / S[mem.F_CELL] + 0.5))
    return 0 <= i < G.shape[2] and 0 <= j < G.shape[1] and float(G[g, j, i]) >= by


@kernel
def _moved(p, x, y, c, n, M):
    """The point at p in M, turned by (c, n) and shifted."""
    return c * M[p] - n * M[p + 1] + x, n * M[p] + c * M[p + 1] + y


@kernel
def _edge_depth(p, m, e, M, S):
    """Least translation that takes the piece of m corners at p in S off edge e; 0 when apart."""
    ax, ay, bx, by = M[e], M[e + 1], M[e + 2], M[e + 3]
    low, high = same(1e300), same(-1e300)
    for i in range(p, p + m, LANES):
        d = four(S, i) * M[e + 4] + four(S, i + m) * M[e + 5]
        low, high = lower(low, d), higher(high, d)
    best = min(highest(high) - M[e + 6], M[e + 6] - lowest(low))
    if best <= S[mem.F_TOUCH]:
        return 0.0
    low = same(best)
    for i in range(p, p + m, LANES):
        nx, ny = four(S, i + 2 * m), four(S, i + 3 * m)
        low = lower(low, four(S, i + 4 * m) - lower(nx * ax + ny * ay, nx * bx + ny * by))
    best = lowest(low)
    return best if best > S[mem.F_TOUCH] else 0.0


@kernel
def bins_over(x0, y0, x1, y1, I, S):
    """First and last column, first and last row of the edge index that a box meets."""
    size = S[mem.F_BIN]
    return (
        max(0, int(np.floor((x0 - S[mem.F_GX]) / size))),
        min(I[mem.N_COLS] - 1, int(np.floor((x1 - S[mem.F_GX]) / size))),
        max(0, int(np.floor((y0 - S[mem.F_GY]) / size))),
        min(I[mem.N_ROWS] - 1, int(np.floor((y1 - S[mem.F_GY]) / size))),
    )


@kernel
def edges_in(g, j, i0, i1, I):
    """Where in I the edges of ground g in row j, columns i0 to i1, begin, and where they end."""
    row = I[mem.AT_BINS] + (g * I[mem.N_ROWS] + j) * (I[mem.N_COLS] + 1)
    return (I[row + i0], I[row + i1 + 1]) if i0 <= i1 else (0, 0)


@kernel
def edge_meets(e, x0, y0, x1, y1, M):
    """Does the box of edge e meet a box?"""
    ax, ay, bx, by = M[e], M[e + 1], M[e + 2], M[e + 3]
    return max(ax, bx) > x0 and min(ax, bx) < x1 and max(ay, by) > y0 and min(ay, by) < y1


@kernel
def _piece_stray(g, k, x, y, c, n, I, M, S):
    """Deepest edge of ground g inside piece k, turned by (c, n) and shifted; 0 when none."""
    p, m = I[mem.AT_SCRATCH], mem.corners_of(k, I)[1]
    x0, y0, x1, y1 = turn_piece(k, x, y, c, n, p, I, M, S)
    i0, i1, j0, j1 = bins_over(x0, y0, x1, y1, I, S)
    worst = 0.0
    for j in range(j0, j1 + 1):
        begin, end = edges_in(g, j, i0, i1, I)
        for q in range(begin, end):
            if edge_meets(I[q], x0, y0, x1, y1, M):
                worst = max(worst, _edge_depth(p, m, I[q], M, S))
    return worst


@kernel
def _region_stray(r, x, y, c, n, limit, I, M, G, S):
    """How far a region, turned by (c, n) and shifted, leaves its ground; 0 when inside.

    Beyond ``limit`` any part of the truth will do.

    Far from the edge the distance grid decides. Near it the sum over pieces of the deepest
    edge met is exact in sign; the circles' depth is added so that far strays are drawn back.
    """
    row = I[mem.AT_REGIONS] + mem.REGION * r
    g, around = I[row], I[row + 3]
    slack = mem.GRID_SLACK * S[mem.F_CELL]
    if _inside(around, M[around + 2] + slack, g, x, y, c, n, M, G, S):
        return 0.0
    q = around + mem.CIRCLE + 1
    end = q + mem.CIRCLE * I[row + 4]
    k = q
    while k < end and _inside(k, M[q - 1] + slack, g, x, y, c, n, M, G, S):
        k += mem.CIRCLE
    if k == end:
        return 0.0
    deepest = 0.0
    for k in range(q, end, mem.CIRCLE):
        cx, cy = _moved(k, x, y, c, n, M)
        deepest = max(deepest, M[k + 2] - _distance(g, cx, cy, G, S))
    if deepest > limit and deepest > slack:
        return deepest
    total = 0.0
    for k in range(I[row + 1], I[row + 1] + I[row + 2]):
        p, m = mem.corners_of(k, I)
        p += mem.CORNER * m
        if not _inside(p, M[p + 2] + slack, g, x, y, c, n, M, G, S):
            total += _piece_stray(g, k, x, y, c, n, I, M, S)
            if total > limit:
                return total
    if total > 0.0 or not _inside(q, 0.0, g, x, y, c, n, M, G, S):
        total += max(deepest, 0.01)
    return total


@kernel
def off_ground(s, t, limit, I, M, G, S):
    """How far the regions of row s, of type t, leave their grounds (mm); may stop at ``limit``."""
    if S[mem.F_STRIP] > 0:
        return 0.0
    x, y, c, n = mem.frame_of(s, S)
    begin, end = mem.regions_of(t, I)
    total = 0.0
    for r in range(begin, end):
        total += _region_stray(r, x, y, c, n, limit - total, I, M, G, S)
        if total > limit:
            break
    return total


@kernel
def may_lie(t, x, y, I, M, G, S):
    """Whether the ground is deep enough here for a circle in each region, however it is turned.

    On the way to the circle's centre the distance to the edge grows by no more than that way.
    """
    begin, end = mem.regions_of(t, I)
    for r in range(begin, end):
        region = I[mem.AT_REGIONS] + mem.REGION * r
        q = I[region + 3] + mem.CIRCLE + 1
        deep = M[q + 2] - np.sqrt(M[q] ** 2 + M[q + 1] ** 2) - mem.GRID_SLACK * S[mem.F_CELL]
        if _distance(I[region], x, y, G, S) < deep:
            return False
    return True


@kernel
def off_box(s, S):
    """How far row s passes the frontier and, in a strip, leaves the box (mm)."""
    x0, y0, x1, y1 = mem.box_of(s, S)
    total = max(0.0, x1 - S[mem.F_FRONT])
    if S[mem.F_STRIP] > 0:
        total += (
            max(0.0, S[mem.F_X0] - x0) + max(0.0, S[mem.F_Y0] - y0) + max(0.0, y1 - S[mem.F_Y1])
        )
    return total
