"""One trial: a job on a hide around what is reserved there, paid out of one budget."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypedDict

import numpy as np
from shapely import Polygon

from hides.hide import Hide
from nest.bound import Bound, bound
from nest.job import Job
from nest.place import reserve, search
from nest.place.solve import Placed, place
from nest.plan import bed_windows

Observer = Callable[[Hide, search.Step], None]


class Share(TypedDict):
    """A budget as the search wants it."""

    seconds: float | None
    effort: float | None


@dataclass(slots=True)
class Purse:
    """The whole budget, by time or by work, and how much of it is spent."""

    seconds: float | None
    effort: float | None
    work: int = 0
    began: float = field(default_factory=time.perf_counter)

    @property
    def total(self) -> float:
        return self.effort or self.seconds or 0.0

    @property
    def spent(self) -> float:
        """Share of the budget that is gone."""
        if self.effort is not None:
            return self.work / (search.WORKERS * search.EFFORT) / self.total
        return (time.perf_counter() - self.began) / self.total

    def share(self, part: float) -> Share:
        """A part of the whole budget."""
        amount = self.total * part
        by_work = self.effort is not None
        return {"seconds": None if by_work else amount, "effort": amount if by_work else None}


@dataclass(frozen=True, slots=True)
class Laid:
    """One hide's kits as placed; ``strap`` is what is reserved for the wanted remnant."""

    job: Job
    hide: Hide
    placed: Placed
    strap: Polygon | None


def least(job: Job, hide: Hide) -> Bound:
    """The bound for a job's parts by its rules."""
    windows = bed_windows(hide, job.shift, job.keep)
    rules = {"gap": job.gap, "edge_margin": job.edge_margin}
    return bound(job.parts, hide, keep=job.keep, windows=windows, **rules)


def lay(
    job: Job,
    hide: Hide,
    budget: Share,
    *,
    strap: Polygon | None = None,
    first: bool = False,
    begin: Placed | None = None,
    give_up: float = 1.0,
    observer: Observer = lambda hide, step: None,
    stop: Callable[[], bool] = lambda: False,
) -> Placed:
    """Place a job on a hide around its pinned parts and a strap.

    Parameters
    ----------
    first : any valid layout will do.
    begin : an earlier layout of the job, to go on from.
    give_up : share of the budget at which to end if nothing is valid by then.
    """
    loose = reserve.loose(job)
    if not loose.parts:
        return reserve.with_pinned(Placed((), True, -np.inf, (), 0, (), np.empty((0, 4))), job)
    taken = (*reserve.pinned(job)[1], *([strap] if strap else []))
    placed = place(
        loose,
        hide,
        **budget,
        begin=begin.poses if begin else None,
        give_up=give_up,
        good_enough=np.inf if first else lambda: least(job, hide).frontier,
        taken=taken,
        observer=lambda step: observer(hide, step),
        stop=stop,
    )
    return reserve.with_pinned(placed, job)
