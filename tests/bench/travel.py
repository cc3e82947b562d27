"""Travel of the tool over a plan, and the seconds it takes to find the order.

    python -m tests.bench.travel [--effort 0.05 | --plan PLAN ...] [--machine NAME ...]

Rows: the sample week of twelve sheaths, planned on its hide, or other plans, on machines that
are described in shared/machines, all set-ups together; and, unless machines are named, 500 parts
in rows by laser. Columns: parts, contours, travel in m, and seconds of search by the clock
(compiled code is loaded before). Asked: the week in under 1 s, 500 parts in under 5 s.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from hides import record
from nest import planning, plans, week
from nest.cutter.contour import Contour, contours
from nest.cutter.kerf import compensated
from nest.cutter.machine import Machine, read
from nest.cutter.program import home_of
from nest.cutter.route import arrange
from nest.cutter.setups import split
from nest.plans import Plan
from tests.bench.cutting import laid
from tests.places import ROOT

WEEK = ROOT / "shared/weeks/week-12.week.toml"
MANY = 500
WIDE = Machine("laser", "laser", (9000.0, 9000.0))
MACHINES = ("laser-1300", "laser-600", "oscillating-1600", "drag-knife-600")


def many() -> Plan:
    """Sheaths of the week over and over, in rows, up to 500 parts."""
    job = week.job_of(week.read(WEEK))
    parts = tuple(
        replace(part, id=f"{turn}-{part.id}", kit=f"{turn}-{part.kit}")
        for turn in range(MANY // len(job.parts) + 1)
        for part in job.parts
    )
    return laid(replace(job, kits=(replace(job.kits[0], parts=parts[:MANY]),)))


def beds_of(plan: Plan, machine: Machine) -> list[list[Contour]]:
    """The tool's paths of each set-up; registration marks are left out."""
    pattern = contours(plan, machine)
    return [
        [replace(c, points=setup.to_bed.on(c.points)) for c in pattern if c.part in setup.parts]
        for setup in split(plan, machine)
    ]


def print_row(name: str, parts: int, beds: Sequence[Sequence[Contour]], machine: Machine) -> None:
    paths = [compensated(bed, machine.kerf) for bed in beds]
    began = time.perf_counter()
    travel = sum(arrange(path, machine, home_of(machine)).travel for path in paths)
    took = time.perf_counter() - began
    print(
        f"{name:40s} {parts:5d} {sum(map(len, beds)):8d} {travel / 1000:8.2f} {took:6.2f}",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, nargs="+", help="instead of planning the week")
    parser.add_argument("--effort", type=float, default=0.05)
    parser.add_argument("--machine", nargs="+", metavar="NAME")
    options = parser.parse_args()
    if options.plan:
        given = [plans.read(path) for path in options.plan]
    else:
        hide = ROOT / "shared/hides/birch.hide.json"
        job = replace(week.job_of(week.read(WEEK)), keep="neck")  # as in all results
        given = [planning.plan_week(job, record.read(hide), effort=options.effort).plan]
    small = replace(given[0], placements=given[0].placements[:3], drawn=())
    arrange(contours(small, WIDE), WIDE)
    print(f"{'':40s} parts contours travel m      s")
    for plan in given:
        for name in options.machine or MACHINES:
            machine = read(name)
            beds = beds_of(plan, machine)
            about = f"{plan.name}, {name}, {len(beds)} set-up{'s' * (len(beds) > 1)}"
            print_row(about, len(plan.placements), beds, machine)
    if not options.machine:
        print_row(f"{MANY} parts in rows, laser", MANY, [contours(many(), WIDE)], WIDE)


if __name__ == "__main__":
    main()
