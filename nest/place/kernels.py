"""Compiled loops of the search: arrays and scalars in, arrays and scalars out.

Nothing here knows of hides, parts or units beyond millimetres and radians, and nothing
raises; ``shapes`` fills the memory described below, ``search`` calls the loops.

The overlap of two parts is the sum over pairs of their convex pieces of the least
translation that parts the pair, found on the separating axes (the edge normals of both;
Gottschalk, Lin & Manocha 1996). It is positive exactly when the interiors meet, so one
number serves as test and as measure. Weights on pairs that stay in conflict are raised
until the search leaves a bad arrangement by itself: guided local search (Voudouris &
Tsang 1999), used for cutting by Egeblad, Nielsen & Odgaard 2007 and Umetani et al. 2009;
samples refined by adaptive coordinate descent follow Gardeyn, Vanden Berghe & Wauters 2025.

Memory
------
Everything lives in five arrays, which every loop takes last and in this order. Passing
two dozen arrays, singly or in a tuple, costs more than a small overlap test (a factor of
three to eight on the whole search was measured), so tables are rows in flat arrays and are
found through the offsets at the head of ``I``.

``I`` int64, shared
    The head, see the ``AT_`` and ``N_`` names; then the tables

    * kinds: the type of each part;
    * types, rows of 6: first piece, pieces, first region, regions, first angle, angles
      (0: any angle within the window);
    * pieces, rows of 3: offset of the corners in M, corners, corners of the type before;
    * regions, rows of 5: ground, first piece, pieces, offset of the first circle in M, circles;
    * pairs, (angles, angles + 1): offset in M of the first group of angles a <= b;
    * bins, (grounds, rows, columns + 1): position in I of a cell's first edge;
      the lists of edges (offsets in M) follow;
    * cells of pairs of listed angles: offset in M where each one starts, and an end.
``M`` float64, shared
    * types, rows of 5: 4th root of the area, reach (farthest corner from the origin),
      window and axis in rad, area;
    * corners, per piece the columns x, y; outward normal of the edge that starts there;
      support, the largest normal · corner over the piece. Their number is a multiple of
      LANES, the last one is repeated. Then centre x, y and radius of a circle round it;
    * regions, rows of 4: centre x, y and radius of a circle round the region; the radius at
      which its own circles cover it;
    * circles, rows of 3: centre and radius, inside a region, largest first;
    * angles, rows of 7: a listed angle in rad, cosine, sine, box of the type at that angle;
    * groups, rows of 6: box of the displacements of b from a at which one piece of a meets
      any of b, and offsets in M of its first pair and the one after the last;
    * pairs, rows of 6: the same for two pieces, with the offsets of their planes;
    * planes, rows of 3: normal and offset; pieces meet where offset - normal · d > 0;
    * cells, see :func:`nest.place.cells.cells_of`;
    * grids, (angles, angles) rows of 7, for a <= b: first corner of the grid over the
      displacements of b from a; inverse size of its cells; last column and row; where the
      cells begin in I;
    * edges of the grounds, rows of 7: x0, y0, x1, y1, unit normal, normal · point;
    * stretch, (rows, columns, 2): cosine and sine of twice the direction of least stretch.
``G`` float32 (grounds, rows, columns), shared
    Distance to the ground's edge at grid nodes, positive inside; the sign is exact, the
    size good to GRID_SLACK cells once interpolated.
``S`` float64, one per worker
    The parameters, see the ``F_`` names; then the tables

    * poses, rows of 10: box x0, y0, x1, y1; x, y, turn, flip (or number of the listed
      angle); cosine and sine of the angle. One row per part, the last is the candidate's;
    * corners of pieces in place (as in M) and boxes of pieces, of the same rows; boxes are
      the columns x0, y0, x1, y1, and those up to the next multiple of LANES are empty;
    * weights of pairs (parts, parts) and of strays (parts,);
    * overlaps (parts, parts) and strays (parts,), both times the sizes of the parts;
    * scratch for one piece;
    * parts around one part, and parts near it, 8 columns each: box; what overlap costs, per
      mm; the number of the part, or of its listed angle; x and y. Boxes up to the next
      multiple of LANES are empty;
    * parting edges (parts, pieces, pieces), of the part being tried and each other one: which
      edges last parted two pieces, see :func:`_overlap_turned`.
``R`` uint64 (1,), one per worker
    State of the random numbers.
"""

from __future__ import annotations

import numpy as np

from nest.place.cells import BLOCK
from nest.place.convex import kernel, next_random
from nest.place.lanes import (
    LANES,
    at,
    four,
    higher,
    highest,
    less,
    lower,
    lowest,
    next_of,
    same,
    store,
)

# The head of I: counts, and offsets of tables in I, M and S.
N_PARTS, N_ANGLES, N_COLS, N_ROWS = 0, 1, 2, 3  # columns and rows of the bins
AT_KINDS, AT_TYPES, AT_PIECES, AT_REGIONS, AT_PAIRS, AT_BINS = 4, 5, 6, 7, 8, 9
AT_TYPE_M, AT_REGION_M, AT_ANGLES, AT_STRETCH = 10, 11, 12, 13
N_STRETCH_COLS, N_STRETCH_ROWS = 14, 15
AT_PLACED, AT_BOXES, AT_PAIR_WEIGHTS, AT_OWN_WEIGHTS = 16, 17, 18, 19
AT_OVERLAPS, AT_STRAYS, AT_SCRATCH = 20, 21, 22
N_CORNERS, N_PIECES = 23, 24  # most corners and pieces of a type: rows of the tables in place
AT_GRIDS, AT_AROUND, AT_PARTING, N_AROUND = 25, 26, 27, 28  # N_AROUND: rows of a column
HEAD = 29

# The head of S: parameters. Poses follow at F_SIZE.
F_X0, F_Y0, F_X1, F_Y1 = 0, 1, 2, 3  # box of the container; in a strip parts stay inside it
F_FRONT = 4  # parts may not reach beyond this x
F_CELL, F_GX, F_GY = 5, 6, 7  # grid of G: cell size and first node
F_TURN_CELL = 8  # cell size of stretch (same first node)
F_BIN = 9  # cell size of bins (same first node)
F_STRIP = 10  # 1: the container is the box alone; 0: it is ground
F_LISTED = 11  # 1: all angles come from lists, and pairs of them have half-planes
F_TOUCH = 12  # mm; depth below which pieces count as touching
F_COUNT = 13  # candidate poses looked at
F_AROUND, F_NEAR = 14, 15  # how many parts are around one part, and near it: see look_around
F_NEAR_X0, F_NEAR_Y0, F_NEAR_X1, F_NEAR_Y1 = 16, 17, 18, 19  # box beyond which near is not enough
F_SIZE = 20

# Strides of a refinement along x, y and the two diagonals; the fifth is the turn.
STRIDES = np.array([[1.0, 0.0], [0.0, 1.0], [0.7071, 0.7071], [0.7071, -0.7071], [0.0, 0.0]])
LOOKS = 20  # for a random place that may do, before any will: where a seventh of the box may,
# one time in twenty none of them is found
NEAR = 3.0  # first strides of a refinement within which the parts near are listed
UNPLACED = 1e7  # where the box of a part is that is not yet placed
GRID_SLACK = 1.6  # cells; the grid's own error (0.83) and that of interpolation (0.71)

TYPE, PIECE, REGION = 6, 3, 5  # row lengths in I
TYPE_M, CORNER, REGION_M, CIRCLE, ANGLE = 5, 5, 4, 3, 7  # in M
GROUP, PAIR, PLANE, EDGE = 6, 6, 3, 7  # in M
GRID = 7  # in M
POSE, AROUND = 10, 8  # row lengths in S


# ---------------------------------------------------------------- putting a part in place


@kernel
def direction(x, y, I, M, S):
    """Direction of least stretch at a place, rad, bilinear in the double angle."""
    cell, cols = S[F_TURN_CELL], I[N_STRETCH_COLS]
    u = min(max((x - S[F_GX]) / cell, 0.0), cols - 1.001)
    v = min(max((y - S[F_GY]) / cell, 0.0), I[N_STRETCH_ROWS] - 1.001)
    i, j = int(u), int(v)
    a, b = u - i, v - j
    p = I[AT_STRETCH] + 2 * (j * cols + i)
    q = p + 2 * cols
    w0, w1, w2, w3 = (1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b
    cs = w0 * M[p] + w1 * M[p + 2] + w2 * M[q] + w3 * M[q + 2]
    sn = w0 * M[p + 1] + w1 * M[p + 3] + w2 * M[q + 1] + w3 * M[q + 3]
    return 0.5 * np.arctan2(sn, cs)


@kernel
def turn_piece(k, x, y, c, n, out, I, M, S):
    """Write the corners of piece k, turned by (c, n) and shifted, to ``out`` in S; their box."""
    row = I[AT_PIECES] + PIECE * k
    m = I[row + 1]
    x0 = y0 = same(1e300)
    x1 = y1 = same(-1e300)
    for i in range(0, m, LANES):
        p, q = I[row] + i, out + i
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
def _turn_pieces(s, t, x, y, c, n, I, M, S):
    """Write the pieces of type t, turned by (c, n) and shifted, and all boxes, into row s."""
    first = I[AT_TYPES] + TYPE * t
    count, columns = I[first + 1], I[N_PIECES]
    out = I[AT_PLACED] + CORNER * s * I[N_CORNERS]
    box = I[AT_BOXES] + 4 * s * columns
    bx0, by0, bx1, by1 = 1e300, 1e300, -1e300, -1e300
    for k in range(I[first], I[first] + count):
        x0, y0, x1, y1 = turn_piece(k, x, y, c, n, out, I, M, S)
        out += CORNER * I[I[AT_PIECES] + PIECE * k + 1]
        S[box], S[box + columns], S[box + 2 * columns], S[box + 3 * columns] = x0, y0, x1, y1
        box += 1
        bx0, by0, bx1, by1 = min(bx0, x0), min(by0, y0), max(bx1, x1), max(by1, y1)
    for _ in range(-count % LANES):
        S[box] = 1e300
        box += 1
    p = F_SIZE + POSE * s
    S[p], S[p + 1], S[p + 2], S[p + 3] = bx0, by0, bx1, by1


@kernel
def _pose(s, t, x, y, turn, flip, I, M, S):
    """Write a pose and its angle into row s; box and pieces follow with _put_posed."""
    p = F_SIZE + POSE * s
    row = I[AT_TYPES] + TYPE * t
    if I[row + 5] > 0:
        a = I[AT_ANGLES] + ANGLE * (I[row + 4] + int(flip))
        c, n = M[a + 1], M[a + 2]
    else:
        axis = M[I[AT_TYPE_M] + TYPE_M * t + 3]
        angle = direction(x, y, I, M, S) + turn + flip * np.pi - axis
        c, n = np.cos(angle), np.sin(angle)
    S[p + 4], S[p + 5], S[p + 6], S[p + 7], S[p + 8], S[p + 9] = x, y, turn, flip, c, n


@kernel
def _put_posed(s, t, I, M, S):
    """Write box and pieces of the pose in row s. With listed angles pieces are not needed."""
    p = F_SIZE + POSE * s
    x, y = S[p + 4], S[p + 5]
    if S[F_LISTED] > 0:
        a = I[AT_ANGLES] + ANGLE * (I[I[AT_TYPES] + TYPE * t + 4] + int(S[p + 7]))
        S[p], S[p + 1], S[p + 2], S[p + 3] = M[a + 3] + x, M[a + 4] + y, M[a + 5] + x, M[a + 6] + y
    else:
        _turn_pieces(s, t, x, y, S[p + 8], S[p + 9], I, M, S)


@kernel
def put(s, t, x, y, turn, flip, I, M, S):
    """Put a part of type t into row s."""
    _pose(s, t, x, y, turn, flip, I, M, S)
    _put_posed(s, t, I, M, S)


# ---------------------------------------------------------------- overlap


@kernel
def _depths(e, an, b, bn, S):
    """How deep piece b is behind each of four edges from ``e`` on, of a piece of an corners."""
    n0, n1 = four(S, e + 2 * an), four(S, e + 3 * an)
    low = n0 * at(S, b) + n1 * at(S, b + bn)
    for k in range(b + 1, b + bn):
        low = lower(low, n0 * at(S, k) + n1 * at(S, k + bn))
    return four(S, e + 4 * an) - low


@kernel
def _least_depth(a, an, b, bn, touch, S):
    """Least depth of piece b behind the edges of piece a, and where the edges it is found at are.

    Where edges part the two it is not above ``touch``, and the rest is not looked at.
    """
    best, found = 1e300, a
    for e in range(a, a + an, LANES):
        depth = lowest(_depths(e, an, b, bn, S))
        if depth < best:
            best, found = depth, e
            if best <= touch:
                break
    return best, found


@kernel
def _meeting(q, columns, x0, y0, x1, y1, S):
    """Which of four boxes, in columns from q on, meet a box (lanes of the same), as bits."""
    across = less(four(S, q), x1) & less(x0, four(S, q + 2 * columns))
    return across & less(four(S, q + columns), y1) & less(y0, four(S, q + 3 * columns))


@kernel
def _overlap_turned(s, r, ts, tr, limit, I, S):
    """Sum of depths over pairs of pieces of rows s and r; may stop beyond ``limit``.

    Edges that part two pieces mostly part them at the next pose too, and are tried first: the
    table of parting edges has their number, from 1 on in the piece of s and below 0 in that
    of r. It may be that of another part, which only makes it a bad guess.
    """
    total = 0.0
    touch = S[F_TOUCH]
    columns = I[N_PIECES]
    fs, fr = I[AT_TYPES] + TYPE * ts, I[AT_TYPES] + TYPE * tr
    place_s = I[AT_PLACED] + CORNER * s * I[N_CORNERS]
    place_r = I[AT_PLACED] + CORNER * r * I[N_CORNERS]
    box_s, box_r = I[AT_BOXES] + 4 * s * columns, I[AT_BOXES] + 4 * r * columns
    q = F_SIZE + POSE * r
    rx0, ry0, rx1, ry1 = at(S, q), at(S, q + 1), at(S, q + 2), at(S, q + 3)
    for k in range(I[fs + 1]):
        p = box_s + k
        x0, y0 = at(S, p), at(S, p + columns)
        x1, y1 = at(S, p + 2 * columns), at(S, p + 3 * columns)
        if rx0 >= x1 or rx1 <= x0 or ry0 >= y1 or ry1 <= y0:
            continue
        row = I[AT_PIECES] + PIECE * (I[fs] + k)
        a, an = place_s + CORNER * I[row + 2], I[row + 1]
        slot = I[AT_PARTING] + (r * columns + k) * columns
        u0, v0, u1, v1 = same(x0), same(y0), same(x1), same(y1)
        for first in range(0, I[fr + 1], LANES):
            meets = _meeting(box_r + first, columns, u0, v0, u1, v1, S)
            while meets > 0:
                m = first + next_of(meets)
                meets &= meets - 1
                row = I[AT_PIECES] + PIECE * (I[fr] + m)
                b, bn = place_r + CORNER * I[row + 2], I[row + 1]
                edge = int(at(S, slot + m))
                if 0 < edge <= an and lowest(_depths(a + edge - 1, an, b, bn, S)) <= touch:
                    continue
                if -bn <= edge < 0 and lowest(_depths(b - edge - 1, bn, a, an, S)) <= touch:
                    continue
                depth, found = _least_depth(a, an, b, bn, touch, S)
                if depth <= touch:
                    S[slot + m] = found - a + 1
                    continue
                other, found = _least_depth(b, bn, a, an, touch, S)
                if other <= touch:
                    S[slot + m] = b - found - 1
                    continue
                total += min(depth, other)
                if total > limit:
                    return total
    return total


@kernel
def _overlap_listed(a, b, dx, dy, limit, touch, I, M):
    """The same sum for listed angles a and b, b displaced by (dx, dy) from a."""
    if a > b:
        a, b, dx, dy = b, a, -dx, -dy
    g = I[AT_GRIDS] + GRID * (a * I[N_ANGLES] + b)
    i = min(max(int((dx - at(M, g)) * at(M, g + 2)), 0), int(at(M, g + 4)))
    j = min(max(int((dy - at(M, g + 1)) * at(M, g + 3)), 0), int(at(M, g + 5)))
    cell = int(at(M, g + 6)) + j * (int(at(M, g + 4)) + 1) + i
    first, last = at(I, cell), at(I, cell + 1)
    if first == last:
        return 0.0
    if at(M, first) > limit:
        return at(M, first)
    total, low = 0.0, same(1e300)
    for k in range(first + 1, last, BLOCK):
        x, y = four(M, k), four(M, k + LANES)
        low = lower(low, four(M, k + 2 * LANES) - x * dx - y * dy)
        if at(M, k + 3 * LANES) > 0.0:
            depth = lowest(low)
            if depth > touch:
                total += depth
                if total > limit:
                    return total
            low = same(1e300)
    return total


@kernel
def _overlap(s, r, ts, tr, limit, I, M, S):
    """Overlap (mm) of rows s and r, whose types are ts and tr; may stop beyond ``limit``."""
    if S[F_LISTED] <= 0:
        return _overlap_turned(s, r, ts, tr, limit, I, S)
    p, q = F_SIZE + POSE * s, F_SIZE + POSE * r
    a = I[I[AT_TYPES] + TYPE * tr + 4] + int(S[q + 7])
    b = I[I[AT_TYPES] + TYPE * ts + 4] + int(S[p + 7])
    return _overlap_listed(a, b, S[p + 4] - S[q + 4], S[p + 5] - S[q + 5], limit, S[F_TOUCH], I, M)


# ---------------------------------------------------------------- ground


@kernel
def _distance(g, x, y, G, S):
    """Signed distance at a place (bilinear), falling further away outside the grid."""
    cell = S[F_CELL]
    u, v = (x - S[F_GX]) / cell, (y - S[F_GY]) / cell
    cu = min(max(u, 0.0), G.shape[2] - 1.001)
    cv = min(max(v, 0.0), G.shape[1] - 1.001)
    i, j = int(cu), int(cv)
    a, b = cu - i, cv - j
    near = (1 - b) * ((1 - a) * G[g, j, i] + a * G[g, j, i + 1]) + b * (
        (1 - a) * G[g, j + 1, i] + a * G[g, j + 1, i + 1]
    )
    return near - cell * (abs(u - cu) + abs(v - cv))


@kernel
def _node(g, x, y, G, S):
    """Value at the nearest node of the grid, whose sign is exact there; outside the grid none."""
    i = int(np.floor((x - S[F_GX]) / S[F_CELL] + 0.5))
    j = int(np.floor((y - S[F_GY]) / S[F_CELL] + 0.5))
    if i < 0 or j < 0 or i >= G.shape[2] or j >= G.shape[1]:
        return -1e300
    return float(G[g, j, i])


@kernel
def _edge_depth(p, m, e, M, S):
    """Least translation that takes the piece of m corners at p in S off edge e; 0 when apart."""
    ax, ay, bx, by = M[e], M[e + 1], M[e + 2], M[e + 3]
    low, high = same(1e300), same(-1e300)
    for i in range(p, p + m, LANES):
        d = four(S, i) * M[e + 4] + four(S, i + m) * M[e + 5]
        low, high = lower(low, d), higher(high, d)
    best = min(highest(high) - M[e + 6], M[e + 6] - lowest(low))
    if best <= S[F_TOUCH]:
        return 0.0
    low = same(best)
    for i in range(p, p + m, LANES):
        nx, ny = four(S, i + 2 * m), four(S, i + 3 * m)
        low = lower(low, four(S, i + 4 * m) - lower(nx * ax + ny * ay, nx * bx + ny * by))
    best = lowest(low)
    return best if best > S[F_TOUCH] else 0.0


@kernel
def cells_over(x0, y0, x1, y1, I, S):
    """First and last column, first and last row of the edge index that a box meets."""
    size = S[F_BIN]
    return (
        max(0, int(np.floor((x0 - S[F_GX]) / size))),
        min(I[N_COLS] - 1, int(np.floor((x1 - S[F_GX]) / size))),
        max(0, int(np.floor((y0 - S[F_GY]) / size))),
        min(I[N_ROWS] - 1, int(np.floor((y1 - S[F_GY]) / size))),
    )


@kernel
def _piece_stray(g, k, x, y, c, n, I, M, S):
    """Deepest edge of ground g inside piece k, turned by (c, n) and shifted; 0 when none."""
    p, m = I[AT_SCRATCH], I[I[AT_PIECES] + PIECE * k + 1]
    x0, y0, x1, y1 = turn_piece(k, x, y, c, n, p, I, M, S)
    i0, i1, j0, j1 = cells_over(x0, y0, x1, y1, I, S)
    worst = 0.0
    for j in range(j0, j1 + 1):
        cell = I[AT_BINS] + (g * I[N_ROWS] + j) * (I[N_COLS] + 1)
        if i0 > i1:
            break
        for q in range(I[cell + i0], I[cell + i1 + 1]):
            e = I[q]
            ax, ay, bx, by = M[e], M[e + 1], M[e + 2], M[e + 3]
            if max(ax, bx) > x0 and min(ax, bx) < x1 and max(ay, by) > y0 and min(ay, by) < y1:
                worst = max(worst, _edge_depth(p, m, e, M, S))
    return worst


@kernel
def _region_stray(r, x, y, c, n, limit, I, M, G, S):
    """How far a region, turned by (c, n) and shifted, leaves its ground; 0 when inside.

    Beyond ``limit`` any part of the truth will do.

    Far from the edge the distance grid decides. Near it the sum over pieces of the deepest
    edge met is exact in sign; the circles' depth is added so that far strays are drawn back.
    """
    row, m = I[AT_REGIONS] + REGION * r, I[AT_REGION_M] + REGION_M * r
    g = I[row]
    slack = GRID_SLACK * S[F_CELL]
    cx, cy = c * M[m] - n * M[m + 1] + x, n * M[m] + c * M[m + 1] + y
    if _node(g, cx, cy, G, S) >= M[m + 2] + slack:
        return 0.0
    q, end = I[row + 3], I[row + 3] + CIRCLE * I[row + 4]
    by = M[m + 3] + slack
    k = q
    while k < end:
        if _node(g, c * M[k] - n * M[k + 1] + x, n * M[k] + c * M[k + 1] + y, G, S) < by:
            break
        k += CIRCLE
    if k == end:
        return 0.0
    deepest = 0.0
    for k in range(q, end, CIRCLE):
        d = _distance(g, c * M[k] - n * M[k + 1] + x, n * M[k] + c * M[k + 1] + y, G, S)
        deepest = max(deepest, M[k + 2] - d)
    if deepest > limit and deepest > slack:
        return deepest
    total = 0.0
    for k in range(I[row + 1], I[row + 1] + I[row + 2]):
        piece = I[AT_PIECES] + PIECE * k
        p = I[piece] + CORNER * I[piece + 1]
        cx, cy = c * M[p] - n * M[p + 1] + x, n * M[p] + c * M[p + 1] + y
        if _node(g, cx, cy, G, S) < M[p + 2] + slack:
            total += _piece_stray(g, k, x, y, c, n, I, M, S)
            if total > limit:
                return total
    cx, cy = c * M[q] - n * M[q + 1] + x, n * M[q] + c * M[q + 1] + y
    if total > 0.0 or _node(g, cx, cy, G, S) <= 0.0:
        total += max(deepest, 0.01)
    return total


@kernel
def _off_ground(s, t, limit, I, M, G, S):
    """How far the regions of the part in row s leave their grounds (mm); see _region_stray."""
    if S[F_STRIP] > 0:
        return 0.0
    p = F_SIZE + POSE * s
    row = I[AT_TYPES] + TYPE * t
    total = 0.0
    for r in range(I[row + 2], I[row + 2] + I[row + 3]):
        total += _region_stray(r, S[p + 4], S[p + 5], S[p + 8], S[p + 9], limit - total, I, M, G, S)
        if total > limit:
            break
    return total


@kernel
def may_lie(t, x, y, I, M, G, S):
    """Whether the ground is deep enough here for a circle in each region, however it is turned.

    On the way to the circle's centre the distance to the edge grows by no more than that way.
    """
    row = I[AT_TYPES] + TYPE * t
    for r in range(I[row + 2], I[row + 2] + I[row + 3]):
        region = I[AT_REGIONS] + REGION * r
        q = I[region + 3]
        deep = M[q + 2] - np.sqrt(M[q] ** 2 + M[q + 1] ** 2) - GRID_SLACK * S[F_CELL]
        if _distance(I[region], x, y, G, S) < deep:
            return False
    return True


@kernel
def _off_box(s, S):
    """How far the part in row s passes the frontier and, in a strip, leaves the box (mm)."""
    p = F_SIZE + POSE * s
    total = max(0.0, S[p + 2] - S[F_FRONT])
    if S[F_STRIP] > 0:
        total += max(0.0, S[F_X0] - S[p]) + max(0.0, S[F_Y0] - S[p + 1])
        total += max(0.0, S[p + 3] - S[F_Y1])
    return total


# ---------------------------------------------------------------- moving one part


@kernel
def look_around(i, I, M, S):
    """List the other parts for :func:`cost_at` of part i: boxes, places and what overlap costs.

    Whatever moves a part or a weight makes the list out of date.
    """
    n, kinds = I[N_PARTS], I[AT_KINDS]
    listed = S[F_LISTED] > 0
    scale = M[I[AT_TYPE_M] + TYPE_M * I[kinds + i]]
    w = first = I[AT_AROUND]
    q, m = F_SIZE, I[N_AROUND]
    for j in range(n):
        if j != i and S[q] < UNPLACED:
            r = I[kinds + j]
            S[w], S[w + m], S[w + 2 * m], S[w + 3 * m] = S[q], S[q + 1], S[q + 2], S[q + 3]
            weight = S[I[AT_PAIR_WEIGHTS] + i * n + j]
            S[w + 4 * m] = weight * scale * M[I[AT_TYPE_M] + TYPE_M * r]
            S[w + 5 * m] = I[I[AT_TYPES] + TYPE * r + 4] + S[q + 7] if listed else float(j)
            S[w + 6 * m], S[w + 7 * m] = S[q + 4], S[q + 5]
            w += 1
        q += POSE
    S[F_AROUND] = _closed(first, w, S)
    S[F_NEAR_X0] = 1e300


@kernel
def _closed(first, end, S):
    """Close a list with empty boxes up to a multiple of LANES; how long it is then."""
    while (end - first) % LANES > 0:
        S[end] = 1e300
        end += 1
    return end - first


@kernel
def _look_near(t, pose, margin, I, M, S):
    """List those parts around that meet the box of a pose, grown; inside it they suffice."""
    if S[F_LISTED] > 0:
        a = I[AT_ANGLES] + ANGLE * (I[I[AT_TYPES] + TYPE * t + 4] + int(pose[3])) + 3
        x0, y0 = pose[0] + M[a] - margin, pose[1] + M[a + 1] - margin
        x1, y1 = pose[0] + M[a + 2] + margin, pose[1] + M[a + 3] + margin
    else:
        margin += M[I[AT_TYPE_M] + TYPE_M * t + 1]
        x0, y0, x1, y1 = pose[0] - margin, pose[1] - margin, pose[0] + margin, pose[1] + margin
    w, m = I[AT_AROUND], I[N_AROUND]
    v = near = w + AROUND * m
    for _ in range(int(S[F_AROUND])):
        if not (S[w] >= x1 or S[w + 2 * m] <= x0 or S[w + m] >= y1 or S[w + 3 * m] <= y0):
            for c in range(0, AROUND * m, m):
                S[v + c] = S[w + c]
            v += 1
        w += 1
    S[F_NEAR] = _closed(near, v, S)
    S[F_NEAR_X0], S[F_NEAR_Y0], S[F_NEAR_X1], S[F_NEAR_Y1] = x0, y0, x1, y1


@kernel
def _listed_for(x0, y0, x1, y1, I, S):
    """Where the shortest list is that has all parts around that meet a box, and its end."""
    q = I[AT_AROUND]
    if x0 >= S[F_NEAR_X0] and y0 >= S[F_NEAR_Y0] and x1 <= S[F_NEAR_X1] and y1 <= S[F_NEAR_Y1]:
        q += AROUND * I[N_AROUND]
        return q, q + int(S[F_NEAR])
    return q, q + int(S[F_AROUND])


@kernel
def cost_at(i, x, y, turn, flip, limit, I, M, G, S):
    """Weighted conflict of part i if it had this pose; may stop early above ``limit``.

    What surrounds the part is as :func:`look_around` found it.
    """
    S[F_COUNT] += 1.0
    n = I[N_PARTS]
    t = I[I[AT_KINDS] + i]
    scale = M[I[AT_TYPE_M] + TYPE_M * t]
    weight = S[I[AT_OWN_WEIGHTS] + i] * scale * scale
    listed, strip = S[F_LISTED] > 0, S[F_STRIP] > 0
    stray, angle = 0.0, 0
    p = F_SIZE + POSE * n
    # The ground first: it needs no pieces, and most places tried are off it or too deep.
    if not (listed and strip):
        _pose(n, t, x, y, turn, flip, I, M, S)
        stray = _off_ground(n, t, limit / weight, I, M, G, S)
        if weight * stray >= limit:
            return weight * stray
    if listed:
        angle = I[I[AT_TYPES] + TYPE * t + 4] + int(flip)
        a = I[AT_ANGLES] + ANGLE * angle
        x0, y0, x1, y1 = M[a + 3] + x, M[a + 4] + y, M[a + 5] + x, M[a + 6] + y
        S[p], S[p + 1], S[p + 2], S[p + 3] = x0, y0, x1, y1
    else:
        _put_posed(n, t, I, M, S)
        x0, y0, x1, y1 = S[p], S[p + 1], S[p + 2], S[p + 3]
    stray += max(0.0, x1 - S[F_FRONT])
    if strip:
        stray += max(0.0, S[F_X0] - x0) + max(0.0, S[F_Y0] - y0) + max(0.0, y1 - S[F_Y1])
    cost = 0.0
    if stray > S[F_TOUCH]:
        cost = weight * stray
        if cost >= limit:
            return cost
    touch, m = S[F_TOUCH], I[N_AROUND]
    u0, v0, u1, v1 = same(x0), same(y0), same(x1), same(y1)
    q, end = _listed_for(x0, y0, x1, y1, I, S)
    for first in range(q, end, LANES):
        meets = _meeting(first, m, u0, v0, u1, v1, S)
        while meets > 0:
            j = first + next_of(meets)
            meets &= meets - 1
            k, other = at(S, j + 4 * m), int(at(S, j + 5 * m))
            most = (limit - cost) / k
            if listed:
                dx, dy = x - at(S, j + 6 * m), y - at(S, j + 7 * m)
                depth = _overlap_listed(other, angle, dx, dy, most, touch, I, M)
            else:
                depth = _overlap_turned(n, other, t, I[I[AT_KINDS] + other], most, I, S)
            if depth > 0.0:
                cost += k * depth
                if cost >= limit:
                    return cost
    return cost


@kernel
def _room(t, flip, I, M, S):
    """Where a part with listed angles is inside the strip: lowest x and y, highest x and y."""
    row = I[AT_TYPES] + TYPE * t
    if S[F_STRIP] <= 0 or I[row + 5] == 0:
        return -1e300, -1e300, 1e300, 1e300
    a = I[AT_ANGLES] + ANGLE * (I[row + 4] + int(flip)) + 3
    x0, y0 = S[F_X0] - M[a], S[F_Y0] - M[a + 1]
    x1, y1 = min(S[F_X1], S[F_FRONT]) - M[a + 2], S[F_Y1] - M[a + 3]
    return x0, y0, max(x0, x1), max(y0, y1)


@kernel
def _into_strip(t, x, y, flip, I, M, S):
    """In a strip, the nearest place where a part with listed angles is inside the box."""
    x0, y0, x1, y1 = _room(t, flip, I, M, S)
    return max(x0, min(x, x1)), max(y0, min(y, y1))


@kernel
def _random_turn(t, I, M, R):
    """A random turn within the window and a random flip (or one of the listed angles)."""
    angles = I[I[AT_TYPES] + TYPE * t + 5]
    if angles > 0:
        return 0.0, float(int(next_random(R) * angles))
    turn = M[I[AT_TYPE_M] + TYPE_M * t + 2] * (2.0 * next_random(R) - 1.0)
    return turn, 1.0 if next_random(R) < 0.5 else 0.0


@kernel
def _random_place(t, flip, x1, I, M, G, S, R):
    """A place up to x1, uniform over the container, or over where the part fits in a strip.

    While the whole hide is open, it is uniform over where the part may lie, as far as one look
    tells that: 60 % of a hide then take half the work. Once a frontier is drawn in, places off
    the ground are left as they are, for they are soon done with.
    """
    x0, y0, y1 = S[F_X0], S[F_Y0], S[F_Y1]
    row = I[AT_TYPES] + TYPE * t
    if S[F_STRIP] > 0 and I[row + 5] > 0:
        a = I[AT_ANGLES] + ANGLE * (I[row + 4] + int(flip)) + 3
        x0, y0, x1, y1 = x0 - M[a], y0 - M[a + 1], x1 - M[a + 2], y1 - M[a + 3]
    looks = 1 if S[F_STRIP] > 0 or S[F_FRONT] < S[F_X1] else LOOKS
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
    t = I[I[AT_KINDS] + i]
    window = M[I[AT_TYPE_M] + TYPE_M * t + 2]
    free = I[I[AT_TYPES] + TYPE * t + 5] == 0 and window > 0
    least_tilt = tilt * least / step if free else np.inf
    x0, y0, x1, y1 = _room(t, pose[3], I, M, S)
    _look_near(t, pose, NEAR * step, I, M, S)
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
    t = I[I[AT_KINDS] + i]
    size = M[I[AT_TYPE_M] + TYPE_M * t] ** 2
    p = F_SIZE + POSE * i
    x, y, turn, flip = S[p + 4], S[p + 5], S[p + 6], S[p + 7]
    look_around(i, I, M, S)
    now = cost_at(i, x, y, turn, flip, 1e300, I, M, G, S)
    best[0, 0], best[0, 1], best[0, 2], best[0, 3], best[0, 4] = x, y, turn, flip, now
    best[1, 4] = best[2, 4] = 1e300
    x1 = min(S[F_X1], S[F_FRONT])
    for k in range(here + wide):
        tu, fl = _random_turn(t, I, M, R)
        if k >= here:
            cx, cy = _random_place(t, fl, x1, I, M, G, S, R)
        else:
            cx, cy = x + size * (next_random(R) - 0.5), y + size * (next_random(R) - 0.5)
            if next_random(R) < 0.5:
                tu, fl = turn, flip
        cx, cy = _into_strip(t, cx, cy, fl, I, M, S)
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


# ---------------------------------------------------------------- all parts together


@kernel
def _measure(i, I, M, G, S):
    """Recompute the overlaps of part i and how far it strays."""
    n, kinds = I[N_PARTS], I[AT_KINDS]
    t = I[kinds + i]
    scale = M[I[AT_TYPE_M] + TYPE_M * t]
    stray = _off_ground(i, t, 1e300, I, M, G, S) + _off_box(i, S)
    S[I[AT_STRAYS] + i] = stray * scale * scale if stray > S[F_TOUCH] else 0.0
    p = F_SIZE + POSE * i
    over = I[AT_OVERLAPS]
    for j in range(n):
        depth = 0.0
        q = F_SIZE + POSE * j
        if j != i and not (
            S[q] >= S[p + 2] or S[q + 2] <= S[p] or S[q + 1] >= S[p + 3] or S[q + 3] <= S[p + 1]
        ):
            r = I[kinds + j]
            depth = _overlap(i, j, t, r, 1e300, I, M, S) * scale * M[I[AT_TYPE_M] + TYPE_M * r]
        S[over + i * n + j] = S[over + j * n + i] = depth


@kernel
def _conflict_of(i, I, S):
    n = I[N_PARTS]
    total = S[I[AT_STRAYS] + i]
    for k in range(I[AT_OVERLAPS] + i * n, I[AT_OVERLAPS] + (i + 1) * n):
        total += S[k]
    return total


@kernel
def _total(I, S):
    n = I[N_PARTS]
    total = 0.0
    for i in range(n):
        total += S[I[AT_STRAYS] + i]
        for j in range(i):
            total += S[I[AT_OVERLAPS] + i * n + j]
    return total


@kernel
def put_all(X, I, M, G, S):
    """Put every part at its row of X (parts, 4: x, y, turn, flip); returns the conflict."""
    n = I[N_PARTS]
    for i in range(n):
        put(i, I[I[AT_KINDS] + i], X[i, 0], X[i, 1], X[i, 2], X[i, 3], I, M, S)
    for i in range(n):
        _measure(i, I, M, G, S)
    return _total(I, S)


@kernel
def _raise_weights(I, S):
    """Conflicts gain weight with their share of the worst one, the rest relax towards 1.

    Small conflicts hardly gain, so that the worst are steered round first. By the work to a
    fixed density on eight open strips, a common gain for all (1.2 to 2) is as good or somewhat
    worse, within the noise of six runs; one of 1.4 to 3 takes three times as much.
    """
    n, over, stray = I[N_PARTS], I[AT_OVERLAPS], I[AT_STRAYS]
    pairs, own = I[AT_PAIR_WEIGHTS], I[AT_OWN_WEIGHTS]
    worst = 0.0
    for i in range(n):
        worst = max(worst, S[stray + i])
        for j in range(i):
            worst = max(worst, S[over + i * n + j])
    if worst <= 0.0:
        return
    for i in range(n):
        share = S[stray + i] / worst
        S[own + i] = S[own + i] * (1.0 + 0.8 * share) if share > 0 else max(1.0, 0.95 * S[own + i])
        for j in range(i):
            share = S[over + i * n + j] / worst
            w = S[pairs + i * n + j]
            w = w * (1.0 + 0.8 * share) if share > 0 else max(1.0, 0.95 * w)
            S[pairs + i * n + j] = S[pairs + j * n + i] = w


@kernel
def separate(X, memo, patience, budget, here, wide, I, M, G, S, R):
    """Move parts that are in conflict until none is, or patience or budget runs out.

    X (parts, 4) holds the best poses found, in and out; ``patience`` is the number of
    passes without a gain of 2 %, ``budget`` the candidate poses that may be looked at.
    ``memo`` (3,) carries the search over calls: passes failed (below 0: begin at X), the
    conflict that has to be bettered, the least conflict met, which is returned (0.0: the
    layout in X is valid).
    """
    n = I[N_PARTS]
    if memo[0] < 0:
        memo[1] = memo[2] = put_all(X, I, M, G, S)
        memo[0] = 0.0
    end = S[F_COUNT] + budget
    order = np.empty(n, np.int64)
    best = np.empty((3, 5))
    while memo[2] > 0.0 and memo[0] < patience and S[F_COUNT] < end:
        m = 0
        for i in range(n):
            if _conflict_of(i, I, S) > 0.0:
                order[m] = i
                m += 1
        for k in range(m - 1, 0, -1):
            j = int(next_random(R) * (k + 1))
            order[k], order[j] = order[j], order[k]
        for k in range(m):
            i = order[k]
            if _conflict_of(i, I, S) > 0.0:
                now = better_pose(i, here, wide, best, I, M, G, S, R)
                if best[0, 4] < now:
                    t = I[I[AT_KINDS] + i]
                    put(i, t, best[0, 0], best[0, 1], best[0, 2], best[0, 3], I, M, S)
                    _measure(i, I, M, G, S)
        total = _total(I, S)
        if total < memo[2]:
            memo[2] = total
            for i in range(n):
                p = F_SIZE + POSE * i
                X[i, 0], X[i, 1], X[i, 2], X[i, 3] = S[p + 4], S[p + 5], S[p + 6], S[p + 7]
        if total < 0.98 * memo[1]:
            memo[1], memo[0] = total, 0.0
        else:
            memo[0] += 1.0
        _raise_weights(I, S)
    return memo[2]


@kernel
def _slide_back(i, pose, I, M, G, S):
    """Slide a free pose (x, y, turn, flip) of part i towards the start and down, in place."""
    t = I[I[AT_KINDS] + i]
    size = M[I[AT_TYPE_M] + TYPE_M * t] ** 2
    step = size
    look_around(i, I, M, S)
    while step > 0.002 * size:
        moved = False
        for axis in range(2):
            x = pose[0] - step if axis == 0 else pose[0]
            y = pose[1] - step if axis == 1 else pose[1]
            x, y = _into_strip(t, x, y, pose[3], I, M, S)
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
    n = I[N_PARTS]
    for i in range(n):
        p = F_SIZE + POSE * i
        S[p] = S[p + 1] = S[p + 2] = S[p + 3] = UNPLACED
    stuck = 0
    farthest = S[F_X0]
    pose = np.empty(4)
    for k in range(n):
        i = order[k]
        t = I[I[AT_KINDS] + i]
        reach = M[I[AT_TYPE_M] + TYPE_M * t + 1]
        found, score = False, 1e300
        look_around(i, I, M, S)
        for trial in range(tries):
            turn, flip = _random_turn(t, I, M, R)
            x1 = S[F_X1]
            if found:
                x1 = min(x1, pose[0] + reach)
            elif trial < tries // 2:
                x1 = min(x1, farthest + reach)
            x, y = _random_place(t, flip, x1, I, M, G, S, R)
            x, y = _into_strip(t, x, y, flip, I, M, S)
            cost = cost_at(i, x, y, turn, flip, 1e-300 if found else score, I, M, G, S)
            p = F_SIZE + POSE * n
            reached = S[p + 2] + 0.02 * S[p + 3]
            if (cost <= 0.0 and (not found or reached < score)) or (not found and cost < score):
                found = cost <= 0.0
                score = reached if found else cost
                pose[0], pose[1], pose[2], pose[3] = x, y, turn, flip
        if found:
            _slide_back(i, pose, I, M, G, S)
        else:
            stuck += 1
        put(i, t, pose[0], pose[1], pose[2], pose[3], I, M, S)
        if found:
            farthest = max(farthest, S[F_SIZE + POSE * i + 2])
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
            put(i, I[I[AT_KINDS] + i], X[i, 0], X[i, 1], X[i, 2], X[i, 3], I, M, S)
