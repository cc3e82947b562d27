"""Kerf: cut by simulation, measured, and compared with the pattern and with worked examples."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon, box

from nest import plans, week
from nest.cutter.contour import Contour, circle, contours
from nest.cutter.kerf import STRIPS, compensated, kerf_coupon, kerf_of
from nest.errors import CutError
from tests.bench import cutting
from tests.bench.cutting import apart, distinct, laid, machine, swept
from tests.places import ROOT

WEEK = ROOT / "shared/weeks/week-12.week.toml"


def cut(points, part="p"):
    return Contour(np.array(points, dtype=float), True, "cut", part, what="outline")


def hole(points):
    return Contour(np.array(points, dtype=float)[::-1], True, "hole", "p", what="slot", inside=True)


def rectangle(width, height, x=0.0, y=0.0):
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


@cache
def pattern():
    """Every different shape that the week of twelve sheaths cuts."""
    plan = laid(week.job_of(week.read(WEEK)))
    return distinct(contours(plan, machine("laser", hole=1.2)))


def size(shape):
    left, low, right, top = shape.bounds
    return pytest.approx((right - left, top - low), abs=1e-3)


# --- what is left ----------------------------------------------------------------------------


def test_without_compensation_the_worked_example_comes_out():
    """Kerf 0.2, drawn 2.0 × 4.0: part 1.8 × 3.8, hole 2.2 × 4.2 (a cutting service's page)."""
    assert size(swept(cut(rectangle(2, 4)), 0.2)) == (1.8, 3.8)
    assert size(swept(hole(rectangle(2, 4)), 0.2)) == (2.2, 4.2)


def test_with_it_part_and_hole_have_the_size_drawn():
    """To get 2.0 × 4.0, the part's path is 2.2 × 4.2 and the hole's 1.8 × 3.8."""
    part, window = compensated([cut(rectangle(2, 4)), hole(rectangle(2, 4))], 0.2)
    assert size(Polygon(part.points)) == (2.2, 4.2)
    assert size(Polygon(window.points)) == (1.8, 3.8)
    assert size(swept(part, 0.2)) == (2.0, 4.0)
    assert size(swept(window, 0.2)) == (2.0, 4.0)


@pytest.mark.parametrize("kerf", [0.1, 0.2, 0.5])
def test_real_parts_come_out_as_drawn(kerf):
    """Asked: within 0.05 mm of the pattern, for every shape of the twelve-sheath week."""
    shapes = pattern()
    assert len(shapes) > 15
    for contour, path in zip(shapes, compensated(shapes, kerf), strict=True):
        assert apart(swept(path, kerf), Polygon(contour.flat(0.001))) < 0.05, contour.part


def test_the_measure_sees_a_part_that_is_too_small():
    """Half a kerf off everywhere, more at corners: the sweep can fail."""
    body = max(pattern(), key=lambda c: c.area)
    assert apart(swept(body, 0.2), Polygon(body.points)) > 0.09


def test_sharp_corners_stay_sharp():
    """A square's path is a square, and a corner of 30° keeps its one point."""
    (square,) = compensated([cut(rectangle(20, 20))], 0.4)
    assert len(square.points) == 4
    spike = cut([(0, 0), (40, 0), (40, 40 * np.tan(np.radians(30)))])
    (path,) = compensated([spike], 0.4)
    assert len(path.points) == 3
    assert apart(swept(path, 0.4), Polygon(spike.points)) < 0.002


def test_circles_stay_circles():
    (ring,) = compensated([circle((5, 5), 1.2, "p")], 0.2)
    assert ring.ring == pytest.approx((5, 5, 0.5))
    assert ring.inside


def test_every_path_answers_its_contour_in_order_sense_and_start():
    shapes = pattern()
    for contour, path in zip(shapes, compensated(shapes, 0.2), strict=True):
        assert (path.part, path.what, path.inside) == (contour.part, contour.what, contour.inside)
        assert np.sign(path.area) == np.sign(contour.area)
        assert np.hypot(*(path.points[0] - contour.points[0])) < 1.0


def test_marks_open_cuts_and_no_kerf_change_nothing():
    line = np.array([[0.0, 0.0], [9.0, 0.0]])
    marks = (
        Contour(line, False, "mark", "p"),
        Contour(line + 1.0, False, "hole", "p"),
        Contour(np.array(rectangle(5, 5)), True, "mark", "p"),
    )
    assert compensated(marks, 0.2) == marks
    assert compensated(pattern(), 0.0) == tuple(pattern())


# --- what the kerf would swallow -------------------------------------------------------------

NECK = [*rectangle(10, 10)[:2], (10, 4.9), (20, 4.9), (20, 0), (30, 0), (30, 10), (20, 10),
        (20, 5.1), (10, 5.1), (10, 10), (0, 10)]  # fmt: skip
BAY = [(0, 0), (30, 0), (30, 20), (15.1, 20), (15.1, 5), (14.9, 5), (14.9, 20), (0, 20)]
FLASK = [(0, 0), (30, 0), (30, 20), (15.1, 20), (15.1, 15), (20, 10), (15, 5), (10, 10), (14.9, 15),
         (14.9, 20), (0, 20)]  # fmt: skip


@pytest.mark.parametrize(
    ("contour", "says"),
    [
        (circle((3, 4), 0.3, "p"), r"a hole of 0\.3 mm at \(3\.0, 4\.0\)"),
        (hole(rectangle(0.3, 9)), "a hole at"),  # a slot
        (hole(NECK), "a neck at"),  # two windows joined by a slit
        (hole([(0, 0), (10, 0), (10, 10), (5.1, 10), (5.1, 18), (4.9, 18), (4.9, 10), (0, 10)]),
         r"a neck at \(5\.0, "),  # a window with a slit
        (cut(BAY), r"a bay at \(15\.0, "),  # a slit from the edge
        (cut(FLASK), "the mouth of a bay at"),  # a slit from the edge that widens
    ],
)  # fmt: skip
def test_a_feature_no_wider_than_the_kerf_is_refused(contour, says):
    """Part and place are named; at a kerf it is wide enough for, it passes."""
    with pytest.raises(CutError, match=says) as caught:
        compensated([contour], 0.4)
    assert "kerf of 0.4 mm" in str(caught.value)
    assert "part 'p'" in str(caught.value)
    assert compensated([contour], 0.1)


def test_a_thin_tongue_of_the_part_itself_is_no_fault():
    """The waste is outside it, so the kerf takes nothing of it."""
    (path,) = compensated([cut(rectangle(30, 0.3))], 0.4)
    assert size(swept(path, 0.4)) == (30, 0.3)


def test_parts_nearer_than_the_kerf_are_refused():
    near = [cut(rectangle(10, 10), "a"), cut(rectangle(10, 10, x=10.3), "b")]
    with pytest.raises(CutError, match=r"'a' and 'b' lie 0\.30 mm apart, less than the kerf"):
        compensated(near, 0.4)
    assert len(compensated(near, 0.3)) == 2


# --- the bench -------------------------------------------------------------------------------


def test_the_bench_prints_both_tables(tmp_path, monkeypatch, capsys):
    """One row of each, for the small week's plan out of its file."""
    small = laid(week.job_of(week.read(WEEK.with_name("week-4.week.toml"))))
    two = replace(small, placements=small.placements[:2])
    (tmp_path / "small.plan.json").write_text(plans.text_of(two))
    monkeypatch.setattr(cutting, "KERFS", (0.2,))
    monkeypatch.setattr(cutting, "OFFSETS", (1.0,))
    monkeypatch.setattr(cutting, "WAYS", ("led",))
    cutting.main(["--plan", str(tmp_path / "small.plan.json")])
    lines = [line.split() for line in capsys.readouterr().out.splitlines()]
    kerf = next(line for line in lines if line[:1] == ["0.2"])
    blade = next(line for line in lines if line[:2] == ["1", "led"])
    assert max(map(float, kerf[1:3])) < 0.05 < float(kerf[3])
    assert max(map(float, blade[2:])) < 0.05


# --- coupon ----------------------------------------------------------------------------------


def test_the_worked_example_of_a_measured_kerf():
    """Hole 20.14, part 19.76: 0.19 mm (a student's page of a fab academy)."""
    assert kerf_of(20.14, 19.76) == pytest.approx(0.19)


@pytest.mark.parametrize("kerf", [0.12, 0.2, 0.35])
def test_the_coupon_cut_and_measured_gives_the_kerf(kerf):
    """Cut by sweeping a disc, the pieces picked out of what is left of the sheet."""
    sheet = box(-20, -20, 120, 50)
    burnt = shapely.union_all(
        [LineString(np.vstack([c.points, c.points[: c.closed]])).buffer(kerf / 2)
         for c in kerf_coupon()]
    )  # fmt: skip
    frame, *strips = sorted(sheet.difference(burnt).geoms, key=lambda p: -p.area)
    assert len(strips) == STRIPS
    window = Polygon(frame.interiors[0])
    row = sum(strip.bounds[2] - strip.bounds[0] for strip in strips)
    assert kerf_of(window.bounds[2] - window.bounds[0], row, STRIPS) == pytest.approx(kerf)


def test_the_coupons_frame_is_cut_last():
    """Its lines are cut while the sheet still holds them."""
    *lines, frame = kerf_coupon(5, 7)
    assert frame.closed
    assert not any(line.closed for line in lines)
    assert frame.points.min(axis=0) == pytest.approx((5, 7))


@pytest.mark.parametrize(("hole_", "part"), [(20, 20), (19.8, 20), (20, 0)])
def test_measures_that_leave_no_kerf_are_refused(hole_, part):
    with pytest.raises(CutError, match="leaves no kerf"):
        kerf_of(hole_, part)
