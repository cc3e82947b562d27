"""The week file, and the job it stands for.

A week names hides, rules and sheaths wanted; :func:`job_of` reads each knife, makes its
sheath and returns a :class:`Job`: every part wanted, with what it asks of the leather.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from hides.thickness import Need
from nest.part import Part

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

    @property
    def parts(self) -> tuple[Wanted, ...]:
        """All parts of all kits, in order."""
        return tuple(wanted for kit in self.kits for wanted in kit.parts)
