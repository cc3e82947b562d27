"""Bin packing on open instances with a known optimal number of bins.

    python -m tests.bench.bins ../shared/esicup/bins/*.json --seconds 60

The files are JP1 and JP2 of Terashima-Marín et al. 2010 and López-Camacho 2012: bins of 1000 ×
1000, angles listed in the file, parts cut from full bins so that nothing is wasted. k bins lie
side by side; whether all parts fit is decided by removing overlaps. k starts at the area bound
and is raised until they do, each k with --seconds of its own. Every layout counted was passed
by the checker at zero gap, in bins of exactly the size stated.

Poses sampled at random hardly ever meet where parts fit without any play, therefore candidates
here are contacts: an edge of the part along an edge of another one, end to end, or a corner of a
bin, and from the best of them down to a free place. Overlaps and weights are the core's.
"""

# ruff: noqa: E741, N803  (I, M, G, S, R: the memory of nest/place/kernels/memory.py)

from __future__ import annotations

import argparse
import json
import math
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import MultiPolygon, Polygon, affinity, box

from hides.outline import FloatArray, Outline
from nest.checker import clearances
from nest.compiled import kernel
from nest.place import search, shapes
from nest.place.kernels import layout as loops
from nest.place.kernels import memory as k
from nest.place.kernels.moves import cost_at, look_around
from nest.place.kernels.overlap import put
from nest.place.kernels.random import next_random, shuffle

APART = 50.0  # between two bins
MORE = 2  # bins above the area bound that are tried
TOUCH = 0.002  # mm; depth that counts as touching: positions add up along chains of contacts
PASSES = (100, 600)  # over the parts in conflict before weights are reset, worker by worker
STALE = 3  # such rounds without a gain before another start
DISTURBED = 0.3  # of the parts of the best layout, in every other new start
SAMPLES = 10  # poses at random beside the contacts


@dataclass(frozen=True)
class Instance:
    """Rings about their box's centre, listed angles of each, the kind of each part, the bin."""

    name: str
    rings: tuple[FloatArray, ...]
    angles: tuple[tuple[float, ...], ...]
    kinds: tuple[int, ...]
    size: tuple[float, float]
    known: int | None

    @property
    def least(self) -> int:
        """The area bound on bins."""
        area = sum(Polygon(self.rings[kind]).area for kind in self.kinds)
        return math.ceil(area / (self.size[0] * self.size[1]) - 1e-6)

    def ground(self, bins: int) -> MultiPolygon:
        wide, high = self.size
        return MultiPolygon(
            [box(i * (wide + APART), 0, i * (wide + APART) + wide, high) for i in range(bins)]
        )


@dataclass(frozen=True)
class Packed:
    """Whether so many bins hold all parts, the seconds spent, and how many parts conflict."""

    bins: int
    valid: bool
    seconds: float
    in_conflict: int


def read(path: Path) -> Instance:
    data = json.loads(path.read_text(encoding="utf-8"))
    rings, angles, kinds = [], [], []
    for number, item in enumerate(data["items"]):
        ring = Outline.of(item["points"]).points
        rings.append(shapes.straightened(ring - (ring.min(axis=0) + ring.max(axis=0)) / 2))
        angles.append(tuple(float(a) for a in item["allowed_orientations_deg"]))
        kinds += [number] * item["demand"]
    size = (float(data["bin"]["width"]), float(data["bin"]["height"]))
    known = data["known_optimal_bins"]
    return Instance(data["name"], tuple(rings), tuple(angles), tuple(kinds), size, known)


def pack(instance: Instance, bins: int, seconds: float, seed: int) -> Packed:
    """Look for a layout in so many bins; the first valid one ends the search."""
    began = time.perf_counter()
    made = [
        shapes.Shape(ring, angles, window=180.0)
        for ring, angles in zip(instance.rings, instance.angles, strict=True)
    ]
    ground = instance.ground(bins)
    world = shapes.build(made, instance.kinds, box=ground.bounds, exact=True)
    end, done = began + seconds, threading.Event()
    with ThreadPoolExecutor(search.WORKERS) as pool:
        runs = [
            pool.submit(_searched, instance, world, bins, seed * search.WORKERS + w, end, done)
            for w in range(search.WORKERS)
        ]
    least, poses = min((run.result() for run in runs), key=lambda found: found[0])
    parts = _laid(instance, poses)
    findings = clearances(parts, 0.0, ground)
    stuck = {name for finding in findings for name in (finding.part, finding.other)} - {""}
    return Packed(bins, least <= 0 and not findings, time.perf_counter() - began, len(stuck))


def _searched(
    instance: Instance,
    world: shapes.World,
    bins: int,
    seed: int,
    end: float,
    done: threading.Event,
) -> tuple[float, FloatArray]:
    """Least conflict and poses (parts, 4: x, y, 0, number of the angle) found by one worker."""
    rng = np.random.default_rng(seed)
    random = rng.integers(1, 2**63, 1, dtype=np.uint64)
    state, head = world.state.copy(), world.shared[0]
    state[k.F_FRONT], state[k.F_TOUCH] = state[k.F_X1], TOUCH
    wide, high = instance.size
    ground = instance.ground(bins)
    layout = (*contacts(instance), float(bins), wide + APART, wide, high)
    memory = (*world.shared, state, random)
    best, best_poses = np.inf, np.zeros((len(instance.kinds), 4))
    least, stale = np.inf, STALE
    while best > 0 and time.perf_counter() < end and not done.is_set():
        if stale >= STALE:
            poses = best_poses.copy()
            away = rng.random(len(poses)) < (DISTURBED if rng.random() < 0.5 else 1.0)
            poses[away, 0] = rng.uniform(0.0, state[k.F_X1], away.sum())
            least, stale = np.inf, 0
        state[head[k.AT_PAIR_WEIGHTS] : head[k.AT_OVERLAPS]] = 1.0
        found = separate(poses, *layout, PASSES[seed % 2], *memory)
        if found <= 0 and clearances(_laid(instance, poses), 0.0, ground):
            found, stale = np.inf, STALE  # what touches here overlaps for the checker: go on
            continue
        stale = 0 if found < least else stale + 1
        least = min(least, found)
        if found < best:
            best, best_poses = found, poses.copy()
    if best <= 0:
        done.set()
    return best, best_poses


def _laid(instance: Instance, poses: FloatArray) -> list[Polygon]:
    return [
        affinity.translate(
            affinity.rotate(Polygon(instance.rings[kind]), instance.angles[kind][int(at)], (0, 0)),
            x,
            y,
        )
        for kind, (x, y, _, at) in zip(instance.kinds, poses, strict=True)
    ]


def contacts(instance: Instance) -> tuple[shapes.IntArray, FloatArray]:
    """Displacements at which a turned part lies along another, edge to edge and end to end.

    Returns starts (n, n + 1) of the rows for turned parts a and b of n, and rows (m, 2): where
    a lies from b.
    """
    turned = []
    for ring, angles in zip(instance.rings, instance.angles, strict=True):
        for angle in np.deg2rad(angles):
            c, s = np.cos(angle), np.sin(angle)
            turned.append(ring @ np.array([[c, s], [-s, c]]))
    ends = [np.roll(ring, -1, axis=0) for ring in turned]
    ways = [(e - r) / np.hypot(*(e - r).T)[:, None] for r, e in zip(turned, ends, strict=True)]
    starts = np.zeros((len(turned), len(turned) + 1), np.int64)
    rows, count = [], 0
    for a, way in enumerate(ways):
        for b, other in enumerate(ways):
            starts[a, b] = count
            i, j = np.nonzero(way @ other.T < -1 + 1e-9)
            both = np.vstack([ends[b][j] - turned[a][i], turned[b][j] - ends[a][i]])
            rows.append(np.unique(np.round(both, 6), axis=0))
            count += len(rows[-1])
        starts[a, len(turned)] = count
    return starts, np.vstack(rows)


@kernel
def _into_bin(x, y, a, bins, pitch, wide, high, I, M):
    """The nearest place at which a part at listed angle ``a`` is inside the bin it is most in."""
    x0, y0, x1, y1 = k.box_at_angle(a, 0.0, 0.0, I, M)
    at = np.floor((x + 0.5 * (x0 + x1)) / pitch)
    left = min(max(at, 0.0), bins - 1.0) * pitch
    x = max(left - x0, min(x, left + wide - x1))
    return x, max(-y0, min(y, high - y1))


@kernel
def _try(i, x, y, flip, best, I, M, G, S, R):
    """Keep a pose of part i in ``best`` (x, y, angle, cost, ties) if it costs less.

    Of poses that cost the same each is kept with the same chance.
    """
    px, py, _, before = k.pose_of(i, S)
    if abs(x - px) + abs(y - py) < 1e-3 and flip == before:
        return
    cost = cost_at(i, x, y, 0.0, flip, best[3] * (1 + 1e-9) + 1e-12, I, M, G, S)
    if cost > best[3]:
        return
    best[4] = best[4] + 1.0 if cost == best[3] else 1.0
    if next_random(R) * best[4] < 1.0:
        best[0], best[1], best[2], best[3] = x, y, flip, cost


@kernel
def _best_contact(i, starts, rows, bins, pitch, wide, high, best, I, M, G, S, R):
    """The pose of part i, other than its own, that costs least among its contacts."""
    first, count = k.angles_of(k.type_of(i, I), I)
    best[3], best[4] = 1e300, 0.0
    for f in range(count):
        a = first + f
        for corner in range(4 * int(bins)):
            x = pitch * (corner // 4) + (0.0 if corner % 2 == 0 else wide)
            y = 0.0 if corner % 4 < 2 else high
            x, y = _into_bin(x, y, a, bins, pitch, wide, high, I, M)
            _try(i, x, y, float(f), best, I, M, G, S, R)
        for j in range(I[k.N_PARTS]):
            if j == i:
                continue
            b = k.angle_of(j, S)
            jx, jy, _, _ = k.pose_of(j, S)
            for e in range(starts[a, b], starts[a, b + 1]):
                x, y = jx + rows[e, 0], jy + rows[e, 1]
                cx, cy = _into_bin(x, y, a, bins, pitch, wide, high, I, M)
                if abs(cx - x) + abs(cy - y) < TOUCH:
                    _try(i, cx, cy, float(f), best, I, M, G, S, R)
        for _ in range(SAMPLES):
            x, y = next_random(R) * pitch * bins, next_random(R) * high
            x, y = _into_bin(x, y, a, bins, pitch, wide, high, I, M)
            _try(i, x, y, float(f), best, I, M, G, S, R)


@kernel
def _slid_free(i, bins, pitch, wide, high, best, I, M, G, S):
    """Slide from the pose in ``best`` down the cost; keep where that ends if it is free.

    Only then: parts that are off their contacts by a little would spoil those of others.
    """
    t = k.type_of(i, I)
    a = k.angles_of(t, I)[0] + int(best[2])
    x, y, cost = best[0], best[1], best[3]
    step = 0.25 * k.scale_of(t, I, M) ** 2
    while step > 0.1 and cost > 0.0:
        gained = False
        for way in range(4):
            sign = 1.0 if way % 2 == 0 else -1.0
            tx, ty = (x + sign * step, y) if way < 2 else (x, y + sign * step)
            tx, ty = _into_bin(tx, ty, a, bins, pitch, wide, high, I, M)
            trial = cost_at(i, tx, ty, 0.0, best[2], cost, I, M, G, S)
            if trial < cost:
                x, y, cost, gained = tx, ty, trial, True
                break
        if not gained:
            step *= 0.5
    if cost <= 0.0:
        best[0], best[1], best[3] = x, y, cost


@kernel
def separate(X, starts, rows, bins, pitch, wide, high, passes, I, M, G, S, R):
    """Move parts in conflict to their best contacts until none is, or passes run out.

    X (parts, 4) holds the best poses, in and out. Returns the least conflict met.
    """
    n = I[k.N_PARTS]
    best = np.empty(5)
    for i in range(n):
        a = k.angles_of(k.type_of(i, I), I)[0] + int(X[i, 3])
        x, y = _into_bin(X[i, 0], X[i, 1], a, bins, pitch, wide, high, I, M)
        X[i, 0], X[i, 1] = x, y
    least = loops.put_all(X, I, M, G, S)
    order = np.arange(n)
    for _ in range(passes):
        if least <= 0.0:
            break
        shuffle(order, n, R)
        for i in order:
            if loops.conflict_of(i, I, S) <= 0.0:
                continue
            look_around(i, I, M, S)
            x, y, _, flip = k.pose_of(i, S)
            now = cost_at(i, x, y, 0.0, flip, 1e300, I, M, G, S)
            _best_contact(i, starts, rows, bins, pitch, wide, high, best, I, M, G, S, R)
            _slid_free(i, bins, pitch, wide, high, best, I, M, G, S)
            if best[3] < now:
                put(i, k.type_of(i, I), best[0], best[1], 0.0, best[2], I, M, S)
                loops.measure(i, I, M, G, S)
        total = loops.conflict(I, S)
        if total < least:
            least = total
            loops.poses_into(X, I, S)
        loops.raise_weights(I, S)
    return least


def fewest(instance: Instance, seconds: float, seed: int) -> list[Packed]:
    """Tries from the area bound upwards; the last one is valid unless none was."""
    tries: list[Packed] = []
    for bins in range(instance.least, instance.least + MORE + 1):
        tries.append(pack(instance, bins, seconds, seed))
        if tries[-1].valid:
            break
    return tries


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each number of bins")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    search.warm_up()
    print("file         parts  area bound  known  found   seconds  in conflict before")
    optimal = 0
    for path in options.files:
        instance = read(path)
        tries = fewest(instance, options.seconds, options.seed)
        found = tries[-1].bins if tries[-1].valid else None
        optimal += found is not None and found <= (instance.known or instance.least)
        before = " ".join(f"{t.bins}: {t.in_conflict}" for t in tries if not t.valid)
        print(
            f"{instance.name:12s} {len(instance.kinds):5d} {instance.least:11d} "
            f"{instance.known or '-':>6} {found or '-':>6} {sum(t.seconds for t in tries):9.1f}  "
            f"{before}",
            flush=True,
        )
    share = 100 * optimal / len(options.files)
    print(f"solved to the optimum: {optimal} of {len(options.files)} ({share:.0f} %)")


if __name__ == "__main__":
    main()
