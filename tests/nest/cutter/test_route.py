"""The order of cuts: its rules, and how near its travel comes to known shortest ways."""

import itertools
import math

import numpy as np
import pytest
import shapely
from ortools.sat.python import cp_model

from nest.cutter.contour import Contour, circle
from nest.cutter.machine import Machine
from nest.cutter.route import arrange, travel_of
from nest.errors import CutError

LASER = Machine("laser", "laser", (1000.0, 1000.0))
KNIFE = Machine("knife", "oscillating", (1000.0, 1000.0), holes="none")

# eil51 of the open library TSPLIB, from memory; its shortest tour is 428.87 long in plain
# distances (426 in rounded ones), from memory.
EIL51 = (
    "37 52 49 49 52 64 20 26 40 30 21 47 17 63 31 62 52 33 51 21 42 41 31 32 5 25 12 42 36 16 "
    "52 41 27 23 17 33 13 13 57 58 62 42 42 57 16 57 8 52 7 38 27 68 30 48 43 67 58 48 58 27 "
    "37 69 38 46 46 10 61 33 62 63 63 69 32 22 45 35 59 15 5 6 10 17 21 10 5 64 30 15 39 10 32 "
    "39 25 32 25 55 48 28 56 37 30 40"
)
EIL51_SHORTEST = 428.87


def dots(points, part="a"):
    """Holes so small that they are points."""
    return [circle(point, 1e-6, part) for point in points]


def line(p, q, part="a", work="mark"):
    return Contour(np.array([p, q], dtype=float), False, work, part)


def square(x, y, size, part, work="cut"):
    corners = np.array([[x, y], [x + size, y], [x + size, y + size], [x, y + size]], dtype=float)
    return Contour(corners, True, work, part, what="outline")


def kit(count, seed=0):
    """Parts in a row of rows: each with a mark, holes and an outline."""
    random, found = np.random.default_rng(seed), []
    for k in range(count):
        x, y, name = 100.0 * (k % 4), 100.0 * (k // 4), f"p{k}"
        found.append(square(x, y, 90, name))
        found.append(line((x + 10, y + 10), (x + 80, y + 15), name))
        found += dots(random.uniform(20, 80, (12, 2)) + np.array([x, y]), name)
    return found


def shortest(points, start):
    """The shortest round over start and points, proven by CP-SAT, mm."""
    spots = np.concatenate([[start], points])
    apart = np.hypot(*np.moveaxis(spots[:, None] - spots[None], -1, 0))
    model = cp_model.CpModel()
    arcs = [(i, k, model.new_bool_var("")) for i, k in itertools.permutations(range(len(spots)), 2)]
    model.add_circuit(arcs)
    model.minimize(sum(round(1000 * apart[i, k]) * taken for i, k, taken in arcs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value / 1000


# --- known shortest ways -----------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_small_tour_is_the_shortest(seed):
    """CP-SAT proves the optimum of 12 points; exchanges meet it here, which they need not."""
    points = np.random.default_rng(seed).uniform(0, 300, (12, 2))
    best = shortest(points, (0.0, 0.0))
    route = arrange(dots(points), LASER)
    assert route.travel == pytest.approx(best, abs=0.02)


def test_a_published_tour_is_met_within_two_percent():
    """eil51 by TSPLIB (from memory): no travel is below its optimum."""
    points = np.array(EIL51.split(), dtype=float).reshape(-1, 2)
    assert len(points) == 51
    route = arrange(dots(points[1:]), LASER, tuple(points[0]))
    assert EIL51_SHORTEST - 0.01 <= route.travel <= 1.02 * EIL51_SHORTEST


def test_open_strokes_are_begun_at_their_better_ends():
    """Five lines: all orders and directions are tried one by one."""
    random = np.random.default_rng(5)
    lines = [line(*random.uniform(0, 200, (2, 2))) for _ in range(5)]
    ends = [c.points for c in lines]
    best = min(
        travel_of([line(*ends[i][:: (1, -1)[turn]]) for i, turn in zip(row, ways, strict=True)])
        for row in itertools.permutations(range(5))
        for ways in itertools.product((False, True), repeat=5)
    )
    route = arrange(lines, LASER)
    assert route.travel == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_several_parts_take_the_shortest_way(seed):
    """Three parts of a line and two holes: all orders and directions, one by one.

    An outline between a hole in it and a line in another part lies on the way and costs nothing.
    """
    random = np.random.default_rng(seed)
    corners = [(0.0, 0.0), (150.0, 20.0), (40.0, 140.0)]
    inside = [random.uniform(10, 90, (4, 2)) + corner for corner in corners]
    given = [
        contour
        for k, ((x, y), spots) in enumerate(zip(corners, inside, strict=True))
        for contour in (
            square(x, y, 100, f"p{k}"), line(*spots[:2], f"p{k}"), *dots(spots[2:], f"p{k}"),
        )
    ]  # fmt: skip
    start = np.array([(-30.0, -30.0)])
    best = math.inf
    for row in itertools.permutations(range(3)):
        for ways in itertools.product(((0, 1, 2, 3), (1, 0, 2, 3), (0, 1, 3, 2), (1, 0, 3, 2)),
                                      repeat=3):  # fmt: skip
            stops = np.concatenate([start, *(inside[k][list(ways[k])] for k in row), start])
            hops = np.hypot(*np.diff(stops, axis=0).T)
            best = min(best, hops.sum() - hops[1::4].sum())  # without drawing the lines
    route = arrange(given, LASER, (-30.0, -30.0))
    assert route.travel == pytest.approx(best, abs=0.01)


def options(contour, count=80):
    """Where a contour may be begun and where it is left then: both ends, or points all round."""
    if not contour.closed:
        return [(contour.points[0], contour.points[-1]), (contour.points[-1], contour.points[0])]
    ring = shapely.LinearRing(contour.points)
    places = [ring.interpolate(k / count, normalized=True) for k in range(count)]
    return [(np.array(place.coords[0]),) * 2 for place in places]


def through(states, group):
    """Least travel to each end of a group after all its contours (Held & Karp's recursion)."""
    ways = [options(contour) for contour in group]
    best = {}
    for k, own in enumerate(ways):
        for begin, end in own:
            cost = min(c + math.dist(at, begin) for at, c in states)
            best[1 << k, k, tuple(end)] = cost
    for _ in ways[1:]:
        on = {}
        for (done, _, at), cost in best.items():
            for k, own in enumerate(ways):
                for begin, end in () if done >> k & 1 else own:
                    key = (done | 1 << k, k, tuple(end))
                    on[key] = min(on.get(key, math.inf), cost + math.dist(at, begin))
        best = on
    return [(at, cost) for (_, _, at), cost in best.items()]


def least_of_all(parts, rules, start):
    """The least travel over all orders: of parts that keep the rules, and inside each group."""
    found = math.inf
    for row in itertools.permutations(range(len(parts))):
        if all(row.index(before) < row.index(after) for before, after in rules):
            states = [(start, 0.0)]
            for group in (group for k in row for group in parts[k]):
                states = through(states, group)
            found = min(found, *(cost + math.dist(at, start) for at, cost in states))
    return found


def cross(at, part):
    x, y = at
    return [line((x - 1, y), (x + 1, y), part, "hole"), line((x, y - 1), (x, y + 1), part, "hole")]


@pytest.mark.parametrize("seed", range(3))
def test_parts_in_parts_take_nearly_the_least_way(seed):
    """Crosses, marks, a window, and a part in that window, which must come first: all ways tried.

    Closed contours are begun at 80 points all round, so the least found is up to some mm long.
    """
    random = np.random.default_rng(seed)
    spots = [random.uniform(low, high, 2) for low, high in ((5, 30), (55, 65), (125, 170))]
    large = [
        [line(*random.uniform(5, 35, (2, 2)), "large")],
        [*cross(spots[0], "large"), square(40, 40, 40, "large", "hole")],
        [square(0, 0, 100, "large")],
    ]
    small = [cross(spots[1], "small"), [square(50, 50, 20, "small")]]
    other = [[line(*random.uniform(125, 170, (2, 2)), "other")], cross(spots[2], "other"),
             [square(120, 120, 60, "other")]]  # fmt: skip
    given = [c for part in (large, small, other) for group in part for c in group]
    start = (-20.0, 10.0)
    best = least_of_all((large, small, other), [(1, 0)], start)
    route = arrange(given, LASER, start)
    assert best - 5.0 <= route.travel <= 1.03 * best


@pytest.mark.parametrize("seed", range(12))
def test_small_jobs_are_hardly_longer_than_the_shortest(seed):
    """Seven holes, all 5,040 orders tried: at most a tenth more."""
    points = np.random.default_rng(seed).uniform(0, 300, (7, 2))
    rows = points[np.array(list(itertools.permutations(range(7))))]
    ends = np.zeros((len(rows), 1, 2))
    hops = np.diff(np.concatenate([ends, rows, ends], axis=1), axis=1)
    best = np.hypot(hops[..., 0], hops[..., 1]).sum(axis=1).min()
    assert best - 0.01 <= arrange(dots(points), LASER).travel <= 1.1 * best


@pytest.mark.parametrize("seed", range(4))
def test_no_order_is_longer_than_going_to_the_nearest(seed):
    """And no stretch of it can be turned round for a shorter one (what 2-opt promises)."""
    points = np.random.default_rng(seed).uniform(0, 900, (80, 2))
    route = arrange(dots(points), LASER)
    here, nearest, left = np.zeros(2), 0.0, points
    while len(left):
        away = np.hypot(*(left - here).T)
        nearest, here = nearest + away.min(), left[away.argmin()]
        left = np.delete(left, away.argmin(), axis=0)
    assert route.travel < nearest + math.hypot(*here)
    stops = np.array([(0.0, 0.0), *(c.start for c in route.contours), (0.0, 0.0)])
    for i, k in itertools.combinations(range(len(stops) - 1), 2):
        old = math.dist(stops[i], stops[i + 1]) + math.dist(stops[k], stops[k + 1])
        new = math.dist(stops[i], stops[k]) + math.dist(stops[i + 1], stops[k + 1])
        assert old <= new + 1e-4


def test_an_outline_begins_where_the_way_crosses_it():
    """One hole in a square: out and back on one straight line, which the outline costs nothing."""
    route = arrange([square(50, 50, 100, "a"), *dots([(100.0, 100.0)])], LASER)
    assert route.travel == pytest.approx(2 * math.hypot(100, 100), abs=0.01)


# --- rules -------------------------------------------------------------------------------------


def test_a_part_is_finished_before_the_next_and_in_its_order():
    """Marks, then holes, then the outline; no part is come back to."""
    route = arrange(kit(8), LASER)
    rows = [(part, [c.work for c in run]) for part, run in itertools.groupby(
        route.contours, key=lambda c: c.part)]  # fmt: skip
    assert len(rows) == 8
    for _, works in rows:
        assert works == sorted(works, key=["mark", "hole", "cut"].index)


def test_what_is_enclosed_comes_first():
    """A hole in a window in a part, and a small part inside a window of a large one."""
    window = square(40, 40, 60, "large", "hole")
    small = square(50, 50, 20, "small")
    route = arrange([square(0, 0, 200, "large"), window, small], LASER)
    assert [(c.part, c.work) for c in route.contours] == [
        ("small", "cut"), ("large", "hole"), ("large", "cut"),
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
def test_each_small_part_comes_before_the_large_one_around_it(seed):
    """Twelve frames in any order, a part in each, and one more in that, far from short ways."""
    random, given = np.random.default_rng(seed), []
    for k, (x, y) in enumerate(random.permutation(np.argwhere(np.ones((4, 3))) * 110.0)):
        frame = [square(x, y, 100, f"frame {k}"), square(x + 10, y + 10, 80, f"frame {k}", "hole")]
        middle = [square(x + 20, y + 20, 60, f"middle {k}"),
                  square(x + 30, y + 30, 40, f"middle {k}", "hole")]  # fmt: skip
        given += [*frame, *middle, square(x + 40, y + 40, 20, f"small {k}")]
    order = [
        c.part for c in arrange([given[i] for i in random.permutation(len(given))], LASER).contours
    ]
    for k in range(12):
        places = [order.index(f"{name} {k}") for name in ("small", "middle", "frame")]
        assert places == sorted(places)


def test_parts_that_enclose_each_other_are_refused():
    """Two squares that overlap, each begun inside the other: neither can come first."""
    one, two = square(0, 0, 100, "one"), square(50, 50, 100, "two")
    one = Contour(np.roll(one.points, -2, axis=0), True, "cut", "one")
    with pytest.raises(CutError, match="enclose each other in a ring"):
        arrange([one, two], LASER)


@pytest.mark.parametrize("machine", [LASER, KNIFE], ids=["laser", "knife"])
def test_contours_stay_the_same_lines(machine):
    """Only start and direction may change: same ring, same way round, same bulges' length."""
    given = kit(5)
    route = arrange(given, machine)
    assert sorted(route.places) == list(range(len(given)))
    for place, contour in zip(route.places, route.contours, strict=True):
        old = given[place]
        assert contour.length == pytest.approx(old.length)
        assert contour.area == pytest.approx(old.area)
        assert shapely.LineString(contour.points).hausdorff_distance(
            shapely.LineString(old.points) if not old.closed else shapely.LinearRing(old.points)
        ) < 45  # a ring's missing last side is at most half of it  # fmt: skip


def test_a_knife_begins_on_a_straight_run():
    """4 mm from every corner of the square."""
    route = arrange(kit(5), KNIFE)
    for contour in route.contours:
        if contour.work == "cut":
            before, start, after = contour.points[-1], contour.points[0], contour.points[1]
            assert min(math.dist(before, start), math.dist(start, after)) >= 4 - 1e-6


def test_the_order_is_the_same_each_time():
    first, again = arrange(kit(8), LASER), arrange(kit(8), LASER)
    assert first.travel == again.travel
    assert first.places == again.places
    for one, two in zip(first.contours, again.contours, strict=True):
        assert np.array_equal(one.points, two.points)
    assert first.travel == pytest.approx(travel_of(first.contours))


def test_nothing_to_cut_is_refused():
    with pytest.raises(CutError, match="nothing to cut"):
        arrange([], LASER)
