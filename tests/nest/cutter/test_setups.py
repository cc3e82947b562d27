"""Set-ups: parts shared out over beds, marks to lay the hide by, and its correction."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from ortools.sat.python import cp_model
from scipy.spatial.transform import Rotation

from nest import week
from nest.cutter.cover import fewest
from nest.cutter.machine import BED_MARGIN, Machine
from nest.cutter.setups import Move, RegistrationMark, Setup, corrected, places, split
from nest.errors import CutError
from nest.plans import placed_outline
from tests.bench.cutting import laid
from tests.places import ROOT

WEEKS = ROOT / "shared/weeks"
PLAN = laid(week.job_of(week.read(WEEKS / "week-4.week.toml")))


def laser(width, depth):
    return Machine("laser", "laser", (float(width), float(depth)))


def lying(setup):
    """A set-up's parts on its bed."""
    shapes = {p.id: placed_outline(PLAN, p).polygon for p in PLAN.placements}
    return [shapely.transform(shapes[name], setup.to_bed.on) for name in setup.parts]


@pytest.mark.parametrize("bed", [(2000, 2000), (700, 500), (450, 600), (420, 420)])
def test_every_part_is_cut_once_and_whole_inside_the_bed(bed):
    setups = split(PLAN, laser(*bed))
    cut = [name for setup in setups for name in setup.parts]
    assert sorted(cut) == sorted(p.id for p in PLAN.placements)
    room = shapely.box(0, 0, *bed)
    for setup in setups:
        assert all(room.contains(shape) for shape in lying(setup))


def covered(boxes, room, most):
    """Whether ``most`` windows anywhere can hold the boxes; corners are free, not tried one by one.

    Each window's corner is an integer of CP-SAT, in mm as the boxes' sides are.
    """
    model = cp_model.CpModel()
    inside = [[model.new_bool_var("") for _ in range(most)] for _ in boxes]
    for w in range(most):
        x, y = (model.new_int_var(-3000, 3000, "") for _ in range(2))
        for box, held in zip(boxes, inside, strict=True):
            for corner, low, high, size in ((x, box[0], box[2], room[0]),
                                            (y, box[1], box[3], room[1])):  # fmt: skip
                model.add(corner <= low).only_enforce_if(held[w])
                model.add(corner + size >= high).only_enforce_if(held[w])
    for held in inside:
        model.add_at_least_one(held)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    return solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


@pytest.mark.parametrize("seed", range(4))
def test_no_fewer_windows_hold_all_boxes(seed):
    """One window less is proven too few by another model; and each box lies in one window."""
    random = np.random.default_rng(seed)
    low = random.integers(0, 700, (9, 2))
    sides = np.concatenate([low, low + random.integers(30, 150, (9, 2))], axis=1)
    boxes = {f"p{k}": tuple(row) for k, row in enumerate(sides.tolist())}
    groups = fewest(boxes, (300.0, 250.0))
    assert sorted(name for group in groups for name in group) == sorted(boxes)
    for group in groups:
        held = np.array([boxes[name] for name in group])
        assert (held[:, 2:].max(axis=0) - held[:, :2].min(axis=0) <= (300, 250)).all()
    assert covered(boxes.values(), (300, 250), len(groups))
    assert not covered(boxes.values(), (300, 250), len(groups) - 1)


def test_boxes_larger_than_a_window_have_no_cover():
    assert fewest({"a": (0.0, 0.0, 10.0, 10.0), "b": (0.0, 0.0, 10.1, 5.0)}, (10.0, 10.0)) == []
    assert fewest({}, (10.0, 10.0)) == []
    assert fewest({"a": (0.0, 0.0, 10.0, 10.0)}, (10.0, 10.0)) == [("a",)]


@pytest.mark.parametrize(
    ("name", "bed"),
    [
        ("week-4", (600, 400)),
        ("week-12", (600, 400)),
        ("week-12", (450, 600)),
        ("week-30", (700, 500)),  # a sweep takes one more
    ],
)
def test_a_week_takes_the_fewest_set_ups_there_are(name, bed):
    """No cover has fewer windows; that it misses none is proven by the test above.

    Common marks are asked of the set-ups and not of the cover, so it may only be the better.
    """
    plan = laid(week.job_of(week.read(WEEKS / f"{name}.week.toml")))
    shapes = {p.id: placed_outline(plan, p).polygon for p in plan.placements}
    room = (bed[0] - 2 * BED_MARGIN, bed[1] - 2 * BED_MARGIN)
    count = len(split(plan, laser(*bed)))
    for angle in (0, 90):
        boxes = {n: shapely.affinity.rotate(s, angle, (0, 0)).bounds for n, s in shapes.items()}
        assert len(fewest(boxes, room)) >= count


def test_a_large_bed_takes_all_at_once():
    assert len(split(PLAN, laser(3000, 3000))) == 1


@pytest.mark.parametrize("bed", [(700, 500), (450, 600)])
def test_marks_are_in_reach_bare_and_drawn_before_they_are_needed(bed):
    """Two marks each, on this bed and on the one that draws them, off all parts by 4 mm."""
    setups = split(PLAN, laser(*bed))
    assert len(setups) > 1
    parts = shapely.union_all([placed_outline(PLAN, p).polygon for p in PLAN.placements])
    room = shapely.box(0, 0, *bed)
    for setup in setups:
        assert len(setup.marks) >= 2
        for spot in setup.to_bed.on(places(setup.marks)):
            assert room.contains(shapely.Point(spot))
        assert all(parts.distance(shapely.Point(spot)) > 4 for spot in places(setup.marks))
    for setup in setups[1:]:
        drawn = {m.name for before in setups[: setup.number - 1] for m in before.draws}
        assert {m.name for m in setup.marks} <= drawn


def test_a_part_larger_than_the_bed_is_refused_by_name():
    with pytest.raises(CutError, match=r"[A-Z]\d+ \(.+/.+\) takes .* no part is cut in two"):
        split(PLAN, laser(150, 150))


def test_a_small_turn_and_shift_at_the_marks_is_taken_over():
    """The hide lies 1.2° and (3, -2) mm off: read at the marks, every point follows."""
    setup = split(PLAN, laser(700, 500))[1]
    true = Move(setup.to_bed.angle + 1.2, setup.to_bed.x + 3, setup.to_bed.y - 2)
    again = corrected(setup, true.on(places(setup.marks)))
    points = np.random.default_rng(1).uniform(0, 900, (20, 2))
    assert np.abs(again.to_bed.on(points) - true.on(points)).max() < 1e-6
    assert again.parts == setup.parts


def test_a_worked_turn():
    """By hand: marks (0, 0) and (100, 0) found at (10, 20) and 100 mm from there at 3°."""
    setup = split(PLAN, laser(3000, 3000))[0]
    first, second, *_ = setup.marks
    pair = (dataclasses.replace(first, x=0.0, y=0.0), dataclasses.replace(second, x=100.0, y=0.0))
    setup = dataclasses.replace(setup, marks=pair, to_bed=Move(0.0, 0.0, 0.0))
    c, s = math.cos(math.radians(3)), math.sin(math.radians(3))
    move = corrected(setup, [(10.0, 20.0), (10 + 100 * c, 20 + 100 * s)]).to_bed
    assert (move.angle, move.x, move.y) == pytest.approx((3.0, 10.0, 20.0))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda spots: spots[:1], "2 marks; places given: 1"),
        (lambda spots: spots * 1.1, "mm apart"),  # misread by a tenth
        (lambda spots: spots[::-1], "askew"),  # given in the wrong order
    ],
)
def test_marks_that_can_not_be_are_refused(change, says):
    setup = pair()
    with pytest.raises(CutError, match=says):
        corrected(setup, change(setup.to_bed.on(places(setup.marks))))


def pair():
    """A set-up with two marks, 400 mm apart, that lies as the hide does."""
    return Setup(2, ("a",), Move(0.0, 0.0, 0.0), (M3, M4))


M3, M4, M5 = (
    RegistrationMark(f"M{n}", x, y) for n, x, y in ((3, 0.0, 0.0), (4, 400.0, 0.0), (5, 0.0, 300.0))
)


@pytest.mark.parametrize(
    ("longer", "left", "told"),
    [(0.0, 0.0, False), (0.9, 0.45, False), (1.1, 0.55, True), (2.9, 1.45, True)],
)
def test_what_is_left_of_two_marks_is_half_what_their_distance_is_off(longer, left, told):
    """Each gives way by half; said in words above 0.5 mm."""
    setup = corrected(pair(), [(10.0, 20.0), (410.0 + longer, 20.0)])
    assert setup.off == pytest.approx((left, left))
    assert setup.fits == f"within {left:.2f} mm (M3 {left:.2f}, M4 {left:.2f})"
    assert bool(setup.cautions) == told


def test_marks_more_than_a_millimetre_and_a_half_off_are_refused():
    """Before, 400 mm could be misread by 4.5 mm without a word."""
    with pytest.raises(CutError, match=r"one is 1\.6 mm off.* M3 and M4 are 400\.0 mm apart, and"):
        corrected(pair(), [(10.0, 20.0), (413.1, 20.0)])


def test_three_marks_are_all_used():
    """The best turn and shift of three, as scipy's alignment of vectors finds them."""
    setup = dataclasses.replace(pair(), marks=(M3, M4, M5))
    true = Move(1.3, 12.0, -7.0)
    found = true.on(places(setup.marks)) + np.array([[0.4, 0.1], [-0.3, 0.5], [0.2, -0.6]])
    again = corrected(setup, found)
    home = places(setup.marks)
    a, b = (np.column_stack([spots - spots.mean(axis=0), np.zeros(3)]) for spots in (home, found))
    turn, _ = Rotation.align_vectors(b, a)
    assert again.to_bed.angle == pytest.approx(turn.as_euler("zyx", degrees=True)[0], abs=1e-6)
    assert again.to_bed.on(home).mean(axis=0) == pytest.approx(found.mean(axis=0))
    assert again.off == pytest.approx(np.hypot(*(again.to_bed.on(home) - found).T))
    off = np.abs(again.to_bed.on(home) - true.on(home)).max()
    assert off < 0.5  # better than any of the readings' worst


def test_of_three_marks_a_misread_one_is_named_by_its_distance():
    setup = dataclasses.replace(pair(), marks=(M3, M4, M5))
    found = places(setup.marks) + np.array([[0.0, 0.0], [0.0, 0.0], [0.0, 9.0]])
    with pytest.raises(CutError, match=r"M3 and M5 are 300\.0 mm apart, and the places given 309"):
        corrected(setup, found)
    with pytest.raises(CutError, match="in the order M3, M4, M5"):
        corrected(setup, places(setup.marks)[[1, 0, 2]])


@pytest.mark.parametrize("bed", [(3000, 3000), (700, 500)])
def test_a_third_mark_is_put_where_there_is_leather_off_the_line_of_two(bed):
    setups = split(PLAN, laser(*bed))
    three = [setup for setup in setups if len(setup.marks) == 3]
    assert three
    for setup in three:
        spots = places(setup.marks)
        (ax, ay), (bx, by) = spots[1] - spots[0], spots[2] - spots[0]
        assert abs(ax * by - ay * bx) / math.hypot(ax, ay) >= 60
    names = [mark.name for setup in setups for mark in setup.marks]
    assert names == [f"M{k + 1}" for k in range(len(names))]


def test_back_undoes_on():
    move = Move(33.0, 12.0, -7.0)
    points = np.random.default_rng(2).uniform(-50, 50, (9, 2))
    assert np.allclose(move.back(move.on(points)), points)
