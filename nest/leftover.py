"""Leftover: which pieces of a hide a plan leaves, once its parts are cut and the line is cut.

The frontier is the straight line across the hide, square to the keep direction
(:func:`nest.plans.keep_direction`), that touches the part lying farthest towards the end that is
kept, one that is cut already among them. Beyond it lies what remains in one piece; a strap that
the plan was asked to leave is a piece of its own; and between the parts there may be more.
:func:`hides.piece.piece_of` makes a hide of each.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from hides.hide import Hide
from hides.outline import grown, polygons_of
from hides.units import DM2
from nest.errors import PlanError
from nest.plans import TOLERANCE, Plan, keep_direction, placed_outline

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


def leftover(plan: Plan, hide: Hide, *, wide: float | None = None) -> tuple[Polygon, ...]:
    """The pieces that a plan leaves of its hide, mm in its frame, of a dm² or more.

    Straps first, as they were asked for, then what lies beyond the frontier, the largest first.

    Parameters
    ----------
    wide : also pieces from between the parts, as far as they are so many mm wide everywhere.

    Raises
    ------
    PlanError : the plan places no part.
    """
    if not plan.lying:
        raise PlanError("the plan places no part, so all of the hide is left.")
    line = beyond(plan, hide)
    whole = hide.polygon.intersection(line)
    straps = [
        remnant.polygon
        for remnant in plan.remnants
        if not whole.buffer(TOLERANCE).contains(remnant.polygon)
    ]
    kept = shapely.union_all(straps)
    pieces = [*straps, *polygons_of(whole.difference(kept))]
    if wide is not None:
        parts = shapely.union_all([placed_outline(plan, one).polygon for one in plan.lying])
        rest = hide.polygon.difference(shapely.union_all([line, parts, kept]))
        opened = grown(grown(rest, -wide / 2), wide / 2).intersection(rest)
        pieces += polygons_of(opened)
    return tuple(piece for piece in pieces if piece.area >= LEAST_PIECE)
