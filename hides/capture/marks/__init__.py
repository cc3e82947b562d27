"""Coloured marks on a hide: chalk rings, filled areas and lines to flaws.

>>> marks = find(flat, outline, read_legend("shop.legend.toml"))         # doctest: +SKIP
>>> [flaw.kind for flaw in marks.flaws]                                  # doctest: +SKIP
['hole', 'scar']
"""

from hides.capture.marks.finder import Doubt, Marks, find
from hides.capture.marks.legend import PALETTE, USUAL, Entry, Legend, read_legend

__all__ = [
    "PALETTE",
    "USUAL",
    "Doubt",
    "Entry",
    "Legend",
    "Marks",
    "find",
    "read_legend",
]
