"""Machine profiles, and what is said and refused because of them."""

import re
from dataclasses import fields

import numpy as np
import pytest

from hides.errors import InputError
from nest.cutter.caution import Depth, cautions_of, fit_for, full_depth, thin_enough
from nest.cutter.machine import FORMATS, KEYS, Machine, machine_of, names, read
from nest.errors import CutError
from tests.places import ROOT

FOLDER = ROOT / "shared" / "machines"
SHIPPED = sorted(path.name.removesuffix(".machine.toml") for path in FOLDER.glob("*.toml"))
LASER = {"tool": "laser", "bed": [600, 400]}
DRAG = {"tool": "drag", "bed": [600, 400], "offset": 1.0, "holes": "none"}


def made(table):
    return machine_of(table, "mine")


# --- profiles that come with the project -----------------------------------------------------


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_profile_reads_and_holds_no_power(name):
    """Power depends on machine and leather; a value that we invent could start a fire."""
    found = read(FOLDER / f"{name}.machine.toml")
    assert found.name == name
    assert found.formats
    assert found.power_cut is found.power_mark is None
    assert not re.search(r"^\s*power", (FOLDER / f"{name}.machine.toml").read_text(), re.M)


def test_there_is_a_profile_for_every_kind_of_tool_and_format():
    found = [read(FOLDER / f"{name}.machine.toml") for name in SHIPPED]
    assert {m.tool for m in found} >= {"laser", "drag", "oscillating", "hand"}
    assert {form for m in found for form in m.formats} == set(FORMATS)


def test_every_field_is_explained():
    """In the class's text, and in the README that stands beside the profiles."""
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    for key in KEYS:
        assert re.search(rf"\b{key}\b", Machine.__doc__), key
        assert f"`{key}`" in readme, key


# --- files -----------------------------------------------------------------------------------


def test_a_bare_name_is_looked_for_beside_the_plan_first(tmp_path, monkeypatch):
    """Then in the working folder, its machines, and the project's own."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "machines").mkdir()
    (tmp_path / "job").mkdir()
    text = 'tool = "laser"\nbed = [{}, 400]\n'
    (tmp_path / "machines/hand.machine.toml").write_text(text.format(300))
    assert read("hand").bed == (300.0, 400.0)
    (tmp_path / "job/hand.machine.toml").write_text(text.format(200))
    assert read("hand", beside=tmp_path / "job").bed == (200.0, 400.0)
    assert "laser-600" in names()


def test_a_path_is_taken_as_it_is(tmp_path):
    file = tmp_path / "mine.machine.toml"
    file.write_text('tool = "laser"\nbed = [300, 200]\nname = "The old one"\n')
    assert read(file).name == "The old one"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("lazer-600", "Did you mean 'laser-600'?"),
        ("qqqq", "Known here: "),
        ("no/such.machine.toml", "there is no such file"),
    ],
)
def test_an_unknown_profile_is_refused_with_those_there_are(given, says):
    with pytest.raises(InputError, match=re.escape(says)):
        read(given)


def test_an_error_names_the_file(tmp_path):
    file = tmp_path / "mine.machine.toml"
    file.write_text('tool = "laser"\nbed = [300, 200]\nkerf = -1\n')
    with pytest.raises(InputError) as caught:
        read(file)
    assert str(caught.value).startswith(f"{file}, key 'kerf': kerf must be 0 to 3 mm, got -1")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"tool": "plasma"}, "tool must be 'laser' or 'drag'"),
        ({"tool": None}, "tool must be"),
        ({"bed": [600]}, r"bed must be \[width, depth\]"),
        ({"bed": [600, 0]}, "bed must be 10 to"),
        ({"bed": ["600", 400]}, "bed must be a number"),
        ({"kerf": "0.2"}, "kerf must be a number"),
        ({"kerf": float("nan")}, "kerf must be 0 to 3"),
        ({"kref": 0.2}, "Did you mean 'kerf'?"),
        ({"passes": 1.5}, "passes must be a whole number"),
        ({"passes": True}, "passes must be a whole number"),
        ({"passes": 0}, "passes must be 1 to"),
        ({"formats": "svg"}, "formats must be a list"),
        ({"formats": ["pcx"]}, "formats must be 'dxf-r12' or"),
        ({"formats": []}, "formats must name at least one"),
        ({"marks": ["label"]}, "marks must be 'fold' or"),
        ({"start": ["G21\nM3 S1000"]}, "start must be on one line"),
        ({"origin": "left"}, "origin must be"),
        ({"swap_axes": 1}, "swap_axes must be false or true"),
        ({"chrome_allowed": "yes"}, "chrome_allowed must be"),
        ({"holes": "square"}, "holes must be 'circle' or"),
        ({"feed_cut": 0}, "feed_cut must be 0.1 to"),
        ({"blade_angle": 0}, "blade_angle must be 10 to"),
        ({"name": ""}, "name must be a text"),
    ],
)
def test_a_bad_value_is_refused_by_name(changes, says):
    with pytest.raises(InputError, match=says):
        made(LASER | changes)


@pytest.mark.parametrize("key", ["tool", "bed"])
def test_what_has_no_default_must_be_given(key):
    with pytest.raises(CutError, match=f"needs {key}"):
        made({k: v for k, v in LASER.items() if k != key})


def test_a_drag_knife_must_say_its_offset():
    with pytest.raises(CutError, match="needs its offset"):
        made(DRAG | {"offset": 0})


def test_a_knife_cuts_no_round_stitch_holes():
    with pytest.raises(CutError, match=r"turns in 1 mm can't turn in a 1\.2 mm hole"):
        made(DRAG | {"holes": "circle"})


@pytest.mark.parametrize("changes", [{"marks": ["fold"]}, {"holes": "cross"}])
def test_a_knife_that_has_nothing_to_mark_with_says_so_before_it_is_needed(changes):
    with pytest.raises(CutError, match="nothing to mark them with") as refused:
        made(DRAG | changes)
    assert refused.value.place == "key 'marker'"
    assert made(DRAG | changes | {"marker": "pen"}).can_mark
    assert made(LASER | changes).can_mark  # with its beam


@pytest.mark.parametrize("depth", [0.1, 0.0, -4.0, -5.0])
def test_a_blade_marks_in_the_leather_and_above_full_depth(depth):
    with pytest.raises(CutError, match="z_mark must lie between"):
        made(DRAG | {"formats": ["gcode"], "z_mark": depth})


def test_every_default_passes_its_own_bounds():
    """Bounds are checked for defaults too, so a plain profile is enough."""
    assert len(fields(made(LASER))) == len(KEYS)


# --- axes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "corner"),
    [  # where the machine counts the bed's point (10, 20), on 600 × 400
        ({}, (10, 20)),
        ({"origin": "lower right"}, (590, 20)),
        ({"origin": "upper left"}, (10, 380)),
        ({"origin": "upper right"}, (590, 380)),
        ({"origin": "centre"}, (-290, -180)),
        ({"swap_axes": True}, (20, 10)),
        ({"mirror": "x"}, (590, 20)),
        ({"mirror": "y"}, (10, 380)),
        ({"origin": "upper left", "mirror": "y"}, (10, 20)),
        ({"origin": "lower right", "swap_axes": True}, (20, 590)),
    ],
)
def test_points_are_counted_as_the_machine_does(changes, corner):
    """And the turning sense of the numbers follows: a ccw triangle's signed area says so."""
    profile = made(LASER | changes)
    triangle = np.array([[10.0, 20.0], [30.0, 20.0], [10.0, 50.0]])
    counted = profile.counted(triangle)
    assert counted[0] == pytest.approx(corner)
    (ax, ay), (bx, by) = counted[1] - counted[0], counted[2] - counted[0]
    assert profile.reverses == (ax * by - ay * bx < 0)


# --- cautions --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("laser-600", ["alone", "extinguisher", "smoke", "Vegetable-tanned", "PVC", "manual"]),
        ("drag-knife-600", ["hands out", "blade", "scrap", "manual"]),
        ("hand", ["away from your hand", "card"]),
    ],
)
def test_cautions_name_what_can_hurt(name, words):
    text = " ".join(cautions_of(read(FOLDER / f"{name}.machine.toml")))
    for word in words:
        assert word in text, word


def test_the_shops_own_cautions_come_too():
    assert cautions_of(made(LASER | {"cautions": ["Ask Ada first."]}))[-1] == "Ask Ada first."


@pytest.mark.parametrize(
    ("thickness", "angle", "length"),
    [(3.2, 45.0, 3.2), (3.2, 60.0, 1.85)],  # worked figures of a leather trade compilation
)
def test_a_slanting_edge_cuts_later_at_depth(thickness, angle, length):
    assert full_depth(thickness, angle) == pytest.approx(length, abs=0.005)


def test_an_overcut_too_short_for_the_leather_is_told():
    """3.2 mm at 60° need 1.85 mm."""
    short, enough = (made(DRAG | {"overcut": o, "blade_angle": 60.0}) for o in (1.0, 1.85))
    assert any("need 1.8 mm" in c for c in cautions_of(short, 3.2))
    assert cautions_of(enough, 3.2) == cautions_of(enough)
    assert cautions_of(made(LASER), 3.2) == cautions_of(made(LASER))


@pytest.mark.parametrize(
    "tannage", ["vegetable", "Veg-tan, oak", "vegetable tanned, oak bark, undyed, full grain"]
)
def test_vegetable_tanned_leather_goes_on_a_laser(tannage):
    fit_for(made(LASER), tannage)


@pytest.mark.parametrize(
    ("tannage", "says"),
    [
        ("chrome", "evidence is disputed"),
        ("Chrome-tanned", "evidence is disputed"),
        ("chromium", "evidence is disputed"),
        ("wet-blue", "evidence is disputed"),
        ("vegetable, chrome retanned", "evidence is disputed"),
        ("PVC", "poisonous"),
        ("vegetable, PU finish", "poisonous"),
        ("coated vegetable", "poisonous"),
        ("faux leather", "poisonous"),
        ("alum", "plainly vegetable-tanned"),
        ("", "the hide has no tannage"),
        ("chrome-free", "plainly vegetable-tanned"),
        ("natural", "plainly vegetable-tanned"),
        ("vegetable tanned, plastic coat", "'plastic' may be a finish, a glue or a plastic"),
        ("vegetable, acrylic finish", "hydrogen cyanide"),
        ("bonded vegetable leather", "'bonded' may be"),
        ("vegetable, lacquered", "poisonous"),
        ("vegetable+waxed", "poisonous"),
        ("vegetable_pu", "poisonous"),
        ("végétal", "poisonous"),
    ],
)
def test_other_leather_is_refused_on_a_laser_with_the_reason(tannage, says):
    with pytest.raises(CutError, match=says):
        fit_for(made(LASER), tannage)


def test_chrome_can_be_allowed_and_plastics_never():
    allowed = made(LASER | {"chrome_allowed": True})
    fit_for(allowed, "chrome")
    for tannage in ("PVC", "chrome, PU coated", "chrome, bonded", ""):
        with pytest.raises(CutError):
            fit_for(allowed, tannage)


@pytest.mark.parametrize("tannage", ["chrome", "PVC", ""])
def test_a_knife_takes_any_leather(tannage):
    fit_for(made(DRAG), tannage)


ROUTER = DRAG | {"formats": ["gcode"], "z_cut": -4.0}


@pytest.mark.parametrize(
    ("changes", "likely", "says"),
    [
        (DRAG | {"most_thickness": 2.0}, 3.4, r"about 3\.4 mm thick.* gets through 2 mm"),
        (LASER | {"most_thickness": 3.0, "passes": 2}, 3.4, r"3 mm \(in 2 passes\)"),
        (ROUTER, 4.1, r"under A1 the leather is about 4\.1 mm thick.* through 4 mm"),
        (ROUTER | {"most_thickness": 5.0}, 4.1, "or set z_cut if"),
        (ROUTER | {"most_thickness": 3.0}, 3.4, "or set most_thickness if"),
    ],
)
def test_leather_that_the_tool_does_not_get_through_is_refused(changes, likely, says):
    with pytest.raises(CutError) as refused:
        thin_enough(made(changes), Depth(likely, likely + 0.2, 3.0, "A1"))
    assert re.search(says, str(refused.value))


@pytest.mark.parametrize(
    ("changes", "depth", "says"),
    [
        (LASER, Depth(3.4, 3.6, 3.0), "does not say what mine gets through"),
        (ROUTER, Depth(3.8, 4.2, 3.4), "may be 4.2 mm thick in places"),
        (ROUTER, Depth(None, 3.6, 3.2), "was not gauged; the sheaths ask for up to 3.6 mm"),
        (ROUTER, Depth(3.0, 3.2, 2.4), "goes 1.6 mm deeper than the leather"),
    ],
)
def test_leather_that_it_may_not_get_through_is_told(changes, depth, says):
    (told,) = thin_enough(made(changes), depth)
    assert says in told


def test_leather_that_it_gets_through_needs_no_word():
    assert thin_enough(made(ROUTER | {"most_thickness": 4.0}), Depth(3.4, 3.8, 3.1)) == ()


@pytest.mark.parametrize(
    ("old", "new"), [("swivel_threshold", "turn_from"), ("swivel_height", "turn_height")]
)
def test_a_profile_with_a_key_of_an_older_name_is_told_the_new_one(old, new):
    with pytest.raises(InputError, match=f"{old} is called {new} now. Write {new}."):
        machine_of({"tool": "hand", "bed": [600, 400], old: 10.0}, "mine")
