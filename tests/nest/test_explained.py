"""What is explained is what is checked, has a meaning, and stands in the READMEs."""

from dataclasses import dataclass, fields
from typing import Annotated

import pytest

import nest
from hides import measured, record
from hides.capture import gauge
from hides.errors import InputError
from hides.keys import Between, keys_of
from nest.cli import main
from nest.cutter.machine import KEYS
from nest.explained import FILES
from nest.job import Job
from nest.knife import CHOICE_KEYS
from nest.week import WeekKeys
from tests import readmes

ALL = [(file, title, key) for file in FILES for title, keys in file.tables.items() for key in keys]


@pytest.mark.parametrize(("file", "title", "key"), ALL, ids=lambda one: getattr(one, "name", one))
def test_every_key_says_what_it_means_and_takes(file, title, key):
    """A key without a line in the docstring of its table, or without a rule, is no key."""
    assert len(key.says.split()) > 1
    assert key.takes
    assert "``" not in key.says
    assert ":" not in key.says[:1]


def names(file, title=""):
    (found,) = [one for one in FILES if one.name == file]
    return [key.name for key in found.tables[title]]


def test_readers_know_the_keys_that_are_explained():
    """Where a reader has a list of its own, it is the same list."""
    assert names("machine") == list(KEYS)
    assert names("knife", "[sheath]") == list(CHOICE_KEYS)
    properties = {name for _, known in record._ROLES.values() for name in known}
    assert set(names("hide", "properties")) == properties | {"role"}
    assert set(names("tape")) == {name for form in measured.FORMS for name in form}
    roles = {gauge._role(name)[0] for name in names("readings")}
    assert roles == set(gauge._WORDS)


def test_a_weeks_defaults_are_those_of_the_job():
    defaults = {field.name: field.default for field in fields(Job)}
    for field in fields(WeekKeys):
        if isinstance(field.default, float | int | str):
            assert field.default == defaults[field.name], field.name


def test_a_key_without_a_meaning_is_refused():
    """So that none is added without a line that explains it."""

    @dataclass
    class Bare:
        """Attributes
        ----------
        told : what it is.
        """

        told: Annotated[float, Between(0.0, 1.0, "mm")] = 0.5
        untold: Annotated[float, Between(0.0, 1.0)] = 0.5

    with pytest.raises(KeyError, match="untold"):
        keys_of(Bare)


@pytest.mark.parametrize("path", readmes.PATHS, ids=lambda path: path.parent.name)
def test_the_readmes_have_the_tables_of_the_code(path):
    """`python -m tests.readmes` writes them anew."""
    text = path.read_text()
    assert text == readmes.filled(text)


def test_every_table_stands_in_a_readme():
    found = [name for path in readmes.PATHS for name in readmes.asked(path.read_text())]
    assert sorted(found) == sorted(readmes.TABLES)


def test_a_key_is_found_wherever_it_may_stand():
    found = {(file.name, title) for file in nest.explain("leather") for title in file.tables}
    assert found == {("knife", "[sheath]"), ("week", "[[sheath]]")}


@pytest.mark.parametrize(("word", "near"), [("gard", "'guard'"), ("weak", "'week'")])
def test_an_unknown_key_names_the_nearest(word, near):
    with pytest.raises(InputError, match=f"no file has a key '{word}'. Did you mean {near}"):
        nest.explain(word)


@pytest.mark.parametrize(
    ("old", "new"), [("throat", "handle_covered"), ("swivel_height", "turn_height")]
)
def test_a_key_of_an_older_name_is_told_the_new_one(old, new):
    with pytest.raises(InputError, match=f"It is called '{new}' now"):
        nest.explain(old)


def test_the_command_lists_and_tells(capsys):
    assert main(["explain"]) == 0
    listed = capsys.readouterr().out
    assert all(f"{file.name} {file.file}" in listed for file in FILES)
    assert all(key.name in listed for _, _, key in ALL)
    assert main(["explain", "welt"]) == 0
    assert "welt: 6 to 40 mm; 10 unless given\n      width of the welt." in capsys.readouterr().out
    assert main(["explain", "nothing_like_it"]) == 2


def test_the_command_names_the_picture_of_a_key_if_there_is_one(capsys):
    for word, shown in (("knife", True), ("guard", True), ("neutral", False), ("keep", True)):
        assert main(["explain", word]) == 0
        assert ("README.md" in capsys.readouterr().out) is shown, word
