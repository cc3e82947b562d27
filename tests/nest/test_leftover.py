"""What a plan leaves: beyond the line, between its parts, and the strap it was asked for."""

from dataclasses import replace

import pytest
from shapely import box, union_all

from nest.errors import PlanError
from nest.leftover import LEAST_PIECE, beyond, frontier_of, leftover, offcuts
from nest.plans import Remnant, placed_outline
from tests.small import hide, plan

FRONTIER = 415.0  # of the small plan, which keeps the neck: half of the loop's 30 mm beyond 400


def test_beyond_the_line_lies_one_piece_with_its_hole():
    """From x = 415 to 1000, less the hole of 50 × 50 mm."""
    (piece,) = leftover(plan(), hide())
    assert frontier_of(plan()) == pytest.approx(FRONTIER)
    assert piece.area == pytest.approx((1000 - FRONTIER) * 600 - 50 * 50)
    assert len(piece.interiors) == 1
    assert piece.bounds == pytest.approx((FRONTIER, 0, 1000, 600))


def test_what_is_cut_already_is_not_left_over():
    """The loop that reaches farthest is cut: the line stays, and so does its hole in the rest."""
    of = plan()
    begun = replace(of, cut=of.placements[2:3], placements=(*of.placements[:2], *of.placements[3:]))
    assert beyond(begun, hide()).equals(beyond(of, hide()))
    gone = placed_outline(of, of.placements[2]).polygon
    pieces = offcuts(begun, hide(), 40.0)
    assert pieces
    assert union_all(pieces).distance(gone) >= begun.gap - 0.01


def test_offcuts_are_as_wide_as_asked_and_clean():
    """Above the parts the small hide is bare from y = 360 or so to its edge, but for the scar."""
    of = plan()
    (rest,), found = leftover(of, hide()), offcuts(of, hide(), 100.0)
    parts = union_all([placed_outline(of, one).polygon for one in of.placements])
    assert found
    for piece in found:
        assert piece.area >= LEAST_PIECE
        assert piece.buffer(-49.0).buffer(49.5).buffer(0.5).contains(piece)
        assert piece.distance(parts) >= of.gap - 0.01
        assert piece.intersection(rest).area == pytest.approx(0.0, abs=1e-6)
    assert union_all(found).contains(box(40, 420, 370, 560))
    assert offcuts(of, hide(), 590.0) == ()


def test_a_strap_among_the_parts_is_a_piece_and_one_beyond_is_not_told_twice():
    beside, past = box(10, 500, 400, 540), box(500, 500, 900, 540)
    circle = (0.0, 0.0, 20.0)
    of = replace(plan(), remnants=(Remnant(beside, circle), Remnant(past, circle)))
    strap, rest = leftover(of, hide())
    assert strap.equals(beside)
    assert rest.contains(past)
    assert all(piece.intersection(beside).area < 1e-6 for piece in offcuts(of, hide()))


def test_a_plan_without_parts_leaves_the_whole_hide_and_says_so():
    with pytest.raises(PlanError, match="places no part"):
        leftover(replace(plan(), placements=()), hide())
