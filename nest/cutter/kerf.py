"""Kerf: the path beside the line, so that what stays has the size of the pattern.

A tool whose middle follows a line takes half its kerf from either side: drawn 2.0 × 4.0 at a
kerf of 0.2, a part becomes 1.8 × 3.8 and a hole 2.2 × 4.2. So outlines are drawn larger by half
a kerf all round, and holes smaller. The kerf is measured with :func:`kerf_coupon`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon, STRtree

from hides.outline import FloatArray, mitred, polygons_of
from nest.cutter.contour import Contour
from nest.errors import CutError

SHARP = 5.0  # a corner's point may lie so many half kerfs off: corners above 23° stay sharp
LOST = 0.02  # mm; half the width of what the kerf may swallow unseen
STRIPS = 10  # pieces in the kerf coupon
STRIP = (10.0, 30.0)  # mm, width and length of each


def compensated(contours: Sequence[Contour], kerf: float) -> tuple[Contour, ...]:
    """The tool's path for each contour, in the same order.

    Closed cuts and holes move by half the kerf into the waste, sharp corners kept; circles stay
    circles. Marks and open cuts stay as they are.

    Parameters
    ----------
    kerf : mm, width of what the tool takes away.

    Raises
    ------
    CutError : a hole, neck or bay no wider than the kerf, or two parts nearer than it; part and
        place are named.
    """
    if kerf <= 0:
        return tuple(contours)
    _room_between(contours, kerf)
    return tuple(_beside(contour, kerf) for contour in contours)


def _beside(contour: Contour, kerf: float) -> Contour:
    if not contour.closed or contour.work == "mark":
        return contour
    half = -kerf / 2 if contour.inside else kerf / 2
    if contour.ring is not None:
        return _ring_beside(contour, contour.ring, half)
    shape = Polygon(contour.flat())
    path = _only(mitred(shape, half, SHARP), contour, kerf)
    _nothing_lost(shape, path, half, contour, kerf)
    return replace(contour, points=_started(path, contour), bulges=None)


def _ring_beside(contour: Contour, ring: tuple[float, float, float], half: float) -> Contour:
    x, y, radius = ring
    if radius + half <= LOST:
        raise _narrow(contour, f"a hole of {2 * radius:g} mm", -2 * half, (x, y))
    middle = np.array([x, y])
    points = middle + (contour.points - middle) * (radius + half) / radius
    return replace(contour, points=points)


def _only(found: shapely.Geometry, contour: Contour, kerf: float) -> Polygon:
    """The one simple polygon that an offset must be."""
    pieces = polygons_of(found)
    if not pieces:
        place = Polygon(contour.points).representative_point()
        raise _narrow(contour, "a hole", kerf, (place.x, place.y))
    if len(pieces) > 1:
        place = pieces[-1].representative_point()
        raise _narrow(contour, "a neck", kerf, (place.x, place.y))
    if pieces[0].interiors:
        place = Polygon(pieces[0].interiors[0]).representative_point()
        raise _narrow(contour, "the mouth of a bay", kerf, (place.x, place.y))
    return pieces[0]


def _nothing_lost(shape: Polygon, path: Polygon, by: float, contour: Contour, kerf: float) -> None:
    """Offset back, the path must give the shape again; what doesn't come back is swallowed."""
    lost = shape.symmetric_difference(mitred(path, -by, SHARP)).buffer(-LOST)
    if not lost.is_empty:
        place = lost.representative_point()
        what = "a neck" if contour.inside else "a bay"
        raise _narrow(contour, what, kerf, (place.x, place.y))


def _narrow(contour: Contour, what: str, kerf: float, at: tuple[float, float]) -> CutError:
    return CutError(
        f"{what} at ({at[0]:.1f}, {at[1]:.1f}) is no wider than the kerf of {kerf:g} mm.",
        mend="Widen it, or leave it out and cut it by hand.",
        place=f"part '{contour.part}', {contour.what or contour.work}",
    )


def _started(path: Polygon, contour: Contour) -> FloatArray:
    """The ring of a path, the way round of its contour, from the corner nearest its start."""
    ring = shapely.get_coordinates(path.exterior)[:-1]
    if path.exterior.is_ccw != (contour.area > 0):
        ring = ring[::-1]
    first = int(np.argmin(np.hypot(*(ring - contour.points[0]).T)))
    return np.roll(ring, -first, axis=0)


def _room_between(contours: Sequence[Contour], kerf: float) -> None:
    """Refuse outlines nearer to each other than the kerf: one cut would eat the other's part."""
    cuts = [c for c in contours if c.closed and c.work == "cut"]
    if len(cuts) < 2:
        return
    shapes = [Polygon(c.flat()) for c in cuts]
    pairs = STRtree(shapes).query(shapes, predicate="dwithin", distance=kerf * (1 - 1e-9))
    for i, k in pairs.T.tolist():
        if i < k:
            raise CutError(
                f"'{cuts[i].part}' and '{cuts[k].part}' lie {shapes[i].distance(shapes[k]):.2f} mm "
                f"apart, less than the kerf of {kerf:g} mm.",
                mend="Plan again with a larger gap.",
            )


def kerf_coupon(x: float = 0.0, y: float = 0.0) -> tuple[Contour, ...]:
    """Ten strips to cut out of one window, uncompensated; (x, y) mm is the window's corner.

    Nine lines first, then the frame around them. Measure the window along the row, push the
    strips together and measure the row: :func:`kerf_of`. Ten strips make the kerf eleven times
    as large as it is, which a caliper reads on soft leather too.
    """
    width, length = STRIP
    low = np.array([x, y])
    lines = [
        Contour(low + np.array([[i * width, 0.0], [i * width, length]]), False, "cut", "coupon")
        for i in range(1, STRIPS)
    ]
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    frame = low + corners * (STRIPS * width, length)
    return (*lines, Contour(frame, True, "cut", "coupon", what="outline"))


def kerf_of(hole: float, part: float, pieces: int = 1) -> float:
    """The kerf from a window and what fell out of it, mm.

    k = (hole - part) / (pieces + 1): every cut between or beside the pieces took one kerf from
    the row, of which the window's two ends give half each back. For one piece it is the
    known (hole - part) / 2, such as (20.14 - 19.76) / 2 = 0.19 (a student page of a fab academy
    measures so). Check it the other way: a part alone is one kerf smaller than drawn.

    Parameters
    ----------
    hole, part : mm, the window along the row, and the row pushed together.
    pieces : how many the row has; ``STRIPS`` for the coupon.

    Raises
    ------
    CutError : the row is not shorter than its window.
    """
    if not 0 < part < hole:
        raise CutError(
            f"the row measures {part:g} mm and its window {hole:g} mm, which leaves no kerf.",
            mend="Measure both again, the row pushed together.",
        )
    return (hole - part) / (pieces + 1)
