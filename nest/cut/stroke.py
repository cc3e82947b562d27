"""Stroke: one line that a tool draws without being lifted.

A stroke is what a machine is told to do: the path of the beam, or of a knife's pivot. It is
made from a :class:`~nest.cut.contour.Contour`, which is what the cut should leave.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hides.outline import FloatArray

DOWN, SWIVEL = "down", "swivel"


@dataclass(frozen=True, eq=False, slots=True)
class Stroke:
    """One line drawn with the tool down from its first point to its last.

    Attributes
    ----------
    points : (n, 2) float64, mm. A closed stroke does not repeat its first point.
    work : "mark", "hole" or "cut", as the contour's.
    part : id of the placement it belongs to.
    closed : the last point is joined to the first by one more segment.
    bulges : (n,) float64, the bulge of the segment from point i to the next (tan of a quarter
        of its angle, + counter-clockwise, as in DXF); None where every segment is straight.
        Of an open stroke the last one says nothing.
    what : what it draws: outline, stitch, drain, fold, label ...
    heights : for each segment "down" or "swivel" (a knife turns in place, almost lifted);
        None where the tool stays down.
    passes : how often it is drawn, one over the other.
    """

    points: FloatArray
    work: str
    part: str
    closed: bool = False
    bulges: FloatArray | None = None
    what: str = ""
    heights: tuple[str, ...] | None = None
    passes: int = 1

    @property
    def start(self) -> tuple[float, float]:
        """Where the tool comes down."""
        return float(self.points[0, 0]), float(self.points[0, 1])

    @property
    def end(self) -> tuple[float, float]:
        """Where the tool is lifted."""
        at = 0 if self.closed else -1
        return float(self.points[at, 0]), float(self.points[at, 1])

    def segments(self) -> Iterator[tuple[FloatArray, FloatArray, float, str]]:
        """From, to, bulge and height of each segment in order, the closing one with it."""
        n = len(self.points)
        for i in range(n if self.closed else n - 1):
            bulge = 0.0 if self.bulges is None else float(self.bulges[i])
            height = DOWN if self.heights is None else self.heights[i]
            yield self.points[i], self.points[(i + 1) % n], bulge, height

    @property
    def length(self) -> float:
        """Length of one pass in mm, arcs measured along the arc."""
        ends = np.concatenate([self.points, self.points[:1]]) if self.closed else self.points
        chords = np.hypot(*np.diff(ends, axis=0).T)
        if self.bulges is None:
            return float(chords.sum())
        angles = 4 * np.arctan(np.abs(self.bulges[: len(chords)]))
        # arc / chord = (a/2) / sin(a/2), with a the arc's angle; 1 for a straight segment
        return float((chords / np.sinc(angles / (2 * np.pi))).sum())
