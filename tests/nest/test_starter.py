"""Starter files read and plan as they are, name every key, and take no file's place."""

import json

import pytest

import nest
from nest.cli import main


def made(folder, *kinds):
    for kind in kinds:
        assert main(["new", kind, "larch", "--out", str(folder)]) == 0


def test_a_week_brings_what_it_needs_and_plans_as_it_is(tmp_path, capsys):
    """In an empty folder: two sheaths of the knife on the hide, by the checker."""
    made(tmp_path, "week")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "larch.hide.json", "larch.knife.toml", "larch.week.toml"
    ]  # fmt: skip
    (planned,) = nest.plan(nest.read_week(tmp_path / "larch.week.toml"), effort=0.01)
    assert len(planned.plan.placements) == 6
    assert nest.check(planned.plan, planned.hide) == ()
    assert f"croupon plan {tmp_path}/larch.week.toml" in capsys.readouterr().out


def test_a_week_takes_the_knife_and_the_hide_that_are_there(tmp_path):
    made(tmp_path, "knife", "hide")
    assert main(["new", "week", "may", "--out", str(tmp_path)]) == 0
    assert not (tmp_path / "may.knife.toml").exists()
    text = (tmp_path / "may.week.toml").read_text()
    assert 'hides = ["larch.hide.json"]' in text
    assert 'knife = "larch.knife.toml"' in text


def test_a_starter_knife_has_a_pattern_and_a_starter_hide_nothing_odd(tmp_path):
    made(tmp_path, "knife", "hide")
    knife = nest.read_knife(tmp_path / "larch.knife.toml")
    assert knife.name == "Larch"
    assert [part.kind for part in nest.sheath(knife).parts] == ["body", "welt", "loop"]
    assert nest.remarks(nest.read_hide(tmp_path / "larch.hide.json")) == ()


@pytest.mark.parametrize("kind", ["knife", "week"])
def test_every_key_stands_in_a_starter_with_its_meaning(tmp_path, kind):
    made(tmp_path, kind)
    text = (tmp_path / f"larch.{kind}.toml").read_text()
    (found,) = nest.explain(kind)
    left_out = {"sheath", "pin", "edge_straight"}
    for title, keys in found.tables.items():
        for key in keys if title != "[[pin]]" else ():
            assert f"{key.name} =" in text or key.name in left_out
            words = key.says[1:20]
            assert words in " ".join(text.replace("\n# ", " ").split()) or key.name in left_out


def test_a_starter_hide_tells_what_its_members_mean(tmp_path):
    """JSON has no remarks; a member that no reader asks for holds them."""
    made(tmp_path, "hide")
    told = json.loads((tmp_path / "larch.hide.json").read_text())["meanings"]
    (found,) = nest.explain("hide")
    assert [len(words) for words in told.values()] == [len(k) for k in found.tables.values()]


def test_a_file_that_is_there_stays(tmp_path, capsys):
    made(tmp_path, "knife")
    path = tmp_path / "larch.knife.toml"
    path.write_text("mine")
    assert main(["new", "knife", "larch", "--out", str(tmp_path)]) == 2
    assert path.read_text() == "mine"
    assert "larch.knife.toml" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["../larch", "a/b", "", ".", "la\nrch"])
def test_a_name_that_is_no_files_is_refused(tmp_path, name, capsys):
    assert main(["new", "knife", name, "--out", str(tmp_path)]) == 2
    assert "can't name a file" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_name_may_have_its_ending(tmp_path):
    assert main(["new", "hide", "larch.hide.json", "--out", str(tmp_path)]) == 0
    assert (tmp_path / "larch.hide.json").exists()
