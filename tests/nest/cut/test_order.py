"""The order of cuts: its rules, known shortest tours, and a bound that is one."""

import itertools
import math
import os
import subprocess
import sys

import numpy as np
import pytest
import shapely
from ortools.sat.python import cp_model

from nest.cut.circuit import least_round
from nest.cut.contour import Contour, circle
from nest.cut.doors import Doors, anneal, doors_of, ways_between
from nest.cut.least import Group
from nest.cut.machine import Machine
from nest.cut.order import arrange, compiled, travel_of
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
    """CP-SAT proves the optimum of 12 points; search and bound must enclose it."""
    points = np.random.default_rng(seed).uniform(0, 300, (12, 2))
    best = shortest(points, (0.0, 0.0))
    route = arrange(dots(points), LASER)
    assert route.travel == pytest.approx(best, abs=0.02)
    assert 0.9 * best <= route.bound <= best + 0.02


def test_a_published_tour_is_met_within_two_percent():
    """eil51 by TSPLIB (from memory): no bound above its optimum, no travel below."""
    points = np.array(EIL51.split(), dtype=float).reshape(-1, 2)
    assert len(points) == 51
    route = arrange(dots(points[1:]), LASER, tuple(points[0]))
    assert EIL51_SHORTEST - 0.01 <= route.travel <= 1.02 * EIL51_SHORTEST
    assert 0.95 * EIL51_SHORTEST <= route.bound <= EIL51_SHORTEST + 0.01


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
    assert route.bound <= best + 1e-6


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
    assert 0.8 * best <= route.bound <= best + 1e-6


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
def test_bound_and_search_enclose_the_least_way_of_parts_in_parts(seed):
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
    assert 0.5 * best <= route.bound <= best + 1e-6
    assert route.bound <= route.travel
    assert best - 5.0 <= route.travel <= 1.03 * best


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


def test_the_bound_is_below_and_the_same_each_time():
    first, again = arrange(kit(8), LASER), arrange(kit(8), LASER)
    assert first.bound < first.travel == again.travel
    assert first.bound == again.bound
    assert first.places == again.places
    assert first.travel == pytest.approx(travel_of(first.contours))


def test_outlines_alone_have_no_bound():
    """Each counts by its nearest point to each neighbour, which would say next to nothing."""
    route = arrange([square(110 * k, 0, 100, f"p{k}") for k in range(4)], KNIFE)
    assert route.bound == 0
    assert route.gap == math.inf
    assert route.travel > 0


def test_what_was_compiled_once_is_found(tmp_path):
    """Arranging compiles; in a folder without compiled code there is none."""
    arrange(kit(3), LASER)
    assert compiled()
    asked = "from nest.cut.order import compiled; print(compiled())"
    empty = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    told = subprocess.run(
        [sys.executable, "-c", asked], env=empty, check=True, capture_output=True, text=True
    ).stdout
    assert told.strip() == "False"


def test_nothing_to_cut_is_refused():
    with pytest.raises(CutError, match="nothing to cut"):
        arrange([], LASER)


# --- ways through groups and between doors ------------------------------------------------------


def ways_through(table):
    """The least way through all places from each to each other, all orders tried."""
    count = len(table)
    found = np.full((count, count), np.inf)
    for row in itertools.permutations(range(count)):
        cost = sum(table[a, b] for a, b in itertools.pairwise(row))
        found[row[0], row[-1]] = min(found[row[0], row[-1]], cost)
    return found


@pytest.mark.parametrize("seed", range(4))
def test_what_is_known_of_a_group_is_never_more_than_its_ways(seed):
    """Seven places; every pair looked at. A pair's own look brings it near its least way."""
    points = np.random.default_rng(seed).uniform(0, 50, (7, 2))
    group = Group(np.hypot(*np.moveaxis(points[:, None] - points[None], -1, 0)))
    exact = ways_through(group.table)
    pairs = [(i, j) for i in range(7) for j in range(i)]
    for i, j in pairs:
        before = group.least.copy()
        group.look(i, j)
        assert (group.least >= before).all()
        assert (group.least <= exact + 1e-9).all()
    ratio = [group.least[pair] / exact[pair] for pair in pairs]
    assert min(ratio) > 0.8
    assert np.mean(ratio) > 0.95


@pytest.mark.parametrize("seed", range(3))
def test_annealing_finds_the_least_way_by_doors(seed):
    """Four parts with three entries and two exits each: the least of all, reckoned one by one."""
    random = np.random.default_rng(seed)
    count, home = 4, np.array([[0.0, 0.0]])
    come = np.concatenate([random.uniform(0, 100, (3 * count, 2)), home])
    gone = np.concatenate([random.uniform(0, 100, (2 * count, 2)), home])
    efirst, xfirst, tfirst = (
        np.append(np.arange(count + 1) * size, count * size + 1) for size in (3, 2, 6)
    )
    inside = np.append(random.uniform(10, 40, 6 * count), 0.0)
    between = ways_between(come, gone, efirst, xfirst, inside, tfirst)
    near = np.array([[q for q in range(count) if q != p] for p in range(count)])
    rules = np.zeros((0, 2), dtype=np.int64)
    doors = Doors(come, gone, efirst, xfirst, inside, tfirst, between, near, rules)

    def travel(order, taken):
        here, total = home[0], 0.0
        for part, (i, j) in zip(order, taken, strict=True):
            total += math.dist(here, come[3 * part + i]) + inside[6 * part + 2 * i + j]
            here = gone[2 * part + j]
        return total + math.dist(here, home[0])

    choices = list(itertools.product(itertools.product(range(3), range(2)), repeat=count))
    least = min(
        travel(order, taken) for order in itertools.permutations(range(count)) for taken in choices
    )
    order = np.arange(count)
    found = anneal(doors, order, 2000, 50.0, 1)
    taken = doors_of(doors, order)
    assert sorted(order) == list(range(count))
    assert found == pytest.approx(travel(order, taken[order]), abs=0.01)
    assert found == pytest.approx(least, abs=0.01)


# --- the round over parts ------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_the_round_is_bounded_below_its_least(seed):
    """All rounds of 7 places with costs that differ by direction, one by one."""
    cost = np.random.default_rng(seed).uniform(1, 100, (7, 7))
    rounds = (
        sum(cost[a, b] for a, b in itertools.pairwise((0, *row, 0)))
        for row in itertools.permutations(range(1, 7))
    )
    best = min(rounds)
    assert 0.9 * best <= least_round(cost) <= best + 1e-6


def test_the_round_leaves_every_set():
    """Two far pairs: going to and fro in each would cost 4, the round costs 202."""
    cost = np.array([[0, 1, 100, 101], [1, 0, 101, 100], [100, 101, 0, 1], [101, 100, 1, 0]])
    assert least_round(cost.astype(float)) == pytest.approx(202, abs=0.1)
