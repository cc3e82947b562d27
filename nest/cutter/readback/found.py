"""What reading a file back finds: the lines in it, and what is wrong.

The readers share no code with the writers: they know the formats from their own references and
work arcs out in their own way.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from hides.outline import FloatArray
from nest.cutter.machine import Machine

CHORD_OFF = 0.002  # mm, how far a chord may be off its arc when two lines are compared
# of one arc; a radius of 1 km needs so many, and a damaged file asks for more
MOST_CHORDS = 5000

# file: it can't be understood · units: its unit is not told, or not mm · extents: it tells
# others than it has · bed: off the bed · travel: tool down between lines · missing, extra,
# duplicate, open, closed, layer, shape (off the line wanted) · way: started or run otherwise ·
# scale, shifted, mirrored · order: not in the order of the program · fit: what is cut is not
# the pattern · astray: a mark or hole is not on its part · label: a part's name is missing,
# elsewhere, or not of the program
FaultCode = Literal[
    "file", "units", "extents", "bed", "travel", "missing", "extra", "duplicate", "open",
    "closed", "layer", "shape", "way", "scale", "shifted", "mirrored", "order", "fit", "astray",
    "label",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a file.

    ``says`` is it as a sentence; ``part`` the id of the placement it is about, "" for the whole
    file; ``by`` how much in mm, or the factor of a scale, or a count.
    """

    code: FaultCode
    says: str
    part: str = ""
    by: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """One line read from a file: (n, 2) mm on the bed, tool down from first point to last.

    A closed one does not repeat its first point. ``work`` is mark, hole or cut, or several of
    them joined by "|" where the file can't tell them apart. ``where`` is its place in the file.
    ``lowered`` says of each segment of :attr:`run` whether the tool is below the leather's face
    along it; None where the file tells no heights.
    """

    points: FloatArray
    closed: bool
    work: str
    where: str
    lowered: tuple[bool, ...] | None = None

    @property
    def run(self) -> FloatArray:
        """The points from where the tool comes down to where it is lifted."""
        return np.vstack([self.points, self.points[:1]]) if self.closed else self.points


@dataclass(frozen=True, slots=True)
class Word:
    """A text on the layer that is not cut, and where it is, mm."""

    text: str
    x: float
    y: float


@dataclass(frozen=True, eq=False, slots=True)
class Read:
    """All of a file: lines in order, where the tool went lifted (n, 2) in mm, faults, texts."""

    lines: tuple[Line, ...]
    lifted: FloatArray
    faults: tuple[Fault, ...]
    words: tuple[Word, ...] = ()


def bent(first: complex, last: complex, bulge: float) -> list[complex]:
    """Points of an arc after its first, mm; ``bulge`` is the tan of a quarter of its angle.

    The end is the start turned about the centre: last - c = (first - c)·e^(i·angle), which
    gives the centre.
    """
    if bulge == 0 or first == last:
        return [last]
    angle = 4 * math.atan(bulge)
    turn = cmath.exp(1j * angle)
    centre = (last - first * turn) / (1 - turn)
    return [*swung(first, centre, angle), last]


def swung(first: complex, centre: complex, angle: float) -> list[complex]:
    """Points strictly between the ends of an arc that swings by ``angle`` radians (+ ccw)."""
    arm = first - centre
    step = 2 * math.acos(max(1 - CHORD_OFF / max(abs(arm), 2 * CHORD_OFF), 0.5))
    count = min(max(math.ceil(abs(angle) / step), 1), MOST_CHORDS)
    return [centre + arm * cmath.exp(1j * angle * i / count) for i in range(1, count)]


def pairs(points: list[complex]) -> FloatArray:
    """Complex points as (n, 2) mm."""
    row = np.array(points, dtype=np.complex128)
    return np.stack([row.real, row.imag], axis=1)


def line_of(points: list[complex], closed: bool, work: str, where: str) -> Line:
    """A line; one that is told closed and comes back to its start does not repeat it.

    Raises
    ------
    ValueError : fewer than two points, or one that is no number.
    """
    if closed and len(points) > 1 and abs(points[0] - points[-1]) < 1e-9:
        points = points[:-1]
    if len(points) < 2 or not all(map(cmath.isfinite, points)):
        raise ValueError(f"{where} is no line of two points and more")
    return Line(pairs(points), closed, work, where)


@dataclass
class Tool:
    """A machine's tool while a file that drives it is read, and what it has done; mm.

    ``run`` is the line drawn so far, and ``heights`` the tool's at each of its points, in files
    that tell it.
    """

    machine: Machine
    at: complex = 0j
    run: list[complex] = field(default_factory=list)
    heights: list[float] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    lifted: list[complex] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    @property
    def own(self) -> set[str]:
        """The machine's own start and finish lines, which may hold anything."""
        return {line.strip() for line in (*self.machine.start, *self.machine.finish)}

    @staticmethod
    def works(mark: bool, cut: bool) -> str:
        """What a line can be that looks like a mark, like a cut, or like both."""
        return "|".join(word for word, may in (("mark", mark), ("hole|cut", cut)) if may)

    def end_line(self, work: str, where: str) -> None:
        """Close the line drawn so far."""
        if len(self.run) > 1:
            closed = abs(self.run[0] - self.run[-1]) < 1e-6 and len(self.run) > 2
            lowered = tuple(z < 0 for z in self.heights[1:]) or None
            self.lines.append(replace(line_of(self.run, closed, work, where), lowered=lowered))
        self.run, self.heights = [], []

    def blame(self, where: str, says: str, code: FaultCode = "file", by: float = 0.0) -> None:
        """Add a fault; ``by`` is in mm."""
        self.faults.append(Fault(code, f"{where}: {says}", by=by))

    def done(self) -> Read:
        """All that was found."""
        return Read(tuple(self.lines), pairs(self.lifted), tuple(self.faults))
