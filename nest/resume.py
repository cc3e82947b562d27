"""A week that is begun: what an earlier plan had cut stays cut, and the rest is planned around it.

A part that was cut counts as made for a sheath of the week where that has the same part: of the
same knife, with the same outline and holes. Its kit is then finished from the hide it was cut
from. Whatever else was cut is leather that is gone, and counts for no sheath.

>>> from nest import plans, week                                       # doctest: +SKIP
>>> job = week.job_of(week.read("shared/weeks/week-4.week.toml"))      # doctest: +SKIP
>>> plan = plans.read_checked("out/week-4.plan.json")                  # doctest: +SKIP
>>> begun(job, plan, ["A1", "A1W"], hides).cut                         # doctest: +SKIP
frozenset({'heron-1/body', 'heron-1/welt'})
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from hides.hide import Hide
from nest.errors import WeekError
from nest.job import Job, Kit, Pin, Wanted
from nest.part import alike
from nest.plans import Placement, Plan, labels_of, named

SPARE = " cut"  # behind the id of a kit whose parts were cut and count for no sheath of the week


def begun(job: Job, plan: Plan, labels: Sequence[str], hides: Sequence[Hide]) -> Job:
    """The job with parts that were cut by a plan, beside those that the plan says were cut before.

    Parameters
    ----------
    labels : what the plan's pages call the parts ("A1", "A1W").
    hides : what is offered; the plan's hide must be among them.

    Raises
    ------
    InputError : a part that the plan doesn't place, or no part at all; the plan's hide is not
        offered, or another plan of it was named before; nothing is left to plan.
    """
    ids = {named(plan, label).id for label in labels} | {placement.id for placement in plan.cut}
    if not ids:
        mend = f"Write its letters as the cut plan does, such as {next(iter(labels_of(plan)))}."
        raise WeekError(f"no part of the plan of {plan.name} is named as cut.", mend=mend)
    if any(pin.cut and pin.hide == plan.hide_name for pin in job.pins):
        what = f"two plans of {plan.hide_name} are named."
        raise WeekError(what, mend="Name the last: it knows what was cut before.")
    remarks = _of_the_hide(plan, hides)
    places = {placement.id: placement for placement in plan.lying}
    names = {wanted.id: label for label, wanted in labels_of(plan).items()}
    free = {kit.id: kit for kit in job.kits if plan.name == job.name}
    pins = {pin.part: pin for pin in job.pins}
    for pin in job.pins:
        if pin.cut:
            free.pop(pin.kit, None)
    kits = list(job.kits)
    for old in dict.fromkeys(wanted.kit for wanted in plan.wanted if wanted.id in ids):
        cut = [wanted for wanted in plan.wanted if wanted.kit == old and wanted.id in ids]
        made = _made(old, cut, free.values())
        for one, own in made:
            free.pop(own.kit, None)
            pins[own.id] = _pin(own, places[one.id], plan, names[one.id])
            remarks += _of_another_leather(names[one.id], one, own)
        spare = [one for one in cut if one not in [each for each, _ in made]]
        if spare:
            kits.append(_spare_kit(old, spare, {kit.id for kit in kits}))
            pins |= {
                own.id: _pin(own, places[one.id], plan, names[one.id])
                for one, own in zip(spare, kits[-1].parts, strict=True)
            }
            remarks.append(_counts_for_none(job, plan, old, [names[one.id] for one in spare]))
    begun = replace(
        job,
        kits=tuple(kits),
        pins=tuple(pins.values()),
        remarks=(*job.remarks, *remarks),
    )
    if not begun.to_cut:
        what = "every part of the week is cut, so nothing is left to plan."
        raise WeekError(what, mend="Add a sheath to the week, or name fewer parts as cut.")
    return begun


def _of_the_hide(plan: Plan, hides: Sequence[Hide]) -> list[str]:
    """What to know of the hide that was cut, which must be among those offered."""
    hide = next((hide for hide in hides if hide.name == plan.hide_name), None)
    if hide is None:
        what = f"parts were cut from {plan.hide_name}, which is not offered."
        raise WeekError(what, mend="Offer its record, too.")
    if hide.sha256 == plan.hide_sha256:
        return []
    return [
        f"The record of {hide.name} has changed since parts were cut from it. They are taken to "
        "lie where they lay in the plan: its outline must lie in the same frame."
    ]


def _made(old: str, cut: Sequence[Wanted], free: Iterable[Kit]) -> list[tuple[Wanted, Wanted]]:
    """Parts that were cut, each with the week's part that it counts for, all of one kit."""
    found: list[tuple[bool, list[tuple[Wanted, Wanted]]]] = []
    for kit in free:
        if _knife(kit.id) == _knife(old):
            pairs = [(o, w) for o in cut for w in kit.parts if alike(o.part, w.part)]
            found.append((kit.id == old, pairs))
    return max(found, key=lambda one: (len(one[1]), one[0]), default=(False, []))[1]


def _knife(kit: str) -> str:
    """heron-2 -> heron, and so is "heron-2 cut"."""
    return re.sub(rf"-\d+({SPARE}( \d+)?)?$", "", kit)


def _pin(wanted: Wanted, at: Placement, plan: Plan, label: str) -> Pin:
    return Pin(wanted.id, at.x, at.y, at.angle, plan.hide_name, cut=True, label=label)


def _spare_kit(old: str, cut: Sequence[Wanted], taken: set[str]) -> Kit:
    """A kit of parts that count for none of the week's."""
    name = first = re.sub(rf"{SPARE}( \d+)?$", "", old) + SPARE
    number = 1
    while name in taken:
        number += 1
        name = f"{first} {number}"
    parts = tuple(replace(w, id=f"{name}/{w.part.kind}", kit=name) for w in cut)
    return Kit(name, name, parts)


def _of_another_leather(label: str, cut: Wanted, now: Wanted) -> list[str]:
    """What to know of a part whose leather the week would choose otherwise now."""
    was, asks = cut.need, now.need
    if asks.low <= was.low and (was.high <= asks.high or asks.may_split):
        return []
    return [
        f"{label} ({now.id}) was cut from leather of {was}, and the week now asks for {asks}. It "
        "counts as made: gauge it."
    ]


def _counts_for_none(job: Job, plan: Plan, old: str, names: Sequence[str]) -> str:
    """Why parts that were cut are no sheath of the week."""
    if plan.name != job.name:
        why = f"was cut for {plan.name}"
    elif any(_knife(kit.id) == _knife(old) for kit in job.kits):
        why = "was cut in another shape than the week asks for now, or once more than it asks for"
    else:
        why = f"was cut, and the week asks for no {_knife(old)} any more"
    told = f"{', '.join(names)} of the earlier plan ({old}) {why}"
    return f"{told}: its leather is gone, and it counts for no sheath."
