"""The command as a user runs it: files written, exit codes, one line of error, no traceback."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from hides import record
from nest.cli import main
from tests import small
from tests.places import ROOT

SHARED = ROOT / "shared"
WEEK = str(SHARED / "weeks/week-4.week.toml")
BIRCH = str(SHARED / "hides/birch.hide.json")


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_plan_writes_everything_a_maker_needs(tmp_path, capsys) -> None:
    """Plan, lists, drawing exchange file and the cut plan as PNG, PDF and SVG."""
    assert main(["plan", WEEK, "--effort", "0.01", "--out", str(tmp_path)]) == 0
    kinds = ("plan.json", "parts.csv", "figures.csv")
    pictures = ("cutplan.png", "cutplan.pdf", "cutplan.svg", "detail.pdf")
    assert names(tmp_path) == {f"week-4.{kind}" for kind in kinds + pictures}
    assert "12 parts, checked" in capsys.readouterr().out


def test_plan_as_json_has_the_figures_and_nothing_else_on_stdout(tmp_path, capsys) -> None:
    """A script can read it."""
    assert main(["plan", WEEK, "--effort", "0.01", "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["parts"] == 12
    assert told["figures"]["used_area"] >= told["figures"]["bound_area"]


@pytest.mark.parametrize(
    "arguments",
    [
        ["hide", "show", BIRCH],
        ["hide", "check", BIRCH],
        ["sheath", str(SHARED / "knives/heron.knife.toml"), "--hand", "left"],
        ["compare", WEEK, "--hide", BIRCH, str(SHARED / "hides/rowan.hide.json"),
         "--effort", "0.005"],
    ],
)  # fmt: skip
def test_every_other_verb_runs_and_prints_json_too(arguments, tmp_path, capsys) -> None:
    """Words for people, JSON for scripts."""
    out = [] if "check" in arguments else ["--out", str(tmp_path)]
    assert main([*arguments, *out]) == 0
    assert capsys.readouterr().out.strip()
    assert main([*arguments, *out, "--json", *(["--force"] if out else [])]) == 0
    assert json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["plan", "none.week.toml"], "none.week.toml: there is no such file"),
        (["plan", WEEK, "--hide", "none.hide.json"], "none.hide.json"),
        (["hide", "check", WEEK], "week-4.week.toml"),
        (["sheath", BIRCH], "birch.hide.json"),
    ],
)
def test_bad_input_is_one_message_and_exit_code_2(arguments, says, tmp_path, capsys) -> None:
    """The file is named; nothing is written."""
    where = [] if "check" in arguments else ["--out", str(tmp_path / "out")]
    assert main([*arguments, *where]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert "Traceback" not in told.err
    assert not (tmp_path / "out").exists()


def test_a_week_that_does_not_fit_is_exit_code_1(tmp_path, capsys) -> None:
    """Sound input, no plan: it says what would fit, and writes nothing."""
    week = tmp_path / "big.week.toml"
    knife = SHARED / "knives/heron.knife.toml"
    week.write_text(f"[[sheath]]\nknife = '{knife}'\ncount = 200\nleather = [3.2, 3.5]\n")
    out = tmp_path / "out"
    code = main(["plan", str(week), "--hide", BIRCH, "--effort", "0.005", "--out", str(out)])
    assert code == 1
    assert "of 200 sheaths fit" in capsys.readouterr().err
    assert not out.exists()


def test_unknown_thickness_is_stamped_on_everything_made_of_the_plan(tmp_path, capsys) -> None:
    """Refused without a word of the user; with it, each page, list and JSON says so, and what is
    cut from the plan's file later, too.
    """
    sheet = replace(record.read(BIRCH), name="Bare", readings=(), zones=())
    record.write(sheet, tmp_path / "bare.hide.json")
    plan = ["plan", WEEK, "--hide", str(tmp_path / "bare.hide.json"), "--effort", "0.01"]
    out = tmp_path / "out"
    assert main([*plan, "--out", str(out)]) == 2
    assert "nobody has said how thick Bare is" in capsys.readouterr().err
    assert not out.exists()
    assert main([*plan, "--unknown-thickness", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["thickness_known"] is False
    assert told["mind"][0] == "Thickness not known: gauge under each part before you cut."
    file = str(out / "week-4.plan.json")
    for how in (["--paper", "letter"], ["--machine", "laser-600"]):
        assert main(["cut", file, *how, "--hide", plan[3], "--out", str(out)]) == 0
        assert "Thickness not known: gauge under" in capsys.readouterr().out
    pages = [page for pdf in out.glob("*.pdf") for page in PdfReader(pdf).pages]
    assert len(pages) == 10
    for page in pages:
        assert "thickness not known" in page.extract_text().replace("\n", " ").lower()
    assert "warning,Warning,,,Thickness not known" in (out / "week-4.figures.csv").read_text()
    with (out / "week-4.parts.csv").open() as rows:
        assert {row["thickness_known"] for row in csv.DictReader(rows)} == {"no"}


def test_the_plans_number_is_on_every_page_and_in_every_file(tmp_path, capsys) -> None:
    """Of one plan all bear the same; another search has another."""
    plan = ["plan", WEEK, "--effort", "0.01", "--json", "--out"]
    assert main([*plan, str(tmp_path)]) == 0
    number = json.loads(capsys.readouterr().out)["plan"]
    assert re.fullmatch("P[0-9A-F]{6}", number)
    file = str(tmp_path / "week-4.plan.json")
    forms = ["dxf-r12", "dxf-r2000", "svg", "hpgl", "gcode"]
    machine = tmp_path / "machines/all.machine.toml"
    machine.parent.mkdir()
    about = f"bed = [1300.0, 900.0]\nkerf = 0.2\nformats = {json.dumps(forms)}\n"
    machine.write_text(f'tool = "laser"\n{about}')
    for how in (["--paper", "a4"], ["--machine", str(machine), "--format", *forms]):
        assert main(["cut", file, *how, "--out", str(tmp_path)]) == 0
        assert f"Four for the fair, number {number}," in capsys.readouterr().out
    pages = [page for pdf in tmp_path.glob("*.pdf") for page in PdfReader(pdf).pages]
    assert len(pages) > 8  # cut plan, detail, templates, placing sheet and list, set-ups
    for page in pages:
        assert f"plan {number}" in page.extract_text()
    shutil.rmtree(machine.parent)
    kinds = {path.suffix for path in tmp_path.iterdir()}
    assert kinds == {".json", ".csv", ".pdf", ".png", ".svg", ".dxf", ".plt", ".nc"}
    for path in tmp_path.iterdir():
        assert number.encode() in path.read_bytes() or path.suffix == ".plt", path
        assert number in path.name or path.suffix != ".plt", path  # which has no comments
    (sheet,) = tmp_path.glob("*.png")
    assert Image.open(sheet).text["Keywords"] == f"plan {number}"
    for row in csv.DictReader((tmp_path / "week-4.parts.csv").open()):
        assert row["plan"] == number
    assert main([*plan, str(tmp_path / "b"), "--seed", "3"]) == 0
    assert json.loads(capsys.readouterr().out)["plan"] != number


def test_plans_on_several_hides_are_named_by_hide(tmp_path, capsys) -> None:
    """Two offcuts with room for one sheath each: a set of files and a table for each."""
    for name in ("oak", "elm"):
        edge = small.outline([(0, 0), (270, 0), (270, 190), (0, 190)])
        about = {"piece": "remnant", "holes": (), "flaws": (), "zones": (small.EVEN,)}
        offcut = small.hide(name=name.title(), outline=edge, **about)
        record.write(offcut, tmp_path / f"{name}.hide.json")
    week = tmp_path / "two.week.toml"
    knife = f"[[sheath]]\nknife = '{SHARED / 'knives/heron.knife.toml'}'\ncount = 2\n"
    week.write_text(f"hides = ['oak.hide.json', 'elm.hide.json']\n{knife}")
    out = tmp_path / "out"
    arguments = ["plan", str(week), "--effort", "0.02", "--out", str(out)]
    assert main([*arguments, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["hides"]
    assert [(row["hide"], row["parts"]) for row in told] == [("Oak", 3), ("Elm", 3)]
    assert {name.split(".")[1] for name in names(out)} == {"oak", "elm"}
    assert {"two.oak.plan.json", "two.elm.cutplan.pdf"} <= names(out)
    assert main([*arguments, "--force"]) == 0
    assert "6 parts on 2 hides" in capsys.readouterr().out


def test_a_pin_that_breaks_a_rule_names_the_week_file(tmp_path, capsys) -> None:
    """The checker's sentence, and which pin of which file."""
    week = tmp_path / "pin.week.toml"
    knife = SHARED / "knives/heron.knife.toml"
    pin = "[[pin]]\nsheath = 'heron-1'\nkind = 'body'\nx = 0\ny = 0\nangle = 0\n"
    week.write_text(f"hides = ['{BIRCH}']\n[[sheath]]\nknife = '{knife}'\n{pin}")
    assert main(["plan", str(week), "--effort", "0.01", "--out", str(tmp_path / "out")]) == 2
    assert "pin.week.toml, pin 1: heron-1/body can't stay" in capsys.readouterr().err


def test_a_folder_that_can_not_be_written_is_said(tmp_path, capsys) -> None:
    """A file stands where the folder should be."""
    blocked = tmp_path / "out"
    blocked.write_text("in the way")
    assert main(["hide", "show", BIRCH, "--out", str(blocked)]) == 2
    assert "out" in capsys.readouterr().err


def test_a_reader_that_goes_early_finds_all_files_written(tmp_path) -> None:
    """Files first, words after: ``croupon plan WEEK | head -2`` leaves nothing out."""
    out = tmp_path / "out"
    command = [sys.executable, "-m", "nest", "plan", WEEK, "--effort", "0.01", "--out", str(out)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        first = run.stdout.readline()
        run.stdout.close()
    assert "12 parts, checked" in first
    assert run.returncode == 0
    assert len(names(out)) == 7


def test_a_disk_without_room_leaves_the_folder_as_it_was(tmp_path) -> None:
    """The kernel refuses to write files above 30 kB, as a full disk would in their middle."""
    resource = pytest.importorskip("resource")
    (tmp_path / "pip.pattern.png").write_text("mine")
    knife = str(SHARED / "knives/pip.knife.toml")
    done = subprocess.run(
        [sys.executable, "-m", "nest", "sheath", knife, "--out", str(tmp_path), "--force"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (30_000, 30_000)),
    )
    assert done.returncode == 2
    assert "nothing was written" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert names(tmp_path) == {"pip.pattern.png"}
    assert (tmp_path / "pip.pattern.png").read_text() == "mine"


def test_last_weeks_files_are_told_before_the_search(tmp_path, capsys) -> None:
    """A search of 3000 s would time out here if it came first."""
    (tmp_path / "week-4.detail.pdf").write_text("last week's")
    assert main(["plan", WEEK, "--seconds", "3000", "--out", str(tmp_path)]) == 2
    told = capsys.readouterr()
    assert "week-4.detail.pdf: this is there already" in told.err
    assert told.out == ""
    assert names(tmp_path) == {"week-4.detail.pdf"}


def test_records_of_one_file_name_are_told_before_the_search(tmp_path, capsys) -> None:
    """Two hides in folders of their own: the files of one plan would replace the other's."""
    hides = []
    for folder, name in (("a", "birch"), ("b", "rowan")):
        (tmp_path / folder).mkdir()
        hides.append(tmp_path / folder / "side.hide.json")
        hides[-1].write_bytes((SHARED / f"hides/{name}.hide.json").read_bytes())
    arguments = ["plan", WEEK, "--hide", *map(str, hides), "--seconds", "3000"]
    assert main([*arguments, "--out", str(tmp_path / "out")]) == 2
    assert "two of the hides offered have a file of the name side" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
