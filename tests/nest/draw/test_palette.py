"""Colours that can be told apart and read, by open measures."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from hides.flaws import FACES, FLAW_KINDS, SIDES, Flaw
from nest.draw.leather import barred, flaw_code
from nest.draw.palette import FADED, FILLS, FLAW, HATCHES, INK, LEATHER, PAPER, THICK, fill_of

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
    """Contrast ratio of WCAG 2.1: (L1 + 0.05) / (L2 + 0.05)."""
    a, b = (float(TO_XYZ[1] @ linear(c)) + 0.05 for c in (one, other))
    return max(a, b) / min(a, b)


def test_the_contrast_formula_knows_its_ends():
    """WCAG 2.1: black on white is 21 to 1, a colour on itself 1 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=0.01)
    assert contrast(INK, INK) == 1.0


@pytest.mark.parametrize("sight", SIGHT)
def test_fills_differ_to_every_eye(sight):
    """CIE76 difference of 12 and more; about 2.3 is just seen (common practice)."""
    seen = [lab(np.array(SIGHT[sight]) @ linear(c)) for c in (*FILLS, LEATHER)]
    least = min(np.linalg.norm(a - b) for a, b in combinations(seen, 2))
    assert least >= 12.0


@pytest.mark.parametrize("fill", [*FILLS, LEATHER, THICK, PAPER])
def test_ink_reads_on_every_fill(fill):
    """WCAG 2.1, level AA, asks 4.5 of small words."""
    assert contrast(INK, fill) >= 4.5


@pytest.mark.parametrize("words", [FADED, FLAW])
def test_small_print_reads_on_paper(words):
    assert contrast(words, PAPER) >= 4.5


def test_fills_repeat_after_the_last():
    assert fill_of(0) == fill_of(len(FILLS)) != fill_of(1)


def test_every_kind_of_flaw_has_its_own_code():
    codes = [flaw_code(kind) for kind in FLAW_KINDS]
    assert len(set(codes)) == len(FLAW_KINDS)
    assert all(len(code) == 2 for code in codes)


@pytest.mark.parametrize("kind", FLAW_KINDS)
@pytest.mark.parametrize("side", SIDES)
def test_every_flaw_has_a_hatch_of_its_own_severity(kind, side):
    """No kind falls back to the hatch for the unforeseen."""
    faces = barred(Flaw(kind, side, None))
    assert faces in HATCHES
    assert faces <= set(FACES)


def test_hatches_differ():
    assert len(set(HATCHES.values())) == len(HATCHES)
