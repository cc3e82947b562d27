"""A program as HPGL, for plotters and knife cutters: 40 units to the millimetre.

One plotter unit is 0.025 mm (Hewlett-Packard, HP-GL reference; 1016 to the inch). Only what every
cutter takes is used: IN, PA, SP, VS, PU, PD and whole numbers. Arcs are chords. HPGL has no
comment that every cutter knows and an unknown one might be drawn, so the cautions and the plan's
number are not in the file; whoever shows it must show :attr:`Program.cautions` beside it, and
whoever names it, the number. Nor has it a layer that is
not cut, so the parts' names are left out: LB would draw them with the knife.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from hides.outline import FloatArray
from nest.cutter.formats.lines import counted, flattened
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.stroke import Stroke
from nest.errors import CutError

UNITS = 40  # in a mm
CHORD = 0.01  # mm, how far a chord may be off its arc; less than half a unit
_PAIRS = 16  # points in one PD: lines stay below 256 letters, the least buffer of old plotters


def text(program: Program) -> str:
    """Return the file.

    Raises
    ------
    CutError : a point off the bed would be negative, where the machine counts from a corner; or
        a blade would draw marks as deep as it cuts.
    """
    machine = program.machine
    strokes = counted(program)
    if machine.origin != "centre" and min(s.points.min() for s in strokes) < -0.5 / UNITS:
        what = "a stroke leaves the bed where HPGL counts from, and would be negative."
        raise CutError(what, mend="Move the set-up further into the bed.")
    deep = machine.is_knife and machine.marker == "blade" and machine.pen_mark == machine.pen_cut
    if deep and any(stroke.work == "mark" for stroke in strokes):
        raise CutError(
            f"HPGL has no depth, and tool {machine.pen_mark} both marks and cuts: marks would be "
            "cut through.",
            mend="Set up a second tool with less force and give its number as pen_mark.",
            place="key 'pen_mark'",
        )
    body = itertools.chain.from_iterable(_run(run, machine) for run in _runs(strokes))
    head, foot = ("IN;", "PA;"), ("PU;", "SP0;", "PU0,0;")
    return "\n".join((*head, *machine.start, *body, *machine.finish, *foot)) + "\n"


def _runs(strokes: tuple[Stroke, ...]) -> Iterator[tuple[bool, list[Stroke]]]:
    """Strokes that follow each other with one pen: whether it is a mark, and they."""
    for mark, run in itertools.groupby(strokes, lambda stroke: stroke.work == "mark"):
        yield mark, list(run)


def _run(run: tuple[bool, list[Stroke]], machine: Machine) -> Iterator[str]:
    mark, strokes = run
    pen, feed = (
        (machine.pen_mark, machine.feed_mark) if mark else (machine.pen_cut, machine.feed_cut)
    )
    yield f"PU;SP{pen};VS{speed(feed)};"
    for stroke in strokes:
        rows = _units(flattened(stroke, CHORD, machine.smallest_step))
        for _ in range(stroke.passes):
            yield from _stroke(rows)


def speed(feed: float) -> int:
    """A speed in mm/s as VS tells it, whole cm/s."""
    return max(round(feed / 10), 1)


def _units(points: FloatArray) -> list[str]:
    whole = np.round(points * UNITS).astype(np.int64)
    moves = np.any(np.diff(whole, axis=0) != 0, axis=1)
    rows = whole[np.concatenate([[True], moves])].tolist()
    return [f"{x},{y}" for x, y in rows]


def _stroke(rows: list[str]) -> Iterator[str]:
    yield f"PU{rows[0]};"
    for i in range(1, len(rows), _PAIRS):
        yield f"PD{','.join(rows[i : i + _PAIRS])};"
    yield "PU;"
