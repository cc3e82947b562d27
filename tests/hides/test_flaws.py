"""Flaws: which kind bars which face of a part."""

import pytest
from shapely import box

from hides.errors import InputError
from hides.flaws import FACES, FLAW_KINDS, SIDES, Flaw, bars, kind_of


def flaw(kind: str, face: str = "grain") -> Flaw:
    return Flaw(kind, face, box(0, 0, 10, 10))


@pytest.mark.parametrize(
    ("kind", "barred"),
    [
        ("hole", {"front", "back", "hidden", "strap"}),  # void: no part may have it
        ("grub", {"front", "back", "hidden", "strap"}),  # open holes
        ("loose", {"front", "back", "hidden", "strap"}),  # no welt of loose grain
        ("brand", {"front", "back", "strap"}),  # void for faces and straps
        ("scar", {"front", "back", "strap"}),
        ("flay", {"front", "back", "strap"}),
        ("healed", {"front", "strap"}),  # scars go to the back; none across a strap
        ("wrinkle", {"front", "strap"}),
        ("vein", {"front"}),  # cosmetic
        ("stain", {"front"}),
    ],
)
def test_a_kind_bars_the_faces_that_makers_keep_clear_of_it(kind: str, barred: set[str]) -> None:
    """Common practice, no published source, but for scars on the back (sheath tutorials)."""
    assert {face for face in FACES if bars(flaw(kind), face)} == barred


@pytest.mark.parametrize("kind", FLAW_KINDS)
def test_every_kind_is_complete_and_orderly(kind: str) -> None:
    """What bars a hidden part bars every part; what shows or weakens bars the front."""
    entry = FLAW_KINDS[kind]
    assert entry.name == kind
    assert entry.bars <= set(FACES)
    assert "front" in entry.bars
    assert "hidden" not in entry.bars or entry.bars == set(FACES)
    assert entry.weak == ("back" in entry.bars)
    assert 0 <= entry.margin <= 10
    assert entry.says.endswith(".")
    assert "source" in entry.source or "notes" in entry.source


@pytest.mark.parametrize("kind", FLAW_KINDS)
def test_a_flaw_on_the_flesh_side_bars_less(kind: str) -> None:
    """A blemish isn't seen there at all; a weakness still counts where stress is."""
    on_grain, on_flesh, through = (
        {face for face in FACES if bars(flaw(kind, side), face)}
        for side in ("grain", "flesh", "through")
    )
    assert on_flesh == (on_grain - {"hidden"} if FLAW_KINDS[kind].weak else set())
    assert through == on_grain


def test_unknown_kinds_and_faces_are_refused_with_those_known() -> None:
    """The message helps to find the right word."""
    with pytest.raises(
        InputError, match=r"'scratch' is no known kind of flaw\. Use one of hole, cut"
    ):
        kind_of("scratch")
    with pytest.raises(InputError, match="no known kind"):
        flaw("Hole")
    with pytest.raises(InputError, match=", ".join(SIDES)):
        flaw("hole", "top")
    with pytest.raises(ValueError, match="front, back, hidden, strap"):
        bars(flaw("hole"), "inside")
