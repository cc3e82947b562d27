"""The one dark shape that several make together: filling, joining, and what is refused."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import LineString, MultiPolygon, Polygon

from hides.errors import OutlineError
from hides.outline import FloatArray, Outline, polygons_of

FLATNESS = 1e-4  # chords leave a curve by at most this share of the drawing's size
JOINED_GAP = 0.035  # separate parts are joined over gaps up to this share of the drawing's size
CRUMB = 1e-3  # parts below this share of the largest are specks, left out without a word
LOOSE_ENDS = 1e-4  # ends nearer than this share of the drawing's size are one point
FARTHEST_UNIT = 1e9  # units; beyond it, doubles can't tell a knife's details apart
SCRIBBLE = 1000  # crossings; an outline that has so many is none
SECOND_SHAPE = 0.1  # a second shape with this share of the first one's area makes it two objects


@dataclass(frozen=True)
class Silhouette:
    """What a drawing file shows, in the file's own units, y up.

    Attributes
    ----------
    outline : the largest shape.
    holes : holes in it, largest first.
    unit : mm per unit where the file says so (an SVG width in mm, a DXF with units), else None.
    y_down : the file's own y axis points down (SVG), so that y was negated on reading.
    warnings : what was joined or left out, in words.
    """

    outline: Outline
    holes: tuple[Outline, ...] = ()
    unit: float | None = None
    y_down: bool = False
    warnings: tuple[str, ...] = ()

    def here(self, points: ArrayLike) -> FloatArray:
        """Bring (n, 2) or (2,) points from the file's own axes into this drawing's."""
        return np.asarray(points, dtype=np.float64) * (1.0, -1.0 if self.y_down else 1.0)


def check_reach(coordinates: ArrayLike) -> None:
    """Refuse coordinates that are no numbers, or too large to reckon with.

    Raises
    ------
    OutlineError : NaN, infinite, or beyond :data:`FARTHEST_UNIT`.
    """
    if not (np.abs(np.asarray(coordinates, dtype=np.float64)) <= FARTHEST_UNIT).all():
        raise OutlineError(
            f"a coordinate in the drawing is no number, or beyond {FARTHEST_UNIT:g} units.",
            mend="Draw the outline near the middle of the page.",
        )


def refuse_unsound(rings: Sequence[FloatArray], size: float) -> None:
    """Refuse drawings whose largest ring, of (n, 2) points each, is open or crosses itself.

    A smaller one doesn't decide the silhouette. All is in the drawing's units, whose mm are not
    known yet; ``size`` is its diagonal.

    Raises
    ------
    OutlineError : with the ends of the gap, or the place of a crossing.
    """
    ring = max(rings, key=reach, default=np.zeros((1, 2)))
    if len(ring) < 3:
        return  # of no area, which filled() finds
    if math.dist(ring[0], ring[-1]) > LOOSE_ENDS * size:
        raise open_outline(ring)
    closed = np.vstack([ring[:-1], ring[:1]])
    line = LineString(closed)
    if line.is_simple:
        return
    if _is_scribble(closed):
        raise OutlineError(
            f"the outline crosses itself more than {SCRIBBLE} times.",
            mend="Redraw it as one line that never crosses itself.",
        )
    faces = polygons_of(shapely.polygonize([shapely.node(line)]))
    turns = _winding(closed, _inside_of(faces))
    areas = np.array([face.area for face in faces])
    # Turned both ways is a figure of eight; a loop turned the same way lies within the fill.
    if min(areas[turns > 0].sum(), areas[turns < 0].sum()) > CRUMB * areas.sum():
        raise crossed_outline(_crossing(line))


def reach(points: FloatArray) -> float:
    """Diagonal of the box round (n, 2) points, in their unit, mm or not."""
    return float(np.hypot(*np.ptp(points, axis=0)))


def open_outline(line: FloatArray) -> OutlineError:
    """Return the error that a line of (n, 2) points, in units that may not be mm, is not closed."""
    (ax, ay), (bx, by) = line[0], line[-1]
    return OutlineError(
        f"the outline is open: there is a gap of {math.hypot(bx - ax, by - ay):.3g} units between "
        f"({ax:.6g}, {ay:.6g}) and ({bx:.6g}, {by:.6g}).",
        mend="Close it with a line, or move the ends together.",
    )


def crossed_outline(where: FloatArray) -> OutlineError:
    """Return the error that an outline crosses itself, or branches, at a point (2,).

    It is in the drawing's units, which may not be mm.
    """
    return OutlineError(
        f"the outline crosses or touches itself at ({where[0]:.6g}, {where[1]:.6g}).",
        mend="Redraw it as one line that never crosses itself.",
    )


def filled(rings: Iterable[FloatArray], evenodd: bool) -> MultiPolygon:
    """The area that rings fill together, by the even-odd or the nonzero rule (SVG 1.1, 11.3).

    Parameters
    ----------
    rings : (n, 2) points each; they may cross themselves and each other.
    evenodd : a face is inside where an odd number of turns winds round it; otherwise where
        the turns don't cancel.
    """
    loops = [ring for ring in rings if len(np.unique(ring, axis=0)) >= 3]
    if not loops:
        return MultiPolygon()
    closed = [np.vstack([ring, ring[:1]]) for ring in loops]
    lines = shapely.union_all([LineString(ring) for ring in closed])
    faces = polygons_of(shapely.polygonize([lines]))
    if not faces:
        return MultiPolygon()
    inside = _inside_of(faces)
    turns = np.sum([_winding(ring, inside) for ring in closed], axis=0)
    keep = turns % 2 == 1 if evenodd else turns != 0
    inside_faces = [face for face, kept in zip(faces, keep, strict=True) if kept]
    return MultiPolygon(polygons_of(shapely.union_all(inside_faces)))


def _inside_of(faces: Sequence[Polygon]) -> FloatArray:
    """A point inside each of the faces, (n, 2)."""
    return shapely.get_coordinates([face.representative_point() for face in faces])


def _is_scribble(closed: FloatArray) -> bool:
    """Whether a line of (n, 2) points crosses itself so often that filling it would take hours."""
    sides = np.asarray(shapely.linestrings(np.stack([closed[:-1], closed[1:]], axis=1)))
    tree = shapely.STRtree(sides)
    pairs = 0
    for at in range(0, len(sides), 100):
        pairs += tree.query(sides[at : at + 100], predicate="crosses").shape[1]
        if pairs > 2 * SCRIBBLE:  # each crossing is met from both sides
            return True
    return False


def _crossing(line: LineString) -> FloatArray:
    """Where a closed line that is not simple crosses or touches itself, (2,)."""
    ends = [piece.coords[i] for piece in shapely.node(line).geoms for i in (0, -1)]
    places, counts = np.unique(ends, axis=0, return_counts=True)
    return np.asarray(places[np.argmax(counts)], dtype=np.float64)


def _winding(ring: FloatArray, points: FloatArray) -> FloatArray:
    """How often the closed ring (n, 2) winds round each of the points (m, 2)."""
    (ax, ay), (bx, by) = ring[:-1].T[:, :, None], ring[1:].T[:, :, None]
    px, py = points.T
    left = (bx - ax) * (py - ay) - (px - ax) * (by - ay)
    up = (ay <= py) & (by > py) & (left > 0)
    down = (ay > py) & (by <= py) & (left < 0)
    turns: FloatArray = up.sum(axis=0) - down.sum(axis=0)
    return turns


def silhouette_of(
    shape: shapely.Geometry, *, unit: float | None, y_down: bool, warnings: tuple[str, ...]
) -> Silhouette:
    """Join near parts, keep the largest shape, and refuse where that would be a guess.

    ``unit`` is mm per unit of the drawing, where it is known.
    """
    parts = polygons_of(shape)
    parts = [part for part in parts if part.area > CRUMB * parts[0].area]
    if len(parts) > 1:
        parts, joined = _joined(parts)
        warnings += joined
    largest, rest = parts[0], parts[1:]
    if rest and rest[0].area > SECOND_SHAPE * largest.area:
        raise OutlineError(
            f"the drawing shows {len(parts)} separate shapes, the second "
            f"{rest[0].area / largest.area:.0%} as large as the first.",
            mend="Leave one object in the drawing, its parts touching.",
        )
    if rest:
        warnings += (f"{len(rest)} smaller shape(s) apart from the largest were left out.",)
    holes = sorted((Outline.of(ring.coords) for ring in largest.interiors), key=lambda o: -o.area)
    return Silhouette(Outline.of(largest.exterior.coords), tuple(holes), unit, y_down, warnings)


def _joined(parts: list[Polygon]) -> tuple[list[Polygon], tuple[str, ...]]:
    """Fill the gaps between parts that lie close to each other, and nothing else.

    A closing (out by half the gap, then in again) fills narrow places. Those that touch two
    parts, and slots (lines left white), are filled; the rest are corners that stay sharp.
    """
    whole = MultiPolygon(parts)
    left, bottom, right, top = whole.bounds
    reach = JOINED_GAP * math.hypot(right - left, top - bottom)
    closed = whole.buffer(reach / 2).buffer(-reach / 2)
    grown = [part.buffer(reach * 1e-3) for part in parts]
    bridges = [
        piece
        for piece in polygons_of(closed.difference(whole))
        if piece.area > reach**2 / 2 or sum(piece.intersects(part) for part in grown) > 1
    ]
    if not bridges:
        return parts, ()
    # Rounding leaves hairlines along shared edges; a hair's breadth of closing takes them out.
    hair = reach * 1e-3
    union = shapely.union_all([*parts, *bridges]).buffer(hair, join_style="mitre")
    joined = polygons_of(union.buffer(-hair, join_style="mitre"))
    joined = [part for part in joined if part.area > CRUMB * joined[0].area]
    if len(joined) == len(parts):
        return parts, ()
    says = f"{len(parts)} separate parts were joined into {len(joined)}"
    return joined, (f"{says}, over gaps up to {reach:.3g} units.",)
