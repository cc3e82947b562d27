"""The trade's units, read and shown at the edges; inside everything is mm and mm².

Leather is sold by the square foot, stamped as whole feet with a small quarter digit
(22³ is 22¾ ft²), and its substance is given in ounces or irons.

>>> round(parse_area("22³ ft2"), 2), parse_thickness("8-9 oz")
(2113544.16, (3.175, 3.571875))
>>> area_text(2_143_000)
'214.3 dm² (23.07 ft²)'
"""

from __future__ import annotations

import re

from hides.errors import InputError

DM2 = 10_000.0  # mm²
FT2 = 92_903.04  # mm²; 1 ft = 304.8 mm exactly, by definition
OUNCE = 25.4 / 64  # mm; ASTM D1814: 1 oz of leather is 1/64 inch thick
IRON = 25.4 / 48  # mm; ASTM D1814: 1 iron of sole leather is 1/48 inch
FOOT_PRESSURE = 49.07  # kPa; ISO 2589: a gauge's foot presses 393 g on a disc of 10 mm

PAPERS = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # mm; ISO 216, ANSI/ASME Y14.1
THICKEST = 15.0  # mm; no cattle leather is thicker (raw hides reach 6 mm; sole leather 7)

AREA_UNITS = {"ft2": FT2, "dm2": DM2, "m2": 1e6, "mm2": 1.0}
_SQUARES = {"ft²": "ft2", "sq ft": "ft2", "dm²": "dm2", "m²": "m2", "mm²": "mm2"}
_QUARTERS = {"¹": 0.25, "²": 0.5, "³": 0.75, "¼": 0.25, "½": 0.5, "¾": 0.75}
_THICKNESS_UNITS = {"mm": 1.0, "oz": OUNCE, "iron": IRON}

_AREA = re.compile(r"\s*(?P<number>\d+(?:\.\d+)?)\s*(?P<quarter>[¹²³¼½¾]?)\s+(?P<unit>\D.*?)\s*")
_SPAN = re.compile(
    r"\s*(?P<low>\d+(?:\.\d+)?)(?:\s*(?:-|–|to)\s*(?P<high>\d+(?:\.\d+)?))?\s*(?P<unit>[a-z]*)\s*"
)


def area_unit(name: str) -> float:
    """Return mm² in one unit of that name.

    Raises
    ------
    InputError : the unit isn't one of ft2, dm2, m2, mm2.
    """
    found = AREA_UNITS.get(_SQUARES.get(name, name))
    if found is None:
        raise InputError(
            f"{name!r} is no unit of area.", mend=f"Use one of {', '.join(AREA_UNITS)}."
        )
    return found


def parse_area(text: str) -> float:
    """Read an area such as "211.4 dm2", "22.75 ft2" or the stamp's "22³ ft2"; return mm².

    A small digit counts quarters of a foot (common practice of the trade: whole feet and
    a raised 1, 2 or 3). Where it is printed as ".3" it can't be told from three tenths,
    so "22.3 ft2" is refused rather than guessed.

    Raises
    ------
    InputError : no such form or unit, no area, or a number that can be read two ways.
    """
    match = _AREA.fullmatch(text)
    if match is None:
        raise InputError(
            f"{text!r} is no area.", mend='Write a number and a unit, such as "22³ ft2".'
        )
    number, quarter, unit = match["number"], match["quarter"], area_unit(match["unit"])
    if unit == FT2 and re.fullmatch(r"\d+\.[123]", number):
        whole, tenth = number.split(".")
        raise InputError(
            f"{text!r} can mean {whole} and {tenth} quarters or {number}0 feet.",
            mend=f'Write "{whole}{"¹²³"[int(tenth) - 1]} ft2" or "{number}0 ft2".',
        )
    if quarter and (unit != FT2 or "." in number):
        raise InputError(
            f"{text!r}: a quarter digit follows whole feet only.", mend='Write "22³ ft2".'
        )
    area = (float(number) + _QUARTERS.get(quarter, 0.0)) * unit
    if area <= 0:
        raise InputError(f"{text!r} is no area: it must be more than 0.")
    return area


def parse_thickness(text: str) -> tuple[float, float]:
    """Read "8-9 oz", "3.2-3.6 mm", "7 iron" or "3.4"; return (least, most) in mm.

    Raises
    ------
    InputError : no such form or unit, the range upside down, or no thickness of leather.
    """
    match = _SPAN.fullmatch(text.lower())
    unit = _THICKNESS_UNITS.get((match["unit"] or "mm").removesuffix("s")) if match else None
    if match is None or unit is None:
        raise InputError(
            f"{text!r} is no thickness.",
            mend='Write it in mm, oz or iron, such as "3.2-3.6 mm" or "8-9 oz".',
        )
    low = float(match["low"]) * unit
    high = float(match["high"]) * unit if match["high"] else low
    if not 0 < low <= high <= THICKEST:
        raise InputError(
            f"{text!r} is no thickness of leather.",
            mend=f"The first number must be > 0, the second not less and at most {THICKEST:g} mm.",
        )
    return low, high


def area_text(area: float) -> str:
    """Show an area in mm² as people read it: "214.3 dm² (23.07 ft²)"."""
    return f"{area / DM2:.1f} dm² ({area / FT2:.2f} ft²)"
