"""Leather that the search must leave alone: parts pinned by the user, a strap to be kept.

Both are taken out of the ground before the other parts are placed. A strap is itself placed by
the search, as one part that gathers at the end that is kept.
"""

from __future__ import annotations

from dataclasses import replace

from shapely import Polygon

from hides.hide import Hide
from hides.outline import Outline
from hides.thickness import Need
from hides.units import THICKEST
from nest.errors import NoPlan
from nest.job import Job, Kit, Wanted
from nest.part import Part, Region
from nest.place.solve import Placed, place
from nest.plan import Placement

STRAP_WINDOW = 10.0  # degrees off the line of least stretch; a strap across it would give
STRAP_EFFORT = 0.02  # enough for one part
ANY_THICKNESS = Need(0.1, THICKEST, may_split=True)  # a strap is chosen later; thin is told apart


def pinned(job: Job) -> tuple[tuple[Placement, ...], tuple[Polygon, ...]]:
    """Placements and shapes of the job's pinned parts."""
    parts = {wanted.id: wanted.part for wanted in job.parts}
    places = tuple(Placement(pin.part, pin.angle, pin.x, pin.y).rounded() for pin in job.pins)
    shapes = tuple(parts[p.id].outline.placed(p.angle, p.x, p.y).polygon for p in places)
    return places, shapes


def loose(job: Job) -> Job:
    """The job without its pinned parts."""
    fixed = {pin.part for pin in job.pins}
    kits = tuple(
        replace(kit, parts=tuple(w for w in kit.parts if w.id not in fixed)) for kit in job.kits
    )
    return replace(job, kits=kits, pins=())


def strap(job: Job, hide: Hide) -> Polygon | None:
    """The wanted strap as far towards the kept end as it goes, clean, clear of pinned parts.

    It is kept and not cut, so it may cross from one window of a cutter's bed to the next. None
    where the job wants none, or the hide has no room for it.
    """
    if job.remnant is None:
        return None
    part = _strap_part(*job.remnant)
    kit = Kit("remnant", "remnant", (Wanted("remnant/strap", "remnant", part, ANY_THICKNESS),))
    alone = replace(job, kits=(kit,), pins=(), shift=None)
    try:
        placed = place(alone, hide, effort=STRAP_EFFORT, taken=pinned(job)[1], at_kept_end=True)
    except NoPlan:
        return None
    p = placed.placements[0]
    return part.outline.placed(p.angle, p.x, p.y).polygon if placed.valid else None


def _strap_part(length: float, width: float) -> Part:
    x, y = length / 2, width / 2
    outline = Outline.of([(-x, -y), (x, -y), (x, y), (-x, y)])
    return Part("strap", outline, (Region("strap", outline),), (), window=STRAP_WINDOW)


def with_pinned(placed: Placed, job: Job) -> Placed:
    """The placements of a job's loose parts and of its pinned ones, in the job's order."""
    found = {p.id: p for p in (*placed.placements, *pinned(job)[0])}
    return replace(placed, placements=tuple(found[wanted.id] for wanted in job.parts))
