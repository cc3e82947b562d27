"""Polyline: straight segments and arcs one after another, as DXF has them.

What a cut should leave (:class:`~nest.cutter.contour.Contour`) and what a tool is told to draw
(:class:`~nest.cutter.stroke.Stroke`) are two kinds of it, so that neither is taken for the other.

>>> half = Polyline(np.array([[0.0, 0.0], [2.0, 0.0]]), False, "mark", "", np.array([1.0, 0.0]))
>>> round(half.length, 4)  # half a circle of radius 1
3.1416
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hides.outline import FloatArray

FINE = 0.01  # mm; how far a chord may leave its arc, a tenth of what leather shows


@dataclass(frozen=True, eq=False)
class Polyline:
    """One line, closed or open.

    Attributes
    ----------
    points : (n, 2) float64, mm, read-only. A closed line does not repeat its first point.
    closed : the last point is joined to the first by one more segment.
    work : "mark" (drawn on the part), "hole" (cut inside it) or "cut" (its outline).
    part : id of the placement it belongs to.
    bulges : (n,) float64, the bulge of the segment from point i to the next, a ratio (tan of a
        quarter of its angle, + counter-clockwise, as in DXF); None where every segment is
        straight. Of an open line the last one says nothing.
    what : what it draws: outline, drain, stitch, fold, throat, inner, loop, grain, label ...
    """

    points: FloatArray
    closed: bool
    work: str
    part: str
    bulges: FloatArray | None = None
    what: str = ""

    def __post_init__(self) -> None:
        for array in (self.points, self.bulges):
            if array is not None:
                array.setflags(write=False)

    @property
    def start(self) -> tuple[float, float]:
        """Where it begins, mm."""
        return float(self.points[0, 0]), float(self.points[0, 1])

    @property
    def end(self) -> tuple[float, float]:
        """Where it ends, mm."""
        at = 0 if self.closed else -1
        return float(self.points[at, 0]), float(self.points[at, 1])

    @cached_property
    def length(self) -> float:
        """Length in mm, arcs measured along the arc."""
        chords, bulges = self._measures()
        # arc / chord = (a/2) / sin(a/2), with a the arc's angle; 1 for a straight segment
        return float((chords / np.sinc(2 * np.arctan(bulges) / np.pi)).sum())

    @property
    def area(self) -> float:
        """Area in mm² with its sign: + counter-clockwise. Zero for an open line."""
        if not self.closed:
            return 0.0
        x, y = self.points.T
        chords, bulges = self._measures()
        half = 2 * np.arctan(bulges)
        radii = chords * (1 + bulges**2) / (4 * np.where(bulges == 0, 1.0, bulges))
        segments = np.where(bulges == 0, 0.0, radii**2 * np.sign(bulges) * _segment_of(half))
        return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2 + segments.sum())

    @property
    def ring(self) -> tuple[float, float, float] | None:
        """(x, y, radius), mm, where it is one whole circle, else None."""
        if not self.closed or self.bulges is None:
            return None
        x, y = self.points.mean(axis=0)
        radii = np.hypot(*(self.points - (x, y)).T)
        radius = float(radii.mean())
        round_all = abs(abs(self.area) - math.pi * radius**2) < 1e-6 * radius**2
        return (float(x), float(y), radius) if np.ptp(radii) < 1e-6 and round_all else None

    def segments(self) -> Iterator[tuple[FloatArray, FloatArray, float]]:
        """From (mm), to (mm) and bulge (a ratio) of each segment in order, the closing one too."""
        ends, (_, bulges) = np.roll(self.points, -1, axis=0), self._measures()
        yield from zip(self.points, ends, bulges.tolist(), strict=False)

    def flat(self, deviation: float = FINE) -> FloatArray:
        """The line as chords, (m, 2) mm, no arc left by more than ``deviation`` mm.

        A closed line does not repeat its first point.
        """
        if self.bulges is None:
            return self.points
        pieces = [_chords(p, q, bulge, deviation) for p, q, bulge in self.segments()]
        return np.concatenate(pieces if self.closed else [*pieces, self.points[-1:]])

    def _measures(self) -> tuple[FloatArray, FloatArray]:
        """Chord length and bulge of every segment."""
        count = len(self.points) - (not self.closed)
        chords = np.hypot(*(np.roll(self.points, -1, axis=0) - self.points).T)[:count]
        bulges = np.zeros(count) if self.bulges is None else self.bulges[:count]
        return chords, bulges


def arc_centre(first: FloatArray, last: FloatArray, bulge: float) -> tuple[FloatArray, float]:
    """Centre (2,) and radius in mm of the arc between two points.

    With the chord c between its ends, an arc's radius is c(1 + b²)/(4|b|); a bulge b is that of
    DXF (DXF reference, LWPOLYLINE, group 42).
    """
    chord = last - first
    # the centre lies on the left of the chord for a counter-clockwise arc of less than half
    left = np.array([-chord[1], chord[0]])
    centre = (first + last) / 2 + left * (1 - bulge**2) / (4 * bulge)
    return centre, math.hypot(*chord) * (1 + bulge**2) / (4 * abs(bulge))


def _segment_of(half: FloatArray) -> FloatArray:
    """Area between chord and arc for radius 1, from half the arc's angle."""
    angle = 2 * np.abs(half)
    return np.asarray((angle - np.sin(angle)) / 2, dtype=np.float64)


def _chords(p: FloatArray, q: FloatArray, bulge: float, deviation: float) -> FloatArray:
    """Points of the segment from p to q, q left out."""
    if bulge == 0:
        return p[None]
    centre, radius = arc_centre(p, q, bulge)
    angle = 4 * math.atan(bulge)
    step = 2 * math.acos(max(1 - deviation / radius, 0.0))
    count = max(math.ceil(abs(angle) / step), 2)
    turns = angle * np.arange(count) / count
    arm = p - centre
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    return np.asarray(centre + c * arm + s * np.array([-arm[1], arm[0]]), dtype=np.float64)
