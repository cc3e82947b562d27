"""The sample weeks on a sample hide: how soon a valid plan, how much leather after how long.

    python -m tests.bench.week --seconds 30 --seed 1 2 3

Prints seconds to the first valid plan, used area (dm²) after 1, 2, 5, 10, 20 and 30 s, the
bound and the gap to it, and the process's peak memory. Compiled kernels are cached first.
"""

from __future__ import annotations

import argparse
import resource
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from hides import record
from hides.units import DM2
from nest.place import search
from nest.place.bound import used_area
from nest.planning import Planned, plan_week
from nest.week import Job, job_of, read

SHARED = Path(__file__).resolve().parents[2] / "shared"
TIMES = (1, 2, 5, 10, 20, 30, 60)


def planned(job: Job, seconds: float, seed: int) -> Planned:
    return plan_week(replace(job, seed=seed), record.read(job.hides[0]), seconds=seconds)


def line(name: str, found: Planned, seed: int, seconds: float) -> str:
    area = used_area(found.hide, found.plan.keep)
    valid = [step for step in found.trace if step.valid]
    cells = [f"{name:8s} {len(found.plan.placements):5d} {seed:4d} {valid[0].seconds:7.2f}"]
    for moment in (t for t in TIMES if t <= seconds):
        seen = [step.reach for step in valid if step.seconds <= moment]
        cells.append(f"{area(seen[-1]) / DM2:7.1f}" if seen else "      -")
    numbers = found.figures.numbers
    used, least = numbers["used_area"] / DM2, found.bound.used_area / DM2
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    cells.append(f"{used:7.1f} {least:7.1f} {100 * (used / least - 1):5.1f} % {peak:6.0f}")
    return " ".join(cells)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("weeks", nargs="*", default=["week-4", "week-12", "week-30"])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    options = parser.parse_args(arguments)
    search.warm_up()
    heads = " ".join(f"{f'{t} s':>7s}" for t in TIMES if t <= options.seconds)
    print(f"week     parts seed first s {heads}    used   bound     gap     MB")
    for name in options.weeks:
        job = job_of(read(SHARED / f"weeks/{name}.week.toml"))
        for seed in options.seed:
            found = planned(job, options.seconds, seed)
            print(line(name, found, seed, options.seconds), flush=True)


if __name__ == "__main__":
    main()
