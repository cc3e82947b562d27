"""From a plan to bytes that pass their judge, on every machine that we describe."""

from dataclasses import replace

import pytest

from nest.cutter.files import proved
from nest.cutter.formats import SUFFIXES, encoded
from nest.cutter.machine import read
from nest.cutter.program import build, handed
from nest.errors import CutError
from tests import cut_sample, small
from tests.places import ROOT

MACHINES = ROOT / "shared/machines"
NAMES = sorted(path.name.split(".")[0] for path in MACHINES.glob("*.machine.toml"))


@pytest.mark.parametrize("name", [name for name in NAMES if name != "hand"])
def test_every_format_of_every_machine_passes_its_judge(name):
    """The whole road: contours, set-ups, kerf, order, strokes, bytes, read-back."""
    machine = replace(read(MACHINES / f"{name}.machine.toml"), most_thickness=4.0)
    forms = [form for form in machine.formats if form in SUFFIXES]
    assert forms
    for program in (*build(small.plan(), machine, hide=small.hide()), handed(machine)):
        for form in forms:
            data = proved(program, form, "a")
            assert len(data) > 80
            assert data == encoded(program, form)


def test_bytes_with_findings_are_refused():
    """A bed that is too small for what is drawn: the file is named, and what is wrong."""
    program = cut_sample.program(cut_sample.machine(bed=(205.0, 100.0)))
    with pytest.raises(CutError, match="did not read back right and was not written") as refused:
        proved(program, "dxf-r2000", "a.dxf")
    assert refused.value.file == "a.dxf"
