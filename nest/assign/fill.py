"""Which kits lie on which hide: areas propose (:mod:`nest.assign.proposal`), the search disposes.

One hide that holds everything is best, the cheapest of those. Else kits are given to hides by
area, each hide's set is tried, and a set that finds no valid layout is refused: it is a cut
for the next proposal, and the share of the ground that this hide is taken to hold is lowered.
Where not everything fits, the best kits by the job's goals are looked for in the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from shapely import Polygon

from hides.hide import Hide, unpriced
from nest.assign import reserve
from nest.assign.capacity import CLOSE, Bin, Counts, bin_of
from nest.assign.trial import TRIAL, Trials, least_leather
from nest.bound import used_area
from nest.errors import NoPlan
from nest.job import Job, Kit
from nest.place.solve import Filled, places_of_pins, shapes_of

TIGHT = 0.5  # of a hide's usable area; if parts take more, areas are asked first whether they fit
ALONE = 0.5  # of what is left; if one hide is not found to hold everything by then, it does not
TRYING = 0.85  # of the budget; no more trials from then on, once something is known to fit
# ALONE and TRYING were set by hand: what fits has to find its layout in the rest of the budget.
MOST_TRIES = 30  # trials to place everything, and as many again to place what fits


def fill(
    job: Job, hides: Sequence[Hide], trials: Trials, *, partial: bool = False
) -> tuple[Filled, ...]:
    """Place a job's kits on hides, as few hides and as little leather as can be found.

    Returns the hides that are cut into, each with the job of its kits; with ``partial`` some
    kits may lie on none.

    Raises
    ------
    NoPlan : not everything fits (the message says what would; with ``partial`` only if
        nothing does), or nothing was found in the budget.
    """
    return _Filling(job, hides, trials).run(partial)


class _Filling:
    """One run: the kinds of kit, the hides and what is known of them."""

    def __init__(self, job: Job, hides: Sequence[Hide], trials: Trials) -> None:
        self.job, self.hides, self.trials = job, tuple(hides), trials
        self.kinds = _kinds(job)
        self.counts = tuple(len(kits) for kits in self.kinds)
        self.tries = 0
        self.bins: list[Bin] = []

    def run(self, partial: bool) -> tuple[Filled, ...]:
        if alone := self._on_one_hide():
            return (alone,)
        self.bins = [self._bin(hide) for hide in self.hides]
        for one in self.bins:
            one.refuse(self.counts, CLOSE)
        sets = self._whole() if len(self.hides) > 1 else None
        if sets is None:
            sets = self._as_many_as_fit(first=not partial)
            fits = {kit.id for job in self._jobs(sets) for kit in job.kits}
            if not fits or (not partial and len(fits) < len(self.job.kits)):
                raise NoPlan(self._does_not_fit(fits))
        return self._finished(sets)

    # ------------------------------------------------ all on one hide

    def _on_one_hide(self) -> Filled | None:
        """Everything on the hide where that costs least, if any holds it."""
        if len(self.hides) == 1 and not self._tight(self.hides[0]):
            return self._all_on(self.hides[0])  # the search works out the bound beside it
        homes = {self._hide_of(pin.hide) for pin in self.job.pins}
        bounds = {
            hide: least_leather(self.job, hide) for hide in self.hides if homes <= {hide.name}
        }
        able = [hide for hide, least in bounds.items() if least.fits]
        if len(self.hides) == 1 and able:
            return self._all_on(able[0])
        cost = _cost_on(self.hides)
        lowest = {hide: cost(hide, bounds[hide].used_area) for hide in able}
        best: tuple[float, Filled] | None = None
        for hide in sorted(able, key=lambda hide: lowest[hide]):
            if best and lowest[hide] >= best[0]:
                break
            if filled := self._all_on(hide, TRIAL):
                paid = cost(hide, used_area(hide, self.job.keep)(filled.reach))
                best = min(best or (paid, filled), (paid, filled), key=lambda found: found[0])
        return self._better(best[1], self.trials.left) if best else None

    def _hide_of(self, name: str) -> str:
        return name or self.hides[0].name

    def _all_on(self, hide: Hide, share: float | None = None) -> Filled | None:
        """Everything on this hide, with a share of the budget; else all that is left of it."""
        strap = self._strap(hide)
        if share is None:
            filled = self.trials.lay(self.job, hide, self.trials.left, strap=strap, give_up=ALONE)
        else:
            filled = self.trials.lay(self.job, hide, share, strap=strap)
        return filled if filled and filled.valid else None

    def _tight(self, hide: Hide) -> bool:
        area = sum(wanted.part.outline.area for wanted in self.job.parts)
        return area > TIGHT * hide.usable_area

    def _strap(self, hide: Hide) -> Polygon | None:
        """The reserved strap, unless the kits find no room beside it: they go first."""
        strap = reserve.strap(self.job, hide)
        if strap is None:
            return None
        beside = self.trials.lay(self.job, hide, TRIAL, strap=strap, first=True)
        return strap if beside and beside.valid else None

    def _better(self, filled: Filled, share: float) -> Filled:
        """The same kits placed with more of the budget, if that helps."""
        found = self.trials.lay(filled.job, filled.hide, share, strap=filled.strap, begin=filled)
        return found if found and found.valid and found.reach <= filled.reach else filled

    # ------------------------------------------------ sets for several hides

    def _bin(self, hide: Hide) -> Bin:
        homes = [self._homes(kind[0]) for kind in self.kinds]
        here = [home == {hide.name} for home in homes]
        own = self.job.of(
            kind[0] for kind, is_here in zip(self.kinds, here, strict=True) if is_here
        )
        return bin_of(
            hide,
            self.job,
            [self.job.of(kind[:1]).loose.kits[0] for kind in self.kinds],
            _cost_on(self.hides),
            taken=shapes_of(own, places_of_pins(own)),
            strap=reserve.strap(self.job, hide),
            least=tuple(map(int, here)),
            most=tuple(
                0 if home and not is_here else n
                for n, home, is_here in zip(self.counts, homes, here, strict=True)
            ),
        )

    def _homes(self, kit: Kit) -> set[str]:
        """Names of the hides that the kit is pinned to: none or one."""
        return {self._hide_of(pin.hide) for pin in self.job.pins if pin.kit == kit.id}

    def _whole(self) -> tuple[Counts, ...] | None:
        """Sets that give every kit its hide and that all fit."""
        while self._may_try():
            sets = self._proposed()
            if sets is None and not self._hope_again():
                return None
            if sets is not None and self._all_hold(sets):
                return sets
        return None

    def _proposed(
        self, goals: Sequence[Counts] = (), *, whole: bool = True
    ) -> tuple[Counts, ...] | None:
        """What areas propose, as far as is known now."""
        from nest.assign.proposal import propose  # CP-SAT is slow to load; one hide needs none

        return propose(self.counts, self.bins, goals, whole=whole)

    def _as_many_as_fit(self, *, first: bool) -> tuple[Counts, ...]:
        """The sets of greatest value that were found to fit; ``first``: and no more trials."""
        goals = _goals(self.job, self.kinds)
        none = (0,) * len(self.counts)
        best = (none,) * len(self.bins)
        self.tries = 0
        for one in self.bins:
            one.calm_hopes()
        while self._may_try(found=any(map(any, best))):
            sets = self._proposed(goals, whole=False)
            if sets is None or _worth(sets, goals) <= _worth(best, goals):
                if not self._hope_again():
                    break
                continue
            all_hold = self._all_hold(sets)
            floors = tuple(one.floor or none for one in self.bins)  # what goes together
            best = max(best, floors, key=lambda found: _worth(found, goals))
            if all_hold and (first or _total(best) == self.counts):
                break
            if all_hold:
                self._hope_again(free=True)
        return best

    def _hope_again(self, *, free: bool = False) -> bool:
        """Expect more of the hides, else let go of what was placed; whether that is any news.

        ``free``: do both.
        """
        raised = sum(one.raise_hopes() for one in self.bins) > 0  # each of them, not any
        if raised and not free:
            return True
        return sum(one.free() for one in self.bins) > 0 or raised

    def _may_try(self, *, found: bool = False) -> bool:
        if self.trials.stop() or self.tries >= MOST_TRIES:
            return False
        return self.trials.budget.used < TRYING or not found

    def _all_hold(self, sets: tuple[Counts, ...]) -> bool:
        """Try every hide's set, to learn from each; whether all of them fit."""
        many = sum(map(any, sets))
        found = [
            self._tried(one, counts, job, TRIAL / many)
            for one, counts, job in zip(self.bins, sets, self._jobs(sets), strict=True)
            if any(counts)
        ]
        return all(found)

    def _tried(self, one: Bin, counts: Counts, job: Job, share: float) -> bool:
        if counts in one.held:
            one.floor = counts
            return True
        self.tries += 1
        filled = self.trials.lay(job, one.hide, share, strap=one.strap, first=True)
        if one.strap and not (filled and filled.valid):
            filled = self.trials.lay(job, one.hide, share, first=True)
            if filled and filled.valid:
                one.strap = None  # the kits go first
        if filled and filled.valid:
            one.holds(counts, filled)
            return True
        one.refuse(counts, _excess(filled) if filled else 1.0)
        if filled and filled.in_conflict:
            self._suspect(one, filled.in_conflict[0], share)
        return False

    def _suspect(self, one: Bin, part: str, share: float) -> None:
        """Try the kit that is worst stuck alone, once for its kind: it may be too large."""
        kind = next(
            n
            for n, kits in enumerate(self.kinds)
            if any(wanted.id == part for kit in kits for wanted in kit.parts)
        )
        counts = tuple(int(n == kind) for n in range(len(self.kinds)))
        if counts in one.refused or one.has_held(kind):
            return
        alone = self.job.of(self.kinds[kind][:1])
        filled = self.trials.lay(alone, one.hide, share, first=True)
        if not (filled and filled.valid):
            one.cut(counts)
        elif one.strap is None:  # laid without a strap, so it holds only where there is none
            one.held[counts] = filled

    def _jobs(self, sets: tuple[Counts, ...]) -> list[Job]:
        """Name the kits of each hide's set: of alike ones the first to the first hide."""
        start = [0] * len(self.kinds)
        jobs = []
        for counts in sets:
            kits: list[Kit] = []
            for kind, n in enumerate(counts):
                kits += self.kinds[kind][start[kind] : start[kind] + n]
                start[kind] += n
            jobs.append(self.job.of(kits))
        return jobs

    def _finished(self, sets: tuple[Counts, ...]) -> tuple[Filled, ...]:
        """Spend what is left of the budget on the sets, by their numbers of parts."""
        filled = [
            replace(_renamed(one.held[counts], job), strap=one.strap)
            for one, counts, job in zip(self.bins, sets, self._jobs(sets), strict=True)
            if any(counts)
        ]
        parts = sum(len(each.job.parts) for each in filled)
        left = self.trials.left
        return tuple(self._better(each, left * len(each.job.parts) / parts) for each in filled)

    # ------------------------------------------------ what did not fit

    def _does_not_fit(self, fits: set[str]) -> str:
        names = " and ".join(hide.name for hide in self.hides)
        left = {wanted.kit for wanted in self.job.to_cut}
        kits = [kit.id for kit in self.job.kits if kit.id in left]
        short = least_leather(self.job, self.hides[0]).shortages if len(self.hides) == 1 else ()
        if not fits and (not short or self.trials.stop()):
            return self.trials.nowhere or f"no valid plan was found on {names} within the budget."
        lacking = "".join(f" Lacking: {shortage}." for shortage in short)
        cut = {pin.kit for pin in self.job.pins if pin.cut}
        begun = [kit for kit in kits if kit in cut]
        if begun and not fits:
            lacking += f" Partly cut, and so never left out: {', '.join(begun)}."
        some = f" These fit: {', '.join(kit for kit in kits if kit in fits)}." if fits else ""
        return (
            f"{len(fits & left)} of {len(kits)} sheaths fit on {names}; "
            f"no room for {', '.join(kit for kit in kits if kit not in fits)}.{some}{lacking} "
            "Offer a larger hide, leave sheaths out, or let the plan hold what fits (--partial)."
        )


def _kinds(job: Job) -> tuple[tuple[Kit, ...], ...]:
    """The kits, alike ones together; one with a pinned part is like no other."""
    pins = {pin.kit for pin in job.pins}
    kinds: dict[object, list[Kit]] = {}
    for kit in job.kits:
        parts = tuple(wanted.likeness for wanted in kit.parts)
        key = (parts, kit.due, kit.value, kit.id if kit.id in pins else "")
        kinds.setdefault(key, []).append(kit)
    return tuple(map(tuple, kinds.values()))


def _goals(job: Job, kinds: Sequence[Sequence[Kit]]) -> tuple[Counts, ...]:
    """What to have most of when not all fit: value or early kits first, then the other."""
    kits = [kind[0] for kind in kinds]
    value = tuple(round(kit.value * 100) for kit in kits)
    dates = sorted({kit.due for kit in kits if kit.due})
    by_date = tuple(tuple(int(kit.due == date) for kit in kits) for date in dates)
    every = (1,) * len(kits)
    return (*by_date, every, value) if job.prefer == "due" else (value, *by_date, every)


def _worth(sets: Sequence[Counts], goals: Sequence[Counts]) -> tuple[int, ...]:
    total = _total(sets)
    return tuple(sum(w * n for w, n in zip(goal, total, strict=True)) for goal in goals)


def _total(sets: Sequence[Counts]) -> Counts:
    return tuple(map(sum, zip(*sets, strict=True)))


def _excess(filled: Filled) -> float:
    """Share of the parts' area that is still in conflict."""
    stuck = set(filled.in_conflict)
    areas = {wanted.id: wanted.part.outline.area for wanted in filled.job.parts}
    return sum(area for name, area in areas.items() if name in stuck) / sum(areas.values())


def _renamed(filled: Filled, job: Job) -> Filled:
    """The layout of a set for kits alike to those it was found with."""
    pairs = zip(filled.placements, job.parts, strict=True)
    places = tuple(replace(p, id=wanted.id) for p, wanted in pairs)
    return replace(filled, job=job, placements=places)


def _cost_on(hides: Sequence[Hide]) -> Callable[[Hide, float], float]:
    """What leather costs: money where every hide has a price in one currency, else its area."""
    if unpriced(hides):
        return lambda hide, area: area
    return lambda hide, area: hide.cost(area) or 0.0
