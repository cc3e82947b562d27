"""Tests mirror modules: tests/nest/cutter/test_kerf.py tests nest/cutter/kerf.py, it alone does.

A package may have a file of its own for what its modules do together: tests/nest/test_sheath.py
tests nest/sheaths/. What tests no single module is named here with its reason.
"""

import pytest

from tests.places import ROOT

OF_NO_MODULE = {
    "hides/test_real.py": "hides that nobody here drew, from file to ground",
    "nest/cli/test_bad_input.py": "what a user can get wrong, in any file, by every verb",
    "nest/cli/test_real_input.py": "knives and hides that nobody here drew, by every verb",
    "nest/cutter/test_clients.py": "cut files as programs read them that share nothing with us",
    "nest/test_door.py": "the public door, which is nest/__init__.py",
    "nest/report/test_pages.py": "what all pages of a plan hold to, and that they read",
    "nest/report/test_paper.py": "full-size pages, rendered and measured as a ruler would",
    "nest/sheaths/test_real.py": "drawings that nobody here drew, from file to sheath",
}
TESTS = sorted(
    path.relative_to(ROOT / "tests").as_posix()
    for folder in ("hides", "nest")
    for path in (ROOT / "tests" / folder).rglob("test_*.py")
)


def mirrored(test, root=ROOT):
    """The module or package of the same path, if there is one: a/test_b.py has a/b.py or a/b/."""
    folder, _, name = test.rpartition("/")
    home = root / folder / name.removeprefix("test_").removesuffix(".py")
    return next((path for path in (home.with_suffix(".py"), home) if path.exists()), None)


@pytest.mark.parametrize("test", TESTS)
def test_a_test_has_its_module(test):
    assert mirrored(test) or test in OF_NO_MODULE, f"tests/{test}: no module of that path"


def test_the_list_is_no_longer_than_it_must_be():
    """Each file that it names is there and has no module."""
    assert [test for test in OF_NO_MODULE if test not in TESTS or mirrored(test)] == []


def test_a_test_without_a_module_is_seen(tmp_path):
    """A module, a package, and a second file for a module."""
    (tmp_path / "nest/cutter").mkdir(parents=True)
    (tmp_path / "nest/cutter/kerf.py").touch()
    assert mirrored("nest/cutter/test_kerf.py", tmp_path)
    assert mirrored("nest/test_cutter.py", tmp_path)
    assert not mirrored("nest/cutter/test_kerf_real.py", tmp_path)
    assert not mirrored("nest/cutter/test_test_kerf.py", tmp_path)
