"""How full a hide can be asked to be: demand raised step by step until placing fails.

    python -m tests.bench.fullness --seconds 10 --from 30 --to 90 --step 5

The kits of a week are repeated until their parts take so many percent of the hide's usable
area. Each row tells that share, the share of the scarcest sort of leather that is wanted (a
sort is a thickness and a face; of all sorts and sets of sorts that share ground, the one of
which the largest part is taken), whether all parts were placed, and the seconds until the
first valid layout. A layout counts only if the checker passes it. After two rows in a row
without one the bench ends.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import shapely

from hides import record
from hides.hide import Hide
from hides.thickness import Need
from nest.checker import check
from nest.errors import NoPlan
from nest.job import Budget, Job
from nest.place import search
from nest.place.solve import place
from nest.plans import Plan
from nest.week import job_of, read
from tests.bench.hides import SHARED, repeated

MOST_FAILS = 2


@dataclass(frozen=True, slots=True)
class Row:
    """One step: parts wanted, shares of the leather, and how placing went."""

    parts: int
    usable: float
    scarcest: float
    placed: bool
    seconds: float
    in_conflict: int


def filled(job: Job, hide: Hide, share: float) -> Job:
    """The job's kits repeated as long as their parts take no more than ``share`` of the hide."""
    area = sum(wanted.part.outline.area for wanted in job.parts)
    rounds = int(share * hide.usable_area / area) + 1
    many = repeated(job, len(job.parts) * rounds)
    left, kits = share * hide.usable_area, []
    for kit in many.kits:
        left -= sum(wanted.part.outline.area for wanted in kit.parts)
        if left < 0:
            break
        kits.append(kit)
    return replace(many, kits=tuple(kits))


def scarcest(job: Job, hide: Hide) -> float:
    """The largest share of ground that any set of thicknesses wants of all that is open to it."""
    wants: dict[Need, float] = {}
    for wanted in job.parts:
        wants[wanted.need] = wants.get(wanted.need, 0.0) + wanted.part.outline.area
    grounds = {need: hide.usable.intersection(hide.allowed(need)) for need in wants}
    return max(
        sum(wants[need] for need in some) / shapely.union_all([grounds[n] for n in some]).area
        for size in range(1, len(wants) + 1)
        for some in combinations(wants, size)
    )


def step(job: Job, hide: Hide, share: float, seconds: float) -> Row:
    """Place as much as ``share`` of the usable area asks for, and have it checked."""
    asked = filled(job, hide, share)
    began = time.perf_counter()
    taken = sum(wanted.part.outline.area for wanted in asked.parts) / hide.usable_area
    first = 0.0

    def observer(found: search.Step) -> None:
        nonlocal first
        first = first or (time.perf_counter() - began if found.valid else 0.0)

    placed = place(
        asked, hide, Budget(seconds), observer=observer, stop=lambda: first > 0
    )  # the first valid layout is all that is asked for
    valid = placed.valid and not check(Plan.of(asked, hide, placed.placements), hide)
    return Row(
        len(asked.parts),
        taken,
        scarcest(asked, hide),
        valid,
        first or time.perf_counter() - began,
        len(placed.in_conflict),
    )


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--week", default="week-30")
    parser.add_argument("--hide", default="", help="the week's own first by default")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each step")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--from", type=float, default=30.0, dest="first")
    parser.add_argument("--to", type=float, default=95.0, dest="last")
    parser.add_argument("--step", type=float, default=5.0)
    options = parser.parse_args(arguments)
    search.warm_up()
    week = job_of(read(SHARED / f"weeks/{options.week}.week.toml"))
    job = replace(week, seed=options.seed, keep="neck")  # as in all results
    file = SHARED / f"hides/{options.hide}.hide.json" if options.hide else job.hides[0]
    hide = record.read(file)
    hide.thickness.mean(hide.outline.points[:1])  # fitted once, before time is counted
    print(f"{options.week} on {hide.name}, {options.seconds:g} s for each step")
    print("asked for   parts   of usable   of scarcest   placed   seconds   in conflict")
    share, fails = options.first, 0
    while share <= options.last and fails < MOST_FAILS:
        try:
            row = step(job, hide, share / 100, options.seconds)
        except NoPlan as error:
            print(f"{share:7.1f} %   {error}")
            return
        fails = 0 if row.placed else fails + 1
        print(
            f"{share:7.1f} % {row.parts:7d} {100 * row.usable:9.1f} % {100 * row.scarcest:11.1f} %"
            f" {'yes' if row.placed else 'no':>8s} {row.seconds:9.2f} {row.in_conflict:13d}",
            flush=True,
        )
        share += options.step


if __name__ == "__main__":
    main()
