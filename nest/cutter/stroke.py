"""Stroke: one line that a tool draws without being lifted.

A stroke is what a machine is told to do: the path of the beam, or of a knife's pivot. It is
made from a :class:`~nest.cutter.contour.Contour`, which is what the cut should leave.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import repeat

from hides.outline import FloatArray
from nest.cutter.polyline import Polyline

DOWN, SWIVEL, TOUCH = "down", "swivel", "touch"


@dataclass(frozen=True, eq=False)
class Stroke(Polyline):
    """One line drawn with the tool down from its first point to its last.

    Attributes
    ----------
    heights : for each segment "down", "swivel" (a knife turns in place, almost lifted) or "touch"
        (it turns with its tip barely in the leather, before it is lowered); None where the tool
        stays down.
    passes : how often it is drawn, one over the other; a count.
    """

    heights: tuple[str, ...] | None = None
    passes: int = 1

    def moves(self) -> Iterator[tuple[FloatArray, FloatArray, float, str]]:
        """From (mm), to (mm), bulge (a ratio) and height of each segment, the closing one too."""
        for segment, height in zip(self.segments(), self.heights or repeat(DOWN), strict=False):
            yield *segment, height


def along(line: Polyline, passes: int = 1) -> Stroke:
    """The tool's middle along a line as it is; ``passes`` counts how often."""
    return Stroke(
        line.points, line.closed, line.work, line.part, line.bulges, line.what, passes=passes
    )
