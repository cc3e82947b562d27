"""Whole plans: checked, repeatable, and honest about what does not fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from hides import record
from hides.thickness import Need
from nest.check import check
from nest.errors import NoPlan
from nest.place import solve
from nest.plan import read as read_plan
from nest.plan import write as write_plan
from nest.planning import compare_hides, plan_week
from nest.week import Job, job_of
from nest.week import read as read_week

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def job() -> Job:
    """The sample week of four sheaths."""
    return job_of(read_week(ROOT / "shared/weeks/week-4.week.toml"))


@pytest.fixture(scope="module")
def birch():
    return record.read(ROOT / "shared/hides/birch.hide.json")


def test_the_small_week_is_planned_checked_and_the_same_again(job, birch, tmp_path) -> None:
    """Same seed and effort: the same file, byte for byte; and it passes the judge as read."""
    for name in ("a", "b"):
        planned = plan_week(job, birch, effort=0.02)
        write_plan(planned.plan, tmp_path / f"{name}.plan.json")
    assert (tmp_path / "a.plan.json").read_bytes() == (tmp_path / "b.plan.json").read_bytes()
    plan = read_plan(tmp_path / "a.plan.json")
    assert check(plan, birch) == ()
    assert plan.check.passed
    assert planned.figures.numbers["used_area"] >= planned.bound.used_area


@pytest.mark.parametrize("name", ["12", "30"])
def test_the_larger_weeks_find_a_valid_plan(name, birch) -> None:
    """36 and 90 parts: every part placed, and no finding."""
    job = job_of(read_week(ROOT / f"shared/weeks/week-{name}.week.toml"))
    planned = plan_week(job, birch, effort=0.02)
    assert len(planned.plan.placements) == len(job.parts)
    assert check(planned.plan, birch) == ()


@pytest.mark.parametrize("keep", ["butt", "neck", "belly", "tail"])
def test_parts_gather_away_from_the_end_that_is_kept(keep, job, birch) -> None:
    """More search never reaches farther towards the kept end."""
    kept = replace(job, keep=keep)
    short, longer = (solve.place(kept, birch, effort=e) for e in (0.002, 0.02))
    assert short.valid
    assert longer.reach <= short.reach + 1e-6


def test_thickness_that_the_hide_nowhere_has_is_said(job, birch) -> None:
    """5 mm leather is asked of a 3 mm side."""
    need = Need(5.0, 5.4)
    kits = tuple(
        replace(kit, parts=tuple(replace(w, need=need) for w in kit.parts)) for kit in job.kits
    )
    with pytest.raises(NoPlan, match=r"5 to 5\.4 mm"):
        plan_week(replace(job, kits=kits), birch, effort=0.02)


def many(job: Job, times: int) -> Job:
    """The same kits again and again, under ids of their own."""
    kits = tuple(
        replace(
            kit,
            id=f"{kit.id}x{n}",
            parts=tuple(
                replace(w, id=f"{kit.id}x{n}/{w.part.kind}", kit=f"{kit.id}x{n}") for w in kit.parts
            ),
        )
        for n in range(times)
        for kit in job.kits
    )
    return replace(job, kits=kits)


def test_a_week_too_large_says_what_fits_and_plans_it_when_asked(job) -> None:
    """40 sheaths on alder, which has little leather of that thickness."""
    alder = record.read(ROOT / "shared/hides/alder.hide.json")
    large = many(job, 10)
    with pytest.raises(NoPlan, match=r"of 40 sheaths fit on Alder; no room for"):
        plan_week(large, alder, effort=0.01)
    planned = plan_week(large, alder, effort=0.01, partial=True)
    left = set(planned.plan.left_out)
    assert left
    assert {p.id.split("/")[0] for p in planned.plan.placements} == {
        kit.id for kit in large.kits if kit.id not in left
    }
    assert check(planned.plan, alder) == ()


def test_compare_plans_the_same_week_on_each_hide(job, birch) -> None:
    """Two hides, two checked plans, in the order asked."""
    rowan = record.read(ROOT / "shared/hides/rowan.hide.json")
    tried = compare_hides(job, [rowan, birch], effort=0.01)
    assert [t.hide.name for t in tried] == [rowan.name, birch.name]
    assert all(check(t.plan, t.hide) == () for t in tried)


def test_stopping_at_once_keeps_a_checked_plan(job, birch) -> None:
    """What Ctrl-C does: the best plan so far, still judged."""
    planned = plan_week(job, birch, seconds=60, stop=lambda: True)
    assert check(planned.plan, birch) == ()
