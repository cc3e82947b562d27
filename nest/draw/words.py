"""Words: how they look, how much room they take, where they break.

Everything is set in one family that comes with matplotlib, so that words measure the same on
every machine and in every format. Type sizes are in points, all else in page millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextPath
from shapely import Polygon

from hides.outline import turned

POINT = 25.4 / 72.0  # mm; the printer's point, the unit of type sizes
FAMILY = "DejaVu Sans"
INK, PAPER = "#2b2622", "#ffffff"  # what words are in unless said, and what they are on


@dataclass(frozen=True, slots=True)
class Type:
    """How words look: ``size`` in points of 1/72 inch, ``halo`` the colour of a rim round them."""

    size: float = 7.0
    colour: str = INK
    bold: bool = False
    italic: bool = False
    halo: str = ""


PLAIN = Type()


@dataclass(frozen=True, slots=True)
class Words:
    """Words that stand on a sheet and the box (page mm) their ink fills."""

    text: str
    box: Polygon


def font_of(style: Type) -> FontProperties:
    """The font for a type, as matplotlib asks for it."""
    return FontProperties(
        family=FAMILY,
        size=style.size,
        weight="bold" if style.bold else "normal",
        style="oblique" if style.italic else "normal",
    )


@lru_cache(maxsize=4096)
def words_size(words: str, style: Type = PLAIN) -> tuple[float, float]:
    """Width of a line of words and height of its ink above the baseline, page mm."""
    if not words.strip():
        return 0.0, 0.0
    drawn = TextPath((0, 0), words.replace("$", r"\$"), prop=font_of(style))
    points = drawn.vertices[drawn.codes != Path.CLOSEPOLY]  # whose own points mean nothing
    width, height = points.max(axis=0) * POINT
    return float(width), float(height)


def words_box(
    place: Sequence[float],
    words: str,
    style: Type,
    *,
    anchor: str = "left",
    angle: float = 0.0,
) -> Polygon:
    """Box (page mm) that words will fill; arguments as those of :meth:`Pen.text`."""
    width, height = words_size(words, style)
    left = {"left": 0.0, "right": -width}.get(anchor, -width / 2)
    low = -height / 2 if anchor == "middle" else 0.0
    corners = [[left, low], [left + width, low], [left + width, low + height], [left, low + height]]
    return Polygon(turned(np.array(corners), angle, *place))


def wrapped(words: str, width: float, style: Type) -> Iterator[str]:
    """Break words into lines no wider than ``width`` page mm (single long words excepted)."""
    line = ""
    for word in words.split():
        longer = f"{line} {word}" if line else word
        if line and words_size(longer, style)[0] > width:
            yield line
            longer = word
        line = longer
    if line:
        yield line
