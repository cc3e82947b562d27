"""A piece cut off a hide, as a hide of its own: it keeps all that is known of its leather.

Its frame is its parent's, moved and not turned: x begins at its tail end, y at the backbone where
it has some of it, else at its lowest edge. Readings are kept though they lie off the piece, and so
is what it was cut from (:class:`hides.whole.Whole`), for both tell of its thickness and its
stretch; flaws and zones are clipped to it. What comes of it, its ground and costs, is that of the
parent there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from hides.errors import HideError
from hides.flaws import FLAW_KINDS
from hides.hide import Hide, Price
from hides.outline import FloatArray, Outline, grown, polygons_of

ON_EDGE = 10.0  # mm; a backbone so near to the piece is its edge
OFF = 1.0  # mm; how far a piece may lie over its parent's edge
SPECK = 1.0  # mm²; what is left smaller of a flaw or a zone is rounding


def piece_of(hide: Hide, shape: Polygon, name: str) -> Hide:
    """The piece of a hide that a shape (mm, the hide's frame) cuts out, by a name of its own.

    Its price is its share of what the hide cost, by area; it has no stamped area.

    Raises
    ------
    HideError : the shape lies not wholly on the leather.
    """
    off = shape.difference(hide.polygon.buffer(OFF)).area
    if off > SPECK:
        raise HideError(f"{off / 100:.0f} cm² of the piece lie off {hide.name}.")
    backbone = _along(hide.backbone, shape)
    x, y = -shape.bounds[0], 0.0 if backbone is not None else -shape.bounds[1]
    move = np.array([x, y])
    lies = shapely.orient_polygons(translate(shape, x, y))
    outline, *holes = (Outline.of(ring.coords) for ring in (lies.exterior, *lies.interiors))
    cost = hide.cost(shape.area)
    return Hide(
        name=name,
        piece="remnant",
        tannage=hide.tannage,
        outline=outline,
        holes=tuple(holes),
        backbone=None if backbone is None else backbone + move,
        flaws=tuple(
            replace(flaw, shape=clipped)
            for flaw in hide.flaws
            for clipped in _clipped(flaw.shape, grown(shape, FLAW_KINDS[flaw.kind].margin), x, y)
        ),
        readings=tuple(replace(r, x=r.x + x, y=r.y + y) for r in hide.readings),
        zones=tuple(
            replace(zone, polygon=clipped)
            for zone in hide.zones
            for clipped in _clipped(zone.polygon, shape, x, y)
        ),
        stretch_lines=tuple(line + move for line in hide.stretch_lines),
        price=Price(round(cost, 2), hide.price.currency, "piece") if hide.price and cost else None,
        parent=hide.name,
        whole=hide.as_whole.moved(x, y),
    )


def _clipped(shape: Polygon, within: BaseGeometry, x: float, y: float) -> Iterator[Polygon]:
    for piece in polygons_of(shape.intersection(within)):
        if piece.area > SPECK:
            yield translate(piece, x, y)


def _along(backbone: FloatArray | None, shape: Polygon) -> FloatArray | None:
    """The longest stretch of the backbone that the piece has."""
    if backbone is None:
        return None
    near = shapely.LineString(backbone).intersection(shape.buffer(ON_EDGE))
    lines = [line for line in shapely.get_parts(near) if line.length > ON_EDGE]
    return np.array(max(lines, key=lambda line: line.length).coords) if lines else None
