r"""Thickness from few readings: how far off, how honest the doubt, how safe what is called thick.

    python -m tests.bench.thickness --fields 40 --counts 5 10 15 25 40

A field is a made-up side's thickness, drawn from what the trade says of sides and not from the
regression's own covariance: a level, a thinner belly beyond a soft step, a shoulder that thins
slowly, a thick rump, a tilt, two loose pockets behind the legs, and waves of 250 to 1200 mm. A
rough one has waves of 90 to 400 mm, which are 0.22 mm high and shorter than 25 readings are apart.
Seeds begin at :data:`SEEDS`, which no constant of :mod:`hides.thickness` was chosen on: EVEN,
SHORTER and TELLING were set with rough fields of seeds up to 3011 in sight. Readings have a gauge's
scatter of 0.05 mm. Rows: how many readings, and where they were taken: spread evenly, at random,
spread within 250 mm of the edge (what a gauge's arm may reach), or asked for: the first half at
random, the others where ``hides.thickness.suggest`` wants them.

Columns: root mean square error in mm over all fields, and of the worst field; the share of the
leather whose thickness lies in the stated 90 % interval; the least thickness asked for is each
field's own median, so that half of the leather has it: the share that is called so with 90 %
confidence, how much of that truly is, and the same for the worst field.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from shapely import Polygon

from hides.hide import Hide
from hides.record import read
from hides.thickness import GAUGE_NOISE, Reading, ThicknessMap, suggest
from tests.places import ROOT

HIDES = ROOT / "shared" / "hides"
STEP = 25.0  # mm, the grid on which a map is judged; that of ISO 11646's measuring machines
NINETY = 1.6449, 1.2816  # deviations; standard normal quantiles of 0.95 and 0.90, from tables
PLACES = ("spread", "random", "rim", "asked")
WAVES, ROUGH_WAVES = (250, 1200), (90, 400)  # mm, shortest and longest
SEEDS = 7000  # where the fields' seeds begin, even and rough: the constants were set on lower ones
ROUGH_HEIGHT = 0.22  # mm, deviation
REACH = 250.0  # mm from the edge; "rim" is what a hand gauge's throat can reach

Array = NDArray[np.float64]


def samples() -> list[Hide]:
    """The sample sides; only their outlines matter here."""
    return [read(path) for path in sorted(HIDES.glob("*.hide.json"))]


@dataclass(frozen=True)
class Field:
    """A made-up side's thickness: call it with (n, 2) points, get (n,) mm.

    Ranges: bend to belly 0.4 to 1.0 mm, bend to shoulder 0.1 to 0.3 mm (common practice, no
    published source); a distinct step from butt to flank, a gradual one to the neck (trade
    glossaries); the widths, the waves and the pockets are our own choice.
    """

    seed: int
    length: float = 2200.0
    depth: float = 950.0
    rough: bool = False

    def __call__(self, points: Array) -> Array:
        rng = np.random.default_rng(self.seed)
        u, v = points[:, 0] / self.length, points[:, 1] / self.depth
        out = np.full(len(points), rng.uniform(3.1, 3.9))
        out -= rng.uniform(0.4, 1.0) / (1 + np.exp(-(v - rng.uniform(0.5, 0.65)) / 0.1))
        out -= rng.uniform(0.1, 0.3) * np.clip((u - 0.4) / 0.6, 0, 1)
        rump = rng.uniform(0.15, 0.4), rng.uniform(0.0, 0.3)
        out += rng.uniform(0, 0.25) * np.exp(-((u - rump[0]) ** 2 + (v - rump[1]) ** 2) / 0.04)
        out += rng.normal(0, 0.08) * (u - 0.5) + rng.normal(0, 0.08) * (v - 0.5)
        for leg in (0.22, 0.72):
            away = (points[:, 0] - leg * self.length) ** 2 + (points[:, 1] - 0.8 * self.depth) ** 2
            out -= rng.uniform(0, 0.25) * np.exp(-away / (2 * rng.uniform(90, 150) ** 2))
        height, count = rng.uniform(0.04, 0.12), 14
        span = np.log(ROUGH_WAVES if self.rough else WAVES)
        height = ROUGH_HEIGHT if self.rough else height
        for _ in range(count):
            turn, wave = rng.uniform(0, 2 * np.pi, 2), np.exp(rng.uniform(*span))
            along = points @ np.array([np.cos(turn[0]), np.sin(turn[0])])
            out += height * np.sqrt(2 / count) * np.sin(2 * np.pi * along / wave + turn[1])
        return out


def places(rng: np.random.Generator, leather: Polygon, count: int, how: str) -> Array:
    """Where ``count`` readings are taken; spread or random, see the module's text."""
    room = leather.buffer(-25.0)
    if how == "rim":
        room = room.difference(leather.buffer(-REACH))
    x0, y0, x1, y1 = room.bounds
    offered = rng.uniform((x0, y0), (x1, y1), (4000, 2))
    offered = offered[shapely.contains_xy(room, offered)][:1500]
    if how == "random":
        return offered[:count]
    chosen = [0]
    while len(chosen) < count:  # each as far as can be from those before
        chosen.append(int(cdist(offered, offered[chosen]).min(axis=1).argmax()))
    return offered[chosen]


def gauged(field: Field, spots: Array, rng: np.random.Generator) -> tuple[Reading, ...]:
    """Readings of a field at (n, 2) spots, with the gauge's scatter, to 0.01 mm."""
    values = field(spots) + rng.normal(0, GAUGE_NOISE, len(spots))
    return tuple(
        Reading(float(x), float(y), round(float(t), 2))
        for (x, y), t in zip(spots, values, strict=True)
    )


@dataclass(frozen=True)
class Score:
    """How one map did: error in mm; shares of the leather; areas in grid points."""

    error: float
    covered: float
    called: float
    right: float


def judge(field: Field, leather: Polygon, known: ThicknessMap) -> Score:
    """Compare a map with the truth on a grid over the leather."""
    x0, y0, x1, y1 = leather.bounds
    grid = np.stack(np.meshgrid(np.arange(x0, x1, STEP), np.arange(y0, y1, STEP)), -1)
    grid = grid.reshape(-1, 2)[shapely.contains_xy(leather, grid.reshape(-1, 2))]
    mean, deviation = known.field(grid)
    true = field(grid)
    asked = float(np.median(true))
    called = mean - NINETY[1] * deviation >= asked
    return Score(
        float(np.sqrt(np.mean((mean - true) ** 2))),
        float(np.mean(np.abs(mean - true) <= NINETY[0] * deviation)),
        float(called.mean()),
        float((called & (true >= asked)).sum() / max(called.sum(), 1)) if called.any() else 1.0,
    )


def trial(seed: int, count: int, how: str, hides: Sequence[Hide], *, rough: bool = False) -> Score:
    """Gauge one made-up side ``count`` times and judge the map."""
    rng = np.random.default_rng(1000 + seed)
    hide = hides[seed % len(hides)]
    field = Field(seed, rough=rough)
    if how == "asked":
        spots = places(rng, hide.polygon, count // 2, "random")
        so_far = replace(hide, zones=(), readings=gauged(field, spots, rng)).thickness
        spots = np.vstack([spots, suggest(so_far, hide.polygon, count - len(spots))])
    else:
        spots = places(rng, hide.polygon, count, how)
    known = replace(hide, zones=(), readings=gauged(field, spots, rng)).thickness
    return judge(field, hide.polygon, known)


def row(scores: Sequence[Score]) -> str:
    """The table's columns over all fields."""
    error = np.sqrt(np.mean([s.error**2 for s in scores]))
    worst = max(s.error for s in scores)
    called = float(np.mean([s.called for s in scores]))
    right = sum(s.called * s.right for s in scores) / max(sum(s.called for s in scores), 1e-9)
    low = min(s.right for s in scores)
    covered = np.mean([s.covered for s in scores])
    return f"{error:7.3f} {worst:7.3f} {covered:9.1%} {called:8.1%} {right:8.2%} {low:8.1%}"


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--fields", type=int, default=40)
    parser.add_argument("--counts", type=int, nargs="+", default=[5, 10, 15, 25, 40])
    parser.add_argument("--places", nargs="+", choices=PLACES, default=list(PLACES))
    options = parser.parse_args(arguments)
    hides = samples()
    print(f"{options.fields} made-up sides; errors in mm")
    print("fields  readings  places   error   worst  in 90 %  called  truly  worst")
    seeds = range(SEEDS, SEEDS + options.fields)
    for rough in (False, True):
        for how in options.places:
            for count in options.counts:
                scores = [trial(seed, count, how, hides, rough=rough) for seed in seeds]
                head = f"{'rough' if rough else 'even':6s}  {count:8d}  {how:7s}"
                print(f"{head}{row(scores)}", flush=True)


if __name__ == "__main__":
    main()
