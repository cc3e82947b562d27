"""The same week on several hides: which one to cut."""

from __future__ import annotations

from nest.answers.pages import KINDS, pictured
from nest.draw.sheet import Sheet
from nest.report.compare import Comparison, compare_sheet

ENDINGS = tuple(f".compare.{kind}" for kind in KINDS)


def facts(comparison: Comparison) -> dict[str, str]:
    """Each hide's leather for the sheaths that it holds, and the one to cut."""
    used = {t.hide.name: t.figures.text("used_area") for t in comparison.tried}
    return used | {"cut": comparison.recommended}


def picture(comparison: Comparison) -> Sheet:
    """All hides at one scale with bars and figures; A4 or A3 landscape, in mm."""
    return compare_sheet(comparison.tried)


def files(comparison: Comparison, name: str) -> dict[str, bytes]:
    """The picture in three formats."""
    return pictured(picture(comparison), f"{name}.compare")
