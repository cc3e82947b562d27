"""Remarks: what looks odd in a sound record is said, and nothing else; so too what a captured or
measured hide brings: turned outlines, flaws half off, zones.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, box

from hides.hide import Hide, Price
from hides.outline import Outline
from hides.record import read
from hides.remarks import of_readings, remarks, straight
from hides.thickness import Reading, Zone
from tests.bench import thickness as bench
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
        (replace(QUIET, tannage=""), "no laser takes this hide"),
        (replace(QUIET, zones=()), "No thickness is given"),
        (replace(QUIET, zones=(Zone("a", 3.2, 3.6, box(0, 0, 500, 600)),)), "leave 50% of the"),
        (replace(QUIET, zones=(), readings=(Reading(5, 5, 3.0),)), "Only 1 readings"),
        (
            replace(QUIET, zones=(), readings=ODD),
            r"Reading 8 at \(500, 300\), 2.40 mm, is 1.00 mm less",
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
            r"Flaw 1 \(scar\) at \(1515, 35\)",
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


def test_rough_leather_is_told_with_how_many_readings_it_takes() -> None:
    """25 readings of waves shorter than they are apart."""
    rng, leather = np.random.default_rng(9), box(0, 0, 2200, 950)
    spots = bench.places(rng, leather, 25, "spread")
    outline = Outline.of(leather.exterior.coords)
    about = {"piece": "side", "outline": outline, "price": PRICE}
    even, rough = (
        sheet(**about, readings=bench.gauged(bench.Field(9, rough=rough), spots, rng))
        for rough in (False, True)
    )
    assert not any("more readings are needed" in words for words in remarks(even))
    (said,) = [words for words in remarks(rough) if "more readings are needed" in words]
    assert f"25 count, about {rough.thickness.wanted(leather)} spread" in said
    assert of_readings(rough) == (said,)


def test_an_odd_reading_is_told_with_what_to_do_and_confirmed_it_is_not() -> None:
    """It counts for nothing until then."""
    hide = replace(QUIET, zones=(), readings=ODD)
    assert any("so it counts for nothing. Measure it again; if" in w for w in remarks(hide))
    assert any("(croupon hide add --confirm 8)" in words for words in remarks(hide))
    sure = tuple(replace(r, confirmed=r.thickness < 3) for r in ODD)
    assert not any("foretell" in words for words in remarks(replace(hide, readings=sure)))


def test_sample_hides_need_no_remark() -> None:
    """They are the pattern that users follow."""
    folder = ROOT / "shared" / "hides"
    assert [remarks(read(path)) for path in sorted(folder.glob("*.hide.json"))] == [(), (), ()]


RIM = np.array([(0, 500), (200, 900), (700, 800), (1300, 780), (1800, 950), (2100, 500)], float)
SIDE = np.vstack([[(2100, 0), (0, 0)], RIM])[::-1]  # straight backbone, a belly with two legs
ALL = Zone("all", 3.2, 3.6, box(-10, -10, 2200, 1010))


def side(points: np.ndarray = SIDE, **changes: object) -> Hide:
    """A side without anything to remark."""
    about = {"piece": "side", "price": Price(1.0, "EUR", "ft2"), "zones": (ALL,), **changes}
    return sheet(outline=Outline.of(points), **about)


def test_a_side_in_its_frame_is_passed() -> None:
    """So what follows is said for cause."""
    assert remarks(side()) == ()


@pytest.mark.parametrize(
    ("points", "said"),
    [
        (SIDE, False),
        (SIDE * (-1, 1) + (2100, 0), False),  # tail and neck changed: no outline can tell
        (SIDE * (1, -1) + (0, 950), True),  # mirrored: the belly at y = 0
        (SIDE * (-1, -1) + (2100, 950), True),  # turned by half a turn
        (SIDE + RIM[0] * 0, False),
    ],
)
def test_a_turned_or_mirrored_side_is_told_by_its_straight_edge(
    points: np.ndarray, said: bool
) -> None:
    """The backbone is cut straight, the belly has legs."""
    found = [words for words in remarks(side(points)) if "turned or mirrored" in words]
    assert bool(found) == said


def test_straightness_is_a_length_along_the_backbone() -> None:
    """All of the backbone's 2100 mm, and what of both ends lies within the strip."""
    assert straight(Outline.of(SIDE), 0.0) == pytest.approx(2100 + 2 * 25)


@pytest.mark.parametrize(
    ("y", "says"),
    [
        (-90.0, "Flaw 1 (scar) at (550, -40) lies mostly off the leather."),  # 90 % off
        (-200.0, "Flaw 1 (scar) at (550, -150) lies off the leather."),
        (-40.0, ""),  # a flaw at the rim is drawn a little over it
    ],
)
def test_a_flaw_off_the_leather_is_named(y: float, says: str) -> None:
    """Wholly, or by more than half."""
    found = remarks(side(flaws=(square_flaw("scar", 500, y, 100),)))
    assert found == ((says,) if says else ())


def test_a_zone_with_a_hole_is_asked_about() -> None:
    """With the area where it does not count: 200 × 100 mm."""
    holed = Polygon(ALL.polygon.exterior.coords, [box(300, 300, 500, 400).exterior.coords])
    found = remarks(side(zones=(replace(ALL, polygon=holed),)))
    assert found[-1] == (
        "Zone 'all' has 1 hole of 200 cm² in all; there it doesn't count. Is that meant?"
    )


@pytest.mark.parametrize(
    ("thickness", "said"),
    [
        (3.4, False),
        (3.75, False),  # within what a gauge and a range leave open
        (3.9, True),
        (2.9, True),
    ],
)
def test_a_reading_far_from_its_zones_range_is_named(thickness: float, said: bool) -> None:
    """The zone counts, so the user must know."""
    found = remarks(side(readings=(Reading(500, 300, thickness),)))
    assert any("lies in the zone 'all', given as 3.2 to 3.6" in words for words in found) == said
