"""Travel of the tool beside a bound that no order can beat.

    python -m tests.bench.travel [--effort 0.05 | --plan PLAN] [--machine NAME ...]

Rows: the sample week of twelve sheaths, planned on its hide, or another plan, on machines that
are described in shared/machines, all set-ups together; and, unless machines are named, 500 parts
in rows by laser. Columns: parts, contours, travel and bound in m, the gap between them, seconds
of search and bound together by the clock, and those of the processor (compiled code is loaded
before). Outlines alone have no bound that says anything. Asked: the week within 5 % in under 5 s,
500 parts in under 30 s.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from hides import record
from nest import plan as plans
from nest import planning, week
from nest.cut.contour import Contour, contours
from nest.cut.kerf import compensated
from nest.cut.machine import Machine, read
from nest.cut.order import arrange
from nest.cut.program import home_of
from nest.cut.setups import split
from nest.plan import Plan
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
    began = time.process_time()
    routes = [arrange(compensated(bed, machine.kerf), machine, home_of(machine)) for bed in beds]
    took = time.process_time() - began
    travel, bound = (sum(getattr(route, key) for route in routes) for key in ("travel", "bound"))
    gap = f"{bound / 1000:8.2f} {100 * (travel / bound - 1):6.1f} %" if bound else f"{'none':>17s}"
    print(
        f"{name:34s} {parts:5d} {sum(map(len, beds)):8d} {travel / 1000:8.2f} {gap} "
        f"{sum(route.seconds for route in routes):6.1f} {took:6.1f}",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, help="a plan file instead of planning the week")
    parser.add_argument("--effort", type=float, default=0.05)
    parser.add_argument("--machine", nargs="+", metavar="NAME")
    options = parser.parse_args()
    if options.plan:
        plan = plans.read(options.plan)
    else:
        job, hide = week.job_of(week.read(WEEK)), ROOT / "shared/hides/birch.hide.json"
        plan = planning.plan_week(job, record.read(hide), effort=options.effort).plan
    small = replace(plan, placements=plan.placements[:3], drawn=())
    for machine in (WIDE, replace(WIDE, tool="oscillating", holes="none")):
        arrange(contours(small, machine), machine)
    print(f"{'':34s} parts contours  travel m  bound m      gap      s  cpu s")
    for name in options.machine or MACHINES:
        machine = read(name)
        beds = beds_of(plan, machine)
        about = f"{plan.name}, {name}, {len(beds)} set-up{'s' * (len(beds) > 1)}"
        print_row(about, len(plan.placements), beds, machine)
    if not options.machine:
        print_row(f"{MANY} parts in rows, laser", MANY, [contours(many(), WIDE)], WIDE)


if __name__ == "__main__":
    main()
