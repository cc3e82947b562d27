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
from itertools import product

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides import outline
from hides.outline import FloatArray, polygons_of
from nest.place.kernels import memory as k
from nest.place.kernels.convex import fewest_convex
from nest.place.kernels.listed import cells_of
from nest.place.kernels.simd import LANES

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
    """Cut a simple ring (n, 2), mm, into few convex rings; together they cover it exactly.

    ``seed`` is any number; which cuts are tried depends on it.
    """
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
    grounds = ground or {}
    listed = all(shape.angles for shape in shapes)
    params = np.zeros(k.F_SIZE)
    params[[k.F_X0, k.F_Y0, k.F_X1, k.F_Y1]] = box
    params[k.F_FRONT] = box[2]
    params[[k.F_STRIP, k.F_LISTED]] = not ground, listed
    params[k.F_TOUCH] = 1e-9 * (box[3] - box[1]) if exact else TOUCH
    with ThreadPoolExecutor() as pool:  # the loops and Shapely let each other run
        cuts = list(pool.map(partial(_cut, gap=gap, exact=exact), shapes))
    memory = _Memory(np.asarray(kinds, np.int64))
    posed = memory.add_types(shapes, cuts, list(grounds))
    if listed:
        memory.add_pairs(posed)
    memory.add_ground(list(grounds.values()), params, direction)
    return memory.world(params)


@dataclass(frozen=True)
class _Cut:
    """A search shape in convex pieces (corners, 5): corners, outward normals, support."""

    ring: FloatArray
    pieces: list[FloatArray]

    @classmethod
    def of(cls, ring: FloatArray) -> _Cut:
        pieces = []
        for piece in convex_pieces(ring):
            edge = np.roll(piece, -1, axis=0) - piece
            normal = np.column_stack([edge[:, 1], -edge[:, 0]])
            normal /= np.hypot(normal[:, 0], normal[:, 1])[:, None]
            support = (normal @ piece.T).max(axis=1)
            pieces.append(np.column_stack([piece, normal, support]))
        return cls(ring, pieces)


# A type's search shape; those of its regions, each with its circles from _circles.
_Cuts = tuple[_Cut, list[tuple[_Cut, FloatArray]]]


def _cut(shape: Shape, gap: float, exact: bool) -> _Cuts:
    """The search shapes of a type and of its regions, in pieces; ``gap`` is mm."""
    outer = shape.points if exact else grown(shape.points, gap / 2)
    rings = [ring if exact else grown(ring, 0.0) for ring, _ in shape.regions]
    return _Cut.of(outer), [(_Cut.of(ring), _circles(ring)) for ring in rings]


Posed = tuple[FloatArray, FloatArray]  # corners and normals of a piece, turned


class _Memory:
    """I and M of the kernels as they are laid out, table by table."""

    def __init__(self, kinds: IntArray) -> None:
        self.kinds = kinds
        self.head = np.zeros(k.HEAD, np.int64)
        self.ints: list[IntArray] = [self.head]
        self.floats: list[FloatArray] = []
        self.used_ints, self.used_floats = k.HEAD, 0
        self.depth = np.zeros((1, 2, 2), np.float32)
        self.head[k.N_PARTS], self.head[k.AT_KINDS] = len(kinds), self._int(kinds)

    def add_types(
        self, shapes: Sequence[Shape], cuts: Sequence[_Cuts], keys: list[Hashable]
    ) -> list[list[Posed]]:
        """Types, their pieces, regions and listed angles; returns the pieces at each of these."""
        head = self.head
        types, facts, areas, posed = [], [], [], []
        pieces: list[list[int]] = []
        regions: list[list[int]] = []
        angles: list[list[float]] = []
        for shape, (outer, inner) in zip(shapes, cuts, strict=True):
            first, first_region, first_angle = len(pieces), len(regions), len(angles)
            pieces += self._pieces(outer)
            head[k.N_CORNERS] = max(head[k.N_CORNERS], sum(pieces[-1][1:]))
            for (cut, circles), (_, key) in zip(inner, shape.regions, strict=True):
                at, count = self._float(circles), len(circles) // k.CIRCLE - 1
                regions.append([keys.index(key), len(pieces), len(cut.pieces), at, count])
                pieces += self._pieces(cut)
            for angle in np.deg2rad(shape.angles or ()):
                c, s = np.cos(angle), np.sin(angle)
                turn = np.array([[c, s], [-s, c]])
                ring = outer.ring @ turn
                angles.append([c, s, *ring.min(axis=0), *ring.max(axis=0)])
                posed.append(
                    [(piece[:, :2] @ turn, piece[:, 2:4] @ turn) for piece in outer.pieces]
                )
            own = [first, len(outer.pieces), first_region, len(inner)]
            types.append([*own, first_angle, len(angles) - first_angle])
            reach = np.hypot(outer.ring[:, 0], outer.ring[:, 1]).max()
            window, axis = np.deg2rad([shape.window, shape.axis])
            areas.append(Polygon(outer.ring).area)
            facts.append([areas[-1] ** 0.25, reach, window, axis])
        head[k.AT_TYPES], head[k.AT_TYPE_M] = self._int(types), self._float(facts)
        head[k.AT_PIECES], head[k.AT_REGIONS] = self._int(pieces), self._int(regions)
        head[k.AT_ANGLES], head[k.N_ANGLES] = self._float(angles), len(angles)
        head[k.N_PIECES] = -(-max(row[1] for row in types) // LANES) * LANES
        self.most_corners, self.areas = max(row[1] for row in pieces), np.array(areas)
        return posed

    def _pieces(self, cut: _Cut) -> list[list[int]]:
        """Write the corners of a shape's pieces; returns the rows that tell of these."""
        rows, before = [], 0
        for piece in cut.pieces:  # the last corner is repeated until there is a multiple of LANES
            padded = np.pad(piece, ((0, -len(piece) % LANES), (0, 0)), mode="edge")
            at = self._float(np.append(padded.T, _circle_round(piece[:, :2])))
            rows.append([at, len(padded), before])
            before += len(padded)
        return rows

    def add_pairs(self, posed: list[list[Posed]]) -> None:
        """What pairs of listed angles a <= b can meet, by displacement."""
        n = len(posed)
        both = [(a, b) for a in range(n) for b in range(a, n)]
        grids = np.zeros((n, n, k.GRID))
        with ThreadPoolExecutor() as pool:
            found = list(pool.map(lambda of: _displaced(posed[of[0]], posed[of[1]]), both))
        for of, (grid, pairs, planes, starts, cells) in zip(both, found, strict=True):
            pairs[:, 4:] = self._float(planes) + k.PLANE * pairs[:, 4:]
            first = self._float(pairs)
            grids[of] = *grid, self._int(self._float(cells) + starts), first, first + pairs.size
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

    def world(self, params: FloatArray) -> World:
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
            (k.AT_SCRATCH, k.CORNER * self.most_corners),
        ):
            head[slot] = at
            at += int(size)
        state = np.zeros(at)
        state[: k.F_SIZE] = params
        shared = (np.concatenate(self.ints), np.concatenate(self.floats), self.depth)
        return World(shared, state, self.kinds, self.areas[self.kinds])

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


def _circle_round(ring: FloatArray) -> tuple[float, float, float]:
    """Centre and radius of a circle round a ring (n, 2)."""
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    return float(middle[0]), float(middle[1]), float(np.hypot(*(ring - middle).T).max())


def _displaced(
    one: list[Posed], other: list[Posed]
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray, FloatArray]:
    """Where ``other``, displaced, meets ``one``: see :mod:`nest.place.kernels.listed`.

    Piece B, displaced by d, meets piece A where d lies in the Minkowski sum of A and
    -B; its edges have the normals of A, and those of B reversed.

    Returns the first six numbers of the grid's row; the pairs of pieces, with the spans of rows
    of their half-planes; the half-planes; starts and rows of the cells.
    """
    boxes, planes = [], []
    for (a, a_normals), (b, b_normals) in product(one, other):
        normals = np.vstack([a_normals, -b_normals])
        reach = (normals @ a.T).max(axis=1) - (normals @ b.T).min(axis=1)
        planes.append(np.column_stack([normals, reach]))
        boxes.append([*(a.min(axis=0) - b.max(axis=0)), *(a.max(axis=0) - b.min(axis=0))])
    table, box = np.vstack(planes), np.array(boxes)
    ends = np.cumsum([len(rows) for rows in planes])
    pairs = np.column_stack([box, np.append(0, ends[:-1]), ends])
    low, high = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
    count = CELLS[len(pairs) > FEW_PAIRS]
    cell = (high - low) / count
    grid = np.array([*low, *(1 / cell), count - 1, count - 1])
    return grid, pairs, table, *cells_of(pairs, table, *low, *cell, count, count)


def _circles(ring: FloatArray, most: int = 8) -> FloatArray:
    """A circle round a ring (n, 2) and up to ``most`` large circles inside it, mm.

    Each is centre x, y and radius, in one row; before those inside stands the radius at which
    they cover the ring.
    """
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
    found: list[list[float]] = []
    while len(found) < most:
        best = int(free.argmax()) if found else len(inside) - 1
        if found and free[best] < 0.25 * found[0][2]:
            break
        x, y = inside[best]
        found.append([x, y, depth[best]])
        free = np.minimum(free, np.hypot(inside[:, 0] - x, inside[:, 1] - y) - depth[best])
    centres = np.array(found)[:, :2]
    edge = np.vstack([shapely.get_coordinates(shape.segmentize(step)), inside])
    nearest = np.hypot(*(edge[:, None, :] - centres[None]).transpose(2, 0, 1)).min(axis=1)
    return np.array([*_circle_round(ring), nearest.max() + step, *np.ravel(found)])


def straightened(ring: FloatArray) -> FloatArray:
    """A counter-clockwise ring (n, 2), mm, without corners on the line between neighbours."""
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
