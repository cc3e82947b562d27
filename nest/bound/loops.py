"""Compiled loops of the bound: signed distances, coverage of cells, and the search of boxes.

A *box* is a square of places times a span of angles: all poses (x, y, a) with \\|x - cx\\| and
\\|y - cy\\| at most half a size, and \\|a - ca\\| at most half a width. At the middle pose a point
of a part that is r from the turning point lies within ``r·width/2 + size/√2`` of where any pose
of the box puts it. So if there it is farther than that from the ground, no pose of the box is
allowed, and the whole box is done with; if not, the box is cut into eight (branch and bound,
Land & Doig 1960).

Angles are in rad, lengths in mm. Level 0 has boxes of ``BOX`` mm and a circle of ``TURNS`` spans;
each level halves both.
"""

import math
from typing import Any

import numpy as np

from nest.compiled import kernel
from nest.part import off_line

BOX = 16.0
TURNS = 24
LEVELS = 7  # of the search for one part's least frontier: boxes of 0.25 mm and 0.23°
PAD = 48.0  # mm; grids reach this far beyond the hide
FAR = 64.0  # mm; distances are told up to here
FREE = 10.0  # degrees between neighbouring nodes; a direction that turns faster isn't relied on

_off_line: Any = kernel(off_line)


@kernel
def signed_distance(edges, x0, y0, cell, out):
    """Fill ``out`` (rows, cols) with the distance to a shape's edges, negative outside.

    ``edges`` is (m, 4): the ends of all edges. Exact at the nodes, cut off at FAR.
    """
    rows, cols = out.shape
    flips = np.zeros((rows, cols + 1), np.bool_)
    out[:] = FAR * FAR
    for e in range(len(edges)):
        ax, ay, bx, by = edges[e]
        dx, dy = bx - ax, by - ay
        square = max(dx * dx + dy * dy, 1e-18)
        i0 = max(0, math.ceil((min(ax, bx) - FAR - x0) / cell))
        i1 = min(cols - 1, math.floor((max(ax, bx) + FAR - x0) / cell))
        j0 = max(0, math.ceil((min(ay, by) - FAR - y0) / cell))
        j1 = min(rows - 1, math.floor((max(ay, by) + FAR - y0) / cell))
        for j in range(j0, j1 + 1):
            py = y0 + j * cell - ay
            for i in range(i0, i1 + 1):
                px = x0 + i * cell - ax
                t = min(max((px * dx + py * dy) / square, 0.0), 1.0)
                qx, qy = px - t * dx, py - t * dy
                out[j, i] = min(out[j, i], qx * qx + qy * qy)
        if dy != 0.0:
            low, high = min(ay, by), max(ay, by)
            for j in range(max(0, math.ceil((low - y0) / cell)), rows):
                y = y0 + j * cell
                if y >= high:
                    break
                at = math.ceil((ax + (y - ay) / dy * dx - x0) / cell)
                flips[j, min(max(at, 0), cols)] ^= True
    for j in range(rows):
        inside = False
        for i in range(cols):
            inside ^= flips[j, i]
            out[j, i] = math.sqrt(out[j, i]) if inside else -math.sqrt(out[j, i])


@kernel
def coverage(edges, x0, y0, cell, out):
    """Add to ``out`` (rows, cols) the area in cells that a shape has in each cell.

    ``edges`` is (m, 4), all rings counter-clockwise about the shape. Each edge, cut at the grid
    lines, takes the area to its right out of its row, or brings it in; the sums along a row do
    the rest (Green's theorem). Out of the grid there must be nothing of the shape.
    """
    rows, cols = out.shape
    acc = np.zeros((rows, cols + 2))
    for e in range(len(edges)):
        ax, ay = (edges[e, 0] - x0) / cell, (edges[e, 1] - y0) / cell
        bx, by = (edges[e, 2] - x0) / cell, (edges[e, 3] - y0) / cell
        dx, dy = bx - ax, by - ay
        if dy == 0.0:
            continue
        t = 0.0
        while t < 1.0:
            i, j, step = _piece(ax, ay, dx, dy, t)
            share = (step - t) * dy
            right = 1.0 - (ax + (t + step) / 2 * dx - i)
            acc[j, i] -= share * right
            acc[j, i + 1] -= share * (1.0 - right)
            t = step
    for j in range(rows):
        total = 0.0
        for i in range(cols):
            total += acc[j, i]
            out[j, i] += min(max(total, 0.0), 1.0)


@kernel
def _piece(ax, ay, dx, dy, t):
    """The cell that an edge is in just after t, and the t where it leaves the cell."""
    middle = t + 1e-9
    i, j = math.floor(ax + middle * dx), math.floor(ay + middle * dy)
    step = 1.0
    if dx > 0.0:
        step = min(step, (i + 1 - ax) / dx)
    elif dx < 0.0:
        step = min(step, (i - ax) / dx)
    step = min(step, (j + 1 - ay) / dy) if dy > 0.0 else min(step, (j - ay) / dy)
    return i, j, min(max(step, t + 1e-9), 1.0)


@kernel
def front(ring, a, half):
    """How far along x a ring (n, 2) surely reaches from its turning point, a ± half turned."""
    c, s = math.cos(a), math.sin(a)
    far, best = 0, -1e18
    for k in range(len(ring)):
        reach = ring[k, 0] * c - ring[k, 1] * s
        if reach > best:
            far, best = k, reach
    x, y = ring[far]
    one = x * math.cos(a - half) - y * math.sin(a - half)
    other = x * math.cos(a + half) - y * math.sin(a + half)
    return min(one, other)


@kernel
def _turned_off(x, y, level, k, facing, place, rule):
    """Whether all of a box is too far off the line of least stretch.

    ``facing`` (rows, cols, 3) holds the cosine and sine of twice the direction on nodes, and
    by how many degrees it differs at most from node to neighbour.
    """
    rows, cols, _ = facing.shape
    x0, y0, spacing = place
    axis, window = rule
    u, v = (x - x0) / spacing, (y - y0) / spacing
    i = min(max(math.floor(u), 0), cols - 2)
    j = min(max(math.floor(v), 0), rows - 2)
    f, g = min(max(u - i, 0.0), 1.0), min(max(v - j, 0.0), 1.0)
    turn = max(
        max(facing[j, i, 2], facing[j, i + 1, 2]), max(facing[j + 1, i, 2], facing[j + 1, i + 1, 2])
    )
    if turn > FREE:
        return False
    c = (1 - g) * ((1 - f) * facing[j, i, 0] + f * facing[j, i + 1, 0])
    c += g * ((1 - f) * facing[j + 1, i, 0] + f * facing[j + 1, i + 1, 0])
    s = (1 - g) * ((1 - f) * facing[j, i, 1] + f * facing[j, i + 1, 1])
    s += g * ((1 - f) * facing[j + 1, i, 1] + f * facing[j + 1, i + 1, 1])
    n = TURNS << level
    angle = (k + 0.5) * 360.0 / n
    size = BOX / (1 << level)
    slack = 180.0 / n + turn * (0.1 + 1.5 * size * 0.7072 / spacing)
    off = _off_line(axis + angle, math.degrees(math.atan2(s, c)) / 2)
    return abs(off) > window + slack


@kernel
def _refuted(x, y, level, c, s, points, depths, grid):
    """Whether some point of the part lies too far out of its ground for all of a box.

    ``points`` is (n, 5): place in the part, radius of a disc of the part round it, distance
    from the turning point, number of its ground. ``depths`` (grounds, rows, cols) is how deep
    in the ground each node lies at most, negative outside.
    """
    _, rows, cols = depths.shape
    x0, y0, cell = grid
    half = math.pi / (TURNS << level)
    around = BOX / (1 << level) * 0.7072
    for k in range(len(points)):
        u = (x + points[k, 0] * c - points[k, 1] * s - x0) / cell
        v = (y + points[k, 0] * s + points[k, 1] * c - y0) / cell
        i, j = math.floor(u + 0.5), math.floor(v + 0.5)
        slack = points[k, 3] * half + around
        if i < 0 or j < 0 or i >= cols or j >= rows:
            if slack < PAD:
                return True
            continue
        depth = depths[int(points[k, 4]), j, i] + math.hypot(u - i, v - j) * cell
        if depth < points[k, 2] - slack:
            return True
    return False


@kernel
def _barred(x, y, a, level, k, part):
    """Whether it is certain that no pose of a box is allowed; ``part`` as below."""
    _, points, depths, grid, facing, place, rule = part
    return _turned_off(x, y, level, k, facing, place, rule) or _refuted(
        x, y, level, math.cos(a), math.sin(a), points, depths, grid
    )


@kernel
def least_frontier(boxes, part, enough, limit):
    """The least frontier in mm of any box of the last level that isn't barred; inf if there's none.

    Parameters
    ----------
    boxes : (n, 4) boxes of level 0 (column, row 0, span, level); (n,) least frontiers in mm of all
        boxes in each one's column, ascending; number of boxes in a column.
    part : what both loops need to know of a part on a hide: (m, 2) corners of its hull, mm;
        points and depths as for :func:`_refuted`; x0, y0 of the depths' corner and their cell, mm;
        facing as for :func:`_turned_off`, and its corner and spacing, mm; axis and window, degrees.
    enough : no frontier (mm) below this is looked for.
    limit : number of boxes to look at before the search goes no deeper.
    """
    ring, grid = part[0], part[3]
    stack = np.empty((8 * LEVELS + 8, 4), np.int64)
    best, seen = np.inf, 0
    for top in range(len(boxes[0]) * boxes[2]):
        if _first(stack, boxes, top) >= best:
            break
        height = 1
        while height > 0:
            height -= 1
            i, j, k, level = stack[height]
            x, y, a, size, half = _middle(i, j, k, level, grid)
            low = x - size / 2 + front(ring, a, half)
            if low >= best:
                continue
            seen += 1
            if _barred(x, y, a, level, k, part):
                continue
            if level < LEVELS - 1 and seen <= limit:
                height = _split(stack, height)
                continue
            best = low
            if best <= enough:
                return best
    return best


@kernel
def _first(stack, boxes, top):
    """Put a box of level 0 on an empty stack; returns the least frontier in its column."""
    tops, lows, rows = boxes
    stack[0] = tops[top // rows]
    stack[0, 1] = top % rows
    return lows[top // rows]


@kernel
def _middle(i, j, k, level, grid):
    """The middle pose of a box, its size in mm, and half its width in rad."""
    size, n = BOX / (1 << level), TURNS << level
    a = (k + 0.5) * 2 * math.pi / n
    return grid[0] + (i + 0.5) * size, grid[1] + (j + 0.5) * size, a, size, math.pi / n


@kernel
def _split(stack, height):
    """Push the eight boxes of the next level in place of the one at ``height``, small x last."""
    i, j, k, level = stack[height]
    for part in range(8):
        stack[height, 0] = 2 * i + 1 - part // 4
        stack[height, 1] = 2 * j + part // 2 % 2
        stack[height, 2] = 2 * k + part % 2
        stack[height, 3] = level + 1
        height += 1
    return height


@kernel
def spans(ring, level, cell, out):
    """Columns of cells, row by row, that a part may touch at any pose of a box.

    ``ring`` (n, 2) has neighbours at most 1 mm apart. ``out`` is (spans, rows, 2), relative to
    the cell of the box's middle (or the one right above it), rows counted from -rows / 2;
    empty rows have a first column beyond the last.
    """
    n, rows = TURNS << level, out.shape[1]
    half, size = math.pi / n, BOX / (1 << level)
    shift = 0.5 if size <= cell else 0.0
    out[:, :, 0], out[:, :, 1] = 1 << 30, -(1 << 30)
    for k in range(n):
        a = (k + 0.5) * 2 * math.pi / n
        c, s = math.cos(a), math.sin(a)
        for p in range(len(ring)):
            x, y = ring[p]
            slack = math.hypot(x, y) * half + size * 0.7072 + 0.5
            u, v = (x * c - y * s) / cell + shift, (x * s + y * c) / cell + shift
            r = slack / cell
            for j in range(math.floor(v - r), math.floor(v + r) + 1):
                gap = max(max(j - v, v - j - 1), 0.0)
                wide = math.sqrt(max(r * r - gap * gap, 0.0))
                row = j + rows // 2
                out[k, row, 0] = min(out[k, row, 0], math.floor(u - wide))
                out[k, row, 1] = max(out[k, row, 1], math.floor(u + wide))


@kernel
def _find(following, j, i):
    """The first cell at or after i in a row that nothing has covered yet; shortens the way."""
    root = i
    while following[j, root] != root:
        root = following[j, root]
    while following[j, i] != root:
        following[j, i], i = root, following[j, i]
    return root


@kernel
def _bare(following, share, j, i, runs, take):
    """The sum of shares in cells that a part at cell (j, i) may touch and nothing has covered yet.

    ``take``: cover them; else the first one will do.
    """
    rows, cols = share.shape
    new = 0.0
    for q in range(len(runs)):
        row = j + q - len(runs) // 2
        first, last = max(i + runs[q, 0], 0), min(i + runs[q, 1], cols - 1)
        if 0 <= row < rows and first <= last:
            at = _find(following, row, first)
            while at <= last:
                new += share[row, at]
                if not take:
                    return new
                following[row, at] = at + 1
                at = _find(following, row, at)
    return new


@kernel
def covered(boxes, part, runs, following, share, frontier, enough, limit):
    """How much of the ground (mm²) the part may touch at all, up to a frontier.

    Parameters
    ----------
    boxes, part : as in :func:`least_frontier`.
    runs : what :func:`spans` says for each level.
    following : (rows, cols + 1) the first column from each cell on that isn't covered yet;
        changed. Cells are as large as boxes of the last of these levels, from the grid's corner on.
    share : (rows, cols) mm² of ground in each cell.
    frontier : mm.
    enough : more than this (mm²) isn't looked for.
    limit : number of boxes to look at before the search goes no deeper.
    """
    ring, grid = part[0], part[3]
    stack = np.empty((8 * LEVELS + 8, 4), np.int64)
    seen, total = 0, 0.0
    for top in range(len(boxes[0]) * boxes[2]):
        if _first(stack, boxes, top) > frontier:
            break
        height = 1
        while height > 0:
            height -= 1
            i, j, k, level = stack[height]
            wide = 1 << (len(runs) - 1 - level)  # cells along a box's side
            row, col = j * wide + wide // 2, i * wide + wide // 2
            if _bare(following, share, row, col, runs[level][k], False) == 0.0:
                continue
            seen += 1
            x, y, a, size, half = _middle(i, j, k, level, grid)
            if x - size / 2 + front(ring, a, half) > frontier:
                continue
            if _barred(x, y, a, level, k, part):
                continue
            if level < len(runs) - 1 and seen <= limit:
                height = _split(stack, height)
                continue
            total += _bare(following, share, row, col, runs[level][k], True)
            if total >= enough:
                return total
    return total
