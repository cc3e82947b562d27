"""Stretch: default directions by region, and the user's lines."""

import numpy as np
import pytest

from hides.stretch import FLANK, LINE_REACH, PIECES, StretchField

SIDE = StretchField("side", 0.0, 2200.0, 930.0)


def turn_between(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Least angle between undirected lines, degrees."""
    off = np.abs(a - b) % 180
    return np.minimum(off, 180 - off)


@pytest.mark.parametrize(
    ("x", "y", "angle"),
    [
        (500, 200, 0),  # bend: strength is higher along the backbone
        (1000, 30, 0),
        (1900, 200, 90),  # shoulder: fibres run across the spine
        (1700, 1000, 90),  # front leg
        (800, 900, FLANK),  # belly: least stretch across, towards the legs
        (300, 1150, FLANK),  # hind leg
    ],
)
def test_a_side_lies_tight_as_the_trade_says(x: float, y: float, angle: float) -> None:
    """Directions by region after published hide descriptions; borders and the flank's angle
    (60 to 90°) are a choice, no published source.
    """
    assert SIDE.direction(np.array([[x, y]], dtype=float))[0] == pytest.approx(angle)


def test_a_right_side_is_a_left_one_in_the_mirror() -> None:
    """Its belly lies at y < 0, and an angle read in the mirror is the negative one."""
    right = StretchField("side", 0.0, 2200.0, 930.0, right=True)
    x, y = np.meshgrid(np.arange(0, 2200, 90.0), np.arange(0, 1200, 90.0))
    above = np.column_stack([x.ravel(), y.ravel()])
    found = right.direction(above * [1, -1])
    assert turn_between(found, -SIDE.direction(above)).max() < 1e-9


def test_regions_end_where_the_trade_measures_them() -> None:
    """Half the turn is made at about 0.60 of length and depth: strap cutters find the butt
    1370 to 1520 mm long and the belly line 508 to 559 mm below the backbone.
    """
    along = np.column_stack([np.arange(0, 2200, 1.0), np.full(2200, 100.0)])
    down = np.column_stack([np.full(930, 600.0), np.arange(0, 930, 1.0)])
    butt = np.searchsorted(SIDE.direction(along), 45.0)
    belly = np.searchsorted(SIDE.direction(down), FLANK / 2)
    assert butt == pytest.approx(0.61 * 2200, abs=2)
    assert 1300 <= butt <= 1520
    assert 508 <= belly <= 575


def test_regions_scale_with_the_hide() -> None:
    """A kip half as large has the same directions at half the coordinates."""
    small = StretchField("side", 0.0, 1100.0, 465.0)
    points = np.random.default_rng(1).uniform((0, 0), (2200, 1200), (500, 2))
    assert np.allclose(SIDE.direction(points), small.direction(points / 2))


def test_direction_turns_smoothly() -> None:
    """No jump anywhere: less than 0.5° from one mm to the next, lines of the user included."""
    line = np.array([[500.0, 700.0], [600.0, 800.0], [600.0, 950.0]])
    x, y = np.meshgrid(np.arange(0, 2200, 5.0), np.arange(0, 1200, 5.0))
    grid = np.stack([x, y], -1).reshape(-1, 2)
    for field in (SIDE, StretchField("side", 0.0, 2200.0, 930.0, (line,))):
        angles = field.direction(grid)
        for step in ((1.0, 0.0), (0.0, 1.0)):
            assert turn_between(angles, field.direction(grid + step)).max() < 0.6
        assert ((angles >= 0) & (angles < 180)).all()


@pytest.mark.parametrize(
    ("piece", "angle"),
    [("double butt", 0), ("bend", 0), ("shoulder", 90), ("belly", FLANK), ("remnant", 0)],
)
def test_other_pieces_have_one_default(piece: str, angle: float) -> None:
    """A piece without the whole side's landmarks can't have its regions."""
    field = StretchField(piece, -700.0, 1400.0, 1400.0)
    assert (field.direction(np.array([[0.0, -600.0], [600.0, 700.0]])) == angle).all()
    assert piece in PIECES


def test_a_users_line_rules_on_itself_and_fades_away() -> None:
    """On the line its own direction, far from it the default."""
    field = StretchField("bend", 0.0, 1400.0, 700.0, (np.array([[400.0, 100.0], [500.0, 200.0]]),))
    places = np.array([[450.0, 150.0], [450.0 + 5 * LINE_REACH, 150.0 + 5 * LINE_REACH]])
    assert np.allclose(field.direction(places), [45.0, 0.0], atol=0.01)
    across = np.column_stack([450 + np.arange(0, 500, 10.0), 150 - np.arange(0, 500, 10.0)])
    assert (np.diff(field.direction(across)) <= 1e-9).all()


def test_a_line_has_no_arrow() -> None:
    """Drawn the other way round it means the same."""
    line = np.array([[400.0, 100.0], [450.0, 300.0], [300.0, 500.0]])
    points = np.random.default_rng(2).uniform(0, 700, (300, 2))
    there, back = (
        StretchField("bend", 0.0, 1400.0, 700.0, (drawn,)).direction(points)
        for drawn in (line, line[::-1])
    )
    assert turn_between(there, back).max() < 1e-6


def test_points_added_on_a_line_change_nothing() -> None:
    """How finely a line was drawn must not matter, only where it runs."""
    coarse = np.array([[400.0, 100.0], [500.0, 300.0], [450.0, 500.0]])
    leg = coarse[0] + np.linspace(0, 1, 60)[:, None] * (coarse[1] - coarse[0])
    points = np.random.default_rng(4).uniform(200, 700, (300, 2))
    plain, finely = (
        StretchField("bend", 0.0, 1400.0, 700.0, (line,)).direction(points)
        for line in (coarse, np.vstack([leg, coarse[2:]]))
    )
    assert turn_between(plain, finely).max() < 1.5


def test_two_lines_share_the_ground_between_them() -> None:
    """Halfway between lines at 30° and 50° the direction is 40°; the default is too far off
    to be heard where both are near.
    """
    turn = np.deg2rad([30.0, 50.0])
    lines = tuple(
        np.array(
            [[x - 20 * np.cos(a), 300 - 20 * np.sin(a)], [x + 20 * np.cos(a), 300 + 20 * np.sin(a)]]
        )
        for x, a in zip((500.0, 540.0), turn, strict=True)
    )
    field = StretchField("bend", 0.0, 1400.0, 700.0, lines)
    assert field.direction(np.array([[520.0, 300.0]]))[0] == pytest.approx(40.0, abs=0.5)


def test_lines_that_cancel_out_leave_the_default() -> None:
    """Exactly opposite wishes at one place mean nothing; no NaN comes of it."""
    cross = (np.array([[0.0, -10.0], [0.0, 10.0]]), np.array([[-10.0, 0.0], [10.0, 0.0]]))
    field = StretchField("shoulder", 0.0, 900.0, 700.0, cross)
    assert field.direction(np.zeros((1, 2)))[0] == 90.0
