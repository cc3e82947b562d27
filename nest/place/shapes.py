"""Parts and ground brought into the arrays that the kernels read.

Two promises are made here, and everything after relies on them:

* the search shape of a part contains the part grown by half the gap, so that search shapes
  that do not overlap mean parts that keep their gap;
* the ground handed in is where a region may lie, and regions are only ever made larger, so
  that a region inside it in the search is inside it in truth.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides import outline
from hides.outline import FloatArray, polygons_of
from nest.place import kernels as k
from nest.place.cells import cells_of
from nest.place.convex import fewest_convex
from nest.place.lanes import LANES

IntArray = NDArray[np.int64]

SIMPLIFY = 0.15  # mm; search shapes may be this much larger than they need: fewer corners
RESERVE = 0.02  # mm; kept beside that, far above rounding, far below the checker's concern
CELL = 4.0  # mm; grid of the distance to the ground's edge
BIN = 24.0  # mm; grid of the edge index
TURN_CELL = 6.0  # mm; grid of the stretch direction: within 0.05° where it turns smoothly,
TURN_NODES = 60_000  # and finer on small leather, which has no more nodes than this
PAD = 48.0  # mm; grids reach this far beyond the container
TOUCH = 1e-5  # mm; depth that counts as touching
# Cells to a side of a pair's grid, for pairs of few pieces and of many: the fastest of 4 to 32 on
# five open strips; finer ones take more memory than they save work.
CELLS = (8, 16)
FEW_PAIRS = 12  # pairs of pieces
PARTITIONS = 20  # random convex partitions tried per shape; 60 leave 1 % fewer pieces


@dataclass(frozen=True)
class Shape:
    """One kind of thing to place.

    ``points`` (n, 2) is its outline about the point it turns on. Either ``angles`` lists
    the allowed angles in degrees, or the angle is the local direction minus ``axis``, or
    its opposite, give or take ``window`` degrees. ``regions`` pairs outlines with the key
    of the ground they must stay in.
    """

    points: FloatArray
    angles: tuple[float, ...] | None = None
    axis: float = 0.0
    window: float = 0.0
    regions: tuple[tuple[FloatArray, Hashable], ...] = ()


@dataclass(frozen=True)
class World:
    """The kernels' memory: ``shared`` is I, M and G, ``state`` a fresh S to copy."""

    shared: tuple[IntArray, FloatArray, NDArray[np.float32]]
    state: FloatArray
    kinds: IntArray  # (parts,) type of each part
    sizes: FloatArray  # (parts,) area of each part's search shape, mm²


def convex_pieces(points: FloatArray, seed: int = 1) -> list[FloatArray]:
    """Cut a simple ring (n, 2) into few convex rings; together they cover it exactly."""
    n = len(points)
    starts, members = np.zeros(n + 1, np.int64), np.zeros(4 * n, np.int64)
    state = np.array([seed * 2654435761 + 88172645463325252], np.uint64)
    scale = float(np.ptp(points, axis=0).max())
    ring = np.ascontiguousarray(points, dtype=np.float64)
    count = fewest_convex(ring, 1e-9 * scale * scale, PARTITIONS, state, starts, members)
    if count == 0:
        triangles = shapely.constrained_delaunay_triangles(Polygon(points))
        return [np.asarray(t.exterior.coords)[:-1] for t in polygons_of(triangles)]
    return [points[members[starts[i] : starts[i + 1]]] for i in range(count)]


def grown(points: FloatArray, by: float) -> FloatArray:
    """A ring with few corners that contains ``points`` grown by ``by`` mm."""
    core = outline.grown(Polygon(points), by) if by > 0 else Polygon(points)
    reserve = RESERVE
    while True:
        wide = core.buffer(1.05 * SIMPLIFY + reserve, join_style="mitre", mitre_limit=2.0)
        slim = Polygon(polygons_of(wide)[0].exterior).simplify(SIMPLIFY)
        if isinstance(slim, Polygon) and slim.is_valid and slim.contains(core):
            return straightened(np.asarray(slim.exterior.coords)[:-1])
        reserve *= 2


def shrunk(ground: BaseGeometry) -> BaseGeometry:
    """Ground with few corners that lies inside ``ground``."""
    slim = ground.buffer(-SIMPLIFY - RESERVE, join_style="mitre").simplify(SIMPLIFY)
    return slim.intersection(ground) if not ground.contains(slim) else slim


def build(
    shapes: Sequence[Shape],
    kinds: Sequence[int],
    *,
    gap: float = 0.0,
    ground: dict[Hashable, BaseGeometry] | None = None,
    box: tuple[float, float, float, float],
    direction: Callable[[FloatArray], FloatArray] | None = None,
    exact: bool = False,
) -> World:
    """Prepare a search.

    Parameters
    ----------
    shapes, kinds : the types, and the type of each part to place.
    gap : mm between parts.
    ground : where regions may lie, by key; None: the box alone, which is then a strip open
        to the right.
    box : container's box (x0, y0, x1, y1), mm.
    direction : (n, 2) places -> (n,) degrees, of least stretch; None: 0 everywhere.
    exact : take outlines as they are (gap 0): nothing is simplified.
    """
    keys = list(ground) if ground else []
    tables = _Tables(keys, gap, exact)
    with ThreadPoolExecutor() as pool:  # the loops and Shapely let each other run
        for shape, cut in zip(shapes, list(pool.map(tables.cut, shapes)), strict=True):
            tables.add(shape, *cut)
    params = np.zeros(k.F_SIZE)
    params[[k.F_X0, k.F_Y0, k.F_X1, k.F_Y1]] = box
    params[k.F_FRONT] = box[2]
    params[k.F_STRIP] = 0.0 if ground else 1.0
    params[k.F_LISTED] = 1.0 if all(shape.angles for shape in shapes) else 0.0
    params[k.F_TOUCH] = 1e-9 * (box[3] - box[1]) if exact else TOUCH
    memory = _Memory(np.asarray(kinds, np.int64))
    memory.add_types(tables)
    if params[k.F_LISTED]:
        memory.add_pairs(tables)
    memory.add_ground([ground[key] for key in keys] if ground else [], params, direction)
    return memory.world(tables, params)


@dataclass(frozen=True)
class _Cut:
    """A search shape in convex pieces; ``circles`` as from :func:`_circles`."""

    ring: FloatArray
    pieces: list[FloatArray]
    circles: tuple[list[tuple[float, float, float]], float]


class _Tables:
    """Types, their pieces, regions and listed angles, as rows."""

    def __init__(self, keys: list[Hashable], gap: float, exact: bool) -> None:
        self.keys, self.gap, self.exact = keys, gap, exact
        self.type_ints: list[list[int]] = []
        self.type_floats: list[list[float]] = []
        self.pieces: list[FloatArray] = []  # (corners, 5) each
        self.piece_starts: list[int] = []  # corners of the same type before the piece
        self.region_ints: list[list[int]] = []  # circles by number, not yet by offset
        self.region_floats: list[list[float]] = []
        self.circles: list[tuple[float, float, float]] = []
        self.angles: list[list[float]] = []

    def cut(self, shape: Shape) -> tuple[_Cut, list[_Cut]]:
        """The search shapes of a type and of its regions, in pieces."""
        outer = shape.points if self.exact else grown(shape.points, self.gap / 2)
        regions = [ring if self.exact else grown(ring, 0.0) for ring, _ in shape.regions]
        return _Cut(outer, convex_pieces(outer), ([], 0.0)), [
            _Cut(ring, convex_pieces(ring), _circles(ring)) for ring in regions
        ]

    def add(self, shape: Shape, outer: _Cut, regions: list[_Cut]) -> None:
        first, first_region, first_angle = len(self.pieces), len(self.region_ints), len(self.angles)
        self._add_pieces(outer.pieces)
        for region, (_, key) in zip(regions, shape.regions, strict=True):
            self._add_region(region, self.keys.index(key))
        for angle in shape.angles or ():
            self._add_angle(outer.ring, float(np.deg2rad(angle)))
        area = Polygon(outer.ring).area
        reach = float(np.hypot(outer.ring[:, 0], outer.ring[:, 1]).max())
        self.type_ints.append(
            [
                *(first, len(outer.pieces)),
                *(first_region, len(regions)),
                *(first_angle, len(self.angles) - first_angle),
            ]
        )
        self.type_floats.append(
            [area**0.25, reach, np.deg2rad(shape.window), np.deg2rad(shape.axis), area]
        )

    def _add_pieces(self, pieces: list[FloatArray]) -> None:
        start = 0
        for piece in pieces:
            edge = np.roll(piece, -1, axis=0) - piece
            normal = np.column_stack([edge[:, 1], -edge[:, 0]])
            normal /= np.hypot(normal[:, 0], normal[:, 1])[:, None]
            support = (normal @ piece.T).max(axis=1)
            self.pieces.append(np.column_stack([piece, normal, support]))
            self.piece_starts.append(start)
            start += len(_padded(piece))

    def _add_region(self, region: _Cut, key: int) -> None:
        circles, covering = region.circles
        self.region_ints.append(
            [key, len(self.pieces), len(region.pieces), len(self.circles), len(circles)]
        )
        self.region_floats.append([*_circle_round(region.ring), covering])
        self._add_pieces(region.pieces)
        self.circles.extend(circles)

    def _add_angle(self, ring: FloatArray, angle: float) -> None:
        c, s = np.cos(angle), np.sin(angle)
        world = ring @ np.array([[c, s], [-s, c]])
        self.angles.append([angle, c, s, *world.min(axis=0), *world.max(axis=0)])


class _Memory:
    """I and M of the kernels as they are laid out, table by table."""

    def __init__(self, kinds: IntArray) -> None:
        self.kinds = kinds
        self.head = np.zeros(k.HEAD, np.int64)
        self.ints: list[IntArray] = [self.head]
        self.floats: list[FloatArray] = []
        self.used_ints, self.used_floats = k.HEAD, 0
        self.depth = np.zeros((1, 2, 2), np.float32)

    def add_types(self, tables: _Tables) -> None:
        head = self.head
        head[k.N_PARTS], head[k.N_ANGLES] = len(self.kinds), len(tables.angles)
        head[k.AT_KINDS] = self._int(self.kinds)
        head[k.AT_TYPES] = self._int(tables.type_ints)
        head[k.AT_TYPE_M] = self._float(tables.type_floats)
        pieces = [_padded(piece) for piece in tables.pieces]
        sizes = [len(piece) for piece in pieces]
        at = [self._float(np.append(piece.T, _circle_round(piece[:, :2]))) for piece in pieces]
        head[k.AT_PIECES] = self._int(list(zip(at, sizes, tables.piece_starts, strict=True)))
        circles = self._float(tables.circles)
        regions = [[*row[:3], circles + k.CIRCLE * row[3], row[4]] for row in tables.region_ints]
        head[k.AT_REGIONS] = self._int(regions)
        head[k.AT_REGION_M] = self._float(tables.region_floats)
        head[k.AT_ANGLES] = self._float(tables.angles)
        head[k.N_PIECES] = -(-max(row[1] for row in tables.type_ints) // LANES) * LANES
        head[k.N_CORNERS] = max(sum(sizes[row[0] : row[0] + row[1]]) for row in tables.type_ints)

    def add_pairs(self, tables: _Tables) -> None:
        """Half-planes of all pairs of pieces at all pairs of listed angles a <= b.

        Piece B, displaced by d, meets piece A where d lies in the Minkowski sum of A and
        -B; its edges have the normals of A, and those of B reversed.
        """
        posed = _posed_pieces(tables)
        n = len(posed)
        first = np.zeros((n, n + 1), np.int64)
        groups, pairs, planes = _Rows(), _Rows(), _Rows()
        for a in range(n):
            for b in range(a, n):
                first[a, b] = groups.count
                for one in posed[a]:
                    rows = [_pair_row(one, other, planes) for other in posed[b]]
                    groups.add([_around(rows)], pairs.add(rows))
            first[a, n] = groups.count
        plane_at = self._float(planes.joined())
        pair_at = self._float(pairs.joined(plane_at, k.PLANE))
        group_at = self._float(groups.joined(pair_at, k.PAIR))
        self.head[k.AT_PAIRS] = self._int(group_at + k.GROUP * first)
        self._add_cells(first, groups.joined(), pairs.joined(), planes.joined())

    def _add_cells(
        self, first: IntArray, groups: FloatArray, pairs: FloatArray, planes: FloatArray
    ) -> None:
        """What pairs of listed angles can meet, by displacement: see :mod:`nest.place.cells`."""
        n = len(first)
        both = [(a, b) for a in range(n) for b in range(a, n)]
        grids = np.zeros((n, n, k.GRID))

        def cells(of: tuple[int, int]) -> tuple[IntArray, FloatArray]:
            own = groups[first[of] : first[of[0], of[1] + 1]]
            met = pairs[int(own[0, 4]) : int(own[-1, 5])].copy()
            low, high = int(met[0, 4]), int(met[-1, 5])
            met[:, 4:6] -= low
            x0, y0, x1, y1 = _around(own)
            count = CELLS[len(met) > FEW_PAIRS]
            wide, tall = (x1 - x0) / count, (y1 - y0) / count
            grids[of][:6] = x0, y0, 1 / wide, 1 / tall, count - 1, count - 1
            starts, rows = cells_of(met, planes[low:high], x0, y0, wide, tall, count, count)
            return starts, rows

        with ThreadPoolExecutor() as pool:
            found = list(pool.map(cells, both))
        sizes = np.array([(len(starts), len(rows)) for starts, rows in found])
        offsets = np.cumsum(sizes, axis=0) - sizes
        at = self._float(np.concatenate([rows for _, rows in found]))
        starts = [own + done for (own, _), done in zip(found, offsets[:, 1], strict=True)]
        cell = self._int(at + np.concatenate(starts))
        for of, done in zip(both, offsets[:, 0], strict=True):
            grids[of][6] = cell + done
        self.head[k.AT_GRIDS] = self._float(grids)

    def add_ground(
        self,
        grounds: list[BaseGeometry],
        params: FloatArray,
        direction: Callable[[FloatArray], FloatArray] | None,
    ) -> None:
        """Distance grids, edges by bin and the stretch direction; ``params`` get the grid."""
        x0, y0, x1, y1 = params[:4]
        gx, gy = x0 - PAD, y0 - PAD
        wide, high = x1 - x0 + 2 * PAD, y1 - y0 + 2 * PAD
        turn_cell = min(TURN_CELL, float(np.sqrt(wide * high / TURN_NODES)))
        params[[k.F_GX, k.F_GY, k.F_CELL, k.F_BIN, k.F_TURN_CELL]] = gx, gy, CELL, BIN, turn_cell
        if not grounds:  # a strip: one cell of stretch, along x
            self.head[[k.N_STRETCH_ROWS, k.N_STRETCH_COLS]] = 2
            self.head[k.AT_STRETCH] = self._float(np.tile([1.0, 0.0], (4, 1)))
            return
        nodes = _nodes(gx, gy, wide, high, CELL)
        # often one flaw bars all faces, and their grounds are the same
        numbers = {shape: number for number, shape in enumerate(dict.fromkeys(grounds))}
        with ThreadPoolExecutor() as pool:
            depths = list(pool.map(partial(_signed_distance, nodes=nodes), numbers))
        self.depth = np.stack([depths[numbers[ground]] for ground in grounds])
        self._add_edges(grounds, gx, gy, int(wide / BIN) + 2, int(high / BIN) + 2)
        places = _nodes(gx, gy, wide, high, turn_cell)
        flat = np.column_stack([places[0].ravel(), places[1].ravel()])
        angle = np.deg2rad(direction(flat)) if direction else np.zeros(len(flat))
        rows, cols = places[0].shape
        self.head[[k.N_STRETCH_ROWS, k.N_STRETCH_COLS]] = rows, cols
        double = np.column_stack([np.cos(2 * angle), np.sin(2 * angle)])
        self.head[k.AT_STRETCH] = self._float(double)

    def _add_edges(
        self, grounds: list[BaseGeometry], gx: float, gy: float, cols: int, rows: int
    ) -> None:
        starts = np.zeros((len(grounds), rows, cols + 1), np.int64)
        cells = np.arange(rows)[:, None] * cols + np.arange(cols + 1)
        lists: list[IntArray] = []
        done = 0
        for g, ground in enumerate(grounds):
            edges = _edges_of(ground)
            first = self._float(edges)
            i = np.sort(((edges[:, [0, 2]] - gx) // BIN).astype(np.int64), axis=1)
            j = np.sort(((edges[:, [1, 3]] - gy) // BIN).astype(np.int64), axis=1)
            wide = i[:, 1] - i[:, 0] + 1
            count = wide * (j[:, 1] - j[:, 0] + 1)
            edge = np.repeat(np.arange(len(edges)), count)
            step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
            across, up = step % wide[edge], step // wide[edge]
            cell = (j[edge, 0] + up) * cols + i[edge, 0] + across
            order = np.argsort(cell, kind="stable")
            starts[g] = done + np.searchsorted(cell[order], cells)
            lists.append(first + k.EDGE * edge[order])
            done += len(edge)
        at = self._int(np.concatenate(lists))
        self.head[k.AT_BINS] = self._int(at + starts)
        self.head[[k.N_COLS, k.N_ROWS]] = cols, rows

    def world(self, tables: _Tables, params: FloatArray) -> World:
        """Close the memory, and lay out S behind its parameters and poses."""
        head, n = self.head, len(self.kinds)
        head[k.N_AROUND] = -(-n // LANES) * LANES
        at = k.F_SIZE + k.POSE * (n + 1)
        for slot, size in (
            (k.AT_PLACED, (n + 1) * head[k.N_CORNERS] * k.CORNER),
            (k.AT_BOXES, (n + 1) * head[k.N_PIECES] * 4),
            (k.AT_PAIR_WEIGHTS, n * n),
            (k.AT_OWN_WEIGHTS, n),
            (k.AT_OVERLAPS, n * n),
            (k.AT_STRAYS, n),
            (k.AT_AROUND, 2 * head[k.N_AROUND] * k.AROUND),
            (k.AT_PARTING, n * head[k.N_PIECES] ** 2),
            (k.AT_SCRATCH, k.CORNER * max(len(_padded(piece)) for piece in tables.pieces)),
        ):
            head[slot] = at
            at += int(size)
        state = np.zeros(at)
        state[: k.F_SIZE] = params
        areas = np.array(tables.type_floats)[:, 4]
        shared = (np.concatenate(self.ints), np.concatenate(self.floats), self.depth)
        return World(shared, state, self.kinds, areas[self.kinds])

    def _int(self, rows: ArrayLike) -> int:
        table = np.asarray(rows, np.int64).ravel()
        self.ints.append(table)
        self.used_ints += len(table)
        return self.used_ints - len(table)

    def _float(self, rows: ArrayLike) -> int:
        table = np.asarray(rows, np.float64).ravel()
        self.floats.append(table)
        self.used_floats += len(table)
        return self.used_floats - len(table)


class _Rows:
    """Rows of a table as they grow; columns 4 and 5 may name a span of another table's rows."""

    def __init__(self) -> None:
        self.parts: list[FloatArray] = []
        self.count = 0

    def add(self, rows: ArrayLike, span: tuple[int, int] | None = None) -> tuple[int, int]:
        """Append rows, with the span of rows they refer to; returns the span they take."""
        table = np.asarray(rows, np.float64)
        if span is not None:
            table = np.column_stack([table, np.tile(np.array(span, float), (len(table), 1))])
        self.parts.append(table)
        self.count += len(table)
        return self.count - len(table), self.count

    def joined(self, at: int = 0, stride: int = 0) -> FloatArray:
        """All rows; spans become offsets of a table that lies at ``at``."""
        table = np.concatenate(self.parts)
        if stride:
            table[:, 4:6] = at + stride * table[:, 4:6]
        return table


def _padded(piece: FloatArray) -> FloatArray:
    """Corners (n, 5), the last one repeated until there is a multiple of LANES."""
    return np.concatenate([piece, np.repeat(piece[-1:], -len(piece) % LANES, axis=0)])


def _circle_round(ring: FloatArray) -> tuple[float, float, float]:
    """Centre and radius of a circle round a ring (n, 2)."""
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    return float(middle[0]), float(middle[1]), float(np.hypot(*(ring - middle).T).max())


Posed = tuple[FloatArray, FloatArray]  # corners and normals of a piece, turned


def _pair_row(one: Posed, other: Posed, planes: _Rows) -> list[float]:
    """Where ``other``, displaced, meets ``one``: box and span of its half-planes."""
    (a, a_normals), (b, b_normals) = one, other
    normals = np.vstack([a_normals, -b_normals])
    reach = (normals @ a.T).max(axis=1) - (normals @ b.T).min(axis=1)
    span = planes.add(np.column_stack([normals, reach]))
    return [*(a.min(axis=0) - b.max(axis=0)), *(a.max(axis=0) - b.min(axis=0)), *span]


def _around(rows: ArrayLike) -> FloatArray:
    """The box around all boxes."""
    table = np.array(rows)
    return np.concatenate([table[:, :2].min(axis=0), table[:, 2:4].max(axis=0)])


def _posed_pieces(tables: _Tables) -> list[list[Posed]]:
    """Per listed angle the corners and normals of its type's pieces, turned."""
    posed = []
    for first, pieces, _, _, angle, angles in tables.type_ints:
        for _, c, s, *_ in tables.angles[angle : angle + angles]:
            turn = np.array([[c, s], [-s, c]])
            own = tables.pieces[first : first + pieces]
            posed.append([(piece[:, :2] @ turn, piece[:, 2:4] @ turn) for piece in own])
    return posed


def _circles(ring: FloatArray, most: int = 8) -> tuple[list[tuple[float, float, float]], float]:
    """Up to ``most`` large circles inside a ring, and the radius at which they cover it."""
    shape = Polygon(ring)
    low, high = ring.min(axis=0), ring.max(axis=0)
    step = max(np.sqrt(shape.area) / 24.0, 1.0)
    xs, ys = np.arange(low[0], high[0] + step, step), np.arange(low[1], high[1] + step, step)
    nodes = np.array(np.meshgrid(xs, ys)).reshape(2, -1).T
    shapely.prepare(shape)
    inside = nodes[shapely.contains_xy(shape, nodes[:, 0], nodes[:, 1])]
    heart = shapely.maximum_inscribed_circle(shape).coords[0]
    inside = np.vstack([inside, heart])
    depth = np.asarray(shapely.distance(shapely.points(inside), shape.exterior))
    free = depth.copy()
    found: list[tuple[float, float, float]] = []
    while len(found) < most:
        best = int(free.argmax()) if found else len(inside) - 1
        if found and free[best] < 0.25 * found[0][2]:
            break
        x, y = inside[best]
        found.append((float(x), float(y), float(depth[best])))
        free = np.minimum(free, np.hypot(inside[:, 0] - x, inside[:, 1] - y) - depth[best])
    centres = np.array(found)[:, :2]
    edge = np.vstack([shapely.get_coordinates(shape.segmentize(step)), inside])
    nearest = np.hypot(*(edge[:, None, :] - centres[None]).transpose(2, 0, 1)).min(axis=1)
    return found, float(nearest.max()) + step


def straightened(ring: FloatArray) -> FloatArray:
    """A ring (n, 2), counter-clockwise, without corners on the line between their neighbours."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    keep = np.abs(turn) > 1e-9 * np.hypot(*before.T) * np.hypot(*after.T)
    out: FloatArray = ring[keep]
    return out if _is_ccw(out) else out[::-1].copy()


def _is_ccw(ring: FloatArray) -> bool:
    x, y = ring[:, 0], ring[:, 1]
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) > 0


def _nodes(
    x: float, y: float, wide: float, high: float, cell: float
) -> tuple[FloatArray, FloatArray]:
    xs = x + cell * np.arange(int(wide / cell) + 2)
    ys = y + cell * np.arange(int(high / cell) + 2)
    gx, gy = np.meshgrid(xs, ys)
    return gx, gy


def _signed_distance(
    ground: BaseGeometry, nodes: tuple[FloatArray, FloatArray]
) -> NDArray[np.float32]:
    """Distance to the ground's edge at grid nodes, positive inside; good to one cell.

    Distances are counted from the nodes nearest to the edge itself, so that a hole which
    lies between nodes is seen as well. Only round these a node is asked whether it is inside:
    between two others in a row no edge passes, so along a row they are as the last one was.
    """
    x, y = nodes
    xy = shapely.get_coordinates(ground.boundary.segmentize(CELL / 4))
    i, j = np.rint((xy - [x[0, 0], y[0, 0]]) / CELL).astype(int).T
    away = np.ones(x.shape, bool)
    away[j, i] = False
    asked = np.zeros(x.shape, bool)
    for up in (-1, 0, 1):
        for across in (-1, 0, 1):
            asked[j + up, i + across] = True
    inside = np.zeros(x.shape, bool)
    shapely.prepare(ground)
    inside[asked] = shapely.contains_xy(ground, x[asked], y[asked])
    last = np.where(asked, np.arange(x.shape[1]), 0)  # the first node of a row is outside
    np.maximum.accumulate(last, axis=1, out=last)
    inside = np.take_along_axis(inside, last, axis=1)
    distance = np.maximum(ndimage.distance_transform_edt(away, sampling=CELL), 1e-3)
    signed: NDArray[np.float32] = np.where(inside, distance, -distance).astype(np.float32)
    return signed


def _edges_of(ground: BaseGeometry) -> FloatArray:
    """(n, 7): the ground's edges, cut to bin length so that a bin's list stays short."""
    rows = []
    for polygon in polygons_of(ground):
        for ring in (polygon.exterior, *polygon.interiors):
            xy = np.asarray(ring.segmentize(2 * BIN).coords)
            a, b = xy[:-1], xy[1:]
            normal = np.column_stack([b[:, 1] - a[:, 1], a[:, 0] - b[:, 0]])
            length = np.hypot(normal[:, 0], normal[:, 1])
            keep = length > 1e-9
            normal = normal[keep] / length[keep, None]
            offset = (normal * a[keep]).sum(axis=1)
            rows.append(np.column_stack([a[keep], b[keep], normal, offset]))
    return np.vstack(rows)
