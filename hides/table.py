"""Tables of numbers as people write them: CSV from a spreadsheet or by hand.

The first row names the columns, and may say their unit: ``along (cm), offset (cm)``. Columns
are parted by commas, semicolons or tabs; with the latter two, decimals may have a comma.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hides.errors import InputError, placed
from hides.files import read_whole
from hides.outline import FloatArray

LENGTH_UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}  # 1 in = 25.4 mm exactly
LARGEST_TABLE = 2_000_000
MOST_ROWS = 20_000

_HEAD = re.compile(r"\s*(?P<name>[a-z]+)\s*(?:\((?P<unit>[a-z]+)\))?\s*")
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.IGNORECASE)

NumberedRow = tuple[int, list[str]]  # its line in the file, counted from 1, and its cells


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
    unit : of :data:`LENGTH_UNITS`, where the head doesn't say it.

    Raises
    ------
    InputError : the file can't be read, has other columns, units that are none, no rows or too
        many, or a cell that is no number; with the line.
    """
    with placed(file=path):
        sign, found = cells_of(text_of(read_whole(path, LARGEST_TABLE)))
        if len(found) < 2:
            raise InputError("the table has no rows.", mend=_wanted(forms))
        if len(found) > MOST_ROWS:
            raise InputError(f"the table has {len(found)} rows; at most {MOST_ROWS} are read.")
        (_, head), *rows = found
        for row in rows:
            check_width(row, len(head), sign)
        mend = "Units go into the head."
        values = [[number(cell, f"line {at}", mend) for cell in cells] for at, cells in rows]
        names, scale = _columns([cell.lower() for cell in head], forms, unit)
    lines = tuple(at for at, _ in rows)
    return Table(names, np.array(values, dtype=np.float64) * scale, lines)


def text_of(data: bytes) -> str:
    """The text of a file that a spreadsheet wrote: UTF-8, or UTF-16 with its mark.

    Raises
    ------
    InputError : it is neither.
    """
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "this is not text in UTF-8.", mend="Save it from the spreadsheet as CSV in UTF-8."
        ) from None


def cells_of(text: str) -> tuple[str, list[NumberedRow]]:
    """What parts the columns, and the numbered rows; remarks (#) and empty rows are left out.

    Raises
    ------
    InputError : a row that is no CSV, such as one with an open quote; its line is named.
    """
    lines = [
        (at, line)
        for at, line in enumerate(text.splitlines(), start=1)
        if line.strip(" \t;,") and not line.lstrip().startswith(("#", "sep="))
    ]
    sign = next((sign for sign in ";\t" if any(sign in line for _, line in lines)), ",")
    return sign, [(at, _cells(at, line, sign)) for at, line in lines]


def check_width(row: NumberedRow, width: int, sign: str) -> None:
    """Refuse a row that has more or fewer cells than the first one.

    Raises
    ------
    InputError : it has; commas may have been meant for decimals.
    """
    at, cells = row
    if len(cells) == width:
        return
    what = (
        f"the row has {len(cells)} cell{'s' * (len(cells) != 1)} where the first one has {width}."
    )
    if len(cells) < width or sign != ",":
        raise InputError(what, place=f"line {at}")
    raise InputError(
        f"{what} Do commas stand for decimals here and part the columns too?",
        mend="Part columns by semicolons, or write decimals with points.",
        place=f"line {at}",
    )


def number(cell: str, place: str, mend: str) -> float:
    """The number in a cell; its decimals may have a comma.

    Raises
    ------
    InputError : there is none, or none that is finite; with the place and how to mend it.
    """
    value = float(cell.replace(",", ".")) if NUMBER.fullmatch(cell) else math.nan
    if not math.isfinite(value):
        what = f"{cell!r} is no number." if cell else "there is no number."
        raise InputError(what, mend=mend, place=place)
    return value


def _cells(at: int, line: str, sign: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=sign, skipinitialspace=True, strict=True))
    except csv.Error as error:
        raise InputError(f"the row can't be read ({error}).", place=f"line {at}") from None
    cells = [cell.strip() for cell in cells]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _columns(
    head: list[str], forms: Sequence[tuple[str, ...]], unit: str
) -> tuple[tuple[str, ...], float]:
    """The columns' names, and the mm in their unit."""
    parts = [_HEAD.fullmatch(cell) for cell in head]
    names = tuple(part["name"] if part else cell for part, cell in zip(parts, head, strict=True))
    if names not in forms:
        raise InputError(f"the columns are {', '.join(head)}.", mend=_wanted(forms), place="line 1")
    units = {part["unit"] for part in parts if part and part["unit"]} or {unit}
    if len(units) > 1 or not units <= set(LENGTH_UNITS):
        raise InputError(
            f"the units are {', '.join(sorted(units))}.",
            mend=f"All columns have one unit of {', '.join(LENGTH_UNITS)}.",
            place="line 1",
        )
    return names, LENGTH_UNITS[units.pop()]


def _wanted(forms: Sequence[tuple[str, ...]]) -> str:
    return f"The first line must name the columns: {' or '.join(','.join(f) for f in forms)}."
