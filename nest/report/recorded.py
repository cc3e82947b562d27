"""A hide that was measured: its record, and its picture beside it."""

from __future__ import annotations

from dataclasses import dataclass

from hides import record
from hides.hide import Hide
from hides.remarks import remarks as odd
from nest.draw.sheet import Sheet
from nest.report import hidesheet

ENDINGS = (".hide.json", *hidesheet.ENDINGS)


@dataclass(frozen=True, eq=False, slots=True)
class Recorded:
    """A hide made of a measured outline, and what was met while reading it, in sentences."""

    hide: Hide
    said: tuple[str, ...] = ()

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was met, and what looks odd in the hide."""
        return (*self.said, *odd(self.hide))


def facts(recorded: Recorded) -> dict[str, str]:
    """The hide's main figures."""
    return hidesheet.facts(recorded.hide) | {"record": "written"}


def picture(recorded: Recorded) -> Sheet:
    """The hide; A4 landscape, in mm."""
    return hidesheet.hide_sheet(recorded.hide)


def files(recorded: Recorded, name: str) -> dict[str, bytes]:
    """The record, and the picture in three formats."""
    written = record.text(recorded.hide).encode()
    return {f"{name}.hide.json": written} | hidesheet.files(recorded.hide, name)
