"""Remarks: what looks odd in a sound record is said, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from hides.hide import Hide, Price
from hides.outline import Outline
from hides.record import read
from hides.remarks import remarks
from hides.thickness import Reading, Zone
from tests.places import ROOT
from tests.small_hides import SHEET, sheet, square_flaw

PRICE = Price(10.0, "EUR", "ft2")
WHOLE = Zone("all", 3.2, 3.6, box(-10, -10, 1010, 610))
QUIET = sheet(price=PRICE, zones=(WHOLE,), supplier_area=610_000.0)
GRID = [(x, y) for x in range(100, 1000, 200) for y in range(100, 600, 200)]
ODD = tuple(Reading(x, y, 3.4 if (x, y) != (500, 300) else 2.4) for x, y in GRID)


def test_a_complete_record_is_passed_without_remark() -> None:
    """1.6 % between outline and stamp is within what buyers and sellers bargain over."""
    assert remarks(QUIET) == ()


@pytest.mark.parametrize(
    ("hide", "says"),
    [
        (replace(QUIET, supplier_area=650_000.0), "-7.7% against the stamped 65.0 dm²"),
        (replace(QUIET, supplier_area=560_000.0), "7.1% against the stamped"),
        (replace(QUIET, price=None), "No price"),
        (replace(QUIET, zones=()), "No thickness is given"),
        (replace(QUIET, zones=(Zone("a", 3.2, 3.6, box(0, 0, 500, 600)),)), "leave 50% of the"),
        (replace(QUIET, zones=(), readings=(Reading(5, 5, 3.0),)), "Only 1 readings"),
        (
            replace(QUIET, zones=(), readings=ODD),
            r"Reading 7 at \(500, 300\), 2.40 mm, is 1.00 mm less",
        ),
        (
            replace(QUIET, zones=(WHOLE, Zone("b", 2.0, 2.4, box(0, 0, 100, 100)))),
            "'all' and 'b' overlap by 100 cm²; there 'b' counts",
        ),
        (
            replace(QUIET, zones=(WHOLE, Zone("off", 2.0, 2.4, box(2000, 0, 2100, 100)))),
            "Zone 'off' lies off the leather",
        ),
        (
            replace(QUIET, flaws=(square_flaw("scar", 1500, 20, 30),)),
            r"Flaw 0 \(scar\) at \(1515, 35\)",
        ),
        (
            replace(QUIET, piece="side", outline=Outline.of(np.add(SHEET, (300, 400))), zones=()),
            "begins at .300, 400.; a side's frame",
        ),
    ],
)
def test_what_looks_odd_is_said(hide: Hide, says: str) -> None:
    """In a plain sentence with the figures."""
    import re

    assert any(re.search(says, sentence) for sentence in remarks(hide))


def test_sample_hides_need_no_remark() -> None:
    """They are the pattern that users follow."""
    folder = ROOT / "shared" / "hides"
    assert [remarks(read(path)) for path in sorted(folder.glob("*.hide.json"))] == [(), (), ()]
