"""Reading a ``NAME.knife.toml``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from hides.errors import InputError, OutlineError
from hides.keys import Between, OneOf, Takes, checked, number, read_table, text
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


@dataclass(frozen=True, slots=True)
class KnifeKeys:
    """The keys of a knife file. Millimetres, but points are in the drawing's units and axes.

    Attributes
    ----------
    name : what the knife is called.
    outline : the drawing with the knife's outline, beside this file. This or points.
    points : the outline as a list of points, y up.
    length : from tip to butt; may be left out where the drawing has a real size.
    tip, butt : the two ends of the knife on the drawing; they come together. Without them the
        knife is laid along its own long axis.
    edge : any point beside the cutting edge; without it the side for which all signs of the
        shape speak, if they do.
    guard : from the butt to the face of the guard (or the end of the handle) towards the
        blade; the place where the width steps unless given.
    blade_thickness : of the blade at its back; 3.5 unless given, and that is said.
    tip_thickness : of the blade at its tip, where it tapers; the blade's unless given.
    handle_thickness : one thickness, or some of them with their places from the butt; 18 unless
        given, and that is said.
    handle_round : 1 for a handle whose section is a stadium, 0 for a square one.
    edges : how many edges are sharp; say 1 for a blade that only looks double-edged.
    sure_of : which of guard and length are right though the drawing shows another figure.
    edge_straight : of old files: without edge, the edge is the side that bulges less.
    sheath : the maker's choices, a table of its own.
    """

    name: Annotated[str | None, Takes("a text", "the file's name")] = None
    outline: Annotated[str | None, Takes("a file: .svg or .dxf")] = None
    points: Annotated[list[XY] | None, Takes("[[x, y], ...]")] = None
    length: Annotated[float | None, Between(*LENGTHS, "mm")] = None
    tip: Annotated[XY | None, Takes("[x, y]")] = None
    butt: Annotated[XY | None, Takes("[x, y]")] = None
    edge: Annotated[XY | None, Takes("[x, y]")] = None
    guard: Annotated[float | None, Between(1.0, LENGTHS[1], "mm")] = None
    blade_thickness: Annotated[float | None, Between(0.5, 12.0, "mm")] = None
    tip_thickness: Annotated[float | None, Between(0.2, 12.0, "mm")] = None
    handle_thickness: Annotated[object, Takes("mm, or [[from the butt, mm], ...]")] = None
    handle_round: Annotated[float, Between(0.0, 1.0)] = 1.0
    edges: Annotated[int | None, OneOf((1, 2))] = None
    sure_of: Annotated[list[str] | None, Takes('a list: ["guard", "length"]')] = None
    edge_straight: Annotated[bool, OneOf((False, True))] = False
    sheath: Annotated[object, Takes("a table [sheath]")] = None


def _knife_of(table: dict[str, object], path: Path) -> Knife:
    values = checked(KnifeKeys, table)
    name = path.name.removesuffix(".toml").removesuffix(".knife")
    sheath = values.pop("sheath", {})
    if not isinstance(sheath, dict):
        raise KnifeError("sheath must be a table: write [sheath].", place="key 'sheath'")
    try:
        choices = Choices().changed(sheath)
    except InputError as error:
        error.place = f"[sheath] {error.place}"
        raise
    values |= {key: _point(values[key], key) for key in ("tip", "butt", "edge") if key in values}
    values["name"] = text(values.get("name", name), "name")
    drawing = _drawing_of(table, path.parent)
    taken = {key: value for key, value in values.items() if key not in ("outline", "points")}
    return knife_from(drawing, choices=choices, source=path, **taken)


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
