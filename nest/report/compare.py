"""One week on several hides: which one to cut.

Every hide gets the same picture at the same scale, three bars (leather used against its
bound, leather cost per sheath, yield) and a column of figures; one sentence says which.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from shapely import box

from hides.hide import unpriced
from hides.units import area_text
from nest.draw import leather
from nest.draw.book import KINDS, pictured
from nest.draw.palette import (
    BAR,
    BEST_BAR,
    FRONTIER,
    HEAD,
    INK,
    LEFT_OVER,
    NOTE,
    PART_EDGE,
    SMALL,
    STRONG,
)
from nest.draw.rows import Row, beside, cells, gap, head, height_of, note, stack
from nest.draw.sheet import Sheet, Style
from nest.draw.words import Type
from nest.figures import FIGURES
from nest.planning import Planned
from nest.plans import UNKNOWN_THICKNESS
from nest.report.names import shown_of
from nest.report.page import CAUTION, ISO_A, MARGIN, Page

ENDINGS = tuple(f".compare.{kind}" for kind in KINDS)
ALIKE = 0.01  # costs or areas that differ by less, as a share, are called equal
PANEL_GUTTER = 6.0  # mm between hides, and between bars
NAMES_WIDTH = 42.0  # mm, width of the column with the figures' names
COST = "Leather cost per sheath"
NO_PRICE = "not known"
ADVICE = Type(8.0, bold=True)

TABLE = (
    "net_area",
    "used_area",
    "bound_area",
    "bound_gap",
    "yield_on_used",
    "yield_on_hide",
    "remnant_area",
    "remnant_circle",
    "hide_cost",
    "leather_cost",
    "offcut_cost",
    "scrap_cost",
    "usable_cost",
)
DEFINITIONS = {FIGURES[key].label: FIGURES[key].definition for key in TABLE} | {
    "Sheaths": "Sheaths of the week that found room.",
    COST: "Leather cost / sheaths: what one sheath bears, offcuts and scrap shared.",
}


@dataclass(frozen=True, eq=False, slots=True)
class Comparison:
    """The same week tried on several hides, in the order in which they were offered.

    ``useless`` says of hides that were not tried, by name, why.
    """

    tried: tuple[Planned, ...]
    useless: Mapping[str, str] = field(default_factory=dict)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be known beside the figures, a sentence each."""
        said = [f"{name} is of no use: {why}" for name, why in self.useless.items()]
        blind = [t.hide.name for t in self.tried if not t.plan.thickness_known]
        if blind:
            said.append(f"{': '.join(UNKNOWN_THICKNESS)} ({', '.join(blind)}).")
        if why := unpriced([t.hide for t in self.tried]):
            said.append(f"Compared by the area used, not by cost, as {why}.")
        return tuple(said)

    @property
    def recommended(self) -> str:
        """Which hide to cut and why, in one sentence with its figures.

        Raises
        ------
        ValueError : nothing was tried.
        """
        tried = self.tried
        if not tried:
            raise ValueError("there is no plan to compare")
        best = best_of(tried)
        if not _count(best):
            return "No hide holds a sheath of this week."
        wanted = len({one.kit for one in best.plan.wanted})
        words = f"Cut from {best.hide.name}: {_holds(_count(best), wanted)}"
        if _comparable(tried):
            words += f" for {_money(best)} of leather each"
        rivals = [t for t in tried if t is not best and _count(t) == _count(best)]
        words += _lead_over(best, rivals, by_cost=_comparable(tried))
        left = best.figures.text("largest_remnant")
        return words + (f", leaving {left} in one piece." if left else ".")

    @property
    def table(self) -> list[list[str]]:
        """Rows of words with their units: the hides' names, then one row per figure."""
        tried = self.tried
        rows = [["", *(t.hide.name for t in tried)]]
        rows.append(["Sheaths", *(str(_count(t)) for t in tried)])
        rows.append([COST, *(_money(t) or NO_PRICE for t in tried)])
        rows += [[FIGURES[key].label, *(t.figures.text(key) for t in tried)] for key in TABLE]
        return [row for row in rows if any(row[1:])]


def facts(comparison: Comparison) -> dict[str, str]:
    """Each hide's leather for the sheaths that it holds, the one to cut, and what to mind."""
    used = {t.hide.name: t.figures.text("used_area") for t in comparison.tried}
    said = {f"mind, {number}": words for number, words in enumerate(comparison.remarks, 1)}
    return used | {"cut": comparison.recommended} | said


def files(comparison: Comparison, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(compare_sheet(comparison), f"{name}.compare")


def best_of(tried: Sequence[Planned]) -> Planned:
    """The hide to cut: most sheaths first, then least cost per sheath, then least leather.

    Costs count only where every hide has a price in the same currency.
    """
    by_cost = _comparable(tried)
    return min(
        tried,
        key=lambda t: (-_count(t), (_cost(t) or 0.0) if by_cost else 0.0, _used(t)),
    )


def compare_sheet(comparison: Comparison) -> Sheet:
    """Draw the comparison, landscape; on A4 for up to six hides, on A3 for more.

    Raises
    ------
    ValueError : nothing was tried.
    """
    tried, words = comparison.tried, comparison.recommended
    size = ISO_A["A4" if len(tried) <= 6 else "A3"]
    names = ", ".join(t.hide.name for t in tried)
    sheet = Page(size, f"{tried[0].plan.name}: hides compared", names)
    room = sheet.room
    lines = note(words, room, ADVICE)
    for said in comparison.remarks:
        lines += note(said, room, CAUTION)
    top = stack(sheet, [*lines, gap(2.0)], MARGIN, sheet.top)
    rows = _table_rows(comparison.table, room)
    foot = MARGIN + height_of(rows)
    stack(sheet, rows, MARGIN, foot)
    bars = 9.0 + 6.0 * len(tried)
    _draw_layouts(sheet, tried, (MARGIN, foot + bars + 4.0, room, top - foot - bars - 4.0))
    _draw_bars(sheet, tried, (MARGIN, foot + 4.0, room, bars))
    return sheet


picture = compare_sheet


def _comparable(tried: Sequence[Planned]) -> bool:
    """Whether costs can be compared: all known, in one currency."""
    return not unpriced([t.hide for t in tried]) and all(_cost(t) is not None for t in tried)


def _holds(sheaths: int, wanted: int) -> str:
    return f"all {wanted} sheaths" if sheaths == wanted else f"{sheaths} of {wanted} sheaths"


def _lead_over(best: Planned, rivals: Sequence[Planned], *, by_cost: bool) -> str:
    """How much better the best is than the next of those that hold as many sheaths."""
    if not rivals:
        return ""

    def measure(t: Planned) -> float:
        return (_cost(t) or 0.0) if by_cost else _used(t)

    second = min(rivals, key=measure)
    if not measure(second) or measure(second) == float("inf"):
        return ""
    saved = 1.0 - measure(best) / measure(second)
    if saved < ALIKE:
        return f", about the same as {second.hide.name}"
    how = "cheaper" if by_cost else "less leather"
    return f", {100 * saved:.0f} % {how} than {second.hide.name}"


def _money(t: Planned) -> str:
    cost = _cost(t)
    return "" if cost is None else f"{cost:.2f} {t.figures.currency}"


def _count(t: Planned) -> int:
    """How many sheaths the plan holds."""
    return len(t.figures.sheaths)


def _cost(t: Planned) -> float | None:
    """Leather cost per sheath, None where the hide has no price."""
    whole = t.figures.numbers.get("leather_cost")
    return None if whole is None or not _count(t) else whole / _count(t)


def _used(t: Planned) -> float:
    """Used area in mm² per sheath; infinite where nothing was placed."""
    used = t.figures.numbers.get("used_area", float("inf"))
    return used / _count(t) if _count(t) else float("inf")


# --- the page --------------------------------------------------------------------------------


def _table_rows(table: Sequence[Sequence[str]], width: float) -> list[Row]:
    (first, *names), *body = table
    each = min(38.0, (width - NAMES_WIDTH - 50.0) / len(names))
    says = width - NAMES_WIDTH - each * len(names)
    widths = (NAMES_WIDTH, says, *(each for _ in names))
    numbers = range(2, 2 + len(names))
    rows = [cells([first, "", *names], widths, STRONG, right=numbers)]
    for label, *values in body:
        row = cells([label, "", *values], widths, Type(6.4, INK), right=numbers)
        rows.append(beside(row, note(DEFINITIONS.get(label, ""), says - 2.0, SMALL), NAMES_WIDTH))
    return [head("Figures", width), *rows]


def _draw_layouts(
    sheet: Sheet, tried: Sequence[Planned], rect: tuple[float, float, float, float]
) -> None:
    """Every hide with its parts, all at one scale."""
    x, y, width, height = rect
    each = (width - (len(tried) - 1) * PANEL_GUTTER) / len(tried)
    boxes = [t.hide.outline.bounds for t in tried]
    longest = max(b[2] - b[0] for b in boxes)
    deepest = max(b[3] - b[1] for b in boxes)
    scale = min(each / longest, (height - 7.0) / deepest)
    for i, (t, bounds) in enumerate(zip(tried, boxes, strict=True)):
        left = x + i * (each + PANEL_GUTTER)
        pen = sheet.view((left, y, each, height - 7.0), bounds, scale)
        leather.draw_ground(pen, t.hide)
        leather.draw_flaws(pen, t.hide)
        for one in shown_of(t.plan):
            look = Style(fill=one.fill, edge=PART_EDGE.edge, width=0.12)
            name = f"part:{t.hide.name}:{one.placement.id}"
            pen.shade(one.shape, look, layer=3.0, name=name)
        for remnant in t.figures.remnants:
            pen.shade(remnant.polygon, LEFT_OVER, layer=2.5)
        for piece in t.figures.cut_line.geoms:
            pen.line(piece.coords, FRONTIER, layer=4.0)
        sheet.text((left, y + height - 4.5), t.hide.name, HEAD)
        area = f"{t.hide.piece}, {area_text(t.hide.gross_area)}"
        sheet.text((left + each, y + height - 4.5), area, NOTE, anchor="right")


def _told(key: str) -> tuple[Callable[[Planned], float | None], Callable[[Planned], str]]:
    """How to ask a hide for a figure: as a number, and as words."""
    return lambda t: t.figures.numbers.get(key), lambda t: t.figures.text(key)


def _draw_bars(
    sheet: Sheet, tried: Sequence[Planned], rect: tuple[float, float, float, float]
) -> None:
    x, y, width, height = rect
    each = (width - 2 * PANEL_GUTTER) / 3
    panels = (
        ("Used area (the tick is its bound)", *_told("used_area")),
        (COST, _cost, _money),
        (FIGURES["yield_on_used"].label, *_told("yield_on_used")),
    )
    best = best_of(tried)
    for i, (title, value, words) in enumerate(panels):
        left = x + i * (each + PANEL_GUTTER)
        sheet.text((left, y + height - 3.0), title, Type(7.0, INK, bold=True))
        most = max((value(t) or 0.0 for t in tried), default=0.0) or 1.0
        for j, t in enumerate(tried):
            base = y + height - 10.0 - 6.0 * j
            long = (each - 50.0) * (value(t) or 0.0) / most
            look = Style(fill=BEST_BAR if t is best else BAR, edge=INK, width=0.15)
            sheet.text((left, base + 1.2), t.hide.name, NOTE)
            if long:
                bar = box(left + 18.0, base, left + 18.0 + long, base + 3.8)
                sheet.shade(bar, look, layer=2.0, name=f"bar:{title}:{t.hide.name}")
            sheet.text((left + 20.0 + long, base + 1.2), words(t) or NO_PRICE, NOTE)
            if i == 0 and (least := t.figures.numbers.get("bound_area")):
                at = left + 18.0 + (each - 50.0) * least / most
                tick = Style(edge=INK, width=0.5)
                sheet.line([(at, base - 0.6), (at, base + 4.4)], tick, layer=3.0)
