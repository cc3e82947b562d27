"""What holds the knife: figures by hand, words by their bounds, advice that was tried."""

import re
from dataclasses import replace

import numpy as np
import pytest

from nest.knife import read
from nest.sheaths import make, told
from nest.sheaths.channel import channel_of
from nest.sheaths.model import Retention
from nest.sheaths.retention import retention_of
from tests.places import ROOT
from tests.small_knives import PLAIN, knife

SAMPLES = sorted((ROOT / "shared" / "knives").glob("*.knife.toml"))


def held(made, **changes):
    return make(made, replace(made.choices, **changes)).facts.retention


def swollen(by):
    """The plain knife with a swell of the handle, highest 70 mm from the butt."""
    return knife(drawing=np.insert(PLAIN, 1, [(40, 4), (70, 4 - by), (100, 4)], axis=0))


def test_a_knife_that_nothing_holds_is_not_handed_over_without_a_word():
    """A handle as wide throughout slides out; the caution names what to do."""
    sheath = make(knife())
    assert sheath.facts.retention.word == "none"
    (said,) = [w for w in sheath.warnings if "keeps the knife in" in w]
    assert said.startswith("Nothing but friction")
    assert "retention strap" in said


def test_a_blade_held_alone_has_no_retention():
    sheath = make(knife(), replace(knife().choices, handle_covered=0.0, loop="back"))
    assert sheath.facts.retention == Retention(0.0, None, "none")
    assert "the sheath holds the blade alone" in " ".join(sheath.warnings)


def test_the_throat_gives_what_the_swell_needs_more_than_it_has():
    """All pairs of a deeper section and a place nearer the throat, one by one; and where."""
    made = swollen(5)
    found = retention_of(channel_of(made, made.choices))
    channel = channel_of(made, made.choices)
    handle = [i for i, x in enumerate(channel.x) if x < channel.lie.guard]
    pairs = [(channel.needed[j] - channel.available[i], j) for j in handle for i in handle if i < j]
    assert found.give == pytest.approx(max(pairs)[0])
    assert found.give == pytest.approx(made.choices.grip - made.choices.slack, abs=0.05)
    assert found.at == pytest.approx(70, abs=1)


@pytest.mark.parametrize(
    ("slack", "word"), [(0.8, "none"), (0.7, "little"), (0.3, "little"), (0.2, "firm")]
)
def test_retention_in_words(slack, word):
    """The swell of 5 mm may be wider by grip, 1 mm, less the slack: 0.2, 0.3, 0.7 and 0.8 mm."""
    assert held(swollen(5), slack=slack).word == word


def test_a_firm_hold_needs_no_caution():
    made = swollen(5)
    sheath = make(made, replace(made.choices, slack=0.0))
    assert told(sheath.facts.retention).startswith("firm: each side gives 1.0 mm when the section")
    assert not [w for w in sheath.warnings if "keeps the knife in" in w]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_what_is_advised_holds_the_knife_as_it_says(path):
    """The keys in the advice, written into the file, give the word and the figure promised."""
    made = read(path)
    sheath = make(made)
    if sheath.facts.retention.word == "firm":
        return
    (said,) = [w for w in sheath.warnings if "keeps the knife in" in w]
    advice = re.search(r"write (.*) \(then (\w+: .*)\)\.", said)
    if advice is None:  # nothing that leaves a handle to pull by; the strap alone is advised
        assert sheath.facts.retention.word == "none"
        assert said.endswith("Sew on a retention strap.")
        assert path.name == "bittern.knife.toml"
        return
    changes = dict(re.findall(r"(\w+) = ([\d.]+)", advice[1]))
    better = held(made, **{key: float(value) for key, value in changes.items()})
    assert told(better) == advice[2]
