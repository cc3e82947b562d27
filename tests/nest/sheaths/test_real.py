"""Drawings that nobody here drew: each gives a sheath, or says what in it is unusable.

Icons under open licences, see the notes beside them. A length is supplied, thicknesses are
the defaults; tip, edge and guard are left to the shape.
"""

import os
from pathlib import Path

import pytest

from hides.errors import InputError, OutlineError
from hides.trace import read_drawing
from nest.errors import KnifeError
from nest.knife import knife_from
from nest.sheaths import make

DATA = Path(os.environ.get("CROUPON_DATA", "../shared")) / "realinputs"

pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="CROUPON_DATA has no realinputs")


def sheath_of(name, length):
    return make(knife_from(read_drawing(DATA / f"{name}.svg"), length=length, sure_of=["length"]))


@pytest.mark.parametrize(
    ("name", "length", "says"),
    [
        ("fluent-emoji-flat__kitchen-knife", 280.0, "handle_covered = 0"),  # a deep heel to pass
        ("mdi__knife", 300.0, "handle_covered = 0"),  # a deep heel to pass
        ("openclipart__knife", 230.0, ""),  # its shadow counts as blade
    ],
)
def test_these_give_a_sheath(name, length, says):
    sheath = sheath_of(name, length)
    assert [part.kind for part in sheath.parts] == ["body", "welt", "loop"]
    assert says in " ".join(sheath.warnings)
    assert min(s.slack for s in sheath.stations) > 0


@pytest.mark.parametrize(
    ("name", "length", "kind", "words"),
    [
        ("game-icons__animal-hide", 250.0, KnifeError, "as wide as it is long"),  # a hide
        ("game-icons__bone-knife", 250.0, KnifeError, "double guard"),
        ("game-icons__bowie-knife", 320.0, KnifeError, "double guard"),
        ("game-icons__butterfly-knife", 240.0, KnifeError, "forked"),  # open, two handles
        ("game-icons__katana", 600.0, KnifeError, "double guard"),
        ("game-icons__knife-fork", 220.0, KnifeError, "as wide as it is long"),  # crossed
        ("game-icons__machete", 500.0, OutlineError, "3 separate shapes"),  # and two drops
        ("game-icons__plain-dagger", 280.0, KnifeError, "can't hold two edges"),
        ("openmoji__dagger", 280.0, KnifeError, "can't hold two edges"),
        ("tabler__sword", 280.0, OutlineError, "lines only"),
    ],
)
def test_these_say_what_is_unusable(name, length, kind, words):
    with pytest.raises(InputError, match=words) as caught:
        sheath_of(name, length)
    assert caught.type is kind
    assert caught.value.mend
