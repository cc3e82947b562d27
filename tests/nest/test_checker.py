"""The judge names every planted fault with its part and size, and nothing in a sound plan."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from shapely import MultiPoint, Polygon, affinity, box, union_all

from hides.flaws import Flaw
from hides.thickness import Need, Reading
from nest.checker import Code, check, clearances, verdict
from nest.plans import Placement, Plan, placed_outline
from tests.small import BODY, EVEN, JOB, LOOP, NEED, PLACEMENTS, SCAR, STAIN, hide, outline, plan

EXACT = pytest.approx  # sizes below hold to 1e-6 unless a row says otherwise


def only(findings, code):
    """The one finding there is, which must be of that code."""
    assert [f.code for f in findings] == [code], [f.says for f in findings]
    return findings[0]


def drawn(of, **changes):
    """The plan as if read from a file, some outlines drawn otherwise than placed."""
    shapes = {p.id: placed_outline(of, p) for p in of.lying}
    shapes |= {key: outline(shape.exterior.coords) for key, shape in changes.items()}
    return replace(of, drawn=tuple(shapes[p.id] for p in of.lying))


def with_cut(of, *names):
    """The plan with some of its parts cut already."""
    lie = {p.id: p for p in of.placements}
    left = tuple(p for p in of.placements if p.id not in names)
    return replace(of, placements=left, cut=tuple(lie[name] for name in names))


def moved_left_body(x, y=100.0, angle=0.0):
    """The plan with both hunter parts square to each other: body left of the welt."""
    return plan(hunter_1_body=Placement("hunter-1/body", angle, x, y))


# --- the sound plan ----------------------------------------------------------------------


def test_a_sound_plan_has_no_findings():
    assert check(plan(), hide()) == ()
    assert verdict(()).passed


def test_a_sound_plan_drawn_as_placed_has_no_findings():
    assert check(drawn(plan()), hide()) == ()


def test_a_plan_without_any_part_is_judged_without_fuss():
    """Nothing placed: every part is missing, and no rule stumbles over empty lists."""
    found = check(replace(plan(), placements=()), hide())
    assert {f.code for f in found} == {Code.MISSING}
    assert len(found) == 5


# --- what is cut already ------------------------------------------------------------------


def test_a_part_that_is_cut_already_is_not_judged_and_not_missed():
    """The hunter's body lay on a hole that was drawn in since; that is as it is now."""
    flaw = Flaw("hole", "through", box(140, 90, 160, 110))
    of = plan(hide(flaws=(flaw,)))
    found = check(of, hide(flaws=(flaw,)))
    assert {(f.code, f.part) for f in found} == {(Code.FLAW, "hunter-1/body")}
    assert check(with_cut(of, "hunter-1/body"), hide(flaws=(flaw,))) == ()
    assert check(drawn(with_cut(of, "hunter-1/body")), hide(flaws=(flaw,))) == ()


def test_leather_that_is_gone_is_no_ground():
    """The skinner's loop, 30 mm high, lies 10 mm into where the hunter's loop was cut."""
    of = plan(
        hunter_1_loop=Placement("hunter-1/loop", 0.0, 330.0, 400.0),
        skinner_1_loop=Placement("skinner-1/loop", 0.0, 330.0, 420.0),
    )
    found = only(check(with_cut(of, "hunter-1/loop"), hide()), Code.CUT)
    assert (found.part, found.other, found.by) == ("skinner-1/loop", "hunter-1/loop", EXACT(12.0))


def test_the_gap_is_kept_to_leather_that_is_gone():
    """Two loops side by side 1.5 mm apart: 0.5 mm too near, whichever of them is cut."""
    near = Placement("skinner-1/loop", 0.0, 330.0, 300.0)
    of = plan(
        hunter_1_loop=Placement("hunter-1/loop", 90.0, 330.0 + 50 + 1.5 + 15, 300.0),
        skinner_1_loop=near,
    )
    assert only(check(of, hide()), Code.GAP).by == EXACT(0.5)
    for name, other in itertools.permutations(["hunter-1/loop", "skinner-1/loop"]):
        found = only(check(with_cut(of, name), hide()), Code.CUT)
        assert (found.part, found.other, found.by) == (other, name, EXACT(0.5))


def test_a_part_both_cut_and_to_be_cut_is_there_twice():
    of = plan()
    found = check(replace(of, cut=of.placements[:1]), hide())
    assert {f.code for f in found} == {Code.TWICE, Code.CUT}


def test_what_was_cut_lay_on_the_leather():
    """A plan of another hide or frame: the cut part would lie 20 mm over the edge."""
    of = plan(hunter_1_loop=Placement("hunter-1/loop", 0.0, 30.0, 500.0))
    found = only(check(with_cut(of, "hunter-1/loop"), hide()), Code.EDGE)
    assert (found.part, found.by) == ("hunter-1/loop", EXACT(20.0))


def test_a_cut_part_drawn_elsewhere_than_it_lay_is_seen():
    """What the file draws is what somebody takes for gone."""
    of = with_cut(plan(), "hunter-1/loop")
    aside = affinity.translate(placed_outline(of, of.cut[0]).polygon, 3.0, 0.0)
    assert only(check(drawn(of, **{"hunter-1/loop": aside}), hide()), Code.MOVED).by == EXACT(3.0)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(-9.9, 9.9), st.floats(-8, 8), st.floats(-8, 8)),
                min_size=5, max_size=5))  # fmt: skip
def test_small_moves_within_the_rules_stay_sound(moves):
    """Parts of the sample lie more than 20 mm apart and 10° inside their windows… but one."""
    nudged = tuple(
        Placement(p.id, p.angle + turn * (0.1 if "loop" in p.id else 0.9), p.x + dx, p.y + dy)
        for p, (turn, dx, dy) in zip(PLACEMENTS, moves, strict=True)
    )
    assert check(replace(plan(), placements=nudged), hide()) == ()


# --- distances ---------------------------------------------------------------------------


def welt_beside_body(apart):
    """Welt and body with straight flanks facing each other at a distance (mm)."""
    flank = 150.0 + float(BODY.outline.points[:, 0].max())
    x = flank + apart - float(plan().by_id["hunter-1/welt"].part.outline.points[:, 0].min())
    return plan(
        hunter_1_body=Placement("hunter-1/body", 0.0, 150.0, 100.0),
        hunter_1_welt=Placement("hunter-1/welt", 0.0, x, 85.0),
    )


def test_the_gap_itself_is_sound():
    assert check(welt_beside_body(2.0), hide()) == ()


def test_a_gap_within_the_tolerance_is_sound():
    assert check(welt_beside_body(1.991), hide()) == ()


@pytest.mark.parametrize(
    ("apart", "code", "by"),
    [
        (1.95, Code.GAP, 0.05),  # gap short by 0.05 mm
        (1.985, Code.GAP, 0.015),  # just beyond the tolerance
        (0.0, Code.GAP, 2.0),  # touching
        (-0.05, Code.OVERLAP, 2.05),  # overlapping by 0.05 mm
        (-3.0, Code.OVERLAP, 5.0),  # by more than the gap
    ],
)
def test_parts_too_near_are_named_with_what_is_lacking(apart, code, by):
    found = only(check(welt_beside_body(apart), hide()), code)
    assert (found.part, found.other, found.unit) == ("hunter-1/body", "hunter-1/welt", "mm")
    assert found.by == EXACT(by, abs=1e-5)


@pytest.mark.parametrize(
    ("x", "y", "by"),
    [
        (79.858757 - 0.05, 100.0, 0.05),  # 4.95 mm from the tail end
        (74.858757 - 0.05, 100.0, 5.05),  # 0.05 mm over the tail end
        (150.0, 49.435028, 5.0),  # flank on the backbone edge
    ],
)
def test_a_part_over_the_edge_is_named_with_how_far(x, y, by):
    found = only(check(moved_left_body(x, y), hide()), Code.EDGE)
    assert (found.part, found.by) == ("hunter-1/body", EXACT(by, abs=1e-5))


def test_a_part_wholly_off_the_hide_is_named_with_its_far_end():
    """200 mm from the neck end begins a loop of 100 mm: its far end is 300 mm out, margin 5."""
    of = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, 1250.0, 300.0))
    found = only(check(of, hide()), Code.EDGE)
    assert (found.part, found.by) == ("skinner-1/loop", EXACT(305.0, rel=1e-6))


@pytest.mark.parametrize(
    ("x", "says"),
    [
        (79.858757 - 0.05, "hunter-1/body is 4.950 mm from the edge, not 5 mm."),
        (74.858757 - 0.05, "hunter-1/body lies 0.050 mm over the edge or a hole."),
    ],
)
def test_what_is_said_of_the_edge_is_what_is_measured_there(x, says):
    assert only(check(moved_left_body(x), hide()), Code.EDGE).says == says


@pytest.mark.parametrize(
    ("x", "by"),
    [
        (795.0 - 50.0 + 0.05, 0.05),  # 4.95 mm from the hole
        (800.0 - 50.0 + 0.05, 5.05),  # 0.05 mm over the hole
    ],
)
def test_a_part_over_a_hole_is_named_with_how_far(x, by):
    """A loop (100 × 30 mm) beside the hole at x = 800; there thickness is right everywhere."""
    of = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, x, 125.0))
    found = only(check(of, hide(zones=(EVEN,))), Code.EDGE)
    assert (found.part, found.by) == ("skinner-1/loop", EXACT(by, abs=1e-5))


def test_a_hole_inside_a_part_is_found():
    """A body right over the 50 mm hole: from its centre 25 mm to leather, 29 mm to the edge."""
    of = plan(hunter_1_body=Placement("hunter-1/body", 0.0, 825.0, 130.0))
    found = only(check(of, hide(zones=(EVEN,))), Code.EDGE)
    assert found.by >= 5.0 + 25.0


def test_the_same_place_twice_is_a_deep_overlap():
    """Two loops on one spot lie 15 mm deep in each other, so one must move by 30 mm."""
    on_top = clearances([LOOP.outline.polygon] * 2, gap=0.0)
    assert only(on_top, Code.OVERLAP).by == EXACT(30.0, rel=0.15)


# --- ground ------------------------------------------------------------------------------


def test_the_front_may_not_touch_a_stain_and_the_back_may():
    """Turned by 180° the body's back half lies where its front half was."""
    stain = Flaw("stain", "grain", box(140, 120, 160, 130))
    front_up = moved_left_body(150.0)
    found = only(check(front_up, hide(flaws=(stain,))), Code.FLAW)
    assert (found.part, found.other) == ("hunter-1/body", "flaw 1")
    back_up = moved_left_body(150.0, angle=180.0)
    assert check(back_up, hide(flaws=(stain,))) == ()


@pytest.mark.parametrize(
    ("kind", "side", "margin"),
    [
        ("scar", "grain", 3.0),  # bars straps
        ("hole", "through", 3.0),  # bars everything
        ("brand", "grain", 5.0),  # weak
        ("scar", "flesh", 3.0),  # a weakness bars the strap even on the flesh side
    ],
)
def test_a_strap_keeps_each_flaws_margin(kind, side, margin):
    """The loop's end at x = 380 against a flaw that starts 0.05 mm inside the margin."""
    near = Flaw(kind, side, box(380 + margin - 0.05, 290, 420, 310))
    found = only(check(plan(), hide(flaws=(near,))), Code.FLAW)
    assert (found.part, found.by, found.unit) == ("skinner-1/loop", EXACT(0.05, abs=1e-6), "mm")
    clear = Flaw(kind, side, box(380 + margin, 290, 420, 310))
    assert check(plan(), hide(flaws=(clear,))) == ()


@pytest.mark.parametrize(
    ("kind", "side"),
    [
        ("stain", "grain"),  # bars the front only
        ("vein", "flesh"),  # a blemish on the flesh side bars nothing
    ],
)
def test_a_strap_may_lie_on_what_does_not_bar_it(kind, side):
    under = Flaw(kind, side, box(300, 290, 420, 310))
    assert check(plan(), hide(flaws=(under,))) == ()


def test_a_flaw_inside_a_region_adds_its_depth():
    """A 10 × 4 mm brand in the middle of the 30 mm strap: margin 5, and 2 + 15 to be clear."""
    brand = Flaw("brand", "grain", box(325, 298, 335, 302))
    found = only(check(plan(), hide(flaws=(brand,))), Code.FLAW)
    assert found.by == EXACT(5.0 + 17.0, rel=0.03)


def test_wrong_thickness_is_named_with_mean_and_place():
    """A loop 1 mm over the border to leather of 2.4 to 2.8 mm, certainly too thin for 3.2."""
    of = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, 551.0, 400.0))
    found = only(check(of, hide()), Code.THICKNESS)
    assert (found.part, found.unit) == ("skinner-1/loop", "")
    assert found.by == EXACT(1.0 - NEED.risk, abs=1e-6)
    assert "2.60 mm" in found.says
    assert "(601, " in found.says


@pytest.mark.parametrize("x", [549.9, 540.0])
def test_thickness_is_sound_up_to_the_border(x):
    of = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, x, 400.0))
    assert check(of, hide()) == ()


def test_a_thin_spot_of_a_few_millimetres_inside_a_part_is_found():
    """Smaller than any part, larger than the checker's grid."""
    from_inside = hide(
        zones=(*hide().zones, replace(hide().zones[1], polygon=box(148, 98, 152, 102)))
    )
    found = only(check(plan(), from_inside), Code.THICKNESS)
    assert found.part == "hunter-1/body"


def test_leather_that_may_be_split_may_be_thick_but_not_thin():
    split = Need(2.0, 2.3, may_split=True)
    wanted = tuple(replace(w, need=split) for w in plan().wanted)
    assert check(replace(plan(), wanted=wanted), hide()) == ()
    wanted = tuple(replace(w, need=replace(split, may_split=False)) for w in plan().wanted)
    assert len(check(replace(plan(), wanted=wanted), hide())) == 5


def test_without_zones_the_readings_count():
    """Readings of 3.4 mm up to x = 500 and 2.6 mm from x = 800 on."""
    rows = [
        (x, y, float(np.interp(x, [500, 800], [3.4, 2.6])))
        for x in range(0, 1001, 100)
        for y in range(0, 601, 100)
    ]
    gauged = hide(zones=(), readings=tuple(Reading(*row) for row in rows))
    far = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, 700.0, 400.0))
    assert only(check(far, gauged), Code.THICKNESS).part == "skinner-1/loop"


def test_leather_of_unknown_thickness_is_not_passed():
    """Nobody gauged the hide, and every part asks for 3.2 to 3.6 mm."""
    found = check(plan(), hide(zones=()))
    assert {one.code for one in found} == {Code.THICKNESS}
    assert len(found) == 5
    assert "the leather is of unknown thickness and fails that" in found[0].says


def test_leather_of_unknown_thickness_is_passed_where_the_plan_says_that_it_counts():
    """All but what is known to be too thin: right of x = 600."""
    far = plan(skinner_1_loop=Placement("skinner-1/loop", 0.0, 700.0, 400.0))
    bare, thin = hide(zones=()), hide(zones=hide().zones[1:])
    assert check(Plan.of(JOB.taking_unknown, bare, far.placements), bare) == ()
    assert only(
        check(Plan.of(JOB.taking_unknown, thin, far.placements), thin), Code.THICKNESS
    ).part == ("skinner-1/loop")


@pytest.mark.parametrize(
    ("angle", "by"),
    [
        (10.2, 0.2),  # to the left
        (-10.2, 0.2),  # to the right
        (190.2, 0.2),  # against the line
        (90.0, 80.0),  # square to it
    ],
)
def test_a_part_outside_its_window_is_named_with_the_angle(angle, by):
    of = plan(skinner_1_loop=Placement("skinner-1/loop", angle, 330.0, 300.0))
    found = only(check(of, hide()), Code.WINDOW)
    assert (found.part, found.unit) == ("skinner-1/loop", "deg")
    assert found.by == EXACT(by, abs=1e-5)


@pytest.mark.parametrize("angle", [10.0, -10.0, 170.0, 190.0, 10.04, 360.0])
def test_the_window_holds_both_ways_along_the_line(angle):
    of = plan(skinner_1_loop=Placement("skinner-1/loop", angle, 330.0, 300.0))
    assert check(of, hide()) == ()


def test_the_window_follows_the_users_stretch_lines():
    across = hide(stretch_lines=(np.array([[330.0, 0.0], [330.0, 600.0]]),))
    codes = {f.code for f in check(plan(), across)}
    assert codes == {Code.WINDOW}


# --- counts and record -------------------------------------------------------------------


def test_a_missing_part_is_named():
    of = replace(plan(), placements=plan().placements[1:])
    assert only(check(of, hide()), Code.MISSING).part == "hunter-1/body"


def test_a_part_of_a_kit_left_out_is_not_missed():
    of = replace(plan(), placements=plan().placements[:3], left_out=("skinner-1",))
    assert check(of, hide()) == ()


def test_a_part_of_a_kit_left_out_must_not_be_there():
    of = replace(plan(), placements=plan().placements[:4], left_out=("skinner-1",))
    assert only(check(of, hide()), Code.LEFT_OUT).part == "skinner-1/body"


def test_a_part_twice_is_named():
    again = Placement("hunter-1/welt", 0.0, 300.0, 500.0)
    of = replace(plan(), placements=(*plan().placements, again))
    found = only(check(of, hide()), Code.TWICE)
    assert (found.part, found.by) == ("hunter-1/welt", 1.0)


def test_a_part_nobody_wanted_is_named():
    of = drawn(replace(plan(), placements=(*plan().placements[:-1],)))
    stray = replace(
        of,
        placements=(*of.placements, Placement("bag-1/strap", 0.0, 330.0, 300.0)),
        drawn=(*of.drawn, LOOP.outline.placed(0.0, 330.0, 300.0)),
    )
    assert [f.code for f in check(stray, hide())] == [Code.MISSING, Code.UNKNOWN]


def test_a_part_nobody_wanted_still_takes_its_leather():
    of = drawn(plan())
    stray = replace(
        of,
        placements=(*of.placements, Placement("bag-1/strap", 0.0, 330.0, 300.0)),
        drawn=(*of.drawn, LOOP.outline.placed(0.0, 330.0, 300.0)),
    )
    assert [f.code for f in check(stray, hide())] == [Code.UNKNOWN, Code.OVERLAP]


def test_another_state_of_the_record_is_refused():
    assert only(check(plan(), hide(sha256="0" * 64)), Code.HIDE).other == "Slate"


# --- shapes ------------------------------------------------------------------------------


def body_at(of):
    placement = of.placements[0]
    return placed_outline(of, placement).polygon, (placement.x, placement.y)


def test_a_mirrored_part_is_named():
    shape, origin = body_at(plan())
    mirrored = affinity.scale(shape, yfact=-1.0, origin=origin)
    found = check(drawn(plan(), **{"hunter-1/body": mirrored}), hide())
    assert only(found, Code.MIRRORED).part == "hunter-1/body"


def test_a_part_that_is_its_own_mirror_image_may_be_mirrored():
    of = plan()
    shape = placed_outline(of, of.placements[4]).polygon
    mirrored = affinity.scale(shape, yfact=-1.0)
    assert check(drawn(of, **{"skinner-1/loop": mirrored}), hide()) == ()


def test_a_scaled_part_is_named_with_how_far_it_strays():
    """1 % larger: the corner farthest from the origin moves by 1 % of its distance."""
    shape, origin = body_at(plan())
    larger = affinity.scale(shape, 1.01, 1.01, origin=origin)
    found = only(check(drawn(plan(), **{"hunter-1/body": larger}), hide()), Code.SCALED)
    reach = np.linalg.norm(BODY.outline.points, axis=1).max()
    assert found.by == EXACT(0.01 * reach, rel=0.3)
    assert "1.0100" in found.says


@pytest.mark.parametrize("far", [0.002, 0.05, 7.0])
def test_a_part_drawn_elsewhere_is_named_with_how_far(far):
    shape, _ = body_at(plan())
    moved = affinity.translate(shape, far, 0.0)
    found = only(check(drawn(plan(), **{"hunter-1/body": moved}), hide()), Code.MOVED)
    assert found.by == EXACT(far, rel=0.01)


def test_a_part_drawn_turned_is_named():
    shape, origin = body_at(plan())
    turned = affinity.rotate(shape, 1.0, origin=origin)
    only(check(drawn(plan(), **{"hunter-1/body": turned}), hide()), Code.MOVED)


def test_a_part_with_a_corner_cut_off_is_named():
    shape, _ = body_at(plan())
    cut = Polygon(list(shape.exterior.coords)[1:-1])
    only(check(drawn(plan(), **{"hunter-1/body": cut}), hide()), Code.CHANGED)


def test_a_part_with_one_corner_moved_is_named():
    shape, _ = body_at(plan())
    corners = np.array(shape.exterior.coords)[:-1]
    corners[2] += [0.0, 0.3]
    only(check(drawn(plan(), **{"hunter-1/body": Polygon(corners)}), hide()), Code.CHANGED)


def test_where_a_drawn_ring_starts_does_not_matter():
    shape, _ = body_at(plan())
    corners = np.roll(np.array(shape.exterior.coords)[:-1], 2, axis=0)
    assert check(drawn(plan(), **{"hunter-1/body": Polygon(corners)}), hide()) == ()


def test_what_is_drawn_is_what_must_be_clear():
    """The placement is sound, the drawing is not: its overlap is found as well."""
    shape, _ = body_at(plan())
    moved = affinity.translate(shape, 60.0, 0.0)
    codes = [f.code for f in check(drawn(plan(), **{"hunter-1/body": moved}), hide())]
    assert codes == [Code.MOVED, Code.OVERLAP]


def test_regions_must_cover_their_part():
    """A body without its front half could lie on any stain: 75 × 60 mm … of it is unjudged."""
    half = replace(BODY, regions=BODY.regions[:1])
    wanted = tuple(replace(w, part=half) if w.part is BODY else w for w in plan().wanted)
    found = check(replace(plan(), wanted=wanted), hide())
    assert [(f.code, f.part) for f in found] == [
        (Code.UNCOVERED, "hunter-1/body"),
        (Code.UNCOVERED, "skinner-1/body"),
    ]
    assert found[0].by == EXACT(BODY.outline.area - 150 * 50)
    assert found[0].unit == "mm2"


# --- random shapes -----------------------------------------------------------------------

ANGLES = st.floats(0, 360)
SIDES = st.floats(20, 200)


def corners(seed, count=9):
    """A random convex polygon of some 100 mm."""
    points = np.random.default_rng(seed).normal(size=(count, 2)) * 50.0
    return MultiPoint(points).convex_hull


@settings(max_examples=60, deadline=None)
@given(ANGLES, SIDES, SIDES, SIDES, SIDES, st.floats(0.02, 9.0), st.floats(-0.4, 0.4))
def test_rectangles_pushed_into_each_other(angle, a, b, c, d, depth, along):
    """Two rectangles flank to flank at any angle: the overlap is the depth, whatever the rest."""
    left = box(0, 0, a, b)
    right = affinity.translate(box(0, 0, c, d), a - depth, along * min(b, d))
    turned = [affinity.rotate(shape, angle, origin=(0, 0)) for shape in (left, right)]
    found = only(clearances(turned, gap=2.0), Code.OVERLAP)
    assert found.by == EXACT(2.0 + depth, abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), ANGLES, st.floats(0.0, 10.0))
def test_convex_shapes_held_apart(seed, angle, apart):
    """Pushed together along a line until their distance is known, then judged by a 5 mm gap."""
    one, other = corners(seed), corners(seed + 1)
    way = np.array([np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))])
    reach = (np.array(one.exterior.coords) @ way).max()
    start = (np.array(other.exterior.coords) @ way).min()
    shift = (reach - start + apart + 0.001) * way
    other = affinity.translate(other, *shift)
    found = clearances([one, other], gap=5.0)
    short = 5.0 - one.distance(other)
    if short <= 0.01:
        assert found == ()
    else:
        assert only(found, Code.GAP).by == EXACT(short)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.05, 30.0))
def test_an_overlap_is_never_told_larger_than_a_move_that_ends_it(seed, depth):
    """Moving back the way they came clears them, so the size found can't be more than that."""
    one, other = corners(seed), corners(seed + 1)
    x = one.bounds[2] - other.bounds[0] - depth
    other = affinity.translate(other, x, 0.0)
    found = clearances([one, other], gap=0.0)
    assert all(0.01 < f.by <= depth + 1e-9 for f in found)
    if one.intersection(other).buffer(-0.01).area > 0:
        assert [f.code for f in found] == [Code.OVERLAP]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-40.0, 40.0))
def test_how_far_a_shape_leaves_a_box(seed, out):
    """In a roomy box at the right-hand wall: what counts is the largest x, by hand."""
    shape = corners(seed)
    shape = affinity.translate(shape, 1000.0 + out - shape.bounds[2], 500.0)
    found = clearances([shape], gap=0.0, container=box(0, 0, 1000, 1000), margin=4.0)
    if out + 4.0 <= 0.01:
        assert found == ()
    else:
        assert only(found, Code.EDGE).by == EXACT(out + 4.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_random_sound_plans_and_one_fault_each(seed):
    """Bodies on a loose grid, then one pushed 0.05 mm too near to its neighbour."""
    rng = np.random.default_rng(seed)
    shapes = [
        affinity.translate(affinity.rotate(BODY.outline.polygon, a), 200 * i + dx, 200 * j + dy)
        for i in range(5)
        for j in range(4)
        for a, dx, dy in [(rng.uniform(0, 360), rng.uniform(-3, 3), rng.uniform(-3, 3))]
    ]
    room = box(-200, -200, 1100, 900)
    assert clearances(shapes, gap=2.0, container=room, margin=5.0) == ()
    victim = int(rng.integers(0, 16))  # its neighbour in the next column is victim + 4
    near = shapes[victim].distance(shapes[victim + 4])
    while near > 1.95:  # each step shortens the distance by no more than it is long
        shapes[victim] = affinity.translate(shapes[victim], near - 1.95, 0.0)
        shorter = shapes[victim].distance(shapes[victim + 4])
        near = 1.95 if near - shorter < 1e-9 else shorter
    found = clearances(shapes, gap=2.0, container=room, margin=5.0)
    assert [(f.code, f.part, f.other) for f in found] == [(Code.GAP, str(victim), str(victim + 4))]
    assert found[0].by == EXACT(0.05, abs=1e-6)


def test_the_samples_flaws_are_where_the_picture_says():
    """Guards the tests above: the sample's own flaws are clear of all its parts."""
    shapes = [placed_outline(plan(), p).polygon for p in plan().placements]
    assert min(shape.distance(flaw.shape) for shape in shapes for flaw in (SCAR, STAIN)) > 5.0


# --- exact tilings from the literature: accepted as they are, refused once moved -------------

# A. J. W. Duijvestijn, "Simple perfect squared square of lowest order", J. Combin. Theory B 25
# (1978) 240-243: 21 squares, no two alike, in a square of 112. The Bouwkamp code is from memory;
# the first test proves that it is the tiling it claims to be.
BOUWKAMP = [[50, 35, 27], [8, 19], [15, 17, 11], [6, 24], [29, 25, 9, 2], [7, 18], [16], [42],
            [4, 37], [33]]  # fmt: skip
SIDE = 112


def decoded(code, side):
    """Squares (x, y, size), y downwards: each bracket fills the highest gap from the left."""
    floor = [0] * side
    squares = []
    for row in code:
        x = floor.index(min(floor))
        for size in row:
            squares.append((x, floor[x], size))
            floor[x : x + size] = [floor[x] + size] * size
            x += size
    return squares


def squares():
    return [box(x, y, x + size, y + size) for x, y, size in decoded(BOUWKAMP, SIDE)]


def test_the_code_is_duijvestijns_tiling():
    """By whole numbers alone: 21 unlike squares cover each of 112 × 112 cells once."""
    sizes = sorted(size for _, _, size in decoded(BOUWKAMP, SIDE))
    assert sizes == [2, 4, 6, 7, 8, 9, 11, 15, 16, 17, 18, 19, 24, 25, 27, 29, 33, 35, 37, 42, 50]
    cells = [
        (x + i, y + j)
        for x, y, size in decoded(BOUWKAMP, SIDE)
        for i, j in itertools.product(range(size), repeat=2)
    ]
    assert len(cells) == SIDE**2
    assert set(cells) == set(itertools.product(range(SIDE), repeat=2))


def test_the_squared_square_is_accepted_with_zero_gap():
    assert clearances(squares(), gap=0.0, container=box(0, 0, SIDE, SIDE)) == ()


@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0])
def test_it_is_accepted_however_it_lies(angle):
    """Turned coordinates are no whole numbers: touching sides differ in their last digits."""
    lie = [affinity.rotate(shape, angle, origin=(0, 0)) for shape in squares()]
    room = affinity.rotate(box(0, 0, SIDE, SIDE), angle, origin=(0, 0))
    assert clearances(lie, gap=0.0, container=room) == ()


@pytest.mark.parametrize("moved", range(21))
@pytest.mark.parametrize(("dx", "dy"), [(0.05, 0), (-0.05, 0), (0, 0.05), (0, -0.05)])
def test_any_square_shifted_by_a_twentieth_is_refused(moved, dx, dy):
    """Whichever way it goes there is a neighbour or the edge, in the way by just 0.05."""
    shapes = squares()
    shapes[moved] = affinity.translate(shapes[moved], dx, dy)
    found = clearances(shapes, gap=0.0, container=box(0, 0, SIDE, SIDE))
    assert found
    assert {f.code for f in found} <= {Code.OVERLAP, Code.EDGE}
    assert all(str(moved) in (f.part, f.other) for f in found)
    assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_it_is_refused_with_any_gap():
    """Every square touches others, so a gap of 0.05 is short by 0.05 for each touching pair."""
    found = clearances(squares(), gap=0.05)
    assert {f.code for f in found} == {Code.GAP}
    assert {name for f in found for name in (f.part, f.other)} == {str(i) for i in range(21)}
    assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_it_is_refused_with_any_margin():
    """Those along the sides are too near, and no others."""
    found = clearances(squares(), gap=0.0, container=box(0, 0, SIDE, SIDE), margin=0.05)
    on_the_rim = {
        str(i)
        for i, (x, y, size) in enumerate(decoded(BOUWKAMP, SIDE))
        if 0 in (x, y) or SIDE in (x + size, y + size)
    }
    assert {f.part for f in found} == on_the_rim
    assert {f.code for f in found} == {Code.EDGE}


# The twelve pentominoes fill a 6 × 10 rectangle in 2339 ways (C. B. Haselgrove and
# J. Haselgrove, "A computer program for pentominoes", Eureka 23 (1960) 16-18). Any of them is
# a layout with zero gaps and non-convex parts that lock into each other.
PENTOMINOES = {
    "F": ["011", "110", "010"],
    "I": ["11111"],
    "L": ["1111", "1000"],
    "N": ["1110", "0011"],
    "P": ["111", "110"],
    "T": ["111", "010", "010"],
    "U": ["101", "111"],
    "V": ["100", "100", "111"],
    "W": ["100", "110", "011"],
    "X": ["010", "111", "010"],
    "Y": ["1111", "0100"],
    "Z": ["110", "010", "011"],
}
WIDE, HIGH, CELL = 10, 6, 10.0


def ways(rows):
    """All cells a pentomino can cover in the rectangle, turned and turned over."""
    cells = [(x, y) for y, row in enumerate(rows) for x, one in enumerate(row) if one == "1"]
    found = set()
    for turn, flip in itertools.product(range(4), (1, -1)):
        lie = [(flip * x, y) for x, y in cells]
        for _ in range(turn):
            lie = [(-y, x) for x, y in lie]
        left, low = min(x for x, _ in lie), min(y for _, y in lie)
        lie = [(x - left, y - low) for x, y in lie]
        wide, high = max(x for x, _ in lie), max(y for _, y in lie)
        found |= {
            frozenset((x + i, y + j) for x, y in lie)
            for i, j in itertools.product(range(WIDE - wide), range(HIGH - high))
        }
    return sorted(sorted(way) for way in found)


def packings(count):
    """So many fillings of the rectangle, by exact cover."""
    model = cp_model.CpModel()
    options = [
        (name, way, model.new_bool_var("")) for name, rows in PENTOMINOES.items()
        for way in ways(rows)
    ]  # fmt: skip
    for name in PENTOMINOES:
        model.add_exactly_one(taken for other, _, taken in options if other == name)
    for cell in itertools.product(range(WIDE), range(HIGH)):
        model.add_exactly_one(taken for _, way, taken in options if cell in way)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    for _ in range(count):
        assert solver.solve(model) == cp_model.OPTIMAL
        chosen = [option for option in options if solver.value(option[2])]
        yield [union_all([box(x, y, x + 1, y + 1) for x, y in way]) for _, way, _ in chosen]
        model.add_bool_or([~taken for _, _, taken in chosen])


def test_pentomino_fillings_are_accepted_and_refused_once_shifted():
    """Three fillings at 10 mm a cell; then each piece in turn is moved by 0.05 mm."""
    room = box(0, 0, WIDE * CELL, HIGH * CELL)
    for filling in packings(3):
        shapes = [affinity.scale(piece, CELL, CELL, origin=(0, 0)) for piece in filling]
        assert sum(shape.area for shape in shapes) == room.area
        assert clearances(shapes, gap=0.0, container=room) == ()
        for moved, shape in enumerate(shapes):
            shifted = list(shapes)
            shifted[moved] = affinity.translate(shape, 0.05, 0.0)
            found = clearances(shifted, gap=0.0, container=room)
            assert found
            assert all(str(moved) in (f.part, f.other) for f in found)
            assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_the_pentominoes_are_the_twelve():
    """Free pentominoes: five cells each, none a turned or mirrored copy of another."""
    assert len(PENTOMINOES) == 12
    homes = {name: {tuple(way) for way in ways(rows)} for name, rows in PENTOMINOES.items()}
    assert all(len(way) == 5 for ways_ in homes.values() for way in ways_)
    assert not any(a & b for (_, a), (_, b) in itertools.combinations(homes.items(), 2))
