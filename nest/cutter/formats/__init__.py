"""Formats: a program as the bytes of a file, one module for each.

The bytes are the same for the same program. Nothing here judges them or writes them to disk;
:mod:`nest.cutter.readback` does.
"""

from __future__ import annotations

from collections.abc import Callable

from nest.cutter.formats import dxf, gcode, hpgl, svg
from nest.cutter.program import Program
from nest.errors import CutError

__all__ = ["MUTE", "SUFFIXES", "encoded"]

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
