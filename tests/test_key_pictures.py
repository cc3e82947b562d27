"""The pictures of what keys measure: as they are drawn now, every measure true, words apart."""

from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from nest.explained import PICTURES as EXPLAINED
from nest.knife import CHOICE_KEYS
from tests import key_pictures as shown_of
from tests.key_pictures import PICTURES, SHEETS, drawn, knife, sheath
from tests.places import ROOT
from tests.sheets import drawn_alike

CHOICES = sheath().choices
LINES = shown_of.Lines.of(sheath(), knife())


@pytest.mark.parametrize("name", PICTURES)
def test_the_picture_is_what_the_code_draws_now(name):
    """Made anew by python -m tests.key_pictures when knives, sheaths or colours change."""
    assert drawn_alike(PICTURES[name].read_bytes(), drawn(name))


@pytest.mark.parametrize("name", SHEETS)
def test_words_can_be_read_and_lie_on_no_others(name):
    sheet = SHEETS[name]()
    assert min(text.get_fontsize() for text in sheet.axes.texts) >= 7.0
    assert shapely.contains(
        box(0, 0, sheet.width, sheet.height), [w.box for w in sheet.words]
    ).all()
    for a, b in combinations(sheet.words, 2):
        assert not a.box.intersects(b.box), (a.text, b.text)


def measured(shown):
    """How long each measure is drawn, mm of the thing that it stands on."""
    return {one.key: float(np.hypot(*(np.array(one.q) - one.p))) for one in shown}


def test_measures_of_the_knife_are_those_of_its_file():
    """232 and 119.5 mm, 4 and 2 mm: what the sample's file says."""
    along = measured(shown_of.along_shown(knife()))
    assert along == pytest.approx({"length": 232.0, "guard": 119.5}, abs=0.05)
    across = measured(shown_of.thickness_shown(knife()))
    assert {"18", "22", "blade_thickness", "tip_thickness"} == set(across)
    assert (across["blade_thickness"], across["tip_thickness"]) == (4.0, 2.0)


def test_measures_of_the_sheath_are_the_choices_it_was_made_for():
    found = measured(
        [
            *shown_of.body_shown(LINES),
            *shown_of.edge_shown(LINES),
            *shown_of.handle_shown(LINES),
            *shown_of.closed_shown(CHOICES),
        ]
    )
    low, high = sheath().facts.pitches
    assert low - 0.01 <= found.pop("stitch") <= high + 0.01
    covered = CHOICES.handle_covered * 119.5  # of the way from guard to butt
    assert found.pop("handle_covered") == pytest.approx(covered, abs=0.05)
    (width,) = [d.value for d in sheath().dimensions if (d.part, d.label) == ("loop", "width")]
    assert found.pop("loop_width") == pytest.approx(width, abs=0.01)
    assert found.pop("belt + belt_ease") == pytest.approx(CHOICES.belt + CHOICES.belt_ease)
    assert found.pop("margin") == pytest.approx(CHOICES.margin_mm)
    assert found.pop("welt_thickness") == pytest.approx(CHOICES.welt_mm)
    assert found.pop("excess") == pytest.approx(sheath().facts.welt_trim, abs=0.05)
    assert found == pytest.approx({key: getattr(CHOICES, key) for key in found}, abs=0.1)


def test_measures_begin_and_end_on_the_lines_that_they_name():
    """Of those that are drawn by the key's own figure, within what outlines are thinned by."""
    outline = LineString(sheath().part("body").outline.polygon.exterior)
    places = {one.key: one for one in (*shown_of.edge_shown(LINES), *shown_of.body_shown(LINES))}
    assert outline.distance(Point(places["oversize"].q)) < 0.1
    assert LINES.inner.distance(Point(places["welt"].p)) < 0.1


def test_explain_names_the_picture_of_each_key_that_one_shows():
    texts = {w.text for name in SHEETS for w in SHEETS[name]().words}
    drawn_keys = {word for text in texts for word in text.split(" = ")[0].split(" + ")}
    keys = {"length", "tip", "butt", "edge", "guard", "blade_thickness", "tip_thickness"}
    keys |= {"handle_thickness", "handle_round", *CHOICE_KEYS}
    where, named = EXPLAINED["knife"]
    assert set(named.split()) == drawn_keys & keys
    for path, picture in ((where, "keys-knife.svg"), (EXPLAINED["week"][0], "keep.svg")):
        assert f".pictures/{picture}" in (ROOT / path).read_text()
