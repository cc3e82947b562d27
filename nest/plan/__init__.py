"""Plan: where every part lies on one hide (:mod:`nest.plan.layout`), and its file."""

from nest.plan.file import digest_of, read, read_checked, text_of, write
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
    "digest_of",
    "keep_direction",
    "placed_outline",
    "read",
    "read_checked",
    "text_of",
    "write",
]
