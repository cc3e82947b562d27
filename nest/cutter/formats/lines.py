"""Strokes as the writers need them: as the machine counts, arcs, chords, layers, plain words."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from hides.outline import FloatArray
from nest.cutter.contour import Label, upright
from nest.cutter.machine import TURNED, Machine
from nest.cutter.program import Program
from nest.cutter.stroke import SWIVEL, Stroke
from nest.plans import number_in

STRAIGHT = 1e-9  # a bulge below this bends a chord of 1 m by less than a nanometre
THIN = 0.02  # mm, how far a line may move where points closer than the smallest step are left out


@dataclass(frozen=True, slots=True)
class Layer:
    """Where strokes of one kind go: name, colour index of the DXF standard, colour in SVG."""

    name: str
    index: int
    colour: str


# One pure colour for each operation: what laser and cutter software sorts by (common practice,
# no published source). In the order in which they are cut.
LAYERS = {
    "mark": Layer("MARK", 3, "#00ff00"),
    "hole": Layer("HOLES", 5, "#0000ff"),
    "cut": Layer("CUT", 1, "#ff0000"),
}
NAMES_LAYER = Layer("LABELS", 7, "#000000")
NOT_CUT = f"Layer {NAMES_LAYER.name} holds the parts' names and is not cut: switch it off."


def counted(program: Program) -> tuple[Stroke, ...]:
    """The strokes in the machine's own count, for files that drive it."""
    return _turned(program, program.machine)


def drawn(program: Program) -> tuple[Stroke, ...]:
    """The strokes as the leather is seen, for files that a machine's own software opens."""
    return _turned(program, as_seen(program.machine))


def named(program: Program) -> tuple[Label, ...]:
    """The parts' names as the leather is seen, readable; a mirrored machine's are not mirrored."""
    return tuple(_seen(label, as_seen(program.machine)) for label in program.labels)


def _seen(label: Label, machine: Machine) -> Label:
    angle = math.radians(label.angle)
    at, along = np.array([label.x, label.y]), np.array([math.cos(angle), math.sin(angle)])
    (x, y), end = machine.counted(np.stack([at, at + along])).tolist()
    return replace(label, x=x, y=y, angle=upright(math.degrees(math.atan2(end[1] - y, end[0] - x))))


def as_seen(machine: Machine) -> Machine:
    """The machine as its own software shows it, which knows its origin and axes.

    Only a mirrored machine is put right in a drawing, since such software can't tell.
    """
    return replace(machine, origin="lower left", swap_axes=False)


def _turned(program: Program, machine: Machine) -> tuple[Stroke, ...]:
    sign = -1.0 if machine.reverses else 1.0
    strokes = (piece for stroke in program.strokes for piece in _pieces(stroke, machine))
    return tuple(
        replace(
            stroke,
            points=machine.counted(_lean(stroke, machine.smallest_step)),
            bulges=None if stroke.bulges is None else sign * stroke.bulges,
        )
        for stroke in strokes
    )


def _lean(stroke: Stroke, smallest: float) -> FloatArray:
    """A straight stroke's points without those too close together; others as they are."""
    if stroke.bulges is not None or stroke.heights is not None:
        return stroke.points
    run = thinned(np.vstack([stroke.points, stroke.points[:1]]), smallest)[:-1]
    return run if stroke.closed else thinned(stroke.points, smallest)


def _pieces(stroke: Stroke, machine: Machine) -> Iterator[Stroke]:
    """A stroke cut where a knife that its machine turns is lifted to turn."""
    if machine.tool not in TURNED or stroke.heights is None:
        yield stroke
        return
    ends = [i for i, height in enumerate(stroke.heights) if height == SWIVEL]
    for first, last in pairwise([-1, *ends, len(stroke.points) - 1]):
        run = slice(first + 1, last + 1)
        if last > first + 1:
            bulges = None if stroke.bulges is None else stroke.bulges[run]
            yield replace(stroke, points=stroke.points[run], bulges=bulges, heights=None)


def flattened(stroke: Stroke, most: float, smallest: float = 0.0) -> FloatArray:
    """Points (n, 2) from where the tool comes down to where it is lifted, arcs as chords.

    Of a closed stroke the first point comes again at the end. No chord is more than ``most`` mm
    off its arc. Points closer together than ``smallest`` mm are left out where that moves the
    line by no more than :data:`THIN`.
    """
    points = stroke.flat(most)
    run = np.vstack([points, points[:1]]) if stroke.closed else points
    return thinned(run, smallest)


def thinned(points: FloatArray, smallest: float) -> FloatArray:
    """Leave out points of an open run that are too close to the one before, where that is small.

    Of neighbours (last kept, this, next) this one goes if it is nearer than ``smallest`` mm to
    the last kept, and all that was left out since lies within :data:`THIN` of the new chord.
    """
    if smallest <= 0:
        return points
    kept = [0]
    for i in range(1, len(points) - 1):
        near = np.hypot(*(points[i] - points[kept[-1]])) < smallest
        if not (near and _off_chord(points[kept[-1] : i + 2]) <= THIN):
            kept.append(i)
    return points[[*kept, len(points) - 1]]


def _off_chord(run: FloatArray) -> float:
    """How far the points of a run are from the chord between its ends, mm."""
    chord = run[-1] - run[0]
    arms = run - run[0]
    square = float(chord @ chord)
    along = np.clip(arms @ chord / square, 0, 1) if square > 0 else np.zeros(len(run))
    return float(np.hypot(*(arms - along[:, None] * chord).T).max())


def title(program: Program) -> str:
    """One line that says what a file holds."""
    plan = f", plan {number_in(program.digest)}" if program.digest else ""
    setup = f", set-up {program.number} of {program.count}" if program.count > 1 else ""
    return f"{program.name}{plan}{setup}, for {program.machine.name}, in mm"


def remarks(program: Program, width: int, *more: str) -> Iterator[str]:
    """What it is, of which plan, and the cautions, in lines of a number of letters at most."""
    for line in (title(program), f"digest {program.digest}", *program.cautions, *more):
        yield from textwrap.wrap(plain(line), width)


def plain(text: str) -> str:
    """The text in printable ASCII, which every machine reads; other letters become '?'."""
    return "".join(c if " " <= c <= "~" else "?" for c in text.translate(_SPELLED))


_SPELLED = str.maketrans(
    {
        "–": "-", "—": "-", "−": "-", "×": "x", "°": " deg", "’": "'", "²": "2", "…": "...",
        "“": '"', "”": '"', "\n": " ", "\t": " ",
    }
)  # fmt: skip
