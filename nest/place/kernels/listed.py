"""Parts at listed angles: what a pair of them can meet, by displacement.

The overlap of two parts at listed angles is a function of their displacement alone. A pair
of angles therefore has a grid over the displacements at which its boxes meet; each cell
lists the pairs of convex pieces that meet somewhere in it, and of their half-planes only
those that are lowest somewhere in it. Nothing is rounded: inside its cell the list gives
the same sum as all half-planes do.
"""

from __future__ import annotations

import numpy as np

from nest.compiled import kernel
from nest.place.kernels import memory as mem
from nest.place.kernels.simd import LANES, at, four, lower, lowest, same

BLOCK = 3 * LANES + 1  # numbers of a block of half-planes
SLACK = 1e-9  # of the numbers at hand, for a place on the border between two cells


@kernel
def overlap_listed(a, b, dx, dy, limit, touch, I, M):
    """Overlap (mm) of listed angles a and b, b displaced by (dx, dy) from a, if above ``touch``.

    May stop beyond ``limit``.
    """
    if a > b:
        a, b, dx, dy = b, a, -dx, -dy
    g = I[mem.AT_GRIDS] + mem.GRID * (a * I[mem.N_ANGLES] + b)
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
def pairs_of(a, b, I, M):
    """Offsets in M of the first pair of pieces of listed angles a <= b, and after the last."""
    g = I[mem.AT_GRIDS] + mem.GRID * (a * I[mem.N_ANGLES] + b)
    return int(M[g + 7]), int(M[g + 8])


@kernel
def _height(planes, k, x, y, half_x, half_y):
    """Height of half-plane k in the middle of a cell, and how much it differs within, or more."""
    slope = abs(planes[k, 0]) * half_x + abs(planes[k, 1]) * half_y
    height = planes[k, 2] - planes[k, 0] * x - planes[k, 1] * y
    return height, slope + SLACK * (abs(height) + abs(planes[k, 2]) + slope)


@kernel
def _kept(planes, first, last, x, y, half_x, half_y, keep):
    """Half-planes that are lowest somewhere within a cell, and the least they come to there.

    Their number is 0 when the pieces can't meet in the cell.
    """
    low = least = 1e300
    for k in range(first, last):
        height, slope = _height(planes, k, x, y, half_x, half_y)
        if height + slope <= 0.0:
            return 0, 0.0
        low, least = min(low, height + slope), min(least, height - slope)
    count = 0
    for k in range(first, last):
        height, slope = _height(planes, k, x, y, half_x, half_y)
        if height - slope <= low:
            keep[count] = k
            count += 1
    return count, least


@kernel
def _grown(table, used, more):
    """The table with room for ``more`` rows beyond those used."""
    if used + more <= len(table):
        return table
    larger = np.empty((2 * len(table) + more, table.shape[1]), table.dtype)
    larger[:used] = table[:used]
    return larger


@kernel
def _blocks(planes, found, used, starts, low):
    """Rows of all cells, from (used, 2) half-planes found: their cell, and number or -1 - it."""
    out = np.zeros(starts[-1])
    rows = starts[:-1].copy()
    for cell in range(len(rows)):
        if starts[cell + 1] > starts[cell]:
            out[rows[cell]] = low[cell]
            rows[cell] += 1
    lane = 0
    for q in range(used):
        cell, k = found[q]
        last = k < 0
        k = -1 - k if last else k
        row = rows[cell]
        for j in range(lane, LANES):  # beyond the last one it is repeated
            out[row + j], out[row + LANES + j] = planes[k, 0], planes[k, 1]
            out[row + 2 * LANES + j] = planes[k, 2]
        out[row + 3 * LANES] = 1.0 if last else 0.0
        lane = 0 if last else (lane + 1) % LANES
        if lane == 0:
            rows[cell] += BLOCK
    return out


@kernel
def cells_of(pairs, planes, x0, y0, wide, high, cols, rows):
    """The lists of all cells of one pair of angles.

    Parameters: pairs (m, 6), boxes of displacements and spans of rows of planes; planes
    (n, 3), normal and offset; the grid's corner, the size of its cells and their number.

    Returns where each cell starts (cols * rows + 1,) in the flat array that follows: a cell that
    is not empty has first the least that the sum can be, then blocks of LANES half-planes:
    normals x, normals y, offsets, and 1 in the last block of a pair of pieces.
    """
    keep = np.empty(len(planes), np.int64)
    found = np.empty((4 * len(planes) + 64, 2), np.int64)
    used = 0
    low = np.zeros(cols * rows)
    starts = np.zeros(cols * rows + 1, np.int64)
    for p in range(len(pairs)):
        i0 = max(0, int((pairs[p, 0] - x0) / wide - SLACK))
        i1 = min(cols - 1, int((pairs[p, 2] - x0) / wide + SLACK))
        j0 = max(0, int((pairs[p, 1] - y0) / high - SLACK))
        j1 = min(rows - 1, int((pairs[p, 3] - y0) / high + SLACK))
        first, last = int(pairs[p, 4]), int(pairs[p, 5])
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                x, y = x0 + (i + 0.5) * wide, y0 + (j + 0.5) * high
                m, least = _kept(planes, first, last, x, y, 0.5 * wide, 0.5 * high, keep)
                if m == 0:
                    continue
                cell = j * cols + i
                head = 1 if starts[cell + 1] == 0 else 0
                starts[cell + 1] += head + BLOCK * ((m + LANES - 1) // LANES)
                low[cell] += max(0.0, least)
                found = _grown(found, used, m)
                for k in range(m):
                    found[used, 0] = cell
                    found[used, 1] = keep[k] if k < m - 1 else -1 - keep[k]
                    used += 1
    for cell in range(cols * rows):
        starts[cell + 1] += starts[cell]
    return starts, _blocks(planes, found, used, starts, low)
