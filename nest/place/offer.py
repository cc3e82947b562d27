"""What hides offer to kits, in numbers: areas of ground, costs, and what did not fit.

:mod:`nest.place.assign` reads it, :mod:`nest.place.bins` writes it.
"""

from __future__ import annotations

from dataclasses import dataclass

Counts = tuple[int, ...]  # how many kits of each kind
Goal = tuple[int, ...]  # what one kit of each kind is worth


@dataclass(frozen=True, slots=True)
class Row:
    """A limit of a hide: one kit of each kind takes ``wants``, and it ``has`` so much, in mm²."""

    wants: tuple[float, ...]
    has: float


@dataclass(frozen=True, slots=True)
class Offer:
    """What a hide offers to kits of several kinds.

    Attributes
    ----------
    rows : areas of ground, of which no more than the share ``density`` can be filled.
    costs : of the leather that one kit of each kind takes, in money or mm².
    charge : of cutting into the hide at all, in the same.
    refused : counts that did not fit here, so that no more than these do either.
    least, most : limits to the counts, for kits with a place of their own; none by default.
    """

    rows: tuple[Row, ...]
    costs: tuple[float, ...]
    charge: float
    density: float = 1.0
    refused: tuple[Counts, ...] = ()
    least: Counts | None = None
    most: Counts | None = None
