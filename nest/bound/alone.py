"""How far a part must reach at least, were it alone on the hide.

A part finds ground sound and thick enough only in places, and there its axis must follow the
leather's line of least stretch. All its poses are searched, a box of them at a time (see
:mod:`nest.bound.loops`), and a box goes only where it is certain that none of its poses
is allowed. What is left has a least frontier, and no plan has a lesser one.

Everything is computed in a frame turned so that the end to be kept lies at large x, as in the
search itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any

import numpy as np
import shapely
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.outline import FloatArray, Outline, polygons_of, turned
from hides.thickness import Need
from nest.bound import loops
from nest.bound.area import Leather, edges_of
from nest.checker import ANGLE_TOLERANCE
from nest.job import Wanted
from nest.part import Region, off_line
from nest.plans import TOLERANCE

Grid = tuple[float, float, float]

CELL = 2.5  # mm; grid of distances to the ground's edge
SPACING = 8.0  # mm; grid of the direction of least stretch
EDGE_STEP = 12.0  # mm; a part's edge is looked at this often, beside its corners
STRAIGHT = 0.5  # mm; corners that stand out by less are no corners
DISCS = 15.0  # mm; lattice of the centres of a part's discs
MOST_BOXES = 600_000  # looked at for one part; half a second
LAST = 2  # level of the boxes, and size of the cells, by which reachable ground is told
SMALL = loops.BOX / (1 << LAST)  # mm, that size


@dataclass(frozen=True)
class Kind:
    """Parts that are the same to a hide (mm, degrees); ``name`` is the id of one of them."""

    outline: Outline
    regions: tuple[Region, ...]
    axis: float
    window: float
    need: Need
    name: str = field(compare=False)

    @classmethod
    def of(cls, wanted: Wanted) -> Kind:
        part = wanted.part
        return cls(part.outline, part.regions, part.axis, part.window, wanted.need, wanted.id)

    @property
    def shrunk_area(self) -> float:
        """mm² that surely are the part's own, though the checker lets parts touch by a hair."""
        return float(self.outline.polygon.buffer(-TOLERANCE / 2).area)


class Places:
    """A hide's leather on grids, and the poses of parts on it."""

    def __init__(self, leather: Leather) -> None:
        self.leather = leather
        self.phi = float(np.rad2deg(np.arctan2(leather.u[1], leather.u[0])))
        edges = edges_of(leather.hide.polygon, leather.u).reshape(-1, 2)
        low, high = edges.min(axis=0) - loops.PAD, edges.max(axis=0) + loops.PAD
        self.boxes = tuple(np.ceil((high - low) / loops.BOX).astype(int))
        self.grid: Grid = (float(low[0]), float(low[1]), CELL)
        self._least: dict[Kind, tuple[bool, float]] = {}
        self._depth, self._share = cache(self._depth_in), cache(self._share_of)
        self._spans = cache(self._spans_of)

    def least(self, kind: Kind, enough: float = -np.inf) -> float:
        """The least frontier in mm of a part alone; inf: it fits nowhere.

        Where that is no more than ``enough`` mm the search ends at once, and what is returned is
        just some number that isn't more either.
        """
        exact, known = self._least.get(kind, (False, np.inf))
        if not exact and known > enough:
            boxes, part = self._search(kind)
            known = float(loops.least_frontier(boxes, part, enough, MOST_BOXES))
            self._least[kind] = (known > enough, known)
        return known

    def room(self, kinds: Sequence[Kind], frontier: float, enough: float) -> float:
        """mm² of ground that any of some parts may cover at all, up to a frontier in mm.

        Told from above; more than ``enough`` mm² isn't looked for.
        """
        sorts = dict.fromkeys((r.face, kind.need) for kind in kinds for r in kind.regions)
        share = self._share(tuple(sorts))
        share = np.where(self.grid[0] + SMALL * np.arange(share.shape[1]) > frontier, 0.0, share)
        following = _next_true(share > 0)
        total = 0.0
        for kind in kinds:
            given = (*self._search(kind), self._spans(kind), following, share)
            total += float(loops.covered(*given, frontier, enough - total, MOST_BOXES // 4))
        return total

    def _search(self, kind: Kind) -> tuple[Any, Any]:
        """The ``boxes`` and the ``part`` of both loops."""
        rule = (kind.axis, kind.window + ANGLE_TOLERANCE)
        place = (self.grid[0], self.grid[1], SPACING)
        faces = list(dict.fromkeys(region.face for region in kind.regions))
        depths = np.stack([self._depth_for(face, kind.need) for face in faces])
        hull, points = ring(kind), points_of(kind, faces)
        part = (hull, points, depths, self.grid, self.facing, place, rule)
        return (*self._tops(hull), int(self.boxes[1])), part

    def _tops(self, outer: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
        """Boxes of level 0 in row 0 (n, 4), and the least frontiers of their columns, ascending."""
        half = np.pi / loops.TURNS
        turns = (np.arange(loops.TURNS) + 0.5) * 2 * half
        fronts = np.array([loops.front(outer, turn, half) for turn in turns])
        i, k = np.indices((self.boxes[0], loops.TURNS)).reshape(2, -1)
        lows = self.grid[0] + i * loops.BOX + fronts[k]
        order = np.argsort(lows, kind="stable")
        tops = np.stack([i, np.zeros_like(i), k, np.zeros_like(i)], axis=-1)
        return tops[order], lows[order]

    @cached_property
    def facing(self) -> FloatArray:
        """(rows, cols, 3) as :func:`loops._turned_off` wants it, on nodes SPACING mm apart."""
        cols, rows = (2 * n + 1 for n in self.boxes)
        direction = self.leather.hide.stretch.direction(self._nodes(SPACING, cols, rows))
        angle = (direction - self.phi).reshape(rows, cols)
        twice = np.deg2rad(2 * angle)
        return np.stack([np.cos(twice), np.sin(twice), _turns(angle)], axis=-1)

    def _nodes(self, spacing: float, cols: int, rows: int) -> FloatArray:
        """(rows · cols, 2) places in the hide's frame, from the grids' corner on."""
        xs, ys = (self.grid[i] + spacing * np.arange(n) for i, n in enumerate((cols, rows)))
        places = np.stack(np.meshgrid(xs, ys), axis=-1)
        return turned(places.reshape(-1, 2), self.phi)

    def _spans_of(self, kind: Kind) -> tuple[NDArray[np.int32], ...]:
        dense = shapely.get_coordinates(kind.outline.polygon.exterior.segmentize(1.0))
        reach = np.hypot(*dense.T).max() + 8 * loops.BOX
        rows = 2 * int(reach / SMALL)
        found = []
        for level in range(LAST + 1):
            found.append(np.empty((loops.TURNS << level, rows, 2), np.int32))
            loops.spans(dense, level, SMALL, found[-1])
        return tuple(found)

    def _share_of(self, sorts: tuple[tuple[str, Need], ...]) -> FloatArray:
        """(rows, cols) mm² of ground for any of some sorts of region in each cell."""
        leather = self.leather
        grounds = [leather.sound(face) & leather.thick(need) for face, need in sorts]
        ground = leather.inside & shapely.union_all(grounds)
        out = np.zeros((int(self.boxes[1]) << LAST, int(self.boxes[0]) << LAST))
        edges = edges_of(ground, leather.u).reshape(-1, 4)
        loops.coverage(edges, *self.grid[:2], SMALL, out)
        return out * SMALL**2

    def _depth_for(self, face: str, need: Need) -> NDArray[np.float32]:
        """How deep in the ground each node lies at most; ``loops._refuted`` says how it's used.

        How deep a point lies in what three shapes share is the least of the three depths;
        outside of some, it is farther out than of any of them.
        """
        leather = self.leather
        parts = [self._depth(shape) for shape in (None, face, need)]
        if len(leather.windows) > 1:
            parts.append(self._depth_in_windows)
        least: NDArray[np.float32] = np.minimum.reduce(parts)
        return least

    @cached_property
    def _depth_in_windows(self) -> NDArray[np.float32]:
        """How deep each node lies in that window of the bed in which it lies deepest.

        A disc of a part lies in one window, so it is no larger than that.
        """
        cols, rows = self._size
        x, y = self._nodes(CELL, cols, rows).T
        deep = [
            np.minimum.reduce([x - x0, x1 - x, y - y0, y1 - y])
            for x0, y0, x1, y1 in self.leather.windows
        ]
        least: FloatArray = np.maximum.reduce(deep) + TOLERANCE + 1e-3
        return least.reshape(rows, cols).astype(np.float32)

    def _depth_in(self, of: str | Need | None) -> NDArray[np.float32]:
        """How deep nodes lie in leather sound for a face, thick enough, or clear of the edge."""
        leather = self.leather
        if of is None:
            shape: BaseGeometry = leather.inside
        else:
            shape = leather.sound(of) if isinstance(of, str) else leather.thick(of)
        cut = shapely.segmentize(shape, 4 * loops.BOX)
        edges = edges_of(cut, leather.u).reshape(-1, 4)
        out = np.empty(self._size[::-1])
        loops.signed_distance(edges, *self.grid, out)
        out[out >= loops.FAR] = np.inf
        return (out + 1e-3).astype(np.float32)

    @property
    def _size(self) -> tuple[int, int]:
        """Columns and rows of the nodes that depths are told at."""
        cols, rows = (int(n * loops.BOX / CELL) + 2 for n in self.boxes)
        return cols, rows


def ring(kind: Kind) -> FloatArray:
    """(n, 2) mm corners of a part's convex hull: at any angle, one of them reaches farthest."""
    hull = kind.outline.polygon.convex_hull
    return np.ascontiguousarray(shapely.get_coordinates(hull)[:-1])


def points_of(kind: Kind, faces: list[str]) -> FloatArray:
    """(n, 5) places and discs of a part as :func:`loops._refuted` wants them, telling ones first.

    Each is a disc within a region, in mm; those along its edge have no width.
    """
    rows = []
    whole = kind.outline.polygon
    for region in kind.regions:
        for shape in polygons_of(region.outline.polygon & whole):
            edge = _edge(shape)
            centres, radii = _discs(shape)
            xy = np.vstack([edge, centres])
            discs = np.concatenate([np.zeros(len(edge)), radii])
            ground = np.full(len(xy), float(faces.index(region.face)))
            rows.append(np.column_stack([xy, discs, np.hypot(*xy.T), ground]))
    table = np.vstack(rows)
    return np.ascontiguousarray(table[np.argsort(-(table[:, 2] + table[:, 3]), kind="stable")])


def _edge(shape: Polygon) -> FloatArray:
    ring = shape.exterior
    steps = np.arange(0.0, ring.length, EDGE_STEP)
    along = shapely.get_coordinates(shapely.line_interpolate_point(ring, steps))
    corners = shapely.get_coordinates(shape.exterior.simplify(STRAIGHT))[:-1]
    return np.vstack([along, corners])


def _discs(shape: Polygon) -> tuple[FloatArray, FloatArray]:
    """Centres (n, 2) and radii of discs that fill a shape loosely, the largest first."""
    x0, y0, x1, y1 = shape.bounds
    xs, ys = np.meshgrid(np.arange(x0, x1, DISCS / 2), np.arange(y0, y1, DISCS / 2))
    inside = shapely.contains_xy(shape, xs, ys)
    xy = np.column_stack([xs[inside], ys[inside]])
    radii = np.asarray(shapely.distance(shapely.points(xy), shape.boundary), dtype=np.float64)
    chosen: list[int] = []
    for k in np.argsort(-radii, kind="stable"):
        apart = np.hypot(*(xy[chosen] - xy[k]).T)
        if (apart + radii[k] / 2 > radii[chosen]).all() and (apart > DISCS * 0.7).all():
            chosen.append(int(k))
    return xy[chosen], radii[chosen] - 1e-3


def _turns(angle: FloatArray) -> FloatArray:
    """(rows, cols) degrees by which a direction differs at most from that of the eight around."""
    around = sliding_window_view(np.pad(angle, 1, mode="edge"), (3, 3))
    off: FloatArray = np.abs(off_line(around, angle[:, :, None, None])).max(axis=(2, 3))
    return off


def _next_true(cells: NDArray[np.bool_]) -> NDArray[np.int32]:
    """(rows, cols + 1) the first column from each cell on that is true; cols if there's none."""
    rows, cols = cells.shape
    at = np.full((rows, cols + 1), cols, np.int32)
    at[:, :cols][cells] = np.nonzero(cells)[1]
    return np.ascontiguousarray(np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1])
