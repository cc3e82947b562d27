"""Order: the strokes of a set-up, one after another, with as little travel as can be.

:func:`arrange` keeps the rules of :mod:`nest.cut.ways`, begins with an order of the parts by
OR-tools' routing, and improves it by annealing, each part being begun and left at one of a few
doors (:mod:`nest.cut.inner`, :mod:`nest.cut.doors`), in two searches that differ in the doors.
At last contours are exchanged, turned and moved inside their groups, wherever these begin and
end then. It goes by numbers of tries and a fixed seed, never by a clock, so the same contours
give the same order. Beside the travel stands a bound that no order can beat, which is worked out
on its own (:mod:`nest.cut.least`).
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2
from shapely import LinearRing, LineString

from hides.outline import FloatArray
from nest.cut import doors, inner, tour
from nest.cut.contour import Contour, begun
from nest.cut.least import least
from nest.cut.machine import Machine
from nest.cut.ways import SMALL, IntArray, Ways, drawn, ways_of
from nest.errors import CutError

SEED = 1
EFFORT = 1.0
ROUNDS = 100_000  # changes of the order of parts, in each of
RUNS = 2  # anneals from seeds of their own, of which the best is kept; one in large jobs
NEAREST = (1, 2)  # doors to each end of a group that the next may begin with, in a search each
HEAT = 100.0  # mm; where annealing begins, about what turning a part round may cost
TRIES = 0.5  # shakes of a group for each of its items at last, in jobs of up to
MANY = 100  # parts; fewer in larger ones, where their number makes up for it


@dataclass(frozen=True, eq=False)
class Route:
    """Contours in the order they are drawn, each beginning where it is to begin.

    Attributes
    ----------
    places : which of the contours given each of them is, by index.
    travel : mm with the tool up, from the start over all contours and back to it.
    bound : mm that no order travels less than, by the rules of :mod:`nest.cut.ways`; 0 where
        outlines are all that is cut: each may be begun anywhere, and is reckoned by its nearest
        point to each neighbour, which says next to nothing.
    seconds : time it took to find both.
    start : where the tool stands before and after.
    """

    contours: tuple[Contour, ...]
    places: tuple[int, ...]
    travel: float
    bound: float
    seconds: float
    start: tuple[float, float]

    @property
    def gap(self) -> float:
        """By what part the travel may be longer than the best: travel / bound - 1."""
        return self.travel / self.bound - 1 if self.bound > 0 else math.inf


def travel_of(contours: Sequence[Contour], start: tuple[float, float] = (0.0, 0.0)) -> float:
    """Travel in mm from the start over the contours as they stand, and back to it."""
    ends = [np.array(start)]
    for contour in contours:
        ends += [contour.points[0], contour.points[0 if contour.closed else -1]]
    ends.append(np.array(start))
    hops = np.array(ends[1::2]) - np.array(ends[::2])
    return float(np.hypot(*hops.T).sum())


def arrange(
    contours: Sequence[Contour],
    machine: Machine,
    start: tuple[float, float] = (0.0, 0.0),
    *,
    effort: float = EFFORT,
) -> Route:
    """Put contours into the order they are drawn in, and choose where each begins.

    Parameters
    ----------
    contours : mm, on the bed; each part's in any order.
    start : where the tool stands before and after, mm.
    effort : how long to search; 1 is plenty.

    Raises
    ------
    CutError : there is nothing to draw.
    """
    if not contours:
        raise CutError("there is nothing to cut in this set-up.")
    began = time.perf_counter()
    ways = ways_of(contours, machine, start)
    items, opt = _search(ways, effort)
    found = _exact([drawn(ways, i, int(opt[i])) for i in items], machine, start)
    way = travel_of(found, start)
    bound = 0.0 if _outlines_alone(contours) else least(ways, way)
    places = tuple(int(ways.given[i]) for i in items)
    return Route(found, places, way, min(bound, way), time.perf_counter() - began, start)


def _outlines_alone(contours: Sequence[Contour]) -> bool:
    """Whether no part has more than lines that may be begun anywhere."""
    return all(c.closed and c.length >= SMALL for c in contours if c.part)


def compiled() -> bool:
    """Whether the search was compiled by an earlier run; else :func:`arrange` does so first."""
    found = (Path(one.stats.cache_path or ".") for one in (doors.anneal, tour.settle_all))
    return all(any(folder.glob("*.nbi")) for folder in found)


def _search(ways: Ways, effort: float) -> tuple[tuple[int, ...], IntArray]:
    """Items in the order they are drawn, and the option of each by item: the better of two."""
    order = _parts_in_order(ways)
    with ThreadPoolExecutor() as pool:
        found = pool.map(lambda nearest: _searched(ways, order, effort, nearest), NEAREST)
        return min(found, key=itemgetter(0))[1:]


def _searched(
    ways: Ways, order: IntArray, effort: float, nearest: int
) -> tuple[float, tuple[int, ...], IntArray]:
    """Travel, items and options of one search."""
    work = _work(ways)
    tour.begin(work, order, *ways.start)
    parts = inner.parts_of(ways, work, nearest, SEED)
    gates = inner.doors_of(ways, parts)
    few = min(1.0, MANY / len(order))
    if len(order) > 2:
        order = _annealed(gates, order, int(effort * ROUNDS), max(1, round(RUNS * few)))
    inner.enter(ways, work, parts, doors.doors_of(gates, order))
    tour.settle_all(work, order, effort * TRIES * few, SEED)
    tour.choose_tails(work, order)
    items, home = _items(ways, order, work.seq), ways.start[None]
    taken = work.opt[list(items)]
    hops = np.concatenate([ways.pin[taken], home]) - np.concatenate([home, ways.pout[taken]])
    return float(np.hypot(*hops.T).sum()), items, work.opt


def _annealed(gates: doors.Doors, order: IntArray, rounds: int, runs: int) -> IntArray:
    """The best of some anneals, each from the same order."""
    found = [order.copy() for _ in range(runs)]
    travel = [doors.anneal(gates, one, rounds, HEAT, SEED + k) for k, one in enumerate(found)]
    return found[int(np.argmin(travel))]


def _work(ways: Ways) -> tour.Work:
    count = len(ways.contours)
    return tour.Work(
        pin=ways.pin,
        pout=ways.pout,
        back=ways.back,
        first=ways.first,
        seq=np.arange(count),
        opt=ways.first[:-1].copy(),
        close=ways.close,
        gfirst=ways.gfirst,
        pfirst=ways.pfirst,
        tail=ways.tail,
        start=ways.start,
        at=np.zeros(count, dtype=np.int64),
        pre=np.zeros(len(ways.pin)),
        post=np.zeros(len(ways.pin)),
        dirty=np.ones(count, dtype=np.bool_),
    )


def _items(ways: Ways, order: IntArray, seq: IntArray) -> tuple[int, ...]:
    first = ways.gfirst[ways.pfirst]
    return tuple(int(i) for part in order for i in seq[first[part] : first[part + 1]])


def _exact(
    contours: list[Contour], machine: Machine, start: tuple[float, float]
) -> tuple[Contour, ...]:
    """Begin closed contours right where the way from one neighbour to the other crosses them."""
    if machine.is_knife:
        return tuple(contours)
    found: list[Contour] = []
    here: FloatArray = np.array(start)
    for contour, after in zip(contours, [*contours[1:], None], strict=True):
        there = np.array(start) if after is None else after.points[0]
        better = _crossed(contour, here, there)
        found.append(better)
        here = better.points[0 if better.closed else -1]
    return tuple(found)


def _crossed(contour: Contour, here: FloatArray, there: FloatArray) -> Contour:
    if not contour.closed or contour.bulges is not None or len(contour.points) < 3:
        return contour
    ring, way = LinearRing(contour.points), LineString([here, there])
    crossing = ring.intersection(way)
    if crossing.is_empty or contour.length < SMALL:
        return contour
    point = ring.interpolate(ring.project(crossing.representative_point()))
    return begun(contour, np.array(point.coords[0]))


# --- the first order of the parts --------------------------------------------------------------


def _parts_in_order(ways: Ways) -> IntArray:
    """Parts along a short tour of their middles by OR-tools, enclosed ones first."""
    spots = np.concatenate([ways.start[None], ways.middles])
    apart = np.hypot(*np.moveaxis(spots[:, None] - spots[None], -1, 0))
    manager = pywrapcp.RoutingIndexManager(len(spots), 1, 0)
    model = pywrapcp.RoutingModel(manager)
    matrix = np.round(apart * 10).astype(np.int64).tolist()
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(matrix))
    _add_rules(model, manager, ways.rules, len(spots))
    settings = pywrapcp.DefaultRoutingSearchParameters()
    settings.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    settings.solution_limit = 1  # a better one would take seconds, and annealing forgets it
    answer = model.SolveWithParameters(settings)
    if answer is None:
        raise CutError("parts enclose each other in a ring, so none can come first.")
    order, index = [], answer.Value(model.NextVar(model.Start(0)))
    while not model.IsEnd(index):
        order.append(manager.IndexToNode(index) - 1)
        index = answer.Value(model.NextVar(index))
    return np.array(order, dtype=np.int64)


def _add_rules(
    model: pywrapcp.RoutingModel,
    manager: pywrapcp.RoutingIndexManager,
    rules: IntArray,
    count: int,
) -> None:
    if not len(rules):
        return
    one = model.RegisterUnaryTransitCallback(lambda index: 1)
    model.AddDimension(one, 0, count, True, "place")
    place = model.GetDimensionOrDie("place")
    for before, after in rules.tolist():
        ends = (manager.NodeToIndex(before + 1), manager.NodeToIndex(after + 1))
        model.solver().Add(place.CumulVar(ends[0]) <= place.CumulVar(ends[1]))
