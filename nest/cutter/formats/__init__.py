"""Formats: a program as the bytes of a file, one module for each.

The bytes are the same for the same program. Nothing here judges them or writes them to disk;
:mod:`nest.cutter.readback` does.
"""

from __future__ import annotations

from collections.abc import Callable

from nest.cutter.formats import dxf, gcode, hpgl, svg
from nest.cutter.formats.lines import LAYERS, NOT_CUT, counted
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.stroke import Stroke
from nest.errors import CutError

__all__ = ["MUTE", "SUFFIXES", "encoded", "feed_in", "made_in", "notes"]

# A new format is a row here, one in the readers of nest.cutter.readback, and its name in
# nest.cutter.machine.FORMATS: what a file's name ends in, and who writes it.
_FORMATS: dict[str, tuple[str, Callable[[Program], bytes | str]]] = {
    "dxf-r12": (".r12.dxf", dxf.r12),
    "dxf-r2000": (".dxf", dxf.r2000),
    "svg": (".svg", svg.text),
    "hpgl": (".plt", hpgl.text),
    "gcode": (".nc", gcode.text),
}
SUFFIXES = {form: suffix for form, (suffix, _) in _FORMATS.items()}
MUTE = ("hpgl",)  # formats without comments
DRAWN = ("dxf-r12", "dxf-r2000", "svg")  # formats that a machine's own software opens
_PASSES = "The drawing holds each line once: set {} passes for cuts and holes in your software."


def encoded(program: Program, form: str) -> bytes:
    """Return the bytes of a program's file in one of the formats of :data:`SUFFIXES`.

    Raises
    ------
    CutError : the machine can't be told so, or takes no file as large as this.
    """
    data = _FORMATS[form][1](program)
    data = data.encode("utf-8") if isinstance(data, str) else data
    most = program.machine.largest_file
    if most and len(data) > most:
        what = f"the {form} file would have {len(data)} bytes; {program.machine.name} takes {most}."
        raise CutError(what, mend="Cut fewer parts at once, or choose another format.")
    return data


def made_in(program: Program, form: str) -> tuple[Stroke, ...]:
    """A program's strokes as a file makes its machine draw them, in the machine's count.

    In the order of the file, each as often as it is gone over, cut where a knife that its machine
    turns is lifted.
    """
    strokes = counted(program)
    if form == "svg":
        strokes = tuple(sorted(strokes, key=lambda stroke: list(LAYERS).index(stroke.work)))
    return tuple(stroke for stroke in strokes for _ in range(stroke.passes))


def feed_in(machine: Machine, work: str, form: str) -> float:
    """The speed in mm/s at which a file has such work done, "mark", "hole" or "cut"."""
    feed = machine.feed_mark if work == "mark" else machine.feed_cut
    return 10.0 * hpgl.speed(feed) if form == "hpgl" else feed


def notes(program: Program, form: str) -> tuple[str, ...]:
    """What whoever uses a file of that format must know and may not see in it."""
    machine, found = program.machine, []
    works = {stroke.work for stroke in program.strokes}
    for key, feed, done in (
        ("feed_cut", machine.feed_cut, works - {"mark"}),
        ("feed_mark", machine.feed_mark, works & {"mark"}),
    ):
        told = feed_in(machine, min(done), form) if done else feed
        if abs(told - feed) > 1e-6:
            found.append(
                f"HPGL tells speeds in whole cm/s: {key} = {feed:g} mm/s becomes {told:g} mm/s."
            )
    if form in DRAWN:
        found += [NOT_CUT] if program.labels else []
        found += [_PASSES.format(machine.passes)] if machine.passes > 1 else []
    return tuple(found)
