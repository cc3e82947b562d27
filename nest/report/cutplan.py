"""The cut plan: one page to cut from.

The hide as large as the paper allows, every part where it is to be cut, and below it what
the letters mean, what the hatches mean, and the figures with their definitions.

:func:`cut_detail` is a second page for the bench: only the leather that is used, as large
as the paper allows.
"""

from __future__ import annotations

import os
from collections.abc import Container
from dataclasses import replace
from pathlib import Path

import shapely
from shapely import Point

from hides.hide import Hide
from hides.outline import polygons_of
from hides.units import DM2, area_text
from nest.draw import leather
from nest.draw.book import KINDS, pictured
from nest.draw.labels import Labels
from nest.draw.palette import (
    ALARM,
    BED_BORDER,
    FOLD,
    FRONTIER,
    GONE,
    INK,
    LEATHER,
    LEFT_OVER,
    PART_EDGE,
    REMNANT,
    SEAM,
    SMALL,
    STRETCH,
    fill_of,
)
from nest.draw.parts import draw_part
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
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.tints import draw_levels, ramp, tints_of
from nest.draw.words import Type
from nest.figures import FIGURES, Figures, SheathCost
from nest.planning import Planned
from nest.plans import Pattern, Plan, borders, keep_direction, patterns_of, text_of
from nest.report.lists import figures_text, parts_text
from nest.report.names import draw_gone, gone_of, shown_of, union_bounds
from nest.report.page import GUTTER, ISO_A, MARGIN, Page

ENDINGS = (
    *(".plan.json", ".parts.csv", ".figures.csv"),
    *(f".cutplan.{kind}" for kind in KINDS),
    ".detail.pdf",
)
# What a maker asks first; the CSV has them all.
SHOWN = (
    "net_area",
    "cut_area",
    "yield_on_hide",
    "yield_on_used",
    "cut_line",
    "cut_line_belly",
    "cut_line_across",
    "used_area",
    "gross_area",
    "bound_area",
    "bound_gap",
    "remnant_area",
    "remnant_circle",
    "leather_cost",
    "parts_cost",
    "offcut_cost",
    "scrap_cost",
)
OFFCUT = Style(edge=REMNANT, width=0.25, dash=(0.8, 0.8))
DETAIL_AROUND = 30.0  # mm of leather shown round the parts of a detail
DETAIL_EDGE = 10.0  # mm shown beyond the hide's edge
SIDEBAR = 50.0  # mm, width of the column at the right
FIGURE_COLUMNS = 3
HEAD_HEIGHT = head("", 0.0).height
OMITTED = Type(6.0, ALARM, bold=True)
KEPT = Type(6.0, REMNANT, bold=True, halo=LEATHER)


def facts(planned: Planned) -> dict[str, str]:
    """Yields and costs, as :data:`nest.figures.FIGURES` defines them, and each offcut."""
    figures = planned.figures
    told = {FIGURES[key].label: figures.text(key) for key in figures.numbers}
    return told | {one.name: figures.offcut_text(one) for one in figures.offcuts}


def picture(planned: Planned) -> Sheet:
    """The cut plan: the whole hide on one page, in mm."""
    return cut_plan(planned.plan, planned.hide, planned.figures)


def files(planned: Planned, name: str, *, folder: Path | str | None = None) -> dict[str, bytes]:
    """The plan, its lists, the cut plan in three formats, and its used part for the bench.

    The plan tells where the hide's record lies from ``folder``, where the files are to be saved.
    """
    plan, figures = planned.plan, planned.figures
    if folder is not None and planned.hide.source is not None:
        plan = replace(plan, hide_file=_from(Path(folder), planned.hide.source))
    lists = {
        f"{name}.plan.json": text_of(plan).encode(),
        f"{name}.parts.csv": parts_text(plan).encode(),
        f"{name}.figures.csv": figures_text(plan, figures).encode(),
    }
    detail = {f"{name}.detail.pdf": cut_detail(plan, planned.hide, figures).data("pdf")}
    return lists | pictured(picture(planned), f"{name}.cutplan") | detail


def _from(folder: Path, source: Path) -> str:
    """The path of a file as seen from a folder, with slashes on every system."""
    there = source.resolve()
    try:
        return Path(os.path.relpath(there, folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return there.as_posix()


def cut_plan(plan: Plan, hide: Hide, figures: Figures, *, paper: str = "A4") -> Sheet:
    """Draw the cut plan on ``paper`` (one of :data:`nest.report.page.ISO_A`, landscape)."""
    title, below = f"{plan.name}: cut plan", _below(plan, hide)
    page = Page(ISO_A[paper], title, below, plan=plan, sidebar=SIDEBAR)
    foot = MARGIN + _draw_figures(page, figures, page.room)
    pen = page.view(page.frame(foot + 9.5), hide.outline.bounds)
    leather.draw_edges(pen, hide)
    draw_layout(pen, plan, hide, figures)
    rest = [gap(2.0), *_leather_rows(plan, hide, figures), gap(2.0)]
    rest += leather.scale_bar(pen.scale, SIDEBAR)
    sheaths = _sheath_rows(plan, figures, page.top - MARGIN - height_of(rest))
    stack(page, [*sheaths, *rest], page.side, page.top)
    return page


def cut_detail(plan: Plan, hide: Hide, figures: Figures, *, paper: str = "A4") -> Sheet:
    """Draw the used part of the hide as large as ``paper`` allows, upright or landscape, with the
    edge at which the parts gather: at the tail a tape is laid to 0.

    Raises
    ------
    ValueError : the plan places nothing.
    """
    if not plan.lying:
        raise ValueError("a plan without parts has no detail to show")
    world = _detail(plan, hide)
    upright = world[3] - world[1] > world[2] - world[0]
    size = ISO_A[paper][::-1] if upright else ISO_A[paper]
    page = Page(size, f"{plan.name}: detail", f"hide “{hide.name}”, grain side up", plan=plan)
    x, y, width, height = page.frame(MARGIN + 16.0)
    pen = page.view((x, y, width, height + 2.0), world, cut=True)
    leather.draw_rulers(pen, world)
    if world[0] <= 0.0:  # below the ruler, which begins at the tail root
        page.text(pen.at([(world[0], world[1])])[0] - (0.0, 2.8), "← tail", leather.EDGE_WORD)
    draw_layout(pen, plan, hide, figures)
    stack(page, leather.scale_bar(pen.scale, SIDEBAR), MARGIN, MARGIN + 7.0)
    return page


def _detail(plan: Plan, hide: Hide) -> Box:
    """The parts with some leather round them, up to the hide's edge away from the kept end."""
    box = list(
        union_bounds([one.shape for one in (*shown_of(plan), *gone_of(plan))], DETAIL_AROUND)
    )
    bounds = hide.outline.bounds
    for axis, way in enumerate(keep_direction(plan.keep)):
        low, high = bounds[axis], bounds[axis + 2]
        if way > 0:
            box[axis] = min(box[axis], low, 0.0) - DETAIL_EDGE
        elif way < 0:
            box[axis + 2] = max(box[axis + 2], high) + DETAIL_EDGE
    return box[0], box[1], box[2], box[3]


def _below(plan: Plan, hide: Hide) -> str:
    kits = len({wanted.kit for wanted in plan.expected})
    return (
        f"{kits} sheaths, {len(plan.placements)} parts on hide “{hide.name}” ({hide.piece}, "
        f"{hide.tanned}), grain side up    ·    gap {plan.gap:g} mm, edge {plan.edge_margin:g} mm"
        f"    ·    seed {plan.seed}, {plan.budget}"
    )


# --- the layout ------------------------------------------------------------------------------


def draw_layout(pen: Pen, plan: Plan, hide: Hide, figures: Figures) -> None:
    """Draw the hide, the parts with their labels, and what is kept, with a pen of the hide."""
    parts, gone = shown_of(plan), gone_of(plan)
    covered = shapely.union_all([one.shape for one in (*parts, *gone)])
    leather.draw_ground(pen, hide)
    leather.draw_flaws(pen, hide, layer=3.8)
    for border in shapely.get_parts(borders(plan.bed_windows).intersection(hide.polygon)):
        pen.line(border.coords, BED_BORDER, layer=2.6, name="bed-border")
    for one in parts:
        name = f"part:{one.placement.id}"
        draw_part(pen, one.wanted.part, one.placement, one.fill, name=name)
    draw_gone(pen, gone)
    labels = Labels(pen)
    labels.obstacles += [*leather.flaw_marks(pen, hide), pen.on_page(hide.polygon.boundary)]
    for one in (*parts, *gone):
        one.write_label(pen, labels, covered)
    leather.name_flaws(pen, hide, labels)
    _draw_kept(pen, hide, figures, labels)
    leather.draw_regions(pen, hide, labels, avoid=covered)
    labels.obstacles += [pen.on_page(one.shape) for one in (*parts, *gone)]
    draw_levels(pen, hide, labels)
    leather.draw_stretch(pen, hide, avoid=covered)


def _draw_kept(pen: Pen, hide: Hide, figures: Figures, labels: Labels) -> None:
    """Draw what is left: the cut line, the remnants, the largest circle in each, the offcuts."""
    for remnant in figures.remnants:
        pen.shade(remnant.polygon, LEFT_OVER, layer=1.8, name="remnant")
        x, y, radius = remnant.circle
        circle = Point(x, y).buffer(radius, quad_segs=32)
        pen.shade(circle, replace(FRONTIER, width=0.25, dash=(1.5, 1.0)), layer=2.2)
        for words in (f"kept: {area_text(remnant.polygon.area)}", f"circle Ø {2 * radius:.0f} mm"):
            for room in polygons_of(pen.on_page(circle))[:1]:
                labels.inside(room, words, KEPT)
    flaws = shapely.union_all([flaw.shape for flaw in hide.flaws])
    for offcut in figures.offcuts:
        pen.shade(offcut.polygon, OFFCUT, layer=2.1, name=offcut.name)
        for room in polygons_of(pen.on_page(offcut.polygon.difference(flaws)))[:1]:
            words = f"{offcut.name}: {offcut.polygon.area / DM2:.1f} dm²"
            if not labels.inside(room, words, KEPT):
                labels.inside(room, offcut.name.removeprefix("offcut "), KEPT)
    for piece in figures.cut_line.geoms:
        pen.line(piece.coords, FRONTIER, layer=4.5, name="frontier")
        labels.obstacles.append(pen.on_page(piece))


# --- words beside and below ------------------------------------------------------------------


def _sheath_rows(plan: Plan, figures: Figures, room: float) -> list[Row]:
    """The list of sheath patterns: with their costs if ``room`` mm allow, else shorter."""
    foot = note("A1 is a body, A1W its welt, A1L its belt loop.", SIDEBAR)
    if plan.left_out:
        foot += note(f"Left out: {', '.join(plan.left_out)}.", SIDEBAR, OMITTED)
    for words in plan.remarks:
        foot += note(words, SIDEBAR, OMITTED)
    if plan.cut:
        foot += swatch(GONE, "cut already: this leather is gone", SIDEBAR)
    foot += [gap(1.0), *stroke(FOLD, "fold line", SIDEBAR), *stroke(SEAM, "stitch holes", SIDEBAR)]
    patterns = list(dict.fromkeys(patterns_of(plan).values()))
    title = head("Sheaths", SIDEBAR)
    room -= title.height + height_of(foot)
    left = {wanted.kit for wanted in plan.expected}
    rows = [r for one in patterns for r in _pattern_rows(one, figures, left, costs=True)]
    if height_of(rows) > room:
        rows = [r for one in patterns for r in _pattern_rows(one, figures, left, costs=False)]
    if height_of(rows) > room:
        shown = int(room / rows[0].height) - 1
        more = f"and {len(rows) - shown} more: see the parts list"
        rows = [*rows[:shown], *note(more, SIDEBAR, indent=8.0)]
    return [title, *rows, *foot]


def _pattern_rows(
    pattern: Pattern, figures: Figures, left: Container[str], *, costs: bool
) -> list[Row]:
    """A pattern with its sheaths; ``left`` are the kits of which something is to be cut."""
    made = [sheath for sheath in figures.sheaths if sheath.kit in pattern.kits]
    done = sum(sheath.kit not in left for sheath in made)
    words = f"{pattern.letter}  {pattern.name} × {len(made) - done}"
    words += f", {done} cut already" if done else ""
    rows = swatch(replace(PART_EDGE, fill=fill_of(pattern.number)), words, SIDEBAR, Type(6.4, INK))
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
        rows += swatch(LEFT_OVER, "kept in one piece, with its largest clean circle", SIDEBAR)
    if figures.offcuts:
        rows += swatch(OFFCUT, "offcut: stays usable", SIDEBAR)
    rows += stroke(FRONTIER, "cut line: no part lies beyond it", SIDEBAR)
    if len(plan.bed_windows) > 1:
        rows += stroke(BED_BORDER, "border of the bed: no part crosses it", SIDEBAR)
    return rows + leather.flaw_legend(hide, SIDEBAR)


def _draw_figures(sheet: Sheet, figures: Figures, width: float) -> float:
    """Set the figures in columns at the foot of the page; return the height they take."""
    wide = (width - (FIGURE_COLUMNS - 1) * GUTTER) / FIGURE_COLUMNS
    columns = parted(_figure_rows(figures, wide), FIGURE_COLUMNS)
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
