"""Which kits lie on which hide: areas propose (:mod:`nest.place.assign`), the search disposes.

One hide that holds everything is best, the cheapest of those. Else kits are given to hides by
area, each hide's set is tried, and a set that finds no valid layout is refused: it is a cut
for the next proposal, and the share of the ground that this hide is taken to hold is lowered.
Where not everything fits, the best kits by the job's goals are looked for in the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from shapely import Polygon

from hides.hide import Hide
from nest.bound import used_area
from nest.errors import NoPlan
from nest.job import Job, Kit
from nest.place import reserve
from nest.place.bins import CLOSE, Bin, bin_of
from nest.place.lay import Laid, Observer, Purse, lay, least
from nest.place.offer import Counts, Goal
from nest.place.solve import Placed, part_key

TRIAL = 0.12  # of the budget, for finding out whether a set of kits fits
TIGHT = 0.5  # of a hide's usable area; if parts take more, areas are asked first whether they fit
ALONE = 0.5  # of what is left; if one hide is not found to hold everything by then, it does not
TRYING = 0.85  # of the budget; no more trials from then on, once something is known to fit
# ALONE and TRYING were set by hand: what fits has to find its layout in the rest of the budget.
MOST_TRIES = 30  # trials to place everything, and as many again to place what fits


@dataclass(frozen=True, slots=True)
class Fitted:
    """What fits: the hides used, and ids of the kits that found no room."""

    laid: tuple[Laid, ...]
    left_out: tuple[str, ...]


def fit(
    job: Job,
    hides: Sequence[Hide],
    purse: Purse,
    *,
    partial: bool = False,
    observer: Observer = lambda hide, step: None,
    stop: Callable[[], bool] = lambda: False,
) -> Fitted:
    """Place a job's kits on hides, as few hides and as little leather as can be found.

    Raises
    ------
    NoPlan : not everything fits (the message says what would; with ``partial`` only if
        nothing does), or nothing was found in the budget.
    """
    return _Fit(job, hides, purse, observer, stop).run(partial)


class _Fit:
    """One run: the kinds of kit, the hides and what is known of them."""

    def __init__(
        self,
        job: Job,
        hides: Sequence[Hide],
        purse: Purse,
        observer: Observer,
        stop: Callable[[], bool],
    ) -> None:
        self.job, self.purse, self.observer, self.stop = job, purse, observer, stop
        self.hides = tuple(hides)
        self.kinds = _kinds(job)
        self.counts = tuple(len(kits) for kits in self.kinds)
        self.tries = 0
        self.nowhere = ""  # what was said of a part that has no ground at all
        self.bins: list[Bin] = []

    def run(self, partial: bool) -> Fitted:
        if alone := self._on_one_hide():
            return Fitted((alone,), ())
        self.bins = [self._bin(hide) for hide in self.hides]
        for one in self.bins:
            one.refuse(self.counts, CLOSE)
        if len(self.hides) > 1 and (sets := self._whole()):
            return Fitted(self._finished(sets), ())
        sets = self._as_many_as_fit(first=not partial)
        left_out = self._left_out(sets)
        if left_out and (not partial or len(left_out) == len(self.job.kits)):
            raise NoPlan(self._does_not_fit(left_out))
        return Fitted(self._finished(sets), left_out)

    # ------------------------------------------------ all on one hide

    def _on_one_hide(self) -> Laid | None:
        """Everything on the hide where that costs least, if any holds it."""
        open_to_all = tuple(self._hides_open_to_all())
        if len(self.hides) == 1 and open_to_all and not self._tight(open_to_all[0]):
            return self._all_on(open_to_all[0])  # the search works out the bound beside it
        bounds = {hide.name: least(self.job, hide) for hide in open_to_all}
        able = [hide for hide in self.hides if hide.name in bounds and bounds[hide.name].fits]
        if len(self.hides) == 1 and able:
            return self._all_on(able[0])
        cost = _cost_on(self.hides)
        best: tuple[float, Laid] | None = None
        lowest = {hide.name: cost(hide, bounds[hide.name].used_area) for hide in able}
        for hide in sorted(able, key=lambda hide: lowest[hide.name]):
            if best and lowest[hide.name] >= best[0]:
                break
            laid = self._all_on(hide, TRIAL)
            if laid is None:
                continue
            paid = cost(hide, used_area(hide, self.job.keep)(laid.placed.reach))
            best = min(best or (paid, laid), (paid, laid), key=lambda found: found[0])
        if best is None:
            return None
        return self._better(best[1], self._left())

    def _hides_open_to_all(self) -> Iterator[Hide]:
        names = {self._hide_of(pin.hide) for pin in self.job.pins}
        yield from (hide for hide in self.hides if names <= {hide.name})

    def _hide_of(self, name: str) -> str:
        return name or self.hides[0].name

    def _all_on(self, hide: Hide, share: float | None = None) -> Laid | None:
        """Everything on this hide, with a share of the budget; else all that is left of it."""
        strap = self._strap(self.job, hide)
        if share is None:
            placed = self._lay(self.job, hide, self._left(), strap=strap, give_up=ALONE)
        else:
            placed = self._lay(self.job, hide, share, strap=strap)
        return Laid(self.job, hide, placed, strap) if placed and placed.valid else None

    def _left(self) -> float:
        """Share of the budget that is left, or enough for a trial."""
        return max(1 - self.purse.spent, TRIAL)

    def _tight(self, hide: Hide) -> bool:
        area = sum(wanted.part.outline.area for wanted in self.job.parts)
        return area > TIGHT * hide.usable_area

    def _strap(self, job: Job, hide: Hide) -> Polygon | None:
        """The reserved strap, unless the kits find no room beside it: they go first."""
        strap = reserve.strap(job, hide)
        if strap is None:
            return None
        beside = self._lay(job, hide, TRIAL, strap=strap, first=True)
        return strap if beside and beside.valid else None

    def _better(self, laid: Laid, share: float) -> Laid:
        """The same kits placed with more of the budget, if that helps."""
        placed = self._lay(laid.job, laid.hide, share, strap=laid.strap, begin=laid.placed)
        if placed is None or not placed.valid or placed.reach > laid.placed.reach:
            return laid
        return replace(laid, placed=placed)

    def _lay(
        self,
        job: Job,
        hide: Hide,
        share: float,
        *,
        strap: Polygon | None = None,
        first: bool = False,
        begin: Placed | None = None,
        give_up: float = 1.0,
    ) -> Placed | None:
        """None where some part finds no ground at all."""
        try:
            placed = lay(
                job,
                hide,
                self.purse.share(share),
                strap=strap,
                first=first,
                begin=begin,
                give_up=give_up,
                observer=self.observer,
                stop=self.stop,
            )
        except NoPlan as error:
            self.nowhere = str(error)
            return None
        self.purse.work += placed.work
        return placed

    # ------------------------------------------------ sets for several hides

    def _bin(self, hide: Hide) -> Bin:
        homes = [self._homes(kind[0]) for kind in self.kinds]
        here = [home == {hide.name} for home in homes]
        pinned = (kind[0] for kind, is_here in zip(self.kinds, here, strict=True) if is_here)
        return bin_of(
            hide,
            self.job,
            [reserve.loose(self.job.of(kind[:1])).kits[0] for kind in self.kinds],
            _cost_on(self.hides),
            taken=reserve.pinned(self.job.of(pinned))[1],
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
            sets = self._assigned()
            if sets is None and not self._hope_again():
                return None
            if sets is not None and self._all_hold(sets):
                return sets
        return None

    def _assigned(
        self, goals: Sequence[Goal] = (), *, whole: bool = True
    ) -> tuple[Counts, ...] | None:
        """What areas propose, as far as is known now."""
        from nest.place.assign import assign  # CP-SAT is slow to load, and one hide needs none

        return assign(self.counts, [one.asked() for one in self.bins], goals, whole=whole)

    def _as_many_as_fit(self, *, first: bool) -> tuple[Counts, ...]:
        """The sets of greatest value that were found to fit; ``first``: and no more trials."""
        goals = _goals(self.job, self.kinds)
        best = ((0,) * len(self.counts),) * len(self.bins)
        self.tries = 0
        for one in self.bins:
            one.calm_hopes()
        while self._may_try(found=any(map(any, best))):
            sets = self._assigned(goals, whole=False)
            if sets is None or _worth(sets, goals) <= _worth(best, goals):
                if not self._hope_again():
                    break
                continue
            all_hold = self._all_hold(sets)
            best = max(best, self._floors(), key=lambda found: _worth(found, goals))
            if all_hold and (first or _total(best) == self.counts):
                break
            if all_hold:
                self._hope_again(free=True)
        return best

    def _floors(self) -> tuple[Counts, ...]:
        """The greatest sets placed so far that go together."""
        return tuple(one.floor for one in self.bins)

    def _hope_again(self, *, free: bool = False) -> bool:
        """Expect more of the hides, else let go of what was placed; whether that is any news.

        ``free``: do both.
        """
        raised = sum(one.raise_hopes() for one in self.bins) > 0  # each of them, not any
        if raised and not free:
            return True
        return sum(one.free() for one in self.bins) > 0 or raised

    def _may_try(self, *, found: bool = False) -> bool:
        if self.stop() or self.tries >= MOST_TRIES:
            return False
        return self.purse.spent < TRYING or not found

    def _all_hold(self, sets: tuple[Counts, ...]) -> bool:
        """Try every hide's set, to learn from each; whether all of them fit."""
        many = sum(map(any, sets))
        jobs = self._jobs(sets)
        found = [
            self._tried(one, counts, job, TRIAL / many)
            for one, counts, job in zip(self.bins, sets, jobs, strict=True)
            if any(counts)
        ]
        return all(found)

    def _tried(self, one: Bin, counts: Counts, job: Job, share: float) -> bool:
        if counts in one.held:
            one.floor = counts
            return True
        self.tries += 1
        placed = self._lay(job, one.hide, share, strap=one.strap, first=True)
        if one.strap and not (placed and placed.valid):
            placed = self._lay(job, one.hide, share, first=True)
            if placed and placed.valid:
                one.strap = None  # the kits go first
        if placed and placed.valid:
            one.holds(counts, placed)
            return True
        one.refuse(counts, _excess(job, placed) if placed else 1.0)
        if placed and placed.in_conflict:
            self._suspect(one, placed.in_conflict[0], share)
        return False

    def _suspect(self, one: Bin, part: str, share: float) -> None:
        """Try the kit that is worst stuck alone, once for its kind: it may be too large."""
        kind = next(
            n
            for n, kits in enumerate(self.kinds)
            if any(wanted.id == part for kit in kits for wanted in kit.parts)
        )
        counts = tuple(int(n == kind) for n in range(len(self.kinds)))
        if counts in one.offer.refused or one.has_held(kind):
            return
        alone = self.job.of(self.kinds[kind][:1])
        placed = self._lay(alone, one.hide, share, first=True)
        if not (placed and placed.valid):
            one.cut(counts)
        elif one.strap is None:  # laid without a strap, so it holds only where there is none
            one.held[counts] = placed

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

    def _finished(self, sets: tuple[Counts, ...]) -> tuple[Laid, ...]:
        """Spend what is left of the budget on the sets, by their numbers of parts."""
        laid = [
            Laid(job, one.hide, _renamed(one.held[counts], job), one.strap)
            for one, counts, job in zip(self.bins, sets, self._jobs(sets), strict=True)
            if any(counts)
        ]
        parts = sum(len(each.job.parts) for each in laid)
        left = self._left()
        return tuple(self._better(each, left * len(each.job.parts) / parts) for each in laid)

    # ------------------------------------------------ what did not fit

    def _left_out(self, sets: tuple[Counts, ...]) -> tuple[str, ...]:
        given = {kit.id for job in self._jobs(sets) for kit in job.kits}
        return tuple(kit.id for kit in self.job.kits if kit.id not in given)

    def _does_not_fit(self, left_out: Sequence[str]) -> str:
        names = " and ".join(hide.name for hide in self.hides)
        fits = [kit.id for kit in self.job.kits if kit.id not in left_out]
        short = least(self.job, self.hides[0]).shortages if len(self.hides) == 1 else ()
        if not fits and (not short or self.stop()):
            return self.nowhere or f"no valid plan was found on {names} within the budget."
        lacking = "".join(f" Lacking: {shortage}." for shortage in short)
        some = f" These fit: {', '.join(fits)}." if fits else ""
        return (
            f"{len(fits)} of {len(self.job.kits)} sheaths fit on {names}; "
            f"no room for {', '.join(left_out)}.{some}{lacking} "
            "Offer a larger hide, leave sheaths out, or let the plan hold what fits (--partial)."
        )


def _kinds(job: Job) -> tuple[tuple[Kit, ...], ...]:
    """The kits, alike ones together; one with a pinned part is like no other."""
    pinned = {pin.kit for pin in job.pins}
    keys = {id(wanted.part): part_key(wanted.part) for wanted in job.parts}
    kinds: dict[object, list[Kit]] = {}
    for kit in job.kits:
        parts = tuple((keys[id(wanted.part)], wanted.need) for wanted in kit.parts)
        key = (parts, kit.due, kit.value, kit.id if kit.id in pinned else "")
        kinds.setdefault(key, []).append(kit)
    return tuple(map(tuple, kinds.values()))


def _goals(job: Job, kinds: Sequence[Sequence[Kit]]) -> tuple[Goal, ...]:
    """What to have most of when not all fit: value or early kits first, then the other."""
    kits = [kind[0] for kind in kinds]
    value = tuple(round(kit.value * 100) for kit in kits)
    dates = sorted({kit.due for kit in kits if kit.due})
    by_date = tuple(tuple(int(kit.due == date) for kit in kits) for date in dates)
    every = (1,) * len(kits)
    return (*by_date, every, value) if job.prefer == "due" else (value, *by_date, every)


def _worth(sets: Sequence[Counts], goals: Sequence[Goal]) -> tuple[int, ...]:
    total = _total(sets)
    return tuple(sum(w * n for w, n in zip(goal, total, strict=True)) for goal in goals)


def _total(sets: Sequence[Counts]) -> Counts:
    return tuple(map(sum, zip(*sets, strict=True)))


def _excess(job: Job, placed: Placed) -> float:
    """Share of the parts' area that is still in conflict."""
    stuck = set(placed.in_conflict)
    areas = {wanted.id: wanted.part.outline.area for wanted in job.parts}
    return sum(area for name, area in areas.items() if name in stuck) / sum(areas.values())


def _renamed(placed: Placed, job: Job) -> Placed:
    """The layout of a set for kits alike to those it was found with."""
    pairs = zip(placed.placements, job.parts, strict=True)
    return replace(placed, placements=tuple(replace(p, id=wanted.id) for p, wanted in pairs))


def _cost_on(hides: Sequence[Hide]) -> Callable[[Hide, float], float]:
    """What leather costs: money where every hide has a price in one currency, else its area."""
    currencies = {hide.price.currency if hide.price else "" for hide in hides}
    if len(currencies) > 1 or "" in currencies:
        return lambda hide, area: area
    return lambda hide, area: hide.cost(area) or 0.0
