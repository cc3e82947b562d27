"""Polylines: arcs judged by the open standard and by shapely, and their ends and segments."""

import math

import ezdxf.math
import numpy as np
import pytest
from shapely import Polygon

from nest.cutter.contour import QUARTER, circle
from nest.cutter.polyline import Polyline
from nest.cutter.stroke import SWIVEL, Stroke, along


def bent(*bulges, closed=True):
    """A square of 10 mm with arcs for sides."""
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    return Polyline(square, closed, "cut", "p", np.array(bulges, dtype=float))


@pytest.mark.parametrize("bulge", [0.2, 1.0, -0.2, -1.0, 2.0, -0.03])
def test_an_arc_lies_where_the_open_standard_puts_it(bulge):
    """Judged by ezdxf's reading of DXF bulges: centre, radius, and the side it bends to."""
    line = bent(bulge, 0, 0, 0)
    ends = [tuple(p) for p in line.points[:2]]
    centre = ezdxf.math.bulge_center(*ends, bulge)
    radius = ezdxf.math.bulge_radius(*ends, bulge)
    arc = line.flat(0.001)[:-3]
    assert np.hypot(*(arc - [centre.x, centre.y]).T) == pytest.approx(radius)
    # + is counter-clockwise, so the arc of a side along x sags below it
    assert np.sign(arc[1:, 1]).sum() == -np.sign(bulge) * (len(arc) - 1)


@pytest.mark.parametrize(
    "bulges",
    [(0, 0, 0, 0), (0.3, 0, -0.2, 0), (1, 0, 0, 0), (-0.4, -0.4, -0.4, -0.4), (QUARTER,) * 4],
)
def test_length_and_area_are_those_of_the_flattened_line(bulges):
    """Judged by shapely on many chords."""
    fine = Polygon(bent(*bulges).flat(1e-6))
    assert bent(*bulges).length == pytest.approx(fine.length, rel=1e-5)
    assert bent(*bulges).area == pytest.approx(fine.area, rel=1e-5)


@pytest.mark.parametrize("deviation", [0.5, 0.05, 0.001])
def test_chords_leave_an_arc_by_no_more_than_asked(deviation):
    """The middle of each chord of a circle of radius 10 is its farthest point from it."""
    ring = circle((0, 0), 20.0, "p").flat(deviation)
    middles = (ring + np.roll(ring, -1, axis=0)) / 2
    assert 0 < (10 - np.hypot(*middles.T)).max() <= deviation


def test_an_open_line_ends_at_its_last_point_and_has_no_area():
    line = bent(0.5, 0, 0, 9.0, closed=False)
    assert line.flat()[-1] == pytest.approx((0, 10))
    assert line.area == 0
    assert line.length == pytest.approx(2 * 10 + 10 * 2 * math.atan(0.5) / 0.8)


def test_only_a_whole_circle_is_a_ring():
    assert circle((3, 4), 5.0, "p").ring == pytest.approx((3, 4, 2.5))
    assert bent(QUARTER, QUARTER, QUARTER, QUARTER).ring == pytest.approx((5, 5, 5 * 2**0.5))
    assert bent(0.3, 0.3, 0.3, 0.3).ring is None  # four bows, no circle
    assert bent(QUARTER, QUARTER, QUARTER, 0).ring is None


def test_nobody_can_write_into_a_line():
    with pytest.raises(ValueError, match="read-only"):
        bent(0, 0, 0, 0).points[0] = 1.0


# --- ends and segments -----------------------------------------------------------------------


@pytest.mark.parametrize("closed", [True, False])
def test_segments_lead_from_start_to_end(closed):
    """Each begins where the one before ends; the closing one is there where the line is closed."""
    line = bent(0.3, -0.1, 0, 0.2, closed=closed)
    rows = list(line.segments())
    assert [bulge for _, _, bulge in rows] == ([0.3, -0.1, 0, 0.2] if closed else [0.3, -0.1, 0])
    assert [tuple(p) for p, _, _ in rows[1:]] == [tuple(q) for _, q, _ in rows[:-1]]
    assert (tuple(rows[0][0]), tuple(rows[-1][1])) == (line.start, line.end)
    assert line.end == ((0, 0) if closed else (0, 10))


def test_the_tool_goes_along_a_line_as_it_is():
    """Same points, ends and arcs; down all the way, as often as asked."""
    line = bent(0.3, -0.1, 0, 0.2)
    stroke = along(line, 3)
    assert stroke.passes == 3
    assert stroke.length == line.length
    assert (stroke.start, stroke.end, stroke.work, stroke.part) == ((0, 0), (0, 0), "cut", "p")
    heights = [(bulge, height) for _, _, bulge, height in stroke.moves()]
    assert heights == [(0.3, "down"), (-0.1, "down"), (0, "down"), (0.2, "down")]


def test_a_knife_is_lifted_where_its_stroke_says_so():
    points = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 1.0], [5.0, 9.0]])
    stroke = Stroke(points, False, "cut", "p", heights=("down", SWIVEL, "down"))
    assert [height for *_, height in stroke.moves()] == ["down", SWIVEL, "down"]
