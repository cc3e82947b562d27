"""The job: every part wanted, by which rules it is placed, and what the search may spend.

A week file is one way to a job (:mod:`nest.week`); whatever plans takes jobs and never asks
where they come from.
"""

from __future__ import annotations

import datetime
import math
import time
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from hides.errors import InputError
from hides.thickness import Need
from nest.part import Part

KEEPS = ("butt", "neck", "belly", "tail", "none")
PREFERS = ("value", "due")
WORK = 8_000_000  # candidate poses, of all workers together, that an effort of 1 stands for


@dataclass(frozen=True, slots=True)
class Wanted:
    """One part to be placed. ``id`` is unique in the job ("hunter-2/welt")."""

    id: str
    kit: str
    part: Part
    need: Need

    @property
    def likeness(self) -> Hashable:
        """Equal for parts of one shape that ask for the same leather."""
        part = self.part
        return part.outline, part.regions, part.axis, part.window, self.need


@dataclass(frozen=True, slots=True)
class Kit:
    """The parts of one sheath: all are cut or none. ``id`` like "hunter-2"; ``value`` in money.

    ``caution`` is what whoever cuts must know of it, one sentence or empty; ``doubts`` is all that
    its maker should know, in sentences too many for a page.
    """

    id: str
    name: str
    parts: tuple[Wanted, ...]
    due: datetime.date | None = None
    value: float = 0.0
    caution: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """A part that stays where it is: ``part`` is its id, the place as in a plan (mm, degrees).

    ``hide`` names the hide it lies on; empty where only one is offered. What is ``cut`` already
    is not judged any more, and its leather is gone; ``label`` is what the plan that was cut calls
    it.
    """

    part: str
    x: float
    y: float
    angle: float
    hide: str = ""
    cut: bool = False
    label: str = ""

    @property
    def kit(self) -> str:
        """Id of the kit that the part belongs to."""
        return self.part.rpartition("/")[0]


@dataclass(frozen=True, slots=True)
class Job:
    """What to cut, by which rules.

    ``gap`` mm between parts, ``edge_margin`` mm from the hide's edge and holes, ``keep``
    the end whose leather is saved (one of :data:`KEEPS`), ``seconds`` or ``effort`` (a number)
    what the search may spend, ``seed`` the number its luck begins with, ``hides`` the record
    files offered, ``pins`` the parts that stay where they are, ``remnant`` length and width in
    mm of a strap to be left at the kept end, ``prefer`` which kits go first when not all fit
    (one of :data:`PREFERS`), ``shift`` how far the hide is moved on a cutter's bed between two
    set-ups, mm along the backbone and across it: then no part crosses a border of windows that
    large, ``remarks`` what whoever cuts should know of it, in sentences.
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
    remarks: tuple[str, ...] = ()

    def of(self, kits: Iterable[Kit]) -> Job:
        """The same job with these kits only, and their pins."""
        kits = tuple(kits)
        ids = {kit.id for kit in kits}
        pins = tuple(pin for pin in self.pins if pin.kit in ids)
        return replace(self, kits=kits, pins=pins)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What was guessed of its sheaths and what their makers should know, each sentence once."""
        return tuple(dict.fromkeys(words for kit in self.kits for words in kit.doubts))

    @property
    def parts(self) -> tuple[Wanted, ...]:
        """All parts of all kits, in order."""
        return tuple(wanted for kit in self.kits for wanted in kit.parts)

    @property
    def taking_unknown(self) -> Job:
        """The same job, whose parts may lie on leather whose thickness nobody knows, too."""
        kits = (replace(kit, parts=tuple(map(_taking_unknown, kit.parts))) for kit in self.kits)
        return replace(self, kits=tuple(kits))

    @property
    def cut(self) -> frozenset[str]:
        """Ids of the parts that are cut already."""
        return frozenset(pin.part for pin in self.pins if pin.cut)

    @property
    def to_cut(self) -> tuple[Wanted, ...]:
        """All parts but those that are cut already."""
        return tuple(wanted for wanted in self.parts if wanted.id not in self.cut)

    @property
    def pinned(self) -> Job:
        """The same job with its pinned parts only."""
        return self._with({pin.part for pin in self.pins})

    @property
    def loose(self) -> Job:
        """The same job without its pinned parts, and so without pins."""
        return self._with({part.id for part in self.parts} - {pin.part for pin in self.pins})

    def _with(self, ids: set[str]) -> Job:
        kits = (replace(kit, parts=tuple(w for w in kit.parts if w.id in ids)) for kit in self.kits)
        pins = tuple(pin for pin in self.pins if pin.part in ids)
        return replace(self, kits=tuple(kits), pins=pins)

    def budget(self, seconds: float | None = None, effort: float | None = None) -> Budget:
        """What may be spent by these words (effort is a number); by the job's where there are none.

        Raises
        ------
        InputError : it is not above 0.
        """
        if seconds is None and effort is None:
            seconds, effort = (None, self.effort) if self.effort else (self.seconds, None)
        return Budget.of(seconds, effort)


def _taking_unknown(wanted: Wanted) -> Wanted:
    return replace(wanted, need=replace(wanted.need, unknown=True))


@dataclass(slots=True)
class Budget:
    """What a search may spend: ``seconds``, or an ``effort`` that is the same on every machine.

    Attributes
    ----------
    seconds, effort : no limit where not given. An effort of 1 (a number) is :data:`WORK`, about
        ten seconds on a slow core.
    work : number of candidate poses put down so far by the searches that it pays for.
    began : seconds of the machine's own clock when it was opened.

    Raises
    ------
    InputError : it is not above 0, or without limit.
    """

    seconds: float = math.inf
    effort: float = math.inf
    work: int = 0
    began: float = field(default_factory=time.perf_counter)

    def __post_init__(self) -> None:
        if not 0 < min(self.seconds, self.effort) < math.inf:
            raise InputError(f"a search wants seconds or effort above 0, got {self}.")

    @classmethod
    def of(cls, seconds: float | None, effort: float | None) -> Budget:
        """A budget of what is given; effort is a number, None for no limit."""
        return cls(math.inf if seconds is None else seconds, math.inf if effort is None else effort)

    @property
    def by_work(self) -> bool:
        """Whether what comes of it is the same on every run."""
        return self.effort < math.inf

    @property
    def passed(self) -> float:
        """Seconds since it was opened."""
        return time.perf_counter() - self.began

    @property
    def used(self) -> float:
        """Share that is gone, by the work put down or by the clock."""
        return max(self.work / WORK / self.effort, self.passed / self.seconds)

    def used_after(self, work: float) -> float:
        """Share that is gone in a search that has looked at so many candidate poses (number)."""
        return max(work / (self.effort * WORK), self.passed / self.seconds)

    def share(self, part: float) -> Budget:
        """A share of the whole, as a budget of its own that begins now."""
        return Budget(self.seconds * part, self.effort * part)

    def __str__(self) -> str:
        return f"effort {self.effort:g}" if self.by_work else f"{self.seconds:g} s"
