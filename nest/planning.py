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
from math import inf

import shapely
from shapely import Polygon

from hides.errors import InputError
from hides.hide import Hide
from nest.bound import Bound, used_area
from nest.check import Finding, check, clearances, verdict
from nest.errors import NoPlan, WeekError
from nest.figures import Figures, bound_of, measure
from nest.job import Job
from nest.place import reserve, search
from nest.place.fit import fit
from nest.place.lay import Laid, Purse, lay
from nest.plan import Plan, Remnant, bed_windows, keep_direction, placed_outline, refuse_too_large

TRIES = 3  # searches, should the checker refuse what one of them found


@dataclass(frozen=True, slots=True)
class Planned:
    """A checked plan on its hide, its figures, the bound, and how the search went.

    ``strap`` is the strap that the plan leaves as the week's ``remnant`` asks, in the hide's
    frame; None where none was asked for or there is no room for it.
    """

    plan: Plan
    hide: Hide
    figures: Figures
    bound: Bound
    trace: tuple[search.Step, ...]
    work: int
    strap: Polygon | None = None

    @property
    def strap_is_beyond(self) -> bool:
        """Whether the strap lies wholly beyond the frontier, and not beside the parts."""
        if self.strap is None:
            return False
        x, y = keep_direction(self.plan.keep)
        nearest = min(x * px + y * py for px, py in self.strap.exterior.coords)
        return nearest >= self.figures.numbers["frontier"]


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
    seconds, effort : the budget; the job's own where neither is given. With effort the same
        seed gives the same plan on every run.
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
    no hide has room for. Parameters and errors as for :func:`plan_week`; the observer is told
    the hide too.

    Raises
    ------
    InputError : two hides of one name, a pin to a hide that isn't offered, or a part too large
        for every window of the job's bed.
    """
    if seconds is None and effort is None:
        seconds, effort = (None, job.effort) if job.effort else (job.seconds, None)
    _known_homes(job, hides)
    refuse_too_large(job, hides)
    for hide in hides:
        _pins_allowed(job, hide, alone=len(hides) == 1)
    purse = Purse(seconds, effort)
    areas = {hide.name: used_area(hide, job.keep) for hide in hides}

    def told(hide: Hide, step: search.Step) -> None:
        area = areas[hide.name]
        used = area(step.reach) if step.valid else None
        least = area(step.least) if step.least > -inf else None
        observer(Progress(hide.name, step.seconds, used, least))

    fitted = fit(job, hides, purse, partial=partial, observer=told, stop=stop)
    return tuple(_checked(job, laid, fitted.left_out, purse) for laid in fitted.laid)


def _checked(job: Job, laid: Laid, left_out: tuple[str, ...], purse: Purse) -> Planned:
    """The plan of one hide, once the checker passes it; searched for again if it does not."""
    ids = {kit.id for kit in laid.job.kits}
    own = job.of(kit for kit in job.kits if kit.id in ids or kit.id in left_out)
    placed = laid.placed
    for attempt in range(1, TRIES + 1):
        plan = Plan.of(
            own,
            laid.hide,
            placed.placements,
            left_out=left_out,
            budget=_words(purse),
            bed_windows=bed_windows(laid.hide, job.shift, job.keep),
        )
        findings = (*check(plan, laid.hide), *_too_near(plan, laid.strap))
        if not findings:
            break
        if attempt == TRIES:
            raise NoPlan(_refused(findings, laid.hide))
        other = replace(laid.job, seed=laid.job.seed + 1_000_003 * attempt)
        placed = lay(other, laid.hide, purse.share(1.0), strap=laid.strap)
        if not placed.valid:
            raise NoPlan(_refused(findings, laid.hide))
    least = bound_of(plan, laid.hide)
    figures = measure(plan, laid.hide, least)
    if laid.strap:
        figures = replace(figures, remnants=(*figures.remnants, _remnant_of(laid.strap)))
    plan = replace(plan, figures=figures.numbers, remnants=figures.remnants, check=verdict(()))
    return Planned(plan, laid.hide, figures, least, placed.trace, placed.work, laid.strap)


def _too_near(plan: Plan, strap: Polygon | None) -> tuple[Finding, ...]:
    """Parts that lie on the reserved strap or nearer to it than the gap."""
    if strap is None:
        return ()
    parts = [placed_outline(plan, placement).polygon for placement in plan.placements]
    names = [placement.id for placement in plan.placements]
    return clearances([*parts, strap], plan.gap, names=[*names, "the strap"])


def _remnant_of(strap: Polygon) -> Remnant:
    circle = shapely.maximum_inscribed_circle(strap, 0.5)
    x, y = circle.coords[0]
    return Remnant(strap, (float(x), float(y), float(circle.length)))


def _refused(findings: Sequence[Finding], hide: Hide) -> str:
    return (
        f"the checker refused the plan on {hide.name}: {findings[0].says} "
        "This is a fault of the program, not of your input; please report it."
    )


def _words(purse: Purse) -> str:
    return f"effort {purse.effort:g}" if purse.effort is not None else f"{purse.seconds:g} s"


# --- pinned parts ----------------------------------------------------------------------------


def _known_homes(job: Job, hides: Sequence[Hide]) -> None:
    """Every pin names a hide that is offered, and hides can be told apart by name."""
    names = [hide.name for hide in hides]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two of the hides offered are named {name}.",
                mend="Offer each hide once, and give each record a name of its own.",
            )
    homes: dict[str, str] = {}
    for n, pin in enumerate(job.pins, start=1):
        if not pin.hide and len(names) > 1:
            what = f"several hides are offered, and the pin of {pin.part} names none."
            raise WeekError(what, mend=f'Add hide = "{names[0]}".', place=f"pin {n}")
        if pin.hide and pin.hide not in names:
            what = f"{pin.part} is pinned to {pin.hide}, which is not offered."
            mend = f"Offered: {', '.join(names)}."
            raise WeekError(what, mend=mend, place=f"pin {n}, key 'hide'")
        if homes.setdefault(pin.kit, pin.hide) != pin.hide:
            what = f"{pin.kit} is pinned to two hides."
            raise WeekError(what, mend="A sheath comes from one hide.", place=f"pin {n}")


def _pins_allowed(job: Job, hide: Hide, *, alone: bool) -> None:
    """Refuse pins that break a rule of the checker on this hide."""
    here = tuple(pin for pin in job.pins if alone or pin.hide == hide.name)
    parts = {pin.part: n for n, pin in enumerate(job.pins, start=1) if pin in here}
    if not parts:
        return
    kits = tuple(
        replace(kit, parts=tuple(wanted for wanted in kit.parts if wanted.id in parts))
        for kit in job.kits
    )
    only = replace(job, kits=kits, pins=here)
    windows = bed_windows(hide, job.shift, job.keep)
    pinned = Plan.of(only, hide, reserve.pinned(only)[0], bed_windows=windows)
    for finding in check(pinned, hide):
        raise WeekError(
            f"{finding.part} can't stay where it is pinned: {finding.says}",
            mend="Move it, turn it, or take the pin out.",
            place=f"pin {parts[finding.part]}",
        )


def compare_hides(
    job: Job,
    hides: Sequence[Hide],
    *,
    seconds: float | None = None,
    effort: float | None = None,
    observer: Callable[[Progress], None] = lambda progress: None,
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
