"""Colours, hatches and named styles: leather and ink. No other module of pages names a colour.

Every colour has a job. What must be told apart is told apart twice: sheaths by colour and
letter, kinds of flaw by a two-letter code and a hatch, so that the page survives a grey
printer and a colour-blind eye. Fills are light enough for ink on top.

Contrast is that of WCAG 2.2 (success criteria 1.4.3 and 1.4.11): words have 4.5 to 1 on paper
and on the thickest tint of leather, lines 3 to 1, and what is drawn over parts 3 to 1 on every
fill. A line on a photo has a rim of paper white and 9 to 1 to that, so that one of the two has
3 to 1 on whatever is behind. Nothing is transparent: its contrast would be anyone's guess.
"""

from __future__ import annotations

from nest.draw.sheet import Style
from nest.draw.words import INK as INK
from nest.draw.words import PAPER as PAPER
from nest.draw.words import Type

# On paper, on leather and over parts
FLAW = "#6e2a1c"
THREAD = "#154c53"  # fold, stitches, marks
# Words and lines, on paper and on leather
FADED = "#574d44"  # secondary words, thin rules
REMNANT = "#264f25"
ALARM = "#8f1a13"
UMBER = "#624416"  # what is only there to find one's way on the leather, and measures
# Lines, on paper and on leather
TAN = "#80683b"  # contours, stretch, zones, doubt
LEAF = "#4c764a"  # the hatch of what is kept
# Lines, on paper only
HAIR = "#877b6b"
# Machines read it
BLACK = "#000000"

# Words stand on these
LEATHER = "#f6ecdc"
THIN, THICK = "#fdf9f1", "#dcc19a"  # the ends of the thickness tints
PATTERN_FILL, KNIFE_FILL, FLOOR = "#fdfaf4", "#ebe6dc", "#eef0f0"
ASH = "#dcd8d2"  # leather that is gone
BAR, BEST_BAR = "#d9c8a8", "#c98b3c"  # words stand beside these

# One per sheath pattern. Any two differ, for normal and for colour-blind eyes, and by 4.5 in
# CIE lightness for a grey printer (tests/nest/draw/test_palette.py).
FILLS = (
    "#a6be68",  # moss
    "#c2eff5",  # ice
    "#c2825e",  # terracotta
    "#d4c6f7",  # lilac
    "#5fa2d9",  # blue
    "#fed493",  # straw
    "#5bb5ca",  # lagoon
    "#90ccc1",  # celadon
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
CONTOUR = Style(edge=TAN, width=0.12)
ZONE_EDGE = Style(edge=TAN, width=0.2, dash=(1.2, 0.8))
DOUBT_LOOK = Style(edge=TAN, width=0.0, hatch="...")
STRETCH = Style(edge=TAN, width=0.25)
PART_EDGE = Style(edge=INK, width=0.28)
FOLD = Style(edge=THREAD, width=0.2, dash=(1.6, 0.9))
MARK = Style(edge=THREAD, width=0.16)
SEAM = Style(fill=THREAD)
BED_BORDER = Style(edge=FADED, width=0.2, dash=(0.6, 0.9))
FRONTIER = Style(edge=REMNANT, width=0.5, dash=(4.0, 1.6))
LEFT_OVER = Style(edge=LEAF, width=0.3, hatch="/")
GONE = Style(fill=ASH, edge=FADED, width=0.2, hatch="\\\\\\")  # cut already
PATTERN = Style(fill=PATTERN_FILL, edge=INK, width=0.3)
KNIFE = Style(fill=KNIFE_FILL, edge=FADED, width=0.2)
MEASURE = Style(edge=UMBER, width=0.15)
LEADER = Style(edge=INK, width=0.16)
LEADER_DOT = Style(fill=INK)


def fill_of(index: int) -> str:
    """Fill of the sheath pattern of that number; from the ninth on they repeat."""
    return FILLS[index % len(FILLS)]
