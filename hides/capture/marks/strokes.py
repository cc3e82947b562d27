"""Strokes: from painted pixels to what was drawn: rings, areas and lines.

People draw round a flaw with a broken line, scrub over it, or trace it. A ring stands for all
it encloses up to the middle of its line, whether it closes by itself or on the hide's edge; of
everything else the painted ground counts. So a shape is told by what it cuts off: the leather
without the strokes falls apart, and each piece but the free leather around is a ring's inside.

Masks are (h, w) bool, lengths in mm; ``scale`` is mm per pixel.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hides.capture.masks import Mask, depth, dilated, eroded, pieces, without_holes

STROKE_GAP = 15.0  # mm; a broken stroke's gaps, and how far from the edge a ring may end
RING_GAPS = (25.0, 50.0)  # mm; a ring with a gap of up to these may have been meant
BROAD = 16.0  # mm; wider is an area, narrower a line
RING_SHARE = 0.4  # a ring encloses at least this much of what its own stroke covers
WALLED = 0.5  # least share of an inside's border that is stroke and not the hide's edge
LEAST_INSIDE = 120.0  # mm²; smaller gaps within strokes are no ring's inside
STROKE_END = 0.35  # of a ring's stroke: what sticks out by less is its end and no mark of its own


@dataclass(frozen=True)
class Form:
    """Something drawn.

    Attributes
    ----------
    name : "ring", "open ring", "area" or "line".
    shape : what it stands for, within the window.
    """

    name: str
    shape: Mask


def close(mask: Mask, gap: float) -> Mask:
    """The mask with gaps of up to ``gap`` pixels bridged, where strokes are 0.4 of it wide."""
    reach = 0.7 * gap  # half would bridge only what ends in a broad front
    rim = int(reach) + 2
    wide = dilated(np.pad(mask, rim), reach)
    return eroded(wide, reach)[rim:-rim, rim:-rim] | mask


def breadth(mask: Mask) -> float:
    """Diameter in pixels of the largest disc in it."""
    return 2.0 * float(depth(mask).max()) - 1.0


def _stroke_width(mask: Mask) -> float:
    """Usual width in pixels of strokes: the mean distance to their edge is a quarter of it."""
    inside = depth(mask)
    return 4.0 * float(inside[inside > 0].mean()) - 1.0 if mask.any() else 0.0


def forms(painted: Mask, others: Mask, leather: Mask, scale: float) -> Iterator[Form]:
    """What the strokes of one colour in a window show.

    Parameters
    ----------
    painted : strokes that belong together; the window goes RING_GAPS and more beyond them.
    others : strokes of other colours, which may hide parts of these.
    leather : where there is leather in the window, without its outermost rim.
    scale : mm per pixel.
    """
    inside = _enclosed(painted, others | ~leather, STROKE_GAP, scale)
    if inside.sum() >= RING_SHARE * painted.sum():
        width = _stroke_width(painted & dilated(inside, BROAD / scale))
        for each in pieces(dilated(inside, width / 2)):
            yield Form("ring", without_holes(each))
        beside = painted & ~dilated(inside, 1.25 * width + 3.0 / scale)
        yield from _rest(beside, painted.sum(), scale)
        return
    for gap in RING_GAPS if breadth(painted) * scale < BROAD else ():
        inside = _enclosed(painted, others | ~leather, gap, scale)
        if inside.sum() >= max(RING_SHARE * painted.sum(), 3 * LEAST_INSIDE / scale**2):
            width = _stroke_width(painted & dilated(inside, BROAD / scale))
            yield Form("open ring", without_holes(dilated(inside, width / 2)))
            return
    whole = without_holes(close(painted, STROKE_GAP / scale))
    yield Form("area" if breadth(whole) * scale >= BROAD else "line", whole)


def _rest(strokes: Mask, whole: int, scale: float) -> Iterator[Form]:
    """Strokes beside a ring: marks of their own, unless they are only its ends."""
    for piece in pieces(close(strokes, STROKE_GAP / scale)):
        if piece.sum() >= STROKE_END * whole:
            shape = without_holes(piece)
            yield Form("area" if breadth(shape) * scale >= BROAD else "line", shape)


def _enclosed(strokes: Mask, walls: Mask, gap: float, scale: float) -> Mask:
    """Leather that strokes cut off from that around, alone or with what else is a wall.

    Strokes and walls are made wider until gaps are shut, and what is left is grown back.
    """
    reach = gap / 2 / scale
    free = ~dilated(strokes | walls, reach)
    near = dilated(strokes, STROKE_GAP / 2 / scale + 2.0)
    found = np.zeros_like(strokes)
    for piece in pieces(free):
        if _meets_border(piece):
            continue
        inside = dilated(piece, reach) & ~strokes & ~walls
        rim = dilated(inside, 2.0) & ~inside
        if inside.sum() >= LEAST_INSIDE / scale**2 and (rim & near).sum() >= WALLED * rim.sum():
            found |= inside
    return found


def _meets_border(mask: Mask) -> bool:
    return bool(mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any())
