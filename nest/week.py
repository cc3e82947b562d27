"""The week file, and the job it stands for.

A week names hides, rules and sheaths wanted; :func:`job_of` reads each knife, makes its
sheath and returns a :class:`Job`: every part wanted, with what it asks of the leather.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from hides.errors import InputError
from hides.thickness import Need
from nest import knife as knives
from nest import sheath as sheaths
from nest.errors import WeekError
from nest.part import Part
from nest.tables import known_keys, number, one_of, read_table

KEEPS = ("butt", "neck", "belly", "tail", "none")


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
class Job:
    """What to cut, by which rules.

    ``gap`` mm between parts, ``edge_margin`` mm from the hide's edge and holes, ``keep``
    the end whose leather is saved (one of :data:`KEEPS`), ``seconds`` or ``effort`` the
    search budget (effort is machine independent), ``hides`` the record files offered.
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

    def without(self, kits: tuple[str, ...]) -> Job:
        """The same job with some kits left out."""
        return replace(self, kits=tuple(kit for kit in self.kits if kit.id not in kits))

    @property
    def parts(self) -> tuple[Wanted, ...]:
        """All parts of all kits, in order."""
        return tuple(wanted for kit in self.kits for wanted in kit.parts)


_WEEK_KEYS = (
    *("name", "hides", "keep", "gap", "edge_margin", "seconds", "effort", "seed", "sheath"),
)
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
class Order:
    """One ``[[sheath]]`` of a week: ``changes`` override the knife file's ``[sheath]``."""

    knife: Path
    count: int
    need: Need | None
    changes: Mapping[str, object]
    due: datetime.date | None
    value: float
    place: str


@dataclass(frozen=True, slots=True)
class Week:
    """A week file as written; ``rules`` is a job without kits."""

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
            kits.extend(_kits_of(order, read_knife(order.knife), numbers))
        except InputError as error:
            if error.file is None:
                raise error.at(file=week.source, place=order.place) from None
            raise
    if sum(len(kit.parts) for kit in kits) > MOST_PARTS:
        raise WeekError(
            f"the week asks for more than {MOST_PARTS} parts.",
            mend="Split it into several weeks.",
            file=week.source,
        )
    return replace(week.rules, kits=tuple(kits))


def _kits_of(order: Order, knife: knives.Knife, numbers: dict[str, int]) -> list[Kit]:
    choices = knife.choices.changed(order.changes)
    sheath = sheaths.make(knife, choices)
    need = order.need or Need(choices.leather - SPREAD, choices.leather + SPREAD)
    stem = order.knife.name.removesuffix(".toml").removesuffix(".knife")
    kits = []
    for _ in range(order.count):
        numbers[stem] = numbers.get(stem, 0) + 1
        kit = f"{stem}-{numbers[stem]}"
        parts = tuple(Wanted(f"{kit}/{part.kind}", kit, part, need) for part in sheath.parts)
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
    if not isinstance(hides, list) or not all(isinstance(hide, str) for hide in hides):
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
    values = {key: number(table.get(key, d), key, a, b) for key, (a, b, d) in _NUMBERS.items()}
    name = table.get("name", path.name.removesuffix(".toml").removesuffix(".week"))
    return Job(
        name=_text(name, "name"),
        kits=(),
        hides=tuple(path.parent / str(hide) for hide in hides),
        keep=str(keep),
        effort=None if effort is None else number(effort, "effort", 0.001, 1000.0),
        seed=seed,
        **values,
    )


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
        knife = _text(own.get("knife"), "knife")
        count = own.get("count", 1)
        if not isinstance(count, int) or isinstance(count, bool) or count < 1:
            raise WeekError(f"count must be 1 or more, got {count!r}.", place="key 'count'")
        due = own.get("due")
        if due is not None and not isinstance(due, datetime.date):
            raise WeekError(f"due must be a date like 2027-04-16, got {due!r}.", place="key 'due'")
        value = number(own.get("value", 0.0), "value", 0.0, 1e9)
        return Order(folder / knife, count, _need_of(own), changes, due, value, place)
    except InputError as error:
        error.place = f"{place}, {error.place}" if error.place else place
        raise


def _need_of(own: Mapping[str, object]) -> Need | None:
    may_split = own.get("may_split", False)
    one_of(may_split, "may_split", (True, False))
    risk = {"risk": number(own["risk"], "risk", 0.001, 0.999)} if "risk" in own else {}
    span = own.get("leather")
    if span is None:
        return None
    low, high = span if isinstance(span, list) and len(span) == 2 else (span, span)
    low, high = number(low, "leather", 0.5, 12.0), number(high, "leather", 0.5, 12.0)
    if low == high:
        low, high = low - SPREAD, high + SPREAD
    return Need(low, high, may_split=bool(may_split), **risk)


def _text(value: object, key: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise WeekError(f"{key} must be a text, got {value!r}.", place=f"key '{key}'")
    return value
