"""Compiled index of what a pair of parts at listed angles can meet, by displacement.

The overlap of two parts at listed angles is a function of their displacement alone. A pair
of angles therefore has a grid over the displacements at which its boxes meet; each cell
lists the pairs of convex pieces that meet somewhere in it, and of their half-planes only
those that are lowest somewhere in it. Nothing is rounded: inside its cell the list gives
the same sum as all half-planes do.
"""

from __future__ import annotations

import numpy as np

from nest.place.convex import kernel

SLACK = 1e-9  # of the numbers at hand, for a place on the border between two cells


@kernel
def _kept(planes, first, last, x, y, half_x, half_y, keep):
    """Half-planes that are lowest somewhere within a cell, and the least they come to there.

    Their number is 0 when the pieces can't meet in the cell.
    """
    low = least = 1e300
    for k in range(first, last):
        slope = abs(planes[k, 0]) * half_x + abs(planes[k, 1]) * half_y
        height = planes[k, 2] - planes[k, 0] * x - planes[k, 1] * y
        slope += SLACK * (abs(height) + abs(planes[k, 2]) + slope)
        if height + slope <= 0.0:
            return 0, 0.0
        low, least = min(low, height + slope), min(least, height - slope)
    count = 0
    for k in range(first, last):
        slope = abs(planes[k, 0]) * half_x + abs(planes[k, 1]) * half_y
        height = planes[k, 2] - planes[k, 0] * x - planes[k, 1] * y
        slope += SLACK * (abs(height) + abs(planes[k, 2]) + slope)
        if height - slope <= low:
            keep[count] = k
            count += 1
    return count, least


@kernel
def cells_of(pairs, planes, x0, y0, wide, high, cols, rows):
    """The lists of all cells of one pair of angles.

    Parameters: pairs (m, 6), boxes of displacements and spans of rows of planes; planes
    (n, 3), normal and offset; the grid's corner, the size of its cells and their number.

    Returns the first row of each cell (cols * rows + 1,) and the rows (k, 4): in a cell that
    is not empty first the least that the sum can be, then half-planes: normal, offset, and 1
    on the last one of a pair of pieces.
    """
    keep = np.empty(len(planes), np.int64)
    found = np.empty((4 * len(planes) + 64, 2), np.int64)  # cell, plane; last ones are -1 - plane
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
                starts[cell + 1] += m + (1 if starts[cell + 1] == 0 else 0)
                low[cell] += max(0.0, least)
                if used + m > len(found):
                    more = np.empty((2 * len(found) + m, 2), np.int64)
                    more[:used] = found[:used]
                    found = more
                for k in range(m):
                    found[used, 0] = cell
                    found[used, 1] = keep[k] if k < m - 1 else -1 - keep[k]
                    used += 1
    for cell in range(cols * rows):
        starts[cell + 1] += starts[cell]
    out = np.zeros((starts[-1], 4))
    at = starts[:-1] + 1
    for cell in range(cols * rows):
        if starts[cell + 1] > starts[cell]:
            out[starts[cell], 0] = low[cell]
    for q in range(used):
        cell, k = found[q]
        row = at[cell]
        at[cell] += 1
        if k < 0:
            k = -1 - k
            out[row, 3] = 1.0
        out[row, 0], out[row, 1], out[row, 2] = planes[k, 0], planes[k, 1], planes[k, 2]
    return starts, out
