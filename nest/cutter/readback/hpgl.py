"""Reading HPGL: two letters, whole numbers, a semicolon (Hewlett-Packard, HP-GL reference)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from nest.cutter.machine import Machine
from nest.cutter.readback.found import Fault, Read, Tool

UNIT = 0.025  # mm
KNOWN = ("IN", "PA", "SP", "VS", "PU", "PD")
_INSTRUCTION = re.compile(r"([A-Z]{2})(-?\d+(?:,-?\d+)*)?$")


@dataclass
class _Plotter(Tool):
    """Pen and carriage while a file is read."""

    down: bool = False
    pen: int = 0

    def lift(self, where: str) -> None:
        self.end_line(self.work, where)
        self.down = False

    @property
    def work(self) -> str:
        return self.works(self.pen == self.machine.pen_mark, self.pen == self.machine.pen_cut)

    def go(self, point: complex) -> None:
        if self.down:
            self.run = self.run or [self.at]
            self.run.append(point)
        else:
            self.lifted.append(point)
        self.at = point


def read(data: bytes, machine: Machine) -> Read:
    """Read a file for a machine; its own start and finish lines may hold anything."""
    plotter = _Plotter(machine)
    own = plotter.own
    text = data.decode("ascii", "replace")
    if not text.rstrip().endswith(";"):
        plotter.faults.append(Fault("file", "the last instruction has no end: it was cut off."))
    for number, row in enumerate(text.split("\n"), 1):
        for word in filter(None, (word.strip() for word in row.split(";"))):
            _obey(plotter, word, f"line {number}", row.strip() in own)
    if plotter.down:
        plotter.faults.append(Fault("travel", "the pen is down when the file ends."))
    plotter.lift("the end")
    return plotter.done()


def _obey(plotter: _Plotter, word: str, where: str, own: bool) -> None:
    found = _INSTRUCTION.match(word)
    name, given = (found[1], found[2]) if found else (word[:2], None)
    if not found or name not in KNOWN:
        if not own:
            plotter.blame(where, f"'{word[:20]}' is not among {', '.join(KNOWN)}.")
        return
    numbers = [int(value) for value in given.split(",")] if given else []
    if name == "SP":
        if plotter.down:
            plotter.blame(where, "the pen changes while down.", "travel")
        plotter.lift(where)
        plotter.pen = numbers[0] if numbers else 0
    elif name in ("PU", "PD"):
        _pen(plotter, name == "PD", numbers, where)


def _pen(plotter: _Plotter, down: bool, numbers: list[int], where: str) -> None:
    if not down:
        plotter.lift(where)
    elif plotter.pen == 0 and not plotter.down:
        plotter.blame(where, "the pen goes down, and none is chosen.")
    plotter.down = down
    if len(numbers) % 2:
        plotter.blame(where, "a coordinate has no partner.")
    for x, y in zip(numbers[::2], numbers[1::2], strict=False):
        plotter.go(complex(x, y) * UNIT)
