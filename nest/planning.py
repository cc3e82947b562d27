"""A job and a hide in, a checked plan with its figures out.

Nothing leaves here that the independent checker did not pass. When not everything fits,
:func:`plan_week` says what would, and plans just that if it is asked to.

>>> job = job_of(read("shared/weeks/week-4.week.toml"))                # doctest: +SKIP
>>> planned = plan_week(job, record.read(job.hides[0]), seconds=5)     # doctest: +SKIP
>>> planned.figures.text("used_area")                                  # doctest: +SKIP
'61.2 dm² (6.59 ft²)'
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from hides.hide import Hide
from nest.check import Finding, check, verdict
from nest.errors import NoPlan
from nest.figures import Figures, bound_of, measure
from nest.place import search
from nest.place.bound import Bound, bound
from nest.place.solve import Placed, place
from nest.plan import Plan
from nest.week import Job, Kit

Observer = Callable[[search.Step], None]
TRIES = 3  # searches, should the checker refuse what one of them found
SHARE_TO_TRY = 0.25  # of the budget, for finding out what fits when not everything does


@dataclass(frozen=True, slots=True)
class Planned:
    """A checked plan on its hide, its figures, the bound, and how the search went."""

    plan: Plan
    hide: Hide
    figures: Figures
    bound: Bound
    trace: tuple[search.Step, ...]
    work: int


def plan_week(
    job: Job,
    hide: Hide,
    *,
    seconds: float | None = None,
    effort: float | None = None,
    partial: bool = False,
    observer: Observer = lambda step: None,
    stop: Callable[[], bool] = lambda: False,
) -> Planned:
    """Plan a job on one hide.

    Parameters
    ----------
    seconds, effort : the budget; the job's own where neither is given. With effort the same
        seed gives the same plan on every run.
    partial : plan as many kits as fit when not all do.
    observer : told of each better layout.
    stop : asked now and then; True ends the search with the best plan so far.

    Raises
    ------
    NoPlan : not everything fits (the message says what would), or nothing was found in the
        budget.
    """
    if seconds is None and effort is None:
        seconds, effort = (None, job.effort) if job.effort else (job.seconds, None)
    least = _bound(job, hide)
    left_out = () if least.fits else _too_many(job, hide)
    if not least.fits and not partial:
        raise NoPlan(_does_not_fit(job, hide, left_out, least))
    budget = {"seconds": seconds, "effort": effort}
    asked = job.without(left_out)
    placed = _place(asked, hide, _bound(asked, hide), budget, observer, stop)
    while not placed.valid:
        left_out = (*left_out, _to_leave_out(asked, placed))
        asked = job.without(left_out)
        if not asked.kits or stop():
            raise NoPlan(f"no valid plan was found on {hide.name} within the budget.")
        share = {k: None if v is None else v * SHARE_TO_TRY for k, v in budget.items()}
        placed = _place(asked, hide, _bound(asked, hide), share, observer, stop)
    if left_out and not partial:
        raise NoPlan(_does_not_fit(job, hide, left_out, least))
    for attempt in range(1, TRIES + 1):
        plan = Plan.of(job, hide, placed.placements, left_out=left_out, budget=_words(budget))
        findings = check(plan, hide)
        if not findings:
            break
        if attempt == TRIES:
            raise NoPlan(_refused(findings, hide))
        other = replace(asked, seed=asked.seed + 1_000_003 * attempt)
        placed = _place(other, hide, _bound(asked, hide), budget, observer, stop)
    return _finished(plan, hide, placed)


def _place(
    job: Job,
    hide: Hide,
    least: Bound,
    budget: dict[str, float | None],
    observer: Observer,
    stop: Callable[[], bool],
) -> Placed:
    return place(
        job,
        hide,
        seconds=budget["seconds"],
        effort=budget["effort"],
        good_enough=least.frontier,
        observer=observer,
        stop=stop,
    )


def _finished(plan: Plan, hide: Hide, placed: Placed) -> Planned:
    """A plan that the checker passed, with its figures."""
    least = bound_of(plan, hide)
    figures = measure(plan, hide, least)
    plan = replace(plan, figures=figures.numbers, remnants=figures.remnants, check=verdict(()))
    return Planned(plan, hide, figures, least, placed.trace, placed.work)


def _refused(findings: Sequence[Finding], hide: Hide) -> str:
    return (
        f"the checker refused the plan on {hide.name}: {findings[0].says} "
        "This is a fault of the program, not of your input; please report it."
    )


def _bound(job: Job, hide: Hide) -> Bound:
    return bound(job.parts, hide, gap=job.gap, edge_margin=job.edge_margin, keep=job.keep)


def _rank(kit: Kit) -> tuple[float, float]:
    """Kits to leave out first come last: late or undated ones, then those of less value."""
    due = float(kit.due.toordinal()) if kit.due else float("inf")
    return due, -kit.value


def _too_many(job: Job, hide: Hide) -> tuple[str, ...]:
    """Kits to leave out, last in rank first, until areas allow the rest."""
    order = sorted(job.kits, key=_rank)
    keep = len(order)
    low, high = 0, len(order)
    while low < high:  # the most kits, in order of rank, whose areas fit
        keep = (low + high + 1) // 2
        tail = tuple(kit.id for kit in order[keep:])
        low, high = (keep, high) if _bound(job.without(tail), hide).fits else (low, keep - 1)
    return tuple(kit.id for kit in order[low:])


def _to_leave_out(job: Job, placed: Placed) -> str:
    """Of the kits with a part in conflict, the one that is last in rank, largest first."""
    stuck = {part.split("/")[0] for part in placed.in_conflict} or {job.kits[-1].id}
    candidates = [kit for kit in job.kits if kit.id in stuck] or list(job.kits)

    def last(kit: Kit) -> tuple[float, float, float]:
        return (*_rank(kit), sum(w.part.outline.area for w in kit.parts))

    return max(candidates, key=last).id


def _does_not_fit(job: Job, hide: Hide, left_out: Sequence[str], least: Bound) -> str:
    fit = [kit.id for kit in job.kits if kit.id not in left_out]
    lacking = "".join(f" Lacking: {shortage}." for shortage in least.shortages)
    some = f" These fit: {', '.join(fit)}." if fit else ""
    return (
        f"{len(fit)} of {len(job.kits)} sheaths fit on {hide.name}; "
        f"no room for {', '.join(left_out)}.{some}{lacking} "
        "Offer a larger hide, leave sheaths out, or let the plan hold what fits (--partial)."
    )


def _words(budget: dict[str, float | None]) -> str:
    if budget["effort"] is not None:
        return f"effort {budget['effort']:g}"
    return f"{budget['seconds']:g} s"


def compare_hides(
    job: Job,
    hides: Sequence[Hide],
    *,
    seconds: float | None = None,
    effort: float | None = None,
    observer: Observer = lambda step: None,
) -> tuple[Planned, ...]:
    """Plan the same job on each hide, as much of it as fits.

    Raises
    ------
    NoPlan : some hide holds not one sheath of the job.
    """
    return tuple(
        plan_week(job, hide, seconds=seconds, effort=effort, partial=True, observer=observer)
        for hide in hides
    )
