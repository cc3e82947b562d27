"""Legend: which colour of chalk or sticker stands for which kind of flaw.

A legend file is TOML, one table for each colour in use (``shared/legends/``)::

    [red]
    flaw = "hole"
    face = "through"

    ["teal crayon"]
    flaw = "vein"
    face = "grain"
    rgb = "#1d8a8a"

A table is named by a colour of :data:`PALETTE`, or by any name with the colour itself in
``rgb``. Colours of the palette that a legend leaves out are still recognised, so that a mark
in one of them can be reported instead of being read as its neighbour.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Annotated

from hides.capture.marks.colour import difference, lab_of
from hides.errors import InputError, placed
from hides.flaws import FLAW_KINDS, SIDES, check
from hides.keys import OneOf, Takes, read_table, rules_of

Rgb = tuple[int, int, int]

# Usual chalks and marking stickers as they look on white paper, sRGB (common practice, no
# published source).
PALETTE: dict[str, Rgb] = {
    "red": (205, 45, 50),
    "orange": (240, 125, 30),
    "yellow": (240, 215, 60),
    "green": (40, 150, 70),
    "blue": (30, 80, 190),
    "purple": (115, 60, 165),
    "pink": (235, 90, 170),
    "white": (238, 240, 240),
    "black": (38, 38, 40),
}

LEAST_DIFFERENCE = 18.0  # CIE 1976; two colours of a legend nearer than this get mixed up


@dataclass(frozen=True, slots=True)
class LegendKeys:
    """The keys of a legend's table, which is named by a colour.

    Attributes
    ----------
    flaw : the kind of flaw that it stands for.
    face : where such flaws are, right through or on one side.
    rgb : the colour itself, where the table's name is none of those known.
    """

    flaw: Annotated[str, OneOf(tuple(FLAW_KINDS))]
    face: Annotated[str, OneOf(SIDES)]
    rgb: Annotated[str | None, Takes('a text: "#1d8a8a"')] = None


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """One colour of a legend, in sRGB: the kind of flaw it stands for, and on which face."""

    colour: str
    rgb: Rgb
    flaw: str
    face: str


@dataclass(frozen=True, slots=True)
class Legend:
    """Colours in use.

    Raises
    ------
    InputError : no colour at all, a kind or face that is none, or two colours so alike that
        a photo can't tell them apart.
    """

    entries: tuple[LegendEntry, ...]

    def __post_init__(self) -> None:
        if not self.entries:
            raise InputError(
                "the legend names no colour.", mend='Add a table such as [red] with flaw = "hole".'
            )
        for entry in self.entries:
            with placed(place=f"table [{entry.colour}]"):
                check(entry.flaw, entry.face)
        for one, other in combinations(self.entries, 2):
            if difference(lab_of(one.rgb), lab_of(other.rgb)) < LEAST_DIFFERENCE:
                raise InputError(
                    f"{one.colour!r} and {other.colour!r} look too much alike to be told apart "
                    "in a photo.",
                    mend="Give one of them another colour.",
                    place=f"table [{other.colour}]",
                )

    def entry(self, colour: str) -> LegendEntry | None:
        """What a colour stands for; None where the legend doesn't have it."""
        return next((e for e in self.entries if e.colour == colour), None)

    @property
    def colours(self) -> dict[str, Rgb]:
        """All colours that are recognised, in sRGB: the legend's, and what else the palette holds.

        A palette colour that looks like one of the legend's own gives way to it.
        """
        own = {entry.colour: entry.rgb for entry in self.entries}
        labs = [lab_of(rgb) for rgb in own.values()]
        return own | {
            name: rgb
            for name, rgb in PALETTE.items()
            if name not in own
            and all(difference(lab_of(rgb), lab) >= LEAST_DIFFERENCE for lab in labs)
        }


# The colours that show best on every leather stand for what matters most.
USUAL_LEGEND = Legend(
    tuple(
        LegendEntry(colour, PALETTE[colour], flaw, face)
        for colour, flaw, face in (
            ("red", "hole", "through"),
            ("blue", "scar", "grain"),
            ("green", "healed", "grain"),
            ("yellow", "stain", "grain"),
            ("white", "bite", "grain"),
            ("orange", "brand", "grain"),
        )
    )
)


def read_legend(path: Path | str) -> Legend:
    """Read a legend file.

    Raises
    ------
    InputError : it can't be read, isn't TOML, or something in it can't be used; file and
        table are named.
    """
    path = Path(path)
    with placed(file=path):
        table = read_table(path, "legend")
        return Legend(tuple(_entry(name, value) for name, value in table.items()))


def _entry(name: str, value: object) -> LegendEntry:
    place = f"table [{name}]"
    if not isinstance(value, dict):
        raise InputError(
            f"{name!r} stands outside of a table.",
            mend='Write a table for each colour, such as [red] with flaw = "hole".',
        )
    texts = {str(key): _text(key, each, place) for key, each in value.items()}
    for key in ("flaw", "face"):
        if key not in texts:
            raise InputError(f"{key!r} is missing.", mend=_MENDS[key], place=place)
    return LegendEntry(name, _rgb(name, texts.get("rgb"), place), texts["flaw"], texts["face"])


_MENDS = {
    "flaw": 'It names the kind of flaw, such as flaw = "scar".',
    "face": f"Say one of {', '.join(SIDES)}.",
}


def _text(key: str, value: object, place: str) -> str:
    if key not in rules_of(LegendKeys):
        what = f"there is no key {key!r} here."
        raise InputError(what, mend=f"Known are {', '.join(rules_of(LegendKeys))}.", place=place)
    if not isinstance(value, str):
        raise InputError(f"{key} must be a text in quotes, got {value!r}.", place=place)
    return value


def _rgb(name: str, text: str | None, place: str) -> Rgb:
    if text is None and name in PALETTE:
        return PALETTE[name]
    if text is None:
        raise InputError(
            f"{name!r} is no colour known here.",
            mend=f'Use one of {", ".join(PALETTE)}, or add the colour as rgb = "#1d8a8a".',
            place=place,
        )
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        what = f"rgb must be six hex digits after a #, got {text!r}."
        raise InputError(what, mend='Write it as rgb = "#1d8a8a".', place=place)
    red, green, blue = bytes.fromhex(text[1:])
    return red, green, blue
