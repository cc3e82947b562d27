"""A program as an SVG drawing: the bed is the page, one user unit is one millimetre.

Width and height are in mm and the viewBox has the same numbers, so no program has to guess a
resolution. Each operation is a group that editors show as a layer, with one pure colour; marks
come first, then holes, then cuts, each in the order of the strokes, and last the parts' names,
which are not cut. Paths are absolute, without transforms; y is turned downwards here and nowhere
else.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from hides.outline import FloatArray
from nest.cutter.contour import Label
from nest.cutter.formats.lines import (
    LAYERS,
    NAMES_LAYER,
    NOT_CUT,
    STRAIGHT,
    Layer,
    drawn,
    named,
    title,
)
from nest.cutter.polyline import arc_centre
from nest.cutter.program import Program
from nest.cutter.stroke import Stroke

DIGITS = 4
HAIRLINE = 0.1  # mm, width of a line: it can be seen, and is no wider than a beam

_HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg"
  xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape"
  width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" version="1.1">
<title>{title}</title>
<desc>{about}</desc>
"""
_GROUP = '<g id="{name}" inkscape:groupmode="layer" inkscape:label="{name}" {style}>\n'


def text(program: Program) -> str:
    """Return the file."""
    width, height = program.machine.bed
    more = [NOT_CUT] if program.labels else []
    about = "\n".join((f"digest {program.digest}", *program.cautions, *more))
    head = _HEAD.format(w=f"{width:g}", h=f"{height:g}", title=escape(title(program)),
                        about=escape(about))  # fmt: skip
    strokes = drawn(program)
    groups = (
        _group(layer, [_path(stroke, height) for stroke in strokes if stroke.work == work])
        for work, layer in LAYERS.items()
    )
    names = _group(NAMES_LAYER, [_words(label, height) for label in named(program)])
    return head + "".join(groups) + names + "</svg>\n"


def _group(layer: Layer, rows: list[str]) -> str:
    if not rows:
        return ""
    style = f'fill="none" stroke="{layer.colour}" stroke-width="{HAIRLINE}" stroke-linejoin="round"'
    return _GROUP.format(name=layer.name, style=style) + "".join(rows) + "</g>\n"


def _words(label: Label, height: float) -> str:
    """A name as a text, not filled, since laser software engraves what is filled."""
    x, y = _pair(np.array([label.x, label.y]), height).split(",")
    # a third of the letters' height below the middle of the line
    place = f'x="{x}" y="{y}" dy="0.35em" transform="rotate({-label.angle:.2f} {x} {y})"'
    style = f'font-family="sans-serif" font-size="{label.height:.2f}" text-anchor="middle"'
    return f"<text {place} {style}>{escape(label.text)}</text>\n"


def _path(stroke: Stroke, height: float) -> str:
    steps = [f"M{_pair(stroke.points[0], height)}"]
    for first, last, bulge in stroke.segments():
        steps += _steps(first, last, bulge, height)
    end = ["Z"] if stroke.closed else []
    data = " ".join(_lean(steps + end))
    return f"<path d={quoteattr(data)}/>\n"


def _steps(first: FloatArray, last: FloatArray, bulge: float, height: float) -> Iterator[str]:
    """A line, or an arc as quarters of a circle at most.

    SVG gives an arc's ends and radius, and leaves the centre to the reader: near half a circle
    the last digit of an end would shift it by hundredths of a millimetre.
    """
    if abs(bulge) < STRAIGHT:
        yield f"L{_pair(last, height)}"
        return
    centre, radius = arc_centre(first, last, bulge)
    sweep = 4 * np.arctan(bulge)
    count = int(np.ceil(abs(sweep) / (np.pi / 2) - 1e-9))
    x, y = first - centre
    size = f"{radius:.{DIGITS + 2}f}"
    for k in range(1, count + 1):
        c, s = np.cos(sweep * k / count), np.sin(sweep * k / count)
        end = last if k == count else centre + np.array([x * c - y * s, x * s + y * c])
        # with y downwards a counter-clockwise arc goes against the sweep
        yield f"A{size},{size} 0 0 {int(bulge < 0)} {_pair(end, height)}"


def _lean(steps: list[str]) -> Iterator[str]:
    """Leave out a straight closing step: Z draws it."""
    drop = len(steps) - 2 if steps[-1] == "Z" and steps[-2].startswith("L") else None
    return (step for i, step in enumerate(steps) if i != drop)


def _pair(point: FloatArray, height: float) -> str:
    x, y = np.round([point[0], height - point[1]], DIGITS) + 0.0
    return f"{x:.{DIGITS}f},{y:.{DIGITS}f}"
