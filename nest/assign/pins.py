"""Whether the pins of a job can be kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from hides.errors import InputError
from hides.hide import Hide
from nest.checker import check
from nest.errors import WeekError
from nest.job import Job, Pin
from nest.place.solve import places_of_pins
from nest.plans import Plan, bed_windows


def refuse_pins(job: Job, hides: Sequence[Hide]) -> None:
    """Refuse pins that can't be kept on the hides offered.

    Raises
    ------
    InputError : two hides of one name, so that none can be told.
    WeekError : a pin to no hide that is offered, or one that breaks a rule of the checker there.
    """
    refuse_namesakes(hides)
    _known_homes(job, [hide.name for hide in hides])
    for hide in hides:
        _pins_allowed(job, hide, alone=len(hides) == 1)


def refuse_namesakes(hides: Sequence[Hide]) -> None:
    """Refuse hides that can't be told apart by name.

    Raises
    ------
    InputError : two hides of one name.
    """
    names = [hide.name for hide in hides]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two of the hides offered are named {name}.",
                mend="Offer each hide once, and give each record a name of its own.",
            )


def _known_homes(job: Job, names: Sequence[str]) -> None:
    """Every pin names a hide that is offered, and a kit's pins name the same."""
    homes: dict[str, str] = {}
    for n, pin in _numbered(job):
        if not pin.hide and len(names) > 1:
            what = f"several hides are offered, and the pin of {pin.part} names none."
            raise WeekError(what, mend=f'Add hide = "{names[0]}".', place=f"pin {n}")
        if pin.hide and pin.hide not in names:
            what = f"{pin.part} is pinned to {pin.hide}, which is not offered."
            mend = f"Offered: {', '.join(names)}."
            raise WeekError(what, mend=mend, place=f"pin {n}, key 'hide'")
        home = pin.hide or names[0]
        if homes.setdefault(pin.kit, home) != home:
            what = f"{pin.kit} is pinned to two hides."
            raise WeekError(what, mend="A sheath comes from one hide.", place=f"pin {n}")


def _pins_allowed(job: Job, hide: Hide, *, alone: bool) -> None:
    """Refuse pins that break a rule of the checker on this hide."""
    here = tuple(pin for pin in job.pins if alone or pin.hide == hide.name)
    if not here:
        return
    only = replace(job, pins=here).pinned
    windows = bed_windows(hide, job.shift, job.keep)
    for finding in check(Plan.of(only, hide, places_of_pins(only), bed_windows=windows), hide):
        if finding.part in job.cut:
            raise WeekError(
                f"{finding.part} was not cut from {hide.name} as this record shows it: "
                f"{finding.says}",
                mend="Name the plan that was cut, and the record in the frame it was made for.",
            )
        number = next(n for n, pin in _numbered(job) if pin.part == finding.part)
        raise WeekError(
            f"{finding.part} can't stay where it is pinned: {finding.says}",
            mend="Move it, turn it, or take the pin out.",
            place=f"pin {number}",
        )


def _numbered(job: Job) -> Iterator[tuple[int, Pin]]:
    """The pins as the week's file numbers them; those of parts that are cut come after."""
    return enumerate(sorted(job.pins, key=lambda pin: pin.cut), start=1)
