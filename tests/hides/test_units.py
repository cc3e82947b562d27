"""Units of the trade, against their definitions and against printed values."""

import math

import pytest

from hides.errors import InputError
from hides.units import (
    DM2,
    FOOT_PRESSURE,
    FT2,
    IRON,
    OUNCE,
    THICKEST,
    area_text,
    area_unit,
    parse_area,
    parse_thickness,
)


def test_units_are_those_of_their_definitions() -> None:
    """ASTM D1814 prints 0.396 mm to the ounce and 0.53 mm to the iron."""
    assert pytest.approx(FT2, rel=1e-12) == 144 * 25.4**2  # 1 ft = 12 in = 304.8 mm, definition
    assert pytest.approx(9.290304, abs=1e-12) == FT2 / DM2  # definition
    assert OUNCE == 0.396875  # 1/64 in
    assert int(OUNCE * 1000) == 396  # as ASTM D1814 prints it
    assert pytest.approx(0.5291667, abs=1e-7) == IRON  # 1/48 in
    assert round(IRON, 2) == 0.53  # as ASTM D1814 prints it


def test_gauge_pressure_is_what_the_standard_weight_and_foot_give() -> None:
    """ISO 2589: a mass of 393 g on a foot of 10 mm; the standard speaks of 500 g/cm²."""
    area = math.pi * 0.005**2
    assert 0.393 * 9.80665 / area / 1000 == pytest.approx(FOOT_PRESSURE, abs=0.005)
    assert 393 / (area * 1e4) == pytest.approx(500, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "area"),
    [
        ("22³ ft2", 22.75 * 92903.04),  # 211.354416 dm²: whole feet and a quarter digit
        ("22 ³ ft²", 22.75 * 92903.04),  # the same, spaced
        ("22¾ ft2", 22.75 * 92903.04),
        ("22¹ sq ft", 22.25 * 92903.04),
        ("22² ft2", 22.5 * 92903.04),
        ("22.75 ft2", 22.75 * 92903.04),
        ("22.30 ft2", 22.3 * 92903.04),  # two decimals are plain decimals
        ("211.354416 dm2", 22.75 * 92903.04),
        ("2.1 m2", 2.1e6),
        ("22.3 dm2", 22.3e4),  # quarters are stamped in feet only
    ],
)
def test_area_is_read(text: str, area: float) -> None:
    """Expected: 1 ft² = 92903.04 mm², and the stamp's digit counts quarters."""
    assert parse_area(text) == pytest.approx(area, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("22.3 ft2", "3 quarters or 22.30 feet"),  # printed digit or three tenths: can't be told
        ("22³ dm2", "whole feet only"),
        ("22.5³ ft2", "whole feet only"),
        ("22 acres", "no unit of area"),
        ("about 22 ft2", "no area"),
        ("22", "no area"),
        ("-3 ft2", "no area"),
        ("0 ft2", "more than 0"),
        ("22⁴ ft2", "no area|no unit"),
    ],
)
def test_area_that_can_be_read_two_ways_or_none_is_refused(text: str, says: str) -> None:
    """Refuse rather than guess."""
    with pytest.raises(InputError, match=says):
        parse_area(text)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("8-9 oz", 3.175, 3.571875),  # 8/64 and 9/64 inch
        ("8–9 oz", 3.175, 3.571875),  # en dash
        ("8 to 9 oz", 3.175, 3.571875),
        ("7 iron", 3.7041667, 3.7041667),  # 7/48 inch
        ("9 irons", 4.7625, 4.7625),  # 9/48 inch = 3/16 inch
        ("3.2-3.6 mm", 3.2, 3.6),
        ("3.4", 3.4, 3.4),
    ],
)
def test_thickness_is_read(text: str, low: float, high: float) -> None:
    """Ounce and iron by ASTM D1814's inch fractions."""
    assert parse_thickness(text) == pytest.approx((low, high), abs=1e-7)


@pytest.mark.parametrize(
    "text", ["9-8 oz", "0 mm", "40 mm", "8 lb", "thick", "", "-3 mm", "3,4 mm"]
)
def test_thickness_that_is_none_is_refused(text: str) -> None:
    """Upside-down ranges, unknown units and sizes no leather has."""
    with pytest.raises(InputError, match="no thickness"):
        parse_thickness(text)


def test_no_leather_is_thicker_than_the_limit() -> None:
    """Raw cattle hides reach 6 mm; the limit only catches wrong units."""
    assert THICKEST > 6


def test_area_is_shown_in_both_units() -> None:
    """Shown once in the whole project in this form."""
    assert area_text(2_113_544.16) == "211.4 dm² (22.75 ft²)"
    assert area_unit("ft²") == FT2
