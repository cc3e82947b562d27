"""Inner: short ways through the groups of each part, between a few doors.

A door is an option of a contour by which its group may be begun, or, the other way round, left.
Groups of one shape share their ways, however they lie. The ways through a part are those through
its groups with the hops between them; its outline, drawn last, is left out.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from hides.outline import FloatArray
from nest.cut import ascent, tour
from nest.cut.doors import Doors, ways_between
from nest.cut.ways import IntArray, Ways

DOORS = 16  # of a group, in jobs of up to
MANY = 100  # parts; in larger ones
THRIFTY = 8  # do
TRIES = 2  # shakes for each way between two
FEW, MORE = 12, 2  # a group of two to so few contours, as of marks, gets so many times both
ROW = 1.5  # times as far as its nearest is the second neighbour of a row's end, at least
ALIKE = 2  # digits of a mm in which groups of one shape agree


@dataclass(frozen=True, eq=False)
class Through:
    """The ways through one group; items and options are counted from the group's own first.

    Attributes
    ----------
    doors : (d,) options.
    cost : (d, d) travel in mm from a door to the reverse of another, inf where there is no way.
    rows, taken : (d, d, n) items in the order they are drawn, and the option of each.
    """

    doors: IntArray
    cost: FloatArray
    rows: IntArray
    taken: IntArray


@dataclass(frozen=True, eq=False)
class Part:
    """The ways through one part, group by group.

    Attributes
    ----------
    groups : their ways.
    links : between neighbouring groups (d, e), hops from each door left to each door begun with.
    reach : for each group (d, e) the least travel from a door of the part's first to the reverse
        of one of that group's.
    """

    groups: tuple[Through, ...]
    links: tuple[FloatArray, ...]
    reach: tuple[FloatArray, ...]


def parts_of(ways: Ways, work: tour.Work, nearest: int, seed: int) -> list[Part]:
    """The ways through every part; groups of equal shape are searched once.

    A group after another is begun with the doors ``nearest`` to each end of that one.
    """
    groups = [
        range(ways.pfirst[part], ways.pfirst[part + 1] - (tail >= 0))
        for part, tail in enumerate(ways.tail)
    ]
    shapes = {group: _shape(ways, group) for part in groups for group in part}
    first = {shape: group for group, shape in reversed(shapes.items())}
    with ThreadPoolExecutor() as pool:  # groups share nothing that is written
        found = pool.map(lambda group: _searched(ways, work, group, nearest, seed), first.values())
        known = dict(zip(first, found, strict=True))
    return [
        _part(ways, k, tuple(known[shapes[group]] for group in part))
        for k, part in enumerate(groups)
    ]


def doors_of(ways: Ways, parts: list[Part]) -> Doors:
    """All doors where they are, for the search of the parts' order."""
    entries = [_doors(ways, k, part.groups[0]) for k, part in enumerate(parts)]
    exits = [_doors(ways, k, part.groups[-1], len(part.groups) - 1) for k, part in enumerate(parts)]
    reach = [part.reach[-1].ravel() for part in parts]
    home = ways.start[None]
    come = np.concatenate([ways.pin[np.concatenate(entries)], home])
    # where an option begins, its reverse ends
    gone = np.concatenate([ways.pin[np.concatenate(exits)], home])
    inside = np.concatenate([*reach, [0.0]])
    efirst, xfirst = (_offsets([*map(len, found), 1]) for found in (entries, exits))
    tfirst = _offsets([*map(len, reach), 1])
    between = ways_between(come, gone, efirst, xfirst, inside, tfirst)
    near, rules = ways.near, ways.rules
    return Doors(come, gone, efirst, xfirst, inside, tfirst, between, near, rules)


def enter(ways: Ways, work: tour.Work, parts: list[Part], taken: IntArray) -> None:
    """Draw each part by its least way between the doors taken, (p, 2)."""
    for k, (part, (first, last)) in enumerate(zip(parts, taken.tolist(), strict=True)):
        for g in range(len(part.groups) - 1, -1, -1):
            through = part.groups[g]
            begun = first
            if g > 0:
                on = part.reach[g - 1][first][:, None] + part.links[g - 1]
                left, begun = divmod(int((on + through.cost[:, last]).argmin()), on.shape[1])
            group = ways.pfirst[k] + g
            places = slice(ways.gfirst[group], ways.gfirst[group + 1])
            low = int(ways.gfirst[group])
            rows = through.rows[begun, last] + low
            work.seq[places] = rows
            work.opt[rows] = through.taken[begun, last] + ways.first[low]
            last = left if g > 0 else last


def _part(ways: Ways, part: int, groups: tuple[Through, ...]) -> Part:
    links: list[FloatArray] = []
    reach = [groups[0].cost]
    for g, (one, two) in enumerate(pairwise(groups)):
        left, begun = ways.pin[_doors(ways, part, one, g)], ways.pin[_doors(ways, part, two, g + 1)]
        links.append(np.hypot(*np.moveaxis(left[:, None] - begun[None], -1, 0)))
        reach.append(ascent.least_sum(ascent.least_sum(reach[-1], links[-1]), two.cost))
    return Part(groups, tuple(links), tuple(reach))


def _searched(ways: Ways, work: tour.Work, group: int, nearest: int, seed: int) -> Through:
    low, doors = int(ways.gfirst[group]), _chosen(ways, group)
    count = len(doors)
    cost = np.zeros((count, count))
    rows = np.zeros((count, count, ways.gfirst[group + 1] - ways.gfirst[group]), dtype=np.int64)
    taken = np.zeros_like(rows)
    tries = TRIES * _times(ways, group)
    begins = _begins(ways, group, doors, nearest)
    tour.all_between(work, group, doors, begins, tries, seed, cost, rows, taken)
    first = ways.first[low]
    return Through(doors - first, cost, rows - low, taken - first)


def _begins(ways: Ways, group: int, doors: IntArray, nearest: int) -> NDArray[np.bool_]:
    """Which doors are near where the group before is left; all in a part's first group."""
    if group in ways.pfirst:
        return np.ones(len(doors), dtype=np.bool_)
    before = ways.pin[_options(ways, group - 1)]
    ranks = [*range(1, min(nearest, len(doors)) + 1)]
    found = cKDTree(ways.pin[doors]).query(before, k=ranks)[1]
    return np.isin(np.arange(len(doors)), found)


def _chosen(ways: Ways, group: int) -> IntArray:
    """Options of a group whose beginnings are far from each other, first the ends of rows."""
    options = _options(ways, group)
    spots = ways.pin[options]
    ends = _row_ends(spots)
    away = np.hypot(*(spots - spots.mean(axis=0)).T)
    chosen: list[int] = []
    most = (DOORS if len(ways.tail) <= MANY else THRIFTY) * _times(ways, group)
    for _ in range(min(most, len(options))):
        left = ends if away[ends].max(initial=-1.0) > 0 else np.arange(len(options))
        chosen.append(int(left[np.argmax(away[left])]))
        gaps = np.hypot(*(spots - spots[chosen[-1]]).T)
        away = gaps if len(chosen) == 1 else np.minimum(away, gaps)
        away[chosen] = -1.0
    return options[chosen]


def _row_ends(spots: FloatArray) -> IntArray:
    """Which spots have one neighbour that is much nearer than any other."""
    if len(spots) < 3:
        return np.arange(len(spots), dtype=np.int64)
    near = np.asarray(cKDTree(spots).query(spots, k=3)[0])
    return np.flatnonzero(near[:, 2] > ROW * near[:, 1]).astype(np.int64)


def _shape(ways: Ways, group: int) -> bytes:
    """What groups of one shape have in common wherever they lie: order and distances."""
    options = _options(ways, group)
    middle = ways.pin[options].mean(axis=0)
    gaps = [
        np.hypot(*(ends[options] - at).T)
        for ends in (ways.pin, ways.pout)
        for at in (middle, *ways.pin[options[[0, len(options) // 3, -1]]])
    ]
    low, high = ways.gfirst[group : group + 2]
    sizes = np.diff(ways.first[low : high + 1])
    return sizes.tobytes() + np.round(np.array(gaps), ALIKE).tobytes()


def _doors(ways: Ways, part: int, through: Through, group: int = 0) -> IntArray:
    """The doors of a part's group as options of all."""
    first = ways.first[ways.gfirst[ways.pfirst[part] + group]]
    return np.asarray(through.doors + first, dtype=np.int64)


def _options(ways: Ways, group: int) -> IntArray:
    low, high = ways.first[ways.gfirst[group : group + 2]]
    return np.arange(low, high, dtype=np.int64)


def _times(ways: Ways, group: int) -> int:
    return MORE if 1 < ways.gfirst[group + 1] - ways.gfirst[group] <= FEW else 1


def _offsets(sizes: list[int]) -> IntArray:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
