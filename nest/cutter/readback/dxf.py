"""Reading a DXF drawing by its group codes (AutoCAD DXF reference), without a DXF library.

A DXF file is pairs of lines: a group code and its value. Only what a cutter must understand is
known here: the units and extents in the header, the layers' table, LWPOLYLINE, POLYLINE with
its VERTEX and SEQEND, and TEXT on the layer that is not cut. Anything else is a fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from nest.cutter.machine import Machine
from nest.cutter.readback.found import Fault, Line, Read, Word, bent, line_of

WORKS = {"MARK": "mark", "HOLES": "hole", "CUT": "cut"}  # layer -> what is done there
NAMES_LAYER = "LABELS"  # the layer that is not cut
Group = tuple[int, str]
Entity = tuple[str, list[Group]]


def read(data: bytes, _: Machine) -> Read:
    """Read a drawing; it is the same whatever machine it is for."""
    try:
        groups = list(_pairs(data.decode("ascii")))
        header = _header(groups)
        drawn = _split(_section(groups, "ENTITIES"))
        lines, odd = _lines(drawn)
        told = (*_ended(groups), *_units(header), *_strangers(groups, drawn))
        faults = (*told, *odd, *_extents(header, lines))
        words = tuple(_word(values) for kind, values in drawn if _is_name(kind, values))
    except (ValueError, LookupError) as error:
        says = f"this is no DXF of plain pairs of lines: {error}"
        return Read((), np.empty((0, 2)), (Fault("file", says),))
    return Read(tuple(lines), np.empty((0, 2)), faults, words)


def _ended(groups: Sequence[Group]) -> Iterator[Fault]:
    if not groups or groups[-1] != (0, "EOF"):
        yield Fault("file", "the file does not end with EOF: it was cut off.")


def _pairs(data: str) -> Iterator[Group]:
    rows = data.replace("\r\n", "\n").removesuffix("\n").split("\n")
    if len(rows) % 2:
        raise ValueError(f"line {len(rows)} has a code and no value")
    for i in range(0, len(rows), 2):
        try:
            code = int(rows[i])
        except ValueError:
            raise ValueError(f"line {i + 1}, '{rows[i][:20]}', is no group code") from None
        if code != 999:  # a comment
            yield code, rows[i + 1].strip()


def _section(groups: Sequence[Group], name: str) -> list[Group]:
    """The groups between SECTION name and ENDSEC."""
    for i, (first, second) in enumerate(pairwise(groups)):
        if first == (0, "SECTION") and second == (2, name):
            rest = groups[i + 2 :]
            end = rest.index((0, "ENDSEC")) if (0, "ENDSEC") in rest else len(rest)
            return list(rest[:end])
    return []


def _split(groups: Sequence[Group]) -> list[Entity]:
    """Groups cut into entities: each starts with code 0."""
    found: list[Entity] = []
    for code, value in groups:
        if code == 0:
            found.append((value, []))
        elif found:
            found[-1][1].append((code, value))
    return found


def _strangers(groups: Sequence[Group], drawn: Sequence[Entity]) -> Iterator[Fault]:
    """Layers that are drawn on and not in the layers' table."""
    tables = _split(_section(groups, "TABLES"))
    known = {_get(values, 2) for kind, values in tables if kind == "LAYER"}
    used = {_get(values, 8) for kind, values in drawn if kind.endswith(("POLYLINE", "TEXT"))}
    for name in sorted(used - known):
        yield Fault("layer", f"layer {name} is not declared.")


def _header(groups: Sequence[Group]) -> dict[str, list[Group]]:
    found: dict[str, list[Group]] = {}
    name = ""
    for code, value in _section(groups, "HEADER"):
        if code == 9:
            name = value
            found[name] = []
        elif name:
            found[name].append((code, value))
    return found


def _units(header: dict[str, list[Group]]) -> list[Fault]:
    """DXF reference: $INSUNITS 4 is mm; $MEASUREMENT 1 is metric."""
    found = []
    for name, right in (("$INSUNITS", "4"), ("$MEASUREMENT", "1")):
        value = header[name][0][1] if header.get(name) else None
        if value != right:
            told = "is missing" if value is None else f"is {value}"
            found.append(Fault("units", f"{name} {told}; for millimetres it must be {right}."))
    return found


def _lines(drawn: Sequence[Entity]) -> tuple[list[Line], list[Fault]]:
    lines: list[Line] = []
    odd: list[Fault] = []
    rest = iter(drawn)
    for kind, values in rest:
        try:
            if kind == "LWPOLYLINE":
                lines.append(_line(values, _light(values), len(lines)))
            elif kind == "POLYLINE":
                lines.append(_line(values, _heavy(rest), len(lines)))
            elif not _is_name(kind, values):
                says = f"the drawing holds a {kind} on {_get(values, 8)}, which is no polyline."
                odd.append(Fault("extra", says))
        except ValueError as error:
            odd.append(Fault("file", f"polyline {len(lines) + 1}: {error}."))
    return lines, odd


def _is_name(kind: str, values: list[Group]) -> bool:
    return kind == "TEXT" and _get(values, 8) == NAMES_LAYER


def _word(values: list[Group]) -> Word:
    """A text by its middle: of an aligned one the second point counts (groups 11, 21)."""
    return Word(_get(values, 1), float(_get(values, 11)), float(_get(values, 21)))


def _line(values: list[Group], rows: list[tuple[complex, float]], index: int) -> Line:
    """Rows are points with the bulge of the segment that leaves them."""
    if not rows:
        raise ValueError("it has no points")
    closed = bool(int(_get(values, 70) or 0) & 1)
    layer = _get(values, 8)
    points = [rows[0][0]]
    for (first, bulge), (last, _) in pairwise([*rows, rows[0]] if closed else rows):
        points += bent(first, last, bulge)
    return line_of(points, closed, WORKS.get(layer, ""), f"polyline {index + 1} on {layer}")


def _light(values: list[Group]) -> list[tuple[complex, float]]:
    rows: list[tuple[complex, float]] = []
    for code, value in values:
        if code == 10:
            rows.append((complex(float(value), 0), 0.0))
        elif code == 20:
            rows[-1] = (complex(rows[-1][0].real, float(value)), 0.0)
        elif code == 42:
            rows[-1] = (rows[-1][0], float(value))
    told = int(_get(values, 90) or -1)
    if told != len(rows):
        raise ValueError(f"it tells of {told} points and has {len(rows)}")
    return rows


def _heavy(rest: Iterator[Entity]) -> list[tuple[complex, float]]:
    rows: list[tuple[complex, float]] = []
    for kind, values in rest:
        if kind == "SEQEND":
            return rows
        if kind != "VERTEX":
            break
        x, y, bulge = (float(_get(values, code) or 0) for code in (10, 20, 42))
        rows.append((complex(x, y), bulge))
    raise ValueError("its SEQEND is missing")


def _get(values: list[Group], code: int) -> str:
    return next((value for found, value in values if found == code), "")


def _extents(header: dict[str, list[Group]], lines: Sequence[Line]) -> list[Fault]:
    if not lines:
        return []
    points = np.vstack([line.points for line in lines])
    found = []
    for name, wanted in (("$EXTMIN", points.min(0)), ("$EXTMAX", points.max(0))):
        told = [float(value) for code, value in header.get(name, []) if code in (10, 20)]
        if len(told) != 2 or np.abs(np.array(told) - wanted).max() > 0.05:
            says = f"{name} is {told}; what is drawn reaches to {wanted.round(3).tolist()}."
            found.append(Fault("extents", says))
    return found
