"""GeoJSON files (RFC 7946) as this project reads and writes them: strictly, and whole.

A :class:`Node` is a value in a file that knows where it stands, so that whatever is wrong
with it is told with its place: ``features[12] (flaw).width``. Numbering starts at 0, as in
the file's own lists.

>>> top = Node({"price": {"amount": 9.5}})
>>> top.get("price").get("amount").number(low=0)
9.5
>>> top.get("price").get("per").text()
Traceback (most recent call last):
    ...
hides.errors.InputError: price: 'per' is missing.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import Polygon
from shapely.validation import explain_validity

from hides.errors import InputError, placed
from hides.files import read_whole
from hides.outline import SAME_POINT, FloatArray, Outline
from hides.syntax import json_error

LARGEST_FILE = 20_000_000  # bytes; a hide traced by hand takes 20 kB
FARTHEST_POINT = 100_000.0  # mm; no hide is 100 m long


@dataclass(frozen=True, slots=True)
class Node:
    """A value in a file, with the place where it stands. Each method raises InputError."""

    value: object
    place: str = ""

    def wrong(self, wanted: str, mend: str = "") -> InputError:
        """Return the error that this value is not what was wanted."""
        met = json.dumps(self.value, ensure_ascii=False)
        met = met if len(met) <= 60 else met[:57] + "..."
        return InputError(f"must be {wanted}, got {met}.", mend=mend, place=self.place)

    def maybe(self, key: str) -> Node | None:
        """The member of that name, or None where it is absent or null."""
        if not isinstance(self.value, dict):
            raise self.wrong("an object")
        if self.value.get(key) is None:
            return None
        return Node(self.value[key], f"{self.place}.{key}" if self.place else key)

    def get(self, key: str, mend: str = "") -> Node:
        """The member of that name."""
        found = self.maybe(key)
        if found is None:
            raise InputError(f"'{key}' is missing.", mend=mend, place=self.place)
        return found

    def items(self) -> list[Node]:
        """The entries of a list."""
        if not isinstance(self.value, list):
            raise self.wrong("a list")
        return [Node(value, f"{self.place}[{at}]") for at, value in enumerate(self.value)]

    def text(self, *choices: str) -> str:
        """A text, one of the choices if there are any."""
        if not isinstance(self.value, str):
            raise self.wrong("a text")
        if not self.value.isprintable():  # a line break or the like would spoil every drawing
            raise self.wrong("a text without line breaks or control characters")
        if choices and self.value not in choices:
            raise self.wrong("one of " + ", ".join(choices))
        return self.value

    def truth(self) -> bool:
        """True or false."""
        if not isinstance(self.value, bool):
            raise self.wrong("true or false")
        return self.value

    def number(self, low: float = -FARTHEST_POINT, high: float = FARTHEST_POINT) -> float:
        """A finite number from ``low`` to ``high``."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.wrong("a number")
        if not low <= self.value <= high:
            raise self.wrong(f"a number from {low:g} to {high:g}")
        return float(self.value)

    def points(self, least: int = 1) -> FloatArray:
        """A list of at least that many number pairs; (n, 2), read-only."""
        rows = [[number.number() for number in pair.items()] for pair in self.items()]
        uneven = [at for at, row in enumerate(rows) if len(row) != 2]
        if uneven:
            raise Node(rows[uneven[0]], f"{self.place}[{uneven[0]}]").wrong("two numbers, x and y")
        if len(rows) < least:
            raise InputError(f"needs {least} points or more, got {len(rows)}.", place=self.place)
        return _frozen(np.array(rows, dtype=np.float64))

    def line(self) -> FloatArray:
        """A LineString's coordinates without repeated points; (n, 2) mm, n >= 2, read-only."""
        points = self.points(least=2)
        moved = np.hypot(*np.diff(points, axis=0).T) > SAME_POINT
        if not moved.any():
            raise InputError("the line has no length.", place=self.place)
        return _frozen(points[np.concatenate([[True], moved])])

    def rings(self) -> tuple[Outline, ...]:
        """A Polygon's coordinates: the outer ring, then its holes, each in normal form."""
        found = tuple(ring._ring() for ring in self.items())
        if not found:
            raise InputError("the polygon has no ring.", place=self.place)
        shape = polygon_of(found)
        if not shape.is_valid:
            raise InputError(
                f"its holes cross its edge or each other ({explain_validity(shape)}).",
                mend="Draw each hole apart from the others, wholly inside.",
                place=self.place,
            )
        return found

    def _ring(self) -> Outline:
        points = self.points(least=4)
        if not np.array_equal(points[0], points[-1]):
            raise InputError(
                "the ring is open: its last point is not its first.",
                mend="Repeat the first point at the end.",
                place=self.place,
            )
        with placed(place=self.place):
            return Outline.of(points)

    def check_names(self, known: Iterable[str]) -> None:
        """Refuse a member that is all but one of the known names; other members may be there."""
        for name in self.value if isinstance(self.value, dict) else ():
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.8)
            if near and near[0] != name:
                raise InputError(
                    f"'{name}' is no known name.", mend=f"Write '{near[0]}'.", place=self.place
                )


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature: what it stands for, its kind of geometry, its contents, and its place."""

    role: str
    type: str
    coordinates: Node
    properties: Node
    place: str


def load(path: Path) -> bytes:
    """Read a file of at most :data:`LARGEST_FILE` bytes.

    Raises
    ------
    InputError : there is no such file, or it can't be read, or it is too large.
    """
    return read_whole(path, LARGEST_FILE)


def parse(data: bytes) -> Node:
    """Read JSON text.

    Raises
    ------
    InputError : no text, no JSON, or a name given twice in one object. NaN, which is no JSON
        but which many programs write, is refused by :meth:`Node.number`, with its place.
    """
    try:
        text = data.decode("utf-8-sig")
        return Node(json.loads(text, object_pairs_hook=_once))
    except UnicodeDecodeError:
        raise InputError("the file is not text in UTF-8.", mend="Is it the right file?") from None
    except json.JSONDecodeError as error:
        raise json_error(text, error) from None
    except RecursionError:
        raise InputError("lists are nested too deeply.", mend="Is it the right file?") from None
    except ValueError as error:  # a whole number of thousands of digits
        raise InputError(f"a number can't be read ({error}).") from None


def collection(top: Node, kind: str, version: int) -> Iterator[Feature]:
    """Check that this is a FeatureCollection of ours of that kind; return its features.

    Raises
    ------
    InputError : it is something else, of another version, or a feature is malformed.
    """
    if not isinstance(top.value, dict) or top.value.get("type") != "FeatureCollection":
        raise InputError("this is no GeoJSON FeatureCollection.", mend="Is it the right file?")
    about = top.get("croupon", mend=f'Write "croupon": {{"kind": "{kind}", "version": {version}}}.')
    if about.get("kind").text() != kind:
        raise about.get("kind").wrong(f'"{kind}"', mend="Is it the right file?")
    if about.get("version").value != version:
        raise about.get("version").wrong(f"{version}", mend="It was made for another edition.")
    return (_feature(node) for node in top.get("features").items())


def _feature(node: Node) -> Feature:
    node.get("type").text("Feature")
    properties = node.get("properties")
    role = properties.get("role").text()
    place = f"{node.place} ({role})"
    geometry = Node(node.get("geometry").value, place)
    return Feature(
        role,
        geometry.get("type").text(),
        Node(geometry.get("coordinates").value, f"{place}.coordinates"),
        Node(properties.value, place),
        place,
    )


def feature(role: str, type_: str, coordinates: object, **properties: object) -> dict[str, object]:
    """Make a feature for :func:`write`; properties that are None or empty are left out."""
    told = {name: value for name, value in properties.items() if value not in (None, "")}
    return {
        "type": "Feature",
        "properties": {"role": role, **told},
        "geometry": {"type": type_, "coordinates": coordinates},
    }


def polygon_of(rings: Sequence[Outline]) -> Polygon:
    """The shape of an outer ring and its holes."""
    outer, *holes = rings
    return Polygon(outer.points, [hole.points for hole in holes])


def rings_of(polygon: Polygon) -> list[list[list[float]]]:
    """Coordinates of a Polygon as RFC 7946 wants them: outer ccw, holes cw, closed; mm."""
    outer = Outline.of(polygon.exterior.coords).points
    holes = [Outline.of(ring.coords).points[::-1] for ring in polygon.interiors]
    return [np.vstack([ring, ring[:1]]).tolist() for ring in (outer, *holes)]


def text_of(members: Mapping[str, object], features: Iterable[Mapping[str, object]]) -> str:
    """Return a FeatureCollection's text, one line to each member and feature."""
    told = {"type": "FeatureCollection", **members}
    head = [f"{_line(name)}: {_line(value)}" for name, value in told.items()]
    body = ",\n".join(_line(row) for row in features)
    return "{\n" + ",\n".join([*head, f'"features": [\n{body}\n]']) + "\n}\n"


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """Refuse what RFC 8259 only advises against: one name twice in an object."""
    found: dict[str, object] = {}
    for name, value in pairs:
        if name in found:
            raise InputError(f"'{name}' stands twice in one object.", mend="Keep one of them.")
        found[name] = value
    return found


def _frozen(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array
