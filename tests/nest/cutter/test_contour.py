"""Contours: what a plan asks to be cut and drawn, and how they are changed."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from nest import week
from nest.cutter.contour import (
    BESIDE,
    Contour,
    backwards,
    begun,
    contours,
    labels,
    moved,
    of_part,
)
from nest.errors import CutError
from nest.part import Mark
from nest.plans import placed_outline
from nest.report.names import shown_of
from tests.bench.cutting import laid, machine
from tests.places import ROOT


@cache
def plan():
    """The four sheaths of the small week, their parts in rows."""
    return laid(week.job_of(week.read(ROOT / "shared/weeks/week-4.week.toml")))


def drawn(**changes):
    return contours(plan(), machine("laser", **changes))


def marked(kind):
    """How many marks of a kind the plan's parts have."""
    parts = [plan().by_id[p.id].part for p in plan().placements]
    return [mark for part in parts for mark in part.marks if mark.kind == kind]


def bent(*bulges, closed=True):
    """A square of 10 mm with arcs for sides."""
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    return Contour(square, closed, "cut", "p", np.array(bulges, dtype=float))


# --- changes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("closed", [True, False])
def test_backwards_is_the_same_line_the_other_way(closed):
    contour = bent(0.3, -0.1, 0, 0.2, closed=closed)
    back = backwards(contour)
    assert back.length == pytest.approx(contour.length)
    assert back.area == pytest.approx(-contour.area)
    assert back.points[0] == pytest.approx(contour.points[0 if closed else -1])
    assert np.array_equal(backwards(back).points, contour.points)
    count = 4 if closed else 3  # the last bulge of an open contour says nothing
    assert np.array_equal(backwards(back).bulges[:count], contour.bulges[:count])
    there, again = (Polygon(c.flat(1e-4)) for c in (contour, back))
    assert there.symmetric_difference(again).area < 0.01


def test_a_moved_contour_keeps_its_arcs():
    contour = moved(bent(0.3, 0, 0, 0), 90.0, 100.0, 0.0)
    assert contour.points[1] == pytest.approx((100, 10))
    assert contour.area == pytest.approx(bent(0.3, 0, 0, 0).area)


def test_a_closed_contour_begins_anywhere_on_its_straight_sides():
    """A point is put in on a side; near a corner it is the corner. The line stays the same."""
    contour = bent(0.3, 0, 0, 0)
    for place, points in (((10.0, 4.0), 5), ((10.0, 9.995), 4)):
        found = begun(contour, np.array(place))
        assert found.start == pytest.approx(place, abs=0.01)
        assert len(found.points) == points
        assert found.length == pytest.approx(contour.length)
        assert found.area == pytest.approx(contour.area)


# --- a plan's --------------------------------------------------------------------------------


def test_every_part_is_cut_along_its_outline():
    """Counter-clockwise, as placed, one for each placement and in their order."""
    cuts = [c for c in drawn() if c.work == "cut"]
    assert [c.part for c in cuts] == [p.id for p in plan().placements]
    for cut, placement in zip(cuts, plan().placements, strict=True):
        assert np.array_equal(cut.points, placed_outline(plan(), placement).points)
        assert cut.closed
        assert not cut.inside
        assert cut.area > 0


def test_holes_are_circles_of_the_profiles_size_with_their_waste_inside():
    holes = [c for c in drawn(hole=1.4) if c.what == "stitch"]
    assert len(holes) == sum(len(mark.points) for mark in marked("stitch"))
    for hole in holes:
        assert hole.work == "hole"
        assert hole.inside
        assert hole.ring[2] == pytest.approx(0.7)
        assert hole.area < 0  # clockwise, so that waste is on the right as with outlines


def test_holes_lie_in_their_part():
    """Turned and moved with it; shapely judges."""
    shapes = {c.part: Polygon(c.points) for c in drawn() if c.work == "cut"}
    for hole in (c for c in drawn() if c.work == "hole"):
        assert shapes[hole.part].contains(Polygon(hole.flat()))


def test_a_drain_hole_has_the_diameter_that_was_chosen():
    """Its mark is a ring of points; the cut is a true circle."""
    drains = [c for c in drawn() if c.what == "drain"]
    assert len(drains) == len(marked("drain")) > 0
    for drain, mark in zip(drains, marked("drain"), strict=True):
        assert 2 * drain.ring[2] == pytest.approx(np.ptp(mark.points[:, 0]), abs=0.01)


def test_crosses_stand_where_the_holes_would_be():
    crosses = [c for c in drawn(holes="cross", hole=2.0) if c.work == "mark"]
    holes = [c for c in drawn() if c.work == "hole"]
    assert len(crosses) == 2 * len(holes)
    for k, hole in enumerate(holes):
        for arm in crosses[2 * k : 2 * k + 2]:
            assert not arm.closed
            assert arm.length == pytest.approx(2.0)
            assert arm.points.mean(axis=0) == pytest.approx(hole.ring[:2])


def test_holes_that_are_punched_are_left_out():
    assert [c for c in drawn(holes="none") if c.work == "hole"] == []


@pytest.mark.parametrize("kinds", [(), ("fold",), ("loop", "inner", "grain")])
def test_only_marks_that_the_profile_asks_for_are_drawn(kinds):
    marks = [c for c in drawn(marks=kinds) if c.work == "mark"]
    assert {c.what for c in marks} == set(kinds)
    assert len(marks) == sum(len(marked(kind)) for kind in kinds)


def test_a_parts_marks_come_before_its_holes_and_its_outline_last():
    order = {"mark": 0, "hole": 1, "cut": 2}
    one = [order[c.work] for c in drawn(marks=("fold",)) if c.part == plan().placements[0].id]
    assert one == sorted(one)
    assert set(one) == {0, 1, 2}


def with_mark(*marks):
    """The lines drawn of the week's first part if it had these marks alone, and its rim."""
    part = replace(plan().wanted[0].part, marks=marks)
    device = machine("laser", marks=("throat",))
    return of_part(part, "p", device), part.outline.polygon.exterior


def test_a_mark_on_the_outline_is_not_burnt_twice():
    """Half of it runs along the edge, where the cut is: that half is left out, and no more."""
    part = plan().wanted[0].part
    rim, middle = part.outline.points[:12], part.outline.polygon.representative_point()
    inwards = np.array([middle.coords[0]])
    lines, edge = with_mark(Mark("throat", np.concatenate([rim, inwards])))
    assert lines
    for line in map(LineString, (c.points for c in lines)):
        assert line.distance(edge) >= BESIDE - 1e-3
    kept = sum(c.length for c in lines)
    leg = float(np.hypot(*(inwards[0] - rim[-1])))
    assert leg - 10 * BESIDE < kept < leg
    assert with_mark(Mark("throat", rim))[0] == ()
    assert with_mark(Mark("throat", part.outline.points, closed=True))[0] == ()


def test_a_mark_that_runs_over_the_edge_is_not_burnt_on_the_neighbour():
    """A line from the middle far out both ways: what is drawn of it lies inside, all of it."""
    shape = plan().wanted[0].part.outline.polygon
    middle = np.array(shape.representative_point().coords)
    across = middle + np.array([[-900.0, 0.0], [900.0, 0.0]])
    lines, edge = with_mark(Mark("throat", across))
    assert all(shape.contains(LineString(c.points)) for c in lines)
    assert all(LineString(c.points).distance(edge) >= BESIDE - 1e-3 for c in lines)
    inside = LineString(across).intersection(shape).length
    assert inside - 8 * BESIDE < sum(c.length for c in lines) < inside


def test_no_mark_of_a_week_leaves_its_part():
    """Throats lie on the edge or reach it, folds end there; judged by the placed outlines."""
    shapes = {p.id: placed_outline(plan(), p).polygon for p in plan().placements}
    marks = [c for c in drawn(marks=("fold", "throat", "inner")) if c.work == "mark"]
    assert {c.what for c in marks} == {"fold", "throat", "inner"}
    for mark, shape in ((LineString(c.points), shapes[c.part]) for c in marks):
        assert shape.contains(mark)
        assert mark.distance(shape.exterior) > BESIDE - 1e-3


def test_a_mark_clear_of_the_outline_stays_as_it_is():
    middle = np.array(plan().wanted[0].part.outline.polygon.representative_point().coords)
    corners = middle + np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    ((line,), _) = with_mark(Mark("throat", corners, closed=True))
    assert line.closed
    assert np.array_equal(line.points, corners)


def test_names_are_apart_from_what_is_cut():
    """A label never is a contour, so no writer can cut it."""
    assert list(labels(plan())) == [p.id for p in plan().placements]
    assert "label" not in {c.what for c in drawn(marks=("fold", "inner", "grain"))}


def test_names_are_those_of_all_pages():
    """A letter for the pattern, a number for the sheath, W for a welt: none by its id."""
    assert {one.label for one in shown_of(plan())} == {n.text for n in labels(plan()).values()}
    assert labels(plan())["mallow-2/body"].text == "B2"  # after the heron


def test_a_name_stands_in_its_part_and_is_not_upside_down():
    """A narrow welt's too, which is bent, so that its middle of mass lies beside it."""
    for placement in plan().placements:
        label, shape = labels(plan())[placement.id], placed_outline(plan(), placement).polygon
        assert shape.contains(Point(label.x, label.y).buffer(label.height / 2))
        assert -90 < label.angle <= 90
        assert 1.5 < label.height <= 4.0
        half = 0.3 * label.height * len(label.text)
        turn = np.deg2rad(label.angle)
        way = half * np.array([np.cos(turn), np.sin(turn)])
        at = np.array([label.x, label.y])
        words = LineString([at - way, at + way])
        assert words.intersection(shape).length > 0.8 * words.length


def test_a_plan_of_nothing_is_refused():
    with pytest.raises(CutError, match="places no part"):
        contours(replace(plan(), placements=()), machine("laser"))
