"""A hide record: its figures and its picture."""

from __future__ import annotations

from hides.hide import Hide
from nest.answers.pages import KINDS, pictured
from nest.draw.sheet import Sheet
from nest.report.hidesheet import hide_facts, hide_sheet

ENDINGS = tuple(f".hide.{kind}" for kind in KINDS)
facts = hide_facts


def picture(hide: Hide) -> Sheet:
    """The hide with its flaws, thickness, stretch and areas; A4 landscape, in mm."""
    return hide_sheet(hide)


def files(hide: Hide, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(picture(hide), f"{name}.hide")
