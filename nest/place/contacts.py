"""Compiled loops of the press: the lines that pieces near each other are to stay apart by.

For every pair of convex pieces within reach there is the line between them on which they are
farthest apart, or least across each other: a row (part a, part b, normal from a to b, distance,
effect of a turn of a, of b). Part b is ``GROUND`` for an edge of the ground or a wall of the
strip, and ``FRONT`` for the frontier, from which distances count from x = 0. Effects of turns
are mm per rad. The memory (I, M, S) is that of :mod:`nest.place.kernels`.
"""

from __future__ import annotations

import numpy as np

from nest.place.convex import kernel
from nest.place.kernels import (
    AT_BINS,
    AT_BOXES,
    AT_KINDS,
    AT_PAIRS,
    AT_PIECES,
    AT_PLACED,
    AT_REGIONS,
    AT_SCRATCH,
    AT_TYPE_M,
    AT_TYPES,
    CORNER,
    F_LISTED,
    F_SIZE,
    F_STRIP,
    F_X0,
    F_Y0,
    F_Y1,
    GROUP,
    N_ANGLES,
    N_COLS,
    N_CORNERS,
    N_PARTS,
    N_PIECES,
    N_ROWS,
    PAIR,
    PIECE,
    PLANE,
    POSE,
    REGION,
    TYPE,
    TYPE_M,
    cells_over,
    direction,
    turn_piece,
)

ROW = 7
GROUND, FRONT = -1, -2  # what a row's part b is where it is no part


# ---------------------------------------------------------------- the lines between pieces


@kernel
def _note(rows, m, a, b, n0, n1, distance, vx, vy, S):
    """Write one row if there is room; the contact is at (vx, vy). Returns the count."""
    if m < len(rows):
        p, q = F_SIZE + POSE * a, F_SIZE + POSE * b
        rows[m, 0], rows[m, 1] = a, b
        rows[m, 2], rows[m, 3], rows[m, 4] = n0, n1, distance
        rows[m, 5] = n0 * (vy - S[p + 5]) - n1 * (vx - S[p + 4])
        rows[m, 6] = n1 * (vx - S[q + 4]) - n0 * (vy - S[q + 5]) if b >= 0 else 0.0
    return m + 1


@kernel
def _listed_rows(reach, rows, I, M, S):
    """Rows of all pairs of parts at listed angles whose pieces are within ``reach``."""
    n, m = I[N_PARTS], 0
    for i in range(n):
        p = F_SIZE + POSE * i
        a = I[I[AT_TYPES] + TYPE * I[I[AT_KINDS] + i] + 4] + int(S[p + 7])
        for j in range(n):
            q = F_SIZE + POSE * j
            b = I[I[AT_TYPES] + TYPE * I[I[AT_KINDS] + j] + 4] + int(S[q + 7])
            if j == i or a > b or (a == b and i > j):
                continue
            dx, dy = S[q + 4] - S[p + 4], S[q + 5] - S[p + 5]
            row = I[AT_PAIRS] + a * (I[N_ANGLES] + 1) + b
            for g in range(I[row], I[row + 1], GROUP):
                if (
                    M[g] - reach >= dx
                    or M[g + 2] + reach <= dx
                    or M[g + 1] - reach >= dy
                    or M[g + 3] + reach <= dy
                ):
                    continue
                for h in range(int(M[g + 4]), int(M[g + 5]), PAIR):
                    if (
                        M[h] - reach >= dx
                        or M[h + 2] + reach <= dx
                        or M[h + 1] - reach >= dy
                        or M[h + 3] + reach <= dy
                    ):
                        continue
                    far, at = -1e300, 0
                    for e in range(int(M[h + 4]), int(M[h + 5]), PLANE):
                        d = M[e] * dx + M[e + 1] * dy - M[e + 2]
                        if d > far:
                            far, at = d, e
                    if far < reach:
                        m = _note(rows, m, i, j, M[at], M[at + 1], far, S[p + 4], S[p + 5], S)
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
    n, m, columns = I[N_PARTS], 0, I[N_PIECES]
    for i in range(n):
        p = F_SIZE + POSE * i
        fi = I[AT_TYPES] + TYPE * I[I[AT_KINDS] + i]
        for j in range(i):
            q = F_SIZE + POSE * j
            if (
                S[q] - reach >= S[p + 2]
                or S[q + 2] + reach <= S[p]
                or S[q + 1] - reach >= S[p + 3]
                or S[q + 3] + reach <= S[p + 1]
            ):
                continue
            fj = I[AT_TYPES] + TYPE * I[I[AT_KINDS] + j]
            for g in range(I[fi + 1]):
                box = I[AT_BOXES] + 4 * i * columns + g
                row = I[AT_PIECES] + PIECE * (I[fi] + g)
                a, an = I[AT_PLACED] + CORNER * (i * I[N_CORNERS] + I[row + 2]), I[row + 1]
                for h in range(I[fj + 1]):
                    other = I[AT_BOXES] + 4 * j * columns + h
                    if (
                        S[other] - reach >= S[box + 2 * columns]
                        or S[other + 2 * columns] + reach <= S[box]
                        or S[other + columns] - reach >= S[box + 3 * columns]
                        or S[other + 3 * columns] + reach <= S[box + columns]
                    ):
                        continue
                    row = I[AT_PIECES] + PIECE * (I[fj] + h)
                    b, bn = I[AT_PLACED] + CORNER * (j * I[N_CORNERS] + I[row + 2]), I[row + 1]
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
def _edges_near(rows, m, i, g, p, count, box, reach, I, M, S):
    """Rows of one piece in place against the edges of ground g that are near it."""
    i0, i1, j0, j1 = cells_over(box[0], box[1], box[2], box[3], I, S)
    for j in range(j0, j1 + 1):
        cell = I[AT_BINS] + (g * I[N_ROWS] + j) * (I[N_COLS] + 1)
        if i0 > i1:
            break
        for q in range(I[cell + i0], I[cell + i1 + 1]):
            e = I[q]
            if (
                max(M[e], M[e + 2]) > box[0]
                and min(M[e], M[e + 2]) < box[2]
                and max(M[e + 1], M[e + 3]) > box[1]
                and min(M[e + 1], M[e + 3]) < box[3]
            ):
                m = _ground_row(rows, m, i, p, count, e, reach, M, S)
    return m


@kernel
def _ground_rows(reach, rows, m, I, M, S):
    """Rows of all regions in place whose ground's edge is within ``reach``."""
    box = np.empty(4)
    for i in range(I[N_PARTS]):
        pose = F_SIZE + POSE * i
        x, y, c, n = S[pose + 4], S[pose + 5], S[pose + 8], S[pose + 9]
        row = I[AT_TYPES] + TYPE * I[I[AT_KINDS] + i]
        for r in range(I[row + 2], I[row + 2] + I[row + 3]):
            region = I[AT_REGIONS] + REGION * r
            for k in range(I[region + 1], I[region + 1] + I[region + 2]):
                p, count = I[AT_SCRATCH], I[I[AT_PIECES] + PIECE * k + 1]
                x0, y0, x1, y1 = turn_piece(k, x, y, c, n, p, I, M, S)
                box[0], box[1], box[2], box[3] = x0 - reach, y0 - reach, x1 + reach, y1 + reach
                m = _edges_near(rows, m, i, I[region], p, count, box, reach, I, M, S)
    return m


@kernel
def _corner_in_box(rows, m, i, x, y, reach, S):
    """Rows of one corner of part i against the front and, in a strip, the walls near it."""
    if x > S[F_SIZE + POSE * i + 2] - reach:
        m = _note(rows, m, i, FRONT, 1.0, 0.0, -x, x, y, S)
    if S[F_STRIP] > 0:
        if x < S[F_X0] + reach:
            m = _note(rows, m, i, GROUND, -1.0, 0.0, x - S[F_X0], x, y, S)
        if y < S[F_Y0] + reach:
            m = _note(rows, m, i, GROUND, 0.0, -1.0, y - S[F_Y0], x, y, S)
        if y > S[F_Y1] - reach:
            m = _note(rows, m, i, GROUND, 0.0, 1.0, S[F_Y1] - y, x, y, S)
    return m


@kernel
def _box_rows(reach, rows, m, I, M, S):
    """Rows of the corners near the front and, in a strip, near its walls."""
    for i in range(I[N_PARTS]):
        p = F_SIZE + POSE * i
        if S[F_LISTED] > 0:
            m = _note(rows, m, i, FRONT, 1.0, 0.0, -S[p + 2], S[p + 4], S[p + 5], S)
            m = _note(rows, m, i, GROUND, -1.0, 0.0, S[p] - S[F_X0], S[p + 4], S[p + 5], S)
            m = _note(rows, m, i, GROUND, 0.0, -1.0, S[p + 1] - S[F_Y0], S[p + 4], S[p + 5], S)
            m = _note(rows, m, i, GROUND, 0.0, 1.0, S[F_Y1] - S[p + 3], S[p + 4], S[p + 5], S)
            continue
        row = I[AT_TYPES] + TYPE * I[I[AT_KINDS] + i]
        start = I[AT_PLACED] + CORNER * i * I[N_CORNERS]
        for k in range(I[row], I[row] + I[row + 1]):
            count = I[I[AT_PIECES] + PIECE * k + 1]
            for v in range(start, start + count):
                if not _repeats(v, start, count, S):
                    m = _corner_in_box(rows, m, i, S[v], S[v + count], reach, S)
            start += CORNER * count
    return m


@kernel
def all_rows(reach, rows, I, M, S):
    """Write all rows of the layout in place; returns how many there are."""
    listed = S[F_LISTED] > 0
    m = _listed_rows(reach, rows, I, M, S) if listed else _turned_rows(reach, rows, I, S)
    if S[F_STRIP] <= 0:
        m = _ground_rows(reach, rows, m, I, M, S)
    return _box_rows(reach, rows, m, I, M, S)


@kernel
def moved(X, moves, I, M, S):
    """X (parts, 4) moved by ``moves`` (parts, 3: x, y, angle), turns kept within their windows."""
    out = X.copy()
    for i in range(I[N_PARTS]):
        t = I[I[AT_KINDS] + i]
        p = F_SIZE + POSE * i
        out[i, 0] += moves[i, 0]
        out[i, 1] += moves[i, 1]
        if I[I[AT_TYPES] + TYPE * t + 5] > 0:
            continue
        m = I[AT_TYPE_M] + TYPE_M * t
        angle = np.arctan2(S[p + 9], S[p + 8]) + moves[i, 2] + M[m + 3] - out[i, 3] * np.pi
        turn = angle - direction(out[i, 0], out[i, 1], I, M, S)
        turn -= 2.0 * np.pi * np.round(turn / (2.0 * np.pi))
        out[i, 2] = min(max(turn, -M[m + 2]), M[m + 2])
    return out


@kernel
def slopes(I, M, S):
    """(parts, 2): how the direction of least stretch changes with place, rad/mm."""
    out = np.zeros((I[N_PARTS], 2))
    for i in range(I[N_PARTS]):
        x, y = S[F_SIZE + POSE * i + 4], S[F_SIZE + POSE * i + 5]
        at = direction(x, y, I, M, S)
        for axis in range(2):
            there = direction(x + 1.0 - axis, y + axis, I, M, S)
            out[i, axis] = (there - at + np.pi / 2) % np.pi - np.pi / 2
    return out
