"""Inner: short ways through each part, between a few doors where it may be begun and left.

A door is an option of a contour: where the tool comes down first, or leaves last, the part's
outline left out. Parts of one shape share their ways, however they lie.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hides.outline import FloatArray
from nest.cut import tour
from nest.cut.doors import Doors
from nest.cut.ways import IntArray, Ways

COUNT = 9  # doors of a part, to begin it by and to leave it by
TRIES = 3  # shakes of each group for each way
ALIKE = 2  # digits of a mm in which parts of one shape agree


@dataclass(frozen=True, eq=False)
class Through:
    """The ways through one part; items and options are counted from the part's own first.

    Attributes
    ----------
    entries, exits : (e,), (x,) options.
    cost : (e, x) travel in mm, inf where there is no way.
    rows, taken : (e, x, n) items in the order they are drawn, and the option of each.
    """

    entries: IntArray
    exits: IntArray
    cost: FloatArray
    rows: IntArray
    taken: IntArray


def ways_through(ways: Ways, work: tour.Work, seed: int) -> list[Through]:
    """The ways through every part; those of equal shape are searched once."""
    known: dict[bytes, Through] = {}
    found = []
    for part in range(len(ways.tail)):
        key = _shape(ways, part)
        if key not in known:
            known[key] = _searched(ways, work, part, seed)
        found.append(known[key])
    return found


def doors_of(ways: Ways, through: list[Through]) -> Doors:
    """All doors where they are, for the search of the parts' order."""
    firsts = [ways.first[_span(ways, part)[0]] for part in range(len(through))]
    entries = [t.entries + first for t, first in zip(through, firsts, strict=True)]
    exits = [t.exits + first for t, first in zip(through, firsts, strict=True)]
    return Doors(
        come=ways.pin[np.concatenate(entries)],
        gone=ways.pout[np.concatenate(exits)],
        efirst=_offsets([len(e) for e in entries]),
        xfirst=_offsets([len(x) for x in exits]),
        inside=np.concatenate([t.cost.ravel() for t in through]),
        tfirst=_offsets([t.cost.size for t in through]),
        near=ways.near,
        rules=ways.rules,
        start=ways.start,
    )


def enter(ways: Ways, work: tour.Work, through: list[Through], taken: IntArray) -> None:
    """Draw each part by the way between the doors taken, (p, 2)."""
    for part, (t, (i, j)) in enumerate(zip(through, taken.tolist(), strict=True)):
        low, places = _span(ways, part)
        rows = t.rows[i, j] + low
        work.seq[places] = rows
        work.opt[rows] = t.taken[i, j] + ways.first[low]


def _searched(ways: Ways, work: tour.Work, part: int, seed: int) -> Through:
    low, places = _span(ways, part)
    entries, exits = _chosen(ways, part)
    size = (len(entries), len(exits))
    cost = np.zeros(size)
    rows = np.zeros((*size, places.stop - places.start), dtype=np.int64)
    taken = np.zeros_like(rows)
    tour.all_between(work, part, entries, exits, TRIES, seed, cost, rows, taken)
    first = ways.first[low]
    return Through(entries - first, exits - first, cost, rows - low, taken - first)


def _chosen(ways: Ways, part: int) -> tuple[IntArray, IntArray]:
    """Options far from each other, of the first group and of the last."""
    g, h = ways.pfirst[part], ways.pfirst[part + 1] - 1 - (ways.tail[part] >= 0)
    entries = _far_apart(ways, int(g), ways.pin)
    return entries, ways.back[entries] if g == h else _far_apart(ways, int(h), ways.pout)


def _far_apart(ways: Ways, group: int, ends: FloatArray) -> IntArray:
    items = ways.seq[ways.gfirst[group] : ways.gfirst[group + 1]]
    options = np.concatenate([np.arange(*ways.first[i : i + 2]) for i in sorted(items)])
    spots = ends[options]
    away = np.hypot(*(spots - spots.mean(axis=0)).T)
    chosen: list[int] = []
    for _ in range(min(COUNT, len(options))):
        chosen.append(int(np.argmax(away)))
        if len(chosen) == 1:
            away = np.full(len(options), np.inf)
        away = np.minimum(away, np.hypot(*(spots - spots[chosen[-1]]).T))
        away[chosen] = -1.0
    return np.asarray(options[chosen], dtype=np.int64)


def _shape(ways: Ways, part: int) -> bytes:
    """What parts of one shape have in common wherever they lie: groups and distances."""
    low, places = _span(ways, part)
    options = slice(ways.first[low], ways.first[low + places.stop - places.start])
    sizes = np.diff(ways.gfirst[ways.pfirst[part] : ways.pfirst[part + 1] + 1])
    middle = ways.pin[options].mean(axis=0)
    gaps = [
        np.hypot(*(ends[options] - at).T)
        for ends in (ways.pin, ways.pout)
        for at in (middle, ways.pin[options.start], ways.pin[options.stop - 1])
    ]
    relative = ways.seq[places] - low
    return sizes.tobytes() + relative.tobytes() + np.round(np.array(gaps), ALIKE).tobytes()


def _span(ways: Ways, part: int) -> tuple[int, slice]:
    """A part's first item, and the places of its items without the tail."""
    last = ways.pfirst[part + 1] - (ways.tail[part] >= 0)
    places = slice(int(ways.gfirst[ways.pfirst[part]]), int(ways.gfirst[last]))
    return int(ways.seq[places].min()), places


def _offsets(sizes: list[int]) -> IntArray:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
