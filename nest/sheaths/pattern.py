"""Outlines on the flat: channel -> body, welt, seam.

All are drawn for a right-hand sheath, grain side up: the back half at y > 0, the front half
at y < 0, the fold along y = 0, the tip towards +x. Held with the tip down and the front's
grain side to the eye, the fold is then on the right and the edge on the left, which is the
rear on the right hip. A left-hand sheath is the mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiLineString, Polygon, affinity, box

from hides.outline import FloatArray, Outline, polygons_of, turned
from nest.errors import KnifeError
from nest.knife import Choices
from nest.sheaths.channel import ARC, Channel
from nest.sheaths.loop import Seat, arched_end, risen

CORNER_RADIUS = 5.0  # of the throat's corners
FILLET_RADIUS = 8.0  # where the risen back meets the throat line
SIMPLE = 0.045  # mm that an outline may leave the drawn one; offsets add less than 0.005
LAST_HOLE = 0.75  # pitches at least, and one at most, from the last hole to the welt's end
_FAR = 2000.0


@dataclass(frozen=True)
class FlatPattern:
    """Shapes on the flat; mm, right hand.

    Attributes
    ----------
    body, welt : outlines.
    front, back : the body's halves; ``strap`` is the risen back, or None.
    seam : (n, 2) the back half's stitch line from throat to the welt's end at the tip.
    longer : by how much the seam is longer when folded, along the welt, than flat; below 0 it is
        shorter.
    inner : (n, 2) the welt's inner line from throat to tip, on the back half.
    throat, end : x of the throat line and of the tip's end at the fold.
    """

    body: Outline
    welt: Outline
    front: Outline
    back: Outline
    strap: Outline | None
    seam: FloatArray
    longer: float
    inner: FloatArray
    throat: float
    end: float


def pattern_of(channel: Channel, choices: Choices, seat: Seat) -> FlatPattern:
    """Draw the outlines round a channel."""
    room, throat = channel.room, channel.lie.throat
    outer = room.buffer(choices.welt + choices.oversize, quad_segs=ARC)
    radius = min(CORNER_RADIUS, choices.welt)
    cut = outer.intersection(box(throat, -_FAR, _FAR, _FAR))
    cut = cut.buffer(-radius, quad_segs=ARC).buffer(radius, quad_segs=ARC)
    half = _whole(cut.intersection(box(throat, 0, _FAR, _FAR)))
    back_path = _path(half)
    front_path = _path(_thumbed(half, channel, choices)) if choices.thumb else back_path
    if choices.loop == "back":
        band = _strap(seat, throat, risen(choices))
        back_path = _path(_filleted(half, band))
    ring = np.vstack([back_path, (front_path * (1.0, -1.0))[::-1][1:-1]])
    body = Outline.of(_straightened(ring))
    rises = choices.loop == "back"
    seam, folded = (_seam(one, channel, choices) for one in (room, channel.folded))
    longer = LineString(folded).length - LineString(seam).length
    return FlatPattern(
        body=body,
        welt=_welt(outer, channel, excess_of(choices, longer)),
        front=_part_of(body, box(-_FAR, -_FAR, _FAR, 0)),
        back=_part_of(body, box(throat if rises else -_FAR, 0, _FAR, _FAR)),
        # It overlaps the back a little, so that nothing lies between the two.
        strap=_part_of(body, box(-_FAR, 0, throat + 1, _FAR)) if rises else None,
        seam=seam,
        longer=longer,
        inner=_inner(room, channel),
        throat=throat,
        end=float(half.bounds[2]),
    )


def _part_of(body: Outline, where: Polygon) -> Outline:
    """A region is cut out of the finished outline, so that regions cover the part exactly."""
    return Outline.of(shapely.get_coordinates(_whole(body.polygon.intersection(where)).exterior))


def _path(half: Polygon) -> FloatArray:
    """The half's outline from the fold's end at the tip, round by the seam, to the throat.

    The stretch up to the throat's corner is thinned by itself, so that front and back, which
    may differ beyond it, get the same edge.
    """
    ring = shapely.get_coordinates(shapely.orient_polygons(half).exterior)[:-1]
    on_fold = np.flatnonzero(np.abs(ring[:, 1]) < 1e-9)
    ring = np.roll(ring, -on_fold[np.argmax(ring[on_fold, 0])], axis=0)
    last = int(np.flatnonzero(np.abs(ring[1:, 1]) < 1e-9)[0]) + 1
    path = ring[: last + 1]
    corner = int(np.argmax(path[:, 0] < path[-1, 0] + CORNER_RADIUS + 0.5))
    points = np.concatenate([thinned(path[: corner + 1]), thinned(path[corner:])[1:]])
    points[[0, -1], 1] = 0.0
    return points


def thinned(path: FloatArray) -> FloatArray:
    """Few points (m, 2) of a path (n, 2) in mm, the lines between them within SIMPLE of it."""
    return shapely.get_coordinates(LineString(path).simplify(SIMPLE, preserve_topology=False))


def _straightened(ring: FloatArray) -> FloatArray:
    """Drop points that lie on the straight line between their neighbours."""
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    a, b = ring - before, after - ring
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    bent: FloatArray = ring[np.abs(cross) > 1e-6 * np.hypot(*a.T) * np.hypot(*b.T)]
    return bent


def _whole(shape: shapely.Geometry) -> Polygon:
    """The one polygon that an overlay should give, without stray lines and specks."""
    pieces = polygons_of(shape)
    if not pieces or sum(piece.area for piece in pieces[1:]) > 1.0:
        raise KnifeError("the pattern falls apart: its pieces don't hang together.")
    return pieces[0]


def _outline(shape: Polygon) -> Outline:
    ring = shapely.get_coordinates(shape.exterior)
    return Outline.of(_straightened(thinned(ring)[:-1]))


def _thumbed(half: Polygon, channel: Channel, choices: Choices) -> Polygon:
    """Scoop the throat line, so that the thumb finds the handle."""
    wide = channel.inner(channel.lie.throat)
    round_one = shapely.Point(0, 0).buffer(1, quad_segs=ARC)
    scoop = affinity.translate(
        affinity.scale(round_one, choices.thumb, 0.32 * wide),
        channel.lie.throat,
        0.5 * wide,
    )
    cut = half.difference(scoop)
    soft = min(4.0, 0.1 * wide)
    rounded = cut.buffer(-soft, quad_segs=ARC).buffer(soft, quad_segs=ARC)
    # Only the scoop's corners are rounded; the fold's ends stay sharp for the other half.
    near = box(-_FAR, 0.1 * wide, channel.lie.throat + choices.thumb + 1, 0.9 * wide)
    return _whole(rounded.intersection(near).union(cut.difference(near)))


def _strap(seat: Seat, throat: float, length: float) -> Polygon:
    end = turned(arched_end(seat.width), 0, throat - length, seat.middle)
    foot = throat + 1.0
    low, high = seat.middle - seat.width / 2, seat.middle + seat.width / 2
    return Polygon([(foot, low), *end, (foot, high)])


def _filleted(half: Polygon, band: Polygon) -> Polygon:
    """Join the strap to the back, its inner corners filled by an arc."""
    joined = half.union(band)
    low = band.bounds[1]
    radius = min(FILLET_RADIUS, low)
    filled = joined.buffer(radius, quad_segs=ARC).buffer(-radius, quad_segs=ARC)
    near = box(-_FAR, 0, half.bounds[0] + 0.5, _FAR)
    return _whole(joined.union(filled.intersection(near)))


def excess_of(choices: Choices, longer: float) -> float:
    """How far the welt stands out of the throat, mm: enough where folding takes more of it."""
    return choices.excess + max(longer, 0.0)


def _welt(outer: Polygon, channel: Channel, excess: float) -> Outline:
    """Between inner and outer line, from the allowance line at the tip to past the throat."""
    start = channel.lie.throat - excess
    band = outer.difference(channel.room)
    return _outline(_whole(band.intersection(box(start, channel.allowance, _FAR, _FAR))))


def _seam(room: Polygon, channel: Channel, choices: Choices) -> FloatArray:
    """The stitch line: from below the throat line to the welt's end at the tip."""
    ring = room.buffer(choices.welt - choices.margin_mm, quad_segs=ARC).exterior
    first = channel.lie.throat + max(choices.margin_mm, CORNER_RADIUS)
    return _toward_tip(ring, first, channel.allowance)


def _inner(room: Polygon, channel: Channel) -> FloatArray:
    return thinned(_toward_tip(room.exterior, channel.lie.throat, channel.allowance))


def _toward_tip(ring: LinearRing, left: float, low: float) -> FloatArray:
    """The stretch of a ring right of ``left`` and above ``low``, running toward the tip."""
    inside = ring.intersection(box(left, low, _FAR, _FAR))
    lines = [inside] if isinstance(inside, LineString) else list(getattr(inside, "geoms", ()))
    merged = shapely.line_merge(MultiLineString([g for g in lines if isinstance(g, LineString)]))
    if not isinstance(merged, LineString) or merged.is_empty:
        raise KnifeError(
            "the sheath is too short for a seam.", place="[sheath] key 'handle_covered'"
        )
    points = shapely.get_coordinates(merged)
    return points if points[0, 0] < points[-1, 0] else points[::-1]
