"""Travel of the tool beside a bound that no order can beat.

    python -m tests.bench.travel [--effort 0.05 | --plan PLAN]

Rows: the sample week of twelve sheaths, planned on its hide, with stitch holes and marks by
laser, with crosses, and outlines alone by knife; and 500 parts in rows. Columns: parts,
contours, travel and bound in m, the gap between them, seconds of search and bound together by
the clock, and those of the processor with the contours' (compiled code is loaded before).
Asked: the week within 5 % in under 5 s, 500 parts in under 30 s.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from pathlib import Path

from hides import record
from nest import plan as plans
from nest import planning, week
from nest.cut.contour import contours
from nest.cut.machine import Machine
from nest.cut.order import arrange
from nest.plan import Plan
from tests.bench.cutting import laid

ROOT = Path(__file__).parents[2]
WEEK = ROOT / "shared/weeks/week-12.week.toml"
MANY = 500
BED = (9000.0, 9000.0)
ROWS = {
    "laser, holes": Machine("laser", "laser", BED),
    "laser, holes and marks": Machine("laser", "laser", BED, marks=("fold", "throat", "loop")),
    "laser, crosses": Machine("laser", "laser", BED, holes="cross"),
    "knife, outlines": Machine("knife", "oscillating", BED, holes="none"),
}


def many() -> Plan:
    """Sheaths of the week over and over, in rows, up to 500 parts."""
    job = week.job_of(week.read(WEEK))
    parts = tuple(
        replace(part, id=f"{turn}-{part.id}", kit=f"{turn}-{part.kit}")
        for turn in range(MANY // len(job.parts) + 1)
        for part in job.parts
    )
    return laid(replace(job, kits=(replace(job.kits[0], parts=parts[:MANY]),)))


def print_row(name: str, plan: Plan, machine: Machine) -> None:
    began = time.process_time()
    route = arrange(contours(plan, machine), machine)
    took = time.process_time() - began
    print(
        f"{name:28s} {len(plan.placements):5d} {len(route.contours):8d} "
        f"{route.travel / 1000:8.2f} {route.bound / 1000:8.2f} {100 * route.gap:6.1f} % "
        f"{route.seconds:6.1f} {took:6.1f}",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, help="a plan file instead of planning the week")
    parser.add_argument("--effort", type=float, default=0.05)
    options = parser.parse_args()
    job = week.job_of(week.read(WEEK))
    if options.plan:
        plan = plans.read(options.plan)
    else:
        hide = record.read(ROOT / "shared/hides/birch.hide.json")
        plan = planning.plan_week(job, hide, effort=options.effort).plan
    small = replace(plan, placements=plan.placements[:3], drawn=())
    for machine in ROWS.values():
        arrange(contours(small, machine), machine)
    print(f"{'':28s} parts contours  travel m  bound m      gap      s  cpu s")
    for name, machine in ROWS.items():
        print_row(name, plan, machine)
    print_row("500 parts, laser, holes", many(), ROWS["laser, holes"])


if __name__ == "__main__":
    main()
