"""Putting parts in place: the angle a pose comes to, the pieces turned, their boxes."""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.simd import LANES, four, higher, highest, lower, lowest, same, store


@kernel
def direction(x, y, I, M, S):
    """Direction of least stretch at a place (mm), rad, bilinear in the double angle."""
    cell, cols = S[mem.F_TURN_CELL], I[mem.N_STRETCH_COLS]
    u = min(max((x - S[mem.F_GX]) / cell, 0.0), cols - 1.001)
    v = min(max((y - S[mem.F_GY]) / cell, 0.0), I[mem.N_STRETCH_ROWS] - 1.001)
    i, j = int(u), int(v)
    a, b = u - i, v - j
    p = I[mem.AT_STRETCH] + 2 * (j * cols + i)
    q = p + 2 * cols
    w0, w1, w2, w3 = (1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b
    cs = w0 * M[p] + w1 * M[p + 2] + w2 * M[q] + w3 * M[q + 2]
    sn = w0 * M[p + 1] + w1 * M[p + 3] + w2 * M[q + 1] + w3 * M[q + 3]
    return 0.5 * np.arctan2(sn, cs)


@kernel
def set_pose(s, t, x, y, turn, flip, I, M, S):
    """Write a pose of type t and its angle into row s; box and pieces are not yet there."""
    p = mem.F_SIZE + mem.POSE * s
    first, count = mem.angles_of(t, I)
    if count > 0:
        S[p + 10] = first + int(flip)
        a = I[mem.AT_ANGLES] + mem.ANGLE * (first + int(flip))
        c, n = M[a], M[a + 1]
    else:
        angle = direction(x, y, I, M, S) + turn + flip * np.pi - mem.axis_of(t, I, M)
        c, n = np.cos(angle), np.sin(angle)
    S[p + 4], S[p + 5], S[p + 6], S[p + 7], S[p + 8], S[p + 9] = x, y, turn, flip, c, n


@kernel
def turn_piece(k, x, y, c, n, out, I, M, S):
    """Write the corners of piece k, turned by (c, n) and shifted, to ``out`` in S; their box."""
    at, m = mem.corners_of(k, I)
    x0 = y0 = same(1e300)
    x1 = y1 = same(-1e300)
    for i in range(0, m, LANES):
        p, q = at + i, out + i
        px, py = four(M, p), four(M, p + m)
        wx, wy = px * c - py * n + x, px * n + py * c + y
        px, py = four(M, p + 2 * m), four(M, p + 3 * m)
        nx, ny = px * c - py * n, px * n + py * c
        store(S, q, wx)
        store(S, q + m, wy)
        store(S, q + 2 * m, nx)
        store(S, q + 3 * m, ny)
        store(S, q + 4 * m, four(M, p + 4 * m) + nx * x + ny * y)
        x0, x1, y0, y1 = lower(x0, wx), higher(x1, wx), lower(y0, wy), higher(y1, wy)
    return lowest(x0), lowest(y0), highest(x1), highest(y1)


@kernel
def turn_pieces(s, t, I, M, S):
    """Write the pieces of type t, as the pose in row s has them, and all boxes, into row s."""
    x, y, c, n = mem.frame_of(s, S)
    first, count = mem.pieces_of(t, I)
    out, _ = mem.placed_corners(s, first, I)
    box, columns = mem.placed_boxes(s, I), I[mem.N_PIECES]
    bx0, by0, bx1, by1 = 1e300, 1e300, -1e300, -1e300
    for k in range(first, first + count):
        x0, y0, x1, y1 = turn_piece(k, x, y, c, n, out, I, M, S)
        out += mem.CORNER * mem.corners_of(k, I)[1]
        S[box], S[box + columns], S[box + 2 * columns], S[box + 3 * columns] = x0, y0, x1, y1
        box += 1
        bx0, by0, bx1, by1 = min(bx0, x0), min(by0, y0), max(bx1, x1), max(by1, y1)
    for _ in range(-count % LANES):
        S[box] = 1e300
        box += 1
    mem.set_box(s, bx0, by0, bx1, by1, S)
