"""Reading G-code as a controller of the grbl class does: word by word, state by state.

Words and arcs follow grbl 1.1 (gnea/grbl, ``gcode.c``): an arc's end may be off its circle by
0.005 mm, or by 0.1 % of the radius up to 0.5 mm, before it is refused (error 33).
"""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from nest.cutter.machine import Machine
from nest.cutter.readback.found import Read, Tool, swung

SAME = 1e-3  # of a power or a mm; files have four digits
LONGEST_LINE = 80  # letters in a line of grbl 1.1
KNOWN_G = (0, 1, 2, 3, 17, 21, 90, 94)
_WORD = re.compile(r"\s*([A-Z])\s*(-?(?:\d+\.?\d*|\.\d+))")
_COMMENT = re.compile(r"\([^)]*\)|;.*")


@dataclass
class _Controller(Tool):
    """State of the controller while a file is read; ``down`` is beam on or blade in."""

    z: float | None = None
    beam: bool = False
    motion: int | None = None
    feed: float = 0.0
    modes: set[int] = field(default_factory=set)
    ended: bool = False
    power: float = 0.0
    deepest: float = 0.0

    @property
    def laser(self) -> bool:
        return self.machine.tool == "laser"

    @property
    def down(self) -> bool:
        # a knife may travel from the height of the profile on, and nowhere below it
        return self.beam if self.laser else self.z is not None and self.z < self.machine.z_travel

    @property
    def work(self) -> str:
        """What the line just drawn can be, by its power or its depth."""
        own = self.machine
        if self.laser:
            told, mark, cuts = self.power, own.power_mark or 0.0, [own.power_cut or 0.0]
        else:
            steps = [own.z_cut * k / own.passes for k in range(1, own.passes + 1)]
            told, mark, cuts = self.deepest, own.z_mark, steps
        return self.works(abs(told - mark) < SAME, any(abs(told - deep) < SAME for deep in cuts))

    def settle(self, where: str) -> None:
        """Close the line drawn so far, if the tool is up."""
        if not self.down:
            self.end_line(self.work, where)
            self.deepest = 0.0


def read(data: bytes, machine: Machine) -> Read:
    """Read a file for a machine; its own start and finish lines may hold any word."""
    control = _Controller(machine)
    own = control.own
    rows = data.decode("ascii", "replace").split("\n")
    for number, row in enumerate(rows, 1):
        where = f"line {number}"
        if len(row.rstrip("\r")) > LONGEST_LINE:
            control.blame(where, f"it has more than {LONGEST_LINE} letters.")
        _block(control, row, where, row.strip() in own)
        control.settle(where)
    if control.down:
        control.blame("the end", "the tool is still down.", "travel")
    if not control.ended:
        control.blame("the end", "there is no M2: the file was cut off.")
    return control.done()


def _block(control: _Controller, row: str, where: str, own: bool) -> None:
    code = _COMMENT.sub("", row).strip()
    if code and control.ended:
        control.blame(where, "a line follows the end of the program.")
    words = _words(control, code, where, own)
    for number in words.pop("G", []):
        _mode(control, number, where, own)
    for number in words.pop("M", []):
        _action(control, number, where, own)
    values = {letter: numbers[0] for letter, numbers in words.items()}
    control.feed = values.get("F", control.feed)
    control.power = values.get("S", control.power)
    if any(letter in values for letter in "XYZ"):
        _move(control, values, where)


def _words(control: _Controller, code: str, where: str, own: bool) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {}
    end = 0
    for match in _WORD.finditer(code):
        if match.start() != end:
            break
        end = match.end()
        found.setdefault(match[1], []).append(float(match[2]))
    if end != len(code) and not own:
        control.blame(where, f"'{code[end : end + 20]}' is no word of G-code.")
    for letter, numbers in found.items():
        if letter not in "GM" and len(numbers) > 1:
            control.blame(where, f"the word {letter} comes twice.")
        if letter not in "GMXYZIJFS" and not own:
            control.blame(where, f"{letter} is not among the words that grbl takes here.")
    return found


def _mode(control: _Controller, number: float, where: str, own: bool) -> None:
    if number not in KNOWN_G:
        harmless = own and number not in (20, 91, 93, 18, 19)
        if not harmless:
            control.blame(where, f"G{number:g} is not among those known here.")
    elif number <= 3:
        control.motion = int(number)
    else:
        control.modes.add(int(number))


def _action(control: _Controller, number: float, where: str, own: bool) -> None:
    if number in (3, 4):
        control.beam = True
        control.run = [control.at] if control.laser else control.run
    elif number == 5:
        control.beam = False
    elif number == 2:
        control.ended, control.beam = True, False
    elif not own:
        control.blame(where, f"M{number:g} is not among those known here.")


def _move(control: _Controller, values: dict[str, float], where: str) -> None:
    missing = {17, 21, 90, 94} - control.modes
    if missing:
        told = ", ".join(f"G{mode}" for mode in sorted(missing))
        control.blame(where, f"the tool moves before {told} is said.")
        control.modes |= missing
    if control.motion is None:
        control.blame(where, "the tool moves before any of G0 to G3.")
        return
    if control.motion > 0 and control.feed <= 0:
        control.blame(where, "it feeds before F says how fast.")
        control.feed = 1.0
    target = complex(values.get("X", control.at.real), values.get("Y", control.at.imag))
    _travel(control, target, where)
    if target != control.at or control.motion >= 2:
        points = list(_arc(control, target, values, where)) if control.motion >= 2 else [target]
        (control.run if control.down else control.lifted).extend(points)
        if control.down and control.z is not None:
            control.heights += [control.z] * len(points)
    control.at = target
    _lower(control, values.get("Z"), where)


def _travel(control: _Controller, target: complex, where: str) -> None:
    far = abs(target - control.at)
    if far == 0:
        return
    if control.motion == 0 and control.down:
        tool = "beam is on" if control.laser else "blade is down"
        control.blame(where, f"the {tool} while the tool travels {far:.2f} mm.", "travel", far)
    if not control.laser and control.z is None:
        control.blame(where, "the knife moves before its height is said.", "travel", far)
    if control.motion and not control.down:
        control.blame(where, f"it feeds {far:.2f} mm with the tool up.")


def _lower(control: _Controller, z: float | None, where: str) -> None:
    if z is None:
        return
    if control.motion == 0 and z < control.machine.z_travel and not control.laser:
        control.blame(where, "the knife is lowered at travelling speed.", "travel")
    was = control.down
    control.z = z
    control.deepest = min(control.deepest, z)
    if control.down and not was and not control.laser:
        control.run, control.heights = [control.at], [control.z]


def _arc(
    control: _Controller, target: complex, values: dict[str, float], where: str
) -> Iterator[complex]:
    centre = control.at + complex(values.get("I", 0.0), values.get("J", 0.0))
    first, last = abs(control.at - centre), abs(target - centre)
    off = abs(first - last)
    if first == 0 or off > 0.5 or (off > 0.005 and off > 0.001 * first):
        control.blame(where, f"the arc's end is {off:.3f} mm off its circle (grbl error 33).")
    turn = cmath.phase((target - centre) / (control.at - centre)) if first and last else 0.0
    if control.motion == 3:
        angle = turn if turn > 1e-9 else turn + 2 * math.pi
    else:
        angle = turn if turn < -1e-9 else turn - 2 * math.pi
    yield from swung(control.at, centre, angle)
    yield target
