"""Colours that can be told apart and read, by open measures."""

import ast
import re
from itertools import combinations, product

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from hides.flaws import FACES, FLAW_KINDS, SIDES, Flaw
from nest.draw import palette
from nest.draw.leather import barred, flaw_code
from nest.draw.palette import FILLS, HATCHES, INK, LEATHER, PAPER, THICK, THIN, fill_of
from nest.draw.sheet import Style
from nest.draw.words import Type
from tests.places import ROOT

GROUNDS = ("PAPER", "LEATHER", "THIN", "THICK", "PATTERN_FILL", "KNIFE_FILL", "FLOOR", "ASH")
OVER_PARTS = ("INK", "FLAW", "THREAD")  # beside the fills' own ground
WORDS = (*OVER_PARTS, "FADED", "REMNANT", "ALARM", "UMBER")
LINES = (*WORDS, "TAN", "LEAF")
ON_PAPER = ("HAIR", "BLACK")
BESIDE_WORDS = ("BAR", "BEST_BAR")
ON_PHOTOS = ("THREAD", "FLAW", "ALARM", "REMNANT", "INK")
PAGES = [path for folder in ("draw", "report") for path in (ROOT / "nest" / folder).glob("*.py")]
COLOURS = {name: c for name, c in vars(palette).items() if re.fullmatch("#[0-9a-f]{6}", str(c))}

# Machado, Oliveira and Fernandes 2009, severity 1.0, for linear RGB (values from memory).
SIGHT = {
    "usual": np.eye(3),
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
}
# sRGB primaries and white D65: IEC 61966-2-1
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour):
    """sRGB to linear light (IEC 61966-2-1)."""
    c = np.array(to_rgb(colour))
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light):
    """CIE 1976 L*a*b* of linear light."""
    ratio = TO_XYZ @ np.clip(light, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one, other):
    """Contrast ratio of WCAG 2.2: (L1 + 0.05) / (L2 + 0.05), L the relative luminance."""
    a, b = (float(TO_XYZ[1] @ linear(c)) + 0.05 for c in (one, other))
    return max(a, b) / min(a, b)


def least(names, grounds):
    """The least contrast of any of ``names`` on any of ``grounds``, and whose it is."""
    pairs = product(names, grounds)
    return min((contrast(COLOURS.get(n, n), COLOURS.get(g, g)), n, g) for n, g in pairs)


def test_the_contrast_formula_knows_its_ends():
    """WCAG 2.2: black on white is 21 to 1, a colour on itself 1 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=0.01)
    assert contrast(INK, INK) == 1.0


def test_the_lightness_formula_knows_its_ends():
    """CIE 1976: white is 100, black 0, and 18 % grey about 50 (49.5)."""
    assert lab(np.ones(3))[0] == pytest.approx(100.0, abs=0.01)
    assert lab(np.zeros(3))[0] == pytest.approx(0.0, abs=1e-9)
    assert lab(np.full(3, 0.18))[0] == pytest.approx(49.5, abs=0.1)


def test_every_colour_is_judged_below():
    judged = {*GROUNDS, *LINES, *ON_PAPER, *BESIDE_WORDS}
    assert set(COLOURS) == judged


def test_no_other_module_of_pages_names_a_colour():
    """So that what is judged here is all there is."""
    named = [p.name for p in PAGES if re.search("#[0-9a-fA-F]{3,8}[\"']", p.read_text())]
    assert sorted(named) == ["palette.py", "words.py"]


def test_words_read_on_paper_and_on_the_darkest_leather():
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for small words. Region words had 1.6."""
    assert least(WORDS, GROUNDS) >= (4.5,)


def test_lines_are_seen_on_paper_and_on_the_darkest_leather():
    """WCAG 2.2, success criterion 1.4.11: 3 to 1 for what must be seen. Stretch dashes had 1.9."""
    assert least(LINES, GROUNDS) >= (3.0,)
    assert least(("HAIR",), ("PAPER", "PATTERN_FILL", "KNIFE_FILL")) >= (3.0,)


def test_marks_are_seen_over_every_part():
    """The same 3 to 1: fold, stitches, flaws and outline on the darkest fill. Marks had 2.3."""
    assert least(OVER_PARTS, FILLS) >= (3.0,)


def test_lines_are_seen_on_any_photo():
    """With 9 to 1 to their white rim either line or rim has √9 on whatever lies behind."""
    assert least(ON_PHOTOS, ("PAPER",)) >= (9.0,)


def test_named_types_and_lines_use_colours_that_are_judged():
    words = {COLOURS[name] for name in WORDS}
    lines = {COLOURS[name] for name in (*LINES, "HAIR")} | {""}
    looks = vars(palette).values()
    assert {look.colour for look in looks if isinstance(look, Type)} <= words
    assert {look.edge for look in looks if isinstance(look, Style)} <= lines
    assert sum(isinstance(look, Style) for look in looks) > 15


def test_pages_write_and_draw_in_colours_that_are_judged_for_it():
    """Wherever a module of pages makes a type or a style: HAIR is no colour for words."""
    words, lines = {*WORDS, "BLACK"}, {*LINES, "HAIR", "BLACK", "PAPER"}  # PAPER: rims on photos
    found = [call for path in PAGES for call in ast.walk(ast.parse(path.read_text()))]
    calls = [one for one in found if isinstance(one, ast.Call) and isinstance(one.func, ast.Name)]
    for call in calls:
        named = {keyword.arg: keyword.value for keyword in call.keywords}
        if call.func.id == "Type" and len(call.args) > 1:
            named["colour"] = call.args[1]
        for key, allowed in (("colour", words), ("edge", lines)):
            one = named.get(key)
            if isinstance(one, ast.Name) and one.id in COLOURS:
                assert one.id in allowed, ast.unparse(call)
    assert sum(call.func.id == "Style" for call in calls) > 40


def test_fills_are_apart_in_grey():
    """4 in CIE lightness and more, on a scale of 100; about 1 is just seen (common practice)."""
    grey = sorted(lab(linear(fill))[0] for fill in FILLS)
    assert np.diff(grey).min() >= 4.0


def test_the_first_fills_are_further_apart_in_grey():
    """Most weeks have few patterns: of three any two differ by 13."""
    grey = sorted(lab(linear(fill))[0] for fill in FILLS[:3])
    assert np.diff(grey).min() >= 13.0


def test_thickness_grows_darker_in_grey():
    tones = [lab(linear(colour))[0] for colour in (THIN, LEATHER, THICK)]
    assert tones == sorted(tones, reverse=True)


@pytest.mark.parametrize("sight", SIGHT)
def test_fills_differ_to_every_eye(sight):
    """CIE76 difference of 12 and more; about 2.3 is just seen (common practice)."""
    seen = [lab(np.array(SIGHT[sight]) @ linear(c)) for c in (*FILLS, LEATHER)]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) >= 12.0


@pytest.mark.parametrize("fill", [*FILLS, LEATHER, THICK, PAPER])
def test_ink_reads_on_every_fill(fill):
    """WCAG 2.2, level AA, asks 4.5 of small words."""
    assert contrast(INK, fill) >= 4.5


def test_fills_repeat_after_the_last():
    assert fill_of(0) == fill_of(len(FILLS)) != fill_of(1)


def test_every_kind_of_flaw_has_its_own_code():
    codes = [flaw_code(kind) for kind in FLAW_KINDS]
    assert len(set(codes)) == len(FLAW_KINDS)
    assert all(len(code) == 2 for code in codes)


def test_no_code_of_a_flaw_could_be_another_kind():
    """Soft was "so", which sore begins with, too."""
    for kind in FLAW_KINDS:
        like = [name for name in FLAW_KINDS if name.startswith(flaw_code(kind))]
        assert like in ([], [kind])


@pytest.mark.parametrize("kind", FLAW_KINDS)
@pytest.mark.parametrize("side", SIDES)
def test_every_flaw_has_a_hatch_of_its_own_severity(kind, side):
    """No kind falls back to the hatch for the unforeseen."""
    faces = barred(Flaw(kind, side, None))
    assert faces in HATCHES
    assert faces <= set(FACES)


def test_hatches_differ():
    assert len(set(HATCHES.values())) == len(HATCHES)
