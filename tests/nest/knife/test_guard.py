"""Where the blade starts, and the maker's figure for it held against the outline."""

import numpy as np
import pytest

from nest.errors import KnifeError
from nest.knife import knife_from, read
from nest.knife.guard import step_of
from tests.odd_knives import ODD, drawn
from tests.places import ROOT

SAMPLES = ROOT / "shared" / "knives"
HERON = (SAMPLES / "heron.knife.toml").read_text(encoding="utf-8")


@pytest.fixture
def heron(tmp_path):
    """Reads a Heron whose line ``guard = 119.5`` says something else; its guard is 8.5 mm thick."""
    (tmp_path / "heron.svg").write_bytes((SAMPLES / "heron.svg").read_bytes())

    def changed(line, length="length = 232.0"):
        text = HERON.replace("\nguard = 119.5", f"\n{line}").replace("length = 232.0", length)
        text = text.replace("[[0.0, 18.0], [119.5, 18.0]]", "18.0")  # no station by its own guard
        assert line in text
        assert length in text
        path = tmp_path / "heron.knife.toml"
        path.write_text(text, encoding="utf-8")
        return read(path)

    return changed


@pytest.mark.parametrize("guard", [112.5, 105.0, 124.0, 195.1])
def test_a_guard_measured_to_its_other_face_is_asked_with_both_figures(heron, guard):
    """112.5 is behind the guard, where the handle ends: a mouth 6 mm short that looks snug."""
    with pytest.raises(KnifeError) as asked:
        heron(f"guard = {guard}")
    said = str(asked.value)
    assert "heron.knife.toml, key 'guard'" in said
    assert f"guard = {guard:g}" in said
    assert "119.5 mm from the butt" in said


@pytest.mark.parametrize("line", ["guard = 119.0", "guard = 116.0", "guard = 123.0"])
def test_a_guard_within_four_millimetres_of_the_step_is_taken(heron, line):
    assert heron(line).guard == float(line.split()[-1])


def test_each_way_out_that_is_named_works(heron):
    """Correct the figure, leave it out, or say that it stands."""
    assert heron("guard = 119.5").guard == 119.5
    assert heron("").guard == pytest.approx(119.5, abs=0.3)
    assert heron('guard = 112.5\nsure_of = ["guard"]').guard == 112.5


def test_a_length_that_moves_the_outline_away_from_the_guard_is_asked(heron):
    """A drawing without units: 223 for 232 brings the step to 114.9 mm, off the 119.5 given."""
    with pytest.raises(KnifeError, match=r"114\.9 mm from the butt.*\(or length"):
        heron("guard = 119.5", "length = 223.0")


def test_a_blade_that_starts_before_its_heel_is_taken_for_ricasso_and_told():
    """Kitchen knives and choils: from the handle's end to the heel the blade goes on narrow."""
    odd = ODD["deep heel"]  # its handle ends at 110 mm, its heel begins at 112 to 114
    drawing, places = drawn(odd, 0, False, False)
    about = {"drawing": drawing, "length": odd.length, "edge": places.beside(edge=True)}
    made = knife_from(**about, **places.lie, guard=100.0)
    assert made.guard == 100.0
    assert "guard = 100: what lies between is taken for ricasso" in " ".join(made.guesses)
    for wrong in (85.0, 125.0):
        with pytest.raises(KnifeError, match="steps to the blade's heel 113"):
            knife_from(**about, **places.lie, guard=wrong)


@pytest.mark.parametrize("name", ODD)
def test_odd_knives_with_their_true_guard_are_taken(name):
    """No swell, hump or belly is mistaken for a step that contradicts the maker."""
    odd = ODD[name]
    for lie in [(0, False, False), (115, False, True)]:
        drawing, places = drawn(odd, *lie)
        about = {"length": odd.length, "guard": odd.guard, "edge": places.beside(edge=True)}
        assert knife_from(drawing, **places.lie, **about).guard == odd.guard
        assert knife_from(drawing, **about).guard == odd.guard


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.knife.toml")), ids=lambda p: p.name)
def test_where_a_sample_steps_its_guard_agrees(path):
    """Heron's guard ends there; Pip and Bittern have a heel just beyond the handle's end."""
    knife = read(path)
    step = step_of(knife.profile(np.linspace(0, knife.length, 801)))
    if step is not None:
        assert -4.0 < step.u - knife.guard < (6.0 if step.out else 4.0)
