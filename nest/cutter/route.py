"""Route: the contours of a set-up one after another, with little travel between them.

What is fixed: a part is finished before the next is begun; its marks come first, then what lies
inside other cuts of it, deepest first, then what encloses them; a part that lies inside another
part's cut comes before that one. What is free: the order of parts, the order inside each of
those groups, the end where an open contour is begun, and the point where a closed one is begun.
A knife begins on a straight run only, and a closed contour shorter than :data:`SMALL`, such as
a stitch hole, begins at its first point.

The nearest comes next at first, parts by their middles and then contours in each group. Then
parts and the contours of each group in turn are exchanged (2-opt: Croes 1958, Operations
Research 6, 791-812; or-opt: Or 1976, thesis, Northwestern University; both from memory) while
that saves anything. No chance is in it, so the same contours give the same order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from hides.outline import FloatArray
from nest.cutter.contour import Contour, backwards, begun
from nest.cutter.exchange import shorten
from nest.cutter.machine import Machine
from nest.cutter.polyline import Polyline
from nest.errors import CutError

IntArray = NDArray[np.int64]

SMALL = 12.0  # mm around; where to begin on less gains less than 4 mm and mostly nothing
STEP = 2.0  # mm between the places where a knife may begin
RUN = 4.0  # mm to either side of a knife's start that are to be straight
ROUNDS = 3  # over groups, and over parts between; more save next to nothing
TINY = 1e-12  # mm; keeps a stretch without length from dividing by it

NO_RULES = np.zeros((0, 2), dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Route:
    """Contours in the order they are drawn, each beginning where it is to begin.

    Attributes
    ----------
    places : which of the contours given each of them is, by index.
    travel : mm with the tool up, from the start over all contours and back to it.
    """

    contours: tuple[Contour, ...]
    places: tuple[int, ...]
    travel: float


def travel_of(lines: Sequence[Polyline], start: tuple[float, float] = (0.0, 0.0)) -> float:
    """Travel in mm from the start (mm) over the lines as they stand, and back to it."""
    ends = [start, *(end for line in lines for end in (line.start, line.end)), start]
    hops = np.array(ends[1::2]) - np.array(ends[::2])
    return float(np.hypot(*hops.T).sum())


def arrange(
    contours: Sequence[Contour], machine: Machine, start: tuple[float, float] = (0.0, 0.0)
) -> Route:
    """Put contours into the order they are drawn in, and choose where each begins.

    Parameters
    ----------
    contours : mm, on the bed; each part's in any order.
    start : where the tool stands before and after, mm.

    Raises
    ------
    CutError : there is nothing to draw, or parts enclose each other in a ring.
    """
    if not contours:
        raise CutError("there is nothing to cut in this set-up.")
    groups = _groups(contours)
    tour = _Tour(contours, machine, start)
    ways = tour.through(groups, _rules(contours, groups)).tolist()
    found = tuple(tour.drawn(way) for way in ways)
    return Route(found, tuple(way // 2 for way in ways), travel_of(found, start))


# --- what comes before what --------------------------------------------------------------------


def _groups(contours: Sequence[Contour]) -> list[list[list[int]]]:
    """For each part its contours, by index, in the groups they are drawn in."""
    parts: dict[str, list[int]] = {}
    for index, contour in enumerate(contours):
        parts.setdefault(contour.part, []).append(index)
    return [_in_groups(contours, members) for members in parts.values()]


def _in_groups(contours: Sequence[Contour], members: list[int]) -> list[list[int]]:
    marks = [i for i in members if contours[i].work == "mark"]
    cuts = [i for i in members if contours[i].work != "mark"]
    depth = _depths([contours[i] for i in cuts])
    levels = sorted(set(depth), reverse=True)
    groups = [[i for i, d in zip(cuts, depth, strict=True) if d == level] for level in levels]
    return [group for group in (marks, *groups) if group]


def _depths(cuts: Sequence[Contour]) -> list[int]:
    """How many of these contours enclose each."""
    points = shapely.points(np.array([c.start for c in cuts]).reshape(-1, 2))
    depth = np.zeros(len(cuts), dtype=np.int64)
    for k, cut in enumerate(cuts):
        if _encloses(cut):
            inside = np.asarray(shapely.contains_properly(_polygon(cut), points))
            inside[k] = False
            depth += inside
    return [int(d) for d in depth]


def _rules(contours: Sequence[Contour], groups: Sequence[list[list[int]]]) -> IntArray:
    """Pairs of parts (before, after): the first lies inside a cut of the second."""
    tree = shapely.STRtree([Point(contours[part[-1][0]].start) for part in groups])
    pairs = {
        (int(before), after)
        for after, part in enumerate(groups)
        for contour in (contours[i] for group in part for i in group)
        if contour.work != "mark" and _encloses(contour)
        for before in tree.query(_polygon(contour), predicate="contains_properly")
        if before != after
    }
    return np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2)


def _encloses(contour: Contour) -> bool:
    """Whether a contour is closed and so large that other things may lie in it."""
    return contour.closed and contour.length >= SMALL


def _polygon(contour: Contour) -> Polygon:
    shape = Polygon(contour.flat(0.1))
    shapely.prepare(shape)
    return shape


# --- the order ---------------------------------------------------------------------------------


class _Tour:
    """Contours as pairs of ends, and the search for a short way through them.

    Way ``2·i`` draws contour i as it is, way ``2·i + 1`` the other way round; ``begins`` (2n, 2) is
    where each way begins, mm, and way ``w`` ends where ``w ^ 1`` begins. Of a closed contour both
    begin at one point: of a large one anywhere on its ``stretches``, chosen anew whenever its
    neighbours in the order are known, and in its middle before.
    """

    def __init__(
        self, contours: Sequence[Contour], machine: Machine, start: tuple[float, float]
    ) -> None:
        self.contours, self.start = contours, np.array(start)
        large = (i for i, contour in enumerate(contours) if _encloses(contour))
        self.stretches = {i: _stretches(contours[i], machine) for i in large}
        self.begins = np.array([end for c in contours for end in (c.start, c.end)])
        for i in self.stretches:
            self.begins[2 * i : 2 * i + 2] = contours[i].points.mean(axis=0)

    def drawn(self, way: int) -> Contour:
        """A contour as a way draws it."""
        contour = self.contours[way >> 1]
        if way >> 1 in self.stretches:
            return begun(contour, self.begins[way])
        return backwards(contour) if way & 1 and not contour.closed else contour

    def through(self, parts: Sequence[list[list[int]]], rules: IntArray) -> IntArray:
        """The ways of all contours in the order they are drawn."""
        paths = [[2 * np.array(group) for group in part] for part in parts]
        # An outline drawn last lies between its part and all else, and so costs next to nothing.
        rims = [[part.pop()] if self._has_rim(part) else [] for part in paths]
        middles = np.array([self.begins[np.concatenate(part)].mean(axis=0) for part in paths])
        order = self._by_middles(middles, rules)
        for turn in range(ROUNDS):
            if turn:
                order = self._exchange_parts(paths, order, rules)
            self._exchange_inside([paths[k] for k in order], fresh=not turn)
            self._begin(np.concatenate([path for k in order for path in paths[k]]))
        whole = np.concatenate([path for k in order for path in (*paths[k], *rims[k])])
        self._begin(whole)
        return whole

    def _has_rim(self, part: list[IntArray]) -> bool:
        """Whether a part's last group is one contour that is begun anywhere."""
        return len(part) > 1 and len(part[-1]) == 1 and part[-1][0] // 2 in self.stretches

    def _by_middles(self, middles: FloatArray, rules: IntArray) -> list[int]:
        """The order of parts that are taken for points, (p, 2) mm."""
        begin = np.repeat(middles, 2, axis=0)
        inside = np.zeros(len(begin))
        row = _nearest(begin, begin, self.start, rules)
        row = _exchanged(begin, begin, inside, row, (self.start, self.start), rules)
        return [way >> 1 for way in row.tolist()]

    def _exchange_parts(
        self, parts: list[list[IntArray]], order: list[int], rules: IntArray
    ) -> list[int]:
        """Another order of parts, of which some are turned round in place."""
        paths = [np.concatenate(p) for part in parts for p in (part, _turned(part))]
        begin = self.begins[[path[0] for path in paths]]
        end = self.begins[[path[-1] ^ 1 for path in paths]]
        inside = np.array([self._inside(path) for path in paths])
        row = 2 * np.array(order)
        row = _exchanged(begin, end, inside, row, (self.start, self.start), rules)
        for way in row.tolist():
            if way & 1:
                parts[way >> 1] = _turned(parts[way >> 1])
        return [way >> 1 for way in row.tolist()]

    def _exchange_inside(self, parts: Sequence[list[IntArray]], *, fresh: bool) -> None:
        """Draw each group in a shorter order between what comes before and after it, in place."""
        spots = [(part, g) for part in parts for g in range(len(part))]
        here = self.start
        for (part, g), after in zip(spots, [*spots[1:], None], strict=True):
            there = self.start
            if after is not None:
                path = after[0][after[1]]
                there = self.begins[path].mean(axis=0) if fresh else self.begins[path[0]]
            part[g] = self._short(part[g], here, there, fresh=fresh)
            here = self.begins[part[g][-1] ^ 1]

    def _short(
        self, path: IntArray, here: FloatArray, there: FloatArray, *, fresh: bool
    ) -> IntArray:
        """The contours of a path in a shorter order from one point to another, mm."""
        ways = np.stack([path, path ^ 1], axis=-1).ravel()
        begin, end = self.begins[ways], self.begins[ways ^ 1]
        row = _nearest(begin, end, here) if fresh else np.arange(0, len(ways), 2)
        return ways[_exchanged(begin, end, np.zeros(len(ways)), row, (here, there))]

    def _inside(self, path: IntArray) -> float:
        """Travel from the first contour of a path to its last, mm."""
        hops = self.begins[path[1:]] - self.begins[path[:-1] ^ 1]
        return float(np.hypot(*hops.T).sum())

    def _begin(self, path: IntArray) -> None:
        """Begin large closed contours where it costs least between their neighbours."""
        for before, way, after in zip([None, *path[:-1]], path, [*path[1:], None], strict=True):
            if way // 2 in self.stretches:
                here = self.start if before is None else self.begins[before ^ 1]
                there = self.start if after is None else self.begins[after]
                self.begins[[way, way ^ 1]] = _between(self.stretches[way // 2], here, there)


def _turned(part: list[IntArray]) -> list[IntArray]:
    """The same groups, each the other way round."""
    return [path[::-1] ^ 1 for path in part]


def _nearest(
    begin: FloatArray, end: FloatArray, here: FloatArray, rules: IntArray = NO_RULES
) -> IntArray:
    """Rows in the order in which the nearest that may come is next, each in its nearer way."""
    count = len(begin) // 2
    left = np.ones(count, dtype=np.bool_)
    waits = np.bincount(rules[:, 1], minlength=count)
    row = np.empty(count, dtype=np.int64)
    for place in range(count):
        ready = np.repeat(left & (waits == 0), 2)
        if not ready.any():
            raise CutError("parts enclose each other in a ring, so none can come first.")
        way = np.where(ready, np.hypot(*(begin - here).T), np.inf).argmin()
        row[place], here, left[way // 2] = way, end[way], False
        waits[rules[rules[:, 0] == way // 2, 1]] -= 1
    return row


def _exchanged(
    begin: FloatArray,
    end: FloatArray,
    inside: FloatArray,
    row: IntArray,
    home: tuple[FloatArray, FloatArray],
    rules: IntArray = NO_RULES,
) -> IntArray:
    """A row after all exchanges that save travel, between the two points of ``home``."""
    corners = np.repeat(home, 2, axis=0)
    first, last = len(begin), len(begin) + 2
    row = np.array([first, *row, last])
    begin, end = np.concatenate([begin, corners]), np.concatenate([end, corners])
    shorten(begin, end, np.append(inside, np.zeros(4)), row, rules)
    return row[1:-1]


# --- where a closed contour begins -------------------------------------------------------------


def _stretches(contour: Contour, machine: Machine) -> FloatArray:
    """(k, 2, 2) mm, from and to: where a large closed contour may be begun."""
    points = contour.points
    if contour.bulges is not None and contour.bulges.any():
        return np.stack([points, points], axis=1)
    if not machine.is_knife:
        return np.stack([points, np.roll(points, -1, axis=0)], axis=1)
    ring = np.concatenate([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.linspace(0, along[-1], max(round(along[-1] / STEP), 4), endpoint=False)
    at = at[_straight(points, along, at, machine.turn_from)]
    places = np.stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)], axis=-1)
    return np.stack([places, places], axis=1)


def _straight(
    points: FloatArray, along: FloatArray, at: FloatArray, most: float
) -> NDArray[np.bool_]:
    """Which places have little turning around them; the straightest where none has."""
    ahead = np.diff(np.concatenate([points, points[:1]]), axis=0)
    heading = np.arctan2(ahead[:, 1], ahead[:, 0])
    turn = heading - np.roll(heading, 1)
    turn = np.degrees(np.abs((turn + np.pi) % (2 * np.pi) - np.pi))
    gap = np.abs(at[:, None] - along[None, :-1])
    gap = np.minimum(gap, along[-1] - gap)
    bend = np.where(gap <= RUN, turn, 0.0).sum(axis=1)
    return np.asarray(bend <= max(most, float(bend.min())))


def _between(stretches: FloatArray, here: FloatArray, there: FloatArray) -> FloatArray:
    """The point on stretches with the shortest way from here over it to there, mm.

    On a line it is where the way crosses it, or is thrown back as light by a mirror (Heron).
    """
    low, along = stretches[:, 0], stretches[:, 1] - stretches[:, 0]
    length = np.hypot(*along.T)
    unit = along / np.maximum(length, TINY)[:, None]
    (a, high), (b, deep) = (_beside(point - low, unit) for point in (here, there))
    at = np.clip(a + (b - a) * high / np.maximum(high + deep, TINY), 0.0, length)
    points = low + at[:, None] * unit
    ways = np.hypot(*(points - here).T) + np.hypot(*(points - there).T)
    return np.asarray(points[ways.argmin()], dtype=np.float64)


def _beside(arm: FloatArray, unit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far along lines a point lies, and how far off them, mm."""
    return (arm * unit).sum(axis=1), np.abs(unit[:, 0] * arm[:, 1] - unit[:, 1] * arm[:, 0])
