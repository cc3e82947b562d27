"""Figures of a plan: yields, leather cut into and left, and what it cost.

:data:`FIGURES` says in one place what each number is, so that whoever shows a figure can show
its definition beside it; :func:`measure` computes them from plan and hide alone. A figure
that can't be told (no price, no stamped area, nothing placed) is left out, never zero.

Leather up to the frontier (:mod:`nest.leftover`) is cut into, leather beyond it remains; the line
itself is where the remnant is cut off. What of the leather cut into lies beside the parts in large
pieces stays usable too: these are the offcuts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import FloatArray, polygons_of
from hides.units import FT2, area_text
from nest.bound import Bound, bound
from nest.leftover import LEAST_PIECE, beyond, frontier_of, offcuts
from nest.plans import Plan, Remnant, keep_direction, placed_outline

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
cut_line | Cut line, from the tail | mm | Where the straight line along which the remnant is cut
    off starts at the backbone: 0 on the scale is the tail root.
cut_line_belly | Cut line at the belly, from the tail | mm | Where that line, which runs askew,
    ends.
cut_line_across | Cut line, from the backbone | mm | Where the straight line along which the
    remnant is cut off lies, beside the backbone.
used_area | Used area | mm2 | Leather up to the cut line, the straight line across the hide that
    touches the farthest part: the leather cut into.
yield_on_hide | Yield of the whole hide | ratio | Net part area / gross hide area.
yield_on_used | Yield of the leather cut into | ratio | Net part area / used area.
bound_area | Bound on the used area | mm2 | No plan can use less: leather up to the nearest
    straight line at which the areas of all parts, with half the gap around them, find ground
    allowed to them, and which no part passes even where it would lie alone. How well shapes fit
    together is left out. What is cut already stays where it lay.
bound_gap | Gap to the bound | ratio | Used area / bound on the used area, less one.
remnants | Remnants | count | Pieces of 1 dm² or more beyond the line.
remnant_area | Remnant area | mm2 | Area of all remnants, flaws in them included.
largest_remnant | Largest remnant | mm2 | Area of the largest remnant.
remnant_circle | Largest clean circle left | mm | Diameter of the largest circle in any remnant
    that is clear of holes, flaws that go through or bar every face, and brands.
offcuts | Offcuts | count | Pieces of 1 dm² or more among the leather cut into that stay usable
    beside the parts: as clean, and 60 mm wide at every place.
offcut_area | Offcut area | mm2 | Area of all offcuts.
hide_cost | Cost of the hide | money | Price by the stamped area, or gross if unstamped.
leather_cost | Leather cost | money | Cost of the hide × used area / gross hide area.
parts_cost | Leather in the parts | money | Cost of the hide × net area / gross area.
offcut_cost | Leather in the offcuts | money | Cost of the hide × offcut area / gross area.
scrap_cost | Leather in the scrap | money | Leather cost less what is in parts and offcuts.
usable_cost | Cost of usable leather | money/ft2 | Leather cost / (net part area + offcut area):
    what a square foot that became a part or stays usable has cost.
"""
_ROWS = re.sub(r"\n +", " ", _TABLE.strip()).split("\n")
FIGURES: Mapping[str, Figure] = {
    about.key: about for about in (Figure(*row.split(" | ")) for row in _ROWS)
}


@dataclass(frozen=True, slots=True)
class SheathCost:
    """One sheath's leather.

    ``net_area`` in mm² of its parts; ``net_cost`` the money their own leather cost;
    ``cost`` its share of the plan's leather cost, by net area, so that offcuts and scrap are
    shared alike. Both costs are None where the hide has no price.
    """

    kit: str
    net_area: float
    net_cost: float | None
    cost: float | None


@dataclass(frozen=True, slots=True)
class Offcut:
    """A piece of the leather cut into that stays usable: its name, its shape in mm, hide frame,
    and what its leather cost; None where the hide has no price.
    """

    name: str
    polygon: Polygon
    cost: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """A plan's figures: ``numbers`` by the keys of :data:`FIGURES`, in that order.

    ``frontier`` is the farthest that any part reaches towards the end that is kept, mm along
    :func:`nest.plans.keep_direction`; -inf where nothing is placed. ``cut_line`` is where it
    crosses the hide, in mm, hide frame. ``offcuts`` are the largest first.
    """

    numbers: Mapping[str, float]
    sheaths: tuple[SheathCost, ...]
    remnants: tuple[Remnant, ...]
    offcuts: tuple[Offcut, ...]
    frontier: float
    cut_line: MultiLineString
    currency: str

    def offcut_text(self, offcut: Offcut) -> str:
        """An offcut's area in dm² and ft² and what its leather cost."""
        words = area_text(offcut.polygon.area)
        return words if offcut.cost is None else f"{words}, {offcut.cost:.2f} {self.currency}"

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
    }
    cut = _Split.of(plan, hide) if plan.lying else None
    if cut is not None:
        least = bound_of(plan, hide) if least is None else least
        numbers |= cut.numbers() | _against(cut.used, net, least)
        numbers |= _costs(cut.used, net, sum(one.area for one in cut.offcuts), hide)
    told = ((key, numbers.get(key)) for key in FIGURES)
    return Figures(
        {key: float(value) for key, value in told if value is not None},
        _sheaths(plan, hide, areas, numbers.get("leather_cost")),
        cut.remnants if cut else (),
        _named(cut.offcuts, hide) if cut else (),
        cut.frontier if cut else -inf,
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
    """The hide cut in two at the frontier: ``used`` mm², the remnants, the offcuts, the line
    between, and where it lies by the names of figures.
    """

    frontier: float
    used: float
    remnants: tuple[Remnant, ...]
    offcuts: tuple[Polygon, ...]
    line: MultiLineString
    places: Mapping[str, float]

    @classmethod
    def of(cls, plan: Plan, hide: Hide) -> _Split:
        end = beyond(plan, hide)
        left = hide.polygon.intersection(end)
        pieces = [piece for piece in polygons_of(left) if piece.area >= LEAST_PIECE]
        remnants = tuple(Remnant(piece, _circle(piece, hide)) for piece in pieces)
        edge = LineString(np.asarray(end.exterior.coords)[:2])
        line = _lines(edge.intersection(hide.polygon))
        used, frontier = hide.gross_area - float(left.area), frontier_of(plan)
        places = _places(np.array(keep_direction(plan.keep)), frontier, line)
        return cls(frontier, used, remnants, offcuts(plan, hide), line, places)

    def numbers(self) -> dict[str, float | None]:
        areas = [remnant.polygon.area for remnant in self.remnants]
        circles = [2 * remnant.circle[2] for remnant in self.remnants]
        return {
            **self.places,
            "used_area": self.used,
            "remnants": len(areas),
            "remnant_area": sum(areas),
            "largest_remnant": max(areas, default=None),
            "remnant_circle": max(circles, default=None),
            "offcuts": len(self.offcuts),
            "offcut_area": sum(piece.area for piece in self.offcuts),
        }


def _lines(shape: BaseGeometry) -> MultiLineString:
    parts = getattr(shape, "geoms", [shape])
    return MultiLineString(
        [line for line in parts if line.geom_type == "LineString" and line.length]
    )


def _places(u: FloatArray, frontier: float, line: MultiLineString) -> dict[str, float]:
    """Where a tape finds the cut line: mm from the tail, or beside the backbone."""
    if u[0] == 0.0:
        return {"cut_line_across": frontier / u[1]}
    places = {"cut_line": frontier / u[0]}
    if u[1] != 0.0 and not line.is_empty:
        x, _ = max(shapely.get_coordinates(line), key=lambda end: abs(end[1]))
        places["cut_line_belly"] = float(x)
    return places


def _named(pieces: Sequence[Polygon], hide: Hide) -> tuple[Offcut, ...]:
    return tuple(
        Offcut(f"offcut {number}", piece, hide.cost(piece.area))
        for number, piece in enumerate(pieces, 1)
    )


def _circle(piece: Polygon, hide: Hide) -> tuple[float, float, float]:
    """(x, y, radius) of the largest circle in a remnant that is clean (:attr:`Hide.clean`)."""
    best = (0.0, 0.0, 0.0)
    for sound in polygons_of(piece.intersection(hide.clean)):
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


def _costs(used: float, net: float, spare: float, hide: Hide) -> dict[str, float | None]:
    """Of ``used`` mm² that were cut into, ``net`` are parts and ``spare`` stays usable."""
    whole, parts, offcuts = hide.cost(used), hide.cost(net), hide.cost(spare)
    if whole is None or parts is None or offcuts is None:
        return {}
    return {
        "leather_cost": whole,
        "parts_cost": parts,
        "offcut_cost": offcuts,
        "scrap_cost": whole - parts - offcuts,
        "usable_cost": usable_cost(whole, used, 1 - (net + spare) / used),
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
