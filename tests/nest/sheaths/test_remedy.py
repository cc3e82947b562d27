"""What is advised where a sheath can't be made, or holds badly, was tried and works."""

import re
import tomllib
from dataclasses import replace

import pytest

from hides.errors import InputError
from nest.knife import Choices, knife_from, read
from nest.sheaths import make
from nest.sheaths.remedy import HELPS, first_of, remedy_of
from tests.odd_knives import ODD, drawn
from tests.places import ROOT
from tests.small_knives import knife

SAMPLES = ROOT / "shared" / "knives"


def slender():
    """An OddKnife-like blade of 12 mm on a handle of 13: little room between fold and welt."""
    shape = [(0, 0), (90, 0), (150, 1), (170, 11), (90, 13), (0, 13)]
    return knife(drawing=shape, length=170.0, tip=(170, 11), butt=(0, 6), edge=(120, -5),
                 guard=90.0, handle_thickness=11.0)  # fmt: skip


def odd(name):
    drawing, places = drawn(ODD[name], 0, False, False)
    about = {"length": ODD[name].length, "guard": ODD[name].guard}
    return knife_from(drawing, edge=places.beside(edge=True), **about, **places.lie)


TROUBLE = {  # a knife and choices for which no sheath can be made
    "a wide belt on a small knife": (odd("bird's beak"), {"belt": 90.0}),
    "a wide belt, nothing of the handle covered": (knife(), {"belt": 60.0, "handle_covered": 0.0}),
    "a wide loop": (knife(), {"loop_width": 60.0}),
    "a slender knife": (slender(), {}),
    "a slender knife and a wide belt": (slender(), {"belt": 60.0, "handle_covered": 0.0}),
    "a pad that is too long": (odd("bird's beak"), {"loop_pad": 60.0}),
    "less than no slack": (knife(), {"slack": -5.0}),
    "a handle margin that is too small": (knife(), {"handle_margin": 3.0}),
}


def changes_of(said):
    """The changes named in an error, each as a table of choices."""
    (named,) = re.findall(r"This was tried and makes the sheath: (.*)\.$", said)
    found = []
    for way in named.split(", or "):
        rows = [row for row in way.split(" with ") if not row.endswith(" left out")]
        out = {row.removesuffix(" left out"): None for row in way.split(" with ")
               if row.endswith(" left out")}  # fmt: skip
        found.append(tomllib.loads("\n".join(rows)) | out)
    return found


@pytest.mark.parametrize("name", TROUBLE)
def test_every_remedy_that_is_named_makes_the_sheath(name):
    """Or none is promised; then none of the kind is to be found by hand either."""
    made, changes = TROUBLE[name]
    choices = replace(made.choices, **changes)
    with pytest.raises(InputError) as refused:
        make(made, choices)
    said = refused.value.mend
    if "This was tried" not in said:
        assert re.fullmatch(r"No other [\w ]+ that was tried makes this sheath\.", said)
        return
    ways = changes_of(said)
    assert ways
    for way in ways:
        assert make(made, replace(choices, **way)).parts


def test_most_of_the_trouble_can_be_mended():
    """So that the test before can't be passed by promising nothing."""
    told = []
    for made, changes in TROUBLE.values():
        with pytest.raises(InputError) as refused:
            make(made, replace(made.choices, **changes))
        told.append("This was tried" in refused.value.mend)
    assert sum(told) >= 6


def test_two_changes_are_named_together_where_one_is_not_enough():
    """The attempt is only content with a narrow loop and most of the handle covered."""

    def attempt(choices):
        if choices.loop_width != 15 or choices.handle_covered < 0.9:
            raise InputError("no room.")

    said = remedy_of(Choices(), "loop_width", attempt)
    assert said.endswith("makes the sheath: loop_width = 15 with handle_covered = 0.9.")


@pytest.mark.parametrize("key", HELPS)
def test_where_nothing_works_nothing_is_promised(key):
    def attempt(choices):
        raise InputError("no room.")

    choices = replace(Choices(), handle_margin=10.0)
    assert "that was tried makes this sheath" in remedy_of(choices, key, attempt)
    assert remedy_of(choices, key, attempt).startswith("No other ")


@pytest.mark.parametrize("name", ["deep heel", "santoku", "cleaver", "kukri-like"])
def test_what_a_warning_tells_to_write_can_be_made_and_takes_the_warning_away(name):
    """A sheath for the blade alone; the handle is in it no more, so it has no room there."""
    made = odd(name)
    said = " ".join(make(made).warnings)
    for way in re.findall(r"With (handle_covered = 0(?: with loop = \"back\")?) the sheath", said):
        change = tomllib.loads(way.replace(" with ", "\n"))
        after = " ".join(make(made, replace(made.choices, **change)).warnings)
        assert "The handle has up to" not in after


def test_some_knife_is_told_to_leave_the_handle_out():
    assert "With handle_covered = 0" in " ".join(make(odd("deep heel")).warnings)


def test_a_margin_too_wide_for_the_welt_is_mended_by_either_figure():
    sound = read(SAMPLES / "heron.knife.toml").choices
    with pytest.raises(InputError) as refused:
        replace(sound, margin=9.0)
    welt, margin = re.fullmatch(
        r"Write welt = (\S+) or margin = (\S+)\.", refused.value.mend
    ).groups()
    assert replace(sound, margin=9.0, welt=float(welt)).welt == 12.0
    assert replace(sound, margin=float(margin)).margin == 7.0


def test_the_first_change_that_works_is_taken():
    tried = []

    def attempt(choices):
        tried.append(choices.belt)
        if choices.belt > 30:
            raise InputError("too wide.")

    changes = ({"belt": belt} for belt in (35.0, 30.0, 25.0))
    assert first_of(Choices(), changes, attempt) == {"belt": 30.0}
    assert tried == [35.0, 30.0]
