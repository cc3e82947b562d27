"""Outline: what its constructor promises, and offsets against textbook geometry."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, MultiPolygon, Point, Polygon, box

from hides.errors import OutlineError
from hides.outline import GRID, SAME_POINT, Outline, buffered, grown, mitred, polygons_of, turned

SQUARE = [(0, 0), (10, 0), (10, 10), (0, 10)]


def test_any_ring_is_brought_to_one_normal_form() -> None:
    """Closed or not, either way round, with repeats: the same square."""
    plain = Outline.of(SQUARE)
    repeated = [(0, 0), (0, 0), (10, 0), (10, SAME_POINT / 2), (10, 10), (0, 10), (0, 0)]
    for ring in (repeated, [*SQUARE, SQUARE[0]]):
        assert np.allclose(Outline.of(ring).points, plain.points, atol=SAME_POINT)
    clockwise = Outline.of(SQUARE[::-1])
    assert clockwise.polygon.exterior.is_ccw
    assert clockwise.polygon.equals(plain.polygon)
    assert not plain.points.flags.writeable
    assert plain.points.dtype == np.float64


def test_outlines_are_equal_by_their_points() -> None:
    """So that what holds one can be compared and kept in sets."""
    assert Outline.of(SQUARE) == Outline.of([*SQUARE, SQUARE[0]])
    assert Outline.of(SQUARE) != Outline.of([(0, 0), (10, 0), (10, 11), (0, 10)])
    assert len({Outline.of(SQUARE), Outline.of(SQUARE)}) == 1
    assert Outline.of(SQUARE) != "square"


@pytest.mark.parametrize(
    ("ring", "says"),
    [
        ([(0, 0), (10, 10), (10, 0), (0, 10)], "crosses or touches itself"),  # a bow tie
        ([(0, 0), (10, 0), (5, 0), (5, 5)], "crosses or touches itself"),  # a spike back
        ([(0, 0), (10, 0), (10, 10), (0, 0), (-5, 5)], "crosses or touches itself"),
        ([(0, 0), (10, 0), (20, 0)], "crosses or touches itself"),  # no area
        ([(0, 0), (10, 0), (0, 0)], "2 distinct points"),
        ([], "shape"),
        ([(0, 0, 0), (1, 0, 0), (1, 1, 0)], "two numbers"),
        ([(0, 0), (float("nan"), 0), (1, 1)], "point 1 .* not a finite number"),
        ([(0, 0), (1, 0), (1, float("inf"))], "point 2 .* not a finite number"),
        ([("a", "b"), (1, 0), (1, 1)], "not a list of number pairs"),
    ],
)
def test_a_ring_that_is_no_shape_is_refused(ring: list[tuple[float, ...]], says: str) -> None:
    """One error that says what is wrong."""
    with pytest.raises(OutlineError, match=says):
        Outline.of(ring)


def test_turning_is_counter_clockwise_and_then_shifts() -> None:
    """A quarter turn takes x to y."""
    assert np.allclose(turned(np.array([[1.0, 0.0]]), 90.0, 5.0, 7.0), [[5.0, 8.0]])
    placed = Outline.of(SQUARE).placed(45.0, 0.0, 0.0)
    assert placed.bounds == pytest.approx((-math.sqrt(50), 0, math.sqrt(50), math.sqrt(200)))


def test_sizes_are_those_of_the_square() -> None:
    """By hand."""
    square = Outline.of(SQUARE)
    assert (square.area, square.polygon.length) == (100.0, 40.0)
    assert square.bounds == (0, 0, 10, 10)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.integers(-300, 300), st.integers(-300, 300)), min_size=4, max_size=25),
    st.floats(0.5, 60.0),
)
def test_grown_convex_area_is_steiners(points: list[tuple[int, int]], distance: float) -> None:
    """Steiner's formula: a convex shape grown by r has area A + P·r + π·r² (Schneider, Convex
    Bodies: The Brunn-Minkowski Theory, section 4.1). Ours lies between r and 1.02 r.
    """
    shape = MultiPoint(points).convex_hull
    assume(isinstance(shape, Polygon) and shape.area > 1.0)
    area = grown(shape, distance).area
    least, most = (
        shape.area + shape.length * r + math.pi * r * r for r in (distance, 1.02 * distance)
    )
    assert least - 1e-6 <= area <= most


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([0.05, 0.5, 3.0, 20.0]), st.floats(1.0, 20.0))
def test_offsets_of_ragged_shapes_never_fall_short(
    seed: int, ragged: float, distance: float
) -> None:
    """Every point of the offset edge is at least the distance away, and little more."""
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0, 2 * np.pi, 150))
    radii = 400 + rng.normal(0, ragged, 150)
    shape = Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    assume(shape.is_valid)
    for offset in (distance, -distance):
        edge = shapely.segmentize(grown(shape, offset).boundary, 2.0)
        gaps = shapely.distance(shape.exterior, shapely.points(shapely.get_coordinates(edge)))
        assert distance <= gaps.min()
        assert gaps.max() <= 1.02 * distance


def star(seed: int, count: int = 12) -> Polygon:
    """A random shape of long edges, its corners turned in and out."""
    rng = np.random.default_rng(seed)
    angles = (np.arange(count) + rng.uniform(-0.3, 0.3, count)) * 2 * np.pi / count
    radii = rng.uniform(60.0, 140.0, count)
    return Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 100_000), st.floats(-4.0, 4.0), st.booleans())
def test_offsets_are_those_of_another_library(seed: int, distance: float, holed: bool) -> None:
    """GEOS's buffer with its arcs in 256 chords is the judge. Round offsets go 1 % farther, and a
    chord's sag beyond that, which shows up to ten times as large in the corners of bays; mitred
    ones are within the grid, the more so the blunter a corner is.
    """
    hole = shapely.transform(star(seed + 1), lambda xy: 0.3 * xy).exterior.coords
    shape = Polygon(star(seed).exterior.coords, [hole] if holed else [])
    assume(abs(distance) > 0.01)
    for ours, theirs, apart in (
        (
            grown(shape, distance),
            shape.buffer(1.01 * distance, quad_segs=64),
            0.012 * abs(distance),
        ),
        (
            mitred(shape, distance, 50.0),
            shape.buffer(distance, join_style="mitre", mitre_limit=50.0),
            0.0,
        ),
    ):
        assert ours.is_valid
        off = shapely.hausdorff_distance(ours.boundary, theirs.boundary, 0.05)
        assert off <= apart + 5 * GRID
        assert len(polygons_of(ours)) == len(polygons_of(theirs))


def test_offsets_split_vanish_and_close_holes() -> None:
    """By hand: squares joined by a neck of 2 mm, a plate of 20 mm with a window of 4 mm."""
    dumbbell = shapely.union_all([box(0, 0, 10, 10), box(20, 0, 30, 10), box(10, 4, 20, 6)])
    for offset in (grown, lambda shape, by: mitred(shape, by, 5.0)):
        assert [p.area for p in polygons_of(offset(dumbbell, -2.0))] == pytest.approx(
            [36, 36], rel=0.02
        )
        assert offset(dumbbell, -6.0).is_empty
        assert offset(Polygon(), 1.0).is_empty
        assert offset(dumbbell, 0.0).equals(dumbbell)
    plate = box(0, 0, 20, 20).difference(box(8, 8, 12, 12))
    assert mitred(plate, 1.0, 5.0).area == pytest.approx(22 * 22 - 2 * 2)
    assert mitred(plate, 2.5, 5.0).area == pytest.approx(25 * 25)
    assert mitred(plate, -1.0, 5.0).area == pytest.approx(18 * 18 - 6 * 6)
    island = shapely.union_all([plate.buffer(-1.0, join_style="mitre"), box(9.5, 9.5, 10.5, 10.5)])
    assert mitred(island, 1.0, 5.0).area == pytest.approx(400 - 16 + 9)


def test_what_is_finer_than_the_grid_is_not_lost() -> None:
    """A crumb grows to a disc, a sliver to a lozenge; shrunk, both are gone."""
    crumb = Polygon([(0, 0), (1e-5, 0), (0, 1e-5)])
    sliver = Polygon([(0, 0), (5e-5, 0), (9, 3e-5)])
    for shape, area in ((crumb, 4 * np.pi), (sliver, 4 * np.pi + 36)):
        assert grown(shape, 2.0).contains(shape)
        assert area <= grown(shape, 2.0).area <= 1.03 * area
        assert grown(shape, -2.0).is_empty


def test_a_corner_too_sharp_for_its_mitre_is_cut_off() -> None:
    """A needle of 3.8° would reach 30 distances out; the cut lies one distance beyond its tip."""
    needle = Polygon([(0, -1), (30, 0), (0, 1)])
    assert mitred(needle, 1.0, 50.0).bounds[2] == pytest.approx(30 + np.hypot(1, 30), abs=GRID)
    assert mitred(needle, 1.0, 5.0).bounds[2] == pytest.approx(31, abs=0.01)


def test_lines_and_points_are_buffered() -> None:
    """A point to a disc, a line to a lozenge with round ends, 1 % larger at most."""
    disc, lozenge = buffered(Point(3, 4), 2.0), buffered(LineString([(0, 0), (9, 0)]), 2.0)
    assert 4 * np.pi <= disc.area <= 1.02**2 * 4 * np.pi
    assert 4 * np.pi + 36 <= lozenge.area <= 1.03 * (4 * np.pi + 36)


def test_polygons_are_found_in_any_geometry_largest_first() -> None:
    """Lines and points have no area and are left out."""
    small, large = box(0, 0, 1, 1), box(5, 5, 9, 9)
    mixed = shapely.GeometryCollection([MultiPolygon([small, large]), small.exterior, Polygon()])
    assert polygons_of(mixed) == [large, small]
    assert polygons_of(small.exterior) == []
