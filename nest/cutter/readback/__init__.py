"""Read-back: every file is read again by readers of its own and judged before it stays.

The readers know the formats, not the writers. What they find is compared with the program's
strokes (:mod:`nest.cutter.readback.matching`), and what the tool would leave with the pattern
(:mod:`nest.cutter.readback.simulation`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hides.outline import FloatArray
from nest.cutter.contour import Label
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.readback import dxf, gcode, hpgl, svg
from nest.cutter.readback.found import Fault, FaultCode, Line, Read, Word, pairs
from nest.cutter.readback.matching import Allowance, compared, wanted_lines
from nest.cutter.readback.simulation import leaves

__all__ = ["Fault", "FaultCode", "judge"]

THINNED = 0.02  # mm more where points closer than the machine's smallest step are left out
ROUNDING = 0.05  # mm, beyond the bed or beside a name's place without blame


@dataclass(frozen=True, slots=True)
class _Reader:
    """How the files of one format are read.

    ``allowed`` is how far a line read may be off its stroke, by the format's rounding and its
    chords. Files that drive the machine are in its own count, with every pass; in layered ones
    marks come first, then holes, then cuts.
    """

    read: Callable[[bytes, Machine], Read]
    allowed: Allowance
    drives: bool = False
    layered: bool = False


# Steps of 0.2 mm between whole units of HPGL make a way longer by 0.1 to 0.5 %.
_READERS = {
    "dxf-r12": _Reader(dxf.read, Allowance(0.015)),
    "dxf-r2000": _Reader(dxf.read, Allowance(0.005)),
    "svg": _Reader(svg.read, Allowance(0.005), layered=True),
    "hpgl": _Reader(hpgl.read, Allowance(0.04, 5e-3), drives=True),
    "gcode": _Reader(gcode.read, Allowance(0.012), drives=True),
}


def judge(data: bytes, form: str, program: Program) -> tuple[Fault, ...]:
    """Judge the bytes of a file against its program; no fault is a pass.

    ``form`` is one of :data:`nest.cutter.formats.SUFFIXES`.
    """
    machine, reader = program.machine, _READERS[form]
    more = THINNED if machine.smallest_step else 0.0
    allowed = replace(reader.allowed, off=reader.allowed.off + more)
    read = _on_bed(reader.read(data, machine), machine, reader.drives)
    wanted = wanted_lines(program, reader.drives, reader.layered)
    found = (
        *read.faults,
        *compared(tuple(line for _, line in wanted), read.lines, allowed),
        *_off_bed(read, machine),
        *_misnamed(() if reader.drives else program.labels, read.words),
    )
    if found:
        return found
    # the lines agree with the strokes one by one; now for what they leave
    pieces: list[list[Line]] = [[] for _ in program.strokes]
    for (k, _), line in zip(wanted, read.lines, strict=True):
        pieces[k].append(replace(line, work=program.strokes[k].work))
    return tuple(leaves(program, pieces))


def _on_bed(read: Read, machine: Machine, drives: bool) -> Read:
    """The same in bed coordinates: the machine's count undone."""
    lines = tuple(replace(line, points=_bed(line.points, machine, drives)) for line in read.lines)
    places = _bed(pairs([complex(word.x, word.y) for word in read.words]), machine, drives)
    words = tuple(Word(w.text, *at) for w, at in zip(read.words, places.tolist(), strict=True))
    return Read(lines, _bed(read.lifted, machine, drives), read.faults, words)


def _bed(points: FloatArray, machine: Machine, drives: bool) -> FloatArray:
    """From the machine's count to the bed: axes, then origin, then mirror."""
    x, y = (points.T[::-1] if machine.swap_axes and drives else points.T).copy()
    width, depth = machine.bed
    if drives and machine.origin == "centre":
        x, y = x + width / 2, y + depth / 2
    if drives and machine.origin.endswith("right"):
        x = width - x
    if drives and machine.origin.startswith("upper"):
        y = depth - y
    x = width - x if machine.mirror == "x" else x
    y = depth - y if machine.mirror == "y" else y
    return np.stack([x, y], axis=1)


def _misnamed(labels: Sequence[Label], words: Sequence[Word]) -> Iterator[Fault]:
    """Each part's name once, in its place, and no other."""
    left = list(words)
    for label in labels:
        same = [w for w in left if _ascii(w.text) == _ascii(label.text)]
        if not same:
            yield Fault("label", f"the name '{label.text}' is missing.", part=label.text)
            continue
        left.remove(same[0])
        off = math.hypot(same[0].x - label.x, same[0].y - label.y)
        if off > ROUNDING:
            says = f"the name '{label.text}' stands {off:.2f} mm from its place."
            yield Fault("label", says, part=label.text, by=off)
    for word in left:
        yield Fault("label", f"the text '{word.text[:40]}' is no part's name.")


def _ascii(text: str) -> str:
    """As DXF of these versions holds it."""
    return text.encode("ascii", "replace").decode()


def _off_bed(read: Read, machine: Machine) -> Iterator[Fault]:
    """Nothing may be drawn beyond the bed, nor may the tool travel there."""
    worst = max((_beyond(line.points, machine) for line in read.lines), default=0.0)
    outside = sum(_beyond(line.points, machine) > ROUNDING for line in read.lines)
    if outside:
        says = f"{outside} lines leave the bed, by {worst:.2f} mm at most."
        yield Fault("bed", says, by=worst)
    by = _beyond(read.lifted, machine)
    if by > ROUNDING:
        yield Fault("bed", f"the tool travels {by:.2f} mm off the bed.", by=by)


def _beyond(points: FloatArray, machine: Machine) -> float:
    if not len(points):
        return 0.0
    return float(max(-points.min(), (points - np.asarray(machine.bed)).max(), 0.0))
