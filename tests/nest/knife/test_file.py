"""Knife files: what they say, and that every slip in one is named with its place."""

from dataclasses import fields

import pytest

from hides.errors import InputError
from hides.keys import Between, rules_of
from nest.knife import Choices, pitch_of, read
from tests.places import ROOT

SAMPLES = ROOT / "shared" / "knives"
POINTS = "points = [[0,4],[110,4],[110,2],[180,2],[213,17],[220,27],[190,30],[0,30]]\n"
PLACE = "tip = [220, 27]\nbutt = [0, 27]\nedge = [150, 0]\n"
SIZE = "length = 220\nguard = 110\n"


@pytest.fixture
def toml(tmp_path):
    def write(text, name="plain.knife.toml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return read(path)

    return write


def refusal(read_it, *args):
    with pytest.raises(InputError) as caught:
        read_it(*args)
    return str(caught.value)


def test_a_file_by_points_is_read(toml):
    knife = toml(POINTS + PLACE + SIZE + "[sheath]\nwelt = 12\nhand = 'left'\n")
    assert knife.name == "plain"  # by the file's name where none is given
    assert knife.length == pytest.approx(220)
    assert (knife.choices.welt, knife.choices.hand) == (12.0, "left")
    assert "blade 3.5 mm (key blade_thickness)" in " ".join(knife.guesses)


def test_the_old_name_of_handle_covered_is_read_with_a_remark(toml):
    """As throat it was taken for how wide the mouth is."""
    old = toml(POINTS + PLACE + SIZE + "[sheath]\nthroat = 0.5\n").choices
    new = toml(POINTS + PLACE + SIZE + "[sheath]\nhandle_covered = 0.5\n").choices
    assert old.handle_covered == new.handle_covered == 0.5
    assert old.remarks == ("The key throat is now called handle_covered: write that.",)
    assert new.remarks == ()
    assert old.changed({"throat": 0.4}).remarks == old.remarks


def test_a_drawing_is_found_beside_the_file(toml, tmp_path):
    (tmp_path / "k.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg">'
        '<path d="M0 26H110V28H180L213 13 220 3 190 0H0Z"/></svg>'
    )
    knife = toml('outline = "k.svg"\ntip=[220,3]\nbutt=[0,3]\nedge=[150,30]\n' + SIZE)
    assert knife.outline.bounds == pytest.approx((0, 0, 220, 28))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (POINTS + SIZE + "gaurd = 3", "there is no key 'gaurd' here. Did you mean 'guard'?"),
        (POINTS + SIZE + "[sheath]\nthrote = 3", "[sheath] key 'throte'"),
        (POINTS + SIZE + "[sheath]\nhandle_coverd = 3", "Did you mean 'handle_covered'?"),
        (POINTS + SIZE + "[sheath]\nthroat = 0.5\nhandle_covered = 0.5", "Leave out throat"),
        (POINTS + SIZE + "[sheath]\nthroat = 3", "handle_covered must be 0 to 0.95, got 3"),
        (POINTS + SIZE + "zzz = 3", "Known are: blade_thickness, butt,"),
        (POINTS + SIZE + "[sheath]\nwelt = -3", "key 'welt': welt must be 6 to 40 mm, got -3"),
        (POINTS + SIZE + "[sheath]\nwelt = 'wide'", "welt must be a number, got 'wide'"),
        (POINTS + SIZE + "[sheath]\nwelt = true", "welt must be a number, got True"),
        (POINTS + SIZE + "[sheath]\nhand = 'both'", "hand must be 'right' or 'left', got 'both'"),
        (POINTS + SIZE + "[sheath]\nloop = 'none'", "loop must be 'sewn' or 'back'"),
        (POINTS + SIZE + "[sheath]\nleather = nan", "leather must be 1 to 6 mm, got nan"),
        (POINTS + SIZE + "[sheath]\nleather = [3, 90]", "leather must be 1 to 6 mm, got 90"),
        (POINTS + SIZE + "[sheath]\nstitch = '6 spi'", "can mean two pitches"),
        (POINTS + SIZE + "[sheath]\nmargin = 9", "leave 3 mm of the welt inside the seam"),
        (POINTS + SIZE + "sheath = 3", "write [sheath]"),
        (POINTS + PLACE + "guard = 110\nlength = 'long'", "length must be a number, got 'long'"),
        (POINTS + PLACE + "guard = 110\nlength = 0", "length must be 40 to 600 mm, got 0"),
        (POINTS + PLACE + "length = 220", "Give guard = mm from the butt"),
        (POINTS + SIZE + "tip = [1, 2, 3]", "tip must be a pair of numbers"),
        (POINTS + SIZE + "name = 7", "name must be a text, got 7"),
        (SIZE, "the knife needs one outline"),
        (POINTS + SIZE + "outline = 'a.svg'", "the knife needs one outline"),
        ("points = 7\n" + SIZE, "points must be a list"),
        ("points = [[0, 'a']]\n" + SIZE, "points must be a number, got 'a'"),
        ("points = [[0,0],[200,20],[200,0],[0,20]]\n" + SIZE, "key 'points': the outline crosses"),
        ("outline = 'nowhere.svg'\n" + SIZE, "nowhere.svg. Correct the name"),
        ("outline = 7\n" + SIZE, "outline must be a text, got 7"),
        ("length = = 3", "this is not TOML"),
    ],
)  # fmt: skip
def test_a_slip_is_named_with_its_place_and_how_to_mend_it(toml, text, words):
    found = refusal(toml, text)
    assert words in found
    assert ".knife.toml" in found or "nowhere.svg" in found


def test_a_missing_file_and_one_that_is_no_text_are_named(tmp_path):
    assert "no such file" in refusal(read, tmp_path / "none.knife.toml")
    (tmp_path / "bin.knife.toml").write_bytes(b"\xff\xfe\x00\x01")
    assert "not text in UTF-8" in refusal(read, tmp_path / "bin.knife.toml")


def test_every_number_among_the_choices_has_bounds_and_a_default_inside_them():
    default = Choices()
    numbers = [f.name for f in fields(Choices) if f.name not in ("hand", "loop", "remarks")]
    bounds = {k: rule for k, rule in rules_of(Choices).items() if isinstance(rule, Between)}
    assert sorted(numbers) == sorted(bounds)
    for key, rule in bounds.items():
        value = getattr(default, key)
        assert value is None or rule.low <= value <= rule.high, key


@pytest.mark.parametrize(
    ("given", "mm"),
    [
        (4.0, 4.0),
        ("4 mm", 4.0),
        ("5 per inch", 5.08),  # 25.4/n, by definition of the inch
        ("6 per inch", 4.233),
        ("27/5", 5.4),  # 27 mm/n: a maker's table lists 5.4, 4.5, 3.9, 3.4, 3.0 for 5 to 9
        ("27/6", 4.5),
        ("27/7", 3.857),
        ("27/8", 3.375),
        ("27/9", 3.0),
    ],
)
def test_stitch_pitches_in_the_trades_notations(given, mm):
    assert pitch_of(given) == pytest.approx(mm, abs=1e-3)


@pytest.mark.parametrize("given", ["6", "6 spi", "6 iron", "inch", "27/", ""])
def test_a_pitch_that_can_be_read_two_ways_is_asked(given):
    assert '"6 per inch" (4.23 mm) or as "27/6"' in refusal(pitch_of, given)


def test_leather_may_be_a_range_in_mm_or_ounces():
    """8 to 9 oz is 3.175 to 3.572 mm: 1 oz is 1/64 inch (ASTM D1814)."""
    assert Choices().changed({"leather": [3.2, 3.6]}).leather == pytest.approx(3.4)
    assert Choices().changed({"leather": "8-9 oz"}).leather == pytest.approx(8.5 * 25.4 / 64)


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.knife.toml")), ids=lambda p: p.name)
def test_the_sample_knives_read(path):
    knife = read(path)
    assert 150 < knife.length < 400
    assert 0.3 < knife.guard / knife.length < 0.65


def test_there_are_six_sample_knives_from_a_skinner_to_a_camp_knife():
    blades = sorted(k.length - k.guard for k in map(read, SAMPLES.glob("*.knife.toml")))
    assert len(blades) == 6
    assert blades[0] == pytest.approx(60, abs=2)
    assert blades[-1] == pytest.approx(250, abs=2)
