"""Files left from an earlier plan or cut: which they are, and that new ones never join them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import nest
from hides import record
from nest import plans
from nest.checker import check, verdict
from nest.cli import main
from nest.plans import Placement, Plan
from nest.report.earlier import left_in
from tests import small
from tests.places import ROOT

WEEK = str(ROOT / "shared/weeks/week-4.week.toml")


def laid(folder: Path, **moves: Placement) -> Plan:
    """The small plan with some parts moved, checked, in a folder with its hide."""
    folder.mkdir(exist_ok=True)
    record.write(small.hide(), folder / "slate.hide.json")
    hide = record.read(folder / "slate.hide.json")
    plan = small.plan(hide, **moves)
    assert check(plan, hide) == ()
    plan = replace(plan, check=verdict(()))
    (folder / "week.plan.json").write_text(plans.text_of(plan))
    return plan


def cut(plan: Path, machine: Path, out: Path, *options: str) -> int:
    given = ["cut", str(plan / "week.plan.json"), "--machine", str(machine), "--out", str(out)]
    return main([*given, *options])


def profile(folder: Path, *bed: float) -> Path:
    """A laser that writes drawings, with a bed of that size in mm."""
    path = folder / "ours.machine.toml"
    path.write_text(f'tool = "laser"\nbed = {list(bed)}\nkerf = 0.2\nformats = ["svg", "hpgl"]\n')
    return path


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


SMALL, LARGE = (330.0, 300.0), (600.0, 400.0)  # mm; on these beds the plan takes two set-ups, one


def test_a_set_up_left_from_an_earlier_cut_is_refused_and_named(tmp_path, capsys) -> None:
    """Two set-ups, then one on a larger bed of the same name: number 2 is of the older cut."""
    out = tmp_path / "out"
    laid(tmp_path / "now")
    assert cut(tmp_path / "now", profile(tmp_path, *SMALL), out) == 0
    old = {path.name: path.read_bytes() for path in out.iterdir()}
    assert set(old) == {"week.ours.1.svg", "week.ours.2.svg", "week.ours.setups.pdf"}
    machine = profile(tmp_path, *LARGE)
    for name in ("week.ours.1.svg", "week.ours.setups.pdf"):
        (out / name).unlink()  # were they there, they would be told first
    assert cut(tmp_path / "now", machine, out) == 2
    told = capsys.readouterr().err
    assert "week.ours.2.svg: of an earlier plan or cut" in told
    assert f"set them aside in {out / 'earlier-1'} with --force" in told
    assert names(out) == ["week.ours.2.svg"]


def test_with_force_the_earlier_set_is_set_aside_whole(tmp_path, capsys) -> None:
    """What is replaced goes with what is left over: nothing is lost, and nothing is mixed."""
    out = tmp_path / "out"
    laid(tmp_path / "now")
    assert cut(tmp_path / "now", profile(tmp_path, *SMALL), out) == 0
    old = {path.name: path.read_bytes() for path in out.iterdir()}
    capsys.readouterr()
    machine = profile(tmp_path, *LARGE)
    assert cut(tmp_path / "now", machine, out, "--force", "--json") == 0
    told = json.loads(capsys.readouterr().out)["earlier"]
    assert told == [f"week.ours.2.svg of an earlier plan or cut: set aside in {out / 'earlier-1'}"]
    assert names(out) == ["earlier-1", "week.ours.1.svg", "week.ours.setups.pdf"]
    assert {path.name: path.read_bytes() for path in (out / "earlier-1").iterdir()} == old
    assert cut(tmp_path / "now", machine, out, "--force") == 0  # the same again leaves nothing over
    assert names(out) == ["earlier-1", "week.ours.1.svg", "week.ours.setups.pdf"]


def test_a_cut_never_lies_beside_papers_of_another_plan(tmp_path, capsys) -> None:
    """Templates of the older plan: they bear its number, the new plan has another."""
    out = tmp_path / "out"
    laid(tmp_path / "old")
    paper = ["--paper", "a4", "--out", str(out)]
    assert main(["cut", str(tmp_path / "old/week.plan.json"), *paper]) == 0
    laid(tmp_path / "now", skinner_1_loop=Placement("skinner-1/loop", 0.0, 332.0, 300.0))
    machine = profile(tmp_path, *LARGE)
    assert cut(tmp_path / "now", machine, out) == 2
    assert "week.placing.pdf, week.templates.pdf: of an earlier" in capsys.readouterr().err
    assert names(out) == ["week.placing.pdf", "week.templates.pdf"]
    assert cut(tmp_path / "old", machine, out) == 0  # of one plan they may lie together
    assert "week.placing.pdf" in names(out)


def test_a_new_plan_names_what_was_cut_from_the_old_one(tmp_path, capsys) -> None:
    """Before the search without force: one of 3000 s would time out here if it came first."""
    out = tmp_path / "out"
    assert main(["plan", WEEK, "--effort", "0.01", "--out", str(out)]) == 0
    plan = str(out / "week-4.plan.json")
    options = ["--machine", "laser-1300", "--out", str(out)]
    assert main(["cut", plan, *options]) == 0
    made = names(out)
    again = ["plan", WEEK, "--effort", "0.01", "--out", str(out), "--force"]
    assert main(again) == 0
    assert names(out) == made  # the same plan once more: its set-ups still belong
    capsys.readouterr()
    for path in out.glob("week-4.[cfdp][uieal]*"):  # all but the cut files
        path.unlink()
    assert names(out) == ["week-4.laser-1300.1.dxf", "week-4.laser-1300.setups.pdf"]
    assert main(["plan", WEEK, "--seconds", "3000", "--out", str(out)]) == 2
    left = "week-4.laser-1300.1.dxf, week-4.laser-1300.setups.pdf"
    assert f"{left}: of an earlier plan" in capsys.readouterr().err
    assert main([*again, "--seed", "5"]) == 0
    assert f"earlier: {left} of an earlier plan" in capsys.readouterr().out
    assert names(out / "earlier-1") == [path for path in made if "laser" in path]
    assert "week-4.plan.json" in names(out)


def test_a_set_up_made_anew_by_its_marks_leaves_the_others(tmp_path) -> None:
    """Number 2 was laid otherwise: its drawing in another format is old, number 1 is not."""
    plan = laid(tmp_path)
    machine = nest.read_machine(profile(tmp_path, *SMALL))
    hide = record.read(tmp_path / "slate.hide.json")
    whole = nest.cut(plan, hide, machine, formats=["svg", "hpgl"])
    nest.save(nest.files(whole, "week"), tmp_path)
    at = machine.counted(whole.setups[1].to_bed.on([(m.x, m.y) for m in whole.setups[1].marks]))
    moved = nest.cut(plan, hide, machine, formats=["svg"], marked={2: [tuple(p) for p in at]})
    made = nest.files(moved, "week")
    assert set(made) == {"week.ours.2.svg", "week.ours.setup-2.pdf"}
    number = plans.number_of(plan)
    assert nest.earlier(tmp_path, "week", [moved], made) == (f"week.ours.2.{number}.plt",)
    nest.save(made, tmp_path, force=True)
    assert nest.earlier(tmp_path, "week", [whole], nest.files(whole, "week")) == (
        "week.ours.setup-2.pdf",
    )


@pytest.mark.parametrize(
    "name",
    [
        "week.week.toml",
        "week.notes.txt",
        "week.drawing.svg",
        "weekend.plan.json",
        "week-4.ours.1.svg",
        "week.compare.pdf",
    ],
)
def test_what_is_no_file_of_a_plan_of_that_name_is_left_alone(name, tmp_path) -> None:
    (tmp_path / name).write_text("mine")
    (tmp_path / "week.birch.plan.json").write_text("older")
    assert left_in(tmp_path, "week") == ("week.birch.plan.json",)
