"""Whole: the piece of leather that a remnant was cut from, as far as the remnant's leather asks.

Where a side thins, and which way it stretches least, is told by regions that are scaled to the
whole side and counted from its tail and its backbone. What is cut off it keeps them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Whole:
    """A piece of leather before anything was cut off it, in the frame of what was.

    Attributes
    ----------
    piece : one of :data:`hides.stretch.PIECES`.
    tail, back : x in mm where it began, and y in mm of its backbone.
    length, depth : mm; depth is area over length.
    right : the animal's right side, whose belly lies below the backbone.
    """

    piece: str
    tail: float
    back: float
    length: float
    depth: float
    right: bool = False

    @property
    def around(self) -> tuple[float, float, float, float]:
        """A box (min x, min y, max x, max y) in mm that surely holds it: legs reach far."""
        reach = 3 * self.depth
        return self.tail, self.back - reach, self.tail + self.length, self.back + reach

    def moved(self, x: float, y: float) -> Whole:
        """The same piece, its frame's origin moved by (x, y) mm."""
        return replace(self, tail=self.tail + x, back=self.back + y)
