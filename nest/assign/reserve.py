"""A strap that a job wants to be left of the hide, at the end that is kept.

It is placed by the search before the other parts, as one part that gathers at that end, and
then taken out of the ground.
"""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely import Polygon

from hides.hide import Hide
from hides.outline import Outline
from hides.thickness import Need
from hides.units import THICKEST
from nest.checker import Finding, clearances
from nest.errors import NoPlan
from nest.job import Budget, Job, Kit, Wanted
from nest.part import Part, Region
from nest.place.solve import place
from nest.plans import Plan, Remnant, placed_outline

STRAP = "the strap"  # what findings call it
STRAP_WINDOW = 10.0  # degrees off the line of least stretch; a strap across it would give
STRAP_EFFORT = 0.02  # enough for one part
ANY_THICKNESS = Need(0.1, THICKEST, may_split=True)  # a strap is chosen later; thin is told apart


def strap(job: Job, hide: Hide) -> Polygon | None:
    """The wanted strap as far towards the kept end as it goes, clean, clear of pinned parts.

    It is kept and not cut, so it may cross from one window of a cutter's bed to the next. None
    where the job wants none, or the hide has no room for it.
    """
    if job.remnant is None:
        return None
    part, fixed = _strap_part(*job.remnant), job.pinned
    kit = Kit("remnant", "remnant", (Wanted("remnant/strap", "remnant", part, ANY_THICKNESS),))
    alone = replace(fixed, kits=(*fixed.kits, kit), shift=None)
    try:
        found = place(alone, hide, Budget(effort=STRAP_EFFORT), at_kept_end=True)
    except NoPlan:
        return None
    return found.placements[-1].outline_of(part).polygon if found.valid else None


def too_near(plan: Plan, strap: Polygon | None) -> tuple[Finding, ...]:
    """Parts, cut already or not, that lie on the reserved strap or nearer to it than the gap."""
    if strap is None:
        return ()
    parts = [placed_outline(plan, placement).polygon for placement in plan.lying]
    names = [placement.id for placement in plan.lying]
    found = clearances([*parts, strap], plan.gap, names=[*names, STRAP])
    return tuple(finding for finding in found if STRAP in (finding.part, finding.other))


def remnant_of(strap: Polygon) -> Remnant:
    """A strap as a plan tells what is left."""
    circle = shapely.maximum_inscribed_circle(strap, 0.5)
    x, y = circle.coords[0]
    return Remnant(strap, (float(x), float(y), float(circle.length)))


def _strap_part(length: float, width: float) -> Part:
    x, y = length / 2, width / 2
    outline = Outline.of([(-x, -y), (x, -y), (x, y), (-x, y)])
    return Part("strap", outline, (Region("strap", outline),), (), window=STRAP_WINDOW)
