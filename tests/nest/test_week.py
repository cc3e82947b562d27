"""The week file: what it says, and one clear message for each way it can be wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from hides import record
from hides.errors import InputError
from nest import knife as knives
from nest import sheaths
from nest.job import Job, Pin
from nest.plans import Placement, Plan, Verdict, text_of
from nest.week import job_of, read
from tests.places import ROOT

KNIFE = f'knife = "{ROOT}/shared/knives/heron.knife.toml"'

PIN = "[[pin]]\nsheath = 'heron-1'\nkind = 'body'\nx = 300\ny = 200\nangle = 5\n"


def week(folder: Path, text: str) -> Path:
    path = folder / "test.week.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "sheaths", "parts"), [("4", 4, 12), ("12", 12, 36), ("30", 30, 86)]
)
def test_sample_weeks_want_what_they_are_named_for(name: str, sheaths: int, parts: int) -> None:
    """Every part has an id of its own; the four Osiers of week 30 carry the loop on the back."""
    job = job_of(read(ROOT / f"shared/weeks/week-{name}.week.toml"))
    assert (len(job.kits), len(job.parts)) == (sheaths, parts)
    assert len({wanted.id for wanted in job.parts}) == parts


def test_kits_of_one_knife_are_numbered_over_its_orders(tmp_path: Path) -> None:
    """Two orders of the same knife don't share ids, and the left hand is the mirror image."""
    text = f"[[sheath]]\n{KNIFE}\ncount = 2\n[[sheath]]\n{KNIFE}\nhand = 'left'\n"
    job = job_of(read(week(tmp_path, text)))
    assert [kit.id for kit in job.kits] == ["heron-1", "heron-2", "heron-3"]
    right, left = job.kits[0].parts[0].part, job.kits[2].parts[0].part
    assert left.outline.area == pytest.approx(right.outline.area, rel=1e-9)
    assert left.outline != right.outline


def test_leather_range_is_the_need_and_its_middle_the_pattern(tmp_path: Path) -> None:
    """3.0 to 3.4 is asked of the hide; the pattern is made for 3.2: smaller than one for 3.8."""
    thin = job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\nleather = [3.0, 3.4]\n")))
    need = thin.parts[0].need
    assert (need.low, need.high, need.may_split) == (3.0, 3.4, False)
    thick = job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\nleather = [3.6, 4.0]\n")))
    assert thin.parts[0].part.outline.area < thick.parts[0].part.outline.area


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = 'x'\n", "wants no sheath"),
        ("[[sheath]]\ncount = 1\n", "sheath 1, key 'knife'"),
        (f"[[sheath]]\n{KNIFE}\ncout = 2\n", "Did you mean 'count'?"),
        (f"[[sheath]]\n{KNIFE}\ncount = 0\n", "count must be 1 to 2000"),
        (f"[[sheath]]\n{KNIFE}\ncount = 1000000000\n", "1 to 2000"),
        ('[[sheath]]\nknife = "a\\u0000b"\n', "knife must be on one line"),
        (f"[[sheath]]\n{KNIFE}\n[[sheath]]\n{KNIFE}\ncount = -1\n", "sheath 2, key 'count'"),
        (f"[[sheath]]\n{KNIFE}\nleather = [3.5, 3.2]\n", "least first"),
        (f"[[sheath]]\n{KNIFE}\nleather = [nan, 3.2]\n", "leather must be"),
        (f"[[sheath]]\n{KNIFE}\nmay_split = 1\n", "may_split must be false or true"),
        (f"[[sheath]]\n{KNIFE}\ndue = 'soon'\n", "due must be a date"),
        (f"[[sheath]]\n{KNIFE}\nwelt = 400\n", "welt must be"),
        (f"[[sheath]]\n{KNIFE}\nhand = 'both'\n", "hand must be"),
        (f"gap = -1\n[[sheath]]\n{KNIFE}\n", "gap must be 0 to 50"),
        (f"keep = 'head'\n[[sheath]]\n{KNIFE}\n", "keep must be"),
        (f"seed = 1.5\n[[sheath]]\n{KNIFE}\n", "seed must be a whole number"),
        (f"seconds = 1\neffort = 1\n[[sheath]]\n{KNIFE}\n", "not both"),
        (f"hides = 'birch'\n[[sheath]]\n{KNIFE}\n", "list of file names"),
        ("[[sheath]\n", "not TOML"),
        ("[[sheath]]\nknife = 'none.knife.toml'\n", "no such file"),
        (f"[[sheath]]\n{KNIFE}\ncount = 700\n", "more than 2000 parts"),
    ],
)
def test_a_wrong_week_gets_one_message_with_file_and_place(
    tmp_path: Path, text: str, says: str
) -> None:
    """Each names the file at fault and says what is wrong."""
    with pytest.raises(InputError) as caught:
        job_of(read(week(tmp_path, text)))
    assert says in str(caught.value)
    assert ".toml" in str(caught.value)


def test_files_that_are_no_week_are_refused(tmp_path: Path) -> None:
    """Binary, missing and oversized files: refused before they are understood."""
    binary = tmp_path / "a.week.toml"
    binary.write_bytes(b"\xff\xfe\x00PNG")
    large = tmp_path / "b.week.toml"
    large.write_bytes(b"#" * 1_100_000)
    for path, says in ((binary, "UTF-8"), (tmp_path / "c.week.toml", "no such"), (large, "1 MB")):
        with pytest.raises(InputError, match=says):
            read(path)


def test_pins_remnant_and_preference_are_read(tmp_path: Path) -> None:
    """The strap's longer side comes first, whichever is written first."""
    text = f"remnant = [40, 1200]\nprefer = 'due'\n[[sheath]]\n{KNIFE}\n{PIN}hide = 'Birch'\n"
    job = job_of(read(week(tmp_path, text)))
    assert job.remnant == (1200.0, 40.0)
    assert job.prefer == "due"
    assert job.pins == (Pin("heron-1/body", 300.0, 200.0, 5.0, "Birch"),)
    assert job.of([]).pins == ()
    assert job.of(job.kits) == job


def planned(folder: Path, **changes) -> Job:
    """A week of one heron, planned on paper: its body lies at (300, 200), turned by 5 degrees."""
    job = job_of(read(week(folder, f"[[sheath]]\n{KNIFE}\n")))
    spots = [Placement(w.id, 5.0, 300.0 + 400 * n, 200.0) for n, w in enumerate(job.parts)]
    plan = replace(
        Plan.of(job, record.read(ROOT / "shared/hides/birch.hide.json"), spots),
        check=Verdict(True, 0, 0.01, 1),
        **changes,
    )
    (folder / "old.plan.json").write_text(text_of(plan))
    return job


def test_a_pin_names_a_part_by_its_letter_in_a_plan(tmp_path: Path) -> None:
    """It lies where it lies there, or where the pin says; the plan's hide is the pin's."""
    planned(tmp_path)
    pin = "[[pin]]\nplan = 'old.plan.json'\npart = 'A1W'\n"
    (held,) = job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\n{pin}"))).pins
    assert held == Pin("heron-1/welt", 700.0, 200.0, 5.0, "Birch")
    moved = f"[[sheath]]\n{KNIFE}\n{pin}y = 250\n"
    assert job_of(read(week(tmp_path, moved))).pins[0].y == 250.0


@pytest.mark.parametrize(
    ("sheath", "pin", "says"),
    [
        ("", "plan = 'old.plan.json'\npart = 'D1'\n", "places no part 'D1'"),
        ("", "plan = 'none.plan.json'\npart = 'A1'\n", "no such file"),
        ("", "plan = 'old.plan.json'\n", "part"),
        ("", "part = 'A1'\n", "plan"),
        ("", "plan = 'old.plan.json'\npart = 'A1'\nkind = 'body'\n", "not by both"),
        ("stitch = 7.0\n", "plan = 'old.plan.json'\npart = 'A1'\n", "another shape in that plan"),
    ],
)
def test_a_letter_that_can_not_be_meant_is_refused(tmp_path, sheath, pin, says) -> None:
    """The last one's sheath has changed since: its letter no longer names what lies there."""
    planned(tmp_path)
    with pytest.raises(InputError, match=says) as caught:
        job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\n{sheath}[[pin]]\n{pin}")))
    assert "pin 1" in str(caught.value)


@pytest.mark.parametrize(
    ("sheath", "prefer"),
    [
        ("value = 80\n", "value"),
        ("due = 2027-04-16\n", "due"),
        ("value = 80\ndue = 2027-04-16\n", "value"),
    ],
)
def test_value_is_preferred_where_values_are_given(
    tmp_path: Path, sheath: str, prefer: str
) -> None:
    """What the week tells of its sheaths says what counts when not all fit."""
    job = job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\n{sheath}")))
    assert job.prefer == prefer


def test_a_welt_of_its_own_thickness_asks_for_leather_of_its_own(tmp_path: Path) -> None:
    """Body and loop want the span, the welt what it was drawn for; may_split holds for all."""
    text = f"[[sheath]]\n{KNIFE}\nleather = '8-9 oz'\nwelt_thickness = 4.0\nmay_split = true\n"
    needs = {w.part.kind: w.need for w in job_of(read(week(tmp_path, text))).parts}
    assert (needs["body"].low, needs["body"].high) == pytest.approx((3.175, 3.571875))
    assert (needs["welt"].low, needs["welt"].high) == pytest.approx((3.8, 4.2))
    assert needs["body"].may_split
    assert needs["welt"].may_split


def test_without_a_span_the_knife_s_own_leather_counts(tmp_path: Path) -> None:
    """3.4 mm give or take 0.2, and the other keys are heard all the same."""
    (need, *_) = (
        w.need
        for w in job_of(read(week(tmp_path, f"[[sheath]]\n{KNIFE}\nmay_split = true\n"))).parts
    )
    assert (need.low, need.high, need.may_split) == (pytest.approx(3.2), pytest.approx(3.6), True)


BARE = """name = "Bare"
outline = "{root}/shared/knives/bittern.svg"
length = 390.0
tip = [390, 21]
butt = [0, 45]
[sheath]
belt = 50.0
throat = 0.45
"""


def test_a_week_keeps_what_a_sheath_warns_of(tmp_path: Path) -> None:
    """One sentence a knife on the plan, whatever the count; all of them with the job."""
    knife = tmp_path / "bare.knife.toml"
    knife.write_text(BARE.format(root=ROOT))
    text = f"[[sheath]]\nknife = 'bare.knife.toml'\ncount = 2\n[[sheath]]\n{KNIFE}\n"
    job = job_of(read(week(tmp_path, text)))
    hide = record.read(ROOT / "shared/hides/birch.hide.json")
    (caution,) = Plan.of(job, hide, ()).warnings
    assert caution == (
        "Bare: nothing but friction keeps the knife in, so sew on a strap; guessed, so measure "
        "before you cut: edge, guard, blade_thickness, handle_thickness."
    )
    made = sheaths.make(knives.read(knife))
    assert {f"Bare: {words}" for words in (*made.guesses, *made.warnings)} <= set(job.doubts)
    assert "Bare: The key throat is now called handle_covered: write that." in job.doubts
    assert len(set(job.doubts)) == len(job.doubts)
    assert Plan.of(job, hide, (), left_out=("bare-1", "bare-2")).warnings == ()


def test_only_one_sample_sheath_leaves_the_knife_loose() -> None:
    """A sample that nothing holds is a poor sample; one shows what is said of it."""
    job = job_of(read(ROOT / "shared/weeks/week-12.week.toml"))
    assert {kit.name for kit in job.kits if kit.caution} == {"Bittern"}
