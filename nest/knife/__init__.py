"""The knife: its file, its outline laid out straight, and the maker's choices for its sheath.

A knife file ``NAME.knife.toml`` names a drawing (or lists points), a length and how the
knife lies in the drawing. What the file leaves out is guessed from the shape where the
shape tells, and every guess is kept in words; where it doesn't tell, the reader asks.

The knife's own frame: u runs from the butt (0) to the tip (length) along x, v from the back
to the edge along y, and the back's highest point has v = 0. Millimetres throughout.

>>> knife = read("heron.knife.toml")                                  # doctest: +SKIP
>>> knife.name, knife.length, knife.guard                             # doctest: +SKIP
('Heron', 232.0, 118.0)
"""

from nest.knife.choices import CHOICE_KEYS, HANDS, LOOPS, OLD_KEYS, Choices, pitch_of
from nest.knife.file import KnifeKeys, read
from nest.knife.model import Knife, Profile, profile_of
from nest.knife.straighten import knife_from

__all__ = [
    "CHOICE_KEYS",
    "HANDS",
    "LOOPS",
    "OLD_KEYS",
    "Choices",
    "Knife",
    "KnifeKeys",
    "Profile",
    "knife_from",
    "pitch_of",
    "profile_of",
    "read",
]
