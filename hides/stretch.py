"""Stretch: the direction of least stretch at any point of a hide.

Trade texts agree on the sense and give no angle map, so this default is a choice of ours
(regions scaled to the hide; common practice, no published source for the numbers), and
a user's own lines override it:

* bend: along the backbone (0°);
* shoulder and neck: across it (90°); the fibres there run across the spine;
* flank and belly: towards the legs (75°), since the sides give least at right angles to
  the backbone.

A side's bend ends at about 0.60 of its length and 0.60 of its depth; the direction turns
smoothly around those borders. Depth is area over length, which a leg doesn't change much.
Other pieces have one default direction throughout: double butt and bend 0°, shoulder 90°,
belly 75°, remnant 0°, unless its record says what it was cut from (:class:`hides.whole.Whole`).

Directions have no arrow, so angles are blended as doubled-angle vectors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hides.outline import FloatArray
from hides.thickness import smoothstep

PIECES = ("side", "double butt", "bend", "shoulder", "belly", "remnant")

FLANK = 75.0  # degrees; between 60 and 90
BEND_END = (0.50, 0.72)  # of the length: the direction turns between these
BELLY_LINE = (0.50, 0.72)  # of the depth
LINE_FADE = 60.0  # mm; the stretch of a line whose direction counts as one
LINE_STEP = 25.0  # mm; steps in which a line is looked at
LINE_REACH = 150.0  # mm; how far a user's line is heard (deviation of a Gaussian)

_DEFAULTS = {"double butt": 0.0, "bend": 0.0, "shoulder": 90.0, "belly": FLANK, "remnant": 0.0}


@dataclass(frozen=True)
class StretchField:
    """Direction of least stretch.

    Attributes
    ----------
    piece : one of :data:`PIECES`.
    tail : x in mm where the piece begins (0 for most).
    length, depth : mm; what the regions of a side are scaled to.
    lines : the user's lines of least stretch, (n, 2) mm each, n >= 2, no point repeated.
    right : the animal's right side, whose belly lies at y < 0: all turns the other way.
    back : y in mm of the backbone.
    """

    piece: str
    tail: float
    length: float
    depth: float
    lines: tuple[FloatArray, ...] = ()
    right: bool = False
    back: float = 0.0

    def direction(self, points: FloatArray) -> FloatArray:
        """Direction in degrees, 0 <= d < 180, at (n, 2) points; (n,)."""
        usual = self._usual(points)
        if not self.lines:
            return usual % 180.0
        blend = _doubled(usual)
        silence = np.ones(len(points))
        heard = np.zeros_like(blend)
        for line in self.lines:
            distance, vector = _along(line, points)
            weight = np.exp(-0.5 * (distance / LINE_REACH) ** 2)
            silence *= 1.0 - weight
            heard += weight[:, None] * vector
        blend = blend * silence[:, None] + heard
        return _halved(blend, usual)

    def _usual(self, points: FloatArray) -> FloatArray:
        """The default in degrees, before the user's lines."""
        if self.piece != "side":
            return np.full(len(points), _DEFAULTS[self.piece])
        shoulder = smoothstep((points[:, 0] - self.tail) / self.length, *BEND_END)
        flank = smoothstep(np.abs(points[:, 1] - self.back) / self.depth, *BELLY_LINE)
        left = 90.0 * shoulder + FLANK * flank * (1.0 - shoulder)
        return -left if self.right else left


def _doubled(degrees: FloatArray) -> FloatArray:
    twice = np.deg2rad(2.0 * degrees)
    return np.column_stack([np.cos(twice), np.sin(twice)])


def _halved(vectors: FloatArray, otherwise: FloatArray) -> FloatArray:
    """Direction in [0, 180) of doubled-angle vectors; ``otherwise`` where they cancel out."""
    lost = np.hypot(vectors[:, 0], vectors[:, 1]) < 1e-9
    degrees = np.rad2deg(np.arctan2(vectors[:, 1], vectors[:, 0])) / 2.0
    return np.where(lost, otherwise, degrees) % 180.0


def _along(line: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance of (n, 2) points to a line, and the doubled direction of its nearby stretch.

    The direction is a mean over the line that favours its nearest places, not that of the one
    nearest place: inside a bend the nearest place jumps from one leg to the other.
    """
    steps = np.diff(line, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    facing = _doubled(np.rad2deg(np.arctan2(steps[:, 1], steps[:, 0])))
    nearest = np.full(len(points), np.inf)
    vector = np.zeros((len(points), 2))
    for start, step, length, doubled in zip(line[:-1], steps, lengths, facing, strict=True):
        t = np.clip((points - start) @ step / length**2, 0.0, 1.0)
        nearest = np.minimum(nearest, _distance(points, start + t[:, None] * step))
        pieces = int(np.ceil(length / LINE_STEP))
        for at in (np.arange(pieces) + 0.5) / pieces:
            weight = np.exp(-_distance(points, start + at * step) / LINE_FADE)
            vector += (weight * length / pieces)[:, None] * doubled
    vector /= np.maximum(np.linalg.norm(vector, axis=1, keepdims=True), np.finfo(float).tiny)
    return nearest, vector


def _distance(points: FloatArray, other: FloatArray) -> FloatArray:
    off = points - other
    return np.asarray(np.hypot(off[:, 0], off[:, 1]), dtype=np.float64)
