"""Rows: legends, lists and tables as stacks of rows, each of which knows its height.

A page first gathers its rows, so it knows how much room they take, and then stacks them
where it likes. All in page millimetres; a row is given its left end and its top.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

from shapely import box

from nest.draw.palette import BODY, HEAD, NOTE, RULE, STRONG
from nest.draw.sheet import Sheet, Style
from nest.draw.words import POINT, Type, wrapped

LEADING = 1.32  # line pitch as a multiple of the type size


@dataclass(frozen=True, slots=True)
class Row:
    """``height`` mm, and ``draw(sheet, x, top)`` that draws it."""

    height: float
    draw: Callable[[Sheet, float, float], None]


def gap(height: float) -> Row:
    """An empty row ``height`` mm high."""
    return Row(height, lambda sheet, x, top: None)


def head(words: str, width: float) -> Row:
    """A heading with a fine rule of ``width`` mm below it."""

    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.text((x, top - 3.0), words, HEAD)
        sheet.line([(x, top - 4.3), (x + width, top - 4.3)], RULE)

    return Row(5.6, draw)


def note(words: str, width: float, style: Type = NOTE, *, indent: float = 0.0) -> list[Row]:
    """Running words, broken into as many rows ``width`` mm wide as they need."""
    lines = wrapped(words, width - indent, style)
    return [cells(("", line), (indent, width - indent), style) for line in lines]


def cells(
    words: Sequence[str],
    widths: Sequence[float],
    style: Type = BODY,
    *,
    right: Collection[int] = (),
) -> Row:
    """One line of words in columns; those numbered in ``right`` end at their right side."""
    pitch = style.size * POINT * LEADING

    def draw(sheet: Sheet, x: float, top: float) -> None:
        for i, (word, width) in enumerate(zip(words, widths, strict=True)):
            to_right = i in right
            place = (x + width if to_right else x, top - 0.76 * pitch)
            if word:
                sheet.text(place, word, style, anchor="right" if to_right else "left")
            x += width

    return Row(pitch, draw)


def pair(label: str, value: str, width: float) -> Row:
    """A label with its value at the right end, ``width`` mm from its left."""
    pitch = BODY.size * POINT * LEADING

    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.text((x, top - 0.76 * pitch), label, BODY)
        sheet.text((x + width, top - 0.76 * pitch), value, STRONG, anchor="right")

    return Row(pitch, draw)


def swatch(look: Style, words: str, width: float, style: Type = NOTE) -> list[Row]:
    """A small sample of a look, and beside it what it means; ``width`` mm for both."""
    lines = list(wrapped(words, width - 8.5, style))
    pitch = max(style.size * POINT * LEADING, 3.1 if len(lines) == 1 else 0.0)

    def draw(sheet: Sheet, x: float, top: float) -> None:
        sheet.shade(box(x, top - 2.55, x + 6.0, top - 0.35), look, layer=2.0)
        for i, line in enumerate(lines):
            sheet.text((x + 8.0, top - 2.05 - i * pitch), line, style)

    return [Row(max(3.1, pitch * len(lines) + 0.5), draw)]


def stroke(look: Style, words: str, width: float, style: Type = NOTE) -> list[Row]:
    """A short piece of line or dots, and beside it what it means; ``width`` mm for both."""
    (told,) = swatch(Style(), words, width, style)

    def draw(sheet: Sheet, x: float, top: float) -> None:
        if look.edge:
            sheet.line([(x, top - 1.45), (x + 6.0, top - 1.45)], look, layer=2.0)
        else:
            sheet.dots([(x + i, top - 1.45) for i in (1.0, 3.0, 5.0)], 0.6, look, layer=2.0)
        told.draw(sheet, x, top)

    return [Row(told.height, draw)]


def height_of(rows: Iterable[Row]) -> float:
    """Height of a stack in mm."""
    return sum(row.height for row in rows)


def stack(sheet: Sheet, rows: Iterable[Row], x: float, top: float) -> float:
    """Draw rows one below the other from ``top`` mm; return where the last one ends."""
    for row in rows:
        row.draw(sheet, x, top)
        top -= row.height
    return top


def beside(row: Row, more: Sequence[Row], indent: float) -> Row:
    """A row with a stack of small rows ``indent`` mm to its right, tops in line."""

    def draw(sheet: Sheet, x: float, top: float) -> None:
        row.draw(sheet, x, top)
        stack(sheet, more, x + indent, top - 0.3)

    return Row(max(row.height, height_of(more) + 0.6), draw)


def joined(rows: Iterable[Row]) -> Row:
    """Several rows that stay together when a stack is parted; their heights in mm add up."""
    rows = tuple(rows)

    def draw(sheet: Sheet, x: float, top: float) -> None:
        stack(sheet, rows, x, top)

    return Row(height_of(rows), draw)


def parted(rows: Sequence[Row], count: int) -> list[list[Row]]:
    """Part a stack in ``count`` columns, filled in order, as low as they can be."""
    limits = sorted(
        {height_of(rows[i : j + 1]) for i in range(len(rows)) for j in range(i, len(rows))}
    )
    for limit in limits:
        columns = _filled(rows, limit)
        if len(columns) <= count:
            return columns + [[] for _ in range(count - len(columns))]
    return [[] for _ in range(count)]


def _filled(rows: Sequence[Row], limit: float) -> list[list[Row]]:
    """Columns no taller than ``limit`` (single taller rows excepted)."""
    columns: list[list[Row]] = [[]]
    for row in rows:
        if columns[-1] and height_of([*columns[-1], row]) > limit + 1e-9:
            columns.append([])
        columns[-1].append(row)
    return columns
