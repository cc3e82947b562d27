"""The plan file, ``NAME.plan.json``: written whole or not at all, read strictly.

It is a GeoJSON FeatureCollection in the hide's own frame. Its features are what is to be cut (role
``part``), drawn on it (``mark``), cut already (``cut``) and left over (``remnant``). Its members
hold the definition of each distinct part, which parts were wanted, the rules, and the hide record's
path from the plan's folder with the SHA-256 of its bytes, so that plan file and record together can
be checked.
It is the bytes and no normal form of them, for then whatever was done to the record is seen, and
any other program can show the same digest. The member ``digest`` is a SHA-256 of all the rest,
whatever its layout as text, so that an edit is seen (:func:`read_checked`); only the record's path
is left out, for it may be mended by hand when files were moved, and proves nothing. Its first
digits are the plan's ``number``, by which all that was made of it is known. Files are
repeatable byte for byte: no dates, fixed order, every number rounded by
:func:`nest.plans.model.rounded`.

The polygons of the file are what somebody cuts, so :func:`read` keeps them as ``Plan.drawn``
beside the placements, and :mod:`nest.checker` holds one against the other. Marks follow from
definition and placement; they are written for whoever opens the file, and not read back.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path

import numpy as np

from hides import geojson
from hides.errors import InputError
from hides.flaws import FACES
from hides.geojson import Feature, Node, feature, polygon_of, rings_of
from hides.outline import FloatArray, Outline, turned
from hides.thickness import Need
from nest.errors import PlanError
from nest.job import KEEPS, Wanted
from nest.part import KINDS, Mark, Part, Region
from nest.plans.model import (
    DIGITS,
    TOLERANCE,
    Box,
    Placement,
    Plan,
    Remnant,
    Verdict,
    placed_outline,
    rounded,
)

VERSION = 2
AGAIN = "Plan the week again with croupon plan, and cut from the file it writes."
FRAME = {
    "units": "mm",
    "x": "along the backbone from the tail root towards the neck",
    "y": "from the backbone towards the belly",
    "up": "grain",
}
ROLES = {
    "part": ("Polygon",),
    "cut": ("Polygon",),
    "mark": ("Point", "MultiPoint", "LineString"),
    "remnant": ("Polygon",),
}


def text_of(plan: Plan) -> str:
    """Return the text of a plan's file."""
    digest = digest_of(plan)
    signed = {"number": number_in(digest), "digest": digest}
    return geojson.text_of({**_members(plan), **signed}, _features(plan))


@lru_cache(maxsize=8)  # every page asks, and a plan never changes
def digest_of(plan: Plan) -> str:
    """Return the digest that a plan's file carries."""
    return _digest(json.loads(geojson.text_of(_members(plan), _features(plan))))


def number_of(plan: Plan) -> str:
    """Return the plan's number, "P3FA91C": by it papers and files of one plan are known."""
    return number_in(digest_of(plan))


def number_in(digest: str) -> str:
    """Return the number of the plan of that digest.

    Six digits of sixteen: of pairs of plans one in sixteen million share it. The P keeps
    spreadsheets from taking 12E345 for a quantity.
    """
    return f"P{digest[:6].upper()}"


def read_checked(path: Path | str) -> Plan:
    """Read a plan that the checker passed and that nobody has edited since.

    Raises
    ------
    PlanError : as :func:`read`; the plan was not checked or did not pass; its content is not
        that of the digest in it, or it has none.
    """
    plan = read(path)
    if plan.check is None or not plan.check.passed:
        what = "this plan has not passed the checker, so nothing is cut from it."
        raise PlanError(what, mend=AGAIN, place="member 'check'", file=path)
    content = json.loads(geojson.load(Path(path)).decode("utf-8-sig"))
    stated = content.get("digest")
    if not stated:
        what = "the plan carries no digest, so an edit after its check could not be seen."
        raise PlanError(what, mend=AGAIN, place="member 'digest'", file=path)
    if stated != _digest(content) or content.get("number") != number_in(stated):
        what = "this plan was edited after it was checked: its digest differs."
        raise PlanError(what, mend=AGAIN, place="member 'digest'", file=path)
    return plan


def _digest(content: Mapping[str, object]) -> str:
    """SHA-256 of a plan file's content without what follows from it and the record's path, in one
    fixed form of JSON.
    """
    rest = {key: value for key, value in content.items() if key not in ("number", "digest")}
    if isinstance(hide := rest.get("hide"), Mapping):
        rest["hide"] = {key: value for key, value in hide.items() if key != "file"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def read(path: Path | str) -> Plan:
    """Read a plan file.

    Raises
    ------
    PlanError : the file can't be read, is no plan, or something in it is missing or wrong;
        file and place are named.
    """
    path = Path(path)
    try:
        return _of_text(geojson.load(path))
    except InputError as error:
        place, file = error.place, error.file or path
        raise PlanError(error.what, mend=error.mend, place=place, file=file) from None


def as_filed(plan: Plan) -> Plan:
    """Return the plan as its file gives it back, with every number rounded and every part drawn, so
    that all that is made of it bears the number that is in the file.
    """
    return _of_text(text_of(plan).encode())


def _of_text(data: bytes) -> Plan:
    top = geojson.parse(data)
    return _plan(top, [_known(found) for found in geojson.collection(top, "plan", VERSION)])


# --- writing ---------------------------------------------------------------------------------


def _members(plan: Plan) -> dict[str, object]:
    definitions, used = _definitions(plan.wanted)
    windows = [[rounded(side) for side in window] for window in plan.bed_windows]
    return {
        "croupon": {"kind": "plan", "version": VERSION},
        "frame": FRAME,
        "week": plan.name,
        "hide": {"name": plan.hide_name, "sha256": plan.hide_sha256, "file": plan.hide_file},
        "seed": plan.seed,
        "budget": plan.budget,
        "rules": {
            "gap": rounded(plan.gap),
            "edge_margin": rounded(plan.edge_margin),
            "tolerance": TOLERANCE,
            "keep": plan.keep,
            **({"bed_windows": windows} if windows else {}),  # without any it says nothing
        },
        "figures": {key: rounded(value) for key, value in plan.figures.items()},
        "check": asdict(plan.check) if plan.check else None,
        "left_out": list(plan.left_out),
        **({"remarks": list(plan.remarks)} if plan.remarks else {}),
        "wanted": [
            {"id": wanted.id, "sheath": wanted.kit, "part": name}
            for wanted, name in zip(plan.wanted, used, strict=True)
        ],
        "parts": definitions,
    }


def _definitions(wanted: Sequence[Wanted]) -> tuple[list[dict[str, object]], list[str]]:
    """The distinct parts ("body-1", "body-2" …), and the name of each wanted part's own."""
    names: dict[str, str] = {}
    counts: dict[str, int] = {}
    definitions, used = [], []
    for one in wanted:
        body = _definition(one)
        text = json.dumps(body)
        if text not in names:
            counts[one.part.kind] = counts.get(one.part.kind, 0) + 1
            names[text] = f"{one.part.kind}-{counts[one.part.kind]}"
            definitions.append({"name": names[text], **body})
        used.append(names[text])
    return definitions, used


def _definition(wanted: Wanted) -> dict[str, object]:
    part, need = wanted.part, wanted.need
    return {
        "kind": part.kind,
        "axis": rounded(part.axis),
        "window": rounded(part.window),
        "need": {
            "low": rounded(need.low),
            "high": rounded(need.high),
            "may_split": need.may_split,
            "risk": rounded(need.risk),
            **({"unknown": True} if need.unknown else {}),
        },
        "outline": _ring(part.outline),
        "regions": [
            {"face": region.face, "outline": _ring(region.outline)} for region in part.regions
        ],
        "marks": [
            {
                "kind": mark.kind,
                "points": _pairs(mark.points),
                "closed": mark.closed,
                "text": mark.text,
            }
            for mark in part.marks
        ],
    }


def _features(plan: Plan) -> list[dict[str, object]]:
    features = []
    for index, placement in enumerate(plan.lying):
        wanted = plan.by_id.get(placement.id)
        outline = plan.drawn[index] if plan.drawn else placed_outline(plan, placement)
        is_cut = index >= len(plan.placements)
        features.append(
            feature(
                "cut" if is_cut else "part",
                "Polygon",
                _ring(outline),
                id=placement.id,
                sheath=wanted.kit if wanted else None,
                kind=wanted.part.kind if wanted else None,
                angle=rounded(placement.angle),
                origin=[rounded(placement.x), rounded(placement.y)],
            )
        )
        marks = wanted.part.marks if wanted and not is_cut else ()
        features += [_mark_feature(mark, placement) for mark in marks]
    return features + [_remnant_feature(remnant) for remnant in plan.remnants]


def _mark_feature(mark: Mark, placement: Placement) -> dict[str, object]:
    points = _pairs(turned(mark.points, placement.angle, placement.x, placement.y))
    told = {"part": placement.id, "mark": mark.kind, "text": mark.text}
    if len(points) == 1:
        return feature("mark", "Point", points[0], **told)
    if mark.kind == "stitch":
        return feature("mark", "MultiPoint", points, **told)
    line = [*points, points[0]] if mark.closed else points
    return feature("mark", "LineString", line, **told)


def _remnant_feature(remnant: Remnant) -> dict[str, object]:
    circle = [rounded(value) for value in remnant.circle]
    rings = [_pairs(np.array(ring)) for ring in rings_of(remnant.polygon)]
    return feature("remnant", "Polygon", rings, area=rounded(remnant.polygon.area), circle=circle)


def _pairs(points: FloatArray) -> list[list[float]]:
    rows: list[list[float]] = (np.round(points, DIGITS) + 0.0).tolist()
    return rows


def _ring(outline: Outline) -> list[list[list[float]]]:
    """Polygon coordinates: one closed ring."""
    pairs = _pairs(outline.points)
    return [[*pairs, pairs[0]]]


# --- reading ---------------------------------------------------------------------------------


def _known(found: Feature) -> Feature:
    if found.role not in ROLES:
        what = f"'{found.role}' is no known role."
        raise PlanError(what, mend=f"Use one of {', '.join(ROLES)}.", place=found.place)
    if found.type not in ROLES[found.role]:
        what = f"a {found.role} can't be a {found.type}."
        raise PlanError(what, mend="It is a " + " or ".join(ROLES[found.role]), place=found.place)
    return found


def _plan(top: Node, features: Sequence[Feature]) -> Plan:
    parts, cut = ([found for found in features if found.role == role] for role in ("part", "cut"))
    hide, rules, verdict = top.get("hide"), top.get("rules"), top.maybe("check")
    remarks = top.maybe("remarks")
    stated = rules.get("tolerance")
    if stated.number() != TOLERANCE:
        raise stated.wrong(f"{TOLERANCE} mm, to which every plan is checked")
    return Plan(
        name=top.get("week").text(),
        wanted=_wanted(top),
        hide_name=hide.get("name").text(),
        hide_sha256=hide.get("sha256").text(),
        hide_file=hide.get("file").text(),
        placements=tuple(_placement(found.properties) for found in parts),
        gap=rules.get("gap").number(low=0.0),
        edge_margin=rules.get("edge_margin").number(low=0.0),
        keep=rules.get("keep").text(*KEEPS),
        seed=_whole(top.get("seed")),
        budget=top.get("budget").text(),
        left_out=tuple(kit.text() for kit in top.get("left_out").items()),
        figures=_figures(top.get("figures")),
        remnants=tuple(_remnant(found) for found in features if found.role == "remnant"),
        check=_verdict(verdict) if verdict else None,
        bed_windows=_bed_windows(rules),
        cut=tuple(_placement(found.properties) for found in cut),
        remarks=tuple(said.text() for said in remarks.items()) if remarks else (),
        drawn=tuple(_only_ring(found.coordinates) for found in (*parts, *cut)),
    )


def _bed_windows(rules: Node) -> tuple[Box, ...]:
    stated = rules.maybe("bed_windows")
    found = []
    for spot in stated.items() if stated else ():
        x0, y0, x1, y1 = _numbers(spot, 4)
        if x0 >= x1 or y0 >= y1:
            raise spot.wrong("x0, y0, x1, y1 of a window, the lesser first")
        found.append((x0, y0, x1, y1))
    return tuple(found)


def _wanted(top: Node) -> tuple[Wanted, ...]:
    definitions = {
        spot.get("name").text(): _definition_at(spot) for spot in top.get("parts").items()
    }
    wanted = []
    for spot in top.get("wanted").items():
        name = spot.get("part")
        if name.text() not in definitions:
            raise name.wrong("the name of a definition in 'parts'")
        part, need = definitions[name.text()]
        wanted.append(Wanted(spot.get("id").text(), spot.get("sheath").text(), part, need))
    return tuple(wanted)


def _definition_at(spot: Node) -> tuple[Part, Need]:
    part = Part(
        kind=spot.get("kind").text(*KINDS),
        outline=_only_ring(spot.get("outline")),
        regions=tuple(
            Region(region.get("face").text(*FACES), _only_ring(region.get("outline")))
            for region in spot.get("regions").items()
        ),
        marks=tuple(_mark(mark) for mark in spot.get("marks").items()),
        axis=spot.get("axis").number(),
        window=spot.get("window").number(0.0, 90.0),
    )
    return part, _need(spot.get("need"))


def _mark(spot: Node) -> Mark:
    return Mark(
        kind=spot.get("kind").text(),
        points=spot.get("points").points(),
        closed=spot.get("closed").truth(),
        text=spot.get("text").text(),
    )


def _need(spot: Node) -> Need:
    low, high, risk = (spot.get(key).number() for key in ("low", "high", "risk"))
    unknown = spot.maybe("unknown")
    try:
        return Need(
            low,
            high,
            may_split=spot.get("may_split").truth(),
            risk=risk,
            unknown=unknown.truth() if unknown else False,
        )
    except InputError as error:
        raise error.at(place=spot.place) from None


def _placement(spot: Node) -> Placement:
    x, y = _numbers(spot.get("origin"), 2)
    return Placement(spot.get("id").text(), spot.get("angle").number(), x, y)


def _remnant(found: Feature) -> Remnant:
    x, y, radius = _numbers(found.properties.get("circle"), 3)
    return Remnant(polygon_of(found.coordinates.rings()), (x, y, radius))


def _verdict(spot: Node) -> Verdict:
    return Verdict(
        spot.get("passed").truth(),
        _whole(spot.get("findings")),
        spot.get("tolerance").number(),
        _whole(spot.get("version")),
    )


def _figures(spot: Node) -> dict[str, float]:
    if not isinstance(spot.value, dict):
        raise spot.wrong("an object")
    return {key: spot.get(key).number(high=1e12) for key in spot.value}


def _only_ring(spot: Node) -> Outline:
    ring, *holes = spot.rings()
    if holes:
        raise PlanError("a part has no holes, so one ring is all.", place=spot.place)
    return ring


def _numbers(spot: Node, count: int) -> list[float]:
    numbers = [number.number() for number in spot.items()]
    if len(numbers) != count:
        raise spot.wrong(f"{count} numbers")
    return numbers


def _whole(spot: Node) -> int:
    if isinstance(spot.value, bool) or not isinstance(spot.value, int):
        raise spot.wrong("a whole number")
    return spot.value
