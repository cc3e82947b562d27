"""A week that is begun: what is cut stays where it lay, counts as it should, and is said."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import shapely

from hides import record
from hides.errors import InputError
from hides.flaws import Flaw
from nest.assign.pins import refuse_pins
from nest.checker import check
from nest.job import Job, Kit, Wanted
from nest.planning import plan_hides, plan_week
from nest.plans import Plan, labels_of, placed_outline, text_of
from nest.plans import read as read_plan
from nest.resume import begun
from nest.week import job_of
from nest.week import read as read_week
from tests import small
from tests.places import ROOT

CUT = ["A1", "A1W", "B1"]


@pytest.fixture(scope="module")
def job() -> Job:
    """The sample week of four sheaths: a heron (A), two mallows (B), a third knife (C)."""
    return job_of(read_week(ROOT / "shared/weeks/week-4.week.toml"))


@pytest.fixture(scope="module")
def birch():
    return record.read(ROOT / "shared/hides/birch.hide.json")


@pytest.fixture(scope="module")
def first(job, birch) -> Plan:
    return plan_week(job, birch, effort=0.02).plan


def with_one_more(job: Job, like: str, name: str) -> Job:
    """The week with a sheath added to its end."""
    kit = next(kit for kit in job.kits if kit.id == like)
    parts = tuple(replace(w, id=f"{name}/{w.part.kind}", kit=name) for w in kit.parts)
    return replace(job, kits=(*job.kits, Kit(name, kit.name, parts)))


def narrower(wanted: Wanted) -> Wanted:
    """The same part a little smaller, its faces and marks with it."""

    def shrunk(points):
        return points * 0.98

    part = wanted.part
    smaller = replace(
        part,
        outline=small.outline(shrunk(part.outline.points)),
        regions=tuple(
            replace(r, outline=small.outline(shrunk(r.outline.points))) for r in part.regions
        ),
        marks=tuple(replace(mark, points=shrunk(mark.points)) for mark in part.marks),
    )
    return replace(wanted, part=smaller)


def by_id(placements):
    return {placement.id: placement for placement in placements}


def test_a_sheath_is_added_round_what_is_cut(job, birch, first, tmp_path) -> None:
    """Cut parts lie to the last digit where they lay; the others and one more keep the gap."""
    more = with_one_more(job, "mallow-1", "mallow-3")
    planned = plan_week(begun(more, first, CUT, [birch]), birch, effort=0.02)
    plan = planned.plan
    lay = by_id(first.placements)
    assert {p.id for p in plan.cut} == {labels_of(first)[label].id for label in CUT}
    assert all(lay[p.id] == p for p in plan.cut)
    assert {p.id for p in plan.lying} == {wanted.id for wanted in more.parts}
    gone = shapely.union_all([placed_outline(plan, p).polygon for p in plan.cut])
    left = [placed_outline(plan, p).polygon for p in plan.placements]
    assert min(float(shapely.distance(shape, gone)) for shape in left) >= plan.gap - 0.01
    (tmp_path / "a.plan.json").write_text(text_of(plan))
    again = read_plan(tmp_path / "a.plan.json")
    assert (again.cut, again.remarks) == (plan.cut, plan.remarks)
    assert check(again, birch) == ()


def test_what_was_cut_before_stays_cut_when_more_is(job, birch, first) -> None:
    """The second plan knows what the first one's cutting took; its own letters are asked."""
    second = plan_week(begun(job, first, CUT, [birch]), birch, effort=0.02).plan
    third = begun(job, second, ["B2"], [birch])
    assert third.cut == {"heron-1/body", "heron-1/welt", "mallow-1/body", "mallow-2/body"}
    assert third.remarks == ()
    lay = by_id(first.placements)
    assert all((pin.x, pin.y) == (lay[pin.part].x, lay[pin.part].y) for pin in third.pins
               if pin.part != "mallow-2/body")  # fmt: skip


def test_a_kit_that_is_partly_cut_is_finished(job, birch, first) -> None:
    """Of the heron the loop is left to be cut, of the mallow welt and loop."""
    asked = begun(job, first, CUT, [birch])
    left = {w.id for w in asked.to_cut if w.kit in ("heron-1", "mallow-1")}
    assert left == {"heron-1/loop", "mallow-1/welt", "mallow-1/loop"}


def test_a_knife_that_left_the_week_is_taken_leather_and_said(job, birch, first) -> None:
    """Its ground is gone, it counts for nothing, and no part is missing."""
    fewer = replace(job, kits=tuple(kit for kit in job.kits if kit.id != "heron-1"))
    asked = begun(fewer, first, CUT, [birch])
    assert any("A1, A1W of the earlier plan (heron-1) was cut, and the week asks for no heron" in r
               for r in asked.remarks)  # fmt: skip
    assert {w.id for w in asked.to_cut} == {w.id for w in fewer.parts} - {"mallow-1/body"}
    plan = plan_week(asked, birch, effort=0.02).plan
    assert {"heron-1 cut/body", "heron-1 cut/welt"} <= {p.id for p in plan.cut}
    told = "Cut already, and not to be cut again: A1 (was B1), C1 (was A1), C1W (was A1W)."
    assert plan.warnings == (*asked.remarks, told)
    back = begun(job, plan, [], [birch])  # the sheath is ordered again: now it counts
    assert back.cut == {"heron-1/body", "heron-1/welt", "mallow-1/body"}
    assert back.remarks == ()


def test_another_shape_is_planned_anew_and_the_cut_one_is_gone(job, birch, first) -> None:
    """A body cut too large is no body of the week's; its welt is, and all of it is said."""
    kits = tuple(
        replace(kit, parts=(narrower(kit.parts[0]), *kit.parts[1:])) if kit.id == "heron-1" else kit
        for kit in job.kits
    )
    asked = begun(replace(job, kits=kits), first, CUT, [birch])
    assert asked.cut == {"heron-1 cut/body", "heron-1/welt", "mallow-1/body"}
    assert any("another shape" in said for said in asked.remarks)
    assert "heron-1/body" in {w.id for w in asked.to_cut}


def test_kits_that_were_numbered_anew_are_told_by_their_shape(job, birch, first) -> None:
    """A heron of another shape comes first in the week: what is cut counts for the second."""
    old = next(kit for kit in job.kits if kit.id == "heron-1")
    new = replace(old, parts=tuple(narrower(w) for w in old.parts))
    moved = replace(
        old,
        id="heron-2",
        parts=tuple(replace(w, id=f"heron-2/{w.part.kind}", kit="heron-2") for w in old.parts),
    )
    kits = (new, moved, *(kit for kit in job.kits if kit.id != "heron-1"))
    asked = begun(replace(job, kits=kits), first, ["A1"], [birch])
    assert asked.cut == {"heron-2/body"}
    assert asked.remarks == ()
    plan = plan_week(asked, birch, effort=0.02).plan
    assert plan.warnings == ("Cut already, and not to be cut again: B1 (was A1).",)


def test_what_another_week_had_cut_counts_for_no_sheath_of_this_one(job, birch, first) -> None:
    """The same knife next week is another customer's."""
    asked = begun(replace(job, name="Week 5"), first, ["A1"], [birch])
    assert asked.cut == {"heron-1 cut/body"}
    assert len(asked.to_cut) == len(job.parts)
    assert any(f"was cut for {job.name}" in said for said in asked.remarks)


def test_leather_asked_for_otherwise_since_is_said(job, birch, first) -> None:
    def thicker(w: Wanted) -> Wanted:
        return replace(w, need=replace(w.need, low=w.need.low + 0.2, high=w.need.high + 0.2))

    kits = tuple(replace(kit, parts=tuple(map(thicker, kit.parts))) for kit in job.kits)
    asked = begun(replace(job, kits=kits), first, ["A1"], [birch])
    assert asked.cut == {"heron-1/body"}
    assert any("counts as made: gauge it" in said for said in asked.remarks)


def test_a_record_changed_since_is_used_and_said(job, birch, first) -> None:
    """A flaw found while cutting is drawn in, and the rest planned clear of it."""
    flaw = Flaw("hole", "through", shapely.Point(250.0, 400.0).buffer(20.0))
    changed = replace(birch, flaws=(*birch.flaws, flaw), sha256="another")
    asked = begun(job, first, CUT, [changed])
    assert any("has changed since parts were cut" in said for said in asked.remarks)
    plan = plan_week(asked, changed, effort=0.02).plan
    assert check(plan, changed) == ()


def test_a_cut_part_off_the_leather_is_no_plan_of_this_hide(job, birch, first) -> None:
    """The record in another frame: what is cut would lie over the edge."""
    moved = replace(birch, outline=birch.outline.placed(0.0, -600.0, 0.0))
    with pytest.raises(InputError, match="was not cut from Birch as this record shows it"):
        refuse_pins(begun(job, first, CUT, [moved]), [moved])


def test_what_is_cut_of_several_hides_stays_on_each(birch) -> None:
    """Two plans, each with letters of its own; a part is finished from its own hide."""
    rowan = record.read(ROOT / "shared/hides/rowan.hide.json")
    job = job_of(read_week(ROOT / "shared/weeks/week-4.week.toml"))
    one, two = (
        plan_week(job.of([kit]), hide, effort=0.01).plan
        for kit, hide in zip(job.kits, (birch, rowan), strict=False)
    )
    asked = begun(begun(job, one, ["A1"], [birch, rowan]), two, ["A1"], [birch, rowan])
    plans = plan_hides(asked, [birch, rowan], effort=0.02)
    assert [p.plan.hide_name for p in plans] == ["Birch", "Rowan"]
    for planned, kit in zip(plans, job.kits, strict=False):
        assert [p.id for p in planned.plan.cut] == [kit.parts[0].id]
        assert {w.id for w in kit.parts} <= {p.id for p in planned.plan.lying}
        assert check(planned.plan, planned.hide) == ()


@pytest.mark.parametrize(
    ("labels", "says"),
    [
        (["A9"], "places no part 'A9'. Write it as the cut plan does, such as A1"),
        (["a1"], "such as A1"),
        ([], "no part of the plan of"),
    ],
)
def test_letters_that_the_plan_has_not_are_refused(job, birch, first, labels, says) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        begun(job, first, labels, [birch])


def test_a_hide_that_is_not_offered_and_a_second_plan_of_one_are_refused(job, birch, first) -> None:
    rowan = record.read(ROOT / "shared/hides/rowan.hide.json")
    with pytest.raises(InputError, match="cut from Birch, which is not offered"):
        begun(job, first, CUT, [rowan])
    with pytest.raises(InputError, match="two plans of Birch"):
        begun(begun(job, first, CUT, [birch]), first, ["A1L"], [birch])


def test_a_week_that_is_all_cut_leaves_nothing_to_plan(job, birch, first) -> None:
    with pytest.raises(InputError, match="nothing is left to plan"):
        begun(job, first, list(labels_of(first)), [birch])
