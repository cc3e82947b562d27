"""Reading an SVG drawing with svgelements, and its page with the XML parser.

Sizes are worked out as CSS does: 96 px to the inch, unless width, height and viewBox say that a
user unit is something else (SVG 2, coordinate systems).
"""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator

import numpy as np
import svgelements

from nest.cutter.machine import Machine
from nest.cutter.readback.found import Fault, Line, Read, Word, line_of, swung

WORKS = {"#00ff00": "mark", "#0000ff": "hole", "#ff0000": "cut"}  # colour -> what is done there
NAMES_COLOUR = "#000000"  # the colour that is not cut
PX = 96 / 25.4  # in a mm (CSS)
_SVG = "{http://www.w3.org/2000/svg}"
_LENGTH = re.compile(r"([\d.]+)(mm|cm|in|px|)$")
# what the parsers raise where a drawing is damaged; svgelements has no error of its own
_BROKEN = (
    ElementTree.ParseError, ValueError, TypeError, AttributeError, LookupError, ArithmeticError,
)  # fmt: skip
_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "px": 1 / PX, "": 1 / PX}


def read(data: bytes, _: Machine) -> Read:
    """Read a drawing; it is the same whatever machine it is for."""
    none = np.empty((0, 2))
    try:
        root = ElementTree.fromstring(data)
        drawing = svgelements.SVG.parse(io.BytesIO(data), ppi=96)
        height = drawing.height / PX
        lines = tuple(_lines(drawing, height))
        words, odd = _words(root, height)
    except _BROKEN as error:
        return Read((), none, (Fault("file", f"this is no SVG that can be read: {error}"),))
    return Read(lines, none, (*_page(root), *odd), words)


def _page(root: ElementTree.Element) -> Iterator[Fault]:
    """One user unit must be one millimetre, and told so that nobody has to guess."""
    sides = [_LENGTH.match(root.get(key, "")) for key in ("width", "height")]
    box = [float(value) for value in root.get("viewBox", "").replace(",", " ").split()]
    if not all(sides) or any(side and side[2] != "mm" for side in sides):
        given = f"{root.get('width')} x {root.get('height')}"
        yield Fault("units", f"the page is {given}, which is not told in mm.")
    if len(box) != 4:
        yield Fault("units", "there is no viewBox, so programs guess how large a unit is.")
        return
    sizes = [float(side[1]) * _MM[side[2]] if side else 0.0 for side in sides]
    if not np.allclose(box, [0, 0, *sizes], atol=1e-6):
        says = f"the viewBox {box} is not the page of {sizes} mm: a unit is no millimetre."
        yield Fault("units", says)


def _words(root: ElementTree.Element, height: float) -> tuple[tuple[Word, ...], list[Fault]]:
    """The texts of groups in the colour that is not cut; any other is a fault."""
    words, odd = [], []
    for group in root.iter(f"{_SVG}g"):
        for text in group.findall(f"{_SVG}text"):
            said = "".join(text.itertext())
            words.append(Word(said, float(text.get("x", "")), height - float(text.get("y", ""))))
            if (group.get("stroke"), group.get("fill")) != (NAMES_COLOUR, "none"):
                odd.append(Fault("label", f"'{said[:40]}' is drawn in {group.get('stroke')}."))
    if len(words) < sum(1 for _ in root.iter(f"{_SVG}text")):
        odd.append(Fault("label", "a text stands in no group."))
    return tuple(words), odd


def _lines(drawing: svgelements.SVG, height: float) -> Iterator[Line]:
    for element in drawing.elements():
        if not isinstance(element, svgelements.Shape) or element.stroke.value is None:
            continue
        work = WORKS.get(element.stroke.hex, "")
        for number, run in enumerate(abs(svgelements.Path(element)).as_subpaths()):
            points, closed = _points(svgelements.Path(run))
            upright = [complex(p.real / PX, height - p.imag / PX) for p in points]
            where = f"path {number + 1} in {element.stroke.hex}"
            yield line_of(upright, closed, work, where)


def _points(path: svgelements.Path) -> tuple[list[complex], bool]:
    points: list[complex] = []
    closed = False
    for segment in path:
        end = complex(segment.end)
        if isinstance(segment, svgelements.Arc):
            angle = float(segment.sweep)
            # an arc's chords are reckoned in mm
            inner = swung(points[-1] / PX, complex(segment.center) / PX, angle)
            points += [point * PX for point in inner]
        elif isinstance(segment, svgelements.Close):
            closed = True
        elif not isinstance(segment, svgelements.Move | svgelements.Line):
            raise ValueError(f"a {type(segment).__name__} is no line and no arc")
        points.append(end)
    return points, closed
