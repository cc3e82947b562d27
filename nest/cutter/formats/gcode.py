"""A program as G-code for controllers of the grbl class: a laser, or a knife that Z lowers.

Plain words only: G0 to G3, G17 G21 G90 G94, M2 to M5, X Y Z I J F S. No cutter compensation, no
canned cycles, no settings; lines stay within the controller's 80 letters. Arcs keep their centre
(I, J with four decimals); grbl refuses an arc whose end is off its circle by more than 0.005 mm,
so those below :data:`LEAST_RADIUS` become chords (gnea/grbl, ``gcode.c``, error 33). All that
stands in such a file is done, so the parts' names are left out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from hides.outline import FloatArray
from nest.cutter.formats.lines import STRAIGHT, counted, flattened, remarks
from nest.cutter.machine import Machine
from nest.cutter.polyline import arc_centre
from nest.cutter.program import Program
from nest.cutter.stroke import DOWN, SWIVEL, TOUCH, Stroke
from nest.errors import CutError

LEAST_RADIUS = 0.5  # mm
MOST_RADIUS = 5000.0  # mm; beyond it the sagitta of a 10 mm chord is below 0.003 mm
CHORD = 0.005  # mm, how far a chord may be off an arc that is too small or too large
DIGITS = 4
COMMENT_WIDTH = 76  # letters of a comment: with its mark below grbl's 80
MINUTE = 60.0  # s; feeds are written in mm/min

_LASER = (
    "Laser mode ($32=1) and the S of full power ($30) are settings of",
    "the controller, made there once, and not in this file.",
)
_NO_POWER = "No power is set in the machine's profile: S0, the beam stays off."


def text(program: Program) -> str:
    """Return the file.

    Raises
    ------
    CutError : the machine's tool needs an axis that turns it, or a pen to change for, which these
        controllers lack.
    """
    machine = program.machine
    if machine.tool not in ("laser", "drag"):
        raise CutError(
            f"G-code here turns no blade, and {machine.name}'s must be turned.",
            mend="Use HPGL or DXF: its controller turns the blade along the line.",
            place="key 'formats'",
        )
    if machine.marker == "pen" and any(stroke.work == "mark" for stroke in program.strokes):
        raise CutError(
            "G-code here changes no tool, so no pen can draw the marks.",
            mend='Say marker = "blade", or leave the marks out: marks = [], holes = "none".',
            place="key 'marker'",
        )
    body = [line for stroke in counted(program) for line in _passes(stroke, machine)]
    lines = [*_head(program), *machine.start, *body, *machine.finish, *_foot(program)]
    return "\n".join(lines) + "\n"


def _head(program: Program) -> Iterator[str]:
    machine = program.machine
    yield from (f"; {line}" for line in remarks(program, COMMENT_WIDTH))
    if machine.tool == "laser":
        yield from (f"; {line}" for line in _LASER)
        if machine.power_cut is None:
            yield f"; {_NO_POWER}"
    yield "G21 G90 G17 G94"
    yield _up(machine)


def _foot(program: Program) -> tuple[str, ...]:
    x, y = program.machine.counted(np.array([program.start]))[0].tolist()
    return _up(program.machine), f"G0 {_pair(x, y)}", "M2"


def _up(machine: Machine) -> str:
    return "M5" if machine.tool == "laser" else f"G0 {_word('Z', machine.z_travel)}"


def _passes(stroke: Stroke, machine: Machine) -> Iterator[str]:
    """A stroke as often as it is gone over; a knife goes deeper each time."""
    for number in range(1, stroke.passes + 1):
        deep = machine.z_mark if stroke.work == "mark" else machine.z_cut
        yield from _stroke(stroke, machine, deep * number / stroke.passes)


def _stroke(stroke: Stroke, machine: Machine, depth: float) -> Iterator[str]:
    yield f"G0 {_pair(*stroke.start)}"
    feed = _feed(stroke, machine)
    if machine.tool == "laser":
        power = machine.power_mark if stroke.work == "mark" else machine.power_cut
        yield f"{machine.beam} {_word('S', power or 0.0)}"
    else:
        first = (stroke.heights or (DOWN,))[0]
        yield f"G1 {_word('Z', _at(machine, depth)[first])} {feed}"
    for move in _way(stroke, machine, depth):
        yield f"{move} {feed}" if feed and machine.tool == "laser" else move
        feed = ""  # said once for each stroke: it holds until changed
    yield _up(machine)


def _way(stroke: Stroke, machine: Machine, depth: float) -> Iterator[str]:
    """The moves of a stroke, with the heights at which a knife swivels."""
    now, heights = (stroke.heights or (DOWN,))[0], _at(machine, depth)
    for first, last, bulge, height in stroke.moves():
        if height != now and machine.tool != "laser":
            yield f"G1 {_word('Z', heights[height])}"
            now = height
        yield from _moves(first, last, bulge)


def levels(machine: Machine, work: str) -> dict[str, float]:
    """Z in mm at each height of a stroke of such work, in its last pass."""
    return _at(machine, machine.z_mark if work == "mark" else machine.z_cut)


def _at(machine: Machine, depth: float) -> dict[str, float]:
    """Z at each height of a stroke. A tip lifted off the leather would not turn but go along."""
    touch = max(depth, machine.z_mark)
    return {DOWN: depth, SWIVEL: min(depth + machine.turn_height, touch), TOUCH: touch}


def _feed(stroke: Stroke, machine: Machine) -> str:
    mark = stroke.work == "mark"
    return _word("F", MINUTE * (machine.feed_mark if mark else machine.feed_cut))


def _moves(first: FloatArray, last: FloatArray, bulge: float) -> Iterator[str]:
    if abs(bulge) < STRAIGHT:
        yield f"G1 {_pair(*last.tolist())}"
        return
    # between the ends as they are written, so that the centre fits both
    first, last = np.round(first, DIGITS), np.round(last, DIGITS)
    centre, radius = arc_centre(first, last, bulge)
    if not LEAST_RADIUS <= radius <= MOST_RADIUS:
        arc = Stroke(np.stack([first, last]), False, "cut", "", np.array([bulge, 0.0]))
        yield from (f"G1 {_pair(x, y)}" for x, y in flattened(arc, CHORD)[1:].tolist())
        return
    i, j = (centre - first).tolist()
    way = "G3" if bulge > 0 else "G2"
    yield f"{way} {_pair(*last.tolist())} {_word('I', i)} {_word('J', j)}"


def _pair(x: float, y: float) -> str:
    return f"{_word('X', x)} {_word('Y', y)}"


def _word(letter: str, value: float) -> str:
    number = f"{round(value, DIGITS) + 0.0:.{DIGITS}f}"
    return f"{letter}{number.rstrip('0').rstrip('.')}"
