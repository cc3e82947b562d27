"""A cutter's bed: parts keep to the windows that it takes at once, from profile to set-ups."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import box

from hides import record
from hides.errors import InputError
from hides.hide import Hide
from hides.outline import Outline
from nest.bound import bound
from nest.checker import Code, check, verdict
from nest.cli import main
from nest.cutter.machine import SHARED, Machine
from nest.cutter.setups import split
from nest.errors import NoPlan, PlanError, WeekError
from nest.job import Job, Kit, Pin, Wanted
from nest.part import Part, Region
from nest.planning import plan_hides, plan_week
from nest.plans import (
    bed_windows,
    borders,
    placed_outline,
    read,
    read_checked,
    seams,
    text_of,
)
from tests import small
from tests.bench.jobs import drawn
from tests.places import ROOT

EFFORT = 0.002


def bed(wide: float, deep: float, **changes: object) -> Machine:
    return Machine("laser", "laser", (wide, deep), **changes)  # type: ignore[arg-type]


def bar(long: float, high: float, window: float = 0.0) -> Part:
    ring = Outline.of([(-long / 2, -high / 2), (long / 2, -high / 2), (long / 2, high / 2),
                       (-long / 2, high / 2)])  # fmt: skip
    return Part("body", ring, (Region("hidden", ring),), (), window=window)


def bars(*parts: Part, **rules: object) -> Job:
    kits = tuple(
        Kit(f"k-{n}", "Bar", (Wanted(f"k-{n}/body", f"k-{n}", part, small.NEED),))
        for n, part in enumerate(parts, start=1)
    )
    about = {"gap": 0.0, "edge_margin": 0.0, "keep": "neck"} | rules
    return Job("bars", kits, **about)  # type: ignore[arg-type]


def plain(wide: float, high: float, name: str = "Plain") -> Hide:
    """A rectangle of leather of one thickness, stretching least along x."""
    ring = Outline.of([(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)])
    return Hide(name, "bend", "vegetable", ring, zones=(small.EVEN,), sha256=name)


# --- windows ---------------------------------------------------------------------------------


@pytest.mark.parametrize("keep", ["butt", "neck", "belly", "tail", "none"])
@pytest.mark.parametrize("seed", range(8))
def test_windows_share_the_hide_out(keep: str, seed: int) -> None:
    """No larger than the shift; together the hide's box, and no leather twice (by shapely)."""
    _, hide = drawn(seed)
    shift = tuple(np.random.default_rng(seed).uniform(40, 300, 2))
    windows = [box(*window) for window in bed_windows(hide, shift, keep)]
    whole = box(*hide.outline.bounds)
    assert shapely.union_all(windows).symmetric_difference(whole).area < 1e-2
    assert sum(window.area for window in windows) == pytest.approx(whole.area, rel=1e-6)
    for window in windows:
        x0, y0, x1, y1 = window.bounds
        assert x1 - x0 <= shift[0] + 1e-5
        assert y1 - y0 <= shift[1] + 1e-5


@pytest.mark.parametrize(
    ("keep", "first"),
    [
        ("neck", (0.0, 0.0, 300.0, 250.0)),  # parts gather at x = 0
        ("tail", (700.0, 0.0, 1000.0, 250.0)),
        ("belly", (0.0, 0.0, 300.0, 250.0)),
        ("butt", (700.0, 350.0, 1000.0, 600.0)),
    ],
)
def test_whole_windows_lie_where_parts_gather(keep: str, first: tuple[float, ...]) -> None:
    assert first in bed_windows(small.hide(), (300.0, 250.0), keep)


def test_a_hide_smaller_than_the_bed_is_one_window_without_border() -> None:
    windows = bed_windows(small.hide(), (1000.0, 600.0), "neck")
    assert windows == ((0.0, 0.0, 1000.0, 600.0),)
    assert borders(windows).is_empty
    assert seams(windows, 1.0).is_empty
    assert bed_windows(small.hide(), None, "neck") == ()


def test_borders_are_the_lines_between_windows_alone() -> None:
    """1000 × 600 mm in windows of 400 × 600: two lines of 600 mm, and none along the edge."""
    lines = borders(bed_windows(small.hide(), (400.0, 600.0), "neck"))
    assert lines.length == pytest.approx(1200.0, abs=0.01)
    assert sorted({round(x) for x, _ in shapely.get_coordinates(lines)}) == [400, 800]


# --- the search ------------------------------------------------------------------------------


def test_no_part_of_a_random_plan_crosses_a_border() -> None:
    """Shapely's judgement of the drawn parts, each within one of the windows' boxes."""
    crossed = 0
    for seed in range(14):
        job, hide = drawn(seed)
        try:
            planned = plan_week(
                replace(job, shift=(130.0, 110.0)), hide, effort=EFFORT / 4, partial=True
            )
        except (NoPlan, WeekError):
            continue
        plan = planned.plan
        assert check(plan, hide) == ()
        assert planned.figures.frontier >= planned.bound.frontier - 0.02
        for placement in plan.placements:
            shape = placed_outline(plan, placement).polygon
            outside = [shape.difference(box(*window)).area for window in plan.bed_windows]
            assert sum(area < 0.02 * shape.length for area in outside) == 1
            crossed += len(plan.bed_windows) > 1
    assert crossed > 20  # parts that were in danger to


def test_windows_are_filled_and_no_more_than_that() -> None:
    """Bars of 120 × 40 on 400 × 100: three in a row, but two where the bed is moved by 200."""
    hide, parts = plain(400, 90), [bar(120, 40)] * 4
    free = plan_week(bars(*parts), hide, effort=EFFORT)
    kept = plan_week(bars(*parts, shift=(200.0, 100.0)), hide, effort=EFFORT)
    assert free.figures.frontier == pytest.approx(240.0, abs=3.0)
    assert kept.figures.frontier == pytest.approx(320.0, abs=3.0)
    assert check(kept.plan, hide) == ()


def test_a_bound_knows_of_the_windows() -> None:
    """A bar of 150 that fits only in the second window, since the first is half flawed away."""
    wanted = bars(bar(150, 60)).parts
    hide = plain(400, 90)
    windows = ((0.0, 0.0, 140.0, 90.0), (140.0, 0.0, 400.0, 90.0))
    rules = {"gap": 0.0, "edge_margin": 0.0, "keep": "neck"}
    free, kept = bound(wanted, hide, **rules), bound(wanted, hide, windows=windows, **rules)
    assert free.frontier <= 150.0
    assert 280.0 <= kept.frontier <= 290.0


def test_several_hides_have_windows_of_their_own() -> None:
    hides = [plain(300, 90, "One"), plain(300, 90, "Two")]
    plans = plan_hides(bars(*[bar(120, 70)] * 4, shift=(150.0, 100.0)), hides, effort=EFFORT)
    assert [len(p.plan.placements) for p in plans] == [2, 2]
    assert all(len(p.plan.bed_windows) == 2 for p in plans)
    assert all(check(p.plan, p.hide) == () for p in plans)


def test_a_strap_that_is_kept_may_cross() -> None:
    """It is not cut on the bed."""
    job = bars(bar(100, 40), shift=(150.0, 100.0), remnant=(200.0, 20.0), gap=1.0)
    planned = plan_week(job, plain(500, 90), effort=EFFORT)
    assert planned.strap is not None


@pytest.mark.parametrize(
    ("part", "size"),
    [
        (bar(160, 40), "160 × 40 mm"),  # longer than a window
        (bar(40, 160), "40 × 160 mm"),  # wider, and it may not be turned
        (bar(160, 145, window=90.0), "160 × 145 mm"),  # whatever its turn
    ],
)
def test_a_part_larger_than_a_window_is_told_before_the_search(part: Part, size: str) -> None:
    job = bars(bar(20, 20), part, shift=(150.0, 150.0))
    with pytest.raises(WeekError, match=rf"k-2/body is {size}.* no window of 150 × 150 mm"):
        plan_week(job, plain(400, 400), effort=EFFORT)


def test_a_part_that_only_fits_turned_is_not_refused() -> None:
    job = bars(bar(180, 20, window=90.0), shift=(150.0, 150.0))
    planned = plan_week(job, plain(400, 400), effort=EFFORT)
    assert check(planned.plan, planned.hide) == ()


def test_a_pin_across_a_border_is_refused() -> None:
    """And one beside it stays."""
    job = bars(bar(60, 40), shift=(150.0, 100.0), pins=(Pin("k-1/body", 140.0, 45.0, 0.0),))
    with pytest.raises(WeekError, match=r"pin 1: k-1/body .* crosses the border .* by 20\.000 mm"):
        plan_week(job, plain(400, 90), effort=EFFORT)
    beside = replace(job, pins=(Pin("k-1/body", 120.0, 45.0, 0.0),))
    assert plan_week(beside, plain(400, 90), effort=EFFORT).plan.placements[0].x == 120.0


# --- judge, file, set-ups --------------------------------------------------------------------


def windowed(*windows: tuple[float, float, float, float]):
    """The small plan, its hide parted at x = 240 and y = 200 unless given."""
    given = windows or ((0, 0, 240, 200), (240, 0, 1000, 200), (0, 200, 1000, 600))
    return replace(small.plan(), bed_windows=tuple(tuple(map(float, w)) for w in given))


def test_the_judge_passes_parts_that_keep_to_windows() -> None:
    assert check(windowed(), small.hide()) == ()


@pytest.mark.parametrize(
    ("border", "by"),
    [
        (300.0, {"hunter-1/welt"}),  # the welt is hit in its middle
        (150.0, {"hunter-1/body", "skinner-1/body"}),
    ],
)
def test_the_judge_sees_every_part_that_crosses(border: float, by: set[str]) -> None:
    """It is told how far the part is to be moved; shapely says which do."""
    plan = windowed((0, 0, border, 600), (border, 0, 1000, 600))
    found = check(plan, small.hide())
    assert {finding.part for finding in found} >= by
    assert {finding.code for finding in found} == {Code.BED}
    for placement in plan.placements:
        x0, _, x1, _ = placed_outline(plan, placement).polygon.bounds
        least = min(border - x0, x1 - border)
        mine = [finding.by for finding in found if finding.part == placement.id]
        assert mine == ([pytest.approx(least)] if least > 0.01 else [])


def test_a_hair_across_is_forgiven() -> None:
    """To the tolerance of 0.01 mm, as all lengths are."""
    right = small.plan().placements[0]
    edge = float(placed_outline(small.plan(), right).polygon.bounds[2])
    for over, found in ((0.009, 0), (0.011, 1)):
        plan = windowed((0, 0, edge - over, 600), (edge - over, 0, 1000, 600))
        crossing = [f for f in check(plan, small.hide()) if f.part == right.id]
        assert len(crossing) == found


def test_windows_come_back_from_the_file_and_the_digest_covers_them(tmp_path: Path) -> None:
    path = tmp_path / "a.plan.json"
    plan = replace(windowed(), check=verdict(()))
    path.write_text(text_of(plan), encoding="utf-8")
    assert read_checked(path).bed_windows == plan.bed_windows
    content = json.loads(path.read_text())
    for changed in ([], content["rules"]["bed_windows"][:2]):
        content["rules"]["bed_windows"] = changed
        path.write_text(json.dumps(content))
        with pytest.raises(PlanError, match="edited after it was checked"):
            read_checked(path)


def test_a_plan_without_windows_says_nothing_of_them(tmp_path: Path) -> None:
    """So that plans of old read as they did."""
    path = tmp_path / "a.plan.json"
    path.write_text(text_of(small.plan()), encoding="utf-8")
    assert "bed_windows" not in path.read_text()
    assert read(path).bed_windows == ()


@pytest.mark.parametrize("windows", [[[0, 0, 1]], [[10, 0, 5, 9]], "all", [["a", 0, 1, 1]]])
def test_windows_that_are_none_are_refused(windows: object, tmp_path: Path) -> None:
    path = tmp_path / "a.plan.json"
    path.write_text(text_of(windowed()), encoding="utf-8")
    content = json.loads(path.read_text())
    content["rules"]["bed_windows"] = windows
    path.write_text(json.dumps(content))
    with pytest.raises(PlanError, match="bed_windows"):
        read(path)


def test_each_window_is_one_set_up() -> None:
    """Though a sweep would need as many or fewer; all parts lie on the bed, in its middle."""
    plan, machine = windowed((0, 0, 242, 600), (242, 0, 500, 600)), bed(320.0, 660.0)
    setups = split(plan, machine)
    left = {"hunter-1/body", "skinner-1/body"}
    assert [set(s.parts) == left for s in setups] == [True, False]
    whole = box(0, 0, *machine.bed)
    for setup in setups:
        for placement in plan.placements:
            if placement.id in setup.parts:
                shape = placed_outline(plan, placement).polygon
                assert whole.buffer(-machine.spare + 0.1).contains(
                    shapely.transform(shape, setup.to_bed.on)
                )


def test_windows_too_large_for_the_bed_are_left_to_the_sweep() -> None:
    plan, machine = windowed((0, 0, 500, 600)), bed(330.0, 300.0)
    assert split(plan, machine) == split(small.plan(), machine)


# --- profile and command ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shift", "fine"),
    [
        ((560.0, 360.0), True),
        ((360.0, 560.0), True),  # the hide lies across
        ((561.0, 360.0), False),
        ((560.0, 361.0), False),
    ],
)
def test_a_shift_leaves_room_for_marks(shift: tuple[float, float], fine: bool) -> None:
    assert SHARED == 40.0
    if fine:
        assert bed(600.0, 400.0, shift=shift).shift == shift
        return
    with pytest.raises(InputError, match=r"can't be moved by .* At most 560 × 360 mm"):
        bed(600.0, 400.0, shift=shift)


def test_a_knife_keeps_more_of_the_bed() -> None:
    """What it needs to begin and end a cut: 5 + 30 + 2 + 2 × 1 mm to either side."""
    knife = Machine("knife", "drag", (600.0, 400.0), offset=1.0, lead_in=30.0, overcut=2.0,
                    holes="none")  # fmt: skip
    assert knife.room == (522.0, 322.0)
    with pytest.raises(InputError, match="At most 522 × 322 mm"):
        replace(knife, shift=(550.0, 300.0))


@pytest.fixture
def week(tmp_path: Path) -> Path:
    """A week of one small sheath, beside a profile of a small cutter."""
    root = ROOT / "shared"
    (tmp_path / "one.week.toml").write_text(
        f'name = "One"\nhides = ["{root}/hides/birch.hide.json"]\n'
        f'[[sheath]]\nknife = "{root}/knives/heron.knife.toml"\n'
    )
    return tmp_path / "one.week.toml"


def profile(week: Path, *lines: str) -> None:
    text = "\n".join(('tool = "laser"', "bed = [500.0, 400.0]", *lines))
    (week.parent / "small.machine.toml").write_text(text + "\n")


def planned(week: Path, *options: str) -> int:
    given = ("plan", str(week), "--machine", "small", "--effort", "0.001")
    return main([*given, "--out", str(week.parent / "out"), *options])


def test_a_plan_for_a_machine_keeps_to_its_windows(week: Path, capsys) -> None:
    """From the command to the set-ups: windows in plan file and picture, cut as planned."""
    profile(week, "shift = [450.0, 350.0]")
    assert planned(week, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    plan = read_checked(week.parent / "out/one.plan.json")
    assert [list(w) for w in plan.bed_windows] == told["bed_windows"]
    hide = record.read(ROOT / "shared/hides/birch.hide.json")
    assert check(plan, hide) == ()
    drawing = (week.parent / "out/one.cutplan.svg").read_text()
    assert "bed-border" in drawing
    assert "border of the bed" in drawing
    used = {
        window
        for window in plan.bed_windows
        for p in plan.placements
        if box(*window).buffer(0.02).contains(placed_outline(plan, p).polygon)
    }
    assert len(split(plan, bed(500.0, 400.0), hide.polygon)) == len(used)


def test_a_machine_without_shift_leaves_parts_where_they_like(week: Path, capsys) -> None:
    profile(week)
    assert planned(week) == 0
    assert "small gives no shift" in capsys.readouterr().out
    assert read(week.parent / "out/one.plan.json").bed_windows == ()


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (["shift = [150.0, 100.0]"], "fits in no window of 150 × 100 mm"),
        (["shift = [480.0, 100.0]"], "small.machine.toml, key 'shift': a hide can't be moved"),
        (["shift = 300"], "shift must be [along, across]"),
        (["shift = [0.0, 300.0]"], "shift must be 10 to 20000 mm"),
    ],
)
def test_what_can_not_be_planned_for_is_one_message(week, lines, says, capsys) -> None:
    profile(week, *lines)
    assert planned(week) == 2
    assert says in capsys.readouterr().err
    assert not (week.parent / "out").exists()


def test_an_unknown_machine_is_told_with_those_there_are(week: Path, capsys) -> None:
    assert main(["plan", str(week), "--machine", "lazer-600"]) == 2
    assert "Did you mean 'laser-600'?" in capsys.readouterr().err
