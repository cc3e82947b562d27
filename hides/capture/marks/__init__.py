"""Coloured marks on a hide: chalk rings, filled areas and lines to flaws.

>>> marks = find(flat, outline, read_legend("shop.legend.toml"))         # doctest: +SKIP
>>> [flaw.kind for flaw in marks.flaws]                                  # doctest: +SKIP
['hole', 'scar']
"""

from hides.capture.marks.finder import UNMARKED, Doubt, Marks, find
from hides.capture.marks.legend import PALETTE, USUAL_LEGEND, Legend, LegendEntry, read_legend

__all__ = [
    "PALETTE",
    "UNMARKED",
    "USUAL_LEGEND",
    "Doubt",
    "Legend",
    "LegendEntry",
    "Marks",
    "find",
    "read_legend",
]
