"""How far a part must reach at least, were it alone on the hide.

A part finds ground sound and thick enough only in places, and there its axis must follow the
leather's line of least stretch. All its poses are searched, a box of them at a time (see
:mod:`nest.place.bound.loops`), and a box goes only where it is certain that none of its poses
is allowed. What is left has a least frontier, and no plan has a lesser one.

Everything is computed in a frame turned so that the end to be kept lies at large x, as in the
search itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.outline import FloatArray, Outline, polygons_of, turned
from hides.thickness import Need
from nest.check import ANGLE_TOLERANCE
from nest.job import Wanted
from nest.part import Region
from nest.place.bound import loops
from nest.place.bound.area import Leather, edges_of
from nest.plan import TOLERANCE

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
    """Parts that are the same to a hide; ``name`` is the id of one of them."""

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
        self._depths: dict[object, NDArray[np.float32]] = {}
        self._facing: FloatArray | None = None
        self._least: dict[Kind, tuple[bool, float]] = {}
        self._shares: dict[frozenset[tuple[str, Need]], FloatArray] = {}
        self._runs: dict[Kind, list[NDArray[np.int32]]] = {}

    @property
    def facing(self) -> FloatArray:
        """(rows, cols, 3) as :func:`loops._turned_off` wants it, on nodes SPACING apart."""
        if self._facing is None:
            xs, ys = (self.grid[i] + SPACING * np.arange(2 * self.boxes[i] + 1) for i in (0, 1))
            places = np.stack(np.meshgrid(xs, ys), axis=-1)
            flat = turned(places.reshape(-1, 2), self.phi)
            angle = self.leather.hide.stretch.direction(flat) - self.phi
            angle = angle.reshape(places.shape[:2])
            twice = np.deg2rad(2 * angle)
            out = np.stack([np.cos(twice), np.sin(twice), _turns(angle)], axis=-1)
            self._facing = np.ascontiguousarray(out)
        return self._facing

    def least(self, kind: Kind, enough: float = -np.inf) -> float:
        """The least frontier in mm of a part alone; inf: it fits nowhere.

        Where that is no more than ``enough`` the search ends at once, and what is returned is
        just some number that isn't more either.
        """
        exact, known = self._least.get(kind, (False, np.inf))
        if not exact and known > enough:
            given = (*self._search(kind), enough, MOST_BOXES)
            known = float(loops.least_frontier(*given))
            self._least[kind] = (known > enough, known)
        return known

    def room(self, kinds: Sequence[Kind], frontier: float, enough: float) -> float:
        """mm² of ground that any of some parts may cover at all, up to a frontier.

        Told from above; more than ``enough`` isn't looked for.
        """
        share = self._share(tuple(kinds))
        share = np.where(self.grid[0] + SMALL * np.arange(share.shape[1]) > frontier, 0.0, share)
        following = _next_true(share > 0)
        total = 0.0
        for kind in kinds:
            cells = (*self._spans(kind), following, share)
            given = (*self._search(kind), *cells, frontier, enough - total, MOST_BOXES // 4)
            total += float(loops.covered(*given))
        return total

    def _search(self, kind: Kind) -> tuple[Any, ...]:
        """What both loops need to know of a part on this hide, in their order."""
        rule = (kind.axis, kind.window + ANGLE_TOLERANCE)
        place = (self.grid[0], self.grid[1], SPACING)
        keys = list(dict.fromkeys(region.face for region in kind.regions))
        depths = np.stack([self._depth_for(face, kind.need) for face in keys])
        boxes = (*self._tops(kind), ring(kind))
        return *boxes, points_of(kind, keys), depths, self.grid, self.facing, place, rule

    def _tops(self, kind: Kind) -> tuple[NDArray[np.int64], FloatArray, int]:
        """Columns and spans of level 0 by the least frontier of their boxes, and their rows."""
        fronts = np.empty(loops.TURNS)
        loops.fronts(ring(kind), fronts)
        at = np.indices((self.boxes[0], loops.TURNS)).reshape(2, -1).T
        lows = self.grid[0] + at[:, 0] * loops.BOX + fronts[at[:, 1]]
        order = np.argsort(lows, kind="stable")
        return np.ascontiguousarray(at[order]), lows[order], int(self.boxes[1])

    def _spans(self, kind: Kind) -> list[NDArray[np.int32]]:
        if kind not in self._runs:
            dense = shapely.get_coordinates(kind.outline.polygon.exterior.segmentize(1.0))
            reach = np.hypot(*dense.T).max() + 8 * loops.BOX
            rows = 2 * int(reach / SMALL)
            self._runs[kind] = [
                np.empty((loops.TURNS << level, rows, 2), np.int32) for level in range(LAST + 1)
            ]
            for level, table in enumerate(self._runs[kind]):
                loops.spans(dense, level, SMALL, table)
        return self._runs[kind]

    def _share(self, kinds: tuple[Kind, ...]) -> FloatArray:
        """(rows, cols) mm² of ground for any of some parts in each cell."""
        key = frozenset((r.face, kind.need) for kind in kinds for r in kind.regions)
        if key not in self._shares:
            leather = self.leather
            grounds = [leather.sound(face) & leather.thick(need) for face, need in key]
            ground = leather.inside & shapely.union_all(grounds)
            out = np.zeros((int(self.boxes[1]) << LAST, int(self.boxes[0]) << LAST))
            edges = edges_of(ground, leather.u).reshape(-1, 4)
            loops.coverage(edges, *self.grid[:2], SMALL, out)
            self._shares[key] = out * SMALL**2
        return self._shares[key]

    def _depth_for(self, face: str, need: Need) -> NDArray[np.float32]:
        """How deep in the ground each node lies at most; ``loops._refuted`` says how it's used.

        How deep a point lies in what three shapes share is the least of the three depths;
        outside of some, it is farther out than of any of them.
        """
        leather = self.leather
        parts = [
            self._depth("inside", lambda: leather.inside),
            self._depth(face, lambda: leather.sound(face)),
            self._depth(need, lambda: leather.thick(need)),
        ]
        if len(leather.windows) > 1:
            parts.append(self._depth_in_windows())
        least: NDArray[np.float32] = np.minimum.reduce(parts)
        return least

    def _depth_in_windows(self) -> NDArray[np.float32]:
        """How deep each node lies in that window of the bed in which it lies deepest.

        A disc of a part lies in one window, so it is no larger than that.
        """
        key = "windows"
        if key not in self._depths:
            rows, cols = (int(self.boxes[i] * loops.BOX / CELL) + 2 for i in (1, 0))
            xs, ys = self.grid[0] + CELL * np.arange(cols), self.grid[1] + CELL * np.arange(rows)
            nodes = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
            x, y = turned(nodes, self.phi).T
            deep = np.maximum.reduce(
                [
                    np.minimum.reduce([x - x0, x1 - x, y - y0, y1 - y])
                    for x0, y0, x1, y1 in self.leather.windows
                ]
            )
            self._depths[key] = (deep + TOLERANCE + 1e-3).reshape(rows, cols).astype(np.float32)
        return self._depths[key]

    def _depth(self, key: object, shape: Callable[[], BaseGeometry]) -> NDArray[np.float32]:
        if key not in self._depths:
            cut = shapely.segmentize(shape(), 4 * loops.BOX)
            edges = edges_of(cut, self.leather.u).reshape(-1, 4)
            size = [int(n * loops.BOX / CELL) + 2 for n in self.boxes]
            out = np.empty((size[1], size[0]))
            loops.signed_distance(edges, *self.grid, out)
            out[out >= loops.FAR] = np.inf
            self._depths[key] = (out + 1e-3).astype(np.float32)
        return self._depths[key]


def ring(kind: Kind) -> FloatArray:
    """The corners of a part's convex hull: whatever its angle, one of them reaches farthest."""
    hull = kind.outline.polygon.convex_hull
    return np.ascontiguousarray(shapely.get_coordinates(hull)[:-1])


def points_of(kind: Kind, faces: list[str]) -> FloatArray:
    """(n, 5) places and discs of a part as :func:`loops._refuted` wants them, telling ones first.

    Each is a disc within a region; those along its edge have no width.
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
    out = np.zeros_like(angle)
    padded = np.pad(angle, 1, mode="edge")
    rows, cols = angle.shape
    for j in range(3):
        for i in range(3):
            off = padded[j : j + rows, i : i + cols] - angle
            out = np.maximum(out, np.abs((off + 90.0) % 180.0 - 90.0))
    return out


def _next_true(cells: NDArray[np.bool_]) -> NDArray[np.int32]:
    """(rows, cols + 1) the first column from each cell on that is true; cols if there's none."""
    rows, cols = cells.shape
    at = np.full((rows, cols + 1), cols, np.int32)
    at[:, :cols][cells] = np.nonzero(cells)[1]
    return np.ascontiguousarray(np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1])
