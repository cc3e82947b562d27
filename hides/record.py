"""The hide record, ``NAME.hide.json``: read strictly, written whole.

A record is a GeoJSON FeatureCollection whose coordinates are millimetres in the hide's own
flat frame, by prior arrangement (RFC 7946, section 4), said in the member ``frame``. What a
feature is, its property ``role`` says:

=========  ==========================  ==================================================
role       geometry                    properties
=========  ==========================  ==================================================
outline    Polygon, one                none; inner rings are holes in the hide
backbone   LineString, at most one     none
flaw       Polygon, LineString, Point  flaw (a kind), face (through, grain, flesh),
                                       width in mm (of lines and points only), note
reading    Point                       thickness in mm or "8 oz"; gauge; confirmed (true: it was
                                       looked at again and counts, however odd)
zone       Polygon                     name, thickness [least, most] in mm or "8-9 oz"
stretch    LineString                  none; runs along the least stretch
=========  ==========================  ==================================================

Members: ``croupon`` {kind: hide, version: 1}, ``name``, ``piece``, ``frame``, and if wanted
``tannage``, ``price`` {amount, currency, per: ft2, dm2 or piece}, ``supplier_area``
{value, unit} (as a number, or as stamped: "22³"), and of a remnant ``parent``, the name of what
it was cut from, with ``whole`` {piece, tail, back, length, depth, right}: that piece before
anything was cut off it, mm in this frame; its readings may lie off the remnant. Members and
properties not named here (``photo``, ``gauge``) may be there: they stay when a record is amended
(:mod:`hides.amend`), and a remnant has none of them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

from shapely import LineString, Point, Polygon, box

from hides.errors import HideError, placed
from hides.files import write_whole
from hides.flaws import FLAW_KINDS, SIDES, Flaw, kind_of
from hides.geojson import (
    Feature,
    Node,
    collection,
    feature,
    load,
    parse,
    polygon_of,
    rings_of,
    text_of,
)
from hides.hide import PRICED_BY, Hide, Price
from hides.keys import Between, OneOf, Takes, rules_of
from hides.outline import Outline, buffered
from hides.stretch import PIECES
from hides.thickness import MOST_READINGS, Reading, Zone
from hides.units import AREA_UNITS, FT2, THICKEST, area_text, area_unit, parse_area, parse_thickness
from hides.whole import Whole

VERSION = 1
FRAME = {
    "units": "mm",
    "x": "along the backbone from the tail root towards the neck",
    "y": "from the backbone towards the belly",
    "up": "grain",
}

# Whole hides are sold up to 70 ft² (6.5 m²), bellies from 4 ft² (0.37 m²); a remnant that
# holds any part of a sheath is larger than a belt loop.
LARGEST_AREA = 8e6  # mm²
SMALLEST_AREA = 0.15e6  # mm²
SMALLEST_REMNANT = 2e3  # mm²

WIDTHS = 0.1, 2000.0  # mm, of flaws drawn as lines and points
# Of each role: the geometries it may have, and its properties.
_ROLES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "outline": (("Polygon",), ()),
    "backbone": (("LineString",), ()),
    "flaw": (("Polygon", "LineString", "Point"), ("flaw", "face", "width", "note")),
    "reading": (("Point",), ("thickness", "gauge", "confirmed")),
    "zone": (("Polygon",), ("name", "thickness")),
    "stretch": (("LineString",), ()),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HideMembers:
    """The members of a hide record. Millimetres, in the hide's own flat frame, grain side up.

    Attributes
    ----------
    type : what GeoJSON calls a list of features.
    croupon : what the file is.
    name : what you call the hide.
    piece : what part of the animal it is.
    tannage : in words; a laser must know it.
    frame : units and directions: x along the backbone from the tail root, y from the backbone to
        the belly.
    price : what it cost, and what for.
    supplier_area : area as the seller stamped it, the quarter digit as it is written.
    photo : what it was made from; a remnant does not have it.
    parent : the hide that it was cut from.
    whole : that hide before anything was cut from it, which says how the leather stretches.
    features : outline, flaws, readings and what else is drawn, each with its role.
    """

    type: Annotated[str, Takes("FeatureCollection")]
    croupon: Annotated[object, Takes('{"kind": "hide", "version": 1}')]
    name: Annotated[str, Takes("a text")]
    piece: Annotated[str, OneOf(PIECES)]
    tannage: Annotated[str | None, Takes("a text")] = None
    frame: Annotated[object, Takes('{"units": "mm", "up": "grain"}')]
    price: Annotated[object, Takes('{"amount": 13.4, "currency": "EUR", "per": "ft2"}')] = None
    supplier_area: Annotated[object, Takes('{"value": "22²", "unit": "ft2"}')] = None
    photo: Annotated[object, Takes("a text")] = None
    parent: Annotated[str | None, Takes("a text")] = None
    whole: Annotated[object, Takes("{piece, tail, back, length, depth, right}")] = None
    features: Annotated[object, Takes("a list of features")]


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureProperties:
    """The properties of a hide record's features. Millimetres.

    Attributes
    ----------
    role : what the feature is: outline (a Polygon whose inner rings are holes), backbone (a
        LineString), flaw (Polygon, LineString or Point), reading (a Point), zone (a Polygon),
        stretch (a LineString along the least stretch).
    flaw : its kind.
    face : of a flaw: where it is, right through or on one side.
    width : of a flaw drawn as a line or a point.
    note : of a flaw: a remark of yours.
    thickness : of a reading, or of a zone the least and the most.
    gauge : of a reading: what it was measured with; a remnant does not have it.
    confirmed : of a reading: it was looked at again and is right, however odd; else an odd one
        counts for nothing.
    name : of a zone.
    """

    role: Annotated[str, OneOf(tuple(_ROLES))]
    flaw: Annotated[str | None, OneOf(tuple(FLAW_KINDS))] = None
    face: Annotated[str | None, OneOf(SIDES)] = None
    width: Annotated[float | None, Between(*WIDTHS, "mm")] = None
    note: Annotated[str | None, Takes("a text")] = None
    thickness: Annotated[object, Takes('mm, [3.2, 3.5], or "8 oz"')] = None
    gauge: Annotated[str | None, Takes("a text")] = None
    confirmed: Annotated[bool, Takes("true or false")] = False
    name: Annotated[str | None, Takes("a text")] = None


def read(path: Path | str) -> Hide:
    """Read a hide record.

    Raises
    ------
    InputError : the file can't be read, or something in it can't be used; file and place
        are named.
    """
    path = Path(path)
    with placed(file=path):
        data = load(path)
    return parsed(data, path)


def parsed(data: bytes, path: Path) -> Hide:
    """Read the bytes of a record that lies, or is to lie, at ``path``.

    Raises
    ------
    InputError : as :func:`read`.
    """
    with placed(file=path):
        top = parse(data)
        features = [_known(found) for found in collection(top, "hide", VERSION)]
        hide = _hide(top, features, path, hashlib.sha256(data).hexdigest())
        _check_size(hide)
        _check_readings(hide, [found.place for found in features if found.role == "reading"])
    return hide


def write(hide: Hide, path: Path | str) -> None:
    """Write a hide record, whole or not at all; reading it gives the same hide.

    Raises
    ------
    InputError : the file can't be written there.
    """
    write_whole(Path(path), text(hide))


def text(hide: Hide) -> str:
    """Return the text of a hide's record; lengths in mm."""
    return text_of(_members(hide), _features(hide))


def flaw_of(feature: object) -> Flaw:
    """The flaw that a feature of a record stands for; lengths in mm.

    Raises
    ------
    InputError : it can't be used.
    """
    members = {"type": "FeatureCollection", "croupon": {"kind": "hide", "version": VERSION}}
    (found,) = collection(Node({**members, "features": [feature]}), "hide", VERSION)
    return _flaw(_known(found))


def check(hide: Hide) -> None:
    """Refuse a hide that could be written, but not read again.

    Raises
    ------
    HideError : an area that no such piece has, too many readings, or one off the leather.
    """
    _check_size(hide)
    _check_readings(hide, [f"reading {number}" for number in range(1, len(hide.readings) + 1)])


# --- reading ---------------------------------------------------------------------------------


def _known(found: Feature) -> Feature:
    """Check that a feature's role is known and goes with its geometry and properties."""
    if found.role not in _ROLES:
        raise HideError(
            f"'{found.role}' is no known role.",
            mend=f"Use one of {', '.join(_ROLES)}.",
            place=found.place,
        )
    allowed, properties = _ROLES[found.role]
    if found.type not in allowed:
        raise HideError(
            f"a feature of role {found.role} must be a {' or '.join(allowed)}, got {found.type}.",
            place=found.place,
        )
    found.properties.check_names(("role", *properties))
    return found


def _hide(top: Node, features: Sequence[Feature], path: Path, sha256: str) -> Hide:
    top.check_names(rules_of(HideMembers))
    _check_frame(top)
    outline, *holes = _outline(features).coordinates.rings()
    backbone = _only(features, "backbone")
    parent = top.maybe("parent")
    tannage = top.maybe("tannage")
    return Hide(
        name=_name(top.get("name")),
        piece=top.get("piece").text(*PIECES),
        tannage=tannage.text() if tannage else "",
        outline=outline,
        holes=tuple(holes),
        backbone=backbone.coordinates.line() if backbone else None,
        flaws=tuple(_flaw(found) for found in features if found.role == "flaw"),
        readings=tuple(_reading(found) for found in features if found.role == "reading"),
        zones=tuple(_zone(found) for found in features if found.role == "zone"),
        stretch_lines=tuple(f.coordinates.line() for f in features if f.role == "stretch"),
        price=_price(top.maybe("price")),
        supplier_area=_supplier_area(top.maybe("supplier_area")),
        parent=parent.text() if parent else None,
        whole=_whole(top.maybe("whole")),
        source=path,
        sha256=sha256,
    )


def _name(node: Node) -> str:
    if not node.text().strip():
        raise node.wrong("a name")
    return node.text()


def _check_frame(top: Node) -> None:
    frame = top.get("frame", mend='It must say "units": "mm" and "up": "grain".')
    frame.get("units", mend='Write "units": "mm".').text("mm")
    frame.get("up", mend='Write "up": "grain".').text("grain")


def _only(features: Sequence[Feature], role: str) -> Feature | None:
    """The feature of a role that may be there once."""
    found = [each for each in features if each.role == role]
    if len(found) > 1:
        raise HideError(
            f"this is a second {role}; the first is {found[0].place}.",
            mend="Keep one." + (" Holes are inner rings of it." if role == "outline" else ""),
            place=found[1].place,
        )
    return found[0] if found else None


def _outline(features: Sequence[Feature]) -> Feature:
    found = _only(features, "outline")
    if found is None:
        raise HideError(
            "the hide has no outline.",
            mend='Add a feature with "role": "outline" and a Polygon.',
        )
    return found


def _flaw(found: Feature) -> Flaw:
    kind = found.properties.get("flaw", mend="It names the kind of flaw.")
    with placed(place=kind.place):
        kind_of(kind.text())
    face = found.properties.get("face", mend=f"Say one of {', '.join(SIDES)}.").text(*SIDES)
    note = found.properties.maybe("note")
    return Flaw(kind.text(), face, _flaw_shape(found), note.text() if note else "")


def _flaw_shape(found: Feature) -> Polygon:
    """The flaw's shape; lines and points are given their width."""
    width = found.properties.maybe("width")
    if found.type == "Polygon":
        if width:
            raise HideError("only lines and points have a width.", place=width.place)
        return polygon_of(found.coordinates.rings())
    mend = "A line or a point needs it in mm, such as 8."
    half = found.properties.get("width", mend=mend).number(*WIDTHS) / 2
    thin = LineString(found.coordinates.line()) if found.type == "LineString" else _point(found)
    wide = buffered(thin, half)
    assert isinstance(wide, Polygon)  # a connected line, grown
    return polygon_of([Outline.of(ring.coords) for ring in (wide.exterior, *wide.interiors)])


def _point(found: Feature) -> Point:
    return Point(Node([found.coordinates.value], found.coordinates.place).points()[0])


def _reading(found: Feature) -> Reading:
    node = found.properties.get("thickness", mend="It is the reading in mm.")
    low, high = _thickness(node)
    if low != high:
        raise node.wrong("one thickness", mend="A range belongs to a zone.")
    place, confirmed = _point(found), found.properties.maybe("confirmed")
    return Reading(place.x, place.y, low, confirmed.truth() if confirmed else False)


def _zone(found: Feature) -> Zone:
    low, high = _thickness(found.properties.get("thickness", mend="Write [least, most] in mm."))
    name = found.properties.maybe("name")
    return Zone(name.text() if name else "", low, high, polygon_of(found.coordinates.rings()))


def _thickness(node: Node) -> tuple[float, float]:
    """A thickness or a range of them as (least, most) in mm."""
    if isinstance(node.value, str):
        with placed(place=node.place):
            return parse_thickness(node.value)
    ends = node.items() if isinstance(node.value, list) else [node, node]
    if len(ends) != 2:
        raise node.wrong("two numbers, [least, most] in mm")
    low, high = (end.number(0.1, THICKEST) for end in ends)
    if low > high:
        raise node.wrong("[least, most] in mm, the smaller first")
    return low, high


def _price(node: Node | None) -> Price | None:
    if node is None:
        return None
    return Price(
        node.get("amount").number(low=0.0, high=1e9),
        node.get("currency", mend='Write it as "EUR".').text(),
        node.get("per", mend=f"Say one of {', '.join(PRICED_BY)}.").text(*PRICED_BY),
    )


def _whole(node: Node | None) -> Whole | None:
    if node is None:
        return None
    right = node.get("right")
    if not isinstance(right.value, bool):
        raise right.wrong("true or false")
    tail, back = (node.get(key).number(-1e4, 1e4) for key in ("tail", "back"))
    length, depth = (node.get(key).number(1.0, 1e4) for key in ("length", "depth"))
    return Whole(node.get("piece").text(*PIECES), tail, back, length, depth, right.value)


def _supplier_area(node: Node | None) -> float | None:
    """Stamped area in mm²; a text value may carry the quarter digit."""
    if node is None:
        return None
    value, unit = node.get("value"), node.get("unit")
    with placed(place=node.place):
        if isinstance(value.value, str):
            return parse_area(f"{value.value} {unit.text()}")
        return value.number(low=1e-3, high=1e9) * area_unit(unit.text())


def _check_size(hide: Hide) -> None:
    """Refuse an outline whose size shows that it isn't in millimetres."""
    smallest = SMALLEST_REMNANT if hide.piece == "remnant" else SMALLEST_AREA
    area = hide.gross_area
    if smallest <= area <= LARGEST_AREA:
        return
    guesses = {"metres": 1e6, "feet": FT2, "inches": 25.4**2, "centimetres": 100.0, "1/10 mm": 0.01}
    fits = [
        f"in {unit} it would be {area_text(area * square)}"
        for unit, square in guesses.items()
        if 0.3e6 <= area * square <= 7e6
    ]
    raise HideError(
        f"the outline holds {area_text(area)}, which is no {hide.piece}'s area"
        + (f"; {', '.join(fits)}." if fits else "."),
        mend="Coordinates must be in millimetres.",
        place="outline",
    )


def _check_readings(hide: Hide, places: Sequence[str]) -> None:
    if len(places) > MOST_READINGS:
        raise HideError(f"{len(places)} readings; at most {MOST_READINGS} can be used.")
    of = hide.whole
    leather = hide.polygon if of is None else box(*of.around)
    for reading, place in zip(hide.readings, places, strict=True):
        off = leather.distance(Point(reading.x, reading.y))
        if off > 1.0:
            raise HideError(
                f"the reading at ({reading.x:g}, {reading.y:g}) lies {off:.0f} mm off the leather.",
                mend="Correct its place, or the outline.",
                place=place,
            )


# --- writing ---------------------------------------------------------------------------------


def _members(hide: Hide) -> dict[str, object]:
    told = {
        "croupon": {"kind": "hide", "version": VERSION},
        "name": hide.name,
        "piece": hide.piece,
        "tannage": hide.tannage or None,
        "frame": FRAME,
        "price": asdict(hide.price) if hide.price else None,
        "supplier_area": _told_area(hide.supplier_area) if hide.supplier_area else None,
        "parent": hide.parent,
        "whole": asdict(hide.whole) if hide.whole else None,
    }
    return {name: value for name, value in told.items() if value is not None}


def _told_area(area: float) -> dict[str, object]:
    """The shortest value and unit that read back as exactly this many mm²."""
    for unit in ("ft2", "dm2"):
        for digits in range(7):
            value = round(area / AREA_UNITS[unit], digits)
            if value * AREA_UNITS[unit] == area:
                return {"value": value, "unit": unit}
    return {"value": area, "unit": "mm2"}


def _features(hide: Hide) -> list[dict[str, object]]:
    lines = [("backbone", hide.backbone)] if hide.backbone is not None else []
    lines += [("stretch", line) for line in hide.stretch_lines]
    return [
        feature("outline", "Polygon", rings_of(hide.polygon)),
        *(feature(role, "LineString", line.tolist()) for role, line in lines),
        *(_zone_feature(zone) for zone in hide.zones),
        *(_flaw_feature(flaw) for flaw in hide.flaws),
        *(_reading_feature(reading) for reading in hide.readings),
    ]


def _zone_feature(zone: Zone) -> dict[str, object]:
    span = [zone.low, zone.high]
    return feature("zone", "Polygon", rings_of(zone.polygon), name=zone.name, thickness=span)


def _reading_feature(reading: Reading) -> dict[str, object]:
    about = {"thickness": reading.thickness} | ({"confirmed": True} if reading.confirmed else {})
    return feature("reading", "Point", [reading.x, reading.y], **about)


def _flaw_feature(flaw: Flaw) -> dict[str, object]:
    about = {"flaw": flaw.kind, "face": flaw.face, "note": flaw.note}
    return feature("flaw", "Polygon", rings_of(flaw.shape), **about)
