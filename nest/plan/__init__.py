"""Plan: where every part lies on one hide (:mod:`nest.plan.layout`), and its file."""

from nest.plan.file import read, text_of, write
from nest.plan.layout import (
    TOLERANCE,
    Placement,
    Plan,
    Remnant,
    Verdict,
    keep_direction,
    placed_outline,
)

__all__ = [
    "TOLERANCE",
    "Placement",
    "Plan",
    "Remnant",
    "Verdict",
    "keep_direction",
    "placed_outline",
    "read",
    "text_of",
    "write",
]
