"""Reading HPGL: two letters, whole numbers, a semicolon (Hewlett-Packard, HP-GL reference)."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from nest.cut.machine import Machine
from nest.cut.readback.found import Fault, Line, Read, line_of, pairs

UNIT = 0.025  # mm
KNOWN = ("IN", "PA", "SP", "VS", "PU", "PD")
_INSTRUCTION = re.compile(r"([A-Z]{2})(-?\d+(?:,-?\d+)*)?$")


@dataclass
class _Plotter:
    """Pen and carriage while a file is read."""

    marks: int
    cuts: int
    at: complex = 0j
    down: bool = False
    pen: int = 0
    run: list[complex] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    lifted: list[complex] = field(default_factory=list)
    findings: list[Fault] = field(default_factory=list)

    def lift(self, where: str) -> None:
        if len(self.run) > 1:
            closed = self.run[0] == self.run[-1] and len(self.run) > 2
            self.lines.append(line_of(self.run, closed, self.work, where))
        self.run, self.down = [], False

    @property
    def work(self) -> str:
        cut = "hole|cut" if self.pen == self.cuts else ""
        mark = "mark" if self.pen == self.marks else ""
        return "|".join(word for word in (mark, cut) if word)

    def go(self, point: complex) -> None:
        if self.down:
            self.run = self.run or [self.at]
            self.run.append(point)
        else:
            self.lifted.append(point)
        self.at = point


def read(data: bytes, machine: Machine) -> Read:
    """Read a file for a machine; its own start and finish lines may hold anything."""
    plotter = _Plotter(machine.pen_mark, machine.pen_cut)
    own = {line.strip() for line in (*machine.start, *machine.finish)}
    text = data.decode("ascii", "replace")
    if not text.rstrip().endswith(";"):
        plotter.findings.append(Fault("file", "the last instruction has no end: it was cut off."))
    for number, row in enumerate(text.split("\n"), 1):
        for word in filter(None, (word.strip() for word in row.split(";"))):
            _obey(plotter, word, f"line {number}", row.strip() in own)
    if plotter.down:
        plotter.findings.append(Fault("travel", "the pen is down when the file ends."))
    plotter.lift("the end")
    return Read(tuple(plotter.lines), pairs(plotter.lifted), tuple(plotter.findings))


def _obey(plotter: _Plotter, word: str, where: str, own: bool) -> None:
    found = _INSTRUCTION.match(word)
    name, given = (found[1], found[2]) if found else (word[:2], None)
    if not found or name not in KNOWN:
        if not own:
            says = f"{where}: '{word[:20]}' is not among {', '.join(KNOWN)}."
            plotter.findings.append(Fault("file", says))
        return
    numbers = [int(value) for value in given.split(",")] if given else []
    if name == "SP":
        if plotter.down:
            plotter.findings.append(Fault("travel", f"{where}: the pen changes while down."))
        plotter.lift(where)
        plotter.pen = numbers[0] if numbers else 0
    elif name in ("PU", "PD"):
        _pen(plotter, name == "PD", numbers, where)


def _pen(plotter: _Plotter, down: bool, numbers: list[int], where: str) -> None:
    if not down:
        plotter.lift(where)
    elif plotter.pen == 0 and not plotter.down:
        plotter.findings.append(Fault("file", f"{where}: the pen goes down, and none is chosen."))
    plotter.down = down
    if len(numbers) % 2:
        plotter.findings.append(Fault("file", f"{where}: a coordinate has no partner."))
    for x, y in zip(numbers[::2], numbers[1::2], strict=False):
        plotter.go(complex(x, y) * UNIT)
