"""Gauge readings: a list from a spreadsheet, with places or with numbers of stickers.

A list is CSV with one reading a row and a first row that names the columns::

    x,y,mm              the place in the hide frame, and the thickness
    sticker,mm          the number of a sticker on the hide, whose place the photo gives

Units are mm unless a column's name says otherwise: ``x (in)``, ``y cm``, ``oz``. What looks
like another unit than it says is refused with what it might be, never converted; what was
converted, or read with decimal commas, is said in :attr:`ReadingList.says`. Gauges that follow ISO
2589 read to 0.01 mm after 5 s under a foot of 10 mm.

>>> found = read_text("x;y;mm\\n120;300;3,4\\n")
>>> found.placed[0].thickness, found.says
(3.4, ("Decimal commas are read: '3,4' is 3.4.",))
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

from shapely import Point, Polygon

from hides import table
from hides.capture.targets import STICKER, STICKERS
from hides.errors import InputError, placed
from hides.files import read_whole
from hides.thickness import MOST_READINGS, Reading
from hides.units import IRON, OUNCE, THICKEST

LARGEST_LIST = 1_000_000  # bytes
THINNEST = 0.1  # mm, as in hide records
# A side's usual reading lies between these, mm: thinner leather is split for linings, thicker
# is not tanned in sides (common practice, no published source).
USUAL_THICKNESS = (0.35, 7.0)
LEAST_SURVEY = 150.0  # mm; readings all nearer than this to the tail are no survey of a side
LEAST_SURVEY_SHARE = 0.15  # of the hide's length: the same where the hide is known

_LENGTHS = {**table.LENGTH_UNITS, "ft": 304.8}
_THICKNESSES = {"mm": 1.0, "cm": 10.0, "in": 25.4, "oz": OUNCE, "iron": IRON}
_UNITS = {"inch": "in", "inches": "in", "ounce": "oz", "ounces": "oz", "irons": "iron",
          "feet": "ft", "foot": "ft", "metres": "m", "meters": "m"}  # fmt: skip
_FULL = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet",
         "oz": "ounces", "iron": "irons"}  # fmt: skip
_WORDS = {
    "x": ("x", "along"),
    "y": ("y", "across"),
    "thickness": ("thickness", "thick", "t", "reading", "gauge", "substance", "value", "dicke",
                  "stärke", "épaisseur", "epaisseur", "espesor", "spessore"),
    "number": ("number", "sticker", "no", "no.", "nr", "nr.", "n", "num", "id", "#"),
}  # fmt: skip
_ROLES = {word: role for role, words in _WORDS.items() for word in words}


@dataclass(frozen=True)
class ReadingList:
    """What a list of readings holds.

    Attributes
    ----------
    placed : readings with their places, hide frame.
    places : where in the list each of them stands.
    numbered : thickness in mm by the number of its sticker.
    says : what was understood that the user should know, a sentence each.
    """

    placed: tuple[Reading, ...] = ()
    numbered: Mapping[int, float] = field(default_factory=dict)
    says: tuple[str, ...] = ()
    places: tuple[str, ...] = ()


def read(path: Path | str, *, length: float | None = None) -> ReadingList:
    """Read a list of readings.

    Parameters
    ----------
    path : a CSV file; columns are parted by commas, semicolons or tabs.
    length : mm, of the hide, to tell whether places can be meant in mm.

    Raises
    ------
    InputError : the file can't be read, or something in it can't be used or can be read in
        two ways; file and row are named.
    """
    path = Path(path)
    with placed(file=path):
        return read_text(table.text_of(read_whole(path, LARGEST_LIST)), length=length)


def on_stickers(
    numbered: Mapping[int, float], stickers: Mapping[int, tuple[float, float]]
) -> ReadingList:
    """Put numbered readings where the stickers are.

    Parameters
    ----------
    numbered : thickness in mm by number.
    stickers : (x, y) in mm by number, as found in the photo; readings are in the same frame.
    """
    both = [number for number in numbered if number in stickers]
    says = []
    if lost := sorted(set(numbered) - set(stickers)):
        those = "its reading is" if len(lost) == 1 else "their readings are"
        says.append(
            f"No sticker {', '.join(map(str, lost))} was found in the photo, so {those} not used: "
            "lay it flat, free of glare, or give the place of the reading."
        )
    if bare := sorted(set(stickers) - set(numbered)):
        says.append(f"No reading in the list for sticker {', '.join(map(str, bare))}.")
    places = tuple(Reading(*stickers[number], numbered[number]) for number in both)
    return ReadingList(placed=places, says=tuple(says))


def covered(stickers: Mapping[int, tuple[float, float]]) -> tuple[Polygon, ...]:
    """The ground, mm, that stickers may cover however they are turned: no mark is sought there."""
    return tuple(Point(at).buffer(STICKER * 0.5**0.5 + 2.0) for at in stickers.values())


def read_text(text: str, *, length: float | None = None) -> ReadingList:
    """As :func:`read`, from the text itself; ``length`` in mm."""
    columns, said = _columns(text)
    says = [*said, *_of_commas(columns.values())]
    thickness = _thicknesses(columns["thickness"])
    says += _of_unit("Thickness is", columns["thickness"], thickness)
    if "x" not in columns:
        return ReadingList(numbered=_numbered(columns["number"], thickness), says=tuple(says))
    x, y = (columns[axis].scaled(_LENGTHS) for axis in ("x", "y"))
    _check_reach(columns["x"], x + y, length)
    says += _of_unit("Places are", columns["x"], x)
    placed = tuple(Reading(*each) for each in zip(x, y, thickness, strict=True))
    places = tuple(place for _, place in columns["thickness"].cells)
    return ReadingList(placed, says=tuple(says), places=places)


# --- the table -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Column:
    """A column in use: its name, the unit if that tells one, its cells each with its place."""

    name: str
    told: str | None
    cells: Sequence[tuple[str, str]]

    @property
    def unit(self) -> str:
        return self.told or "mm"

    def scaled(self, units: Mapping[str, float]) -> list[float]:
        """The values in mm."""
        mend = "Write the unit in the first row."
        return [table.number(cell, place, mend) * units[self.unit] for cell, place in self.cells]


def _columns(text: str) -> tuple[dict[str, _Column], tuple[str, ...]]:
    """A list's columns by their role, and what is to be said of them."""
    sign, rows = table.cells_of(text)
    if not rows:
        raise InputError("the list is empty.", mend="Write one reading a row: x,y,mm.")
    first = rows[0][1]
    headed = not all(table.NUMBER.fullmatch(cell) for cell in first)
    found, says = _named(first) if headed else _unnamed(rows[0])
    rows = rows[headed:]
    for row in rows:
        table.check_width(row, len(first), sign)
    if not rows:
        raise InputError("the list names its columns and holds no reading.")
    if len(rows) > MOST_READINGS:
        raise InputError(f"{len(rows)} readings; at most {MOST_READINGS} can be used.")
    columns = {}
    for role, (at, unit) in found.items():
        name = first[at] if headed else role
        cells = [(cells[at], f"line {line}, column '{name}'") for line, cells in rows]
        columns[role] = _Column(name, unit, cells)
    return columns, says


# Of each role, the index of its column and the unit that its name tells.
_Roles = dict[str, tuple[int, str | None]]


def _named(names: Sequence[str]) -> tuple[_Roles, tuple[str, ...]]:
    """The columns by the names in the first row."""
    columns: _Roles = {}
    spare = []
    for at, name in enumerate(names):
        role, unit = _role(name)
        if role is None:
            spare.append(name)
            continue
        if role in columns:
            raise InputError(
                f"columns '{names[columns[role][0]]}' and '{name}' both seem to hold the {role}.",
                mend="Keep one, or give the other another name.",
                place="first row",
            )
        columns[role] = (at, unit)
    _check_roles(columns, names)
    if "x" in columns and "number" in columns:
        spare.append(names[columns.pop("number")[0]])
    unused = (f"Column {_quoted(spare)} is not used.",) if any(spare) else ()
    return columns, unused


def _role(name: str) -> tuple[str | None, str | None]:
    """What a column holds, and its unit: "x (in)", "thickness_mm", "oz"."""
    words = [word for word in re.split(r"[\s_()\[\],/:]+", name.lower()) if word]
    units = [_UNITS.get(word, word) for word in words]
    if len(words) == 1 and units[0] in _THICKNESSES:
        return "thickness", units[0]
    roles = [_ROLES[word] for word in words if word in _ROLES]
    told = [unit for unit in units if unit in _LENGTHS or unit in _THICKNESSES]
    role = roles[0] if roles else None
    return role, told[0] if told and role in ("x", "y", "thickness") else None


def _check_roles(columns: _Roles, names: Sequence[str]) -> None:
    wanted = ("x", "y", "thickness") if {"x", "y"} & set(columns) else ("number", "thickness")
    for role in wanted:
        if role not in columns:
            raise InputError(
                f"none of the columns {_quoted(names)} is known to hold the {role}.",
                mend="Name them x,y,mm, or sticker,mm for readings on numbered stickers.",
                place="first row",
            )
    known = {"x": _LENGTHS, "y": _LENGTHS, "thickness": _THICKNESSES}
    for role, units in known.items():
        at, unit = columns.get(role, (0, None))
        if (unit or "mm") not in units:
            raise InputError(
                f"{unit} is no unit of it here.",
                mend=f"Use one of {', '.join(units)}.",
                place=f"first row, column '{names[at]}'",
            )


def _unnamed(first: table.NumberedRow) -> tuple[_Roles, tuple[str, ...]]:
    """The columns of a list that doesn't name them."""
    roles = {3: ("x", "y", "thickness"), 2: ("number", "thickness")}.get(len(first[1]))
    if roles is None:
        hint = " Do commas stand for decimals and part the columns too?" * (len(first[1]) > 3)
        raise InputError(
            f"the first row holds {len(first[1])} numbers and no names.{hint}",
            mend="Name the columns in the first row: x,y,mm, or sticker,mm.",
            place=f"line {first[0]}",
        )
    says = f"The columns have no names; they are read as {', '.join(roles)}, in mm."
    return {role: (at, None) for at, role in enumerate(roles)}, (says,)


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


# --- numbers and units -----------------------------------------------------------------------


def _of_commas(columns: Iterable[_Column]) -> tuple[str, ...]:
    """Say that decimal commas were read; refuse them beside decimal points."""
    every = [each for column in columns for each in column.cells]
    commas = [(cell, place) for cell, place in every if "," in cell]
    points = [cell for cell, _ in every if "." in cell]
    for cell, place in commas:
        if points or cell.count(",") > 1:
            raise InputError(
                f"{cell!r} has a decimal comma"
                + (f" and {points[0]!r} elsewhere a point." if points else " twice."),
                mend="Write all decimals the same way, and no marks between thousands.",
                place=place,
            )
    if not commas:
        return ()
    cell = commas[0][0]
    return (f"Decimal commas are read: '{cell}' is {cell.replace(',', '.')}.",)


def _of_unit(what: str, column: _Column, values: Sequence[float]) -> tuple[str, ...]:
    """Say that a column was in another unit than mm."""
    if column.unit == "mm":
        return ()
    unit, cell = column.unit, column.cells[0][0]
    return (f"{what} given in {_FULL[unit]}: {cell} {unit} is {values[0]:.2f} mm.",)


def _would_be(plain: float, units: Mapping[str, float], low: float, high: float, as_: str) -> str:
    """What a number would be in the units in which it is from ``low`` to ``high`` mm, a clause."""
    sizes = {_FULL[unit]: plain * size for unit, size in units.items()}
    fits = [as_.format(unit, mm) for unit, mm in sizes.items() if low <= mm <= high]
    return f"; {', '.join(fits)}" if fits else ""


def _thicknesses(column: _Column) -> list[float]:
    """Thickness in mm; refused where it can hardly be in the unit it is said to be in."""
    values = column.scaled(_THICKNESSES)
    middle = median(values)
    if not USUAL_THICKNESS[0] <= middle <= USUAL_THICKNESS[1]:
        plain = middle / _THICKNESSES[column.unit]
        fits = _would_be(plain, _THICKNESSES, 1.5, 6.0, "as {} it would be {:.2f} mm")
        raise InputError(
            f"a usual reading of {plain:g} {column.unit} is no thickness of a side{fits}.",
            mend="Name the column by its unit, such as mm, in or oz.",
            place=f"column '{column.name}'",
        )
    for value, (cell, place) in zip(values, column.cells, strict=True):
        if not THINNEST <= value <= THICKEST:
            raise InputError(
                f"{cell} is {value:.3g} mm, which is no thickness of leather.",
                mend=f"It must be {THINNEST:g} to {THICKEST:g} mm.",
                place=place,
            )
    return values


def _check_reach(column: _Column, places: Sequence[float], length: float | None) -> None:
    """Refuse places that take up so little of a hide that they can't be in mm."""
    reach = max(abs(place) for place in places)
    least, most = (
        (LEAST_SURVEY, 4000.0) if length is None else (LEAST_SURVEY_SHARE * length, 1.5 * length)
    )
    told = column.told is not None and length is None
    if told or len(column.cells) < 3 or least <= reach <= most:
        return
    plain = reach / _LENGTHS[column.unit]
    usual = (0.4 * (length or 1500.0), 1.2 * (length or 2500.0))
    fits = _would_be(plain, _LENGTHS, *usual, "as {} that is {:.0f} mm")
    raise InputError(
        f"no reading is farther along than {plain:g} {column.unit}"
        + (f", and the hide is {length:.0f} mm long" if length else "")
        + f"{fits}.",
        mend="Name the unit with the column, such as 'x mm' or 'x in'.",
        place=f"column '{column.name}'",
    )


def _numbered(column: _Column, thickness: Sequence[float]) -> dict[int, float]:
    found: dict[int, float] = {}
    for (cell, place), value in zip(column.cells, thickness, strict=True):
        if not cell.isdecimal() or not 1 <= int(cell) <= STICKERS:
            raise InputError(
                f"{cell!r} is no number of a sticker.",
                mend=f"They are numbered 1 to {STICKERS}.",
                place=place,
            )
        if int(cell) in found:
            raise InputError(f"sticker {cell} has two readings.", mend="Keep one.", place=place)
        found[int(cell)] = value
    return found
