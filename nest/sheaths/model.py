"""Sheath: the parts of one sheath with everything that is printed beside them."""

from __future__ import annotations

from dataclasses import dataclass

from hides.outline import FloatArray
from nest.knife import Choices
from nest.part import XY, Part


@dataclass(frozen=True, slots=True)
class Station:
    """The fit at one place of the knife; mm.

    Attributes
    ----------
    u : from the butt, in the knife's own frame.
    x : along the fold, in the body's frame (the fold itself lies at y = :attr:`Sheath.fold`).
    where : ``handle`` or ``blade``.
    needed : leather from the middle of the fold to the welt's inner edge, by girth.
    available : what the pattern gives there.
    slack : the difference, square to the inner line.
    verdict : ``won't close`` (slack under -1), ``snug`` (to 1), ``easy`` (to 3), ``loose``.
    off : from the fold to the knife's back.
    standing : empty where the back lies at the fold, ``off`` (over 3), ``far off`` (over 8).
    """

    u: float
    x: float
    where: str
    needed: float
    available: float
    slack: float
    verdict: str
    off: float
    standing: str


@dataclass(frozen=True, slots=True)
class Dimension:
    """A measure to be drawn on a part: from ``p`` to ``q`` in the part's frame, ``value`` mm."""

    part: str
    label: str
    p: XY
    q: XY
    value: float


@dataclass(frozen=True, slots=True)
class Retention:
    """What keeps the knife in its sheath; mm.

    Attributes
    ----------
    give : how much each half of the throat has to give, along the leather from fold to welt,
        when the widest section that lies deeper is drawn out; below 0 that much is to spare.
    at : of that section, from the butt; None where no handle lies in the sheath.
    word : ``none`` (give under 0.3), ``little`` (under 0.8) or ``firm``.
    """

    give: float
    at: float | None
    word: str


@dataclass(frozen=True, slots=True)
class Facts:
    """What a maker wants to know before starting. Lengths in mm, areas in mm².

    Attributes
    ----------
    fold_allowance : fold to knife's back; ``fold_rule`` is the rule of thumb for it, the
        leather's thickness and a little (0.6 mm; common practice, no published source).
    stitches, seam : of the edge seam, through body, welt and body.
    loop_stitches, loop_seam : of all pads, through body and loop.
    thread, loop_thread : for each seam by the formula, tails and backstitches counted in.
    thread_rule : 7 and 8 times the edge seam, the rule of thumb for a welted sheath.
    thread_diameter, needles : for the pitch; a saddle stitch takes two needles.
    pitches : (least, greatest) pitch of the edge seam's runs.
    retention : what keeps the knife in.
    welt_longer : by how much the seam is longer along the welt when the sheath is closed than
        flat; below 0 it is shorter.
    welt_trim : how far the welt stands out of the throat.
    areas : net area of each kind of part.
    """

    fold_allowance: float
    fold_rule: float
    stitches: int
    seam: float
    loop_stitches: int
    loop_seam: float
    thread: float
    loop_thread: float
    thread_rule: tuple[float, float]
    thread_diameter: float
    needles: int
    pitches: tuple[float, float]
    retention: Retention
    welt_longer: float
    welt_trim: float
    areas: dict[str, float]


@dataclass(frozen=True)
class Sheath:
    """One sheath, ready to be drawn, cut and sewn; mm.

    Attributes
    ----------
    name : the knife's.
    hand : right or left hip.
    parts : body, welt and, if it is a strip of its own, loop.
    stations : the fit from throat to tip.
    facts, warnings : figures, and what the maker should know.
    dimensions : measures for the drawing.
    fold : y of the fold in the body's frame.
    knife : (n, 2) the knife's outline lying on the body's back half, in the body's frame.
    choices : what it was made for.
    guesses : what the knife's file leaves out and its shape tells, in sentences.
    assumed : keys of the knife's file whose figures were guessed, and can spoil leather.
    edge_side : which side of the knife's drawing is taken for the edge, and who says so.
    """

    name: str
    hand: str
    parts: tuple[Part, ...]
    stations: tuple[Station, ...]
    facts: Facts
    warnings: tuple[str, ...]
    dimensions: tuple[Dimension, ...]
    fold: float
    knife: FloatArray
    choices: Choices
    guesses: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    edge_side: str = ""

    @property
    def caution(self) -> str:
        """What can hurt someone or spoil leather, in one sentence for a page of many sheaths; empty
        where nothing can.
        """
        said = []
        if self.facts.retention.word == "none":
            said.append("nothing but friction keeps the knife in, so sew on a strap")
        if self.assumed:
            said.append(f"guessed, so measure before you cut: {', '.join(self.assumed)}")
        return f"{self.name}: {'; '.join(said)}." if said else ""

    @property
    def doubts(self) -> tuple[str, ...]:
        """All guesses and warnings, each with the knife's name before it."""
        return tuple(f"{self.name}: {words}" for words in (*self.guesses, *self.warnings))

    def part(self, kind: str) -> Part:
        """The part of a kind; KeyError if there is none."""
        return {part.kind: part for part in self.parts}[kind]
