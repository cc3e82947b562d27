"""From a plan to files on the disk that pass their judge, on every machine that we describe."""

import pytest

from nest.cut.files import write
from nest.cut.formats import SUFFIXES
from nest.cut.machine import read
from nest.cut.program import build, handed
from tests import small
from tests.places import ROOT

MACHINES = ROOT / "shared/machines"
NAMES = sorted(path.name.split(".")[0] for path in MACHINES.glob("*.machine.toml"))


@pytest.mark.parametrize("name", [name for name in NAMES if name != "hand"])
def test_every_format_of_every_machine_passes_its_judge(name, tmp_path):
    """The whole road: contours, set-ups, kerf, order, strokes, file, read-back."""
    machine = read(MACHINES / f"{name}.machine.toml")
    forms = [form for form in machine.formats if form in SUFFIXES]
    assert forms
    for program in (*build(small.plan(), machine, hide=small.hide()), handed(machine)):
        for form in forms:
            path = tmp_path / f"{program.name}-{program.number}{SUFFIXES[form]}"
            assert write(program, form, path) == ()
            assert path.stat().st_size > 80
