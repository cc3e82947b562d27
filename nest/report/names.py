"""What pages show of a plan's parts: a letter for each sheath pattern, short names, shapes.

A letter stands for the sheath pattern, a number for the sheath, and W or L for its welt and
loop; the body has the plain name ("B2", "B2W", "B2L").
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from nest.draw.labels import Labels
from nest.draw.palette import fill_of
from nest.draw.parts import label_part, outline_of
from nest.draw.sheet import Box, Pen
from nest.job import Wanted
from nest.part import Part
from nest.plans import Placement, Plan

SUFFIX = {"body": "", "welt": "W", "loop": "L"}


@dataclass(frozen=True, slots=True)
class Pattern:
    """A sheath pattern on the page: its letter, colour, and the kits made from it, in order."""

    letter: str
    name: str
    fill: str
    kits: tuple[str, ...]

    def label(self, wanted: Wanted) -> str:
        """What a part of this pattern is called on the page."""
        return f"{self.letter}{self.kits.index(wanted.kit) + 1}{SUFFIX[wanted.part.kind]}"


@dataclass(frozen=True, slots=True)
class Shown:
    """A placed part as pages show it; ``shape`` is in mm, hide frame."""

    placement: Placement
    wanted: Wanted
    pattern: Pattern
    shape: Polygon

    @property
    def label(self) -> str:
        """What it is called on the page."""
        return self.pattern.label(self.wanted)

    def write_label(self, pen: Pen, labels: Labels, avoid: BaseGeometry) -> None:
        """Write its label on it with a pen of the hide, or beside it clear of ``avoid``."""
        shape, angle, fill = pen.on_page(self.shape), self.placement.angle, self.pattern.fill
        label_part(shape, self.label, angle, labels, fill=fill, avoid=pen.on_page(avoid))


def shown_of(plan: Plan) -> tuple[Shown, ...]:
    """All parts that the plan places, in its order."""
    patterns, by_id = patterns_of(plan), plan.by_id
    return tuple(
        Shown(at, by_id[at.id], patterns[by_id[at.id].kit], outline_of(by_id[at.id].part, at))
        for at in plan.placements
    )


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
        pattern = Pattern(_letter(i), told, fill_of(i), tuple(members))
        found.update(dict.fromkeys(members, pattern))
    return {kit: found[kit] for kit in kits}


def union_bounds(shapes: Sequence[Polygon], around: float = 0.0) -> Box:
    """The box of several shapes in mm, with ``around`` mm on every side."""
    x0, y0, x1, y1 = shapely.union_all(shapes).bounds
    return x0 - around, y0 - around, x1 + around, y1 + around


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
    return "right" if y["back"] > y["front"] else "left"


def _letter(index: int) -> str:
    """A, B … Z, AA, AB …"""
    first, last = divmod(index, 26)
    return (_letter(first - 1) if first else "") + chr(ord("A") + last)
