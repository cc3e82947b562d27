"""Half girths against closed forms, and against leather laid round each section by shapely."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPoint, Point, Polygon, box

from nest.sheaths.section import blade_section, fold_allowance, half_girth, handle_section

ONE = np.ones(1)


def handle(height=25.0, thickness=18.0, rounding=1.0, back=0.0):
    return handle_section(back * ONE, (back + height) * ONE, thickness * ONE, rounding)


def blade(height=30.0, thickness=3.0, back=0.0):
    return blade_section(back * ONE, (back + height) * ONE, thickness * ONE)


def needed(section, leather=3.4, neutral=0.5, welt=3.4, fold=0.0):
    return half_girth(section, fold=fold, grow=neutral * leather, welt=welt / 2)[0]


@pytest.mark.parametrize(
    ("height", "thickness", "rounding"),
    [
        (25, 18, 1.0),  # stadium
        (25, 18, 0.5),
        (25, 18, 0.0),  # plain rectangle
        (18, 25, 1.0),  # wider than high
        (20, 20, 1.0),  # circle
    ],
)
def test_half_the_girth_of_a_rounded_rectangle(height, thickness, rounding):
    """Textbook: girth 2(h + s) - (8 - 2π)r; thin leather and no welt leave just that."""
    r = rounding * min(height, thickness) / 2
    closed = height + thickness - (4 - math.pi) * r
    assert needed(handle(height, thickness, rounding), 0, 0.5, 0) == pytest.approx(closed, abs=0.02)


@pytest.mark.parametrize("leather", [1.0, 2.5, 3.4, 5.0])
def test_growing_a_handle_adds_to_its_girth_by_steiners_formula(leather):
    """Steiner: offset by g, a convex outline's girth grows by 2πg; half is πg.

    The path ends beside the middle (no welt, but leather on the neutral line): that arc is
    taken off.
    """
    grow = leather / 2
    closed = 25 + 18 - (4 - math.pi) * 9 + math.pi * grow
    beside = (9 + grow) * math.asin(grow / (9 + grow))
    assert needed(handle(), leather, 0.5, 0) == pytest.approx(closed - beside, abs=0.02)


def test_a_stadium_with_a_welt_by_its_three_pieces():
    """Quarter arc, straight, and the lower arc down to the welt's edge."""
    radius, beside = 9 + 1.7, 1.7 + 1.7
    closed = math.pi / 2 * radius + (25 - 18) + radius * math.acos(beside / radius)
    assert needed(handle()) == pytest.approx(closed, abs=0.01)


@pytest.mark.parametrize("thickness", [2.0, 3.0, 3.4, 5.0, 8.0])
@pytest.mark.parametrize("height", [12.0, 30.0, 60.0])
def test_a_blade_needs_its_height_and_the_fold_and_what_the_wedge_adds(height, thickness):
    """Half the back, an arc round its corner, and the tangent from there to the welt's edge."""
    grow, aside = 1.7, 1.7 + 1.7 - thickness / 2
    far = math.hypot(aside, height)
    swing = math.atan2(height, aside) - math.acos(grow / far) + math.pi / 2
    closed = thickness / 2 + grow * swing + math.sqrt(far**2 - grow**2)
    assert needed(blade(height, thickness), fold=thickness / 2) == pytest.approx(closed, abs=0.01)
    # For a plate as thick as the welt it is the sum of the model's text.
    if thickness == 3.4:
        assert closed == pytest.approx(height + fold_allowance(thickness, grow))


def test_a_back_below_the_fold_needs_leather_as_if_it_reached_up_to_it():
    """Leather bridges hollows: a dropped point leaves room at the fold, never too little."""
    dropped = needed(blade(20.0, back=10.0), fold=1.5)
    assert dropped == pytest.approx(needed(blade(30.0), fold=1.5), abs=0.05)


@pytest.mark.parametrize(
    ("leather", "thickness", "allowance"),
    [
        (3.4, 3.0, 4.0),  # common practice, no published source: a line at about 4 mm
        (3.4, 4.0, 4.0),
        (3.0, 3.0, 3.6),
    ],
)
def test_the_fold_allowance_agrees_with_the_rule_of_thumb(leather, thickness, allowance):
    """'The leather's thickness and a little': within a millimetre."""
    assert fold_allowance(thickness, leather / 2) == pytest.approx(allowance, abs=1.0)


def test_the_fold_allowance_is_half_a_fold_of_180_degrees():
    """A fold of inside radius 1.6 in 3.2 mm leather takes π(r + k·t) = 10.05 mm (arithmetic)."""
    assert 2 * fold_allowance(2 * 0.0, 3.2) == pytest.approx(math.pi * 3.2)
    round_back = needed(handle(40.0, 3.2, 1.0), 3.2, 0.5, 0) - (40 - 3.2)
    beside = 3.2 * math.asin(1.6 / 3.2)
    assert round_back + beside == pytest.approx(10.05, abs=0.01)


@pytest.mark.parametrize("handle_thickness", [16.0, 18.0, 20.0])
def test_the_margin_at_the_handle_agrees_with_the_rule_of_thumb(handle_thickness):
    """Common practice, no published source: a 10 mm welt and an 18 mm handle want about 18 mm."""
    margin = needed(handle(25.0, handle_thickness)) + 10 - fold_allowance(3.0, 1.7) - 25
    assert margin == pytest.approx(handle_thickness, abs=4)


# ---------------------------------------------------------------- laid round by another route


def leather_round(shape, fold, welt, grow, length):
    """Where leather of ``length`` ends that is laid from the fold's middle round ``shape``.

    shapely's own hull and offset: the neutral line is the offset of the hull of what the
    leather touches. Returns the end: off the middle, and deep.
    """
    low = shape.bounds[3]
    touched = shape.union(MultiPoint([(-fold, 0), (fold, 0), (-welt, low), (welt, low)]))
    neutral = touched.convex_hull.buffer(grow, quad_segs=64).exterior
    start = neutral.project(Point(0, -grow))
    way = 1 if neutral.interpolate((start + 1) % neutral.length).x > 0 else -1
    end = neutral.interpolate((start + way * length) % neutral.length)
    return end.x, end.y


SECTIONS = {
    "stadium": (handle(), box(-0.001, 9, 0.001, 16).buffer(9, quad_segs=64)),
    "box": (handle(25, 18, 0.0), box(-9, 0, 9, 25)),
    "flat": (handle(14, 26, 1.0), box(-6, 7, 6, 7.001).buffer(7, quad_segs=64)),
    "slim": (handle(20, 6, 1.0), box(-0.001, 3, 0.001, 17).buffer(3, quad_segs=64)),
    "wedge": (blade(), Polygon([(-1.5, 0), (1.5, 0), (0, 30)])),
    "thick wedge": (blade(30, 8), Polygon([(-4, 0), (4, 0), (0, 30)])),
    "dropped": (blade(20, back=10), Polygon([(-1.5, 10), (1.5, 10), (0, 30)])),
}


@pytest.mark.parametrize("leather", [2.0, 3.4, 5.0])
@pytest.mark.parametrize("name", SECTIONS)
def test_leather_of_the_needed_length_just_reaches_the_welt(name, leather):
    """Laid round by shapely, it ends at the welt's face within 0.2 mm, no deeper than it must."""
    section, shape = SECTIONS[name]
    fold, welt, grow = 1.5, leather / 2, leather / 2
    length = half_girth(section, fold=fold, grow=grow, welt=welt)[0]
    aside, depth = leather_round(shape, fold, welt, grow, length)
    assert aside == pytest.approx(welt + grow, abs=0.2)
    assert depth >= section.lower[0] - 0.05  # the welt touches the section and does not cross it


sizes = st.floats(12, 40)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(sizes, sizes, st.floats(0, 1), st.floats(1.5, 5), st.floats(0, 6))
def test_more_handle_or_leather_never_needs_less(height, thickness, rounding, leather, more):
    """Thicker or higher handle, thicker leather: the half girth never falls."""
    base = needed(handle(height, thickness, rounding), leather, welt=leather)
    thicker = handle(height, thickness + more, rounding * min(height, thickness)
                     / min(height, thickness + more))  # fmt: skip
    assert needed(thicker, leather, welt=leather) >= base - 0.02
    assert needed(handle(height + more, thickness, 0.0), leather, welt=leather) >= base - 0.02
    tougher = leather + more / 6
    assert needed(handle(height, thickness, rounding), tougher, welt=tougher) >= base - 0.02


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(8, 70), st.floats(1, 8), st.floats(1.5, 5), st.floats(0, 3))
def test_more_blade_or_leather_never_needs_less(height, thickness, leather, more):
    base = needed(blade(height, thickness), leather, fold=thickness / 2, welt=leather)
    for section, tougher, fold in (
        (blade(height + more, thickness), leather, thickness / 2),
        (blade(height, thickness + more), leather, (thickness + more) / 2),
        (blade(height, thickness), leather + more, thickness / 2),
    ):
        assert needed(section, tougher, fold=fold, welt=tougher) >= base - 0.02
