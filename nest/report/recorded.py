"""A hide that was measured: its record, and its picture beside it."""

from __future__ import annotations

from dataclasses import dataclass

from hides import record
from hides.errors import InputError
from hides.hide import Hide
from hides.piece import piece_of
from hides.remarks import remarks as odd
from nest.draw.sheet import Sheet
from nest.leftover import leftover, offcuts
from nest.plans import Plan
from nest.report import hidesheet

ENDINGS = (".hide.json", *hidesheet.ENDINGS)


@dataclass(frozen=True, eq=False, slots=True)
class Recorded:
    """A hide made of a measured outline, and what was met while reading it, in sentences.

    ``text`` is that of its record, where more is in it than of the hide.
    """

    hide: Hide
    said: tuple[str, ...] = ()
    text: str | None = None

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was met, and what looks odd in the hide."""
        return (*self.said, *odd(self.hide))


def remnants(
    plan: Plan, hide: Hide, name: str | None = None, wide: float | None = None
) -> tuple[Recorded, ...]:
    """What a plan leaves of a hide, recorded as hides of their own; its offcuts ``wide`` mm at
    every place too, if that is given.

    Raises
    ------
    InputError : nothing is left, or the plan places no part.
    """
    pieces = leftover(plan, hide)
    stem = f"{hide.name} rest" if name is None else name
    names = [stem] if len(pieces) == 1 else [f"{stem} {n}" for n in range(1, len(pieces) + 1)]
    if wide is not None:
        small = offcuts(plan, hide, wide)
        pieces = (*pieces, *small)
        names += [f"{name or hide.name} offcut {n}" for n in range(1, len(small) + 1)]
    if not pieces:
        raise InputError(f"the plan of {plan.name} leaves no piece of a dm² of {hide.name}.")
    said = f"There once the plan of {plan.name} is cut from {hide.name}, and the line."
    return tuple(
        Recorded(piece_of(hide, piece, one), (said,))
        for piece, one in zip(pieces, names, strict=True)
    )


def facts(recorded: Recorded) -> dict[str, str]:
    """The hide's main figures."""
    return hidesheet.facts(recorded.hide) | {"record": "written"}


def picture(recorded: Recorded) -> Sheet:
    """The hide; A4 landscape, in mm."""
    return hidesheet.hide_sheet(recorded.hide)


def files(recorded: Recorded, name: str) -> dict[str, bytes]:
    """The record, and the picture in three formats."""
    written = (recorded.text or record.text(recorded.hide)).encode()
    return {f"{name}.hide.json": written} | hidesheet.files(recorded.hide, name)
