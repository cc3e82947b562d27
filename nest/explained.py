"""What can stand in each file: every key with its meaning, what it takes, unit and default.

All is generated from what the readers check by (:func:`hides.keys.keys_of`), and so are the
tables of the READMEs in ``shared/``.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from hides.capture.marks.legend import LegendKeys
from hides.errors import InputError
from hides.flaws import FLAW_KINDS, SIDES
from hides.keys import Between, Key, OneOf, Takes, keys_of
from hides.record import WIDTHS, FeatureProperties, HideMembers
from nest.cutter.machine import OLD_KEYS, Machine
from nest.knife import OLD_KEYS as OLD_CHOICES
from nest.knife import Choices, KnifeKeys
from nest.week import PinKeys, SheathKeys, WeekKeys

OLD = {**OLD_CHOICES, **OLD_KEYS}
# Where a picture of keys stands, and which it shows.
PICTURES = {
    "knife": (
        "shared/knives/README.md",
        "length tip butt edge guard blade_thickness tip_thickness handle_thickness handle_round "
        "leather welt welt_thickness handle_covered stitch margin belt belt_ease loop_width "
        "loop_pad slack clearance oversize excess thumb drain",
    ),
    "week": ("shared/weeks/README.md", "keep"),
}
COLUMNS = ("key", "meaning", "takes", "unit", "default")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingColumns:
    """The columns of a list of gauge readings, by place or by sticker. Millimetres.

    Attributes
    ----------
    x : the place along the backbone from the tail root; another unit in its name, "x (in)".
    y : the place from the backbone towards the belly.
    sticker : the number of a sticker on the photo, instead of x and y.
    mm : the reading; a column "oz" holds ounces.
    """

    x: Annotated[float | None, Takes("a number")] = None
    y: Annotated[float | None, Takes("a number")] = None
    sticker: Annotated[int | None, Takes("a whole number")] = None
    mm: Annotated[float, Between(0.1, 12.0, "mm")]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlawColumns:
    """The columns of a table of flaws, a place a row. mm unless a name says another unit.

    Attributes
    ----------
    kind : of the flaw; a row without one goes on with the flaw above.
    face : where it is, right through or on one side; in the row that names the kind.
    width : of a spot (one place) or a line (several); without it they are the corners of an area.
    along : the place along the backbone from the tail root; another unit in its name, "along (cm)".
    across : the place from the backbone towards the belly.
    note : a remark of yours.
    """

    kind: Annotated[str | None, OneOf(tuple(FLAW_KINDS))]
    face: Annotated[str | None, OneOf(SIDES)]
    width: Annotated[float | None, Between(*WIDTHS, "mm")] = None
    along: Annotated[float, Takes("a number")]
    across: Annotated[float, Takes("a number")]
    note: Annotated[str | None, Takes("a text")] = None


@dataclass(frozen=True, slots=True)
class TapeColumns:
    """The columns of a measured outline: a tape along the backbone, or points round the edge. mm
    unless a name says another unit.

    Attributes
    ----------
    along : distance from the tail root along the backbone.
    offset : from the backbone to the belly edge there; with along, instead of x and y.
    edge : how far the upper edge lies off the backbone there.
    x : a point of the edge, one after the other all round.
    y : the same, towards the belly.
    """

    along: Annotated[float | None, Takes("a number")] = None
    offset: Annotated[float | None, Takes("a number")] = None
    edge: Annotated[float | None, Takes("a number")] = None
    x: Annotated[float | None, Takes("a number")] = None
    y: Annotated[float | None, Takes("a number")] = None


@dataclass(frozen=True, slots=True)
class GuideColumns:
    """The columns of a guide: some thirty points round the edge, in order.

    Attributes
    ----------
    x : pixels (px) of the first photo from its left.
    y : pixels from its top.
    """

    x: Annotated[float, Takes("a number")]
    y: Annotated[float, Takes("a number")]


@dataclass(frozen=True, slots=True)
class Explained:
    """A kind of file with its tables: ``tables`` has their keys by their titles, and ``picture``
    says where a drawing shows what keys measure, if one does.
    """

    name: str
    file: str
    tables: Mapping[str, tuple[Key, ...]]
    picture: str = ""


def _file(name: str, file: str, **kinds: type) -> Explained:
    where, _ = PICTURES.get(name, ("", ""))
    return Explained(name, file, {title: keys_of(kind) for title, kind in kinds.items()}, where)


FILES = (
    _file("knife", "NAME.knife.toml", **{"": KnifeKeys, "[sheath]": Choices}),
    _file("week", "NAME.week.toml", **{"": WeekKeys, "[[sheath]]": SheathKeys, "[[pin]]": PinKeys}),
    _file("machine", "NAME.machine.toml", **{"": Machine}),
    _file("hide", "NAME.hide.json", **{"": HideMembers, "properties": FeatureProperties}),
    _file("legend", "NAME.legend.toml", **{"[COLOUR]": LegendKeys}),
    _file("readings", "CSV", **{"": ReadingColumns}),
    _file("flaws", "CSV", **{"": FlawColumns}),
    _file("tape", "CSV", **{"": TapeColumns}),
    _file("guide", "CSV", **{"": GuideColumns}),
)


def explain(word: str) -> tuple[Explained, ...]:
    """The kind of file of that name, whole; or those that have the key, with it alone.

    Raises
    ------
    InputError : neither a file nor a key; the nearest is named.
    """
    whole = tuple(file for file in FILES if file.name == word)
    found = whole or tuple(one for file in FILES if (one := _only(file, word)).tables)
    if found:
        return found
    known = {key.name for file in FILES for table in file.tables.values() for key in table}
    near = difflib.get_close_matches(word, sorted(known | {f.name for f in FILES}), 1, 0.5)
    mend = f"Did you mean '{near[0]}'?" if near else "`croupon explain` lists all."
    if word in OLD:
        mend = f"It is called '{OLD[word]}' now."
    raise InputError(f"no file has a key '{word}'.", mend=mend)


def _only(file: Explained, word: str) -> Explained:
    tables = {t: tuple(k for k in keys if k.name == word) for t, keys in file.tables.items()}
    _, shown = PICTURES.get(file.name, ("", ""))
    where = file.picture if word in shown.split() else ""
    return Explained(file.name, file.file, {t: keys for t, keys in tables.items() if keys}, where)


def row_of(key: Key) -> tuple[str, ...]:
    """A key's cells, as :data:`COLUMNS` names them."""
    return key.name, key.says.rstrip("."), key.takes, key.unit, key.default


def markdown(keys: tuple[Key, ...]) -> str:
    """A table of keys as a README has it."""
    rows = [COLUMNS, ("---",) * len(COLUMNS)]
    rows += [(f"`{name}`", *cells) for name, *cells in map(row_of, keys)]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in rows)
