"""Colours, hatches and named styles: leather and ink.

Every colour has a job. What must be told apart is told apart twice: sheaths by colour and
letter, kinds of flaw by a two-letter code and a hatch, so that the page survives a grey
printer and a colour-blind eye. Fills are light enough for ink on top.
"""

from __future__ import annotations

from nest.draw.sheet import Style
from nest.draw.words import Type

INK = "#2b2622"
FADED = "#6d6359"  # secondary words, thin rules
HAIR = "#b9ab98"
PAPER = "#ffffff"
LEATHER = "#f6ecdc"
THIN, THICK = "#fdf9f1", "#dcc19a"  # the ends of the thickness tints
FLAW = "#8a2f1f"
THREAD = "#1f5f66"  # fold, stitches, marks
REMNANT = "#3f6f3d"
ALARM = "#a3231a"

# One per sheath pattern. Any two differ, for normal and for colour-blind eyes (tests/nest).
FILLS = (
    "#cdaa4f",  # ochre
    "#64a5dc",  # blue
    "#d1e69b",  # young leaf
    "#c7805b",  # terracotta
    "#8fdff2",  # ice
    "#a898ba",  # heather
    "#a1d4c9",  # celadon
    "#789f8b",  # fern
)

# Faces of a part that a flaw bars -> hatch: the fewer, the lighter.
HATCHES = {
    frozenset({"front", "back", "hidden", "strap"}): "xxxxxx",
    frozenset({"front", "back", "strap"}): "//////",
    frozenset({"front", "strap"}): "------",
    frozenset({"front"}): "....",
    frozenset[str](): "",
}
OTHER_HATCH = "++++++"

TITLE = Type(15.0, bold=True)
HEAD = Type(8.5, bold=True)
BODY = Type(7.0)
STRONG = Type(7.0, bold=True)
NOTE = Type(5.6, FADED)
SMALL = Type(5.0, FADED)

HIDE_FILL = Style(fill=LEATHER)
HIDE_EDGE = Style(edge=INK, width=0.45)
RULE = Style(edge=HAIR, width=0.2)
BACKBONE = Style(edge=INK, width=0.3, dash=(2.4, 0.8, 0.5, 0.8))
CONTOUR = Style(edge="#b39a73", width=0.15)
ZONE_EDGE = Style(edge="#8d7448", width=0.2, dash=(1.2, 0.8))
DOUBT_LOOK = Style(edge="#9a7f55", width=0.0, hatch="...")
STRETCH = Style(edge="#a58c63", width=0.22)
PART_EDGE = Style(edge=INK, width=0.28)
FOLD = Style(edge=THREAD, width=0.2, dash=(1.6, 0.9))
MARK = Style(edge=THREAD, width=0.16)
SEAM = Style(fill=THREAD)
BED_BORDER = Style(edge=FADED, width=0.2, dash=(0.6, 0.9))
FRONTIER = Style(edge=REMNANT, width=0.5, dash=(4.0, 1.6))
LEFT_OVER = Style(edge=REMNANT, width=0.3, hatch="//", alpha=0.35)
PATTERN = Style(fill="#fdfaf4", edge=INK, width=0.3)
KNIFE = Style(fill="#ebe6dc", edge=FADED, width=0.2)
MEASURE = Style(edge="#8a5a2b", width=0.15)
LEADER = Style(edge=INK, width=0.16)
LEADER_DOT = Style(fill=INK)


def fill_of(index: int) -> str:
    """Fill of the sheath pattern of that number; from the ninth on they repeat."""
    return FILLS[index % len(FILLS)]
