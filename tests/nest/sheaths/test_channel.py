"""The channel: the knife lies right on the fold, everything passes, nothing kinks."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nest.errors import KnifeError
from nest.knife import Choices, profile_of, read
from nest.sheaths.channel import (
    BEND_IN,
    BEND_OUT,
    LIP,
    channel_of,
    fit_warnings,
    heel_warnings,
    lie_on_fold,
    swung,
    verdict,
)
from tests.places import ROOT
from tests.small_knives import PLAIN, knife

SAMPLES = sorted((ROOT / "shared" / "knives").glob("*.knife.toml"))
KNIVES = {path.name.split(".")[0]: read(path) for path in SAMPLES}
PASSING = "a handle's swell may squeeze through by the grip, and no more"


def channel(**changes):
    made = knife()
    return channel_of(made, replace(made.choices, **changes))


def bellied(depth):
    """The plain knife with a blade that is deeper near the tip."""
    shape = PLAIN.copy()
    shape[3, 1] -= depth
    shape[4, 1] -= depth / 2
    return knife(drawing=shape)


# ---------------------------------------------------------------- on the fold


def test_a_straight_back_lies_along_the_fold():
    lie = lie_on_fold(knife(), 0.667)
    assert lie.points[:, 1].min() == pytest.approx(0)
    assert (lie.throat, lie.guard, lie.tip) == pytest.approx((110 * 0.333, 110, 220))


@pytest.mark.parametrize("name", KNIVES)
def test_the_fold_touches_the_back_and_does_not_cross_it(name):
    """A ruler on the back, between throat and tip; of all such lines the one with least room."""
    made = KNIVES[name]
    lie = lie_on_fold(made, made.choices.handle_covered)
    x = np.linspace(lie.throat, lie.tip, 300)
    back = profile_of(lie.points, x).back
    assert back.min() == pytest.approx(0, abs=0.05)
    middle = x.mean()
    for tilt in np.radians([-1.0, -0.3, 0.3, 1.0]):  # any other ruler leaves more
        other = back - np.tan(tilt) * (x - middle)
        assert (other - other.min()).mean() > (back - back.min()).mean() - 0.02


# ---------------------------------------------------------------- what has to pass


@pytest.mark.parametrize("name", KNIVES)
def test_the_knife_can_be_drawn_step_by_step(name):
    """Drawn by any way toward the butt, each blade section finds room; a handle may squeeze."""
    made = KNIVES[name]
    found = channel_of(made, made.choices)
    handle = found.x < found.lie.guard
    for drawn in np.arange(0.0, np.ptp(found.x), 7.0):
        here = found.x - drawn
        inside = here >= found.x[0]
        room = np.interp(here, found.x, found.available) - found.needed
        assert room[inside & ~handle].min(initial=1) > -0.02
        assert room[inside & handle].min(initial=1) > -made.choices.grip - 0.02, PASSING


@pytest.mark.parametrize("name", KNIVES)
def test_nothing_is_narrower_than_asked_for(name):
    made = KNIVES[name]
    found = channel_of(made, made.choices)
    handle = (found.x < found.lie.guard - LIP) & (found.x < found.lie.guard)
    assert found.slack[handle].min(initial=9) > made.choices.slack - 0.05
    assert found.slack[~handle].min() > made.choices.clearance - 0.1


def test_a_blade_deeper_at_the_tip_keeps_its_room_up_to_the_throat_and_it_is_said():
    """14 mm of belly have to pass everywhere nearer the throat."""
    found = channel_of(bellied(14), Choices())
    belly = found.needed[found.x > 150].max()
    assert found.available[found.x < 170].min() >= belly + Choices().clearance - 0.05
    says = " ".join(fit_warnings(found))
    assert "The blade has up to" in says
    assert "have to pass" in says


def test_a_guard_on_the_edge_side_passes_the_throat_and_the_rattle_is_told():
    shape = np.insert(PLAIN, 1, [(104, 4), (104, -6), (109, -6), (109, 4)], axis=0)
    found = channel_of(knife(drawing=shape), Choices())
    guard = found.needed[(found.x > 104.5) & (found.x < 107.5)].max()
    assert found.available[found.x < 104].min() > guard - Choices().grip
    assert "The handle has up to" in fit_warnings(found)[0]


def test_without_a_handle_inside_only_the_blade_counts():
    found = channel(handle_covered=0.0)
    assert found.x[0] == pytest.approx(110)
    assert found.available[0] < 36  # a 28 mm blade, and no 18 mm handle


def test_a_heel_behind_the_guard_is_not_taken_for_handle_without_a_word():
    """A heel 12 mm deep hangs back over the handle's end; the stations that are named make it thin.

    A plate 3 mm thick needs 15 mm less round its lower end than one of 18 mm.
    """
    heel = [(103, 4), (104, -8), (109, -8)]
    shape = np.vstack([PLAIN[:1], heel, PLAIN[2:]])
    made = knife(drawing=shape)
    (said,) = heel_warnings(made)
    assert "taken to be as thick as the handle, 18 mm" in said
    stations = json.loads(said.partition("handle_thickness = ")[2].rstrip("."))
    thin = knife(drawing=shape, handle_thickness=stations)
    assert heel_warnings(thin) == ()
    needed = [channel_of(k, Choices()).needed[30:].max() for k in (made, thin)]
    assert needed[0] - needed[1] > 6


@pytest.mark.parametrize("name", KNIVES)
def test_a_swell_of_the_handle_is_no_heel(name):
    assert heel_warnings(KNIVES[name]) == ()


# ---------------------------------------------------------------- the maker's own margin


def test_the_makers_own_handle_margin_is_taken_when_it_closes():
    found = channel(handle_margin=19.0)
    edge = found.allowance + found.edge[5]
    assert found.available[5] == pytest.approx(edge + 19 - 10, abs=0.1)


def test_a_margin_that_will_not_close_is_refused_with_figures():
    with pytest.raises(KnifeError, match=r"won't close: .* needs 38\.\d mm .* gives 3\d\.\d mm"):
        channel(handle_margin=12.0)


def test_a_margin_that_lets_nothing_pass_is_refused_with_figures():
    """The belly needs more than the handle's own margin leaves."""
    made = bellied(14)
    with pytest.raises(KnifeError, match=r"can't be drawn: .* mm have to pass"):
        channel_of(made, replace(made.choices, handle_margin=18.5))


@pytest.mark.parametrize(
    ("slack", "word"),
    [(-1.1, "won't close"), (-1.0, "snug"), (1.0, "snug"), (1.04, "snug"), (2.0, "easy"),
     (3.1, "loose")],
)  # fmt: skip
def test_slack_in_words(slack, word):
    """Bounds of the model: -1, 1 and 3 mm, to a tenth."""
    assert verdict(slack) == word


# ---------------------------------------------------------------- the swing


def needs(seed):
    """A handle with bumps and a step down to a smooth blade."""
    rng = np.random.default_rng(seed)
    x = np.arange(0.0, 200.0)
    y = np.where(x < 80, 40 + np.cumsum(rng.normal(0, 0.4, 200)), 30 - (x - 80) ** 2 / 2500)
    return x, y, x < 80


@pytest.mark.parametrize("seed", range(5))
def test_the_swing_only_adds_and_never_bends_tighter_than_stated(seed):
    x, y, handle = needs(seed)
    line = swung(x, y, handle)
    bend = np.diff(line, 2)
    assert (line >= y - 1e-9).all()
    assert bend.max() < 1 / BEND_IN + 1e-9
    on_handle = slice(1, 76)
    assert bend[on_handle].min() > -1 / BEND_OUT - 1e-9


def test_a_blade_without_hollows_is_left_as_it_is():
    x, y, _ = (row[80:] for row in needs(0))
    assert swung(x, y, np.zeros(120, bool)) == pytest.approx(y, abs=1e-9)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 99), st.integers(0, 199), st.floats(0, 9))
def test_more_need_never_gives_less(seed, at, more):
    """Both envelopes are monotone, so is the pattern."""
    x, y, handle = needs(seed)
    raised = y.copy()
    raised[at] += more
    assert (swung(x, raised, handle) >= swung(x, y, handle) - 1e-9).all()
