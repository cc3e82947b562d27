"""A job and a hide in, a checked plan with its figures out.

Nothing leaves here that the independent checker did not pass. When not everything fits,
:func:`plan_week` says what would, and plans just that if it is asked to.

>>> job = job_of(read("shared/weeks/week-4.week.toml"))                # doctest: +SKIP
>>> planned = plan_week(job, record.read(job.hides[0]), seconds=5)     # doctest: +SKIP
>>> planned.figures.text("used_area")                                  # doctest: +SKIP
'61.2 dm² (6.59 ft²)'
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

from shapely import Polygon

from hides.errors import InputError
from hides.hide import Hide, unpriced
from nest.assign import Trials, fill
from nest.assign.pins import refuse_namesakes, refuse_pins
from nest.assign.reserve import remnant_of, too_near
from nest.bound import Bound, used_area
from nest.checker import Finding, check, verdict
from nest.errors import NoPlan
from nest.figures import Figures, bound_of, measure
from nest.job import Budget, Job
from nest.place.search import Step
from nest.place.solve import Filled
from nest.plans import (
    Plan,
    as_filed,
    bed_windows,
    keep_direction,
    number_of,
    refuse_too_large,
    said_of_cut,
)

GAUGE = (
    "Gauge it and add the readings (croupon hide add), give a zone its thickness, or cut it at "
    "your own judgement with --unknown-thickness; every page of the plan then says so."
)
TRIES = 3  # searches, should the checker refuse what one of them found


@dataclass(frozen=True, slots=True)
class Planned:
    """A checked plan on its hide, its figures, the bound, and how the search went.

    ``trace`` holds each better layout on the way, ``work`` the number of candidate poses looked at.
    ``strap`` is the strap that the plan leaves as the week's ``remnant`` asks, in the hide's
    frame; None where none was asked for or there is no room for it.
    """

    plan: Plan
    hide: Hide
    figures: Figures
    bound: Bound
    trace: tuple[Step, ...]
    work: int
    strap: Polygon | None = None

    @property
    def number(self) -> str:
        """The plan's number, by which its papers and files are known: "P3FA91C"."""
        return number_of(self.plan)

    @property
    def strap_is_beyond(self) -> bool:
        """Whether the strap lies wholly beyond the frontier, and not beside the parts."""
        if self.strap is None:
            return False
        x, y = keep_direction(self.plan.keep)
        nearest = min(x * px + y * py for px, py in self.strap.exterior.coords)
        return nearest >= self.figures.frontier


@dataclass(frozen=True, slots=True)
class Progress:
    """What an observer is told of a search: the hide by name, seconds since it began there, the
    used area of the best valid layout and the least that any has, mm², where they are known.
    """

    hide: str
    seconds: float
    used: float | None
    least: float | None


def plan_week(
    job: Job,
    hide: Hide,
    *,
    seconds: float | None = None,
    effort: float | None = None,
    partial: bool = False,
    observer: Callable[[Progress], None] = lambda progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> Planned:
    """Plan a job on one hide.

    Parameters
    ----------
    seconds, effort : the budget (effort is a number); the job's own where neither is given. With
        effort the same seed gives the same plan on every run.
    partial : plan as many kits as fit when not all do: those of most value or those due first.
    observer : told of each better layout.
    stop : asked now and then; True ends the search with the best plan so far.

    Raises
    ------
    NoPlan : not everything fits (the message says what would), or nothing was found in the
        budget.
    WeekError : a pinned part breaks a rule where it lies.
    """
    return plan_hides(
        job,
        [hide],
        seconds=seconds,
        effort=effort,
        partial=partial,
        observer=observer,
        stop=stop,
    )[0]


def plan_hides(
    job: Job,
    hides: Sequence[Hide],
    *,
    seconds: float | None = None,
    effort: float | None = None,
    partial: bool = False,
    observer: Callable[[Progress], None] = lambda progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Planned, ...]:
    """Plan a job on several hides: one plan for each hide that is cut into.

    Everything on one hide where that can be, on the cheapest such; else whole kits are given
    to hides for the least cost of leather. Each plan holds its own kits, and names those that
    no hide has room for. Parameters (``seconds`` or ``effort``) and errors as for
    :func:`plan_week`.

    Raises
    ------
    InputError : two hides of one name, a hide whose thickness nobody knows, a pin to a hide that
        isn't offered, or a part too large for every window of the job's bed.
    """
    for hide in hides:
        if what := unusable(job, hide):
            raise InputError(what, mend=GAUGE)
    refuse_pins(job, hides)
    refuse_too_large(job, hides)
    areas = {hide.name: used_area(hide, job.keep) for hide in hides}

    def told(hide: Hide, step: Step) -> None:
        area = areas[hide.name]
        used = area(step.reach) if step.valid else None
        least = area(step.least) if step.least > -inf else None
        observer(Progress(hide.name, step.seconds, used, least))

    trials = Trials(job.budget(seconds, effort), told, stop)
    filled = fill(job, hides, trials, partial=partial)
    given = {kit.id for one in filled for kit in one.job.kits}
    left_out = tuple(kit.id for kit in job.kits if kit.id not in given)
    why = unpriced(hides) if len(hides) > 1 else ""
    said = (f"The hides to cut were chosen by area, not by cost, as {why}.",) if why else ()
    return tuple(_checked(job, one, left_out, trials.budget, said) for one in filled)


def compare_hides(
    job: Job,
    hides: Sequence[Hide],
    *,
    seconds: float | None = None,
    effort: float | None = None,
    observer: Callable[[Progress], None] = lambda progress: None,
) -> tuple[tuple[Planned, ...], Mapping[str, str]]:
    """Plan the same job on each hide, as much of it as fits, in so many seconds or by effort.

    The second of the pair says of hides that are of no use, by name, why. ``observer`` is
    as for :func:`plan_week`.

    Raises
    ------
    NoPlan : some hide holds not one sheath of the job.
    InputError : two hides of one name, or none is of use.
    """
    refuse_namesakes(hides)
    useless = {hide.name: what for hide in hides if (what := unusable(job, hide))}
    if len(useless) == len(hides):
        raise InputError(next(iter(useless.values())), mend=GAUGE)
    tried = (
        plan_week(
            job,
            hide,
            seconds=seconds,
            effort=effort,
            partial=True,
            observer=observer,
        )
        for hide in hides
        if hide.name not in useless
    )
    return tuple(tried), useless


def unusable(job: Job, hide: Hide) -> str:
    """Why a hide can't be cut for a job at all; "" where nothing speaks against it."""
    needs = [wanted.need for wanted in job.parts if not wanted.need.unknown]
    if hide.thickness.known or not needs:
        return ""
    low, high = min(need.low for need in needs), max(need.high for need in needs)
    return (
        f"nobody has said how thick {hide.name} is, and the week asks for leather of {low:g} to "
        f"{high:g} mm."
    )


def _checked(
    job: Job, filled: Filled, left_out: tuple[str, ...], budget: Budget, said: tuple[str, ...]
) -> Planned:
    """The plan of one hide, once the checker passes it; searched for again if it does not."""
    hide, strap = filled.hide, filled.strap
    if odd := len(hide.readings) - len(hide.thickness.counted):
        said = (
            *said,
            f"{odd} of {len(hide.readings)} readings of {hide.name} are odd and do not "
            f"count until they are confirmed (croupon hide check).",
        )
    ids = {*left_out, *(kit.id for kit in filled.job.kits)}
    own = job.of(kit for kit in job.kits if kit.id in ids)
    before = {pin.part: pin.label for pin in own.pins if pin.label}
    for attempt in range(1, TRIES + 1):
        plan = Plan.of(
            own,
            hide,
            filled.placements,
            left_out=left_out,
            budget=str(budget),
            remarks=said,
            bed_windows=bed_windows(hide, job.shift, job.keep),
        )
        plan = replace(plan, remarks=(*plan.remarks, *said_of_cut(plan, before)))
        findings = (*check(plan, hide), *too_near(plan, strap))
        if not findings:
            break
        other = replace(filled.job, seed=job.seed + 1_000_003 * attempt)
        again = Trials(budget).lay(other, hide, 1.0, strap=strap) if attempt < TRIES else None
        if again is None or not again.valid:
            raise NoPlan(_refused(findings, hide))
        filled = again
    least = bound_of(plan, hide)
    kept = (remnant_of(strap),) if strap else ()
    figures = measure(replace(plan, remnants=kept), hide, least)
    figures = replace(figures, remnants=(*figures.remnants, *kept))
    plan = replace(plan, figures=figures.numbers, remnants=figures.remnants, check=verdict(()))
    plan = as_filed(plan)
    trace, work = filled.layout.trace, filled.layout.work
    return Planned(plan, hide, figures, least, trace, work, strap)


def _refused(findings: Sequence[Finding], hide: Hide) -> str:
    return (
        f"the checker refused the plan on {hide.name}: {findings[0].says} "
        "This is a fault of the program, not of your input; please report it."
    )
