"""Plan: where every part lies on one hide (:mod:`nest.plan.layout`), and its file; bed windows."""

from nest.plan.file import digest_of, read, read_checked, text_of, write
from nest.plan.layout import (
    TOLERANCE,
    Box,
    Placement,
    Plan,
    Remnant,
    Verdict,
    keep_direction,
    placed_outline,
)
from nest.plan.windows import bed_windows, borders, seams

__all__ = [
    "TOLERANCE",
    "Box",
    "Placement",
    "Plan",
    "Remnant",
    "Verdict",
    "bed_windows",
    "borders",
    "digest_of",
    "keep_direction",
    "placed_outline",
    "read",
    "read_checked",
    "seams",
    "text_of",
    "write",
]
