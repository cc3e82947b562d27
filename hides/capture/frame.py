"""The hide frame of a side that lies anywhere on the floor: backbone along y = 0, tail at x = 0.

A side is cut along the backbone, which leaves one long straight edge. That edge is the x axis,
and leather on the floor can only be turned and shifted into its frame, grain side up, never
mirrored: parts planned on a mirrored record would be cut the wrong way round. Seen grain up
with the neck to the right, the belly of the animal's left side is above the backbone (y > 0) and
that of its right side below (y < 0). So which side it is must be known to tell tail from neck;
the shape alone does not say.

A photo of the flesh side shows everything mirrored; then the frame mirrors it back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Polygon

from hides.outline import FloatArray, Outline, turned

ANIMAL_SIDES = ("left", "right")
BACKBONE_WANDER = 15.0  # mm; how far a cut along the backbone wanders from a straight line
OUTLINE_STEP = 5.0  # mm; points along the outline
FIT_ROUNDS = 4  # of the fit of the line to what lies near it
LEAST_STRAIGHT = 0.6  # of the length; a shorter straight edge is no backbone


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the hide frame lies on the floor.

    Attributes
    ----------
    angle, x, y : degrees and mm; floor = turned(hide * (1, -1 if mirror else 1), angle, x, y).
    straight : length of the backbone edge, as a share of the side's.
    """

    angle: float
    x: float
    y: float
    mirror: bool = False
    straight: float = 1.0

    def to_floor(self, points: ArrayLike) -> FloatArray:
        """(n, 2) mm of the hide frame on the floor."""
        flip = (1.0, -1.0 if self.mirror else 1.0)
        return turned(np.asarray(points, dtype=np.float64) * flip, self.angle, self.x, self.y)

    def to_hide(self, points: ArrayLike) -> FloatArray:
        """(n, 2) mm of the floor in the hide frame."""
        away = np.asarray(points, dtype=np.float64) - (self.x, self.y)
        return turned(away, -self.angle) * (1.0, -1.0 if self.mirror else 1.0)

    def outline(self, outline: Outline) -> Outline:
        """An outline on the floor, in the hide frame."""
        return Outline.of(self.to_hide(outline.points))

    def polygon(self, shape: Polygon) -> Polygon:
        """A shape on the floor, in the hide frame."""
        return shapely.transform(shape, self.to_hide)


def align(outline: Outline, *, side: str = "left", mirror: bool = False) -> Frame:
    """Find the frame of a side by its longest straight edge.

    Parameters
    ----------
    outline : mm, any frame.
    side : of the animal, :data:`ANIMAL_SIDES`.
    mirror : the outline is seen from the flesh side.
    """
    points = shapely.get_coordinates(shapely.segmentize(outline.polygon.exterior, OUTLINE_STEP))[
        :-1
    ]
    start, along = _straightest(points, outline.polygon)
    for _ in range(FIT_ROUNDS):
        fair = points[np.abs(_off(points, start, along)) <= BACKBONE_WANDER]
        start = fair.mean(axis=0)
        along = np.linalg.svd(fair - start)[2][0]
    near = np.abs(_off(points, start, along)) <= BACKBONE_WANDER
    # The belly lies to the left of tail to neck on a left side seen from the grain.
    belly_left = (side == "left") != mirror
    if (_off(points, start, along).mean() > 0) != belly_left:
        along = -along
    reach = (points - start) @ along
    tail = start + along * reach[near].min()
    length = float(np.ptp(reach))
    angle = float(np.rad2deg(np.arctan2(along[1], along[0])))
    share = float(near.sum()) * OUTLINE_STEP / length
    return Frame(angle, float(tail[0]), float(tail[1]), mirror, min(share, 1.0))


def _straightest(points: FloatArray, shape: Polygon) -> tuple[FloatArray, FloatArray]:
    """Start and direction of the line along the convex hull that most of the edge lies near."""
    corners = shapely.get_coordinates(shape.convex_hull.simplify(1.0))
    steps = np.diff(corners, axis=0)
    along = steps / np.hypot(*steps.T)[:, None]
    counts = [
        np.count_nonzero(np.abs(_off(points, corner, way)) <= BACKBONE_WANDER)
        for corner, way in zip(corners[:-1], along, strict=True)
    ]
    best = int(np.argmax(counts))
    return corners[best], along[best]


def _off(points: FloatArray, start: FloatArray, along: FloatArray) -> FloatArray:
    """Distance of (n, 2) points from a line, left of it positive; (n,)."""
    away = points - start
    return np.asarray(along[0] * away[:, 1] - along[1] * away[:, 0], dtype=np.float64)
