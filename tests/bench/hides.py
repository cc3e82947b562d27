r"""Weeks on hides: how soon a valid plan, how much leather after how long.

    python -m tests.bench.hides --seconds 30 --seed 1 2 3 --picture curves.png
    python -m tests.bench.hides week-12 --hide birch --parts 60 120
    python -m tests.bench.hides week-12 --parts 250 500 --together --hide \
        birch alder rowan birch alder

Prints seconds from the call to the first valid plan, used area (dm²) after 1, 2, 5, 10, 20, 30
and 60 s, the used area and the yield of the checked plan, the bound and the gap to it, and the
most memory the process has had. ``--parts`` repeats the kits of each week until it has at least so
many parts; what does not fit on the hide is left out, and the count tells what was placed.
Compiled kernels are cached before time is counted.

With ``--plain 800`` the parts go on flawless leather of one thickness, a rectangle 800 mm wide:
what is left of the gap there is how badly the shapes fit together.

With ``--together`` the hides are offered all at once, and a row tells how many were cut into,
the wall seconds for all of it, and sums over the hides.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import cycle, product
from pathlib import Path

import matplotlib
import numpy as np

from hides import record
from hides.hide import Hide
from hides.outline import Outline
from hides.units import DM2
from nest.errors import NoPlan
from nest.job import Job, Kit
from nest.place import search
from nest.planning import Planned, Progress, plan_hides, plan_week
from nest.week import job_of, read

matplotlib.use("Agg")
from matplotlib import pyplot as plt

from tests.places import ROOT
from tests.small import EVEN

SHARED = ROOT / "shared"
WEEKS = ("week-4", "week-12", "week-30")
LONG = 4000.0  # mm; the plain rectangle
KEEP = "neck"  # whatever the weeks say, so that results stay comparable
TIMES = (1, 2, 5, 10, 20, 30, 60)


@dataclass(frozen=True)
class Run:
    """A plan found, and used area in mm² at the seconds at which it became better."""

    name: str
    wanted: int
    seed: int
    found: Planned
    curve: tuple[tuple[float, float], ...]

    def at(self, moment: float) -> float | None:
        """Used area in mm² after so many seconds; None before the first valid plan."""
        seen = [area for seconds, area in self.curve if seconds <= moment]
        return seen[-1] if seen else None


def repeated(job: Job, parts: int) -> Job:
    """The job with its kits repeated, in turn, until it has at least so many parts."""
    kits: list[Kit] = []
    count = 0
    for number, kit in enumerate(cycle(job.kits)):
        if count >= parts:
            break
        name = f"{kit.id}-{number // len(job.kits) + 1}"
        renamed = tuple(
            replace(part, id=part.id.replace(kit.id, name, 1), kit=name) for part in kit.parts
        )
        kits.append(replace(kit, id=name, parts=renamed))
        count += len(renamed)
    return replace(job, kits=tuple(kits))


def planned(name: str, job: Job, hide: Hide, seconds: float, seed: int) -> Run:
    began = time.perf_counter()
    curve: list[tuple[float, float]] = []

    def observer(progress: Progress) -> None:
        if progress.used is not None:
            curve.append((time.perf_counter() - began, progress.used))

    found = plan_week(
        replace(job, seed=seed), hide, seconds=seconds, partial=True, observer=observer
    )
    return Run(f"{name} {hide.name}", len(job.parts), seed, found, tuple(curve))


def together(name: str, job: Job, hides: Sequence[Hide], seconds: float, seed: int) -> str:
    """Plan a job on several hides; a row of the second table."""
    began = time.perf_counter()
    plans = plan_hides(replace(job, seed=seed), hides, seconds=seconds, partial=True)
    wall = time.perf_counter() - began
    placed = sum(len(found.plan.placements) for found in plans)
    net, used = (
        sum(found.figures.numbers[key] for found in plans) for key in ("net_area", "used_area")
    )
    least = sum(found.bound.used_area for found in plans)
    return (
        f"{name:22s} {len(job.parts):5d} {placed:6d} {seed:4d} {len(hides):7d} {len(plans):5d} "
        f"{wall:7.1f} {used / DM2:7.1f} {100 * net / used:5.1f} % {least / DM2:7.1f} "
        f"{100 * (used / least - 1):5.1f} % {_memory():6.0f}"
    )


def several(names: Sequence[str]) -> list[Hide]:
    """The sample hides of these names; one named again is another hide just like it."""
    hides: list[Hide] = []
    for number, name in enumerate(names):
        hide = record.read(SHARED / f"hides/{name}.hide.json")
        again = names[:number].count(name)
        hides.append(replace(hide, name=f"{hide.name} {again + 1}") if again else hide)
    return hides


def plain(width: float) -> Hide:
    """A rectangle of leather without a flaw, along which it stretches least."""
    corners = np.array([(0.0, 0.0), (LONG, 0.0), (LONG, width), (0.0, width)])
    return Hide(f"plain {width:g}", "bend", "vegetable", Outline.of(corners), zones=(EVEN,))


def line(run: Run, seconds: float) -> str:
    numbers, found = run.found.figures.numbers, run.found
    cells = [
        f"{run.name:22s} {run.wanted:5d} {len(found.plan.placements):6d} {run.seed:4d} "
        f"{run.curve[0][0]:7.2f}"
    ]
    for area in (run.at(t) for t in TIMES if t <= seconds):
        cells.append("      -" if area is None else f"{area / DM2:7.1f}")
    used, least = numbers["used_area"] / DM2, found.bound.used_area / DM2
    cells.append(
        f"{used:7.1f} {100 * numbers['yield_on_used']:5.1f} % {least:7.1f} "
        f"{100 * (used / least - 1):5.1f} % {_memory():6.0f}"
    )
    return " ".join(cells)


def _memory() -> float:
    """The most memory this process has had so far, in MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def draw(runs: Sequence[Run], seconds: float, path: Path) -> None:
    """Draw used area over its bound against time, one curve for each run."""
    figure, axes = plt.subplots(figsize=(8, 5), layout="constrained")
    for run in runs:
        least = run.found.bound.used_area
        times = [moment for moment, _ in run.curve] + [max(seconds, run.curve[-1][0])]
        gaps = [100 * (area / least - 1) for _, area in run.curve]
        axes.step(times, [*gaps, gaps[-1]], where="post", label=f"{run.name}, seed {run.seed}")
    axes.set(
        xscale="log",
        xlabel="seconds",
        ylabel="used area above the bound, %",
        title="Leather used, as the search goes on",
    )
    axes.set_ylim(0, 150)
    axes.set_xticks([t for t in (0.2, 0.5, *TIMES) if t <= seconds])
    axes.xaxis.set_major_formatter("{x:g}")
    axes.minorticks_off()
    axes.grid(visible=True, alpha=0.3)
    axes.legend(fontsize="small")
    figure.savefig(path, dpi=120)
    plt.close(figure)


HEAD = "week and hide          parts placed seed"
TAIL = "    used   yield   bound     gap     MB"
HEAD_TOGETHER = f"{HEAD} offered   cut  wall s{TAIL}"


def _head(seconds: float) -> str:
    moments = " ".join(f"{f'{t} s':>7s}" for t in TIMES if t <= seconds)
    return f"{HEAD} first s {moments}{TAIL}"


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("weeks", nargs="*", default=list(WEEKS))
    parser.add_argument("--hide", nargs="+", default=[], help="by default each week's own first")
    parser.add_argument("--plain", type=float, help="instead of hides, a rectangle so wide, mm")
    parser.add_argument("--parts", type=int, nargs="+", default=[0], help="0: the week as it is")
    parser.add_argument("--together", action="store_true", help="offer all hides at once")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--picture", type=Path)
    options = parser.parse_args(arguments)
    search.warm_up()
    print(HEAD_TOGETHER if options.together else _head(options.seconds))
    runs = []
    for name in options.weeks:
        week = replace(job_of(read(SHARED / f"weeks/{name}.week.toml")), keep=KEEP)
        hides = several(options.hide) or [record.read(week.hides[0])]
        hides = [plain(options.plain)] if options.plain else hides
        for parts, seed in product(options.parts, options.seed):
            job = repeated(week, parts) if parts else week
            if options.together:
                print(together(name, job, hides, options.seconds, seed), flush=True)
                continue
            for hide in hides:
                try:
                    runs.append(planned(name, job, hide, options.seconds, seed))
                except NoPlan as error:
                    print(f"{name} {hide.name}: {error}", flush=True)
                else:
                    print(line(runs[-1], options.seconds), flush=True)
    if options.picture and runs:
        draw(runs, options.seconds, options.picture)


if __name__ == "__main__":
    main()
