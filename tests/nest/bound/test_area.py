"""The bound is what areas allow, worked by hand, and no sound plan ever beats it."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from hides.flaws import Flaw
from hides.thickness import Need, Reading, Zone
from hides.units import DM2
from nest.bound import FRONTIER_STEP, bound
from nest.checker import check
from nest.figures import measure
from nest.job import KEEPS, Job, Kit, Wanted
from nest.plans import Placement, Plan, keep_direction
from tests.small import EVEN, NEED, hide, outline, part

THIN = Need(2.2, 3.0)
NEAR = FRONTIER_STEP + 0.1  # mm; the step it is told in, and the checker's tolerances


def plain(**changes):
    """1000 × 600 mm without hole, flaw or known thickness."""
    return hide(**({"holes": (), "flaws": (), "zones": (EVEN,)} | changes))


def block(width, height, face="hidden", kind="welt"):
    """A rectangular part of one face."""
    corners = [(0, 0), (width, 0), (width, height), (0, height)]
    return part(kind, corners, {face: (0, 0, width, height)}, window=90.0)


def wanted(count, of, need=NEED, name="kit"):
    return tuple(Wanted(f"{name}-{i}/part", f"{name}-{i}", of, need) for i in range(count))


def least(parts, of, gap=0.0, edge_margin=0.0, keep="neck"):
    return bound(parts, of, gap=gap, edge_margin=edge_margin, keep=keep)


# --- by hand -----------------------------------------------------------------------------


def test_without_rules_it_is_the_parts_area():
    """10 parts of 100 × 60 mm fill 600 mm of depth up to x = 100."""
    found = least(wanted(10, block(100, 60)), plain())
    assert found.frontier == pytest.approx(100.0, abs=NEAR)
    assert found.used_area == pytest.approx(100 * 600, abs=NEAR * 600)
    assert found.frontier <= 100.0


def test_leather_that_is_gone_is_no_room():
    """A strip of 100 mm at the tail is cut: as much more is needed, and the gap of 2 mm to it."""
    gone, parts = box(0, 0, 100, 600), wanted(10, block(100, 60))
    rules = {"gap": 0.0, "edge_margin": 0.0, "keep": "neck"}
    assert bound(parts, plain(), cut=[gone], **rules).frontier == pytest.approx(200.0, abs=NEAR)
    far = bound(parts, plain(), cut=[box(700, 0, 800, 600)], **rules)
    assert (far.frontier, far.used_area) == (800.0, pytest.approx(800 * 600))
    assert bound(wanted(90, block(100, 60)), plain(), cut=[gone], **rules).fits
    assert not bound(wanted(91, block(100, 60)), plain(), cut=[gone], **rules).fits


def test_the_margin_takes_its_strip():
    """5 mm on three sides: the parts lie in 590 mm of depth from x = 5 on."""
    found = least(wanted(10, block(100, 60)), plain(), edge_margin=5.0)
    assert found.frontier == pytest.approx(5 + 60_000 / 590, abs=NEAR)


def test_the_gap_takes_a_rim_around_each_part():
    """Steiner's formula for a rectangle grown by r: A + P·r + π·r²; the ground grows as well."""
    gap, margin = 4.0, 5.0
    grown = 100 * 60 + 320 * gap / 2 + np.pi * (gap / 2) ** 2
    found = least(wanted(10, block(100, 60)), plain(), gap=gap, edge_margin=margin)
    depth = 600 - 2 * margin + gap
    by_hand = 10 * grown / depth + margin - gap / 2 - gap / 2
    assert found.frontier == pytest.approx(by_hand, abs=0.5)


def test_a_front_goes_beyond_what_bars_it():
    """A stain over x < 300, margin 2 mm: fronts start at 302 while hidden parts fill the rest."""
    stained = plain(flaws=(Flaw("stain", "grain", box(-10, -10, 300, 610)),))
    fronts, welts = wanted(10, block(100, 60, "front")), wanted(10, block(100, 60), name="welt")
    assert least(fronts, stained).frontier == pytest.approx(302 + 100, abs=NEAR)
    assert least(welts, stained).frontier == pytest.approx(100, abs=NEAR)
    assert least(fronts + welts, stained).frontier == pytest.approx(302 + 100, abs=NEAR)


def test_ground_open_to_two_sorts_is_counted_once():
    """Thick leather from 0 to 200 for one sort, up to 400 for both: 90 % of 400 is needed."""
    zones = (
        Zone("thick", 3.3, 3.5, box(0, 0, 200, 600)),
        Zone("middle", 2.95, 3.05, box(200, 0, 400, 600)),
    )
    strict, lax = NEED, Need(2.9, 3.6)
    first = wanted(15, block(100, 60), strict)
    second = wanted(21, block(100, 60), lax, "lax")
    found = least(first + second, plain(zones=zones))
    assert found.frontier == pytest.approx((15 + 21) * 6000 / 600, abs=2.0 + NEAR)


def test_a_region_seen_twice_counts_once():
    """A body whose two regions overlap needs its own area of leather, no more."""
    twice = part("body", [(0, 0), (100, 0), (100, 60), (0, 60)],
                 {"front": (0, 0, 100, 60), "back": (0, 20, 100, 60)})  # fmt: skip
    assert least(wanted(10, twice), plain()).frontier == pytest.approx(100.0, abs=NEAR)


def test_leather_split_down_counts_where_it_is_too_thick():
    zones = (
        Zone("thick", 3.3, 3.5, box(0, 0, 500, 600)),
        Zone("thin", 2.4, 2.8, box(500, 0, 1000, 600)),
    )
    parts = block(100, 60)
    whole = least(wanted(10, parts, THIN), plain(zones=zones))
    split = least(wanted(10, parts, replace(THIN, may_split=True)), plain(zones=zones))
    assert whole.frontier == pytest.approx(600.0, abs=2.0 + NEAR)
    assert split.frontier == pytest.approx(100.0, abs=NEAR)


@pytest.mark.parametrize("keep", KEEPS)
@pytest.mark.parametrize("seed", range(3))
def test_up_to_the_frontier_lies_just_the_area_wanted(keep, seed):
    """On an odd hide with a hole, in any direction: against shapely's own intersection."""
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0, 2 * np.pi, 14))
    reach = rng.uniform(300, 500, 14)
    ring = outline(np.column_stack([np.cos(angles), np.sin(angles)]) * reach[:, None])
    hole = outline(box(-60, -40, 70, 50).exterior.coords)
    odd = plain(outline=ring, holes=(hole,))
    found = least(wanted(30, block(100, 60)), odd, keep=keep)
    u = np.array(keep_direction(keep))
    across = np.array([-u[1], u[0]])
    corners = [(-2000, -2000), (found.frontier, -2000), (found.frontier, 2000), (-2000, 2000)]
    used = odd.polygon.intersection(Polygon([s * u + t * across for s, t in corners])).area
    assert found.used_area == pytest.approx(used, rel=1e-9)
    assert found.used_area == pytest.approx(30 * 6000, abs=1200 * NEAR)


# --- what cannot fit ---------------------------------------------------------------------


def test_too_much_for_the_hide_is_told_in_dm2():
    """101 parts of 0.6 dm² on 60 dm²."""
    found = least(wanted(101, block(100, 60)), plain())
    assert not found.fits
    (lack,) = found.shortages
    assert (lack.wants / DM2, lack.has / DM2) == pytest.approx((60.6, 60.0), abs=0.03)
    assert str(lack) == (
        "3.2 to 3.6 mm for hidden: 60.6 dm² wanted, 60.0 dm² there, 0.6 dm² lacking"
    )
    assert found.used_area == pytest.approx(60 * DM2)


def test_the_sort_that_lacks_ground_is_named():
    zones = (
        Zone("thick", 3.3, 3.5, box(0, 0, 100, 600)),
        Zone("thin", 2.4, 2.8, box(100, 0, 1000, 600)),
    )
    parts = wanted(12, block(100, 60)) + wanted(12, block(100, 60), THIN, "thin")
    found = least(parts, plain(zones=zones))
    (lack,) = found.shortages
    assert [sort.need for sort in lack.sorts] == [NEED]
    assert lack.wants / DM2 == pytest.approx(7.2, abs=0.01)
    assert lack.has / DM2 == pytest.approx(6.0, abs=0.15)


def test_thickness_that_is_nowhere_is_named():
    found = least(wanted(1, block(100, 60), Need(5.0, 6.0)), hide())
    (lack,) = found.shortages
    assert lack.has == 0.0


def test_sorts_that_only_together_want_too_much_are_named_together():
    """Two sorts of 3.6 dm² each fit a zone of 6 dm² alone, not both; a third is no culprit."""
    zones = (
        Zone("thick", 3.3, 3.5, box(0, 0, 100, 600)),
        Zone("thin", 2.4, 2.8, box(100, 0, 1000, 600)),
    )
    parts = (
        *wanted(6, block(100, 60)),
        *wanted(6, block(100, 60, "front"), Need(3.1, 3.7), "front"),
        *wanted(6, block(100, 60), THIN, "thin"),
    )
    found = least(parts, plain(zones=zones))
    (lack,) = found.shortages
    assert {sort.need for sort in lack.sorts} == {NEED, Need(3.1, 3.7)}
    assert lack.wants / DM2 == pytest.approx(7.2, abs=0.01)
    assert lack.has / DM2 == pytest.approx(6.0, abs=0.15)


def test_parts_that_leave_no_room_for_the_gap_are_told():
    """99 parts of 100 × 60 mm need 59.4 dm² bare, and more with 2 mm between them."""
    found = least(wanted(99, block(100, 60)), plain(), gap=2.0)
    (lack,) = found.shortages
    assert lack.sorts == ()
    assert str(lack).startswith("all parts with the gap around them: 6")


def test_a_margin_that_leaves_no_ground_is_told():
    """A hide of 600 mm depth is all rim with a margin of 300 mm."""
    found = least(wanted(1, block(100, 60)), plain(), edge_margin=301.0)
    assert not found.fits
    assert found.shortages[0].has == 0.0


def test_nothing_wanted_needs_nothing():
    found = least((), plain())
    assert found.fits
    assert found.used_area == pytest.approx(0.0, abs=NEAR * 600)


# --- against sound plans -----------------------------------------------------------------


def columns(sizes, of, gap, margin, need):
    """Rectangles in columns from the tail end, each at the least distance; a sound plan."""
    placements, parts = [], []
    x, y, reach = margin, margin, 0.0
    for i, (width, height, face) in enumerate(sizes):
        if y + height > 600 - margin:
            x, y, reach = x + reach + gap, margin, 0.0
        parts.append(Wanted(f"kit-{i}/part", f"kit-{i}", block(width, height, face), need))
        placements.append(Placement(f"kit-{i}/part", 0.0, x + width / 2, y + height / 2))
        y, reach = y + height + gap, max(reach, width)
    kits = tuple(Kit(one.kit, one.kit, (one,)) for one in parts)
    job = Job("Week", kits, keep="neck", gap=gap, edge_margin=margin)
    return Plan.of(job, of, placements)


SIZES = st.lists(
    st.tuples(st.floats(40, 120), st.floats(40, 200), st.sampled_from(["front", "hidden"])),
    min_size=1,
    max_size=20,
)


@settings(max_examples=25, deadline=None)
@given(SIZES, st.floats(0, 6), st.floats(0, 12))
def test_no_sound_plan_beats_the_bound(sizes, gap, margin):
    """Random columns of parts, judged by the checker before they count."""
    of = plain(zones=(Zone("thick", 3.3, 3.5, box(0, 0, 1000, 600)),))
    made = columns(sizes, of, gap, margin, NEED)
    if made.placements[-1].x > 900:
        return
    assert check(made, of) == ()
    numbers = measure(made, of).numbers
    assert numbers["bound_area"] <= numbers["used_area"]
    assert numbers["bound_gap"] >= 0


@pytest.mark.parametrize("gap", [0.0, 2.0])
def test_a_plan_without_waste_meets_the_bound(gap):
    """Columns of ten parts that fill the depth: nothing is lost but corners of the gap."""
    height = (600 - 2 * 5 - 9 * gap) / 10
    of = plain()
    made = columns([(98, height, "hidden")] * 40, of, gap, 5.0, NEED)
    assert check(made, of) == ()
    assert 0 <= measure(made, of).numbers["bound_gap"] < 0.005


@pytest.mark.parametrize("seed", range(3))
def test_random_plans_among_flaws_and_readings_stay_above_the_bound(seed):
    """Parts dropped at random where the checker allows, on leather that thins to the neck."""
    rng = np.random.default_rng(seed)
    spots = itertools.product(range(0, 1001, 125), range(0, 601, 120))
    readings = tuple(Reading(x, y, 3.5 - 0.0008 * x + rng.normal(0, 0.05)) for x, y in spots)
    flaws = tuple(
        Flaw(kind, "grain", box(x, y, x + 60, y + 30))
        for kind in ("scar", "stain", "hole")
        for x, y in rng.uniform([50, 50], [700, 500], (2, 2))
    )
    of = plain(readings=readings, flaws=flaws)
    parts = [block(90, 50, face) for face in ("front", "back", "hidden")]
    need = Need(3.0, 3.7)
    made = Plan.of(Job("Week", (), keep="neck"), of, ())
    for i in range(40):
        one = Wanted(f"kit-{i}/part", f"kit-{i}", parts[i % 3], need)
        x, y = rng.uniform([50, 30], [600, 570])
        at = Placement(one.id, float(rng.uniform(0, 360)), float(x), float(y)).rounded()
        tried = replace(made, wanted=(*made.wanted, one), placements=(*made.placements, at))
        made = made if check(tried, of) else tried
    assert len(made.placements) > 10
    numbers = measure(made, of).numbers
    assert 0 < numbers["bound_area"] < numbers["used_area"]


def test_more_parts_never_need_less():
    steps = [
        least(wanted(n, block(100, 60, "front")), hide(), gap=2.0).used_area for n in (3, 6, 9)
    ]
    assert steps == sorted(steps)
