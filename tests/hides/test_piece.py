"""A piece cut off a hide has the leather of its parent: ground, thickness, stretch, price."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Polygon, box
from shapely.affinity import scale, translate

from hides import record
from hides.errors import HideError, InputError
from hides.flaws import FACES
from hides.hide import Price
from hides.outline import Outline
from hides.piece import piece_of
from hides.thickness import Need, Reading
from tests import small
from tests.places import ROOT

NEEDS = (Need(3.2, 3.5), Need(3.0, 3.4), Need(2.6, 3.2, may_split=True))


@pytest.fixture(scope="module")
def birch():
    return record.read(ROOT / "shared/hides/birch.hide.json")


def mirrored(hide):
    """The right side of the same animal: its belly lies at y < 0."""

    def turned(shape):
        return scale(shape, yfact=-1.0, origin=(0, 0))

    return replace(
        hide,
        outline=Outline.of(hide.outline.points * (1, -1)),
        backbone=hide.backbone * (1, -1),
        flaws=tuple(replace(flaw, shape=turned(flaw.shape)) for flaw in hide.flaws),
        readings=tuple(replace(reading, y=-reading.y) for reading in hide.readings),
        stretch_lines=tuple(line * (1, -1) for line in hide.stretch_lines),
        sha256="mirrored",
    )


PIECES = {
    "with the backbone": box(572.3, -100, 3000, 2000),
    "from the middle": Polygon([(700, 250), (1500, 300), (1400, 700), (650, 650)]),
}


@pytest.mark.parametrize("where", PIECES)
@pytest.mark.parametrize("side", ["left", "right"])
def test_its_ground_is_that_of_the_parent_there(birch, where, side) -> None:
    """Off the new edges, no place of 2 mm width is ground of one and not of the other.

    Thickness agrees to 1e-5 mm though most readings lie off the piece, stretch to 1e-9 degrees.
    """
    hide = birch if side == "left" else mirrored(birch)
    cut = PIECES[where] if side == "left" else scale(PIECES[where], yfact=-1.0, origin=(0, 0))
    shape = hide.polygon.intersection(cut)
    piece = piece_of(hide, shape, "rest")
    x, y = (getattr(piece.as_whole, key) - getattr(hide.as_whole, key) for key in ("tail", "back"))
    assert translate(shape, x, y).symmetric_difference(piece.polygon).area < 1e-3
    inner = piece.polygon.buffer(-8.0)
    for need in NEEDS:
        for face in FACES:
            there = translate(hide.ground(face, need, 5.0), x, y).intersection(inner)
            here = piece.ground(face, need, 5.0).intersection(inner)
            assert there.symmetric_difference(here).buffer(-1.0).is_empty, (need, face)
    low, high = np.reshape(piece.outline.bounds, (2, 2))
    points = np.random.default_rng(1).uniform(low, high, (400, 2))
    assert np.abs(
        np.array(hide.thickness.field(points - (x, y))) - piece.thickness.field(points)
    ).max() < 1e-5  # fmt: skip
    off = hide.stretch.direction(points - (x, y)) - piece.stretch.direction(points)
    assert np.abs((off + 90) % 180 - 90).max() < 1e-9


def test_readings_on_the_piece_alone_would_tell_of_other_leather(birch) -> None:
    """Why all of them are kept, and what the piece was cut from: else thickness is off."""
    shape = birch.polygon.intersection(PIECES["from the middle"])
    piece = piece_of(birch, shape, "rest")
    own = [r for r in piece.readings if piece.polygon.contains(shapely.Point(r.x, r.y))]
    poorer = replace(piece, readings=tuple(own), whole=None)
    points = np.array([piece.polygon.representative_point().coords[0]])
    assert 3 <= len(own) < len(piece.readings) == len(birch.readings)
    assert abs(poorer.thickness.deviation(points) / piece.thickness.deviation(points) - 1) > 0.05


def test_its_frame_begins_at_its_edges(birch) -> None:
    """x at its tail end; y at the backbone where it has one, else at its lowest edge."""
    with_back, middle = (
        piece_of(birch, birch.polygon.intersection(cut), "rest") for cut in PIECES.values()
    )
    assert with_back.outline.bounds[0] == pytest.approx(0.0)
    assert np.abs(with_back.backbone[:, 1]).max() < 10.0
    assert middle.outline.bounds[:2] == pytest.approx((0.0, 0.0))
    assert middle.backbone is None


def test_flaws_and_zones_are_clipped_and_the_price_is_its_share() -> None:
    """The right half of the small hide: half the scar's square, none of the stain; 300 × 600 mm
    of thick leather; 60 EUR for 0.5975 m², of which it has 0.2975.
    """
    hide = replace(small.hide(), price=Price(60.0, "EUR", "piece"))
    piece = piece_of(hide, hide.polygon.intersection(box(475, 0, 1000, 600)), "Slate II")
    (scar, stain) = piece.flaws
    assert scar.shape.bounds == pytest.approx((-3.0, 450, 25, 500), abs=0.05)  # its margin is 3 mm
    assert stain.shape.bounds == pytest.approx((25, 250, 75, 300))
    assert [(zone.name, zone.polygon.area) for zone in piece.zones] == [
        ("thick", pytest.approx(125 * 600)),
        ("thin", pytest.approx(400 * 600 - 2500)),
    ]
    share = (525 * 600 - 2500) / hide.gross_area
    assert piece.price == Price(round(60 * share, 2), "EUR", "piece")
    assert (piece.parent, piece.piece, piece.supplier_area) == ("Slate", "remnant", None)
    assert len(piece.holes) == 1


def test_it_is_read_back_as_it_was_written(birch, tmp_path) -> None:
    piece = piece_of(birch, birch.polygon.intersection(PIECES["from the middle"]), "Birch II")
    record.write(piece, tmp_path / "birch-ii.hide.json")
    again = record.read(tmp_path / "birch-ii.hide.json")
    assert record.text(again) == record.text(piece)
    assert again.whole == piece.whole
    assert again.readings == piece.readings
    assert again.price == piece.price


def test_a_remnant_of_a_remnant_is_still_of_the_first_hide(birch) -> None:
    """Cut twice or once, the same leather."""
    outer, inner = box(572.3, -100, 3000, 2000), box(900, 200, 1300, 600)
    first = piece_of(birch, birch.polygon.intersection(outer), "rest")
    dx = first.as_whole.tail - birch.as_whole.tail
    twice = piece_of(first, translate(inner, dx, 0.0), "rest of it")
    once = piece_of(birch, inner, "rest of it")
    assert twice.whole.tail == pytest.approx(once.whole.tail)
    assert (twice.whole.piece, twice.parent) == ("side", "rest")
    points = np.array([[100.0, 100.0], [300.0, 350.0]])
    assert twice.thickness.mean(points) == pytest.approx(once.thickness.mean(points), abs=1e-5)
    assert twice.cost(1e4) == pytest.approx(once.cost(1e4), rel=1e-3)  # cents are rounded


def test_a_piece_off_the_leather_is_refused() -> None:
    """100 × 600 mm beyond the edge, of which 1 mm is forgiven."""
    with pytest.raises(HideError, match="594 cm² of the piece lie off Slate"):
        piece_of(small.hide(), box(900, 0, 1100, 600), "rest")


def test_a_reading_far_from_all_that_was_the_hide_is_still_refused(birch, tmp_path) -> None:
    """Readings of a remnant may lie off it, but not where there never was leather."""
    piece = piece_of(birch, birch.polygon.intersection(PIECES["from the middle"]), "Birch II")
    wrong = replace(piece, readings=(*piece.readings, Reading(9000.0, 0.0, 3.2)))
    record.write(wrong, tmp_path / "a.hide.json")
    with pytest.raises(InputError, match="off the leather"):
        record.read(tmp_path / "a.hide.json")
