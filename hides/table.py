"""Tables of numbers as people write them: CSV from a spreadsheet or by hand.

The first row names the columns, and may say their unit: ``along (cm), offset (cm)``. Columns
are parted by commas, semicolons or tabs; with the latter two, decimals may have a comma.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hides.errors import InputError
from hides.files import read_whole
from hides.outline import FloatArray

UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}  # 1 in = 25.4 mm exactly
MOST_BYTES = 2_000_000
MOST_ROWS = 20_000

_HEAD = re.compile(r"\s*(?P<name>[a-z]+)\s*(?:\((?P<unit>[a-z]+)\))?\s*")
_COMMA = re.compile(r"[+-]?\d+,\d+")


@dataclass(frozen=True, eq=False)
class Table:
    """A table of lengths.

    Attributes
    ----------
    names : of the columns.
    values : (rows, columns) mm.
    lines : where each row stands in the file, counted from 1.
    """

    names: tuple[str, ...]
    values: FloatArray
    lines: tuple[int, ...]


def read_table(path: Path, forms: Sequence[tuple[str, ...]], unit: str = "mm") -> Table:
    """Read a table whose columns are one of ``forms``.

    Parameters
    ----------
    unit : of :data:`UNITS`, where the head doesn't say it.

    Raises
    ------
    InputError : the file can't be read, has other columns, units that are none, no rows or too
        many, or a cell that is no number; with the line.
    """
    try:
        head, rows, lines = _rows(path, forms)
        names, scale = _columns(head, forms, unit)
    except InputError as error:
        raise error.at(file=path) from None
    return Table(names, np.array(rows, dtype=np.float64) * scale, lines)


def _rows(
    path: Path, forms: Sequence[tuple[str, ...]]
) -> tuple[list[str], list[list[float]], tuple[int, ...]]:
    """Head, rows of numbers, and the line in the file of each row."""
    text = _text(path)
    delimiter = next((d for d in ";\t" if d in text.split("\n", 1)[0]), ",")
    found = [
        (number, cells)
        for number, cells in enumerate(csv.reader(text.splitlines(), delimiter=delimiter), 1)
        if any(cell.strip() for cell in cells)
    ]
    if len(found) < 2:
        raise InputError("the table has no rows.", mend=_wanted(forms))
    if len(found) > MOST_ROWS:
        raise InputError(f"the table has {len(found)} rows; at most {MOST_ROWS} are read.")
    head = [cell.strip().lower() for cell in found[0][1]]
    rows = [_numbers(cells, len(head), f"line {line}", delimiter) for line, cells in found[1:]]
    return head, rows, tuple(line for line, _ in found[1:])


def _text(path: Path) -> str:
    try:
        return read_whole(path, MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "the file is not text in UTF-8.", mend="Save it as CSV with UTF-8, from any table."
        ) from None


def _numbers(cells: list[str], count: int, place: str, delimiter: str) -> list[float]:
    cells = [cell.strip() for cell in cells]
    while len(cells) > count and not cells[-1]:
        cells.pop()
    if len(cells) != count:
        mend = "Decimals take a point here, not a comma; or part the columns by semicolons."
        raise InputError(
            f"{len(cells)} cells where the head has {count} columns.",
            mend=mend if delimiter == "," and len(cells) > count else "",
            place=place,
        )
    return [_number(cell, place) for cell in cells]


def _number(cell: str, place: str) -> float:
    cell = cell.replace(",", ".") if _COMMA.fullmatch(cell) else cell
    try:
        value = float(cell)
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise InputError(f"{cell!r} is no number.", mend="Units go into the head.", place=place)
    return value


def _columns(
    head: list[str], forms: Sequence[tuple[str, ...]], unit: str
) -> tuple[tuple[str, ...], float]:
    """The columns' names, and the mm in their unit."""
    parts = [_HEAD.fullmatch(cell) for cell in head]
    names = tuple(part["name"] if part else cell for part, cell in zip(parts, head, strict=True))
    if names not in forms:
        raise InputError(f"the columns are {', '.join(head)}.", mend=_wanted(forms), place="line 1")
    units = {part["unit"] for part in parts if part and part["unit"]} or {unit}
    if len(units) > 1 or not units <= set(UNITS):
        raise InputError(
            f"the units are {', '.join(sorted(units))}.",
            mend=f"All columns have one unit of {', '.join(UNITS)}.",
            place="line 1",
        )
    return names, UNITS[units.pop()]


def _wanted(forms: Sequence[tuple[str, ...]]) -> str:
    return f"The first line must name the columns: {' or '.join(','.join(f) for f in forms)}."
