"""Leftover: which pieces of a hide a plan leaves, once its parts are cut and the line is cut.

The frontier is the straight line across the hide, square to the keep direction
(:func:`nest.plans.keep_direction`), that touches the part lying farthest towards the end that is
kept, one that is cut already among them. Beyond it lies what remains in one piece; a strap that
the plan was asked to leave is a piece of its own; and large pieces beside the parts, the offcuts,
stay usable too.
:func:`hides.piece.piece_of` makes a hide of each.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import polygons_of
from hides.units import DM2
from nest.errors import PlanError
from nest.plans import TOLERANCE, Plan, keep_direction, placed_outline

# mm; an offcut has room for a disc so wide at every place, as a belt loop or a key fob asks for.
# Common practice, no published source.
OFFCUT_WIDTH = 60.0
LEAST_PIECE = DM2  # mm²; a smaller piece is waste: it holds no part of a sheath


def frontier_of(plan: Plan) -> float:
    """How far the plan's parts reach towards the end that is kept, mm from the frame's origin.

    Raises
    ------
    ValueError : the plan has no part.
    """
    u = np.array(keep_direction(plan.keep))
    points = [placed_outline(plan, placement).points for placement in plan.lying]
    return float((np.vstack(points) @ u).max())


def beyond(plan: Plan, hide: Hide) -> Polygon:
    """A rectangle, mm, that holds all of the hide beyond the frontier; its first edge is on it."""
    frontier = frontier_of(plan)
    u = np.array(keep_direction(plan.keep))
    across = np.array([-u[1], u[0]])
    points = hide.outline.points
    low, high = (points @ across).min() - 1.0, (points @ across).max() + 1.0
    far = max((points @ u).max(), frontier) + 1.0
    corners = [(frontier, low), (frontier, high), (far, high), (far, low)]
    return Polygon([s * u + t * across for s, t in corners])


def leftover(plan: Plan, hide: Hide) -> tuple[Polygon, ...]:
    """The pieces that a plan keeps of its hide, mm in its frame, offcuts left out.

    Straps first, as they were asked for, then what lies beyond the frontier in pieces of a dm² or
    more, the largest first.

    Raises
    ------
    PlanError : the plan places no part.
    """
    if not plan.lying:
        raise PlanError("the plan places no part, so all of the hide is left.")
    whole = hide.polygon.intersection(beyond(plan, hide))
    straps = _straps(plan, whole)
    rest = polygons_of(whole.difference(shapely.union_all(straps)))
    return (*straps, *(piece for piece in rest if piece.area >= LEAST_PIECE))


def offcuts(plan: Plan, hide: Hide, wide: float = OFFCUT_WIDTH) -> tuple[Polygon, ...]:
    """The pieces of clean leather beside the parts that are large enough, the largest first, mm.

    A place belongs to one if a disc ``wide`` mm across round some place near it lies wholly in
    what is free (an opening: Serra, Image Analysis and Mathematical Morphology, 1982, cited from
    memory).
    """
    end = beyond(plan, hide)
    grow = max(plan.gap, TOLERANCE)  # GEOS may lose a shape that grows by next to nothing
    taken = [placed_outline(plan, p).polygon.buffer(grow) for p in plan.lying]
    taken += [end, *_straps(plan, hide.polygon.intersection(end))]
    free = MultiPolygon(polygons_of(hide.clean.difference(shapely.union_all(taken))))
    opened = free.buffer(-wide / 2).buffer(wide / 2).intersection(free)
    pieces = [piece for piece in polygons_of(opened) if piece.area >= LEAST_PIECE]
    return tuple(sorted(pieces, key=lambda piece: -piece.area))


def _straps(plan: Plan, whole: BaseGeometry) -> list[Polygon]:
    """What the plan keeps that isn't part of ``whole``, all that lies beyond the frontier."""
    near = whole.buffer(TOLERANCE)
    return [one.polygon for one in plan.remnants if not near.contains(one.polygon)]
