"""Outline: the one normal form of a closed shape.

Everything that is drawn, placed or cut starts as an :class:`Outline`. Nothing
downstream checks again what its constructor promises:

* closed: the last point joins the first, which is not repeated;
* simple: it neither touches nor crosses itself;
* counter-clockwise, with positive area;
* ``float64`` of shape (n, 2), C order, finite, read-only, n >= 3;
* no two neighbouring points closer than :data:`SAME_POINT`.

>>> square = Outline.of([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])
>>> len(square.points), square.area
(4, 100.0)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyclipper
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import LinearRing, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from hides.errors import OutlineError

FloatArray = NDArray[np.float64]

# Offsets are made by Clipper, whose whole numbers never leave a gap or a loop (Vatti, A generic
# solution to polygon clipping, 1992). They count steps of GRID: of a corner of an offset both
# coordinates are off by at most half of one, which is far below any tool, and a hide 100 m long
# still fits the 2**30 steps up to which it is fast.
GRID = 1e-4  # mm

_QUARTER = 16  # chords in a quarter circle
_SAG = 1.0 - float(np.cos(np.pi / (4 * _QUARTER)))  # of the radius, that a chord cuts off its arc
# Round offsets are stretched by that, and by 1 % so that no rounding makes one fall short.
_STRETCH = 1.01 / (1.0 - _SAG)

SAME_POINT = 1e-6  # mm; nearer points are one: far below any tool, far above rounding


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed simple counter-clockwise ring; see the module's text for what is promised.

    Attributes
    ----------
    points : (n, 2) float64, mm, read-only.
    """

    points: FloatArray

    @classmethod
    def of(cls, points: ArrayLike) -> Outline:
        """Bring a ring of points into normal form.

        Parameters
        ----------
        points : (n, 2) array-like in mm, either orientation, closing point repeated or not.

        Raises
        ------
        OutlineError : not (n, 2) numbers, NaN or infinite, fewer than three distinct points,
            no area, or a ring that crosses or touches itself (the place is named).
        """
        try:
            ring = np.array(points, dtype=np.float64)
        except (TypeError, ValueError) as error:
            raise OutlineError(f"the outline is not a list of number pairs ({error}).") from None
        if ring.ndim != 2 or ring.shape[1] != 2:
            raise OutlineError(f"the outline needs points of two numbers, got shape {ring.shape}.")
        if not np.isfinite(ring).all():
            bad = int(np.flatnonzero(~np.isfinite(ring).all(axis=1))[0])
            raise OutlineError(f"point {bad} of the outline is not a finite number.")
        ring = _without_repeats(ring)
        if len(ring) < 3:
            raise OutlineError(
                f"the outline has {len(ring)} distinct points; a shape needs three or more."
            )
        shape = LinearRing(ring)
        if not shape.is_simple:
            where = explain_validity(Polygon(ring))
            raise OutlineError(
                f"the outline crosses or touches itself ({where}).",
                mend="Redraw it as one line that never crosses itself.",
            )
        if not shape.is_ccw:
            ring = ring[::-1]
        ring = np.ascontiguousarray(ring)
        ring.setflags(write=False)
        return cls(ring)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Outline) and np.array_equal(self.points, other.points)

    def __hash__(self) -> int:
        return hash(self.points.tobytes())

    @cached_property
    def polygon(self) -> Polygon:
        """The same ring as a shapely polygon."""
        return Polygon(self.points)

    @property
    def area(self) -> float:
        """Area in mm²."""
        return float(self.polygon.area)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(min x, min y, max x, max y) in mm."""
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def placed(self, angle: float, x: float, y: float) -> Outline:
        """Turn by ``angle`` degrees about (0, 0), then shift by (x, y)."""
        return Outline.of(turned(self.points, angle, x, y))


def turned(points: FloatArray, angle: float, x: float = 0.0, y: float = 0.0) -> FloatArray:
    """Turn (n, 2) points by ``angle`` degrees counter-clockwise about (0, 0), then shift them."""
    a = np.deg2rad(angle)
    c, s = np.cos(a), np.sin(a)
    turn = np.array([[c, s], [-s, c]])
    return np.asarray(points @ turn + (x, y), dtype=np.float64)


def grown(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """Offset polygons outwards by ``distance`` mm, inwards if negative, with round corners.

    Never falls short: what is grown by d covers every point within d, what is shrunk by d
    keeps no point nearer than d to its edge. It may go farther by about 1 % of d.
    """
    reach = distance * _STRETCH
    return _offset(shape, reach, pyclipper.JT_ROUND, sag=abs(reach) * _SAG)


def mitred(shape: BaseGeometry, distance: float, limit: float) -> BaseGeometry:
    """Offset polygons outwards by ``distance`` mm, inwards if negative, with sharp corners.

    Exact but for :data:`GRID`. A corner so sharp that its point would lie more than ``limit``
    times the distance off, a factor of 2 or more, is cut off square.
    """
    return _offset(shape, distance, pyclipper.JT_MITER, limit=limit)


def buffered(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """What :func:`grown` promises, of ``distance`` mm, for any shape: lines and points too.

    It is GEOS's, which straightens small bays by 1 % of the distance before it begins.
    """
    return shape.buffer(distance * _STRETCH, quad_segs=_QUARTER)


def _offset(
    shape: BaseGeometry, distance: float, join: int, *, sag: float = 0.0, limit: float = 2.0
) -> BaseGeometry:
    if distance == 0:
        return shape
    tool = pyclipper.PyclipperOffset(limit, sag / GRID)
    for polygon in polygons_of(shape):
        whole = shapely.orient_polygons(polygon)
        for ring in (whole.exterior, *whole.interiors):
            steps = np.rint(shapely.get_coordinates(ring)[:-1] / GRID).astype(np.int64)
            path = steps.tolist()
            thin = pyclipper.Area(path) == 0  # finer than the grid, a polygon is but a line
            end = pyclipper.ET_CLOSEDLINE if thin else pyclipper.ET_CLOSEDPOLYGON
            tool.AddPath(path, join, end)
    found = list(_polygons(tool.Execute2(distance / GRID)))
    offset = found[0] if len(found) == 1 else MultiPolygon(found)
    return offset if offset.is_valid else shapely.make_valid(offset)  # corners may touch


def _polygons(node: pyclipper.PyPolyNode) -> Iterator[Polygon]:
    """The outer rings below a node, each with its holes, in which others may lie."""
    for outer in node.Childs:
        yield Polygon(*_rings(outer))
        for hole in outer.Childs:
            yield from _polygons(hole)


def _rings(outer: pyclipper.PyPolyNode) -> tuple[FloatArray, list[FloatArray]]:
    return np.array(outer.Contour) * GRID, [np.array(hole.Contour) * GRID for hole in outer.Childs]


def polygons_of(shape: shapely.Geometry) -> list[Polygon]:
    """The polygons with area in any shapely geometry, largest first."""
    parts = shapely.get_parts(shapely.get_parts(shape))  # a collection may hold MultiPolygons
    found = [part for part in parts if isinstance(part, Polygon) and part.area > 0]
    return sorted(found, key=lambda p: -p.area)


def _without_repeats(ring: FloatArray) -> FloatArray:
    """Drop points closer than SAME_POINT to the one kept before, and the closing point."""
    if not (np.hypot(*(np.roll(ring, -1, axis=0) - ring).T) <= SAME_POINT).any():
        return ring
    keep = [ring[0]]
    for point in ring[1:]:
        if np.hypot(*(point - keep[-1])) > SAME_POINT:
            keep.append(point)
    while len(keep) > 1 and np.hypot(*(keep[0] - keep[-1])) <= SAME_POINT:
        keep.pop()
    return np.array(keep)
