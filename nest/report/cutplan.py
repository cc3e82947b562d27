"""The cut plan: one page to cut from.

The hide as large as the paper allows, every part where it is to be cut, and below it what
the letters mean, what the hatches mean, and the figures with their definitions.

:func:`cut_detail` is a second page for the bench: only the leather that is used, as large
as the paper allows.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hides.hide import Hide
from hides.units import DM2
from nest.draw import leather
from nest.draw.palette import (
    ALARM,
    BED_BORDER,
    FOLD,
    FRONTIER,
    INK,
    LEFT_OVER,
    PART_EDGE,
    SEAM,
    SMALL,
    STRETCH,
)
from nest.draw.parts import outline_of
from nest.draw.rows import (
    Row,
    gap,
    head,
    height_of,
    joined,
    note,
    pair,
    parted,
    stack,
    stroke,
    swatch,
)
from nest.draw.sheet import Sheet
from nest.draw.tints import ramp, tints_of
from nest.draw.words import Type
from nest.figures import FIGURES, Figures, SheathCost
from nest.plan import Plan
from nest.report.layout import draw_layout
from nest.report.names import Pattern, patterns_of
from nest.report.page import BAND, MARGIN, PAPERS, stamp, titled

# What a maker asks first; the CSV has them all.
SHOWN = (
    "net_area",
    "used_area",
    "gross_area",
    "usable_area",
    "yield_on_used",
    "yield_on_hide",
    "bound_area",
    "bound_gap",
    "remnant_area",
    "remnant_circle",
    "leather_cost",
    "waste_cost",
)
AROUND = 30.0  # mm of leather shown round the parts of a detail
SIDEBAR = 50.0  # mm, width of the column at the right
GUTTER = 5.0  # mm between columns
COLUMNS = 3  # of figures
RULER = 7.0  # mm, room for the upright ruler
HEAD_HEIGHT = head("", 0.0).height
OMITTED = Type(6.0, ALARM, bold=True)


def cut_plan(plan: Plan, hide: Hide, figures: Figures, *, paper: str = "A4") -> Sheet:
    """Draw the cut plan on ``paper`` (one of :data:`nest.report.page.PAPERS`, landscape)."""
    width, height = PAPERS[paper]
    sheet = titled(width, height, f"{plan.name}: cut plan", _facts(plan, hide))
    stamp(sheet, plan.check, len(plan.placements))
    room = width - 2 * MARGIN - SIDEBAR - GUTTER
    top = height - MARGIN - BAND
    foot = MARGIN + _draw_figures(sheet, figures, room)
    frame = (MARGIN + RULER, foot + 9.5, room - RULER, top - foot - 13.5)
    pen = sheet.view(frame, hide.outline.bounds)
    leather.draw_edges(pen, hide)
    draw_layout(pen, plan, hide, figures)
    rest = [gap(2.0), *_leather_rows(plan, hide, figures), gap(2.0)]
    rest += leather.scale_bar(pen.scale, SIDEBAR)
    sheaths = _sheath_rows(plan, figures, top - MARGIN - height_of(rest))
    stack(sheet, [*sheaths, *rest], MARGIN + room + GUTTER, top)
    return sheet


def cut_detail(plan: Plan, hide: Hide, figures: Figures, *, paper: str = "A4") -> Sheet:
    """Draw the used part of the hide as large as ``paper`` allows, upright or landscape.

    Raises
    ------
    ValueError : the plan places nothing.
    """
    if not plan.placements:
        raise ValueError("a plan without parts has no detail to show")
    rings = [outline_of(plan.by_id[p.id].part, p).bounds for p in plan.placements]
    low, high = np.min(rings, axis=0)[:2] - AROUND, np.max(rings, axis=0)[2:] + AROUND
    world = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    long, short = PAPERS[paper]
    upright = high[1] - low[1] > high[0] - low[0]
    width, height = (short, long) if upright else (long, short)
    sheet = titled(width, height, f"{plan.name}: detail", f"hide “{hide.name}”, grain side up")
    stamp(sheet, plan.check, len(plan.placements))
    rect = (MARGIN + RULER, MARGIN + 16.0, width - 2 * MARGIN - RULER, 0.0)
    rect = (*rect[:3], height - MARGIN - BAND - rect[1] - 2.0)
    pen = sheet.view(rect, world, cut=True)
    leather.draw_rulers(pen, world)
    draw_layout(pen, plan, hide, figures)
    stack(sheet, leather.scale_bar(pen.scale, SIDEBAR), MARGIN, MARGIN + 7.0)
    return sheet


def _facts(plan: Plan, hide: Hide) -> str:
    kits = len({wanted.kit for wanted in plan.expected})
    return (
        f"{kits} sheaths, {len(plan.placements)} parts on hide “{hide.name}” ({hide.piece}, "
        f"{hide.tannage}), grain side up    ·    gap {plan.gap:g} mm, edge {plan.edge_margin:g} mm"
        f"    ·    seed {plan.seed}, {plan.budget}"
    )


# --- words beside and below ------------------------------------------------------------------


def _sheath_rows(plan: Plan, figures: Figures, room: float) -> list[Row]:
    """The list of sheath patterns: with their costs if ``room`` mm allow, else shorter."""
    foot = note("A1 is a body, A1W its welt, A1L its belt loop.", SIDEBAR)
    if plan.left_out:
        foot += note(f"Left out: {', '.join(plan.left_out)}.", SIDEBAR, OMITTED)
    foot += [gap(1.0), *stroke(FOLD, "fold line", SIDEBAR), *stroke(SEAM, "stitch holes", SIDEBAR)]
    patterns = list(dict.fromkeys(patterns_of(plan).values()))
    title = head("Sheaths", SIDEBAR)
    room -= title.height + height_of(foot)
    rows = [row for pattern in patterns for row in _pattern_rows(pattern, figures, costs=True)]
    if height_of(rows) > room:
        rows = [row for pattern in patterns for row in _pattern_rows(pattern, figures, costs=False)]
    if height_of(rows) > room:
        shown = int(room / rows[0].height) - 1
        more = f"and {len(rows) - shown} more: see the parts list"
        rows = [*rows[:shown], *note(more, SIDEBAR, indent=8.0)]
    return [title, *rows, *foot]


def _pattern_rows(pattern: Pattern, figures: Figures, *, costs: bool) -> list[Row]:
    made = [sheath for sheath in figures.sheaths if sheath.kit in pattern.kits]
    words = f"{pattern.letter}  {pattern.name} × {len(made)}"
    rows = swatch(replace(PART_EDGE, fill=pattern.fill), words, SIDEBAR, Type(6.4, INK))
    if costs and made:
        rows += [*note(_cost_words(made[0], figures.currency), SIDEBAR, indent=8.0), gap(0.7)]
    return rows


def _cost_words(sheath: SheathCost, currency: str) -> str:
    words = f"each {sheath.net_area / DM2:.2f} dm²"
    return words if sheath.cost is None else f"{words}, leather {sheath.cost:.2f} {currency}"


def _leather_rows(plan: Plan, hide: Hide, figures: Figures) -> list[Row]:
    rows = [head("Leather", SIDEBAR), *ramp(tints_of(hide), SIDEBAR)]
    rows += stroke(STRETCH, "direction of least stretch", SIDEBAR)
    if figures.remnants:
        rows += swatch(LEFT_OVER, "kept in one piece, with its largest circle", SIDEBAR)
    rows += stroke(FRONTIER, "frontier: no part lies beyond it", SIDEBAR)
    if len(plan.bed_windows) > 1:
        rows += stroke(BED_BORDER, "border of the bed: no part crosses it", SIDEBAR)
    return rows + leather.flaw_legend(hide, SIDEBAR)


def _draw_figures(sheet: Sheet, figures: Figures, width: float) -> float:
    """Set the figures in columns at the foot of the page; return the height they take."""
    wide = (width - (COLUMNS - 1) * GUTTER) / COLUMNS
    columns = parted(_figure_rows(figures, wide), COLUMNS)
    tall = max(height_of(rows) for rows in columns)
    stack(sheet, [head("Figures", width)], MARGIN, MARGIN + tall + HEAD_HEIGHT)
    for i, rows in enumerate(columns):
        stack(sheet, rows, MARGIN + i * (wide + GUTTER), MARGIN + tall)
    return tall + HEAD_HEIGHT


def _figure_rows(figures: Figures, width: float) -> list[Row]:
    rows: list[Row] = []
    for key in SHOWN:
        if value := figures.text(key):
            about = FIGURES[key]
            lines = [pair(about.label, value, width), *note(about.definition, width, SMALL)]
            rows.append(joined([*lines, gap(0.8)]))
    return rows
