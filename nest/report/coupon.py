"""A test piece that tells a machine's kerf or its blade's offset."""

from __future__ import annotations

from nest.cutter.formats import SUFFIXES
from nest.cutting import Coupon
from nest.draw.palette import BLACK
from nest.draw.sheet import Sheet, Style
from nest.report.cut import program_files, ways_of

ENDINGS = tuple(SUFFIXES.values())
MARGIN = 10.0  # mm beside the lines
LINE = Style(edge=BLACK, width=0.2)


def facts(coupon: Coupon) -> dict[str, str]:
    """How far the tool goes (m) and how long, for the coupon and the mark beside it."""
    told = {"machine": coupon.machine.name}
    return told | {one.name: ways_of(one, coupon.formats) for one in coupon.programs}


def picture(coupon: Coupon) -> Sheet:
    """The coupon's lines at 1:1, mm."""
    program = coupon.programs[0]
    _, _, right, top = program.extents
    sheet = Sheet(right + MARGIN, top + MARGIN, program.name)
    for contour in program.pattern:
        sheet.line(contour.points, LINE, closed=contour.closed)
    return sheet


def files(coupon: Coupon, name: str) -> dict[str, bytes]:
    """The coupon and the mark that shows mirrored output, in each format; ``name`` may be empty.

    Raises
    ------
    CutError : the machine can't be told so, or a file did not read back right.
    """
    head, machine = f"{name}." if name else "", coupon.machine.name
    made, mark = coupon.programs
    stems = ((f"{head}{coupon.kind}-coupon.{machine}", made), (f"{head}test-mark.{machine}", mark))
    return {
        file: data
        for stem, one in stems
        for file, data in program_files(stem, [one], coupon.formats).items()
    }
