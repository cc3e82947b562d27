"""Whole plans: checked, repeatable, and honest about what does not fit."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from itertools import combinations

import numpy as np
import pytest

from hides import record
from hides.errors import InputError
from hides.flaws import bars
from hides.hide import Price
from hides.thickness import Need
from nest.assign.trial import TRIAL
from nest.checker import check
from nest.errors import NoPlan
from nest.job import Budget, Job, Kit, Pin, Wanted
from nest.place import solve
from nest.planning import compare_hides, plan_hides, plan_week
from nest.plans import placed_outline, text_of
from nest.plans import read as read_plan
from nest.report.cutplan import picture
from nest.report.lists import figures_text
from nest.week import job_of
from nest.week import read as read_week
from tests import small
from tests.places import ROOT


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
        (tmp_path / f"{name}.plan.json").write_text(text_of(planned.plan))
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
    short, longer = (solve.place(kept, birch, Budget(effort=e)) for e in (0.002, 0.02))
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


@pytest.mark.parametrize("partial", [False, True])
def test_a_week_too_large_takes_no_more_than_its_budget(job, partial, monkeypatch) -> None:
    """One trial may begin before the budget ends, and a round of each worker may end after it."""
    alder = record.read(ROOT / "shared/hides/alder.hide.json")
    budget = Budget(effort=0.1)
    monkeypatch.setattr(Job, "budget", lambda job, seconds, effort: budget)
    try:
        plan_week(many(job, 10), alder, effort=0.1, partial=partial)
    except NoPlan:
        assert not partial
    assert 0.0 < budget.used <= 1.0 + TRIAL + 0.1


def test_compare_plans_the_same_week_on_each_hide(job, birch) -> None:
    """Two hides, two checked plans, in the order asked."""
    rowan = record.read(ROOT / "shared/hides/rowan.hide.json")
    tried, useless = compare_hides(job, [rowan, birch], effort=0.01)
    assert not useless
    assert [t.hide.name for t in tried] == [rowan.name, birch.name]
    assert all(check(t.plan, t.hide) == () for t in tried)


def test_a_hide_whose_thickness_nobody_knows_is_refused_unless_it_is_let_count(job, birch) -> None:
    """With what the week asks for, and how to mend it; let count, the plan says so for good."""
    bare = replace(birch, readings=(), zones=())
    with pytest.raises(InputError, match="nobody has said how thick Birch is, and the week") as no:
        plan_week(job, bare, effort=0.01)
    assert "--unknown-thickness" in str(no.value)
    planned = plan_week(job.taking_unknown, bare, effort=0.01)
    assert not planned.plan.thickness_known
    assert check(planned.plan, bare) == ()
    known = plan_week(job.taking_unknown, birch, effort=0.01).plan  # there it makes no difference
    assert text_of(known) == text_of(plan_week(job, birch, effort=0.01).plan)
    assert known.thickness_known


def test_a_plan_says_that_odd_readings_do_not_count_until_they_are_confirmed(job, birch) -> None:
    """In its file and on its page, with the number of them; of sound ones no word."""
    first, *others = birch.readings
    odd = replace(first, thickness=first.thickness + 1.5)
    said = (
        f"1 of {len(birch.readings)} readings of Birch are odd and do not count until they are "
        "confirmed (croupon hide check)."
    )
    planned = plan_week(job, replace(birch, readings=(odd, *others)), effort=0.01)
    assert said in planned.plan.remarks
    assert said in json.loads(text_of(planned.plan))["remarks"]
    words = " ".join(" ".join(text.text.split()) for text in picture(planned).words)
    assert said in words
    sound = plan_week(job, birch, effort=0.01)
    assert not any("are odd" in words for words in sound.plan.remarks)


def test_a_hide_whose_thickness_nobody_knows_is_named_and_others_are_compared(job, birch) -> None:
    """It is of no use; where none is, that is an error."""
    bare = replace(birch, name="Bare", readings=(), zones=())
    tried, useless = compare_hides(job, [bare, birch], effort=0.01)
    assert [t.hide.name for t in tried] == ["Birch"]
    assert list(useless) == ["Bare"]
    with pytest.raises(InputError, match="nobody has said how thick Bare is"):
        compare_hides(job, [bare], effort=0.01)


def test_hides_without_a_price_are_chosen_by_area_and_that_is_said(job, birch) -> None:
    """On the plan itself, which its pages and lists repeat; of one hide there is no choice."""
    dear = replace(birch, name="Dear", price=None)
    (planned,) = plan_hides(job, [dear, birch], effort=0.01)
    said = "The hides to cut were chosen by area, not by cost, as Dear has no price."
    assert planned.plan.remarks == (said,)
    assert said in figures_text(planned.plan, planned.figures)
    assert plan_week(job, dear, effort=0.01).plan.remarks == ()


def test_stopping_at_once_keeps_a_checked_plan(job, birch) -> None:
    """What Ctrl-C does: the best plan so far, still judged."""
    planned = plan_week(job, birch, seconds=60, stop=lambda: True)
    assert check(planned.plan, birch) == ()


# --- which kits, on which hides --------------------------------------------------------------

HIGH = 96.0  # mm; two such boxes don't stand above each other on a bend of 100 mm


def box_kit(name: str, wide: float, value: float = 0.0, due: int | None = None) -> Kit:
    """A kit of one box."""
    points = [(0, 0), (wide, 0), (wide, HIGH), (0, HIGH)]
    part = small.part("body", points, {"back": (0, 0, wide, HIGH)}, window=5.0)
    day = date(2027, 4, due) if due else None
    return Kit(name, name, (Wanted(f"{name}/body", name, part, small.NEED),), day, value)


def bend(name: str, length: float, price: float = 1.0, **changes):
    """A bend of 100 mm by its length, at a price per dm²."""
    about = {
        "name": name,
        "outline": small.outline([(0, 0), (length, 0), (length, 100), (0, 100)]),
        "holes": (),
        "flaws": (),
        "zones": (small.EVEN,),
        "price": Price(price, "EUR", "dm2"),
    }
    return small.hide(**(about | changes))


def job_of_boxes(*kits: Kit, **changes) -> Job:
    return replace(Job("Boxes", kits, keep="neck", gap=0.0, edge_margin=0.0), **changes)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_kits_of_greatest_value_are_chosen(seed: int) -> None:
    """Boxes side by side on a bend are a knapsack: no set that fits is worth more."""
    random = np.random.default_rng(seed)
    kits = tuple(
        box_kit(f"k-{n}", float(wide), float(value))
        for n, (wide, value) in enumerate(
            zip(random.integers(40, 150, 6), random.integers(10, 99, 6), strict=True)
        )
    )
    total = {kit.id: kit.parts[0].part.outline.area / HIGH for kit in kits}
    sets = [s for n in range(7) for s in combinations(kits, n)]
    widths = [sum(total[kit.id] for kit in s) for s in sets]
    length = 300.0
    while any(length - 4 < wide <= length + 1 for wide in widths):
        length += 1.0  # no set so near to the length that a hair decides
    best = max(
        sum(kit.value for kit in s) for s, wide in zip(sets, widths, strict=True) if wide <= length
    )
    planned = plan_week(job_of_boxes(*kits), bend("Slate", length), effort=0.02, partial=True)
    placed = {p.id.split("/")[0] for p in planned.plan.placements}
    assert sum(kit.value for kit in kits if kit.id in placed) == best
    assert check(planned.plan, planned.hide) == ()


@pytest.mark.parametrize(
    ("prefer", "chosen"),
    [
        ("value", {"c"}),  # worth more than a and b together
        ("due", {"a", "b"}),  # both due before c
    ],
)
def test_value_or_the_earliest_due_dates_go_first(prefer: str, chosen: set[str]) -> None:
    """200 mm: room for the two early boxes or for the dear one."""
    kits = (box_kit("c", 190, 99, due=20), box_kit("a", 80, 10, due=14), box_kit("b", 80, 10, 15))
    job = job_of_boxes(*kits, prefer=prefer)
    planned = plan_week(job, bend("Slate", 200.0), effort=0.01, partial=True)
    assert {p.id.split("/")[0] for p in planned.plan.placements} == chosen


def test_one_hide_that_holds_all_is_the_cheapest_such() -> None:
    """Three could hold it; the dear and the huge are left alone, and so is the short one."""
    hides = [bend("Dear", 400, 3.0), bend("Short", 150, 0.5), bend("Fair", 400, 1.0)]
    job = job_of_boxes(box_kit("a", 120), box_kit("b", 120))
    (planned,) = plan_hides(job, hides, effort=0.02)
    assert planned.hide.name == "Fair"


def test_kits_are_spread_over_hides_when_one_does_not_hold_all() -> None:
    """By hand: 150 and 140 only go together on 300 mm, 110 and 80 on 200 mm."""
    hides = [bend("Long", 300), bend("Short", 200)]
    kits = [box_kit(f"k-{wide}", wide) for wide in (150, 140, 110, 80)]
    plans = plan_hides(job_of_boxes(*kits), hides, effort=0.02)
    found = {p.hide.name: {kit.split("/")[0] for kit in p.plan.by_id} for p in plans}
    assert found == {"Long": {"k-150", "k-140"}, "Short": {"k-110", "k-80"}}
    assert all(check(p.plan, p.hide) == () and not p.plan.left_out for p in plans)


def test_a_set_that_shapes_refuse_is_tried_otherwise() -> None:
    """A hole in the middle of the cheap bend leaves its area, but no room for 160 mm at once."""
    hole = small.outline([(145, 45), (155, 45), (155, 55), (145, 55)])
    hides = [bend("Holed", 300, holes=(hole,)), bend("Plain", 284, 9.0)]
    kits = [box_kit(f"k-{wide}", wide) for wide in (160, 100, 130, 120)]
    plans = plan_hides(job_of_boxes(*kits), hides, effort=0.02)
    found = {p.hide.name: {wanted.kit for wanted in p.plan.expected} for p in plans}
    assert found == {"Holed": {"k-130", "k-120"}, "Plain": {"k-160", "k-100"}}
    assert all(check(p.plan, p.hide) == () for p in plans)


def test_a_week_for_two_hides_is_whole_checked_and_the_same_again(job, birch) -> None:
    """48 sheaths on two sides: each kit once, the same plans on every run."""
    rowan = record.read(ROOT / "shared/hides/rowan.hide.json")
    large = many(job, 12)
    first, second = (plan_hides(large, [birch, rowan], effort=0.01) for _ in range(2))
    assert [p.plan.placements for p in first] == [p.plan.placements for p in second]
    assert len(first) == 2
    placed = [placement.id for p in first for placement in p.plan.placements]
    assert sorted(placed) == sorted(wanted.id for wanted in large.parts)
    assert all(check(p.plan, p.hide) == () for p in first)


def test_what_no_hide_has_room_for_is_left_out_of_every_plan() -> None:
    """Two hides for one box each, and a third box: the least worth stays out."""
    hides = [bend("One", 130), bend("Two", 130)]
    job = job_of_boxes(box_kit("a", 120, 5), box_kit("b", 120, 9), box_kit("c", 120, 7))
    with pytest.raises(NoPlan, match=r"2 of 3 sheaths fit on One and Two; no room for a\."):
        plan_hides(job, hides, effort=0.01)
    plans = plan_hides(job, hides, effort=0.01, partial=True)
    assert [p.plan.left_out for p in plans] == [("a",), ("a",)]
    assert sorted(w.kit for p in plans for w in p.plan.expected) == ["b", "c"]


# --- what stays where it is ------------------------------------------------------------------


def test_a_pinned_part_stays_and_the_others_keep_clear_of_it() -> None:
    """In the middle of a bend, where the search would never have put it."""
    kits = [box_kit(name, 60) for name in "abc"]
    pin = Pin("b/body", 250.0, 50.0, 180.0)
    job = job_of_boxes(*kits, gap=2.0, pins=(pin,))
    planned = plan_week(job, bend("Slate", 400), effort=0.01)
    places = {p.id: p for p in planned.plan.placements}
    assert (places["b/body"].x, places["b/body"].y, places["b/body"].angle) == (250.0, 50.0, 180.0)
    assert places["a/body"].x < 250 > places["c/body"].x
    assert check(planned.plan, planned.hide) == ()


def test_a_week_of_pinned_parts_only_needs_no_search() -> None:
    job = job_of_boxes(box_kit("a", 60), pins=(Pin("a/body", 250.0, 50.0, 0.0),))
    planned = plan_week(job, bend("Slate", 400), effort=0.01)
    assert [p.x for p in planned.plan.placements] == [250.0]


def test_a_kit_is_cut_from_the_hide_it_is_pinned_to() -> None:
    """Though the other hide is cheaper and has room for all."""
    hides = [bend("Cheap", 400, 1.0), bend("Dear", 400, 5.0)]
    pins = (Pin("a/body", 250.0, 50.0, 0.0, "Dear"),)
    kits = [box_kit("a", 60), box_kit("b", 60)]
    (planned,) = plan_hides(job_of_boxes(*kits, pins=pins), hides, effort=0.01)
    assert planned.hide.name == "Dear"  # one hide that holds all comes before the cheaper two
    kits = [box_kit("a", 60), box_kit("b", 250), box_kit("c", 120)]
    plans = plan_hides(job_of_boxes(*kits, pins=pins), hides, effort=0.01)
    found = {p.hide.name: {wanted.kit for wanted in p.plan.expected} for p in plans}
    assert "a" in found["Dear"]
    assert set(found) == {"Cheap", "Dear"}


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ([Pin("a/body", 10.0, 50.0, 0.0, "Cheap")], "pin 1: a/body can't stay"),  # over the edge
        ([Pin("a/body", 99.0, 50.0, 90.0, "Cheap")], "off the line of least stretch"),
        (
            [Pin("a/body", 99.0, 50.0, 0.0, "Cheap"), Pin("b/body", 120.0, 50.0, 0.0, "Cheap")],
            "overlap",
        ),
        ([Pin("a/body", 99.0, 50.0, 0.0)], 'Add hide = "Cheap"'),
        ([Pin("a/body", 99.0, 50.0, 0.0, "Birch")], "pinned to Birch, which is not offered"),
    ],
)
def test_a_pin_that_can_not_be_kept_is_said(pins: list[Pin], says: str) -> None:
    """One message that names the pin, the rule and what to do."""
    job = job_of_boxes(box_kit("a", 60), box_kit("b", 60), pins=tuple(pins))
    with pytest.raises(InputError) as caught:
        plan_hides(job, [bend("Cheap", 400), bend("Dear", 400)], effort=0.01)
    assert says in str(caught.value)


def test_two_hides_of_one_name_are_refused() -> None:
    """Files and pins could not tell them apart."""
    with pytest.raises(InputError, match="two of the hides offered are named Slate"):
        plan_hides(job_of_boxes(box_kit("a", 60)), [bend("Slate", 400)] * 2, effort=0.01)


def test_a_wanted_strap_is_left_clean_beyond_the_frontier(job, birch, tmp_path) -> None:
    """1200 × 40 mm along the line of least stretch, clear of flaws, drawn in the plan's file."""
    planned = plan_week(replace(job, keep="neck", remnant=(1200.0, 40.0)), birch, effort=0.02)
    strap = planned.strap
    assert strap is not None
    assert planned.strap_is_beyond
    assert strap.area == pytest.approx(1200 * 40)
    assert birch.polygon.buffer(-job.edge_margin + 0.01).covers(strap)
    assert not any(bars(f, "strap") and f.shape.intersects(strap) for f in birch.flaws)
    (ax, ay), (bx, by) = strap.exterior.coords[:2]
    along = np.degrees(np.arctan2(by - ay, bx - ax))
    line = birch.stretch.direction(np.array([strap.centroid.coords[0]]))[0]
    assert abs((along - line + 90) % 180 - 90) <= 10.0
    (tmp_path / "a.plan.json").write_text(text_of(planned.plan))
    drawn = [remnant.polygon for remnant in read_plan(tmp_path / "a.plan.json").remnants]
    assert any(polygon.equals_exact(strap, 1e-3) or polygon.equals(strap) for polygon in drawn)


def test_parts_keep_the_gap_from_a_strap_beside_them() -> None:
    """300 × 96 mm are used for boxes; the strap of 90 mm leaves them the other end."""
    job = job_of_boxes(box_kit("a", 100), box_kit("b", 100), gap=3.0, remnant=(90.0, 90.0))
    planned = plan_week(job, bend("Slate", 300), effort=0.02)
    assert planned.strap is not None
    for placement in planned.plan.placements:
        part = placed_outline(planned.plan, placement).polygon
        assert part.distance(planned.strap) >= 3.0 - 0.01


def test_sheaths_come_before_the_strap() -> None:
    """No room for both: everything is cut, and no strap is promised."""
    job = job_of_boxes(box_kit("a", 140), box_kit("b", 140), remnant=(90.0, 40.0))
    planned = plan_week(job, bend("Slate", 300), effort=0.02)
    assert planned.strap is None
    assert len(planned.plan.placements) == 2


def test_a_sheath_too_large_for_the_hide_does_not_hide_what_fits() -> None:
    """320 mm on a bend of 300 whose area would hold it; it is left out at once."""
    tall = small.outline([(0, 0), (300, 0), (300, 100), (150, 180), (0, 100)])
    kits = [box_kit("big", 320, 99), *(box_kit(f"k-{n}", 30, 5) for n in range(10))]
    planned = plan_week(
        job_of_boxes(*kits), bend("Slate", 300, outline=tall), effort=0.02, partial=True
    )
    assert "big" in planned.plan.left_out
    assert len(planned.plan.placements) >= 8
