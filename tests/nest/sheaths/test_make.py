"""Whole sheaths: parts that fold onto each other, for both hands, with figures that add up."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from shapely import LineString, MultiPoint, Polygon

from hides.flaws import FACES
from nest.errors import KnifeError
from nest.knife import read
from nest.sheaths import make
from nest.sheaths.channel import LIP, channel_of
from nest.sheaths.loop import bulged, inside_height, risen
from tests.places import ROOT
from tests.small_knives import knife

SAMPLES = sorted((ROOT / "shared" / "knives").glob("*.knife.toml"))
SHEATHS = {path.name.split(".")[0]: make(read(path)) for path in SAMPLES}
KNIVES = {k.name: k for k in (knife(), *map(read, SAMPLES))}
PLAIN = make(knife())
RISEN = make(knife(), replace(knife().choices, loop="back"))
ALL = {**SHEATHS, "plain": PLAIN, "risen": RISEN}

every_sheath = pytest.mark.parametrize("sheath", ALL.values(), ids=ALL)


def marks(part, kind, text=""):
    return [m.points for m in part.marks if m.kind == kind and text in m.text]


def folded(points, sheath):
    """Where points of the body come to lie on its other half."""
    return (points - (0, sheath.fold)) * (1, -1) + (0, sheath.fold)


def shoelace(points):
    """Area by the sum over the sides, no library."""
    x, y = points.T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)) / 2


def same_points(a, b, within=1e-9):
    return len(a) == len(b) and cKDTree(a).query(b)[0].max() < within


# ---------------------------------------------------------------- the pattern folds and closes


@every_sheath
def test_front_and_back_holes_coincide_when_folded_and_the_welt_has_the_same(sheath):
    body, welt = sheath.part("body"), sheath.part("welt")
    (back,), (front,) = marks(body, "stitch", "seam, back"), marks(body, "stitch", "seam, front")
    assert same_points(folded(front, sheath), back)
    (own,) = marks(welt, "stitch")
    shift = back[0] - own[0]
    assert same_points(own + shift, back)
    assert welt.outline.polygon.contains(MultiPoint(own).buffer(sheath.choices.margin_mm - 0.6))


@every_sheath
def test_the_last_hole_lies_within_a_pitch_of_the_welts_end(sheath):
    """Also where the tip sweeps up and the seam meets the welt's end aslant.

    The welt ends where its outline is level: at the fold's allowance.
    """
    welt, choices = sheath.part("welt"), sheath.choices
    side = 1.0 if sheath.hand == "right" else -1.0
    (holes,) = marks(welt, "stitch")
    end = min(side * welt.outline.points[:, 1])
    last = side * holes[-1, 1] - end
    assert last <= choices.stitch + 1e-6
    assert last > 1.9  # leather between the hole and the welt's cut end


@every_sheath
def test_pads_have_a_hole_on_each_corner(sheath):
    """Where a side meets the arch: 5 mm inside the strap, twice on each pad."""
    part = sheath.parts[-1] if sheath.choices.loop == "sewn" else sheath.part("body")
    (holes,) = marks(part, "stitch", "loop")
    for pad in np.split(holes, 2):
        middle, half = (pad[0] + pad[-1]) / 2, np.ptp(pad[:, 1]) / 2
        arch = pad[np.abs(np.abs(pad[:, 1] - middle[1]) - half) < 1e-6]  # on the sides
        corners = arch[np.argsort(np.abs(arch[:, 0] - middle[0]))[-2:]]
        width = 2 * (half + 5.0)
        rise, inner = 0.2 * width, half
        radius = (width**2 / 4 + rise**2) / (2 * rise)
        swing = np.arcsin(inner / (radius - 5.0))
        crown = radius - (radius - 5.0) * np.cos(swing)
        length = sheath.choices.loop_pad - crown
        assert np.abs(corners[:, 0] - middle[0]) == pytest.approx([length, length], abs=1e-6)


@every_sheath
def test_holes_keep_their_margin_from_the_edge(sheath):
    """The finished edge: the oversize is sanded off, so the holes lie that much further in."""
    body, choices = sheath.part("body"), sheath.choices
    rim = body.outline.polygon.exterior
    for text in ("seam, back", "seam, front"):
        (seam,) = marks(body, "stitch", text)
        off = shapely.distance(rim, shapely.points(seam[1:]))
        assert off == pytest.approx(choices.margin_mm + choices.oversize, abs=0.08)
        assert rim.distance(shapely.Point(seam[0])) >= choices.margin_mm - 0.08


@every_sheath
def test_both_halves_are_the_same_where_they_meet_at_the_seam(sheath):
    """Beyond the welt's inner line front and back are mirror images, so the edges meet."""
    body = sheath.part("body").outline.polygon
    flat = shapely.transform(body, lambda xy: folded(xy, sheath))
    (inner,) = marks(sheath.part("body"), "inner", "back")
    seam_side = LineString(inner).buffer(sheath.choices.welt + 3)
    throat = marks(sheath.part("body"), "throat")[0][0, 0] + 6
    right = shapely.box(throat, -1e3, 1e3, 1e3)
    differ = body.symmetric_difference(flat).intersection(seam_side).intersection(right)
    assert differ.area < 0.01


@every_sheath
def test_the_knife_lies_inside_the_welt_on_the_back_half(sheath):
    """Blade and welt don't overlap: the flat knife, back at the allowance, clears the welt."""
    body, welt = sheath.part("body"), sheath.part("welt")
    (back,) = marks(body, "stitch", "seam, back")
    (own,) = marks(welt, "stitch")
    x, y = back[0] - own[0]
    band = shapely.transform(welt.outline.polygon, lambda xy: xy + np.array((x, y)))
    blade = Polygon(sheath.knife).buffer(0)
    throat = marks(body, "throat")[0][0, 0]
    inside = blade.intersection(shapely.box(throat, -1e3, 1e3, 1e3))
    assert band.intersection(inside).area < 0.01
    assert body.outline.polygon.buffer(0.05).contains(inside)
    near = shapely.distance(shapely.LineString([(throat, sheath.fold), (1e3, sheath.fold)]), inside)
    assert near == pytest.approx(sheath.facts.fold_allowance, abs=0.1)


@every_sheath
def test_outlines_are_simple_and_follow_the_drawn_line(sheath):
    """Not hundreds of corners, and within 0.05 mm of the offset they stand for."""
    assert len(sheath.part("body").outline.points) <= 140
    assert len(sheath.part("welt").outline.points) <= 100
    channel = channel_of(KNIVES[sheath.name], sheath.choices)
    width = sheath.choices.welt + sheath.choices.oversize
    offset = channel.room.buffer(width, quad_segs=128).exterior
    body = sheath.part("body")
    side = 1.0 if sheath.hand == "right" else -1.0
    corner = marks(body, "fold")[0][0]
    ring = (body.outline.points - corner) * (1.0, side) + (channel.lie.throat, 0)
    spots = shapely.get_coordinates(LineString([*ring, ring[0]]).segmentize(0.5))
    spots = spots[spots[:, 0] > channel.lie.throat + 6 + sheath.choices.thumb]
    assert shapely.distance(offset, shapely.points(spots)).max() < 0.05


@every_sheath
@pytest.mark.parametrize("kind", ["body", "welt"])
def test_no_bend_is_tighter_than_five_millimetres_and_no_neck_under_eight(sheath, kind):
    """Opening and closing by just under 5 mm change nothing; 4 mm inside nothing vanishes.

    The welt's cut ends and its inner corner at the tip are meant to be sharp.
    """
    shape = sheath.part(kind).outline.polygon
    if kind == "body":
        opened = shape.buffer(-4.8, quad_segs=32).buffer(4.8, quad_segs=32)
        thumbed = 4.0 if sheath.choices.thumb else 0.5  # a thumb cut's horns are rounder by hand
        assert shape.difference(opened).area < 2.0 + thumbed
        closed = shape.buffer(4.8, quad_segs=32).buffer(-4.8, quad_segs=32)
        assert closed.difference(shape).area < 2.0 + thumbed
    inside = shape.buffer(-4.0)
    assert inside.geom_type == "Polygon"
    assert not inside.is_empty


# ---------------------------------------------------------------- hands


@every_sheath
def test_both_hands_are_exact_mirror_images(sheath):
    other = "left" if sheath.hand == "right" else "right"
    twin = make(KNIVES[sheath.name], replace(sheath.choices, hand=other))
    assert twin.hand == other
    for part, mirrored in zip(sheath.parts, twin.parts, strict=True):
        assert same_points(part.outline.points * (1, -1), mirrored.outline.points, 1e-12)
        for mark, image in zip(part.marks, mirrored.marks, strict=True):
            assert (mark.kind, mark.text) == (image.kind, image.text)
            assert np.array_equal(mark.points * (1, -1), image.points)
        for region, image in zip(part.regions, mirrored.regions, strict=True):
            assert region.face == image.face
            assert same_points(region.outline.points * (1, -1), image.outline.points, 1e-12)


@pytest.mark.parametrize(("hand", "outward"), [("right", (1, 0, 0)), ("left", (-1, 0, 0))])
def test_the_edge_is_to_the_rear_when_worn(hand, outward):
    """Worn: x to the right, y ahead, z up. Tip down, the front's grain side outward.

    The pattern's own axes (towards the tip, across, up from the grain) stay right-handed.
    """
    sheath = make(knife(), replace(knife().choices, hand=hand))
    along, up_from_grain = np.array((0, 0, -1)), np.array(outward)
    across = np.cross(up_from_grain, along)
    (front,) = marks(sheath.part("body"), "stitch", "seam, front")
    to_seam = np.sign(front[:, 1].mean() - sheath.fold) * across
    assert to_seam.tolist() == [0, -1, 0]  # the seam, and so the edge, lies behind
    (label,) = marks(sheath.part("body"), "label", "FRONT")
    assert (label[0, 1] - sheath.fold) * (front[:, 1].mean() - sheath.fold) > 0


# ---------------------------------------------------------------- monotony


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    st.floats(2, 4.5),
    st.floats(12, 24),
    st.floats(8, 16),
    st.sampled_from(["leather", "handle", "welt"]),
    st.floats(0.1, 1.5),
)
def test_thicker_leather_thicker_handle_or_wider_welt_never_give_a_smaller_body(
    leather, thickness, welt, what, more
):
    """The larger pattern covers the smaller one, laid fold on fold and butt on butt."""

    def body(leather, thickness, welt):
        made = knife(handle_thickness=thickness)
        sheath = make(made, replace(made.choices, leather=leather, welt=welt))
        part = sheath.part("body")
        corner = marks(part, "fold")[0][0]
        return shapely.transform(part.outline.polygon, lambda xy: xy - corner)

    given_ = {"leather": leather, "handle": thickness, "welt": welt}
    small = body(*given_.values())
    given_[what] += more
    assert small.difference(body(*given_.values()).buffer(0.06)).area < 0.1


# ---------------------------------------------------------------- parts


@every_sheath
def test_parts_are_in_their_own_frame_and_regions_cover_them(sheath):
    kinds = [part.kind for part in sheath.parts]
    assert kinds == (
        ["body", "welt", "loop"] if sheath.choices.loop == "sewn" else ["body", "welt"]
    )
    for part in sheath.parts:
        centre = part.outline.polygon.centroid
        assert np.hypot(centre.x, centre.y) < 1e-6
        cover = shapely.union_all([r.outline.polygon for r in part.regions])
        apart = part.outline.polygon.symmetric_difference(cover)
        assert apart.buffer(-0.06).is_empty  # nothing but hairlines
        assert {r.face for r in part.regions} <= set(FACES)
        assert all(not m.points.flags.writeable for m in part.marks)


def test_faces_of_the_parts():
    faces = {part.kind: [r.face for r in part.regions] for part in PLAIN.parts}
    assert faces == {"body": ["front", "back"], "welt": ["hidden"], "loop": ["strap"]}
    assert [r.face for r in RISEN.part("body").regions] == ["front", "back", "strap"]


def test_axes_and_windows():
    """Fold and loop along the line of least stretch, the welt as it comes."""
    found = {part.kind: (part.axis, part.window) for part in PLAIN.parts}
    assert found == {"body": (0.0, 15.0), "welt": (0.0, 90.0), "loop": (0.0, 20.0)}
    fold = marks(PLAIN.part("body"), "fold")[0]
    assert np.ptp(fold[:, 1]) == 0


@every_sheath
def test_areas_by_the_shoelace_formula(sheath):
    for part in sheath.parts:
        area = shoelace(part.outline.points)
        assert area == pytest.approx(part.outline.polygon.area)
        assert sheath.facts.areas[part.kind] == pytest.approx(area)


def test_the_welt_starts_at_the_allowance_and_stands_out_of_the_throat():
    body, welt = PLAIN.part("body"), PLAIN.part("welt")
    shift = marks(body, "stitch", "seam, back")[0][0] - marks(welt, "stitch")[0][0]
    ring = welt.outline.points + shift
    assert ring[:, 1].min() - PLAIN.fold == pytest.approx(PLAIN.facts.fold_allowance)
    throat = marks(body, "throat")[0][0, 0]
    assert throat - ring[:, 0].min() == pytest.approx(PLAIN.choices.excess)
    # Its area is about its middle line times its width, by Pappus' rule for bands.
    middle = PLAIN.facts.seam + 5 + 5 + 4  # seam, excess, to the first hole, to the welt's end
    assert welt.outline.area == pytest.approx(middle * 10.5, rel=0.03)


def test_the_welts_seam_when_closed_is_told_and_the_welt_is_never_short_of_the_throat():
    """A handle as thin as its blade takes nothing from the depth, so nothing changes.

    A thick one takes more leather round it than the blade does: flat, its line swings further out
    than the closed sheath's, whose seam is then shorter. Twice as thick, the swing is greater.
    """
    plate = make(knife(handle_thickness=3.0, handle_round=0.0))
    assert plate.facts.welt_longer == pytest.approx(0, abs=0.25)
    changes = [make(knife(handle_thickness=mm)).facts.welt_longer for mm in (10.0, 18.0, 24.0)]
    assert changes == sorted(changes, reverse=True)
    assert -6 < changes[2] < changes[0] < 0


@every_sheath
def test_the_closed_sheaths_line_lies_between_the_flat_one_and_what_the_handle_leaves(sheath):
    """By the girth model: no deeper than flat, no less than is left of it round the knife."""
    channel = channel_of(KNIVES[sheath.name], sheath.choices)
    left = channel.available - (channel.needed - channel.edge - channel.allowance)
    at = slice(3, -10, 5)  # clear of the ends
    spots = channel.x[at]
    rays = shapely.linestrings(
        np.stack([np.c_[spots, 0 * spots], np.c_[spots, 500 + 0 * spots]], 1)
    )
    depth = shapely.length(shapely.intersection(channel.folded, rays))
    assert (depth <= channel.available[at] + 0.05).all()
    handle = channel.x[at] < channel.lie.guard - LIP
    assert (depth - left[at])[handle].min(initial=0.0) > -0.6
    assert sheath.facts.welt_trim >= sheath.choices.excess + sheath.facts.welt_longer


# ---------------------------------------------------------------- loops


def test_a_sewn_strip_is_as_long_as_the_belt_asks():
    """Two pads of 22 mm, a belt of 40 mm, 5 mm ease, 4 mm thick: by hand.

    40 + 2·√(2.5² + 4²) = 49.43 mm between the pads, over 45 mm of back.
    """
    loop = PLAIN.part("loop")
    assert bulged(PLAIN.choices) == pytest.approx(49.434, abs=1e-3)
    assert inside_height(PLAIN.choices) == 45
    assert np.ptp(loop.outline.points[:, 0]) == pytest.approx(44 + 49.434, abs=1e-3)


def test_a_risen_back_is_as_long_as_makers_cut_it():
    """2·(B + ease) + π(b/2 + kt) + pad; a tutorial cuts about 4.5 in (114 mm) above the throat."""
    assert risen(RISEN.choices) == pytest.approx(90 + np.pi * 3.7 + 22)
    assert risen(RISEN.choices) == pytest.approx(114, abs=12)
    body = RISEN.part("body")
    throat = marks(body, "throat")[0][0, 0]
    assert throat - body.outline.bounds[0] == pytest.approx(risen(RISEN.choices), abs=0.05)


def test_the_strips_holes_fall_on_the_backs_holes():
    """Upper pad on upper pad; the lower pad moves up by what the strip bulges."""
    body, loop = PLAIN.part("body"), PLAIN.part("loop")
    (on_back,), (on_strip,) = marks(body, "stitch", "loop"), marks(loop, "stitch")
    half = len(on_back) // 2
    upper = on_back[:half] - on_back[0]
    assert np.allclose(upper, on_strip[:half] - on_strip[0])
    sag = bulged(PLAIN.choices) - inside_height(PLAIN.choices)
    lower = on_back[half:] - on_back[0]
    assert np.allclose(lower, on_strip[half:] - on_strip[0] - (sag, 0))


def test_the_risen_backs_holes_fall_on_the_backs_holes():
    """Folded over its own fold, the strap's end lies a pad below the throat line."""
    body = RISEN.part("body")
    (found,) = marks(body, "stitch", "loop")
    strap, back = np.split(found, 2)
    turn = marks(body, "fold", "loop folds")[0][0, 0]
    # What lies between the fold and its image is taken up by the belt's thickness.
    over = strap * (-1, 1) + (2 * turn, 0)
    shift = back - over
    assert np.ptp(shift, axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert shift[0, 0] == pytest.approx(0, abs=1e-9)


@every_sheath
def test_loop_stitches_lie_five_millimetres_inside_the_strap_and_never_straight_across(sheath):
    if sheath.choices.loop == "back":
        strap = next(r for r in sheath.part("body").regions if r.face == "strap").outline
        holes = marks(sheath.part("body"), "stitch", "loop")[0]
        holes = holes[: len(holes) // 2]
    else:
        strap, holes = sheath.part("loop").outline, marks(sheath.part("loop"), "stitch")[0]
    off = shapely.distance(strap.polygon.exterior, shapely.points(holes))
    assert off.min() > 4.9
    _, counts = np.unique(np.round(holes[:, 0], 1), return_counts=True)
    assert counts.max() <= 2  # one hole on each side, no row across


@every_sheath
def test_the_loop_sits_between_fold_and_welt_below_the_throat(sheath):
    body = sheath.part("body")
    for pad in marks(body, "loop"):
        side = np.sign(pad[:, 1].mean() - sheath.fold)
        off = side * (pad[:, 1] - sheath.fold)
        assert off.min() > sheath.facts.fold_allowance
        assert pad[:, 0].min() >= marks(body, "throat")[0][0, 0] - 1e-6
        (inner,) = marks(body, "inner", "back")
        edge = np.interp(pad[:, 0], inner[:, 0], side * (inner[:, 1] - sheath.fold))
        assert (edge - off).min() > 1.9


def test_a_loop_that_finds_no_place_is_refused_with_figures():
    with pytest.raises(KnifeError, match=r"key 'belt': the loop takes 109 mm .* and 107 mm"):
        make(knife(), replace(knife().choices, handle_covered=0.0, belt=60.0))
    with pytest.raises(KnifeError, match=r"fold and welt leave \d\d\.\d mm for the loop"):
        make(knife(), replace(knife().choices, loop_width=40.0))


# ---------------------------------------------------------------- figures


def test_facts_of_the_plain_sheath():
    facts = PLAIN.facts
    assert facts.fold_allowance == pytest.approx(1.5 + np.pi / 2 * 1.7)
    assert facts.fold_rule == pytest.approx(4.0)  # common practice: about 4 mm for 3.4 mm
    (seam,) = marks(PLAIN.part("body"), "stitch", "seam, back")
    assert facts.stitches == len(seam) - 1
    assert facts.seam == pytest.approx(np.hypot(*np.diff(seam, axis=0).T).sum())
    assert facts.thread == pytest.approx(2 * (facts.seam + 24) * (1 + 10.2 / 4) + 300)
    assert facts.thread_rule == pytest.approx((7 * facts.seam, 8 * facts.seam))
    assert facts.thread_rule[0] <= facts.thread - 300 <= facts.thread_rule[1] * 1.15
    assert (facts.needles, facts.thread_diameter, facts.welt_trim) == (2, 0.8, 5.0)


@every_sheath
def test_pitches_stay_within_six_percent(sheath):
    """Chords across a round are shorter than the seam along it by a hair."""
    low, high = sheath.facts.pitches
    assert low >= 0.93 * sheath.choices.stitch
    assert high <= 1.06 * sheath.choices.stitch


def test_stations_run_from_throat_to_tip_and_add_up():
    u = [s.u for s in PLAIN.stations]
    assert u == sorted(u)
    assert u[0] == pytest.approx(110 * 0.333)
    assert u[-1] == pytest.approx(220)
    for s in PLAIN.stations:
        assert s.slack <= s.available - s.needed + 1e-9
        assert s.where == ("handle" if s.u < 110 else "blade")
    handle = [s for s in PLAIN.stations if s.where == "handle"]
    assert {s.verdict for s in handle} == {"snug"}


def test_the_margin_at_an_18_mm_handle_is_about_18_mm():
    """Common practice, no published source: 10 mm welt, 18 mm handle, tight with a little spare."""
    (margin,) = [d.value for d in PLAIN.dimensions if d.label == "margin at the handle"]
    assert margin == pytest.approx(18, abs=4)


@every_sheath
def test_dimensions_measure_what_they_say(sheath):
    for d in sheath.dimensions:
        assert np.hypot(d.q[0] - d.p[0], d.q[1] - d.p[1]) == pytest.approx(d.value)
        shape = sheath.part(d.part).outline.polygon.buffer(0.1)
        assert shape.covers(shapely.Point(d.p)), d.label
        assert shape.covers(shapely.Point(d.q)), d.label
    body = sheath.part("body").outline.polygon
    (length,) = [d.value for d in sheath.dimensions if "along the fold" in d.label]
    along = LineString([(-1e3, sheath.fold), (1e3, sheath.fold)]).intersection(body)
    assert length == pytest.approx(along.length, abs=0.05)


def test_thumb_cut_and_drain_hole():
    """The cut is in the front only; the drain lies on the fold between channel and tip's end."""
    made = make(knife(), replace(knife().choices, thumb=10.0, drain=5.0))
    lost = PLAIN.part("body").outline.area - made.part("body").outline.area
    wide = next(d.value for d in PLAIN.dimensions if d.label == "fold to welt at the throat")
    assert lost == pytest.approx(np.pi / 2 * 10 * 0.32 * wide, rel=0.1)  # half an ellipse
    (rim,) = marks(made.part("body"), "drain")
    assert rim[:, 1].mean() == pytest.approx(made.fold)
    assert np.ptp(rim[:, 0]) == pytest.approx(5, abs=0.05)
    assert made.part("body").outline.polygon.contains(Polygon(rim).buffer(7))


def test_the_same_knife_and_choices_are_made_once():
    assert make(knife()) is PLAIN
    assert make(knife(name="Other")) is not PLAIN


@every_sheath
def test_labels_say_which_half_is_which(sheath):
    words = " ".join(m.text for m in sheath.part("body").marks if m.kind == "label")
    assert "BACK, to the body" in words
    assert "FRONT, grain side up" in words
    assert sheath.name in words
