"""Lists for a spreadsheet: where each part lies, and the plan's figures.

Plain CSV (RFC 4180 quoting, but lines end in a bare newline), UTF-8, a point as decimal
mark, and the same bytes for the same plan.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence

from hides.units import DM2
from nest.figures import FIGURES, Figures
from nest.plans import Plan, number_of
from nest.report.names import Shown, shown_of

# What a column of the parts list is called, and what it says of a part.
PART_COLUMNS: dict[str, Callable[[Shown], object]] = {
    "id": lambda one: one.placement.id,
    "label": lambda one: one.label,
    "sheath": lambda one: one.wanted.kit,
    "kind": lambda one: one.wanted.part.kind,
    "x_mm": lambda one: f"{one.placement.x:.3f}",
    "y_mm": lambda one: f"{one.placement.y:.3f}",
    "angle_deg": lambda one: f"{one.placement.angle:.4f}",
    "area_mm2": lambda one: f"{one.wanted.part.outline.area:.1f}",
    "area_dm2": lambda one: f"{one.wanted.part.outline.area / DM2:.4f}",
    "thickness_low_mm": lambda one: f"{one.wanted.need.low:g}",
    "thickness_high_mm": lambda one: f"{one.wanted.need.high:g}",
    "thickness_known": lambda one: "no" if one.wanted.need.unknown else "yes",
    "may_split": lambda one: "yes" if one.wanted.need.may_split else "no",
    "holes": lambda one: sum(len(m.points) for m in one.wanted.part.marks if m.kind == "stitch"),
}
FIGURE_COLUMNS = ("key", "label", "value", "unit", "definition")


def parts_text(plan: Plan) -> str:
    """One row per placed part, in mm, degrees and dm²; ``label`` is its name on the cut plan,
    ``plan`` the plan's number.
    """
    number = number_of(plan)
    rows = [[*(told(one) for told in PART_COLUMNS.values()), number] for one in shown_of(plan)]
    return _csv([*PART_COLUMNS, "plan"], rows)


def figures_text(plan: Plan, figures: Figures) -> str:
    """The plan's number and its warnings, one row per figure with its unit and definition, then
    the leather of each sheath.
    """
    says = f"{number_of(plan)} stands on all papers and files of this plan."
    rows = [("plan", "Plan", "", "", says)]
    rows += [("warning", "Warning", "", "", words) for words in plan.warnings]
    for key, value in figures.numbers.items():
        about = FIGURES[key]
        unit = about.unit.replace("money", figures.currency)
        rows.append((key, about.label, _plain(value), unit, about.definition))
    for offcut in figures.offcuts:
        says = "Leather cut into that stays usable beside the parts."
        rows.append((offcut.name, "Offcut", _plain(offcut.polygon.area), "mm2", says))
        if offcut.cost is not None:
            says, label = "Cost of the hide × its area / gross area.", f"Leather in {offcut.name}"
            key, cost = f"{offcut.name}, cost", _plain(offcut.cost)
            rows.append((key, label, cost, figures.currency, says))
    for sheath in figures.sheaths:
        says, label = "Net area of the sheath's parts.", f"Parts of {sheath.kit}"
        rows.append((f"net_area:{sheath.kit}", label, _plain(sheath.net_area), "mm2", says))
        if sheath.cost is not None:
            says = "The sheath's share of the leather cost, by net area."
            label = f"Leather cost of {sheath.kit}"
            rows.append((f"cost:{sheath.kit}", label, _plain(sheath.cost), figures.currency, says))
    return _csv(FIGURE_COLUMNS, rows)


def _plain(value: float) -> str:
    """Four decimals at most, never an exponent."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()
