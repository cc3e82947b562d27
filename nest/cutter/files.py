"""Files: a program as the bytes of one of its machine's formats, read back before they are used."""

from __future__ import annotations

from nest.cutter.formats import encoded
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.readback import judge
from nest.errors import CutError


def proved(program: Program, form: str, name: str) -> bytes:
    """The bytes of a program's file in ``form``, one of :data:`nest.cutter.formats.SUFFIXES`.

    Raises
    ------
    CutError : the machine can't be told so, or what is read back of the bytes differs from what
        it should be; names the file ``name``.
    """
    data = encoded(program, form)
    for finding in judge(data, form, program):
        what = f"this file did not read back right and was not written: {finding.says}"
        raise CutError(what, mend=_mend(program.machine), file=name)
    return data


def _mend(machine: Machine) -> str:
    report = "a fault of the program, not of your input; please report it."
    if machine.start or machine.finish:
        lines = f"the lines that the profile {machine.name} puts at start and finish"
        return f"Look at {lines}; if it is not these, it is {report}"
    return f"This is {report}"
