"""How much two parts overlap, at any angles or at listed ones: the callers need not know which.

It is the sum over pairs of their convex pieces of the least translation that parts the pair,
found on the separating axes (the edge normals of both; Gottschalk, Lin & Manocha 1996). It is
positive exactly when the interiors meet, so one number serves as test and as measure. Pieces
that may be turned by any angle are turned and measured. Where all angles are listed, a
table by displacement says the same without them, see :mod:`nest.place.kernels.listed`.
"""

from __future__ import annotations

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.listed import overlap_listed
from nest.place.kernels.poses import set_pose, turn_pieces
from nest.place.kernels.simd import LANES, at, four, less, lower, lowest, next_of, same


@kernel
def lay_out(s, t, I, M, S):
    """Write into row s, of type t, what overlap asks of its pose: the box, and pieces if needed."""
    if S[mem.F_LISTED] > 0:
        x, y, _, _ = mem.pose_of(s, S)
        x0, y0, x1, y1 = mem.box_at_angle(mem.angle_of(s, S), x, y, I, M)
        mem.set_box(s, x0, y0, x1, y1, S)
    else:
        turn_pieces(s, t, I, M, S)


@kernel
def put(s, t, x, y, turn, flip, I, M, S):
    """Put a part of type t into row s."""
    set_pose(s, t, x, y, turn, flip, I, M, S)
    lay_out(s, t, I, M, S)


@kernel
def overlap(s, t, r, limit, I, M, S):
    """Overlap (mm) of row s, of type t, with part r; may stop beyond ``limit`` mm."""
    if S[mem.F_LISTED] <= 0:
        return _overlap_turned(s, t, r, limit, I, S)
    x, y, _, _ = mem.frame_of(s, S)
    rx, ry, _, _ = mem.frame_of(r, S)
    a, b = mem.angle_of(r, S), mem.angle_of(s, S)
    return overlap_listed(a, b, x - rx, y - ry, limit, S[mem.F_TOUCH], I, M)


@kernel
def meeting(q, columns, x0, y0, x1, y1, S):
    """Which of four boxes, in columns from q on, meet a box, as bits."""
    across = less(four(S, q), same(x1)) & less(same(x0), four(S, q + 2 * columns))
    up = less(four(S, q + columns), same(y1)) & less(same(y0), four(S, q + 3 * columns))
    return across & up


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
def _overlap_turned(s, t, r, limit, I, S):
    """Sum of depths over pairs of pieces in place; may stop beyond ``limit``.

    Edges that part two pieces mostly part them at the next pose too, and are tried first: the
    table of parting edges has their number, from 1 on in the piece of s and below 0 in that
    of r. It may be that of another part, which only makes it a bad guess.
    """
    total = 0.0
    touch, columns = S[mem.F_TOUCH], I[mem.N_PIECES]
    first_s, count_s = mem.pieces_of(t, I)
    first_r, count_r = mem.pieces_of(mem.type_of(r, I), I)
    box_s, box_r = mem.placed_boxes(s, I), mem.placed_boxes(r, I)
    rx0, ry0, rx1, ry1 = mem.box_of(r, S)
    for k in range(count_s):
        p = box_s + k
        x0, y0 = at(S, p), at(S, p + columns)
        x1, y1 = at(S, p + 2 * columns), at(S, p + 3 * columns)
        if rx0 >= x1 or rx1 <= x0 or ry0 >= y1 or ry1 <= y0:
            continue
        a, an = mem.placed_corners(s, first_s + k, I)
        slot = I[mem.AT_PARTING] + (r * columns + k) * columns
        for first in range(0, count_r, LANES):
            meets = meeting(box_r + first, columns, x0, y0, x1, y1, S)
            while meets > 0:
                m = first + next_of(meets)
                meets &= meets - 1
                b, bn = mem.placed_corners(r, first_r + m, I)
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
