"""Starter files: a knife, a week or a hide that reads and plans as it is, to be changed.

Every key stands in them with its meaning (:mod:`nest.explained`); what has a default is there
as a remark. All figures are invented.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Mapping
from pathlib import Path

from hides import record
from hides.errors import InputError
from hides.hide import Hide, Price
from hides.keys import Key
from hides.outline import Outline
from hides.thickness import Reading
from nest.explained import explain, row_of

KINDS = {"knife": "toml", "week": "toml", "hide": "json"}
WIDTH = 96  # characters of a line

# A plain knife of 220 mm, y up: its handle ends at 110, its edge is down.
_KNIFE = {
    "points": "[[0, 4], [110, 4], [110, 2], [180, 2], [213, 17], [220, 27], [190, 30], [0, 30]]",
    "length": "220.0",
    "tip": "[220, 27]",
    "butt": "[0, 27]",
    "edge": "[150, 0]",
    "guard": "110.0",
    "blade_thickness": "4.0",
    "handle_thickness": "18.0",
}
# Half a cow, grain side up, its neck to the right: mm along the backbone, mm across
_SIDE = ((0, 0), (2150, 0), (2180, 350), (1900, 750), (1780, 1150), (1660, 900), (640, 880),
         (500, 1200), (280, 1180), (110, 700))  # fmt: skip
_THICK, _FALL = 3.5, 0.0005  # mm at the tail root, and what is lost per mm from there
_HEAD = (
    "# Made to be changed: `croupon explain KEY` says more of each key. Lengths are millimetres."
)


def starters(kind: str, name: str, folder: Path) -> dict[str, bytes]:
    """The files of a starter, by name, for a folder.

    A week asks for the first knife and the first hide there; where there are none, they are
    among the files.

    Raises
    ------
    InputError : no such kind, or a name that no file can have.
    """
    if kind not in KINDS:
        raise InputError(f"no such kind of file: {kind}.", mend=f"Use {', '.join(KINDS)}.")
    stem = re.sub(rf"\.{kind}(\.{KINDS[kind]})?$", "", name)
    if not re.fullmatch(r"[\w-]+( [\w-]+)*", stem):
        what = f"'{name}' can't name a file."
        raise InputError(what, mend="Use letters, digits, - and _, such as larch-2.")
    if kind == "knife":
        return {f"{stem}.knife.toml": _knife(stem).encode()}
    if kind == "hide":
        return {f"{stem}.hide.json": _hide(stem).encode()}
    made: dict[str, bytes] = {}
    asked: dict[str, str] = {}
    for needed in ("knife", "hide"):
        there = sorted(path.name for path in folder.glob(f"*.{needed}.{KINDS[needed]}"))
        if not there:
            made |= starters(needed, stem, folder)
        asked[needed] = there[0] if there else f"{stem}.{needed}.{KINDS[needed]}"
    return made | {f"{stem}.week.toml": _week(stem, asked["knife"], asked["hide"]).encode()}


def _named(stem: str) -> dict[str, str]:
    return {"name": _quoted(stem.replace("-", " ").title())}


def _quoted(words: str) -> str:
    return json.dumps(words, ensure_ascii=False)


def _knife(stem: str) -> str:
    own = _lines("knife", "", _named(stem) | _KNIFE)
    return f"{_HEAD}\n{own}\n\n[sheath]\n{_lines('knife', '[sheath]', {'leather': '3.4'})}\n"


def _week(stem: str, knife: str, hide: str) -> str:
    rules = {"hides": f"[{_quoted(hide)}]", "seconds": "20"}
    sheath = {"knife": _quoted(knife), "count": "2", "leather": "[3.2, 3.6]"}
    text = f"{_HEAD}\n{_lines('week', '', _named(stem) | rules, skip=('sheath', 'pin'))}"
    text += f"\n\n[[sheath]]\n{_lines('week', '[[sheath]]', sheath)}\n"
    return f'{text}# Any key of the knife\'s [sheath] too: hand = "left" ...\n'


def _lines(file: str, title: str, values: Mapping[str, str], skip: tuple[str, ...] = ()) -> str:
    """A line for each key, after what it means; what is not among ``values`` is a remark."""
    (found,) = explain(file)
    keys = (
        key for key in found.tables[title] if key.name not in (*skip, "sheath", "edge_straight")
    )
    return "\n".join(f"{_remark(key)}\n{_line(key, values)}" for key in keys)


def _remark(key: Key) -> str:
    _, says, takes, unit, default = row_of(key)
    words = f"{says[0].upper()}{says[1:]}. Takes: {takes} {unit}".strip()
    words += f"; {default} unless given" if default and not default.startswith("must") else ""
    return textwrap.fill(words, WIDTH, initial_indent="# ", subsequent_indent="# ")


def _line(key: Key, values: Mapping[str, str]) -> str:
    return f"{key.name} = {values[key.name]}" if key.name in values else f"# {key.name} ="


def _hide(stem: str) -> str:
    """A side with twelve readings; JSON has no remarks, so what keys mean is a member of it."""
    grid = [(x, y) for x in (200, 650, 1100, 1550) for y in (150, 400, 700)]
    readings = tuple(Reading(x, y, round(_THICK - _FALL * (x + y) / 4, 2)) for x, y in grid)
    name, price = stem.replace("-", " ").title(), Price(10.0, "EUR", "ft2")
    side = Hide(name, "side", "vegetable", Outline.of(_SIDE), readings=readings, price=price)
    (found,) = explain("hide")
    meanings = {
        title or "members": {key.name: f"{key.says} {key.takes} {key.unit}".strip() for key in keys}
        for title, keys in found.tables.items()
    }
    head, _, rest = record.text(side).partition("\n")
    return f'{head}\n"meanings": {json.dumps(meanings, ensure_ascii=False, indent=1)},\n{rest}'
