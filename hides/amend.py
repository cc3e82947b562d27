"""A record kept up: readings and flaws added to it, odd readings confirmed, its edge measured anew.

The record's own file is changed and nothing else in it: what was typed by hand, and what this
program doesn't know, stays. A reading that is taken again within :data:`SAME_PLACE` of an older one
takes its place, and so does a flaw that is seen again (:func:`_same_flaw`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import hypot
from pathlib import Path
from typing import Any

from shapely import Point
from shapely.geometry import shape as shape_of
from shapely.geometry.base import BaseGeometry

from hides import flawtable, record
from hides.capture import gauge
from hides.errors import InputError, placed
from hides.files import read_whole
from hides.flaws import Flaw
from hides.geojson import LARGEST_FILE, feature, text_of
from hides.hide import Hide
from hides.thickness import Reading

SAME_PLACE = 5.0  # mm; the radius of a gauge's foot after ISO 2589
SAME_SHARE = 0.5  # of a flaw's area, under a new one of another kind: it is the same flaw
ON_LEATHER = 1.0  # mm; as far off the outline a thing counts as on it
NAMES = {"flaw": "flaws", "reading": "readings", "zone": "zones", "stretch": "stretch lines"}

Content = dict[str, Any]


@dataclass(frozen=True, eq=False, slots=True)
class Amended:
    """A hide as its record is now: the record's ``text``, and what was done, a sentence each."""

    hide: Hide
    text: str
    said: tuple[str, ...]


def add(
    path: Path,
    *,
    readings: Path | None = None,
    flaws: Path | None = None,
    confirm: Sequence[int] = (),
) -> Amended:
    """Add readings and flaws from tables to a record, and confirm readings by their number from 1.

    Raises
    ------
    InputError : the record or a table can't be used, something lies off the leather, there is no
        reading of that number, or nothing to do.
    """
    if not (readings or flaws or confirm):
        mend = "Give --readings CSV, --flaws CSV or --confirm NUMBER."
        raise InputError("there is nothing to add.", mend=mend)
    hide, content = record.read(path), _content(path)
    said = list(_confirmed(content, confirm, path))
    if readings is not None:
        said += _read_again(content, hide, readings)
    if flaws is not None:
        said += _flawed(content, hide, flaws)
    return _amended(content, path, said)


def with_flaws(hide: Hide, flaws: Path) -> Amended:
    """A hide that has no record yet, with the flaws of a table.

    Raises
    ------
    InputError : the table can't be used, or a flaw lies off the leather.
    """
    content = json.loads(record.text(hide))
    said = _flawed(content, hide, flaws)
    made = _amended(content, flaws, said)
    return replace(made, hide=replace(made.hide, source=None, sha256=""))


def renewed(path: Path, hide: Hide, *, flaws: Path | None = None) -> Amended:
    """The record at ``path`` with edge, readings, flaws and label of ``hide``.

    Kept are readings and flaws that are elsewhere, and what else the record holds.

    Raises
    ------
    InputError : the old record can't be read, the table of flaws can't be used, or what stays lies
        off the new edge.
    """
    before = record.read(path)
    old, new = _content(path), json.loads(record.text(hide))
    told = [
        key
        for key in ("name", "piece", "tannage", "price", "supplier_area")
        if key in new and new[key] != old.get(key)
    ]  # fmt: skip
    edge = [one for one in new["features"] if _role(one) in ("outline", "backbone")]
    seen = [one for one in new["features"] if _role(one) == "flaw"]
    stays, gone = [], []
    for one in old["features"]:
        if _role(one) == "flaw" and _same_flaw(record.flaw_of(one), hide.flaws):
            gone.append(_called(one))
        elif _role(one) not in ("outline", "backbone"):
            stays.append(one)
    if off := [_called(one) for one in stays if _is_off(one, hide, before)]:
        raise InputError(
            f"the new edge leaves out what the record holds: {', '.join(off)}.",
            mend="Write to another --out and look at the edge. If it is right, take them out of "
            "this record.",
            file=path,
        )
    content = old | {key: new[key] for key in told} | {"features": [*edge, *stays, *seen]}
    roles = [_role(one) for one in stays]
    kept = [f"{NAMES[role]} {roles.count(role)}" for role in dict.fromkeys(roles)]
    said = [f"Taken anew for {path.name}: {', '.join(['outline', 'backbone', *told])}."]
    said += [f"Kept of it: {', '.join(kept)}."] if kept else []
    said += [f"Replaced by new flaws that lie on them: {', '.join(gone)}."] if gone else []
    said += [f"Flaws added: {len(seen)}."] if seen else []
    said += _placed_readings(content, hide.readings)
    said += _flawed(content, hide, flaws) if flaws is not None else []
    return _amended(content, path, said)


def _content(path: Path) -> Content:
    content: Content = json.loads(read_whole(path, LARGEST_FILE).decode("utf-8-sig"))
    return content


def _amended(content: Content, path: Path, said: Iterable[str]) -> Amended:
    """The text of the content, and the hide that it reads as: nothing that can't be read again."""
    members = {key: value for key, value in content.items() if key not in ("type", "features")}
    text = text_of(members, content["features"])
    return Amended(record.parsed(text.encode(), path), text, tuple(said))


def _role(one: Content) -> str:
    role: str = one["properties"]["role"]
    return role


def _shape(one: Content) -> BaseGeometry:
    return record.flaw_of(one).shape if _role(one) == "flaw" else shape_of(one["geometry"])


def _called(one: Content) -> str:
    """What a feature is, and where."""
    name, middle = one["properties"].get("flaw", _role(one)), _shape(one).centroid
    return f"{name} at ({middle.x:.0f}, {middle.y:.0f})"


def _same_flaw(old: Flaw, seen: Iterable[Flaw]) -> bool:
    """Whether one of the flaws seen is this one: of its kind and over it, or over most of it."""
    return any(
        new.shape.intersects(old.shape)
        and (
            new.kind == old.kind
            or new.shape.intersection(old.shape).area >= SAME_SHARE * old.shape.area
        )
        for new in seen
    )


def _is_off(one: Content, hide: Hide, before: Hide) -> bool:
    """Whether a feature lies off the hide's edge; readings of what a remnant was cut from may."""
    if _role(one) == "reading" and before.whole is not None:
        return False
    return hide.outline.polygon.distance(_shape(one)) > ON_LEATHER


def _readings(content: Content) -> list[Content]:
    return [one for one in content["features"] if _role(one) == "reading"]


def _confirmed(content: Content, numbers: Sequence[int], path: Path) -> Iterable[str]:
    found = _readings(content)
    for number in numbers:
        if not 1 <= number <= len(found):
            mend = "Number them as croupon hide check does."
            what = f"there is no reading {number}; the record has {len(found)}."
            raise InputError(what, mend=mend, file=path)
        one = found[number - 1]
        one["properties"]["confirmed"] = True
        x, y = one["geometry"]["coordinates"]
        yield f"Reading {number} at ({x:g}, {y:g}), {one['properties']['thickness']}, is confirmed."


def _read_again(content: Content, hide: Hide, file: Path) -> list[str]:
    left, _, right, _ = hide.outline.bounds
    listed = gauge.read(file, length=right - left)
    if listed.numbered:
        what = "these readings have numbers of stickers, whose places only a photo gives."
        raise InputError(what, mend="Write their places: x,y,mm.", file=file)
    for reading, place in zip(listed.placed, listed.places, strict=True):
        if (off := hide.polygon.distance(Point(reading.x, reading.y))) > ON_LEATHER:
            what = (
                f"the reading at ({reading.x:g}, {reading.y:g}) lies {off:.0f} mm off {hide.name}."
            )
            raise InputError(what, mend="Correct its place.", place=place, file=file)
    return [*listed.says, *_placed_readings(content, listed.placed)]


def _placed_readings(content: Content, readings: Sequence[Reading]) -> list[str]:
    """Put readings in, each in the place of an older one of the same place."""
    older, added, said = _readings(content), 0, []
    for reading in readings:
        same = [
            one
            for one in older
            if hypot(
                one["geometry"]["coordinates"][0] - reading.x,
                one["geometry"]["coordinates"][1] - reading.y,
            )
            <= SAME_PLACE
        ]
        if not same:
            place = [reading.x, reading.y]
            content["features"].append(
                feature("reading", "Point", place, thickness=reading.thickness)
            )
            added += 1
            continue
        about = same[0]["properties"]
        if about["thickness"] != reading.thickness:
            said.append(
                f"The reading at ({reading.x:g}, {reading.y:g}) is {reading.thickness:g} mm now, "
                f"it was {about['thickness']}."
            )
            about["thickness"] = reading.thickness
            about.pop("confirmed", None)
    return [*said, *([f"Readings added: {added}."] if added else [])]


def _flawed(content: Content, hide: Hide, file: Path) -> list[str]:
    """Put flaws in that aren't there yet."""
    added = 0
    for listed in flawtable.read(file):
        with placed(file=file, place=f"line {listed.line}"):
            shape = record.flaw_of(listed.feature).shape
            if not shape.intersects(hide.polygon):
                middle = shape.centroid
                raise InputError(
                    f"this flaw lies off {hide.name}, at ({middle.x:.0f}, {middle.y:.0f}).",
                    mend="Correct its places, or the unit in the head.",
                )
        if listed.feature not in content["features"]:
            content["features"].append(listed.feature)
            added += 1
    return [f"Flaws added: {added}."]
