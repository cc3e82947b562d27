"""The public door: light, documented, and the whole road from a week to a cut without a path."""

import dataclasses
import doctest
import inspect
import subprocess
import sys

import pytest

import nest
from nest import answers
from nest.checker import verdict
from tests import small
from tests.places import ROOT

ASKED = ("read_hide", "read_knife", "read_week", "sheath", "plan", "compare", "check", "cut",
         "save")  # fmt: skip


def test_it_holds_what_a_script_needs():
    assert set(ASKED) <= set(nest.__all__)
    assert sorted(nest.__all__) == nest.__all__
    assert all(hasattr(nest, name) for name in nest.__all__)


def test_importing_it_loads_nothing_heavy():
    """Nor does --help, which goes by it."""
    heavy = "{'numpy', 'scipy', 'shapely', 'matplotlib', 'numba', 'cv2', 'ortools', 'ezdxf'}"
    asked = f"import sys, nest, nest.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", [name for name in nest.__all__ if name.islower()])
def test_every_function_says_its_units_and_errors(name):
    """A docstring that tells what it does; where input can be refused, that it is."""
    says = inspect.getdoc(getattr(nest, name)) or ""
    assert len(says.split()) > 8
    if name in ASKED and name != "check":
        assert "InputError" in says


def test_what_the_docstrings_show_is_what_comes_out(monkeypatch):
    """Run as they stand, in the project's folder; a plan, a check and a cut among them."""
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testmod(nest, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert (failed, tried > 12) == (0, True)


def test_names_stay_functions_whatever_is_imported():
    """A submodule of the same name would take a function's place once it is loaded."""
    import nest.planning
    import nest.report.compare

    assert nest.planning
    assert all(callable(getattr(nest, name)) for name in nest.__all__)


def test_every_answer_has_its_module_of_the_one_form():
    for kind, module in answers.MODULES.items():
        room = __import__(module, fromlist=["facts"])
        assert all(callable(getattr(room, name)) for name in ("facts", "picture", "files")), kind
        assert nest.endings(kind)


def test_files_end_as_they_are_said_to():
    """Of a hide, a sheath with paper, and scale sheets: the names that are told before."""
    knife = nest.read_knife(ROOT / "shared/knives/pip.knife.toml")
    for answer, how in (
        (small.hide(), {}),
        (nest.sheath(knife), {"paper": "a4"}),
        (nest.scale_sheets(), {}),
    ):
        made = nest.files(answer, "x", **how)
        assert list(made) == [f"x{ending}" for ending in nest.endings(type(answer).__name__)]
        assert all(len(data) > 500 for data in made.values())
        assert nest.facts(answer)
        assert nest.picture(answer).width > 100


@pytest.fixture(scope="module")
def planned():
    """The small plan, checked, as a script has it."""
    plan = small.plan()
    return dataclasses.replace(plan, check=verdict(()))


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (lambda p: nest.cut(p, None, None, paper="A4"), "paper must be 'a4' or 'letter', got 'A4'"),
        (
            lambda p: nest.cut(p, small.hide(), nest.read_machine("laser-600"), formats=["dxf"]),
            "formats must be 'dxf-r12' or",
        ),
        (lambda p: nest.coupon(nest.read_machine("laser-600"), "kerv"), "must be 'kerf' or"),
        (lambda p: nest.measured("kerv", [102.0, 98.0]), "must be 'kerf' or 'offset', got 'kerv'"),
        (
            lambda p: nest.compare(small.JOB, [small.hide(), small.hide()], effort=0.01),
            "two of the hides offered are named",
        ),
    ],
)
def test_what_a_script_mistypes_is_told(asked, says, planned, monkeypatch):
    """As the command would: one clear error, with what there is."""
    monkeypatch.chdir(ROOT)
    with pytest.raises(nest.InputError, match=says):
        asked(planned)


def test_several_answers_at_once_are_none():
    with pytest.raises(TypeError, match="a tuple is no answer; these are: Hide"):
        nest.files((small.hide(),), "x")
