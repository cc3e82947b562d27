"""Reckoning: what the files of each format make their tools do, followed by their words alone."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest
import svgelements

from nest.cutter.formats import encoded, feed_in, notes
from nest.cutter.reckoning import reckoned, run_seconds
from nest.cutter.stroke import SWIVEL, Stroke
from tests import cut_sample as cs


def hops(spots):
    return sum(math.dist(a, b) for a, b in pairwise(spots))


# --- ways ------------------------------------------------------------------------------------


def test_travel_and_strokes_of_hpgl_are_those_of_its_words():
    """PU goes there with the pen up, PD with the pen down; 40 units to the mm, passes and all."""
    program = cs.program(cs.knife(passes=3))
    text = encoded(program, "hpgl").decode()
    at, up, strokes = (0.0, 0.0), 0.0, 0
    for word, given in re.findall(r"(P[UD])([-\d,]*);", text):
        numbers = [int(n) / 40 for n in given.split(",") if n]
        spots = [at, *zip(numbers[::2], numbers[1::2], strict=True)]
        up += hops(spots) if word == "PU" else 0.0
        at = spots[-1]
        strokes += word == "PU" and bool(numbers)
    ways = reckoned(program, "hpgl")
    assert ways.travel == pytest.approx(up, abs=1.0)
    assert ways.strokes == strokes - 1  # the last goes home


def test_travel_of_an_svg_is_that_of_its_layers_one_after_another():
    """Read by svgelements: from the corner over the ends of all paths as they stand, and back."""
    program = cs.program()
    data = encoded(program, "svg").decode()
    paths = [svgelements.Path(d) for d in re.findall(r'<path d="([^"]+)"', data)]
    ends = [(point.x, 200 - point.y) for path in paths for point in (path[0].end, path[-1].end)]
    spots = [(0.0, 0.0), *ends, (0.0, 0.0)]
    travel = sum(math.dist(a, b) for a, b in zip(spots[::2], spots[1::2], strict=True))
    assert reckoned(program, "svg").travel == pytest.approx(travel, abs=0.01)
    assert reckoned(program, "gcode").travel < travel - 50  # part by part is shorter here


def test_a_knife_that_is_lifted_at_corners_makes_more_strokes():
    """As many as HPGL puts the pen down."""
    device = cs.machine(tool="oscillating", overcut=1.0, turn_height=8.0, lift_threshold=30.0)
    program = cs.program(device)
    downs = len(re.findall(r"PU[\d-]+,[\d-]+;\nPD", encoded(program, "hpgl").decode()))
    assert reckoned(program, "hpgl").strokes == downs > len(program.strokes)


def test_cut_length_is_that_of_all_passes():
    """By hand: two outlines and three holes, three times; marks once."""
    ways = reckoned(cs.program(cs.machine(passes=3)), "gcode")
    assert ways.cut == pytest.approx(3 * (cs.CUTS + cs.ROUND) + cs.MARKS)
    assert ways.strokes == 3 * 5 + 2


# --- time ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "feed", "seconds"),
    [
        (100.0, 20.0, 5.2),  # 0.2 s to speed up over 2 mm, the same to stop, 96 mm at 20 mm/s
        (4.0, 20.0, 0.4),  # just reaches it
        (1.0, 20.0, 0.2),  # never: √(4·1/100)
    ],
)
def test_a_straight_way_speeds_up_and_slows_down(length, feed, seconds):
    """By hand, at 100 mm/s²."""
    points = np.array([[0.0, 0.0], [0.3 * length, 0.0], [length, 0.0]])
    assert run_seconds(points, feed, 100.0) == pytest.approx(seconds)


def stepped(points, feed, hurry, apart=0.0005):
    """The same by small steps: speed limited at corners, forwards and backwards in time."""
    rows, limits = [], []
    for p, q in pairwise(points):
        count = max(int(np.hypot(*(q - p)) / apart), 1)
        rows += [np.hypot(*(q - p)) / count] * count
        limits += [feed] * (count - 1) + [None]
    for k, at in enumerate(i for i, v in enumerate(limits) if v is None):
        if k == len(points) - 2:
            limits[at] = 0.0
            continue
        u, v = (points[k + 1] - points[k], points[k + 2] - points[k + 1])
        angle = math.acos(np.clip(u @ v / np.hypot(*u) / np.hypot(*v), -1, 1))
        half = math.sin((math.pi - angle) / 2)
        limits[at] = min(feed, math.sqrt(hurry * 0.01 * half / max(1 - half, 1e-12)))
    speeds = [0.0, *limits]
    for i in range(len(rows)):
        speeds[i + 1] = min(speeds[i + 1], math.sqrt(speeds[i] ** 2 + 2 * hurry * rows[i]))
    for i in reversed(range(len(rows))):
        speeds[i] = min(speeds[i], math.sqrt(speeds[i + 1] ** 2 + 2 * hurry * rows[i]))
    return sum(2 * s / (a + b) for s, a, b in zip(rows, speeds, speeds[1:], strict=False))


def test_a_bent_way_takes_as_long_as_by_small_steps():
    points = np.array([[0, 0], [20, 0], [20, 15], [28, 16], [36, 16.5], [40, 30.0]])
    assert run_seconds(points, 30.0, 200.0) == pytest.approx(stepped(points, 30.0, 200.0), rel=2e-3)


def test_a_corner_costs_time_and_a_curve_little():
    straight = run_seconds(np.array([[0.0, 0.0], [60.0, 0.0]]), 20.0, 200.0)
    bent = run_seconds(np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]]), 20.0, 200.0)
    turns = np.linspace(0, np.pi, 200)
    curve = run_seconds(60 / np.pi * np.stack([np.cos(turns), np.sin(turns)], -1), 20.0, 200.0)
    assert bent > straight + 0.05
    assert curve == pytest.approx(straight, abs=0.01)


def test_a_knifes_plunges_and_lifts_are_in_its_time():
    """One cut of 60 mm at 20 mm/s from 5 mm above to 4 mm below, and a turn 3 mm higher.

    By hand at 1e5 mm/s², where speeding up takes next to nothing: 9 mm down at 20 mm/s, 30 mm,
    3 mm up, a turn on the spot, 3 mm down, 30 mm, 9 mm up at 100 mm/s; travel 50 + 110 mm.
    """
    way = np.array([[50.0, 0.0], [80.0, 0.0], [80.0, 0.001], [110.0, 0.001]])
    stroke = Stroke(way, False, "cut", "", heights=("down", SWIVEL, "down"))
    device = cs.knife(feed_cut=20.0, feed_travel=100.0, acceleration=1e5, seconds_per_stroke=9.0)
    seconds = reckoned(cs.of_strokes([stroke], device, ()), "gcode").seconds
    assert seconds == pytest.approx((9 + 30 + 3 + 3 + 30) / 20 + (9 + 50 + 110) / 100, rel=0.01)
    other = reckoned(cs.of_strokes([stroke], device, ()), "hpgl").seconds
    assert other > 9.0  # no heights in the file: the profile's seconds for each stroke


# --- what a format can't tell ----------------------------------------------------------------


def test_speeds_that_hpgl_rounds_are_told_and_reckoned_with():
    program = cs.program(cs.machine(feed_cut=25.0, feed_mark=30.0))
    (said,) = notes(program, "hpgl")
    assert "feed_cut = 25 mm/s becomes 20 mm/s" in said
    assert feed_in(program.machine, "cut", "hpgl") == 20.0
    assert notes(program, "gcode") == ()


def test_drawings_tell_which_layer_to_switch_off_and_passes_that_are_not_in_them():
    program = cs.named(cs.machine(passes=2))
    for form in ("dxf-r12", "dxf-r2000", "svg"):
        labels, passes = notes(program, form)
        assert "LABELS" in labels
        assert "switch it off" in labels
        assert "set 2 passes" in passes
    assert notes(program, "gcode") == ()
