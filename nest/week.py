"""The week file, and the job that it asks for.

A week names hides, rules and sheaths wanted; :func:`job_of` reads each knife, makes its
sheath and returns the :class:`nest.job.Job`.
"""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from hides.errors import InputError
from hides.keys import (
    Between,
    OneOf,
    Takes,
    checked,
    known_keys,
    number,
    read_table,
    rules_of,
    text,
)
from hides.thickness import USUAL_RISK, Need
from hides.units import parse_thickness
from nest import knife as knives
from nest import sheaths
from nest.errors import WeekError
from nest.job import KEEPS, PREFERS, Job, Kit, Pin, Wanted
from nest.part import KINDS, Part, alike
from nest.plans import named, read_checked

# Keys of a week that are a job's fields of the same name
_AS_THEY_ARE = ("keep", "gap", "edge_margin", "seconds", "effort", "seed", "prefer")
SPREAD = 0.2  # mm; leather asked for when only one thickness is given: what a split side
# keeps over its bend (from memory, no published source)
PLACE, TURN = Between(-10_000.0, 10_000.0, "mm"), Between(-360.0, 360.0, "degrees")
MOST_PARTS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekKeys:
    """The keys of a week file. Millimetres; paths are relative to the file.

    Attributes
    ----------
    name : what the week is called.
    hides : records offered; several are shared out for the least leather cost.
    keep : the end of the hide whose leather stays whole; parts gather at the other.
    gap : between parts.
    edge_margin : from the hide's edge and its holes.
    seconds : time for the search; 20 unless given, or effort.
    effort : work instead of time: the same plan on every run; 1 is about 10 s on a slow core.
    seed : another seed is another search.
    prefer : which sheaths go first when not all fit; value where values are given, else due.
    remnant : a clean strap, length and width, to be left at the kept end.
    sheath : a table for each sheath wanted.
    pin : a table for each part that stays where you put it.
    """

    name: Annotated[str | None, Takes("a text", "the file's name")] = None
    hides: Annotated[tuple[str, ...], Takes("a list of files: NAME.hide.json")] = ()
    keep: Annotated[str, OneOf(KEEPS)] = "butt"
    gap: Annotated[float, Between(0.0, 50.0, "mm")] = 2.0
    edge_margin: Annotated[float, Between(0.0, 200.0, "mm")] = 5.0
    seconds: Annotated[float | None, Between(0.1, 86_400.0, "s")] = None
    effort: Annotated[float | None, Between(0.001, 1000.0)] = None
    seed: Annotated[int, Between(0, 1e18)] = 1
    prefer: Annotated[str | None, OneOf(PREFERS)] = None
    remnant: Annotated[object, Takes("[length, width], each 10 to 4000 mm")] = None
    sheath: Annotated[object, Takes("tables [[sheath]]")]
    pin: Annotated[object, Takes("tables [[pin]]")] = None


@dataclass(frozen=True, slots=True)
class SheathKeys:
    """The keys of a week's ``[[sheath]]`` beside those of a knife's ``[sheath]``.

    Attributes
    ----------
    knife : the knife that it is for.
    count : how many sheaths of the kind.
    leather : thickness asked of the leather, a range or one; the pattern is made for the middle.
        The knife's own, give or take 0.2 mm, unless given.
    may_split : thicker leather counts too, since it can be split down.
    risk : accepted chance that the leather at a point is outside of the range.
    due : when it must be done.
    value : what it is worth, in the shop's currency.
    """

    knife: Annotated[str, Takes("a file: NAME.knife.toml")]
    count: Annotated[int, Between(1, MOST_PARTS)] = 1
    leather: Annotated[object, Takes('mm, [3.2, 3.5], or "8-9 oz"')] = None
    may_split: Annotated[bool, OneOf((False, True))] = False
    risk: Annotated[float, Between(0.001, 0.999)] = USUAL_RISK
    due: Annotated[datetime.date | None, Takes("a date: 2027-04-16")] = None
    value: Annotated[float, Between(0.0, 1e9)] = 0.0


@dataclass(frozen=True, slots=True)
class PinKeys:
    """The keys of a week's ``[[pin]]``: a part that stays where it is.

    Attributes
    ----------
    sheath : which of the week's sheaths, by its knife and number; or plan and part instead.
    kind : which of its parts.
    plan : a plan that has the part, instead of sheath and kind.
    part : what the part is called in that plan.
    x : where its middle lies along the backbone from the tail root; where the plan has it, if
        there is one.
    y : where its middle lies across, from the backbone.
    angle : how far it is turned, counter-clockwise.
    hide : the hide's name, where several are offered.
    """

    sheath: Annotated[str | None, Takes("a text: heron-1")] = None
    kind: Annotated[str | None, OneOf(KINDS)] = None
    plan: Annotated[str | None, Takes("a file: NAME.plan.json")] = None
    part: Annotated[str | None, Takes("a text: A1W")] = None
    x: Annotated[float | None, PLACE] = None
    y: Annotated[float | None, PLACE] = None
    angle: Annotated[float | None, TURN] = None
    hide: Annotated[str | None, Takes("a text")] = None


@dataclass(frozen=True, slots=True)
class Order:
    """One ``[[sheath]]`` of a week.

    Attributes
    ----------
    count : number of sheaths.
    changes : override the knife file's ``[sheath]``.
    span : mm of thickness asked of the leather; None: the knife's own.
    may_split, risk : as in :class:`hides.thickness.Need`; a risk of None is the usual one.
    value : money, or whatever is to be had most of.
    """

    knife: Path
    count: int
    changes: Mapping[str, object]
    span: tuple[float, float] | None
    may_split: bool
    risk: float | None
    due: datetime.date | None
    value: float
    place: str

    def need(self, thickness: float, *, own: bool = False) -> Need:
        """The need of a part made for that thickness in mm; ``own``: whatever the span says."""
        low, high = self.span or (thickness, thickness)
        if own or low == high:
            middle = thickness if own else low
            low, high = middle - SPREAD, middle + SPREAD
        need = Need(low, high, may_split=self.may_split)
        return need if self.risk is None else replace(need, risk=self.risk)


@dataclass(frozen=True, slots=True)
class Week:
    """A week file as written; ``rules`` is a job without kits, but with its pins.

    ``seen`` are parts that pins name by a plan's letters, by id, as that plan has them.
    """

    rules: Job
    orders: tuple[Order, ...]
    source: Path
    seen: Mapping[str, Part] = field(default_factory=dict)


def read(path: Path | str) -> Week:
    """Read a ``NAME.week.toml``.

    Raises
    ------
    InputError : the file can't be used; the message names the file, the sheath and the key.
    """
    path = Path(path)
    try:
        table = read_table(path, "week")
        known_keys(table, rules_of(WeekKeys))
        rows = _tables(table, "sheath")
        if not rows:
            what, mend = "the week wants no sheath.", 'Add a table [[sheath]] with knife = "..."'
            raise WeekError(what, mend=mend)
        orders = tuple(_order_of(row, n, path.parent) for n, row in enumerate(rows, start=1))
        pins, seen = _pins_of(table, path.parent)
        return Week(replace(_rules_of(table, path), pins=pins), orders, path, seen)
    except InputError as error:
        raise error.at(file=path) from None


def job_of(week: Week) -> Job:
    """Read each knife, make its sheath, and return the job of all parts wanted.

    Raises
    ------
    InputError : a knife file is missing or unusable, or asks for a sheath that can't be made.
    """
    kits: list[Kit] = []
    numbers: dict[str, int] = {}
    read_knife = cache(knives.read)
    for order in week.orders:
        with _at(order.place, week.source):
            if not order.knife.exists():
                what = f"there is no such file: {order.knife}."
                mend = "Correct the name or the folder."
                raise WeekError(what, mend=mend, place="key 'knife'")
            kits.extend(_kits_of(order, read_knife(order.knife), numbers))
            if sum(len(kit.parts) for kit in kits) > MOST_PARTS:
                what = f"up to here the week asks for more than {MOST_PARTS} parts."
                raise WeekError(what, mend="Split it into several weeks.", place="key 'count'")
    job = replace(week.rules, kits=tuple(kits))
    for n, pin in enumerate(job.pins, start=1):
        with _at(f"pin {n}", week.source):
            _known_part(pin, job, week.seen.get(pin.part))
    return job


@contextmanager
def _at(place: str, file: Path | None = None) -> Iterator[None]:
    """Say where in the week something is wrong, unless it is in a file of its own."""
    try:
        yield
    except InputError as error:
        if error.file is None:
            error.file = file
            error.place = f"{place}, {error.place}" if error.place else place
        raise


def _known_part(pin: Pin, job: Job, seen: Part | None) -> None:
    """Refuse a pin on a part that the week doesn't want, or not as it was ``seen`` in a plan."""
    known = {wanted.id: wanted.kit for wanted in job.parts}
    if pin.part in known:
        now = next(wanted.part for wanted in job.parts if wanted.id == pin.part)
        if seen is not None and not alike(seen, now):
            what = f"{pin.part} has another shape in that plan than the week asks for now."
            mend = "Plan the week anew, or take the pin out."
            raise WeekError(what, mend=mend, place="key 'part'")
        return
    kit, _, kind = pin.part.rpartition("/")
    if kit in known.values():
        kinds = [name.split("/")[1] for name, of in known.items() if of == kit]
        what, mend = f"{kit} has no {kind}.", f"Its parts are {', '.join(kinds)}."
    else:
        near = difflib.get_close_matches(kit, sorted(set(known.values())), n=1, cutoff=0.0)
        what = f"the week wants no sheath '{kit}'."
        mend = f"Sheaths are numbered by knife: did you mean '{near[0]}'?"
    raise WeekError(what, mend=mend)


def _kits_of(order: Order, knife: knives.Knife, numbers: dict[str, int]) -> list[Kit]:
    choices = knife.choices.changed(order.changes)
    sheath = sheaths.make(knife, choices)
    need = order.need(choices.leather)
    thick = choices.welt_thickness
    welt = need if thick is None else order.need(thick, own=True)
    stem = order.knife.name.removesuffix(".toml").removesuffix(".knife")
    kits = []
    for _ in range(order.count):
        numbers[stem] = numbers.get(stem, 0) + 1
        kit = f"{stem}-{numbers[stem]}"
        parts = tuple(
            Wanted(f"{kit}/{part.kind}", kit, part, welt if part.kind == "welt" else need)
            for part in sheath.parts
        )
        kits.append(
            Kit(
                kit,
                sheath.name,
                parts,
                order.due,
                order.value,
                sheath.caution,
                sheath.doubts,
            )
        )
    return kits


def _tables(table: Mapping[str, object], key: str) -> list[dict[str, object]]:
    rows = table.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        what = f"{key} must be a list of tables: write [[{key}]]."
        raise WeekError(what, place=f"key '{key}'")
    return rows


def _rules_of(table: Mapping[str, object], path: Path) -> Job:
    values = checked(WeekKeys, table)
    hides = values.get("hides", [])
    if not isinstance(hides, list):
        raise WeekError("hides must be a list of file names.", place="key 'hides'")
    if "seconds" in table and "effort" in table:
        raise WeekError("give seconds or effort, not both.", place="key 'effort'")
    valued = any(row.get("value") for row in _tables(table, "sheath"))
    rules: dict[str, Any] = {"prefer": "value" if valued else "due"}
    rules |= {key: values[key] for key in _AS_THEY_ARE if key in values}
    name = values.get("name", path.name.removesuffix(".toml").removesuffix(".week"))
    return Job(
        name=text(name, "name"),
        kits=(),
        hides=tuple(path.parent / text(hide, "hides") for hide in hides),
        remnant=_remnant_of(table),
        **rules,
    )


def _remnant_of(table: Mapping[str, object]) -> tuple[float, float] | None:
    if "remnant" not in table:
        return None
    size = table["remnant"]
    if not isinstance(size, list) or len(size) != 2:
        raise WeekError(
            f"remnant must be a strap's length and width in mm, got {size!r}.",
            mend="Write remnant = [1200, 40].",
            place="key 'remnant'",
        )
    length, width = (number(side, "remnant", 10.0, 4000.0, " mm") for side in size)
    return max(length, width), min(length, width)


def _pins_of(table: Mapping[str, object], folder: Path) -> tuple[tuple[Pin, ...], dict[str, Part]]:
    """The pins, and those of their parts that are named by a plan's letters, as it has them."""
    pins: dict[str, Pin] = {}
    seen: dict[str, Part] = {}
    for n, row in enumerate(_tables(table, "pin"), start=1):
        with _at(f"pin {n}"):
            known_keys(row, rules_of(PinKeys))
            if "plan" in row or "part" in row:
                pin, part = _pin_by_letter(row, folder)
                seen[pin.part] = part
            else:
                pin = _pin_of(row)
            if pin.part in pins:
                raise WeekError(f"{pin.part} is pinned twice.")
            pins[pin.part] = pin
    return tuple(pins.values()), seen


def _pin_of(row: Mapping[str, object]) -> Pin:
    sheath, kind = text(row.get("sheath"), "sheath"), row.get("kind")
    OneOf(KINDS).check(kind, "kind")
    x, y, angle = (_coordinate(row.get(key), key) for key in ("x", "y", "angle"))
    return Pin(f"{sheath}/{kind}", x, y, angle, _hide_of(row))


def _pin_by_letter(row: Mapping[str, object], folder: Path) -> tuple[Pin, Part]:
    """A pin on a part as a plan calls it: where it lies there, unless the row says otherwise."""
    for key in ("sheath", "kind"):
        if key in row:
            what = "a part is named by its letter in a plan, or by sheath and kind, not by both."
            raise WeekError(what, mend=f"Take out {key}.", place=f"key '{key}'")
    file = folder / text(row.get("plan"), "plan")
    label = text(row.get("part"), "part")
    if not file.exists():
        what = f"there is no such file: {file}."
        raise WeekError(what, mend="Correct the name or the folder.", place="key 'plan'")
    plan = read_checked(file)
    with _at("key 'part'"):
        wanted = named(plan, label)
    at = next(placement for placement in plan.lying if placement.id == wanted.id)
    x, y, angle = (
        _coordinate(row.get(key, value), key)
        for key, value in (("x", at.x), ("y", at.y), ("angle", at.angle))
    )
    return Pin(wanted.id, x, y, angle, _hide_of(row) or plan.hide_name), wanted.part


def _coordinate(value: object, key: str) -> float:
    """A place of a pin in mm, or its angle in degrees."""
    return (TURN if key == "angle" else PLACE).check(value, key)


def _hide_of(row: Mapping[str, object]) -> str:
    return text(row["hide"], "hide") if "hide" in row else ""


def _order_of(row: Mapping[str, object], n: int, folder: Path) -> Order:
    place = f"sheath {n}"
    with _at(place):
        given = {key: row[key] for key in rules_of(SheathKeys) if key in row}
        changes = {key: value for key, value in row.items() if key not in given}
        if "leather" in given:
            changes["leather"] = given["leather"]
        known_keys(changes, (*rules_of(SheathKeys), *knives.CHOICE_KEYS, *knives.OLD_KEYS))
        own = checked(SheathKeys, given)
        knife = text(own["knife"], "knife")
        count, may_split = own.get("count", 1), own.get("may_split", False)
        due, value = own.get("due"), own.get("value", 0.0)
        if due is not None and not isinstance(due, datetime.date):
            raise WeekError(f"due must be a date like 2027-04-16, got {due!r}.", place="key 'due'")
        span, split, risk = _span_of(own.get("leather")), bool(may_split), own.get("risk")
        order = Order(folder / knife, count, changes, span, split, risk, due, value, place)
        order.need(3.0)  # says at once if the span is upside down
        return order


def _span_of(given: object) -> tuple[float, float] | None:
    if given is None:
        return None
    if isinstance(given, str):
        given = parse_thickness(given)
    low, high = given if isinstance(given, list | tuple) and len(given) == 2 else (given, given)
    return number(low, "leather", 0.5, 12.0), number(high, "leather", 0.5, 12.0)
