"""From a job and a hide to placements, and back from the search's arrays.

The search works in a frame turned so that the end of the hide to be kept lies at large x:
whatever is kept, parts gather towards small x.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import FloatArray, grown, turned
from hides.thickness import Need
from nest.errors import NoPlan
from nest.job import Budget, Job, Wanted
from nest.part import off_line
from nest.place import search, shapes
from nest.plans import Placement, bed_windows, keep_direction, seams

LEAST_SEAM = 0.1  # mm to either side of a border between windows of a bed; else half the gap
NOTHING = search.Layout(np.empty((0, 4)), np.empty(0), -np.inf, 0.0, 0, (), ())
WINDOW_RESERVE = 0.06  # degrees; the search interpolates the direction, the checker does not


@dataclass(frozen=True, slots=True)
class Filled:
    """A hide with the parts of a job where a search put them, valid or not, and pins stay.

    ``strap`` is leather in the hide's frame that was kept clear for a wanted remnant.
    """

    job: Job
    hide: Hide
    placements: tuple[Placement, ...]
    layout: search.Layout
    strap: Polygon | None = None

    @property
    def valid(self) -> bool:
        """Whether parts keep to their ground and to themselves, as far as the search can tell."""
        return self.layout.conflict <= 0

    @property
    def reach(self) -> float:
        """The frontier of the loose parts in mm along the keep direction."""
        return self.layout.reach - self.job.gap / 2

    @property
    def in_conflict(self) -> tuple[str, ...]:
        """Ids of the parts that overlap or leave their ground, worst first."""
        parts = self.job.loose.parts
        return tuple(parts[i].id for i in self.layout.culprits)


def place(
    job: Job,
    hide: Hide,
    budget: Budget,
    *,
    strap: Polygon | None = None,
    begin: Filled | None = None,
    give_up: float = 1.0,
    good_enough: float | Callable[[], float] = -np.inf,
    at_kept_end: bool = False,
    observer: Callable[[search.Step], None] = lambda step: None,
    stop: Callable[[], bool] = lambda: False,
) -> Filled:
    """Place a job's parts on a hide, and gather the loose ones away from the end that is kept.

    Parameters
    ----------
    strap : a shape in the hide's frame from which parts keep the gap.
    begin : an earlier layout of these parts, to go on from.
    give_up : share of the budget at which to end if nothing is valid by then.
    good_enough : frontier in mm at which nothing is left to gain, or what works it out.
    at_kept_end : gather at the end that is kept instead.

    Raises
    ------
    NoPlan : some part finds no ground at all on this hide (thickness, flaws or size).
    """
    loose, fixed, layout = job.loose, places_of_pins(job), NOTHING
    found = {placement.id: placement for placement in fixed}
    if loose.parts:
        keep = keep_direction(job.keep)
        phi = float(np.rad2deg(np.arctan2(keep[1], keep[0]))) + (180.0 if at_kept_end else 0.0)
        taken = (*shapes_of(job, fixed), *([strap] if strap else []))
        layout = search.run(
            prepare(loose, hide, phi, taken),
            budget,
            seed=job.seed,
            begin=begin.layout.poses if begin else None,
            give_up=give_up,
            good_enough=good_enough,
            observer=observer,
            stop=stop,
        )
        places = turned(layout.poses[:, :2], phi)
        angles = _within_window(loose, hide, places, np.rad2deg(layout.angles) + phi)
        for wanted, angle, (x, y) in zip(loose.parts, angles, places, strict=True):
            found[wanted.id] = Placement(wanted.id, float(angle), float(x), float(y))
    return Filled(job, hide, tuple(found[wanted.id] for wanted in job.parts), layout, strap)


def places_of_pins(job: Job) -> tuple[Placement, ...]:
    """Where the job's pinned parts lie, in the order of its pins."""
    return tuple(Placement(pin.part, pin.angle, pin.x, pin.y).rounded() for pin in job.pins)


def shapes_of(job: Job, placements: Iterable[Placement]) -> tuple[Polygon, ...]:
    """What placed parts of a job cover, in the hide's frame."""
    parts = {wanted.id: wanted.part for wanted in job.parts}
    return tuple(p.outline_of(parts[p.id]).polygon for p in placements)


def _within_window(job: Job, hide: Hide, places: FloatArray, angles: FloatArray) -> FloatArray:
    """Turn parts back that interpolation let out of their window, by a hair almost always.

    Only where lines of stretch meet head on does the direction jump, and the turn is more; if
    a part then overlaps, the checker says so and the caller searches again.
    """
    axes = np.array([wanted.part.axis for wanted in job.parts])
    windows = np.array([wanted.part.window for wanted in job.parts])
    off = off_line(axes + angles, hide.stretch.direction(places))
    return angles - off + np.clip(off, -windows, windows)


def prepare(job: Job, hide: Hide, phi: float, taken: Sequence[Polygon] = ()) -> shapes.World:
    """The job's parts and the hide's ground in the search's frame, turned by -``phi`` degrees."""
    ground: dict[Hashable, BaseGeometry] = {}
    kinds: list[int] = []
    known: dict[Hashable, int] = {}
    found: list[shapes.Shape] = []
    for wanted in job.parts:
        if wanted.likeness not in known:
            known[wanted.likeness] = len(found)
            found.append(_shape_of(wanted))
            for region in wanted.part.regions:
                sort = (region.face, wanted.need)
                if sort not in ground:
                    left = ground_left(hide, *sort, job, taken)
                    turned_back = affinity.rotate(left, -phi, origin=(0.0, 0.0))
                    ground[sort] = shapes.shrunk(turned_back)
                if ground[sort].is_empty:
                    raise NoPlan(_nowhere(wanted, region.face, hide))
        kinds.append(known[wanted.likeness])
    box = shapely.union_all(list(ground.values())).bounds

    def direction(points: FloatArray) -> FloatArray:
        return hide.stretch.direction(turned(points, phi)) - phi

    return shapes.build(found, kinds, gap=job.gap, ground=ground, box=box, direction=direction)


def _shape_of(wanted: Wanted) -> shapes.Shape:
    part = wanted.part
    window = max(part.window - WINDOW_RESERVE, 0.0) if part.window < 90 else 90.0
    return shapes.Shape(
        part.outline.points,
        axis=part.axis,
        window=window,
        regions=tuple((r.outline.points, (r.face, wanted.need)) for r in part.regions),
    )


def ground_left(
    hide: Hide, face: str, need: Need, job: Job, taken: Sequence[Polygon]
) -> BaseGeometry:
    """Where a region of a face may lie on a hide, and clear of what is taken by the gap.

    Borders between windows of a cutter's bed are taken out with half the gap to either side: what
    is in one piece and clear of them lies in one window.
    """
    allowed: BaseGeometry = hide.ground(face, need, job.edge_margin)
    if taken:
        allowed = allowed.difference(grown(shapely.union_all(taken), job.gap))
    windows = bed_windows(hide, job.shift, job.keep)
    if len(windows) > 1:
        allowed = allowed.difference(seams(windows, max(job.gap / 2, LEAST_SEAM)))
    return allowed


def _nowhere(wanted: Wanted, face: str, hide: Hide) -> str:
    return (
        f"{wanted.id} ({face}) asks for leather of {wanted.need}, and {hide.name} has "
        "no ground of that thickness inside its margins and clear of flaws."
    )
