"""From a job and a hide to placements, and back from the search's arrays.

The search works in a frame turned so that the end of the hide to be kept lies at large x:
whatever is kept, parts gather towards small x.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import FloatArray, grown, turned
from hides.thickness import Need
from nest.errors import NoPlan
from nest.job import Job, Wanted
from nest.part import Part
from nest.place import search, shapes
from nest.plan import Placement, bed_windows, keep_direction, seams

LEAST_SEAM = 0.1  # mm to either side of a border between windows of a bed; else half the gap
WINDOW_RESERVE = 0.06  # degrees; the search interpolates the direction, the checker does not


@dataclass(frozen=True, slots=True)
class Placed:
    """What the search found: one placement per part wanted, valid or not.

    ``in_conflict`` names the parts that still overlap or leave their ground, worst first;
    ``reach`` is the frontier in mm along the keep direction, ``trace`` the way there, ``poses``
    what another search for the same parts can go on from.
    """

    placements: tuple[Placement, ...]
    valid: bool
    reach: float
    in_conflict: tuple[str, ...]
    work: int
    trace: tuple[search.Step, ...]
    poses: FloatArray


def place(
    job: Job,
    hide: Hide,
    *,
    seconds: float | None = None,
    effort: float | None = None,
    begin: FloatArray | None = None,
    give_up: float = 1.0,
    good_enough: float | Callable[[], float] = -np.inf,
    taken: Sequence[Polygon] = (),
    at_kept_end: bool = False,
    observer: Callable[[search.Step], None] = lambda step: None,
    stop: Callable[[], bool] = lambda: False,
) -> Placed:
    """Place all parts of ``job`` on ``hide`` and gather them away from the end that is kept.

    Parameters
    ----------
    begin : poses of an earlier layout of these parts.
    give_up : share of the budget at which to end if nothing is valid by then.
    taken : shapes in the hide's frame from which parts keep the gap.
    at_kept_end : gather at the end that is kept instead.

    Raises
    ------
    NoPlan : some part finds no ground at all on this hide (thickness, flaws or size).
    """
    keep = keep_direction(job.keep)
    phi = float(np.rad2deg(np.arctan2(keep[1], keep[0]))) + (180.0 if at_kept_end else 0.0)
    world = prepare(job, hide, phi, taken)
    outcome = search.run(
        world,
        seconds=seconds,
        effort=effort,
        seed=job.seed,
        begin=begin,
        give_up=give_up,
        good_enough=good_enough,
        observer=observer,
        stop=stop,
    )
    places = turned(outcome.poses[:, :2], phi)
    angles = _within_window(job, hide, places, np.rad2deg(outcome.angles) + phi)
    return Placed(
        tuple(
            Placement(wanted.id, float(angle), float(x), float(y))
            for wanted, angle, (x, y) in zip(job.parts, angles, places, strict=True)
        ),
        valid=outcome.conflict <= 0,
        reach=outcome.reach - job.gap / 2,
        in_conflict=tuple(job.parts[i].id for i in outcome.culprits),
        work=outcome.work,
        trace=outcome.trace,
        poses=outcome.poses,
    )


def _within_window(job: Job, hide: Hide, places: FloatArray, angles: FloatArray) -> FloatArray:
    """Turn parts back that interpolation let out of their window, by a hair almost always.

    Only where lines of stretch meet head on does the direction jump, and the turn is more; if
    a part then overlaps, the checker says so and the caller searches again.
    """
    axes = np.array([wanted.part.axis for wanted in job.parts])
    windows = np.array([wanted.part.window for wanted in job.parts])
    off = (axes + angles - hide.stretch.direction(places) + 90.0) % 180.0 - 90.0
    return angles - off + np.clip(off, -windows, windows)


def prepare(job: Job, hide: Hide, phi: float, taken: Sequence[Polygon] = ()) -> shapes.World:
    """The job's parts and the hide's ground in the search's frame, turned by -``phi`` degrees."""
    ground: dict[Hashable, BaseGeometry] = {}
    kinds: list[int] = []
    known: dict[Hashable, int] = {}
    found: list[shapes.Shape] = []
    for wanted in job.parts:
        key = (part_key(wanted.part), wanted.need)
        if key not in known:
            known[key] = len(found)
            found.append(_shape_of(wanted))
            for region in wanted.part.regions:
                sort = (region.face, wanted.need)
                if sort not in ground:
                    left = ground_left(hide, *sort, job, taken)
                    turned_back = affinity.rotate(left, -phi, origin=(0.0, 0.0))
                    ground[sort] = shapes.shrunk(turned_back)
                if ground[sort].is_empty:
                    raise NoPlan(_nowhere(wanted, region.face, hide))
        kinds.append(known[key])
    box = shapely.union_all(list(ground.values())).bounds

    def direction(points: FloatArray) -> FloatArray:
        return hide.stretch.direction(turned(points, phi)) - phi

    return shapes.build(found, kinds, gap=job.gap, ground=ground, box=box, direction=direction)


def part_key(part: Part) -> Hashable:
    """Equal for parts of one shape that ask for the same."""
    regions = tuple((r.face, r.outline.points.tobytes()) for r in part.regions)
    return part.axis, part.window, part.outline.points.tobytes(), regions


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
        f"{wanted.id} ({face}) asks for leather of {_words(wanted.need)}, and {hide.name} has "
        "no ground of that thickness inside its margins and clear of flaws."
    )


def _words(need: Need) -> str:
    return f"{need.low:g} to {need.high:g} mm" + (" or thicker" if need.may_split else "")
