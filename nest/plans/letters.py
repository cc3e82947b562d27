"""What a plan's parts are called on its pages, and so by whoever holds one of them.

A letter stands for the sheath pattern, a number for the sheath, and W or L for its welt and
loop; the body has the plain name ("B2", "B2W", "B2L").
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from nest.errors import PlanError
from nest.job import Wanted
from nest.part import Part
from nest.plans.model import Plan

MOST_NAMED = 12  # labels in a sentence, which stands on every page
SUFFIX = {"body": "", "welt": "W", "loop": "L"}


@dataclass(frozen=True, slots=True)
class Pattern:
    """A sheath pattern of a plan: its number from 0 and letter, and the kits made from it."""

    number: int
    name: str
    kits: tuple[str, ...]

    @property
    def letter(self) -> str:
        """A, B … Z, AA, AB …"""
        return _letter(self.number)

    def label(self, wanted: Wanted) -> str:
        """What a part of this pattern is called."""
        return f"{self.letter}{self.kits.index(wanted.kit) + 1}{SUFFIX[wanted.part.kind]}"


def patterns_of(plan: Plan) -> dict[str, Pattern]:
    """The pattern of every kit: kits "heron-1" and "heron-2" share one if their parts agree."""
    kits: dict[str, list[Part]] = {}
    for wanted in plan.wanted:
        kits.setdefault(wanted.kit, []).append(wanted.part)
    groups: dict[tuple[str, bytes], list[str]] = {}
    for kit, parts in kits.items():
        groups.setdefault((_stem(kit), b"".join(map(_likeness, parts))), []).append(kit)
    found: dict[str, Pattern] = {}
    first: dict[str, list[Part]] = {}
    for i, ((name, _), members) in enumerate(groups.items()):
        parts = kits[members[0]]
        told = name + _difference(first.setdefault(name, parts), parts)
        found.update(dict.fromkeys(members, Pattern(i, told, tuple(members))))
    return {kit: found[kit] for kit in kits}


def labels_of(plan: Plan) -> dict[str, Wanted]:
    """Every wanted part of a plan by what its pages call it."""
    patterns = patterns_of(plan)
    return {patterns[wanted.kit].label(wanted): wanted for wanted in plan.wanted}


def named(plan: Plan, label: str) -> Wanted:
    """The part that the plan's pages call so.

    Raises
    ------
    PlanError : it has none of that name, or leaves it out.
    """
    labels = labels_of(plan)
    lies = {placement.id for placement in plan.lying}
    there = [name for name, wanted in labels.items() if wanted.id in lies]
    if label not in there:
        near = difflib.get_close_matches(label.upper(), there, n=1, cutoff=0.0)
        what = f"the plan of {plan.name} on {plan.hide_name} places no part '{label}'."
        mend = f"Write it as the cut plan does{f', such as {near[0]}' if near else ''}."
        raise PlanError(what, mend=mend)
    return labels[label]


def said_of_cut(plan: Plan, before: Mapping[str, str]) -> tuple[str, ...]:
    """What is to be known of the parts that are cut already: a sentence, or none.

    ``before`` is what the plan that was cut calls them, by id: letters may have changed since.
    """
    cut = {placement.id for placement in plan.cut}
    names = [
        label if before.get(wanted.id, label) == label else f"{label} (was {before[wanted.id]})"
        for label, wanted in labels_of(plan).items()
        if wanted.id in cut
    ]
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    told = f"{', '.join(names[:MOST_NAMED])}{more}"
    return (f"Cut already, and not to be cut again: {told}.",) if names else ()


def _stem(kit: str) -> str:
    """heron-2 -> heron"""
    return re.sub(r"-\d+$", "", kit)


def _likeness(part: Part) -> bytes:
    """What two parts must share to be one pattern: outline and marks to 0.001 mm."""
    points = [part.outline.points, *(mark.points for mark in part.marks)]
    return part.kind.encode() + (np.round(np.vstack(points), 3) + 0.0).tobytes()


def _difference(usual: Sequence[Part], other: Sequence[Part]) -> str:
    """How a pattern differs from the first of its name."""
    if usual is other:
        return ""
    body, turned_over = usual[0].outline, other[0].outline.points * (1.0, -1.0)
    rest = body.polygon.symmetric_difference(Polygon(turned_over)).area
    return f", {_hand(other[0])} hand" if rest < 0.01 * body.area else ", another shape"


def _hand(body: Part) -> str:
    """Which hip it is worn on: a right-hand body has its back at the greater y, grain side up
    (:mod:`nest.sheaths.pattern`).
    """
    y = {region.face: region.outline.polygon.centroid.y for region in body.regions}
    return "right" if y.get("back", 0.0) > y.get("front", 0.0) else "left"


def _letter(index: int) -> str:
    first, last = divmod(index, 26)
    return (_letter(first - 1) if first else "") + chr(ord("A") + last)
