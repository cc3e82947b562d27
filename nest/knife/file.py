"""Reading a ``NAME.knife.toml``."""

from __future__ import annotations

from pathlib import Path

from hides.errors import InputError, OutlineError
from hides.keys import known_keys, number, read_table, text
from hides.outline import Outline
from hides.trace import Silhouette, read_drawing
from nest.errors import KnifeError
from nest.knife.choices import Choices
from nest.knife.model import Knife
from nest.knife.straighten import LENGTHS, knife_from, pair
from nest.part import XY


def read(path: Path | str) -> Knife:
    """Read a ``NAME.knife.toml``.

    Raises
    ------
    InputError : the file or its drawing can't be used, or a fold-over sheath can't hold the
        knife; the message names file, key, what was met and how to mend it.
    """
    path = Path(path)
    try:
        return _knife_of(read_table(path, "knife"), path)
    except InputError as error:
        raise error.at(file=path) from None


_PAIRS = ("tip", "butt", "edge")
_NUMBERS: dict[str, tuple[float, float]] = {
    "length": LENGTHS,
    "guard": (1.0, LENGTHS[1]),
    "blade_thickness": (0.5, 12.0),
    "tip_thickness": (0.2, 12.0),
    "handle_round": (0.0, 1.0),
}
_AS_GIVEN = ("handle_thickness", "edges", "edge_straight", "sure_of")
_OTHERS = (*_AS_GIVEN, "name", "outline", "points", "sheath")


def _knife_of(table: dict[str, object], path: Path) -> Knife:
    known_keys(table, [*_PAIRS, *_NUMBERS, *_OTHERS])
    name = text(table.get("name", path.name.removesuffix(".toml").removesuffix(".knife")), "name")
    sheath = table.get("sheath", {})
    if not isinstance(sheath, dict):
        raise KnifeError("sheath must be a table: write [sheath].", place="key 'sheath'")
    try:
        choices = Choices().changed(sheath)
    except InputError as error:
        error.place = f"[sheath] {error.place}"
        raise
    values: dict[str, object] = {
        key: number(table[key], key, *bounds, "" if key == "handle_round" else " mm")
        for key, bounds in _NUMBERS.items()
        if key in table
    }
    values |= {key: _point(table[key], key) for key in _PAIRS if key in table}
    values |= {key: table[key] for key in _AS_GIVEN if key in table}
    return knife_from(
        _drawing_of(table, path.parent),
        name=name,
        choices=choices,
        source=path,
        **values,  # type: ignore[arg-type]
    )


def _drawing_of(table: dict[str, object], folder: Path) -> Silhouette:
    if ("outline" in table) == ("points" in table):
        raise KnifeError(
            "the knife needs one outline.",
            mend='Give either outline = "NAME.svg" (or .dxf) or points = [[x, y], ...].',
            place="key 'outline'",
        )
    if "outline" in table:
        drawing = folder / text(table["outline"], "outline")
        if not drawing.exists():
            what, mend = f"there is no such file: {drawing}.", "Correct the name or the folder."
            raise KnifeError(what, mend=mend, place="key 'outline'")
        return read_drawing(drawing)
    points = table["points"]
    if not isinstance(points, list):
        raise KnifeError("points must be a list of [x, y].", place="key 'points'")
    try:
        return Silhouette(Outline.of([_point(row, "points") for row in points]))
    except OutlineError as error:
        raise error.at(place="key 'points'") from None


def _point(value: object, key: str) -> XY:
    x, y = (number(v, key, -1e7, 1e7) for v in pair(value, key))
    return x, y
