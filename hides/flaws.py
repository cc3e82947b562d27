"""Flaws: their kinds, and which faces of a part each kind bars.

A part's surface is judged by how it shows and what it carries (:data:`FACES`):

* ``front``: seen; no flaw that shows;
* ``back``: handled and worn against the body; may look plain, not be weak;
* ``hidden``: the welt, what lies under the loop; only sound leather is asked for;
* ``strap``: carries the load and is folded; nothing weak, nothing running across.

Which kind bars what is common practice, no published source, except where a kind's
``source`` names one. A flaw found on the flesh side only isn't seen on the finished
work, so there it bars less: a blemish bars nothing, a weakness bars everything its kind
bars but hidden parts (:func:`bars`).
"""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Polygon

from hides.errors import InputError

FACES = ("front", "back", "hidden", "strap")
SIDES = ("through", "grain", "flesh")
COMMON = "common practice, no published source"

_ALL = frozenset(FACES)
_STRESSED = frozenset({"front", "back", "strap"})
_SEEN = frozenset({"front"})
_SEEN_OR_STRAP = frozenset({"front", "strap"})


@dataclass(frozen=True, slots=True)
class FlawKind:
    """A kind of flaw.

    Attributes
    ----------
    bars : the faces that may not lie on it.
    margin : mm kept clear around its drawn edge.
    says : what it is, one plain sentence.
    source : where the handling comes from.
    """

    name: str
    bars: frozenset[str]
    margin: float
    says: str
    source: str = COMMON

    @property
    def weak(self) -> bool:
        """Whether the leather is weaker there, not only less fair: then it bars backs too."""
        return "back" in self.bars


_SADDLERS = "saddle-making course notes, Spokane Falls Community College"

FLAW_KINDS: dict[str, FlawKind] = {
    kind.name: kind
    for kind in (
        FlawKind("hole", _ALL, 3.0, "An opening right through the leather."),
        FlawKind("cut", _ALL, 3.0, "A knife cut through the leather or deep into it."),
        FlawKind("grub", _ALL, 3.0, "Open holes of warble grubs along the back; healed: 'healed'."),
        FlawKind("loose", _ALL, 5.0, "Loose or pipey grain that lifts into creases when bent."),
        FlawKind("soft", _ALL, 5.0, "A soft, spongy place, as in the leg pockets."),
        FlawKind("brand", _STRESSED, 5.0, "Burnt grain: hard, often weak."),
        FlawKind("scar", _STRESSED, 3.0, "An open scar: the grain is broken."),
        FlawKind("wire", _STRESSED, 3.0, "A wound torn by wire or thorns, deep enough to weaken."),
        FlawKind("sore", _STRESSED, 3.0, "Dead or scarred skin from pressure."),
        FlawKind(
            "flay",
            _STRESSED,
            5.0,
            "A flaying cut on the flesh side; it may not show on the grain.",
            source=f"look for it on both sides: {_SADDLERS}; handling {COMMON}",
        ),
        FlawKind("hard", _STRESSED, 3.0, "A hard spot or a dried edge that cracks when folded."),
        FlawKind("fibre", _STRESSED, 5.0, "Vertical fibre: about half the strength, on the rump."),
        FlawKind(
            "clamp",
            _STRESSED,
            2.0,
            "Marks of the tannery's clamps, toggles or hooks on the rim.",
            source=f"trimmed off: {_SADDLERS}",
        ),
        FlawKind("healed", _SEEN_OR_STRAP, 2.0, "A healed scar: the grain has closed."),
        FlawKind(
            "wrinkle",
            _SEEN_OR_STRAP,
            0.0,
            "Growth or fat wrinkles across the neck; some customers want them.",
        ),
        FlawKind("bite", _SEEN, 1.0, "Pits of ticks, lice or other insects."),
        FlawKind("vein", _SEEN, 0.0, "Branching lines of veins."),
        FlawKind("range", _SEEN, 1.0, "A mark of life on open range that is only seen."),
        FlawKind("stain", _SEEN, 2.0, "A stain from dung, dye, iron or water."),
        FlawKind("rough", _SEEN, 0.0, "A rough flesh side, as on belly and neck."),
    )
}


@dataclass(frozen=True, slots=True)
class Flaw:
    """One flaw on a hide.

    Attributes
    ----------
    kind : one of :data:`FLAW_KINDS`.
    face : where it is: through the leather, on the grain side or on the flesh side only.
    shape : mm, hide frame; points and lines already have their width.
    """

    kind: str
    face: str
    shape: Polygon
    note: str = ""

    def __post_init__(self) -> None:
        check(self.kind, self.face)


def check(kind: str, face: str) -> None:
    """Refuse a kind of flaw, or a side of the leather for it, that is not known.

    Raises
    ------
    InputError : either is none; the message lists those there are.
    """
    kind_of(kind)
    if face not in SIDES:
        raise InputError(
            f"face must be one of {', '.join(SIDES)}, got {face!r}.",
            mend="It says on which side of the leather such a flaw is.",
        )


def kind_of(name: str) -> FlawKind:
    """Return the kind of that name.

    Raises
    ------
    InputError : there is none; the message lists those there are.
    """
    if name not in FLAW_KINDS:
        raise InputError(
            f"{name!r} is no known kind of flaw.", mend=f"Use one of {', '.join(FLAW_KINDS)}."
        )
    return FLAW_KINDS[name]


def spoils(flaw: Flaw) -> bool:
    """Whether no clean piece may lie on a flaw: it goes through the leather, bars every face of a
    part, or is a brand.
    """
    through = flaw.face == "through" or all(bars(flaw, face) for face in FACES)
    return through or flaw.kind == "brand"


def bars(flaw: Flaw, face: str) -> bool:
    """Say whether a region of that face must stay clear of the flaw.

    Raises
    ------
    ValueError : ``face`` isn't one of :data:`FACES`.
    """
    if face not in FACES:
        raise ValueError(f"face must be one of {', '.join(FACES)}, got {face!r}")
    kind = FLAW_KINDS[flaw.kind]
    if flaw.face == "flesh" and (not kind.weak or face == "hidden"):
        return False
    return face in kind.bars
