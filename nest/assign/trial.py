"""Trials: sets of kits on a hide, each searched for with a share of one budget."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from hides.hide import Hide
from nest.bound import Bound, bound
from nest.errors import NoPlan
from nest.job import Budget, Job
from nest.place.search import Step
from nest.place.solve import Filled, place, places_of_pins, shapes_of
from nest.plans import bed_windows

TRIAL = 0.12  # of the budget, for finding out whether a set of kits fits
Observer = Callable[[Hide, Step], None]


def least_leather(job: Job, hide: Hide) -> Bound:
    """The bound for a job's parts by its rules."""
    windows = bed_windows(hide, job.shift, job.keep)
    rules = {"gap": job.gap, "edge_margin": job.edge_margin}
    cut = shapes_of(job, [at for at in places_of_pins(job) if at.id in job.cut])
    return bound(job.to_cut, hide, keep=job.keep, windows=windows, cut=cut, **rules)


@dataclass(slots=True)
class Trials:
    """Who pays for trials, and who is told and asked while they last.

    ``nowhere`` is what was said of a part that has no ground at all.
    """

    budget: Budget
    observer: Observer = lambda hide, step: None
    stop: Callable[[], bool] = lambda: False
    nowhere: str = ""

    @property
    def left(self) -> float:
        """Share of the budget that is left, or enough for a trial."""
        return max(1 - self.budget.used, TRIAL)

    def lay(
        self,
        job: Job,
        hide: Hide,
        share: float,
        *,
        strap: Polygon | None = None,
        first: bool = False,
        begin: Filled | None = None,
        give_up: float = 1.0,
    ) -> Filled | None:
        """Place a job on a hide around a strap; None where some part finds no ground at all.

        Parameters
        ----------
        share : of the whole budget.
        first : any valid layout will do.
        begin : an earlier layout of the job, to go on from.
        give_up : share of this share at which to end if nothing is valid by then.
        """
        try:
            found = place(
                job,
                hide,
                self.budget.share(share),
                strap=strap,
                begin=begin,
                give_up=give_up,
                good_enough=np.inf if first else lambda: least_leather(job, hide).frontier,
                observer=lambda step: self.observer(hide, step),
                stop=self.stop,
            )
        except NoPlan as error:
            self.nowhere = str(error)
            return None
        self.budget.work += found.layout.work
        return found
