"""What a maker can change where a sheath can't be made: tried first, and named with its value."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from itertools import product

import numpy as np

from hides.errors import InputError
from nest.knife import LOOPS, Choices

# By the key that the fault is at: which others help, the least change to the maker's plan first.
HELPS = {
    "belt": ("handle_covered", "loop_pad", "loop", "belt"),
    "loop_width": ("loop_width", "handle_covered", "loop"),
    "handle_covered": ("handle_covered",),
    "slack": ("slack",),
    "handle_margin": ("handle_margin",),
}
MOST = 2  # remedies that are named: a choice, not a list

Change = Mapping[str, object]
Attempt = Callable[[Choices], object]


def remedy_of(choices: Choices, key: str, attempt: Attempt) -> str:
    """What to write instead, in a sentence; or that nothing of the kind helps.

    Parameters
    ----------
    key : the choice that the fault is at, one of :data:`HELPS`.
    attempt : makes the sheath with other choices, or raises an InputError.
    """
    helps = HELPS[key]
    values = {name: _values(choices, name) for name in helps}
    singles = [first_of(choices, ({n: v} for v in values[n]), attempt) for n in helps]
    found = [change for change in singles if change][:MOST]
    if not found and len(helps) > 1:
        one, other = helps[:2]
        pairs = ({one: a, other: b} for b, a in product(values[other], values[one]))
        found = [change for change in [first_of(choices, pairs, attempt)] if change]
    if not found:
        return f"No other {' or '.join(helps)} that was tried makes this sheath."
    return f"This was tried and makes the sheath: {', or '.join(map(words, found))}."


def first_of(choices: Choices, changes: Iterable[Change], attempt: Attempt) -> Change | None:
    """The first change of the choices with which the attempt is no InputError."""
    for change in changes:
        try:
            attempt(replace(choices, **change))  # type: ignore[arg-type]
        except InputError:
            continue
        return change
    return None


def words(change: Change) -> str:
    """The lines of a ``[sheath]`` table that make a change."""
    return " with ".join(
        f"{key} left out"
        if value is None
        else f'{key} = "{value}"'
        if isinstance(value, str)
        else f"{key} = {value:g}"
        for key, value in change.items()
    )


def _values(choices: Choices, key: str) -> list[object]:
    """Other values of a choice, those nearest to the maker's own first; mm where it is a length."""
    now = getattr(choices, key)
    if key == "loop":
        return [loop for loop in LOOPS if loop != now]
    if key == "handle_covered":
        return [*np.arange(math.floor(now * 10 + 1) / 10, 0.95, 0.1).round(2).tolist(), 0.95]
    if key == "slack":
        return [*np.arange(math.floor(2 * now + 1) / 2, 15.1, 0.5).tolist()]
    if key == "handle_margin":
        return [*np.arange(math.floor(now + 1), 61.0).tolist(), None]
    if key == "belt":
        return [*np.arange(5 * math.ceil(now / 5 - 1), 14.0, -5.0).tolist()]
    least = 15.0  # loop_width, which is found by the sheath's size unless given, and loop_pad
    return [*np.arange(math.ceil((now or 19.0) - 1), least - 0.1, -1.0).tolist()]
