"""Real hides with holes and zones of quality: our search beside a constructive baseline.

    python -m tests.bench.leather ../shared/esicup/leather/*.json --seconds 60

The instances are those of Baldacci, Boschetti, Ganovelli & Maniezzo 2014 (Discrete Applied
Mathematics 163, 17-33): items of a demand are to be cut from several hides. An item of quality
b may cover zones of quality b or better (larger), one without a quality no zone at all; zones
of an item say the same for a piece of it. Turning is free.

Hides lie side by side along x, largest net area first, as one ground of several pieces, and
parts are gathered towards small x. So the frontier passes through the hides one after another,
and where it stands tells how many are needed and how much of the last. Hides are scaled to
about :data:`HIDE_AREA` on average, so that tolerances in mm mean the same in all files.

No table of results is published. The baseline is a constructive one, as most published work on
leather: parts in a sequence, large ones first, each at the best of many sampled free places,
slid back and down; then two parts of the sequence change places, and the better one is kept,
until the same time has gone by. It uses the same compiled geometry and as many cores.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from hides.outline import FloatArray, Outline, polygons_of
from nest.checker import clearances
from nest.job import Budget
from nest.place import search, shapes
from nest.place.kernels import memory as k
from nest.place.kernels.layout import construct
from nest.plans import TOLERANCE

HIDE_AREA = 2e6  # mm², a side of leather
APART = 100.0  # mm between hides
FAULTLESS = 9  # stands for no quality given: above that of every zone
FILLED = 0.55  # of the net area: hides are offered until parts would fill no more, and one more
TRIES = 6000  # places sampled per part by the baseline; 300 and 1500 gave worse layouts
LEAST_REGION = 1e-3  # mm²; what is left of an item beside its zones may be slivers


@dataclass(frozen=True)
class Leather:
    """A hide where it lies in the row: its outline, its holes, and zones by quality."""

    outline: Polygon
    net: BaseGeometry
    zones: tuple[tuple[int, BaseGeometry], ...]

    def ground(self, level: int) -> BaseGeometry:
        """Where a region that asks for that quality may lie; 0 may lie on holes too."""
        barred = [shape for quality, shape in self.zones if quality < level]
        return (self.net if level > 0 else self.outline).difference(shapely.union_all(barred))


@dataclass(frozen=True)
class Item:
    """A kind of part; ``regions`` are (ring, quality asked for) and cover it."""

    ring: FloatArray
    regions: tuple[tuple[FloatArray, int], ...]

    @property
    def area(self) -> float:
        return float(Polygon(self.ring).area)


@dataclass(frozen=True)
class Instance:
    name: str
    hides: tuple[Leather, ...]
    items: tuple[Item, ...]
    kinds: tuple[int, ...]

    @property
    def area(self) -> float:
        return sum(self.items[kind].area for kind in self.kinds)


@dataclass(frozen=True)
class Layout:
    """Angle in rad and place of each part."""

    angles: FloatArray
    places: FloatArray


@dataclass(frozen=True)
class Result:
    """Hides needed, share of the last one, yield of the net leather used, parts not placed."""

    hides: int
    last: float
    net_yield: float
    left: int

    def clearly_beats(self, other: Result) -> bool:
        """More placed, else a hide fewer, else 15 % of the last one less."""
        mine, its = (self.left, self.hides), (other.left, other.hides)
        return mine < its or (mine == its and self.last <= other.last - 0.15)


# --- reading -------------------------------------------------------------------------------


def read(path: Path) -> Instance:
    """Read an instance, scale it, and lay its hides in a row, largest net area first."""
    data = json.loads(path.read_text(encoding="utf-8"))
    rows = [row for row in data["hides"] for _ in range(row["stock"])]
    scale = np.sqrt(HIDE_AREA / np.mean([row["gross_area"] for row in rows]))
    items, kinds = [], []
    for number, row in enumerate(data["items"]):
        items.append(_item(row, float(scale)))
        kinds += [number] * row["demand"]
    wanted = sum(items[kind].area for kind in kinds)
    hides: list[Leather] = []
    x, room = 0.0, 0.0
    for row in sorted(rows, key=lambda row: -row["net_area"]):
        hides.append(_hide(row, float(scale), x))
        x = hides[-1].outline.bounds[2] + APART
        if room > wanted / FILLED:
            break
        room += hides[-1].net.area
    return Instance(data["name"], tuple(hides), tuple(items), tuple(kinds))


def _hide(row: dict[str, Any], scale: float, x: float) -> Leather:
    corner = np.min(row["outer"], axis=0)

    def laid(points: Sequence[Sequence[float]]) -> BaseGeometry:
        return _valid((np.array(points) - corner) * scale + [x, 0.0])

    outline = max(polygons_of(laid(row["outer"])), key=lambda p: p.area)
    holes = [laid(ring) for ring in row["holes"]]
    zones = tuple((int(zone["quality"]), laid(zone["points"])) for zone in row["zones"])
    return Leather(outline, outline.difference(shapely.union_all(holes)), zones)


def _valid(ring: FloatArray) -> BaseGeometry:
    """The area of a ring; some cross themselves, some are no rings."""
    return shapely.make_valid(Polygon(ring)) if len(ring) > 2 else Polygon()


def _item(row: dict[str, Any], scale: float) -> Item:
    ring = Outline.of(np.array(row["points"]) * scale).points
    centre = (ring.min(axis=0) + ring.max(axis=0)) / 2
    level = FAULTLESS if row["base_quality"] is None else int(row["base_quality"])
    zones = [
        (min(int(zone["quality"]), FAULTLESS), _valid(np.array(zone["points"]) * scale - centre))
        for zone in row["zones"]
    ]
    whole = Polygon(ring - centre)
    rest: BaseGeometry = whole
    for asked, zone in zones:
        if asked < level:  # a zone that asks for more is judged beside the whole, not without it
            rest = rest.difference(zone)
    pieces = [(piece, level) for piece in _simple(rest)]
    pieces += [(p, asked) for asked, zone in zones for p in _simple(zone.intersection(whole))]
    regions = tuple(
        (np.asarray(shapely.orient_polygons(piece).exterior.coords)[:-1], asked)
        for piece, asked in pieces
    )
    return Item(ring - centre, regions)


def _simple(shape: BaseGeometry) -> Iterator[Polygon]:
    """The polygons of a shape, cut so that none has a hole."""
    for polygon in polygons_of(shape):
        if polygon.area < LEAST_REGION:
            continue
        if not polygon.interiors:
            yield polygon
            continue
        x0, y0, _, y1 = polygon.bounds
        x = polygon.interiors[0].centroid.x
        left = box(x0 - 1, y0 - 1, x, y1 + 1)
        yield from _simple(polygon.intersection(left))
        yield from _simple(polygon.difference(left))


# --- the two searches ------------------------------------------------------------------------


def world_of(instance: Instance) -> shapes.World:
    levels = sorted({level for item in instance.items for _, level in item.regions})
    ground = {}
    for level in levels:
        pieces = [p for hide in instance.hides for p in polygons_of(hide.ground(level))]
        ground[level] = shapes.shrunk(MultiPolygon(pieces))
    made = [shapes.Shape(item.ring, window=90.0, regions=item.regions) for item in instance.items]
    around = shapely.union_all([hide.outline for hide in instance.hides]).bounds
    return shapes.build(made, instance.kinds, ground=ground, box=around)


def searched(world: shapes.World, seconds: float, seed: int) -> Layout:
    outcome = search.run(world, Budget(seconds), seed=seed)
    return Layout(outcome.angles, outcome.poses[:, :2])


def constructed(world: shapes.World, seconds: float, seed: int) -> Layout:
    """The baseline: the better of two sequence searches, side by side."""
    end = time.perf_counter() + seconds
    with ThreadPoolExecutor(search.WORKERS) as pool:
        runs = [
            pool.submit(_sequence_search, world, end, seed * search.WORKERS + w)
            for w in range(search.WORKERS)
        ]
    return min((run.result() for run in runs), key=lambda found: found[0])[1]


def _sequence_search(
    world: shapes.World, end: float, seed: int
) -> tuple[tuple[int, float], Layout]:
    """Swap two parts of the sequence, construct, keep what is not worse; until ``end``."""
    rng = np.random.default_rng(seed)
    random = rng.integers(1, 2**63, 1, dtype=np.uint64)
    order = np.argsort(-world.sizes, kind="stable")
    best, layout = _construct(world, order, random)
    while time.perf_counter() < end:
        a, b = rng.integers(len(order), size=2)
        swapped = order.copy()
        swapped[[a, b]] = swapped[[b, a]]
        found, its_layout = _construct(world, swapped, random)
        if found <= best:
            best, layout, order = found, its_layout, swapped
    return best, layout


def _construct(
    world: shapes.World, order: shapes.IntArray, random: np.ndarray
) -> tuple[tuple[int, float], Layout]:
    """One layout, and how good it is: parts without a place, then the frontier."""
    head, state = world.shared[0], world.state.copy()
    state[head[k.AT_PAIR_WEIGHTS] : head[k.AT_OVERLAPS]] = 1.0
    state[k.F_FRONT] = state[k.F_X1]
    n = len(order)
    poses = np.zeros((n, 4))
    stuck = construct(poses, order, TRIES, *world.shared, state, random)
    rows = state[k.F_SIZE :][: k.POSE * n].reshape(n, k.POSE)
    layout = Layout(np.arctan2(rows[:, 9], rows[:, 8]), poses[:, :2].copy())
    return (int(stuck), float(rows[:, 2].max())), layout


# --- judging -------------------------------------------------------------------------------


def judged(instance: Instance, layout: Layout) -> Result:
    """What a layout is worth, by shapely alone; parts in conflict count as not placed."""
    parts = [
        _laid(instance.items[kind].ring, angle, place)
        for kind, angle, place in zip(instance.kinds, layout.angles, layout.places, strict=True)
    ]
    homes = [_home(instance, part) for part in parts]
    sound = [
        home >= 0 and _sound(instance.hides[home], instance.items[kind], angle, place)
        for home, kind, angle, place in zip(
            homes, instance.kinds, layout.angles, layout.places, strict=True
        )
    ]
    placed = _without_conflicts(parts, [i for i in range(len(parts)) if sound[i]])
    reach = max(parts[i].bounds[2] for i in placed)
    last = max(homes[i] for i in placed)
    net = instance.hides[last].net
    x0, y0, _, y1 = net.bounds
    used = net.intersection(box(x0, y0, reach, y1)).area
    whole = sum(hide.net.area for hide in instance.hides[:last])
    area = sum(parts[i].area for i in placed)
    return Result(last + 1, used / net.area, area / (whole + used), len(parts) - len(placed))


def _laid(ring: FloatArray, angle: float, place: FloatArray) -> Polygon:
    turned = affinity.rotate(Polygon(ring), angle, (0, 0), use_radians=True)
    return affinity.translate(turned, *place)


def _home(instance: Instance, part: Polygon) -> int:
    """The hide whose outline holds the part; -1 for none."""
    slim = part.buffer(-TOLERANCE)
    held = (i for i, hide in enumerate(instance.hides) if hide.outline.covers(slim))
    return next(held, -1)


def _sound(hide: Leather, item: Item, angle: float, place: FloatArray) -> bool:
    """Whether each region of a part lies on leather of the quality it asks for."""
    for ring, level in item.regions:
        region = _laid(ring, angle, place).buffer(-TOLERANCE)
        barred = [shape for quality, shape in hide.zones if quality < level]
        if any(region.intersects(shape) for shape in barred):
            return False
        if level > 0 and not hide.net.covers(region):
            return False
    return True


def _without_conflicts(parts: Sequence[Polygon], left: list[int]) -> list[int]:
    """Parts that remain when those that overlap most others are taken away one by one."""
    while findings := clearances([parts[i] for i in left], 0.0):
        blamed = [int(name) for f in findings for name in (f.part, f.other)]
        left = [i for n, i in enumerate(left) if n != np.bincount(blamed).argmax()]
    return left


# --- the table -----------------------------------------------------------------------------


def line(instance: Instance, ours: Result, base: Result, seconds: float, build: float) -> str:
    def cells(result: Result) -> str:
        return (
            f"{result.hides:5d} {100 * result.last:6.1f} {100 * result.net_yield:6.1f} "
            f"{result.left:5d}"
        )

    total = [result.hides - 1 + result.last for result in (ours, base)]
    return (
        f"{instance.name:22s} {len(instance.kinds):5d} {cells(ours)}   {cells(base)}   "
        f"{total[0] - total[1]:+6.2f} {seconds:7.0f} {build:6.1f}"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each of the two")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    search.warm_up()
    print(" " * 31 + "---------- ours ----------   -------- baseline --------")
    print("instance               parts hides last % yield %  left   hides last % yield %  left"
          "    hides seconds  build")  # fmt: skip
    better = 0
    for path in options.files:
        instance = read(path)
        began = time.perf_counter()
        world = world_of(instance)
        build = time.perf_counter() - began
        ours = judged(instance, searched(world, options.seconds, options.seed))
        base = judged(instance, constructed(world, options.seconds, options.seed))
        better += ours.clearly_beats(base)
        print(line(instance, ours, base, options.seconds, build), flush=True)
    files = len(options.files)
    print(f"more placed, a hide fewer, or 15 % of the last one less: {better} of {files}")


if __name__ == "__main__":
    main()
