"""Blade: a trailing tip dragged behind the pivot's path, and where it goes."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from shapely import LineString, Polygon, points

from nest import knife
from nest.cutter.blade import aligning, offset_coupon, offset_of, strokes
from nest.cutter.contour import QUARTER, Contour, circle, cross
from nest.errors import CutError
from nest.sheaths import make
from tests import castor
from tests.bench.cutting import castor_row, machine, shapes
from tests.places import ROOT

KNIVES = ROOT / "shared/knives"
SQUARE = np.array([[10.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0], [0.0, 0.0]])


def drag(offset=1.0, **changes):
    about = {"overcut": 2.0, "lead_in": 0.0, "holes": "none"}
    return machine("drag", offset=offset, **(about | changes))


def square(**changes):
    return replace(Contour(SQUARE, True, "cut", "p", what="outline"), **changes)


def only(contour, profile, heading=0.0):
    (stroke,) = strokes([contour], profile, heading=heading)
    return stroke


@cache
def real():
    """The parts of two real sheaths: a full belly, and a slender point with an inner curve."""
    names = ("pip", "osier")
    made = [make(knife.read(KNIVES / f"{name}.knife.toml")) for name in names]
    parts = [part for sheath in made for part in sheath.parts]
    return [
        Contour(part.outline.points + (0.0, 300.0 * k), True, "cut", f"{k}")  # noqa: RUF005
        for k, part in enumerate(parts)
    ]


# --- the judge, judged -----------------------------------------------------------------------


def test_a_blade_pulled_sideways_follows_the_tractrix():
    """x = d (u - tanh u), y = d / cosh u for a pull along x (Leibniz's curve, closed form)."""
    way, _ = castor.walked([(0, 0), (20, 0)])
    tips = castor.dragged(way, -90.0, 3.0)  # the tip starts at (0, 3)
    u = way[:, 0] / 3
    exact = 3 * np.stack([u - np.tanh(u), 1 / np.cosh(u)], axis=-1)
    assert np.hypot(*(tips - exact).T).max() < 0.01


@pytest.mark.parametrize(("offset", "radius"), [(1.0, 9.95), (3.0, 9.54)])
def test_a_blade_led_round_a_circle_cuts_a_smaller_one(offset, radius):
    """√(R² - d²), after some turns."""
    turn = np.linspace(0, 6 * np.pi, 20000)
    way = 10 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    tips = castor.dragged(way, 90.0, offset)
    assert np.hypot(*tips[-1]) == pytest.approx(radius, abs=0.005)


@pytest.mark.parametrize(
    ("off", "left"),
    [(30.0, 0.1), (90.0, 0.3), (150.0, 1.1), (179.0, 31.7), (180.0, 180.0)],
)
def test_a_blade_finds_its_heading_over_some_offsets(off, left):
    """tan(e/2) falls by e⁻⁶ over six offsets, and a blade exactly against its way never turns."""
    way, _ = castor.walked([(0, 0), (6, 0)])
    tips = castor.dragged(way, off, 1.0)
    assert abs(castor.heading_of(way[-1], tips[-1])) == pytest.approx(left, abs=0.5)


# --- figures ---------------------------------------------------------------------------------


@pytest.mark.parametrize("offset", [0.25, 1.0, 4.0])
@pytest.mark.parametrize("way", ["led", "hpgl"])
def test_a_dragged_tip_follows_real_parts_and_hard_shapes(offset, way):
    """Asked: within 0.15 mm at corners and 0.05 mm on curves, for offsets to 4 mm."""
    cut = castor_row([*real(), *shapes()], offset, way)
    assert cut.corner < 0.15
    assert cut.curve < 0.05
    assert cut.uncut < 0.05


def test_the_judge_sees_a_pivot_that_was_not_led():
    """Its tip strays by the whole offset where it comes down, and falls short at corners."""
    cut = castor_row(real()[:2], 1.0, "raw")
    assert max(cut.corner, cut.curve) > 0.9
    assert cut.corner > 0.4
    assert cut.uncut > 0.5


def test_the_judge_sees_a_blade_with_another_offset_than_the_profiles():
    assert castor_row(real()[:2], 1.0, "worn").corner > 0.05


# --- kinematics ------------------------------------------------------------------------------


def test_the_pivot_of_a_curve_of_5_and_an_offset_of_3_runs_on_5_831():
    """√(R² + d²), the trade's worked figure; arcs stay arcs."""
    disc = replace(circle((0, 0), 10.0, "p", "cut"), inside=False)
    stroke = only(disc, drag(3.0))
    assert np.hypot(*stroke.points.T)[1:] == pytest.approx(5.831, abs=5e-4)
    assert stroke.bulges[1:5] == pytest.approx(-QUARTER)


def test_a_corner_is_swung_round_on_an_arc_of_the_offsets_radius():
    """90° at an offset of 0.25 take 0.393 mm (the trade's worked figure, d·θ)."""
    stroke = only(square(), drag(0.25))
    arcs = [(p, q, b) for p, q, b in stroke.segments() if b]
    assert len(arcs) == 4
    for p, q, bulge in arcs:
        half = 2 * math.atan(bulge)
        chord = np.hypot(*(q - p))
        assert chord * half / math.sin(half) == pytest.approx(0.393, abs=5e-4)
    assert arcs[0][0] == pytest.approx((20.25, 0))
    assert arcs[0][1] == pytest.approx((20, 0.25))


def test_a_closed_cut_runs_past_its_start_by_the_overcut():
    """And the pivot ends one offset further."""
    stroke = only(square(), drag(1.0, overcut=3.0))
    assert stroke.end == pytest.approx((10 + 3 + 1, 0))
    assert not stroke.closed


def test_an_overcut_goes_round_corners_and_into_arcs():
    """From the middle of a side, 14 mm on: over the corner at 10 mm."""
    stroke = only(square(), drag(1.0, overcut=14.0))
    assert stroke.end == pytest.approx((20, 4 + 1))
    disc = replace(circle((0, 0), 20.0, "p", "cut"), inside=False)  # clockwise from (10, 0)
    stroke = only(disc, drag(1.0, overcut=10 * math.pi / 6))  # 30° on
    tip = 10 * np.array([math.cos(math.pi / 6), -math.sin(math.pi / 6)])
    lead = np.array([-math.sin(math.pi / 6), -math.cos(math.pi / 6)])
    assert stroke.end == pytest.approx(tuple(tip + lead))


def test_only_turns_above_the_threshold_are_made_almost_lifted():
    """A flat roof of 10° is steered through; its gutters of 85° are swung round."""
    roof = [(20, 0), (40, 0), (40, 20), (20, 20 + 20 * math.tan(math.radians(5))), (0, 20), (0, 0)]
    contour = square(points=np.array(roof, dtype=float))
    stroke = only(contour, drag(turn_height=1.0, overcut=0.0))
    turns = [abs(math.degrees(4 * math.atan(b))) for _, _, b, h in stroke.moves() if h != "down"]
    assert sorted(turns) == pytest.approx([85.0, 85.0, 90.0, 90.0])
    assert only(contour, drag(turn_height=0.0)).heights is None


def test_the_blade_keeps_its_heading_while_it_is_lifted():
    """The pivot comes down ahead of the start by the offset, in the last cut's direction."""
    first, second = strokes([square(), square(points=SQUARE + [50.0, 0.0])], drag(2.0), heading=90)  # noqa: RUF005
    assert first.points[0] == pytest.approx((10, 2))
    # the first ended along +x, as the second begins: no swing
    assert second.points[0] == pytest.approx((62, 0))
    assert len(second.points) == len(first.points) - 1


def test_every_pass_finds_the_blade_as_the_first_did():
    """Gone over three times, with the pivot lifted and put down at the same place each time."""
    stroke = only(square(), drag(2.0, passes=3), heading=130.0)
    way, _ = castor.walked(stroke.points, stroke.bulges)
    heading = 130.0
    for _ in range(stroke.passes):
        tips = castor.dragged(way, heading, 2.0)
        heading = castor.heading_of(way[-1], tips[-1])
        assert LineString(np.vstack([SQUARE, SQUARE[:1]])).distance(points(tips)).max() < 0.01
    assert heading == pytest.approx(130.0, abs=0.5)


def test_a_first_stroke_in_scrap_turns_a_blade_whatever_its_heading():
    """Even one that lay exactly against the first leg or the second."""
    for heading in (0.0, 90.0, -90.0, 179.9, 180.0, 33.0):
        stroke = aligning((5, 5), drag(4.0), heading=30.0)
        way, _ = castor.walked(stroke.points)
        tips = castor.dragged(way, heading, 4.0)
        assert castor.heading_of(way[-1], tips[-1]) == pytest.approx(30.0, abs=0.5)


# --- marks -----------------------------------------------------------------------------------


@pytest.mark.parametrize("offset", [0.25, 1.0, 3.0])
def test_every_arm_of_a_cross_lies_where_it_should(offset):
    """Registration marks and stitch places among cuts, dragged one after another: 0.1 mm."""
    spots = [((30, -20), 6.0), ((50, -20), 6.0), ((2, 2), 1.5), ((4, 9), 1.5), ((16, 18), 1.5)]
    arms = [Contour(arm, False, "mark", "p") for at, size in spots for arm in cross(at, size)]
    lines = [*arms[:4], square(), *arms[4:], square(points=SQUARE + [60.0, 0.0])]  # noqa: RUF005
    profile = drag(offset, lead_in=8 * offset, holes="cross", marker="blade")
    heading = 0.0
    for contour, stroke in zip(lines, strokes(lines, profile), strict=True):
        way, _ = castor.walked(stroke.points, stroke.bulges)
        tips = castor.dragged(way, heading, offset)
        heading = castor.heading_of(way[-1], tips[-1])
        if contour.work == "mark":
            arm, drawn = LineString(contour.points), LineString(tips)
            assert arm.hausdorff_distance(drawn) < 0.05
            assert stroke.passes == 1
        else:
            ring = np.vstack([contour.points, contour.points[:1]])
            assert LineString(tips).distance(points(ring)).max() < 0.05


# --- lead-in ---------------------------------------------------------------------------------


def tip_begins(stroke, offset, heading):
    h = math.radians(heading)
    return stroke.points[0] - offset * np.array([math.cos(h), math.sin(h)])


@pytest.mark.parametrize("inside", [False, True])
def test_a_blade_runs_in_through_waste(inside):
    """Waste is outside a part, and inside a hole, which runs the other way."""
    ring = np.roll(SQUARE[::-1], 1, axis=0) if inside else SQUARE
    contour = square(points=ring.copy(), inside=inside, work="hole" if inside else "cut")
    start = tip_begins(only(contour, drag(lead_in=8.0), 45.0), 1.0, 45.0)
    line = LineString([start, contour.points[0]])
    assert line.length == pytest.approx(8.0)
    assert Polygon(ring).buffer(1e-6).contains(line) == inside
    assert Polygon(ring).crosses(line) is False


@pytest.mark.parametrize("off", [30.0, 90.0, -120.0])
def test_a_lead_in_gives_a_blade_its_heading_in_waste(off):
    """A blade that was pushed aside cuts a wrong start without one, and none with one."""
    ring = LineString(np.vstack([SQUARE, SQUARE[:1]]))
    strayed = {}
    for lead_in in (0.0, 16.0):
        stroke = only(square(), drag(2.0, lead_in=lead_in))
        way, owner = castor.walked(stroke.points, stroke.bulges)
        tips = castor.dragged(way, off, 2.0)
        waste = 2 if lead_in else 0  # the swing to the lead-in's heading, and its run
        strayed[lead_in] = ring.distance(points(tips[owner >= waste])).max()
    assert strayed[16.0] < 0.05 < 0.5 < strayed[0.0]


def test_a_lead_in_stays_off_the_neighbours():
    """A part 1 mm off leaves room for a shallow way only; it is still waste."""
    neighbour = square(points=np.array([(0, -9), (40, -9), (40, -1), (0, -1.0)]), part="q")
    stroke, _ = strokes([square(), neighbour], drag(lead_in=8.0))
    line = LineString([tip_begins(stroke, 1.0, 0.0), SQUARE[0]])
    assert line.length >= 2.0
    assert line.distance(Polygon(neighbour.points)) >= 0.3
    assert line.intersection(Polygon(SQUARE)).length < 1e-6


def test_without_room_the_blade_is_swung_to_its_heading_at_the_start():
    neighbour = square(points=np.array([(-9, -9), (40, -9), (40, -0.1), (-9, -0.1)]), part="q")
    stroke, _ = strokes([square(), neighbour], drag(lead_in=8.0), heading=90.0)
    assert tip_begins(stroke, 1.0, 90.0) == pytest.approx(SQUARE[0])


# --- tight curves ----------------------------------------------------------------------------


def rounded(radius, chords):
    """A square of 40 mm with corners of a radius, drawn as short chords."""
    turn = np.linspace(0, np.pi / 2, chords + 1)
    arc = radius * np.stack([np.sin(turn), 1 - np.cos(turn)], axis=-1)
    corners = []
    for k in range(4):
        c, s = (1, 0, -1, 0)[k], (0, 1, 0, -1)[k]
        local = arc + np.array([20 - radius, -20.0])
        corners.append(local @ np.array([[c, s], [-s, c]]))
    return square(points=np.concatenate(corners))


@pytest.mark.parametrize("chords", [6, 12, 40])
def test_a_curve_tighter_than_the_blade_turns_is_refused(chords):
    """Drawn as chords; a corner is none, and a wider curve passes."""
    with pytest.raises(
        CutError, match=r"radius of (1\.[89]|2)\d* mm, and the blade of \S+ turns in 3 mm"
    ):
        only(rounded(2.0, chords), drag(3.0))
    assert only(rounded(3.2, chords), drag(3.0))
    assert only(square(), drag(3.0))


def test_an_arc_tighter_than_the_blade_turns_is_refused_with_part_and_place():
    disc = replace(circle((7, 8), 4.0, "hunter-1/body", "hole", "drain"), inside=True)
    with pytest.raises(
        CutError, match=r"part 'hunter-1/body', drain: the curve at \(9\.0, 8\.0\) on"
    ):
        only(disc, drag(3.0))
    assert only(disc, drag(3.0, least_radius=1.0))


# --- other tools -----------------------------------------------------------------------------


def test_a_beam_goes_where_the_line_is():
    disc = circle((0, 0), 4.0, "p")
    a, b = strokes([square(), disc], machine("laser", passes=3))
    assert np.array_equal(a.points, SQUARE)
    assert np.array_equal(b.bulges, disc.bulges)
    assert a.closed
    assert (a.passes, b.passes) == (3, 3)


def test_marks_are_drawn_by_a_pen_once_and_turn_no_blade():
    mark = Contour(np.array([[0.0, 0.0], [0.0, 9.0]]), False, "mark", "p", what="fold")
    pen, cut = strokes([mark, square()], drag(passes=2), heading=0.0)
    assert np.array_equal(pen.points, mark.points)
    assert (pen.passes, cut.passes) == (1, 2)
    assert cut.points[0] == pytest.approx((11, 0))  # as if there had been no mark


def test_an_oscillating_knife_turns_lifted_and_past_corners_in_waste_only():
    """An ell: five corners with waste ahead are overrun by 1 mm, the inner one is not."""
    ell = [(20, 0), (40, 0), (40, 20), (20, 20), (20, 40), (0, 40), (0, 0)]
    contour = square(points=np.array(ell, dtype=float))
    stroke = only(contour, machine("oscillating", overcut=1.0, lift_threshold=30.0, holes="none"))
    lifts = [(p, q) for p, q, _, height in stroke.moves() if height == "swivel"]
    assert len(lifts) == 6
    assert [tuple(p) for p, q in lifts][:3] == [(41, 0), (40, 21), (20, 20)]
    inside = Polygon(ell).buffer(-1e-6)
    for p, q, _, height in stroke.moves():
        if height == "down":
            assert not inside.intersects(LineString([p, q]))
    assert stroke.end == pytest.approx((21, 0))


# --- coupon ----------------------------------------------------------------------------------


@pytest.mark.parametrize("offset", [0.25, 1.0, 4.0])
def test_the_coupon_dragged_and_measured_gives_the_offset(offset):
    """Pivots along the coupon's lines, whatever heading the blade begins with."""
    pairs = offset_coupon()
    heading, ends = 123.0, []
    for contour in pairs:
        way, _ = castor.walked(contour.points)
        tips = castor.dragged(way, heading, offset)
        heading = castor.heading_of(way[-1], tips[-1])
        ends.append(tips[-1])
    for left, right in zip(ends[::2], ends[1::2], strict=True):
        assert offset_of(right[0] - left[0]) == pytest.approx(offset, abs=0.02)
        assert left[1] == pytest.approx(right[1], abs=0.02)


def test_the_coupon_keeps_to_its_sheet():
    spots = points(np.concatenate([c.points for c in offset_coupon(10, 20)]))
    assert Polygon([(10, 20), (110, 20), (110, 60), (10, 60)]).contains(spots).all()


@pytest.mark.parametrize("between", [0.0, -1.0])
def test_cuts_that_overlap_leave_no_offset(between):
    with pytest.raises(CutError, match="no offset"):
        offset_of(between)
