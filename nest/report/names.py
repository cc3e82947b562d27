"""What pages show of a plan's parts: names and colours by sheath pattern, and shapes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from nest.draw.labels import Labels
from nest.draw.palette import GONE, fill_of
from nest.draw.parts import label_part, outline_of
from nest.draw.sheet import Box, Pen
from nest.job import Wanted
from nest.plans import Pattern, Placement, Plan, patterns_of


@dataclass(frozen=True, slots=True)
class Shown:
    """A placed part as pages show it; ``shape`` is in mm, hide frame, ``cut`` if it is already."""

    placement: Placement
    wanted: Wanted
    pattern: Pattern
    shape: Polygon
    cut: bool = False

    @property
    def label(self) -> str:
        """What it is called on the page."""
        return self.pattern.label(self.wanted)

    @property
    def fill(self) -> str:
        """The colour of its pattern, or of leather that is gone."""
        return GONE.fill if self.cut else fill_of(self.pattern.number)

    def write_label(self, pen: Pen, labels: Labels, avoid: BaseGeometry) -> None:
        """Write its label on it with a pen of the hide, or beside it clear of ``avoid``."""
        shape, angle, fill = pen.on_page(self.shape), self.placement.angle, self.fill
        words = f"{self.label} cut" if self.cut else self.label
        label_part(shape, words, angle, labels, fill=fill, avoid=pen.on_page(avoid))


def shown_of(plan: Plan) -> tuple[Shown, ...]:
    """All parts that the plan places to be cut, in its order."""
    return _shown(plan, plan.placements)


def gone_of(plan: Plan) -> tuple[Shown, ...]:
    """All parts that are cut already, in the plan's order."""
    return _shown(plan, plan.cut, cut=True)


def _shown(plan: Plan, lie: Sequence[Placement], *, cut: bool = False) -> tuple[Shown, ...]:
    patterns, by_id = patterns_of(plan), plan.by_id
    return tuple(
        Shown(at, by_id[at.id], patterns[by_id[at.id].kit], outline_of(by_id[at.id].part, at), cut)
        for at in lie
    )


def draw_gone(pen: Pen, gone: Sequence[Shown]) -> None:
    """Draw leather that is gone, with a pen of the hide."""
    for one in gone:
        pen.shade(one.shape, GONE, layer=3.0, name=f"cut:{one.placement.id}")


def union_bounds(shapes: Sequence[Polygon], around: float = 0.0) -> Box:
    """The box of several shapes in mm, with ``around`` mm on every side."""
    x0, y0, x1, y1 = shapely.union_all(shapes).bounds
    return x0 - around, y0 - around, x1 + around, y1 + around
