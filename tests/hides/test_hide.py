"""Hide: areas, cost, and the ground that a part may lie on."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import Point, box

from hides.errors import InputError
from hides.flaws import FACES, FLAW_KINDS, bars
from hides.hide import Hide, Price
from hides.outline import Outline
from hides.thickness import Need, Reading, Zone
from hides.units import FT2
from tests.small_hides import gauged, sheet, square_flaw

ANY = Need(0.5, 10.0, unknown=True)
HOLE = Outline.of([(500, 300), (520, 300), (520, 330), (500, 330)])  # 6 cm²


def edge_points(shape: shapely.Geometry) -> np.ndarray:
    """Points along all edges, 2 mm apart."""
    return shapely.get_coordinates(shapely.segmentize(shapely.boundary(shape), 2.0))


def test_areas_are_those_drawn() -> None:
    """By hand: 60 dm², less a hole of 6 cm², less one of two flaws that bars every face."""
    flaws = (square_flaw("loose", 100, 100, 50), square_flaw("vein", 300, 100, 50))
    hide = sheet(holes=(HOLE,), flaws=flaws)
    assert hide.gross_area == 600_000 - 600
    assert hide.usable_area == pytest.approx(600_000 - 600 - 2_500)


def test_flaws_that_overlap_or_hang_over_the_edge_count_once() -> None:
    """Two holes share half their area, and a third hangs half off the leather."""
    flaws = (
        square_flaw("hole", 100, 100, 50),
        square_flaw("hole", 125, 100, 50),
        square_flaw("hole", -25, 300, 50),
    )
    assert sheet(flaws=flaws).usable_area == pytest.approx(600_000 - 75 * 50 - 25 * 50)


@pytest.mark.parametrize(
    ("price", "stamped", "paid"),
    [
        (Price(10.0, "EUR", "ft2"), 6.5 * FT2, 65.0),  # the stamp is what is paid for
        (Price(10.0, "EUR", "ft2"), None, 10 * 600_000 / FT2),  # unstamped: as traced
        (Price(1.5, "EUR", "dm2"), 600_000.0, 90.0),
        (Price(70.0, "EUR", "piece"), 6.5 * FT2, 70.0),
    ],
)
def test_the_whole_hide_bears_exactly_what_was_paid(
    price: Price, stamped: float | None, paid: float
) -> None:
    """And half of it half, whatever the stamp says of its area."""
    hide = sheet(price=price, supplier_area=stamped)
    assert hide.paid == pytest.approx(paid)
    assert hide.cost(hide.gross_area) == pytest.approx(paid)
    assert hide.cost(hide.gross_area / 2) == pytest.approx(paid / 2)


def test_a_hide_without_a_price_costs_nothing_known() -> None:
    """None, not zero."""
    assert sheet().paid is None
    assert sheet().cost(1000.0) is None
    with pytest.raises(InputError, match="per ft2, dm2, piece, got 'm2'"):
        Price(1.0, "EUR", "m2")


def test_usable_cost_is_the_guides() -> None:
    """A supplier's cutting guide: $250 and $30 freight for 22 ft² with 15 % waste is $14.97 a
    usable foot.
    """
    hide = sheet(price=Price(280.0, "USD", "piece"), supplier_area=22 * FT2)
    usable_feet = 22 * 0.85
    assert round(usable_feet, 1) == 18.7
    cost = hide.cost(hide.gross_area)
    assert cost is not None
    assert cost / usable_feet == pytest.approx(14.97, abs=0.005)


def test_ground_without_flaws_is_the_hide_within_the_margin() -> None:
    """A rectangle less 5 mm all round, to the hundredth part that offsets may give away."""
    ground = sheet().ground("front", ANY, 5.0)
    assert box(5.06, 5.06, 994.94, 594.94).within(ground)
    assert ground.within(box(5, 5, 995, 595))
    assert sheet().ground("front", ANY, 0.0).equals(sheet().polygon)


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("kind", FLAW_KINDS)
def test_ground_keeps_clear_of_flaws_that_bar_the_face(kind: str, face: str) -> None:
    """By the kind's margin, no less and at most a fiftieth more; of others it takes no notice."""
    flaw = square_flaw(kind, 400, 200, 60)
    ground = sheet(flaws=(flaw,)).ground(face, ANY, 5.0)
    if bars(flaw, face):
        margin = FLAW_KINDS[kind].margin
        assert margin - 1e-9 <= ground.distance(flaw.shape) <= 1.02 * margin
        assert not ground.contains(Point(430, 230))
    else:
        assert ground.contains(flaw.shape)


def test_ground_keeps_the_edge_margin_from_holes() -> None:
    """A hole is an edge like the outer one."""
    ground = sheet(holes=(HOLE,)).ground("hidden", ANY, 8.0)
    assert 8.0 <= ground.distance(HOLE.polygon) <= 8.2


def test_a_flaw_across_the_hide_leaves_two_grounds() -> None:
    """And islands too small for any part are dropped."""
    gap = [square_flaw("hole", 480, y, 40) for y in range(-20, 600, 40)]
    ground = sheet(flaws=tuple(gap)).ground("hidden", ANY, 5.0)
    assert ground.geom_type == "MultiPolygon"
    assert len(ground.geoms) == 2
    moat = [
        square_flaw("hole", x, y, 25)
        for x in (100, 125, 150)
        for y in (100, 125, 150)
        if (x, y) != (125, 125)
    ]
    around = sheet(flaws=tuple(moat)).ground("hidden", ANY, 5.0)
    assert not around.contains(Point(137, 137))  # dry, but only 19 mm across
    assert around.geom_type == "Polygon"


def test_a_hide_that_is_nowhere_good_has_empty_ground() -> None:
    """Empty, not an error."""
    assert sheet(readings=(Reading(500, 300, 2.0),)).ground("front", Need(3.2, 3.5), 5.0).is_empty
    assert sheet().ground("front", ANY, 400.0).is_empty


def test_ground_of_zones_is_exact_to_the_inset() -> None:
    """A zone is in or out as a whole; a later zone overrides an earlier."""
    zones = (
        Zone("good", 3.2, 3.5, box(0, 0, 600, 600)),
        Zone("thin", 2.0, 2.4, box(200, 200, 300, 300)),
    )
    allowed = sheet(zones=zones).allowed(Need(3.2, 3.5))
    assert box(2, 2, 598, 198).within(allowed)
    assert not allowed.intersects(box(199, 199, 301, 301))
    assert not allowed.intersects(box(599, 0, 1000, 600))


def random_hide(seed: int) -> tuple[Hide, Need]:
    """A sheet with a few random readings, perhaps a zone, and a random need."""
    rng = np.random.default_rng(seed)
    places = rng.uniform((0, 0), (1000, 600), (int(rng.integers(1, 16)), 2))
    values = 3.4 - 1e-3 * places[:, 1] + rng.normal(0, 0.12, len(places))
    zones = (Zone("z", 3.0, 3.4, box(300, 100, 640, 333)),) if seed % 3 == 0 else ()
    low = rng.uniform(2.7, 3.3)
    need = Need(low, low + rng.uniform(0.15, 0.7), seed % 2 == 0, rng.uniform(0.1, 0.5))
    return sheet(readings=gauged(values, places), zones=zones), need


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 100_000))
def test_no_point_of_the_ground_breaks_the_thickness_rule(seed: int) -> None:
    """The pointwise rule holds on the border of the ground, where it is nearest to fail, and
    inside it.
    """
    hide, need = random_hide(seed)
    ground = hide.ground("front", need, 5.0)
    assert ground.is_valid
    assume(not ground.is_empty)
    inside = np.random.default_rng(seed).uniform((0, 0), (1000, 600), (3000, 2))
    inside = inside[shapely.contains_xy(ground, *inside.T)]
    points = np.vstack([edge_points(ground), inside])
    assert hide.thickness.chance_outside(points, need).max() <= need.risk


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 100_000))
def test_little_ground_is_given_away(seed: int) -> None:
    """Leather that meets the need and is missing from the allowed region lies near its border,
    or is an island too small to use.
    """
    hide, need = random_hide(seed)
    allowed = hide.allowed(need)
    inside = np.random.default_rng(seed).uniform((10, 10), (990, 590), (3000, 2))
    good = inside[hide.thickness.chance_outside(inside, need) <= need.risk]
    lost = good[~shapely.contains_xy(allowed, *good.T)]
    assert len(lost) <= 0.05 * len(inside)


def test_allowed_and_usable_leather_is_what_is_of_the_right_thickness() -> None:
    """The left half is a good zone of 30 dm², less a hole of 25 cm² in it and the inset."""
    hide = sheet(
        zones=(Zone("good", 3.2, 3.5, box(0, 0, 500, 600)),),
        flaws=(square_flaw("hole", 100, 100, 50), square_flaw("vein", 300, 100, 50)),
    )
    exact = 300_000 - 2_500
    assert exact - 2 * 2200 <= hide.usable.intersection(hide.allowed(Need(3.2, 3.5))).area <= exact
    assert hide.usable.intersection(hide.allowed(Need(4.0, 5.0))).area == 0


def test_ground_is_worked_out_once_for_each_question() -> None:
    """The same object comes back, and another question gets another answer."""
    hide = sheet(readings=(Reading(500, 300, 3.4),))
    first = hide.ground("front", Need(3.3, 3.5), 5.0)
    assert hide.ground("front", Need(3.3, 3.5), 5.0) is first
    assert hide.ground("front", Need(3.3, 3.5), 6.0) is not first
    assert hide.stretch is hide.stretch
    assert hide.thickness is hide.thickness


def test_stretch_is_scaled_to_the_hides_own_size() -> None:
    """A side of half the usual length ends its bend at half the usual place."""
    side = sheet(piece="side")
    bend, shoulder = side.stretch.direction(np.array([[300.0, 100.0], [900.0, 100.0]]))
    assert (bend, shoulder) == (0.0, 90.0)
