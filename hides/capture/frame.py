"""The hide frame of a side that lies anywhere on the floor: backbone along y = 0, tail at x = 0.

A side is cut along the backbone, which leaves one long straight edge. That edge is the x axis: of
all lines through two places of the edge with the leather on one side of them, the one that most of
the edge runs along, by Tukey's biweight (Huber and Ronchetti: Robust Statistics, 2009, 4.8). Where
another one is about as good, nobody but the user can tell.

Leather on the floor can only be turned and shifted into its frame, grain side up, never mirrored:
parts planned on a mirrored record would be cut the wrong way round. Seen grain up with the neck to
the right, the belly of the animal's left side is above the backbone (y > 0) and that of its right
side below (y < 0). So which side it is must be known to tell tail from neck; the shape alone does
not say.

A photo of the flesh side shows everything mirrored; then the frame mirrors it back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from hides.errors import InputError
from hides.outline import FloatArray, Outline, turned

ANIMAL_SIDES = ("left", "right")
BACKBONE_WANDER = 15.0  # mm; how far a cut along the backbone wanders from a straight line
BIWEIGHT = 2.0 * BACKBONE_WANDER  # beyond it an edge counts nothing
OUTLINE_STEP = 5.0  # mm; points along the outline
TANGENT_STEP = 60.0  # mm of the edge that tell which way it runs
ALONG = np.cos(np.deg2rad(30.0))  # an edge that runs along a line
TRIED = 120  # places of the edge that lines are drawn through
LEAST_CHORD = 0.4  # of the greatest of them, between two such places
MOST_BEYOND = 0.06  # of the leather may lie beyond its backbone
FIT_ROUNDS = 8  # of the fit of the line to what lies near it
LEAST_STRAIGHT = 0.6  # of the length; a shorter straight edge is no backbone
ALIKE = 0.75  # of the best: a line that as much of the edge runs along may be the backbone too
OTHER_ANGLE = np.cos(np.deg2rad(10.0))
OTHER_PLACE = 0.1  # of the greatest chord; a line so far off is another edge
CLICKED = 3.0  # times BIWEIGHT; so far off may a line lie that somebody has pointed out
LEAST_ALONG = 0.5  # of a line pointed out, that must have an edge along it

Ends = tuple[tuple[float, float], tuple[float, float]]  # of a straight edge, mm, tail end first


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the hide frame lies on the floor.

    Attributes
    ----------
    angle, x, y : degrees and mm; floor = turned(hide * (1, -1 if mirror else 1), angle, x, y).
    straight : length of the backbone edge, as a share of the side's.
    edge : the backbone's ends, mm on the floor.
    rival : those of another edge that may as well be it, or None.
    """

    angle: float
    x: float
    y: float
    mirror: bool = False
    straight: float = 1.0
    edge: Ends = ((0.0, 0.0), (0.0, 0.0))
    rival: Ends | None = None

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


def align(
    outline: Outline,
    *,
    side: str = "left",
    mirror: bool = False,
    backbone: FloatArray | None = None,
) -> Frame:
    """Find the frame of a side by its longest straight edge.

    Parameters
    ----------
    outline : mm, any frame.
    side : of the animal, :data:`ANIMAL_SIDES`.
    mirror : the outline is seen from the flesh side.
    backbone : (2, 2) mm near the edge's two ends, the tail's first; None looks for it.

    Raises
    ------
    InputError : no straight edge lies there, or the belly lies on the other side of it.
    """
    edge = _Edge.of(outline)
    # The belly lies to the left of tail to neck on a left side seen from the grain.
    belly_left = (side == "left") != mirror
    if backbone is None:
        best, other = edge.straightest()
        line, rival = edge.settled(best), None
        if other is not None:
            rival = edge.ends(edge.settled(other), belly_left)
    else:
        line, rival = edge.pointed_out(backbone), None
        edge.check_way(line, backbone, belly_left, side)
    line = edge.faced(line, belly_left)
    (x, y), _ = ends = edge.ends(line, belly_left)
    angle = float(np.rad2deg(np.arctan2(line.along[1], line.along[0])))
    share = edge.runs(line) / float(np.ptp(edge.points @ line.along))
    return Frame(angle, x, y, mirror, min(share, 1.0), ends, rival)


@dataclass(frozen=True, eq=False)
class _Line:
    """A line through a place, mm, along a unit vector; both (2,)."""

    start: FloatArray
    along: FloatArray

    def off(self, points: FloatArray) -> FloatArray:
        """(n,) mm, distance of (n, 2) points from it, left of it positive."""
        return np.asarray((points - self.start) @ (-self.along[1], self.along[0]))


@dataclass(frozen=True, eq=False)
class _Edge:
    """The edge of a side.

    Attributes
    ----------
    points, ways : (n, 2) mm, every OUTLINE_STEP of the edge, and unit vectors along it there.
    within : (m, 2) mm, places all over the leather.
    """

    points: FloatArray
    ways: FloatArray
    within: FloatArray

    @classmethod
    def of(cls, outline: Outline) -> _Edge:
        ring = outline.polygon.exterior
        steps = np.arange(0.0, ring.length, OUTLINE_STEP)
        points = shapely.get_coordinates(shapely.line_interpolate_point(ring, steps))
        reach = max(1, round(TANGENT_STEP / OUTLINE_STEP / 2))
        ways = np.roll(points, -reach, axis=0) - np.roll(points, reach, axis=0)
        ways /= np.maximum(np.hypot(*ways.T)[:, None], 1e-9)
        left, low, right, high = outline.bounds
        x, y = np.meshgrid(np.linspace(left, right, 40), np.linspace(low, high, 40))
        within = np.column_stack([x.ravel(), y.ravel()])
        inside = shapely.contains_xy(outline.polygon, within)
        return cls(points, ways, within[inside] if inside.any() else points)

    def straightest(self) -> tuple[_Line, _Line | None]:
        """The line that most of the edge runs along, and the next, if it is as good."""
        some = self.points[:: max(1, len(self.points) // TRIED)]
        one, other = np.triu_indices(len(some), 1)
        away = some[other] - some[one]
        chord = np.hypot(*away.T)
        far = chord >= LEAST_CHORD * chord.max()
        starts, along = some[one[far]], away[far] / chord[far, None]
        score = np.concatenate([
            self._scores(starts[part], along[part])
            for part in np.array_split(np.arange(len(starts)), len(starts) // _AT_ONCE + 1)
        ])  # fmt: skip
        best = int(score.argmax())
        found = _Line(starts[best], along[best])
        near = self.points[self._weights(found) > 0].mean(axis=0)
        beside = np.abs(
            ((near - starts) * np.column_stack([-along[:, 1], along[:, 0]])).sum(axis=1)
        )
        differs = (np.abs(along @ found.along) < OTHER_ANGLE) | (beside > OTHER_PLACE * chord.max())
        score[~differs] = 0.0
        second = int(score.argmax())
        alike = score[second] >= ALIKE * self._scores(starts[[best]], along[[best]])[0]
        return found, _Line(starts[second], along[second]) if alike else None

    def settled(self, line: _Line, reach: float = BIWEIGHT) -> _Line:
        """The line fitted to the edge along it (iteratively reweighted least squares)."""
        for scale in (*np.geomspace(reach, BIWEIGHT, FIT_ROUNDS), BIWEIGHT):
            weights = self._weights(line, float(scale))
            if np.count_nonzero(weights) < 2:
                return line
            start = np.average(self.points, axis=0, weights=weights)
            along = np.linalg.svd((self.points - start) * np.sqrt(weights)[:, None])[2][0]
            line = _Line(start, along * (1.0 if along @ line.along > 0 else -1.0))
        return line

    def pointed_out(self, backbone: FloatArray) -> _Line:
        """The line of the edge near two places."""
        start, end = backbone
        length = float(np.hypot(*(end - start)))
        if length > 0:
            told = _Line(start, (end - start) / length)
            line = self.settled(told, CLICKED * BIWEIGHT)
            at = (self.points[self._near(line)] - start) @ told.along
            along = np.count_nonzero((at > -0.1 * length) & (at < 1.1 * length)) * OUTLINE_STEP
            if abs(line.along @ told.along) > OTHER_ANGLE and along >= LEAST_ALONG * length:
                return line
        raise InputError(
            "no straight edge of the hide runs between these two places.",
            mend="Give two places near the ends of the backbone edge, the tail's first.",
            place="--backbone",
        )

    def check_way(self, line: _Line, backbone: FloatArray, belly_left: bool, side: str) -> None:
        """Refuse a backbone from tail to neck on whose wrong side the belly lies."""
        if (self.faced(line, belly_left).along @ (backbone[1] - backbone[0])) > 0:
            return
        raise InputError(
            f"from its first place to its second the belly lies as on no {side} side.",
            mend="Give the tail's end first, then the neck's; or the other --side.",
            place="--backbone",
        )

    def faced(self, line: _Line, belly_left: bool) -> _Line:
        """The same line from tail to neck."""
        left = float(line.off(self.within).mean()) > 0
        return line if left == belly_left else _Line(line.start, -line.along)

    def ends(self, line: _Line, belly_left: bool) -> Ends:
        """Where the edge along a line ends, the tail's end first."""
        line = self.faced(line, belly_left)
        near = np.abs(line.off(self.points)) <= BACKBONE_WANDER  # its corners, too
        reach = (self.points[near] - line.start) @ line.along
        low, high = (reach.min(), reach.max()) if len(reach) else (0.0, 0.0)
        (x1, y1), (x2, y2) = (line.start + line.along * at for at in (low, high))
        return (float(x1), float(y1)), (float(x2), float(y2))

    def runs(self, line: _Line) -> float:
        """mm of the edge that run along a line."""
        return float(np.count_nonzero(self._near(line))) * OUTLINE_STEP

    def _near(self, line: _Line) -> NDArray[np.bool_]:
        along = np.abs(self.ways @ line.along) > ALONG
        return np.asarray(along & (np.abs(line.off(self.points)) <= BACKBONE_WANDER))

    def _weights(self, line: _Line, scale: float = BIWEIGHT) -> FloatArray:
        """(n,) Tukey's weights of what runs along a line."""
        inner = np.maximum(1.0 - (line.off(self.points) / scale) ** 2, 0.0) ** 2
        return np.asarray(inner * (np.abs(self.ways @ line.along) > ALONG))

    def _scores(self, starts: FloatArray, along: FloatArray) -> FloatArray:
        """(k,) how much of the edge runs along each line; none where leather lies beyond it."""
        across = np.column_stack([-along[:, 1], along[:, 0]])
        level = (starts * across).sum(axis=1)
        off = self.points @ across.T - level
        runs = np.abs(self.ways @ along.T) > ALONG
        found = (np.maximum(1.0 - (off / BIWEIGHT) ** 2, 0.0) ** 2 * runs).sum(axis=0)
        left = (self.within @ across.T > level).mean(axis=0)
        return np.asarray(np.where(np.minimum(left, 1.0 - left) <= MOST_BEYOND, found, 0.0))


_AT_ONCE = 2000  # lines that are looked at together, for memory
