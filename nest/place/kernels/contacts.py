"""The lines that pieces near each other are to stay apart by, for all parts moved at once.

For every pair of convex pieces within reach there is the line between them on which they are
farthest apart, or least across each other: a row (part a, part b, normal from a to b, distance,
effect of a turn of a, of b). Part b is ``GROUND`` for an edge of the ground or a wall of the
strip, and ``FRONT`` for the frontier, from which distances count from x = 0. Distances are mm,
effects of turns mm per rad.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.ground import bins_over, edge_meets, edges_in
from nest.place.kernels.listed import pairs_of
from nest.place.kernels.poses import direction, turn_piece

ROW = 7
GROUND, FRONT = -1, -2  # what a row's part b is where it is no part


# ---------------------------------------------------------------- the lines between pieces


@kernel
def _note(rows, m, a, b, n0, n1, distance, vx, vy, S):
    """Write one row if there is room; the contact is at (vx, vy). Returns the count."""
    if m < len(rows):
        x, y, _, _ = mem.pose_of(a, S)
        rows[m, 0], rows[m, 1] = a, b
        rows[m, 2], rows[m, 3], rows[m, 4] = n0, n1, distance
        rows[m, 5], rows[m, 6] = n0 * (vy - y) - n1 * (vx - x), 0.0
        if b >= 0:
            x, y, _, _ = mem.pose_of(b, S)
            rows[m, 6] = n1 * (vx - x) - n0 * (vy - y)
    return m + 1


@kernel
def _near(p, q, step, reach, S):
    """Is the box at p in S within ``reach`` of that at q? Their numbers are ``step`` apart."""
    return not (
        S[q] - reach >= S[p + 2 * step]
        or S[q + 2 * step] + reach <= S[p]
        or S[q + step] - reach >= S[p + 3 * step]
        or S[q + 3 * step] + reach <= S[p + step]
    )


@kernel
def _listed_rows(reach, rows, I, M, S):
    """Rows of all pairs of parts at listed angles whose pieces are within ``reach``."""
    m = 0
    for i in range(I[mem.N_PARTS]):
        x, y, _, _ = mem.pose_of(i, S)
        a = mem.angle_of(i, S)
        for j in range(I[mem.N_PARTS]):
            jx, jy, _, _ = mem.pose_of(j, S)
            b = mem.angle_of(j, S)
            if j == i or a > b or (a == b and i > j):
                continue
            dx, dy = jx - x, jy - y
            first, end = pairs_of(a, b, I, M)
            for h in range(first, end, mem.PAIR):
                if (
                    M[h] - reach >= dx
                    or M[h + 2] + reach <= dx
                    or M[h + 1] - reach >= dy
                    or M[h + 3] + reach <= dy
                ):
                    continue
                far, at = -1e300, 0
                for e in range(int(M[h + 4]), int(M[h + 5]), mem.PLANE):
                    d = M[e] * dx + M[e + 1] * dy - M[e + 2]
                    if d > far:
                        far, at = d, e
                if far < reach:
                    m = _note(rows, m, i, j, M[at], M[at + 1], far, x, y, S)
    return m


@kernel
def _best_axis(a, an, b, bn, S):
    """Edge of piece a (an corners) across which piece b is farthest, and that distance."""
    far, at = -1e300, a
    for i in range(a, a + an):
        low = 1e300
        for j in range(b, b + bn):
            low = min(low, S[i + 2 * an] * S[j] + S[i + 3 * an] * S[j + bn])
        if low - S[i + 4 * an] > far:
            far, at = low - S[i + 4 * an], i
    return far, at


@kernel
def _repeats(v, p, m, S):
    """Is corner v of the m corners at p the one before once more?"""
    return v > p and S[v] == S[v - 1] and S[v + m] == S[v + m - 1]


@kernel
def _corner_rows(rows, m, i, j, sign, edge, an, b, bn, reach, S):
    """Rows of all corners of piece b that are within ``reach`` of the line of an edge."""
    n0, n1 = S[edge + 2 * an], S[edge + 3 * an]
    for v in range(b, b + bn):
        d = n0 * S[v] + n1 * S[v + bn] - S[edge + 4 * an]
        if d < reach and not _repeats(v, b, bn, S):
            m = _note(rows, m, i, j, sign * n0, sign * n1, d, S[v], S[v + bn], S)
    return m


@kernel
def _turned_rows(reach, rows, I, S):
    """Rows of all pairs of parts in place whose pieces are within ``reach``."""
    m, columns = 0, I[mem.N_PIECES]
    for i in range(I[mem.N_PARTS]):
        first_i, count_i = mem.pieces_of(mem.type_of(i, I), I)
        for j in range(i):
            if not _near(mem.F_SIZE + mem.POSE * i, mem.F_SIZE + mem.POSE * j, 1, reach, S):
                continue
            first_j, count_j = mem.pieces_of(mem.type_of(j, I), I)
            for g in range(count_i):
                a, an = mem.placed_corners(i, first_i + g, I)
                for h in range(count_j):
                    box, other = mem.placed_boxes(i, I) + g, mem.placed_boxes(j, I) + h
                    if not _near(box, other, columns, reach, S):
                        continue
                    b, bn = mem.placed_corners(j, first_j + h, I)
                    far_a, at_a = _best_axis(a, an, b, bn, S)
                    far_b, at_b = _best_axis(b, bn, a, an, S)
                    if max(far_a, far_b) >= reach:
                        continue
                    if far_a >= far_b:
                        m = _corner_rows(rows, m, i, j, 1.0, at_a, an, b, bn, far_a + reach, S)
                    else:
                        m = _corner_rows(rows, m, i, j, -1.0, at_b, bn, a, an, far_b + reach, S)
    return m


@kernel
def _ground_row(rows, m, i, p, count, e, reach, M, S):
    """Rows of a piece of part i (``count`` corners at p in S) against one edge of its ground."""
    low, high = 1e300, -1e300
    for v in range(p, p + count):
        d = M[e + 4] * S[v] + M[e + 5] * S[v + count]
        low, high = min(low, d), max(high, d)
    # The edge's line, from the side on which the piece is; then the piece's own edges.
    sign = 1.0 if M[e + 6] - high >= low - M[e + 6] else -1.0
    far, at = max(M[e + 6] - high, low - M[e + 6]), -1
    for v in range(p, p + count):
        n0, n1 = S[v + 2 * count], S[v + 3 * count]
        d = min(n0 * M[e] + n1 * M[e + 1], n0 * M[e + 2] + n1 * M[e + 3]) - S[v + 4 * count]
        if d > far:
            far, at = d, v
    if far >= reach:
        return m
    if at >= 0:
        n0, n1 = S[at + 2 * count], S[at + 3 * count]
        for c in range(0, 4, 2):
            d = n0 * M[e + c] + n1 * M[e + c + 1] - S[at + 4 * count]
            if d < far + reach:
                m = _note(rows, m, i, GROUND, n0, n1, d, M[e + c], M[e + c + 1], S)
        return m
    n0, n1 = sign * M[e + 4], sign * M[e + 5]
    for v in range(p, p + count):
        d = sign * M[e + 6] - n0 * S[v] - n1 * S[v + count]
        if d < far + reach and not _repeats(v, p, count, S):
            m = _note(rows, m, i, GROUND, n0, n1, d, S[v], S[v + count], S)
    return m


@kernel
def _region_rows(rows, m, i, r, reach, I, M, S):
    """Rows of the pieces of region r of part i against the edges of its ground near them."""
    x, y, c, n = mem.frame_of(i, S)
    region, p = I[mem.AT_REGIONS] + mem.REGION * r, I[mem.AT_SCRATCH]
    for k in range(I[region + 1], I[region + 1] + I[region + 2]):
        x0, y0, x1, y1 = turn_piece(k, x, y, c, n, p, I, M, S)
        x0, y0, x1, y1 = x0 - reach, y0 - reach, x1 + reach, y1 + reach
        i0, i1, j0, j1 = bins_over(x0, y0, x1, y1, I, S)
        for j in range(j0, j1 + 1):
            begin, end = edges_in(I[region], j, i0, i1, I)
            for q in range(begin, end):
                if edge_meets(I[q], x0, y0, x1, y1, M):
                    m = _ground_row(rows, m, i, p, mem.corners_of(k, I)[1], I[q], reach, M, S)
    return m


@kernel
def _ground_rows(reach, rows, m, I, M, S):
    """Rows of all regions in place whose ground's edge is within ``reach``."""
    for i in range(I[mem.N_PARTS]):
        begin, end = mem.regions_of(mem.type_of(i, I), I)
        for r in range(begin, end):
            m = _region_rows(rows, m, i, r, reach, I, M, S)
    return m


@kernel
def _corner_in_box(rows, m, i, x, y, reach, S):
    """Rows of one corner of part i against the front and, in a strip, the walls near it."""
    if x > mem.box_of(i, S)[2] - reach:
        m = _note(rows, m, i, FRONT, 1.0, 0.0, -x, x, y, S)
    if S[mem.F_STRIP] > 0:
        if x < S[mem.F_X0] + reach:
            m = _note(rows, m, i, GROUND, -1.0, 0.0, x - S[mem.F_X0], x, y, S)
        if y < S[mem.F_Y0] + reach:
            m = _note(rows, m, i, GROUND, 0.0, -1.0, y - S[mem.F_Y0], x, y, S)
        if y > S[mem.F_Y1] - reach:
            m = _note(rows, m, i, GROUND, 0.0, 1.0, S[mem.F_Y1] - y, x, y, S)
    return m


@kernel
def _listed_box_rows(rows, m, I, S):
    """Rows of all parts at listed angles against the front and the walls."""
    for i in range(I[mem.N_PARTS]):
        x, y, _, _ = mem.pose_of(i, S)
        x0, y0, x1, y1 = mem.box_of(i, S)
        m = _note(rows, m, i, FRONT, 1.0, 0.0, -x1, x, y, S)
        m = _note(rows, m, i, GROUND, -1.0, 0.0, x0 - S[mem.F_X0], x, y, S)
        m = _note(rows, m, i, GROUND, 0.0, -1.0, y0 - S[mem.F_Y0], x, y, S)
        m = _note(rows, m, i, GROUND, 0.0, 1.0, S[mem.F_Y1] - y1, x, y, S)
    return m


@kernel
def _turned_box_rows(reach, rows, m, I, S):
    """Rows of the corners near the front and, in a strip, near its walls."""
    for i in range(I[mem.N_PARTS]):
        first, pieces = mem.pieces_of(mem.type_of(i, I), I)
        for k in range(first, first + pieces):
            start, count = mem.placed_corners(i, k, I)
            for v in range(start, start + count):
                if not _repeats(v, start, count, S):
                    m = _corner_in_box(rows, m, i, S[v], S[v + count], reach, S)
    return m


@kernel
def all_rows(reach, rows, I, M, S):
    """Write all rows of the layout in place (within ``reach`` mm); returns how many there are."""
    listed = S[mem.F_LISTED] > 0
    m = _listed_rows(reach, rows, I, M, S) if listed else _turned_rows(reach, rows, I, S)
    if S[mem.F_STRIP] <= 0:
        m = _ground_rows(reach, rows, m, I, M, S)
    if listed:
        return _listed_box_rows(rows, m, I, S)
    return _turned_box_rows(reach, rows, m, I, S)


@kernel
def moved(X, moves, I, M, S):
    """X (parts, 4: x, y, turn, flip) moved by ``moves`` (parts, 3: x, y in mm, angle in rad).

    Turns are kept within their windows.
    """
    out = X.copy()
    for i in range(I[mem.N_PARTS]):
        t = mem.type_of(i, I)
        _, _, c, n = mem.frame_of(i, S)
        out[i, 0] += moves[i, 0]
        out[i, 1] += moves[i, 1]
        if mem.angles_of(t, I)[1] > 0:
            continue
        angle = np.arctan2(n, c) + moves[i, 2] + mem.axis_of(t, I, M) - out[i, 3] * np.pi
        turn = angle - direction(out[i, 0], out[i, 1], I, M, S)
        turn -= 2.0 * np.pi * np.round(turn / (2.0 * np.pi))
        window = mem.window_of(t, I, M)
        out[i, 2] = min(max(turn, -window), window)
    return out


@kernel
def slopes(I, M, S):
    """(parts, 2): how the direction of least stretch changes with place, rad/mm."""
    out = np.zeros((I[mem.N_PARTS], 2))
    for i in range(I[mem.N_PARTS]):
        x, y, _, _ = mem.pose_of(i, S)
        here = direction(x, y, I, M, S)
        for axis in range(2):
            there = direction(x + 1.0 - axis, y + axis, I, M, S)
            out[i, axis] = (there - here + np.pi / 2) % np.pi - np.pi / 2
    return out


@kernel
def facts(I, M):
    """(parts, 4): 1 where a part may turn, else 0; its reach, mm, window, rad, and size, mm."""
    out = np.empty((I[mem.N_PARTS], 4))
    for i in range(I[mem.N_PARTS]):
        t = mem.type_of(i, I)
        out[i, 0] = 1.0 if mem.angles_of(t, I)[1] == 0 else 0.0
        out[i, 1], out[i, 2] = mem.reach_of(t, I, M), mem.window_of(t, I, M)
        out[i, 3] = mem.scale_of(t, I, M) ** 2
    return out
