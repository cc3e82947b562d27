"""Figures of a plan: yields, leather used and left, and what it cost.

:data:`FIGURES` says in one place what each number is, so that whoever shows a figure can show
its definition beside it; :func:`measure` computes them from plan and hide alone. A figure
that can't be told (no price, no stamped area, nothing placed) is left out, never zero.

Leather up to the frontier (:mod:`nest.leftover`) is used, leather beyond it remains; the line
itself is where the remnant is cut off.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import polygons_of
from hides.units import FT2, area_text
from nest.bound import Bound, bound
from nest.leftover import LEAST_PIECE, beyond, frontier_of
from nest.plans import Plan, Remnant, placed_outline

CIRCLE_TOLERANCE = 0.5  # mm; how closely the largest circle is found


@dataclass(frozen=True, slots=True)
class Figure:
    """What a number is: ``unit`` is mm, mm2, ratio, count, money or money/ft2."""

    key: str
    label: str
    unit: str
    definition: str


# A new figure is a row here (one that goes on is indented), and its value in :func:`measure`.
_TABLE = """
net_area | Net part area | mm2 | Area of the outlines of all parts placed, those cut already too.
cut_area | Cut already | mm2 | Area of the outlines of the parts that are cut already.
gross_area | Gross hide area | mm2 | Leather within the hide's outline, holes left out.
stamped_area | Stamped area | mm2 | Area the seller stamped on the hide.
usable_area | Usable area | mm2 | Gross area without the flaws that bar every face of a part, as
    drawn.
frontier | Frontier | mm | Farthest that any part reaches towards the end that is kept, from the
    frame's origin.
used_area | Used area | mm2 | Leather up to the straight line across the hide that touches the
    farthest part.
yield_on_hide | Yield on the hide | ratio | Net part area / gross hide area.
yield_on_stamped | Yield on the stamped area | ratio | Net part area / stamped area.
yield_on_usable | Yield on the usable area | ratio | Net part area / usable area.
yield_on_used | Yield on the used area | ratio | Net part area / used area.
bound_area | Bound on the used area | mm2 | No plan can use less: leather up to the nearest
    straight line at which the areas of all parts, with half the gap around them, find ground
    allowed to them, and which no part passes even where it would lie alone. How well shapes fit
    together is left out. What is cut already stays where it lay.
bound_gap | Gap to the bound | ratio | Used area / bound on the used area, less one.
remnants | Remnants | count | Pieces of 1 dm² or more beyond the line.
remnant_area | Remnant area | mm2 | Area of all remnants, flaws in them included.
largest_remnant | Largest remnant | mm2 | Area of the largest remnant.
remnant_circle | Largest circle left | mm | Diameter of the largest circle in any remnant that is
    clear of holes and of flaws that bar every face.
hide_cost | Cost of the hide | money | Price by the stamped area, or gross if unstamped.
leather_cost | Leather cost | money | Cost of the hide × used area / gross hide area.
parts_cost | Leather in the parts | money | Cost of the hide × net area / gross area.
waste_cost | Waste cost | money | Leather cost less the leather in the parts.
usable_cost | Cost of usable leather | money/ft2 | Leather cost / net part area: what a square
    foot that became a part has cost.
"""
_ROWS = re.sub(r"\n +", " ", _TABLE.strip()).split("\n")
FIGURES: Mapping[str, Figure] = {
    about.key: about for about in (Figure(*row.split(" | ")) for row in _ROWS)
}


@dataclass(frozen=True, slots=True)
class SheathCost:
    """One sheath's leather.

    ``net_area`` in mm² of its parts; ``net_cost`` the money their own leather cost;
    ``cost`` its share of the plan's leather cost, by net area, so that waste is shared
    alike. Both costs are None where the hide has no price.
    """

    kit: str
    net_area: float
    net_cost: float | None
    cost: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """A plan's figures: ``numbers`` by the keys of :data:`FIGURES`, in that order.

    ``cut_line`` is where the frontier crosses the hide, in mm, hide frame.
    """

    numbers: Mapping[str, float]
    sheaths: tuple[SheathCost, ...]
    remnants: tuple[Remnant, ...]
    cut_line: MultiLineString
    currency: str

    def text(self, key: str) -> str:
        """Show one figure as people read it, "" where it can't be told."""
        return text(key, self.numbers[key], self.currency) if key in self.numbers else ""


def measure(plan: Plan, hide: Hide, least: Bound | None = None) -> Figures:
    """Compute all figures of a plan on its hide.

    Parameters
    ----------
    least : the bound for the plan's expected parts, where the caller has it already.

    Raises
    ------
    PlanError : the plan places a part that it doesn't define.
    """
    areas = {p.id: placed_outline(plan, p).area for p in plan.lying}
    net, gross, stamped = sum(areas.values()), hide.gross_area, hide.supplier_area
    numbers: dict[str, float | None] = {
        "net_area": net,
        "cut_area": sum(areas[p.id] for p in plan.cut) if plan.cut else None,
        "gross_area": gross,
        "stamped_area": stamped,
        "usable_area": hide.usable_area,
        "hide_cost": hide.paid,
        "yield_on_hide": net / gross,
        "yield_on_stamped": net / stamped if stamped else None,
        "yield_on_usable": net / hide.usable_area,
    }
    cut = _Split.of(plan, hide) if plan.lying else None
    if cut is not None:
        least = bound_of(plan, hide) if least is None else least
        numbers |= cut.numbers() | _against(cut.used, net, least) | _costs(cut.used, net, hide)
    told = ((key, numbers.get(key)) for key in FIGURES)
    return Figures(
        {key: float(value) for key, value in told if value is not None},
        _sheaths(plan, hide, areas, numbers.get("leather_cost")),
        cut.remnants if cut else (),
        cut.line if cut else MultiLineString(),
        hide.price.currency if hide.price else "",
    )


def bound_of(plan: Plan, hide: Hide) -> Bound:
    """Return the least leather that the plan's expected parts need, by the plan's rules."""
    rules = {"gap": plan.gap, "edge_margin": plan.edge_margin}
    cut = [placed_outline(plan, placement).polygon for placement in plan.cut]
    return bound(plan.expected, hide, keep=plan.keep, windows=plan.bed_windows, cut=cut, **rules)


def text(key: str, value: float, currency: str = "") -> str:
    """Show a figure's value as people read it: "12.3 dm² (1.32 ft²)", "71.2 %", "41.20 EUR"."""
    unit = FIGURES[key].unit
    if unit == "mm2":
        return area_text(value)
    if unit == "ratio":
        return f"{value * 100:.1f} %"
    if unit.startswith("money"):
        return f"{value:.2f} {currency}".rstrip() + unit.removeprefix("money").replace("2", "²")
    return f"{value:.0f}" + (" mm" if unit == "mm" else "")


def usable_cost(cost: float, area: float, waste: float) -> float:
    """Money per ft² of leather that is not wasted.

    Parameters
    ----------
    cost : money for the whole area.
    area : mm².
    waste : share of the area that is wasted, 0 <= waste < 1.

    The usual costing rule of makers who buy by the side: (price + freight) / (area × (1 − waste)).
    """
    if not 0 <= waste < 1:
        raise ValueError(f"waste must lie in 0 to 1, got {waste}.")
    return cost / (area / FT2 * (1 - waste))


@dataclass(frozen=True, slots=True)
class _Split:
    """The hide cut in two at the frontier: ``used`` mm², the remnants, and the line between."""

    frontier: float
    used: float
    remnants: tuple[Remnant, ...]
    line: MultiLineString

    @classmethod
    def of(cls, plan: Plan, hide: Hide) -> _Split:
        end = beyond(plan, hide)
        left = hide.polygon.intersection(end)
        pieces = [piece for piece in polygons_of(left) if piece.area >= LEAST_PIECE]
        remnants = tuple(Remnant(piece, _circle(piece, hide)) for piece in pieces)
        edge = LineString(np.asarray(end.exterior.coords)[:2])
        line = _lines(edge.intersection(hide.polygon))
        return cls(frontier_of(plan), hide.gross_area - float(left.area), remnants, line)

    def numbers(self) -> dict[str, float | None]:
        areas = [remnant.polygon.area for remnant in self.remnants]
        circles = [2 * remnant.circle[2] for remnant in self.remnants]
        return {
            "frontier": self.frontier,
            "used_area": self.used,
            "remnants": len(areas),
            "remnant_area": sum(areas),
            "largest_remnant": max(areas, default=None),
            "remnant_circle": max(circles, default=None),
        }


def _lines(shape: BaseGeometry) -> MultiLineString:
    parts = getattr(shape, "geoms", [shape])
    return MultiLineString(
        [line for line in parts if line.geom_type == "LineString" and line.length]
    )


def _circle(piece: Polygon, hide: Hide) -> tuple[float, float, float]:
    """(x, y, radius) of the largest circle in a remnant, clear of flaws that bar every face."""
    best = (0.0, 0.0, 0.0)
    for sound in polygons_of(piece.intersection(hide.usable)):
        radius = shapely.maximum_inscribed_circle(sound, CIRCLE_TOLERANCE)
        if radius.length > best[2]:
            x, y = radius.coords[0]
            best = (float(x), float(y), float(radius.length))
    return best


def _against(used: float, net: float, least: Bound) -> dict[str, float | None]:
    """Used area against what lies on it, and against the least there could be."""
    return {
        "yield_on_used": net / used,
        "bound_area": least.used_area,
        "bound_gap": used / least.used_area - 1 if least.used_area else None,
    }


def _costs(used: float, net: float, hide: Hide) -> dict[str, float | None]:
    whole, parts = hide.cost(used), hide.cost(net)
    if whole is None or parts is None:
        return {}
    return {
        "leather_cost": whole,
        "parts_cost": parts,
        "waste_cost": whole - parts,
        "usable_cost": usable_cost(whole, used, 1 - net / used),
    }


def _sheaths(
    plan: Plan, hide: Hide, areas: Mapping[str, float], leather_cost: float | None
) -> tuple[SheathCost, ...]:
    """Each sheath's leather, in the order of the week."""
    kits: dict[str, float] = {}
    for wanted in plan.wanted:
        if wanted.id in areas:
            kits[wanted.kit] = kits.get(wanted.kit, 0.0) + areas[wanted.id]
    rate = None if leather_cost is None else leather_cost / sum(kits.values())
    return tuple(
        SheathCost(kit, area, hide.cost(area), None if rate is None else rate * area)
        for kit, area in kits.items()
    )
