"""The hide record: what is read, what is refused and how, and that writing loses nothing."""

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import box

from hides.errors import InputError
from hides.hide import Hide, Price
from hides.record import read, write
from hides.units import FT2
from tests.places import ROOT
from tests.small_hides import record, ring, sheet

SAMPLES = sorted((ROOT / "shared" / "hides").glob("*.hide.json"))


@pytest.fixture
def saved(tmp_path: Path) -> Callable[[Any], Path]:
    """Save the contents of a record and return its path."""

    def save(contents: Any) -> Path:
        path = tmp_path / "sheet.hide.json"
        path.write_text(json.dumps(contents), encoding="utf-8")
        return path

    return save


def of_role(contents: dict[str, Any], role: str) -> dict[str, Any]:
    """The first feature of a role."""
    rows = contents["features"]
    return next(row for row in rows if row["properties"]["role"] == role)


def same(one: Hide, other: Hide) -> bool:
    """Whether two hides hold the same, file and digest aside."""
    plain = ("name", "piece", "tannage", "outline", "holes", "flaws", "readings", "zones")
    plain += ("price", "supplier_area", "parent")
    lines = [
        zip((h.backbone, *h.stretch_lines), (o.backbone, *o.stretch_lines), strict=True)
        for h, o in [(one, other)]
    ]
    return all(getattr(one, name) == getattr(other, name) for name in plain) and all(
        np.array_equal(a, b) for pairs in lines for a, b in pairs
    )


def test_a_record_is_read_as_it_says(saved: Callable[[Any], Path]) -> None:
    """One feature of each role, by hand."""
    path = saved(record())
    hide = read(path)
    assert (hide.name, hide.piece, hide.tannage) == ("Sheet", "bend", "vegetable")
    assert hide.gross_area == 600_000 - 20 * 30
    assert len(hide.holes) == 1
    assert hide.backbone is not None
    assert hide.backbone.tolist() == [[0, 0], [1000, 0]]
    assert [(f.kind, f.face, f.note) for f in hide.flaws] == [
        ("brand", "grain", ""),
        ("scar", "grain", ""),
        ("hole", "through", "nail"),
    ]
    assert [(r.x, r.y, r.thickness) for r in hide.readings] == [(200, 200, 3.4), (800, 200, 3.3)]
    assert [(z.name, z.low, z.high) for z in hide.zones] == [("rim", 2.8, 3.2)]
    assert hide.stretch_lines[0].tolist() == [[100, 500], [120, 590]]
    assert hide.price == Price(10.0, "EUR", "ft2")
    assert hide.supplier_area == 6.5 * FT2
    assert hide.source == path
    assert hide.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_lines_and_points_get_their_width(saved: Callable[[Any], Path]) -> None:
    """A point becomes a disc of the width, a line a band with round ends; a little more, never
    less.
    """
    _, scar, hole = read(saved(record())).flaws
    length = np.hypot(100, 50)
    assert np.pi * 25 <= hole.shape.area <= 1.03 * np.pi * 25
    assert length * 6 + np.pi * 9 <= scar.shape.area <= 1.03 * (length * 6 + np.pi * 9)


@pytest.mark.parametrize(
    ("given", "area"),
    [
        (
            {"value": "22³", "unit": "ft2"},
            2113544.16,
        ),  # 211.354416 dm², whole feet and a quarter digit
        ({"value": 22.75, "unit": "ft2"}, 2113544.16),
        ({"value": 211.354416, "unit": "dm2"}, 2113544.16),
        ({"value": 22.3, "unit": "ft2"}, 22.3 * FT2),  # a JSON number is a plain decimal
    ],
)
def test_stamped_area_is_read_in_the_trades_notations(
    saved: Callable[[Any], Path], given: dict[str, Any], area: float
) -> None:
    """1 ft² = 9.290304 dm², exact."""
    hide = read(saved({**record(), "supplier_area": given}))
    assert hide.supplier_area == pytest.approx(area, rel=1e-12)


def test_thickness_may_be_given_in_ounces(saved: Callable[[Any], Path]) -> None:
    """8 oz is 8/64 inch, 3.175 mm; 8-9 oz a range."""
    contents = record()
    of_role(contents, "reading")["properties"]["thickness"] = "8 oz"
    of_role(contents, "zone")["properties"]["thickness"] = "8-9 oz"
    hide = read(saved(contents))
    assert hide.readings[0].thickness == 3.175
    assert (hide.zones[0].low, hide.zones[0].high) == (3.175, 3.571875)


def test_members_of_others_are_left_alone(saved: Callable[[Any], Path]) -> None:
    """GeoJSON allows them (RFC 7946, section 6.1)."""
    contents = {**record(), "photo": {"path": "a.jpg"}, "bbox": [0, 0, 1000, 600]}
    contents["features"][2]["properties"]["stroke"] = "#ff0000"
    contents["features"][2]["id"] = 7
    assert len(read(saved(contents)).flaws) == 3


Change = Callable[[dict[str, Any]], Any]


def put(role: str, /, **properties: Any) -> Change:
    """Change properties of the first feature of a role; None takes one away."""

    def change(contents: dict[str, Any]) -> None:
        of_role(contents, role)["properties"].update(properties)

    return change


def shape(role: str, kind: str, coordinates: Any) -> Change:
    """Give the first feature of a role another geometry."""

    def change(contents: dict[str, Any]) -> None:
        of_role(contents, role)["geometry"] = {"type": kind, "coordinates": coordinates}

    return change


def scaled(factor: float, piece: str = "side") -> Change:
    """An outline only, of 2000 × 1000 mm times the factor."""

    def change(contents: dict[str, Any]) -> None:
        contents["piece"] = piece
        shape("outline", "Polygon", [ring(box(0, 0, 2000 * factor, 1000 * factor))])(contents)
        contents["features"] = contents["features"][:1]

    return change


def twice(role: str) -> Change:
    """Add a second feature of a role."""
    return lambda contents: contents["features"].append(of_role(contents, role))


def member(name: str, value: Any) -> Change:
    """Set a member of the collection."""
    return lambda contents: contents.update({name: value})


BOW_TIE = [[[0, 0], [1000, 600], [1000, 0], [0, 600], [0, 0]]]
OPEN = [[[0, 0], [1000, 0], [1000, 600], [0, 600]]]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda c: c["features"].pop(0), "no outline. Add a feature"),
        (twice("outline"), r"features\[9\] \(outline\): this is a second outline; the first is"),
        (twice("backbone"), r"features\[9\] \(backbone\): this is a second backbone"),
        (
            shape("outline", "Polygon", BOW_TIE),
            r"features\[0\] .*crosses or touches itself .*Redraw",
        ),
        (
            shape("outline", "Polygon", OPEN),
            r"features\[0\] .*ring is open.* Repeat the first point",
        ),
        (shape("outline", "MultiPolygon", []), "outline must be a Polygon, got MultiPolygon"),
        (shape("reading", "Polygon", OPEN), "reading must be a Point, got Polygon"),
        (shape("stretch", "Point", [1, 2]), "stretch must be a LineString, got Point"),
        (shape("reading", "Point", [1]), r"features\[5\] \(reading\).coordinates.*two numbers"),
        (shape("reading", "Point", [1, 2, 3]), "two numbers, x and y"),
        (shape("reading", "Point", [1200, 200]), r"features\[5\] .* lies 200 mm off the leather"),
        (shape("reading", "Point", [510, 315]), r"features\[5\] .* off the leather"),  # in a hole
        (
            put("reading", role="raeding"),
            "'raeding' is no known role. Use one of outline, backbone",
        ),
        (put("flaw", flaw="scratch"), r"features\[2\] \(flaw\).flaw: 'scratch' is no known kind"),
        (put("flaw", flaw=None), r"features\[2\] \(flaw\): 'flaw' is missing"),
        (put("flaw", face="top"), r"\(flaw\).face: must be one of through, grain, flesh"),
        (put("flaw", face=None), "'face' is missing. Say one of through, grain, flesh"),
        (put("flaw", width=3), "only lines and points have a width"),
        (lambda c: c["features"][3]["properties"].pop("width"), "'width' is missing. A line or"),
        (lambda c: c["features"][4]["properties"].update(width=-3), "width: must be a number from"),
        (lambda c: c["features"][4]["properties"].update(widht=3), "'widht' is no known name"),
        (put("reading", thickness=-3.4), r"\(reading\).thickness: must be a number from 0.1 to 15"),
        (put("reading", thickness=34), "from 0.1 to 15, got 34"),  # tenths of a mm
        (put("reading", thickness="8-9 oz"), "must be one thickness.* A range belongs to a zone"),
        (put("reading", thickness="8 lb"), r"\(reading\).thickness: '8 lb' is no thickness"),
        (put("reading", thickness=None), "'thickness' is missing"),
        (put("reading", confirmed="yes"), r"\(reading\).confirmed: must be true or false, got"),
        (put("zone", thickness=[3.5, 3.2]), r"\(zone\).thickness: must be \[least, most\]"),
        (put("zone", thickness=[3.5]), "two numbers"),
        (put("zone", thickness=[-1, 3.2]), r"\(zone\).thickness\[0\]: must be a number from"),
        (put("zone", name=7), r"\(zone\).name: must be a text, got 7"),
        (scaled(0.001), "in metres it would be 200.0 dm²"),
        (scaled(1 / 25.4), "in inches it would be 200.0 dm²"),
        (scaled(0.1), "in centimetres it would be 200.0 dm²"),
        (scaled(10.0), "in 1/10 mm it would be 200.0 dm²"),
        (scaled(0.02, "remnant"), "which is no remnant's area"),
        (member("croupon", {"kind": "plan", "version": 1}), 'croupon.kind: must be "hide"'),
        (member("croupon", {"kind": "hide", "version": 9}), "croupon.version: must be 1, got 9"),
        (member("type", "Topology"), "no GeoJSON FeatureCollection"),
        (member("name", "  "), "name: must be a name"),
        (member("piece", "half"), "piece: must be one of side, double butt"),
        (member("frame", None), "'frame' is missing"),
        (
            member("frame", {"units": "in", "up": "grain"}),
            'frame.units: must be one of mm, got "in"',
        ),
        (member("frame", {"units": "mm", "up": "flesh"}), "frame.up: must be one of grain"),
        (member("price", {"amount": -1, "currency": "EUR", "per": "ft2"}), "price.amount: must be"),
        (
            member("price", {"amount": 1, "currency": "EUR", "per": "m2"}),
            "price.per: must be one of",
        ),
        (member("price", {"amount": 1, "per": "ft2"}), "price: 'currency' is missing"),
        (
            member("supplier_area", {"value": 22, "unit": "acre"}),
            "supplier_area: 'acre' is no unit",
        ),
        (
            member("supplier_area", {"value": "22.3", "unit": "ft2"}),
            "supplier_area: .* 3 quarters or",
        ),
        (member("supplier_area", {"value": 0, "unit": "ft2"}), "supplier_area.value: must be"),
        (member("tanage", "vegetable"), "'tanage' is no known name. Write 'tannage'"),
        (lambda c: c["features"].append(5), r"features\[9\]: must be an object"),
        (lambda c: c["features"].append({"type": "Feature"}), r"features\[9\]: 'properties' is"),
        (lambda c: c["features"][1].pop("geometry"), r"features\[1\]: 'geometry' is missing"),
        (lambda c: c["features"].extend([c["features"][5]] * 999), "1001 readings; at most 1000"),
    ],
)
def test_a_faulty_record_gets_one_clear_error(
    saved: Callable[[Any], Path], change: Change, says: str
) -> None:
    """File, place in it, what is wrong; where it isn't plain, how to mend it."""
    contents = record()
    change(contents)
    path = saved(contents)
    with pytest.raises(InputError, match=says) as caught:
        read(path)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("word", ["NaN", "Infinity", "1e999"])
def test_numbers_that_are_none_are_refused(tmp_path: Path, word: str) -> None:
    """They are no JSON (RFC 8259, section 6), but many programs write them; the place is named."""
    path = tmp_path / "nan.hide.json"
    path.write_text(json.dumps(record()).replace("3.4,", f"{word},"), encoding="utf-8")
    with pytest.raises(InputError, match=r"\(reading\)\.thickness: must be .* got (NaN|Infinity)"):
        read(path)


def places_in(value: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The place of every value inside a JSON value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    for key, member in inner:
        yield (*place, key)
        if isinstance(member, dict | list):
            yield from places_in(member, (*place, key))


@pytest.mark.parametrize("odd", [None, True, -1, 10**400, "", [], {}, [[None]]], ids=repr)
def test_an_odd_value_anywhere_is_read_or_refused_but_never_breaks(
    saved: Callable[[Any], Path], odd: object
) -> None:
    """In every place of a record in turn; most are refused, each with the one kind of error."""
    refused = 0
    for place in places_in(record()):
        contents = record()
        parent: Any = contents
        for key in place[:-1]:
            parent = parent[key]
        parent[place[-1]] = odd
        try:
            read(saved(contents))
        except InputError:
            refused += 1
    assert refused > 100


def test_a_record_is_written_and_read_back_exactly(
    saved: Callable[[Any], Path], tmp_path: Path
) -> None:
    """All numbers to the last bit, and a second writing gives the same bytes."""
    hide = read(saved(record()))
    write(hide, tmp_path / "one.json")
    again = read(tmp_path / "one.json")
    write(again, tmp_path / "two.json")
    assert same(hide, again)
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()


def test_a_plain_remnant_is_written_and_read_back(tmp_path: Path) -> None:
    """With nothing optional but its parent, and an area of no round number of feet."""
    plain = replace(sheet(piece="remnant", parent="Birch"), supplier_area=np.pi * 1e5)
    write(plain, tmp_path / "rest.json")
    assert same(read(tmp_path / "rest.json"), plain)


@pytest.mark.parametrize("area", [22.75 * FT2, 22.3 * FT2, 211.35e4, 600_000.0, 123456.789012])
def test_stamped_area_is_written_so_that_it_reads_back(tmp_path: Path, area: float) -> None:
    """In whichever unit gives it back to the last bit."""
    write(sheet(supplier_area=area), tmp_path / "a.json")
    assert read(tmp_path / "a.json").supplier_area == area


@pytest.mark.parametrize("path", SAMPLES, ids=[path.name for path in SAMPLES])
def test_sample_hides_are_sides_as_sold(path: Path, tmp_path: Path) -> None:
    """Veg-tanned sides are sold at 21 to 26 ft² and over 7 ft long (suppliers' size guides),
    and fill 0.66 to 0.74 of their box; ours show each kind of what a record can hold.
    """
    hide = read(path)
    left, low, right, high = hide.outline.bounds
    assert hide.piece == "side"
    assert 20 <= hide.gross_area / FT2 <= 26
    assert 2100 <= right - left <= 2400
    assert 0.66 <= hide.gross_area / ((right - left) * (high - low)) <= 0.80
    assert hide.supplier_area is not None
    assert 0.97 < hide.gross_area / hide.supplier_area < 1.0
    assert 25 <= len(hide.readings) <= 40
    assert 8 <= len(hide.flaws) <= 20
    write(hide, tmp_path / path.name)
    assert same(read(tmp_path / path.name), hide)


def test_there_are_three_sample_hides_of_differing_price() -> None:
    """Birch is dear and clean, Alder cheap and branded."""
    hides = {hide.name: hide for hide in map(read, SAMPLES)}
    assert set(hides) == {"Birch", "Rowan", "Alder"}
    prices = [hides[name].price for name in ("Birch", "Rowan", "Alder")]
    amounts = [price.amount for price in prices if price and price.per == "ft2"]
    assert amounts == sorted(amounts, reverse=True)
    assert len(amounts) == 3
    assert "brand" in {flaw.kind for flaw in hides["Alder"].flaws}
    assert "brand" not in {flaw.kind for flaw in hides["Birch"].flaws}
