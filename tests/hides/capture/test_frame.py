"""The hide frame of a side, from its outline on the floor: never mirrored, tail at zero."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon

from hides.capture.frame import LEAST_STRAIGHT, Frame, align
from hides.errors import InputError
from hides.outline import FloatArray, Outline, turned
from tests.scenes import hide_shape

SHAPE = hide_shape(np.random.default_rng(4), 2000.0)  # hide frame of a left side, belly up


def lying(angle: float, x: float, y: float, mirror: bool = False) -> FloatArray:
    """The side on the floor, seen from above."""
    return turned(SHAPE * (1, -1 if mirror else 1), angle, x, y)


@pytest.mark.parametrize("angle", [0.0, 37.0, 90.0, 171.0, 260.0])
@pytest.mark.parametrize("flesh", [False, True])
def test_a_left_side_is_found_however_it_lies(angle, flesh):
    """Every point within 15 mm of its place: BACKBONE_WANDER of the fit, over two metres."""
    floor = lying(angle, 300.0, -800.0, flesh)
    frame = align(Outline.of(floor), side="left", mirror=flesh)
    assert np.hypot(*(frame.to_hide(floor) - SHAPE).T).max() < 15.0
    assert frame.mirror == flesh


@pytest.mark.parametrize("flesh", [False, True])
def test_a_right_side_has_its_belly_below_and_its_tail_at_zero(flesh):
    """A right side is a left one in the mirror; seen from its flesh it looks like a left one."""
    floor = lying(50.0, 10.0, 20.0, mirror=not flesh)
    frame = align(Outline.of(floor), side="right", mirror=flesh)
    assert np.hypot(*(frame.to_hide(floor) - SHAPE * (1, -1)).T).max() < 15.0


@pytest.mark.parametrize("side", ["left", "right"])
def test_leather_seen_from_its_grain_is_never_mirrored(side):
    """The way round of any three points stays; only a view from the flesh changes it."""
    floor = Outline.of(lying(120.0, 0.0, 0.0))
    for flesh in (False, True):
        frame = align(floor, side=side, mirror=flesh)
        a, b, c = frame.to_hide(np.array([(0.0, 0.0), (100.0, 0.0), (0.0, 100.0)]))
        (ax, ay), (bx, by) = b - a, c - a
    assert (ax * by - ay * bx > 0) == (not flesh)


def test_the_other_side_is_the_same_turned_by_half():
    """Naming the wrong side swaps tail and neck, no more."""
    floor = Outline.of(lying(10.0, 0.0, 0.0))
    left, right = align(floor, side="left"), align(floor, side="right")
    assert (left.angle - right.angle) % 360 == pytest.approx(180.0, abs=0.1)


def test_floor_and_hide_are_inverse():
    frame = Frame(33.0, 120.0, -45.0, mirror=True)
    points = np.random.default_rng(0).normal(0, 500, (20, 2))
    assert frame.to_floor(frame.to_hide(points)) == pytest.approx(points)


def test_shapes_keep_area_and_holes():
    frame = align(Outline.of(lying(70.0, 0.0, 0.0, mirror=True)), mirror=True)
    shape = Polygon(
        [(0, 0), (90, 0), (90, 60), (0, 60)], [[(20, 20), (40, 20), (40, 40), (20, 40)]]
    )
    moved = frame.polygon(shape)
    assert moved.area == pytest.approx(90 * 60 - 400)
    assert len(moved.interiors) == 1


def trimmed(sag: float) -> FloatArray:
    """A side without shanks, its shoulder cut straight over 930 mm, its backbone cut hollow by
    ``sag`` mm in the middle: nowhere more than half of that off a straight line.
    """
    share = np.linspace(0.0, 1.0, 60)
    back = np.column_stack([1800 * share, 4 * sag * share * (1 - share)])
    rest = np.array([(1900, 150), (1300, 860), (800, 820), (300, 840), (20, 500), (-30, 200)])
    return np.vstack([back, rest])


@pytest.mark.parametrize("sag", [26.0, 30.0, 36.0])
@pytest.mark.parametrize("seed", [21, 22])
def test_a_backbone_that_is_cut_hollow_is_found(sag, seed):
    """It lies within 15 mm of a line, or 18; a line along the hull is off its middle by all of the
    sag, so that the straight shoulder, 50° off, was taken in its place.
    """
    rng = np.random.default_rng(seed)
    floor = turned(trimmed(sag), angle := float(rng.uniform(0, 360)), 40.0, -90.0)
    frame = align(Outline.of(floor + rng.normal(0, 1.5, floor.shape)))
    assert abs((frame.angle - angle + 180) % 360 - 180) < 1.0
    assert frame.straight > LEAST_STRAIGHT
    assert frame.rival is None


def test_two_edges_alike_are_both_named():
    """A piece cut square at both long edges: either may be the backbone."""
    square = Outline.of(np.array([(0.0, 0), (1800, 0), (1780, 700), (20, 700)]))
    frame = align(square)
    assert frame.rival is not None
    found = sorted([frame.edge, frame.rival], key=lambda ends: ends[0][1])
    assert np.abs(np.array(found[0])[:, 1]).max() < 15
    assert np.abs(np.array(found[1])[:, 1] - 700).max() < 15


def test_a_backbone_that_is_pointed_out_is_taken():
    """By two rough places, 40 mm off; from tail to neck, so that the side is proved too."""
    square = Outline.of(np.array([(0.0, 0), (1800, 0), (1780, 700), (20, 700)]))
    low, high = np.array([(60.0, 40), (1700, -30)]), np.array([(1750.0, 690), (10, 730)])
    assert abs(align(square, backbone=low).angle) < 0.2
    assert abs(abs(align(square, backbone=high).angle) - 180) < 0.2
    with pytest.raises(InputError, match="the belly lies as on no left side"):
        align(square, backbone=low[::-1])
    assert abs(abs(align(square, side="right", backbone=low[::-1]).angle) - 180) < 0.2
    for nowhere in ([(0.0, 300), (1800, 420)], [(5.0, 5), (5, 5)], [(0.0, 0), (1750, 690)]):
        with pytest.raises(InputError, match="no straight edge of the hide"):
            align(square, backbone=np.array(nowhere))


def test_a_shape_without_a_straight_edge_says_so():
    """A disc has no backbone; a side has one for most of its length."""
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    disc = Outline.of(700 * np.column_stack([np.cos(turn), np.sin(turn)]))
    assert align(disc).straight < 0.4
    assert align(Outline.of(SHAPE)).straight > 0.9
