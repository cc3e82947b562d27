"""Lists for a spreadsheet: where each part lies, and the plan's figures.

Plain CSV (RFC 4180 quoting, but lines end in a bare newline), UTF-8, a point as decimal
mark, and the same bytes for the same plan.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from hides.files import write_whole
from hides.units import DM2
from nest.figures import FIGURES, Figures
from nest.plan import Plan
from nest.report.names import shown_of

PART_COLUMNS = (
    "id",
    "label",
    "sheath",
    "kind",
    "x_mm",
    "y_mm",
    "angle_deg",
    "area_mm2",
    "area_dm2",
    "thickness_low_mm",
    "thickness_high_mm",
    "may_split",
    "holes",
)
FIGURE_COLUMNS = ("key", "label", "value", "unit", "definition")


def write_parts(plan: Plan, path: Path) -> None:
    """Write one row per placed part; ``label`` is its name on the cut plan.

    Raises
    ------
    InputError : the file can't be written.
    """
    rows = []
    for one in shown_of(plan):
        placement, part, need = one.placement, one.wanted.part, one.wanted.need
        holes = sum(len(mark.points) for mark in part.marks if mark.kind == "stitch")
        rows.append(
            (
                placement.id,
                one.label,
                one.wanted.kit,
                part.kind,
                f"{placement.x:.3f}",
                f"{placement.y:.3f}",
                f"{placement.angle:.4f}",
                f"{part.outline.area:.1f}",
                f"{part.outline.area / DM2:.4f}",
                f"{need.low:g}",
                f"{need.high:g}",
                "yes" if need.may_split else "no",
                holes,
            )
        )
    _write(path, PART_COLUMNS, rows)


def write_figures(figures: Figures, path: Path) -> None:
    """Write one row per figure with its definition, then the leather of each sheath.

    Raises
    ------
    InputError : the file can't be written.
    """
    rows = []
    for key, value in figures.numbers.items():
        about = FIGURES[key]
        unit = about.unit.replace("money", figures.currency)
        rows.append((key, about.label, _plain(value), unit, about.definition))
    for sheath in figures.sheaths:
        says, label = "Net area of the sheath's parts.", f"Parts of {sheath.kit}"
        rows.append((f"net_area:{sheath.kit}", label, _plain(sheath.net_area), "mm2", says))
        if sheath.cost is not None:
            says = "The sheath's share of the leather cost, by net area."
            label = f"Leather cost of {sheath.kit}"
            rows.append((f"cost:{sheath.kit}", label, _plain(sheath.cost), figures.currency, says))
    _write(path, FIGURE_COLUMNS, rows)


def _plain(value: float) -> str:
    """Four decimals at most, never an exponent."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _write(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    write_whole(Path(path), text.getvalue())
