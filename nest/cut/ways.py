"""Ways: the freedom there is in drawing a set of contours, as arrays for the search.

What is fixed: a part is finished before the next is begun; its marks come first, then what
lies inside other cuts of it, deepest first, then what encloses them; a part that lies inside
another part's cut comes before that one. What is free: the order of parts, the order inside
each of those groups, the end where an open contour is begun, and the point where a closed one
is begun. A knife begins on a straight run only, and a closed contour shorter than
:data:`SMALL`, such as a stitch hole, begins at its first point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from hides.outline import FloatArray
from nest.cut.contour import Contour, backwards, begun
from nest.cut.machine import Machine

IntArray = NDArray[np.int64]

SMALL = 12.0  # mm around; where to begin on less gains less than 4 mm and mostly nothing
STEP = 2.0  # mm between the points of a closed contour where it may be begun
RUN = 4.0  # mm to either side of a knife's start that are to be straight
NEAR = 10  # parts that are tried as a part's neighbours
CLOSE = 8  # contours that are tried as a contour's neighbours in its group


@dataclass(frozen=True, eq=False)
class Ways:
    """Contours with the ways to draw them; :mod:`nest.cut.tour` says what the arrays hold.

    Attributes
    ----------
    contours : item i draws ``contours[i]``; the items of a group follow each other, and so do
        the groups of a part: those of group k are gfirst[k] .. gfirst[k + 1].
    given : (n,) which of the contours given each is.
    reach : (n,) mm; how far a start that is allowed may be from the nearest one offered.
    """

    contours: tuple[Contour, ...]
    given: IntArray
    pin: FloatArray
    pout: FloatArray
    back: IntArray
    first: IntArray
    reach: FloatArray
    gfirst: IntArray
    pfirst: IntArray
    tail: IntArray
    near: IntArray
    close: IntArray
    rules: IntArray
    middles: FloatArray
    start: FloatArray


def ways_of(
    contours: Sequence[Contour], machine: Machine, start: tuple[float, float] = (0.0, 0.0)
) -> Ways:
    """Arrange contours in parts and groups, and offer the ways to draw each."""
    parts: dict[str, list[int]] = {}
    for index, contour in enumerate(contours):
        parts.setdefault(contour.part, []).append(index)
    groups = [_groups(contours, members) for members in parts.values()]
    given = [i for part in groups for group in part for i in group]
    items = tuple(contours[i] for i in given)
    gfirst = _offsets([len(group) for part in groups for group in part])
    pfirst = _offsets([len(part) for part in groups])
    starts = [_starts(contour, machine) for contour in items]
    pin, pout, back, first = _options(items, starts)
    boxes = np.array([_box(items[lo:hi]) for lo, hi in pairwise(gfirst[pfirst].tolist())])
    return Ways(
        contours=items,
        given=np.array(given, dtype=np.int64),
        pin=pin,
        pout=pout,
        back=back,
        first=first,
        reach=np.array([_reach(c, at, machine) for c, at in zip(items, starts, strict=True)]),
        gfirst=gfirst,
        pfirst=pfirst,
        tail=_tails(items, gfirst, pfirst),
        near=_near(boxes),
        close=_close(items, gfirst),
        rules=_rules(contours, groups, list(parts)),
        middles=(boxes[:, :2] + boxes[:, 2:]) / 2,
        start=np.array(start, dtype=np.float64),
    )


def drawn(ways: Ways, item: int, option: int) -> Contour:
    """A contour as that option draws it."""
    contour = ways.contours[item]
    if not contour.closed:
        return contour if option == ways.first[item] else backwards(contour)
    return begun(contour, ways.pin[option])


# --- groups ----------------------------------------------------------------------------------


def _groups(contours: Sequence[Contour], members: list[int]) -> list[list[int]]:
    """A part's contours in the groups they are drawn in."""
    marks = [i for i in members if contours[i].work == "mark"]
    cuts = [i for i in members if contours[i].work != "mark"]
    depth = _depths([contours[i] for i in cuts])
    levels = sorted(set(depth), reverse=True)
    groups = [[i for i, d in zip(cuts, depth, strict=True) if d == level] for level in levels]
    return [group for group in (marks, *groups) if group]


def _depths(cuts: Sequence[Contour]) -> list[int]:
    """How many of these contours enclose each."""
    points = shapely.points(np.array([c.points[0] for c in cuts]).reshape(-1, 2))
    depth = np.zeros(len(cuts), dtype=np.int64)
    for k, cut in enumerate(cuts):
        if cut.closed and cut.length >= SMALL:
            inside = np.asarray(shapely.contains_properly(_polygon(cut), points))
            inside[k] = False
            depth += inside
    return [int(d) for d in depth]


def _polygon(contour: Contour) -> Polygon:
    shape = Polygon(contour.flat(0.1))
    shapely.prepare(shape)
    return shape


def _tails(items: Sequence[Contour], gfirst: IntArray, pfirst: IntArray) -> IntArray:
    """Each part's outline where it is drawn last, alone, and can be begun anywhere; else -1."""
    found = np.full(len(pfirst) - 1, -1, dtype=np.int64)
    for part, (g, h) in enumerate(pairwise(pfirst.tolist())):
        last = int(gfirst[h - 1])
        alone = h - g > 1 and gfirst[h] - last == 1
        if alone and items[last].closed and items[last].length >= SMALL:
            found[part] = last
    return found


def _rules(
    contours: Sequence[Contour], groups: Sequence[list[list[int]]], names: list[str]
) -> IntArray:
    """Pairs of parts (before, after): the first lies inside a cut of the second."""
    points = [Point(contours[g[-1][0]].points[0]) for g in groups]
    tree = shapely.STRtree(points)
    place = {name: k for k, name in enumerate(names)}
    pairs = set()
    for contour in contours:
        if contour.work != "mark" and contour.closed and contour.length >= SMALL:
            after = place[contour.part]
            for before in tree.query(_polygon(contour), predicate="contains_properly"):
                if before != after:
                    pairs.add((int(before), after))
    return np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2)


# --- starts ----------------------------------------------------------------------------------


def _starts(contour: Contour, machine: Machine) -> FloatArray:
    """(k, 2) points where a closed contour may be begun; of an open one its ends."""
    if not contour.closed:
        return contour.points[[0, -1]]
    if contour.length < SMALL:
        return contour.points[:1]
    if contour.bulges is not None and contour.bulges.any():
        return contour.points
    ring = np.concatenate([contour.points, contour.points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.linspace(0, along[-1], max(round(along[-1] / STEP), 4), endpoint=False)
    if machine.is_knife:
        at = at[_straight(contour.points, along, at, machine.swivel_threshold)]
    return np.stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)], axis=-1)


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


def _reach(contour: Contour, starts: FloatArray, machine: Machine) -> float:
    """How far from the starts offered an allowed one may be: half their distance."""
    free = contour.closed and contour.length >= SMALL and not machine.is_knife
    straight = contour.bulges is None or not contour.bulges.any()
    return contour.length / len(starts) / 2 if free and straight else 0.0


def _options(
    contours: Sequence[Contour], starts: Sequence[FloatArray]
) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    """Where each option begins and ends, which is its reverse, and each item's first."""
    ends = [at if c.closed else at[::-1] for c, at in zip(contours, starts, strict=True)]
    first = _offsets([len(at) for at in starts])
    back = np.arange(first[-1], dtype=np.int64)
    for k, contour in enumerate(contours):
        if not contour.closed:
            back[first[k]], back[first[k] + 1] = first[k] + 1, first[k]
    return np.concatenate(starts), np.concatenate(ends), back, first


def _offsets(sizes: Sequence[int]) -> IntArray:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def _box(contours: Sequence[Contour]) -> FloatArray:
    points = np.concatenate([c.points for c in contours])
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def _near(boxes: FloatArray) -> IntArray:
    """(p, k) the parts nearest to each by the gap between their boxes, then their middles."""
    low, high = boxes[:, None, :2], boxes[None, :, 2:]
    gaps = np.maximum(0.0, np.maximum(low - high, np.swapaxes(low - high, 0, 1)))
    middles = (boxes[:, :2] + boxes[:, 2:]) / 2
    apart = np.hypot(*np.moveaxis(middles[:, None] - middles[None], -1, 0))
    cost = np.hypot(gaps[..., 0], gaps[..., 1]) + 1e-3 * apart
    np.fill_diagonal(cost, np.inf)
    count = min(NEAR, len(boxes) - 1)
    return np.argsort(cost, axis=1, kind="stable")[:, :count].astype(np.int64)


def _close(items: Sequence[Contour], gfirst: IntArray) -> IntArray:
    """(n, CLOSE) the items nearest to each in its group by middle and size, then -1."""
    found = np.full((len(items), CLOSE), -1, dtype=np.int64)
    for low, high in pairwise(gfirst.tolist()):
        points = [c.points for c in items[low:high]]
        middles = np.array([p.mean(axis=0) for p in points])
        sizes = np.array([np.hypot(*(p - m).T).max() for p, m in zip(points, middles, strict=True)])
        apart = np.hypot(*np.moveaxis(middles[:, None] - middles[None], -1, 0))
        apart -= sizes[:, None] + sizes[None]
        np.fill_diagonal(apart, np.inf)
        count = min(CLOSE, high - low - 1)
        found[low:high, :count] = low + np.argsort(apart, axis=1, kind="stable")[:, :count]
    return found
