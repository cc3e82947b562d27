"""Part: one piece of leather to be cut, in its own frame, with all that travels with it.

The part frame has the grain side up and (0, 0) at the outline's centroid. A part is
placed by turning it about that point and shifting it; it is never mirrored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from hides.outline import FloatArray, Outline

KINDS = ("body", "welt", "loop")
SAME = 0.01  # mm; points of two parts that are one and the same shape: far below any cutter
Degrees = TypeVar("Degrees", float, FloatArray)

XY = tuple[float, float]  # mm; one point, where outlines and holes are arrays (n, 2)


@dataclass(frozen=True, slots=True)
class Region:
    """A piece of a part's surface that is judged by how it shows.

    ``face`` is one of :data:`hides.flaws.FACES`: front (seen), back (handled), hidden
    (the welt, what lies under the loop), strap (carries the load). The regions of a
    part cover it; flaws that bar ``face`` must stay clear of ``outline``.
    """

    face: str
    outline: Outline


@dataclass(frozen=True, slots=True)
class Mark:
    """A line, a set of points or a word that is marked on a part but not cut out of it.

    ``kind`` is fold, stitch (points are the hole centres), loop (where the loop is sewn on),
    throat, inner (the welt's inner line), grain (two points: the axis), drain (the rim of a
    hole) or label. ``points`` is (n, 2) mm in the part frame, ``closed`` joins last to first,
    ``text`` is what is written there. Only ``stitch`` points and a ``drain`` are holes.
    """

    kind: str
    points: FloatArray
    closed: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A piece to be cut.

    Attributes
    ----------
    kind : body, welt or loop.
    outline : mm, part frame, grain side up, centroid at (0, 0).
    regions : cover the part; each is judged by its own face.
    marks : what is drawn on the part.
    axis : degrees; the direction in the part frame that wants to lie along the leather's
        line of least stretch (or exactly against it).
    window : degrees; how far the axis may off_line from that line to either side. 90 is free.
    """

    kind: str
    outline: Outline
    regions: tuple[Region, ...]
    marks: tuple[Mark, ...]
    axis: float = 0.0
    window: float = 15.0


def alike(one: Part, other: Part) -> bool:
    """Whether two parts are cut and pricked alike: kind, outline and holes to :data:`SAME` mm."""
    pairs = zip(_rings(one), _rings(other), strict=False)
    return (
        one.kind == other.kind
        and [len(ring) for ring in _rings(one)] == [len(ring) for ring in _rings(other)]
        and all(bool((np.abs(ring - its) <= SAME).all()) for ring, its in pairs)
    )


def _rings(part: Part) -> list[FloatArray]:
    holes = [mark.points for mark in part.marks if mark.kind in ("stitch", "drain")]
    return [part.outline.points, *holes]


def off_line(direction: Degrees, line: Degrees) -> Degrees:
    """How far a direction lies off a line, which has no arrow: degrees from -90 to 90.

    A part may lie where its axis, turned with it, is off the line of least stretch by no more
    than its window.
    """
    return (direction - line + 90.0) % 180.0 - 90.0
