"""Flaws as a table: CSV from a spreadsheet, one place a row.

    kind,face,width,along,across,note
    scar,grain,6,300,120,
    ,,,340,140,
    hole,through,12,800,400,nail

A row that names a kind begins a flaw; rows without one go on with its places. With a ``width``
(mm) one place is a spot and several are a line, both so wide; without, three or more are the
corners of an area. ``along`` the backbone from the tail and ``across`` it are mm in the hide's
frame unless the head says another unit: ``along (cm)``. ``note`` may be left out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from hides import flaws
from hides.errors import InputError, placed
from hides.files import read_whole
from hides.geojson import feature
from hides.outline import Outline
from hides.record import WIDTHS
from hides.table import LARGEST_TABLE, LENGTH_UNITS, cells_of, number, text_of

COLUMNS = ("kind", "face", "width", "along", "across", "note")

_HEAD = re.compile(r"(?P<name>[a-z]+)\s*(?:\((?P<unit>[a-z]+)\))?")


@dataclass(frozen=True, slots=True)
class ListedFlaw:
    """A flaw as a record's feature (mm), and the ``line`` of the table where it begins, from 1."""

    feature: dict[str, object]
    line: int


def read(path: Path) -> tuple[ListedFlaw, ...]:
    """Read a table of flaws; lengths in mm.

    Raises
    ------
    InputError : the file can't be read, or has other columns, or a flaw in it can't be used; with
        line and column.
    """
    with placed(file=path):
        _, rows = cells_of(text_of(read_whole(path, LARGEST_TABLE)))
        if len(rows) < 2:
            raise InputError("the table has no rows.", mend=f"Columns: {', '.join(COLUMNS)}.")
        columns = _columns(rows[0][1])
        groups: list[list[tuple[int, dict[str, str]]]] = []
        for line, cells in rows[1:]:
            if len(cells) > len(columns):
                what = f"the row has {len(cells)} cells where the first one has {len(columns)}."
                raise InputError(what, place=f"line {line}")
            told = dict(zip(columns, cells, strict=False))
            if told.get("kind"):
                groups.append([])
            elif not groups:
                what = "the first row must name a kind of flaw."
                raise InputError(what, place=f"line {line}, column 'kind'")
            groups[-1].append((line, told))
        return tuple(_flaw(group, columns) for group in groups)


def _columns(head: list[str]) -> dict[str, float]:
    """The columns by name, and the mm in the unit of each."""
    found: dict[str, float] = {}
    for cell in head:
        match = _HEAD.fullmatch(cell.strip().lower())
        name, unit = (match["name"], match["unit"] or "mm") if match else (cell, "mm")
        if name not in COLUMNS or name in found or unit not in LENGTH_UNITS:
            what, mend = f"{cell!r} is no column here.", f"Columns: {', '.join(COLUMNS)}."
            raise InputError(what, mend=mend, place="line 1")
        found[name] = LENGTH_UNITS[unit]
    for name in ("kind", "face", "along", "across"):
        if name not in found:
            mend = f"Columns: {', '.join(COLUMNS)}."
            raise InputError(f"the column '{name}' is missing.", mend=mend, place="line 1")
    return found


def _flaw(rows: list[tuple[int, dict[str, str]]], units: dict[str, float]) -> ListedFlaw:
    line, first = rows[0]
    with placed(place=f"line {line}, column 'kind'"):
        kind = flaws.kind_of(first["kind"].lower()).name
    face = first.get("face", "").lower()
    with placed(place=f"line {line}, column 'face'"):
        flaws.check(kind, face)
    points = [
        [_length(at, row, column, units) for column in ("along", "across")] for at, row in rows
    ]
    about: dict[str, object] = {"flaw": kind, "face": face, "note": first.get("note", "")}
    if first.get("width"):
        width = _length(line, first, "width", units)
        if not WIDTHS[0] <= width <= WIDTHS[1]:
            what = f"a flaw is {WIDTHS[0]:g} to {WIDTHS[1]:g} mm wide, not {width:g}."
            raise InputError(what, place=f"line {line}, column 'width'")
        about["width"] = width
        spot = len(points) == 1
        return ListedFlaw(
            feature("flaw", "Point", points[0], **about)
            if spot
            else feature("flaw", "LineString", points, **about),
            line,
        )
    if len(points) < 3:
        mend = "Give a spot or a line its width in mm, or an area three corners or more."
        what = f"a flaw without a width is an area, and {len(points)} places make none."
        raise InputError(what, mend=mend, place=f"line {line}, column 'width'")
    with placed(place=f"line {line}"):
        Outline.of(points)
    return ListedFlaw(feature("flaw", "Polygon", [[*points, points[0]]], **about), line)


def _length(line: int, row: dict[str, str], column: str, units: dict[str, float]) -> float:
    place, mend = f"line {line}, column '{column}'", "Units go into the head."
    return number(row.get(column, ""), place, mend) * units[column]
