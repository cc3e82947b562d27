"""Stitch holes in whole pitches, on the corners, and the thread they take."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from nest.sheaths.stitch import BACKSTITCHES, THREAD_TAIL, holes, thread_diameter, thread_length

BENT = np.array([(0, 0), (83, 0), (83, 51)])  # one sharp corner


def steps_along(seam, found):
    line = LineString(seam)
    return np.diff([line.project(shapely.Point(p)) for p in found])


@pytest.mark.parametrize("pitch", [3.0, 4.0, 5.0, 5.4])
def test_holes_lie_on_both_ends_and_on_the_corner(pitch):
    found = holes(BENT, pitch)
    assert found[0] == pytest.approx(BENT[0])
    assert found[-1] == pytest.approx(BENT[-1])
    assert np.hypot(*(found - BENT[1]).T).min() < 1e-9


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(8, 300), st.floats(20, 120), st.floats(31, 160), st.floats(2.5, 6))
def test_a_corner_has_its_hole_though_the_run_to_it_is_no_whole_number_of_pitches(
    a, b, turn, pitch
):
    """Two straight runs of any length, meeting at any angle; each in equal stitches.

    A run of L mm in n = L/pitch stitches, rounded, is off by at most half a stitch in n.
    """
    corner = np.radians(turn)
    seam = np.array([(0, 0), (a, 0), (a + b * np.cos(corner), b * np.sin(corner))])
    found = holes(seam, pitch)
    at = np.hypot(*(found - seam[1]).T)
    assert at.min() < 1e-6
    steps = np.hypot(*np.diff(found, axis=0).T)
    for run, length in zip(np.split(steps, [int(at.argmin())]), (a, b), strict=True):
        assert np.ptp(run) < 1e-6
        assert abs(run[0] / pitch - 1) <= 0.5 / round(length / pitch) + 1e-6


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(60, 300), st.floats(40, 120), st.floats(0, 160), st.floats(2.5, 6))
def test_the_last_hole_lies_within_a_pitch_of_the_end_where_the_end_is_free(a, b, turn, pitch):
    """Between three quarters of a pitch and one, every stitch within 6 % where runs are long."""
    corner = np.radians(turn)
    seam = np.array([(0, 0), (a, 0), (a + b * np.cos(corner), b * np.sin(corner))])
    found = holes(seam, pitch, end=(0.75 * pitch, pitch))
    steps = steps_along(seam, found)
    left = LineString(seam).length - steps.sum()
    assert 0.75 * pitch - 1e-6 <= left <= pitch + 1e-6
    assert np.abs(steps / pitch - 1).max() <= max(0.06, 0.5 / round(min(a, b) / pitch)) + 1e-6


def test_a_round_tip_counts_as_one_corner_in_its_middle():
    """A quarter round of 6 mm between two straights, as at a sheath's tip."""
    ring = box(0, -100, 100, 0).buffer(6, quad_segs=32).exterior
    seam = shapely.get_coordinates(ring.intersection(box(20, -60, 200, 200)))
    seam = seam if seam[0, 0] < seam[-1, 0] else seam[::-1]
    found = holes(seam, 4.0, end=(3.0, 4.0))
    apex = np.array([100, 0]) + 6 / np.sqrt(2)
    assert np.hypot(*(found - apex).T).min() < 0.3


def test_a_straight_seam_is_divided_evenly():
    """100 mm at 4 mm are 25 stitches, 26 holes."""
    found = holes(np.array([(0.0, 0.0), (100.0, 0.0)]), 4.0)
    assert len(found) == 26
    assert np.diff(found[:, 0]) == pytest.approx(np.full(25, 4.0))


@pytest.mark.parametrize(
    ("stack", "pitch", "times"),
    [
        (6.0, 4.0, 5.0),  # a published rule for a small pouch: 3.5 to 5.5 times
        (10.2, 5.08, 6.0),  # a published rule for a 2 mm welted pouch: 6 times
        (2.4, 3.5, 3.4),  # a published rule: 3.5 times the seam
    ],
)
def test_thread_is_so_many_times_the_seam(stack, pitch, times):
    """T = 2L(1 + stack/pitch), derived by arithmetic; tails and backstitches apart."""
    seam = 1000.0
    bare = thread_length(seam, stack, pitch) - 2 * THREAD_TAIL
    backstitched = (seam + 2 * BACKSTITCHES * pitch) / seam
    assert bare / seam / backstitched == pytest.approx(times, abs=0.05)


def test_a_welted_sheath_takes_seven_to_eight_times_the_seam():
    """The rule of thumb (common practice, no published source) at 3 × 3.4 mm and 4 mm pitch."""
    assert 7 <= thread_length(200.0, 10.2, 4.0) / 200.0 - 2 * THREAD_TAIL / 200 <= 8


@pytest.mark.parametrize(("pitch", "thread"), [(3.0, 0.6), (4.0, 0.8), (5.0, 1.0)])
def test_thread_for_a_pitch(pitch, thread):
    """Common practice, no published source: 0.6 mm for 3, 0.8 for 4, 1.0 for 5."""
    assert thread_diameter(pitch) == thread
