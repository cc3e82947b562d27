"""Files: a program is written in one of its machine's formats, and stays only if it is right."""

from __future__ import annotations

from pathlib import Path

from hides.errors import InputError
from hides.files import read_whole, write_whole
from nest.cut.formats import encoded
from nest.cut.program import Program
from nest.cut.readback import Fault, judge


def write(program: Program, form: str, path: Path) -> tuple[Fault, ...]:
    """Write a program's file in ``form``, read it back from the disk and judge it.

    ``form`` is one of :data:`nest.cut.formats.SUFFIXES`. No fault is a pass; a file with
    faults is not left behind, and what the path held before stays.

    Raises
    ------
    InputError : the machine can't be told so, or the file can't be written.
    """
    data = encoded(program, form)
    new = path.with_name(path.name + ".new")
    try:
        write_whole(new, data)
        faults = judge(read_whole(new, len(data)), form, program)
        if not faults:
            new.replace(path)
    except OSError as error:
        what = f"can't be written ({error.strerror})."
        raise InputError(what, mend="Check the folder.", file=path) from None
    finally:
        new.unlink(missing_ok=True)
    return faults
