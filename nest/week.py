"""The week file, and the job it stands for.

A week names hides, rules and sheaths wanted; :func:`job_of` reads each knife, makes its
sheath and returns a :class:`Job`: every part wanted, with what it asks of the leather.
"""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from hides.errors import InputError
from hides.keys import known_keys, number, one_of, read_table, text
from hides.thickness import Need
from hides.units import parse_thickness
from nest import knife as knives
from nest import sheath as sheaths
from nest.errors import WeekError
from nest.part import KINDS, Part

KEEPS = ("butt", "neck", "belly", "tail", "none")
PREFERS = ("value", "due")


@dataclass(frozen=True, slots=True)
class Wanted:
    """One part to be placed. ``id`` is unique in the job ("hunter-2/welt")."""

    id: str
    kit: str
    part: Part
    need: Need


@dataclass(frozen=True, slots=True)
class Kit:
    """The parts of one sheath: all are cut or none. ``id`` like "hunter-2"."""

    id: str
    name: str
    parts: tuple[Wanted, ...]
    due: datetime.date | None = None
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class Pin:
    """A part that stays where it is: ``part`` is its id, the place as in a plan.

    ``hide`` names the hide it lies on; empty where only one is offered.
    """

    part: str
    x: float
    y: float
    angle: float
    hide: str = ""

    @property
    def kit(self) -> str:
        """Id of the kit that the part belongs to."""
        return self.part.rpartition("/")[0]


@dataclass(frozen=True, slots=True)
class Job:
    """What to cut, by which rules.

    ``gap`` mm between parts, ``edge_margin`` mm from the hide's edge and holes, ``keep``
    the end whose leather is saved (one of :data:`KEEPS`), ``seconds`` or ``effort`` the
    search budget (effort is machine independent), ``hides`` the record files offered,
    ``pins`` the parts that stay where they are, ``remnant`` length and width in mm of a strap
    to be left at the kept end, ``prefer`` which kits go first when not all fit (one of
    :data:`PREFERS`), ``shift`` how far the hide is moved on a cutter's bed between two set-ups,
    mm along the backbone and across it: then no part crosses a border of windows that large.
    """

    name: str
    kits: tuple[Kit, ...]
    hides: tuple[Path, ...] = ()
    keep: str = "butt"
    gap: float = 2.0
    edge_margin: float = 5.0
    seconds: float = 20.0
    effort: float | None = None
    seed: int = 1
    prefer: str = "value"
    remnant: tuple[float, float] | None = None
    pins: tuple[Pin, ...] = ()
    shift: tuple[float, float] | None = None

    def of(self, kits: Iterable[Kit]) -> Job:
        """The same job with these kits only, and their pins."""
        kits = tuple(kits)
        ids = {kit.id for kit in kits}
        pins = tuple(pin for pin in self.pins if pin.kit in ids)
        return replace(self, kits=kits, pins=pins)

    def without(self, kits: Iterable[str]) -> Job:
        """The same job with some kits left out."""
        left_out = set(kits)
        return self.of(kit for kit in self.kits if kit.id not in left_out)

    @property
    def parts(self) -> tuple[Wanted, ...]:
        """All parts of all kits, in order."""
        return tuple(wanted for kit in self.kits for wanted in kit.parts)


_WEEK_KEYS = (
    *("name", "hides", "keep", "gap", "edge_margin", "seconds", "effort", "seed", "sheath"),
    *("prefer", "remnant", "pin"),
)
_PIN_KEYS = ("sheath", "kind", "x", "y", "angle", "hide")
_SHEATH_KEYS = ("knife", "count", "leather", "may_split", "risk", "due", "value")
_NUMBERS = {  # key: lowest, highest, default
    "gap": (0.0, 50.0, 2.0),
    "edge_margin": (0.0, 200.0, 5.0),
    "seconds": (0.1, 86_400.0, 20.0),
}
SPREAD = 0.2  # mm; leather asked for when only one thickness is given: what a split side
# keeps over its bend (from memory, no published source)
MOST_PARTS = 2000


@dataclass(frozen=True, slots=True)
class Leather:
    """What a ``[[sheath]]`` asks of the leather: ``span`` in mm, or the knife's own thickness."""

    span: tuple[float, float] | None
    may_split: bool
    risk: float | None

    def need(self, thickness: float, *, own: bool = False) -> Need:
        """The need of a part made for that thickness; ``own``: whatever the span says."""
        low, high = self.span or (thickness, thickness)
        if own or low == high:
            middle = thickness if own else low
            low, high = middle - SPREAD, middle + SPREAD
        risk = {} if self.risk is None else {"risk": self.risk}
        return Need(low, high, may_split=self.may_split, **risk)


@dataclass(frozen=True, slots=True)
class Order:
    """One ``[[sheath]]`` of a week: ``changes`` override the knife file's ``[sheath]``."""

    knife: Path
    count: int
    leather: Leather
    changes: Mapping[str, object]
    due: datetime.date | None
    value: float
    place: str


@dataclass(frozen=True, slots=True)
class Week:
    """A week file as written; ``rules`` is a job without kits, but with its pins."""

    rules: Job
    orders: tuple[Order, ...]
    source: Path


def read(path: Path | str) -> Week:
    """Read a ``NAME.week.toml``.

    Raises
    ------
    InputError : the file can't be used; the message names the file, the sheath and the key.
    """
    path = Path(path)
    try:
        return _week_of(read_table(path, "week"), path)
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
        try:
            if not order.knife.exists():
                what, mend = (
                    f"there is no such file: {order.knife}.",
                    "Correct the name or the folder.",
                )
                raise WeekError(what, mend=mend, place="key 'knife'")
            kits.extend(_kits_of(order, read_knife(order.knife), numbers))
            if sum(len(kit.parts) for kit in kits) > MOST_PARTS:
                what = f"up to here the week asks for more than {MOST_PARTS} parts."
                raise WeekError(what, mend="Split it into several weeks.", place="key 'count'")
        except InputError as error:
            if error.file is None:
                error.file = week.source
                error.place = f"{order.place}, {error.place}" if error.place else order.place
            raise
    job = replace(week.rules, kits=tuple(kits))
    for n, pin in enumerate(job.pins, start=1):
        _known_part(pin, job, f"pin {n}", week.source)
    return job


def _known_part(pin: Pin, job: Job, place: str, file: Path) -> None:
    """Refuse a pin on a part that the week doesn't want."""
    known = {wanted.id: wanted.kit for wanted in job.parts}
    if pin.part in known:
        return
    kit, _, kind = pin.part.rpartition("/")
    if kit in known.values():
        kinds = [name.split("/")[1] for name, of in known.items() if of == kit]
        what, mend = f"{kit} has no {kind}.", f"Its parts are {', '.join(kinds)}."
    else:
        near = difflib.get_close_matches(kit, sorted(set(known.values())), n=1, cutoff=0.0)
        what = f"the week wants no sheath '{kit}'."
        mend = f"Sheaths are numbered by knife: did you mean '{near[0]}'?"
    raise WeekError(what, mend=mend, place=place, file=file)


def _kits_of(order: Order, knife: knives.Knife, numbers: dict[str, int]) -> list[Kit]:
    choices = knife.choices.changed(order.changes)
    sheath = sheaths.make(knife, choices)
    need = order.leather.need(choices.leather)
    thick = choices.welt_thickness
    welt = need if thick is None else order.leather.need(thick, own=True)
    stem = order.knife.name.removesuffix(".toml").removesuffix(".knife")
    kits = []
    for _ in range(order.count):
        numbers[stem] = numbers.get(stem, 0) + 1
        kit = f"{stem}-{numbers[stem]}"
        parts = tuple(
            Wanted(f"{kit}/{part.kind}", kit, part, welt if part.kind == "welt" else need)
            for part in sheath.parts
        )
        kits.append(Kit(kit, sheath.name, parts, order.due, order.value))
    return kits


def _week_of(table: dict[str, object], path: Path) -> Week:
    known_keys(table, _WEEK_KEYS)
    rows = table.get("sheath")
    if not isinstance(rows, list) or not rows:
        raise WeekError(
            "the week wants no sheath.", mend='Add a table [[sheath]] with knife = "..."'
        )
    orders = tuple(_order_of(row, n, path.parent) for n, row in enumerate(rows, start=1))
    return Week(_rules_of(table, path), orders, path)


def _rules_of(table: dict[str, object], path: Path) -> Job:
    hides = table.get("hides", [])
    if not isinstance(hides, list):
        raise WeekError("hides must be a list of file names.", place="key 'hides'")
    keep = table.get("keep", "butt")
    one_of(keep, "keep", KEEPS)
    if "seconds" in table and "effort" in table:
        raise WeekError("give seconds or effort, not both.", place="key 'effort'")
    seed = table.get("seed", 1)
    if not isinstance(seed, int) or isinstance(seed, bool) or seed < 0:
        raise WeekError(
            f"seed must be a whole number of 0 or more, got {seed!r}.", place="key 'seed'"
        )
    effort = table.get("effort")
    gap, margin, seconds = (
        number(table.get(key, default), key, low, high)
        for key, (low, high, default) in _NUMBERS.items()
    )
    name = table.get("name", path.name.removesuffix(".toml").removesuffix(".week"))
    return Job(
        name=text(name, "name"),
        kits=(),
        hides=tuple(path.parent / text(hide, "hides") for hide in hides),
        keep=str(keep),
        gap=gap,
        edge_margin=margin,
        seconds=seconds,
        effort=None if effort is None else number(effort, "effort", 0.001, 1000.0),
        seed=seed,
        prefer=_prefer_of(table),
        remnant=_remnant_of(table),
        pins=_pins_of(table),
    )


def _prefer_of(table: Mapping[str, object]) -> str:
    """As written; else value where any sheath has one, else due."""
    if "prefer" in table:
        one_of(table["prefer"], "prefer", PREFERS)
        return str(table["prefer"])
    rows = table.get("sheath")
    rows = rows if isinstance(rows, list) else []
    return "value" if any(isinstance(row, dict) and row.get("value") for row in rows) else "due"


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


def _pins_of(table: Mapping[str, object]) -> tuple[Pin, ...]:
    rows = table.get("pin", [])
    if not isinstance(rows, list):
        raise WeekError("pin must be a list of tables: write [[pin]].", place="key 'pin'")
    pins: dict[str, Pin] = {}
    for n, row in enumerate(rows, start=1):
        pin = _pin_of(row, f"pin {n}")
        if pin.part in pins:
            raise WeekError(f"{pin.part} is pinned twice.", place=f"pin {n}")
        pins[pin.part] = pin
    return tuple(pins.values())


def _pin_of(row: object, place: str) -> Pin:
    if not isinstance(row, dict):
        raise WeekError("pin must be a list of tables: write [[pin]].", place=place)
    try:
        known_keys(row, _PIN_KEYS)
        sheath, kind = text(row.get("sheath"), "sheath"), row.get("kind")
        one_of(kind, "kind", KINDS)
        x, y = (number(row.get(key), key, -10_000.0, 10_000.0, " mm") for key in ("x", "y"))
        angle = number(row.get("angle"), "angle", -360.0, 360.0, " degrees")
        hide = text(row["hide"], "hide") if "hide" in row else ""
        return Pin(f"{sheath}/{kind}", x, y, angle, hide)
    except InputError as error:
        error.place = f"{place}, {error.place}" if error.place else place
        raise


def _order_of(row: object, n: int, folder: Path) -> Order:
    place = f"sheath {n}"
    if not isinstance(row, dict):
        raise WeekError("sheath must be a list of tables: write [[sheath]].", place=place)
    try:
        own = {key: row[key] for key in _SHEATH_KEYS if key in row}
        changes = {key: value for key, value in row.items() if key not in own}
        if "leather" in own:
            changes["leather"] = own["leather"]
        known_keys(changes, (*_SHEATH_KEYS, *knives.CHOICE_KEYS))
        knife = text(own.get("knife"), "knife")
        count = own.get("count", 1)
        if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= MOST_PARTS:
            what = f"count must be 1 or more, at most {MOST_PARTS}, got {count!r}."
            raise WeekError(what, place="key 'count'")
        due = own.get("due")
        if due is not None and not isinstance(due, datetime.date):
            raise WeekError(f"due must be a date like 2027-04-16, got {due!r}.", place="key 'due'")
        value = number(own.get("value", 0.0), "value", 0.0, 1e9)
        return Order(folder / knife, count, _leather_of(own), changes, due, value, place)
    except InputError as error:
        error.place = f"{place}, {error.place}" if error.place else place
        raise


def _leather_of(own: Mapping[str, object]) -> Leather:
    may_split = own.get("may_split", False)
    one_of(may_split, "may_split", (True, False))
    risk = number(own["risk"], "risk", 0.001, 0.999) if "risk" in own else None
    given = own.get("leather")
    if isinstance(given, str):
        given = list(parse_thickness(given))
    span = None
    if given is not None:
        low, high = given if isinstance(given, list) and len(given) == 2 else (given, given)
        span = (number(low, "leather", 0.5, 12.0), number(high, "leather", 0.5, 12.0))
    leather = Leather(span, bool(may_split), risk)
    leather.need(3.0)  # says at once if the span is upside down
    return leather
