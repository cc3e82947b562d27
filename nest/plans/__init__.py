"""Plan: where every part lies on one hide, its file, and what a cutter's bed takes at once."""

from nest.plans.bed import bed_windows, borders, refuse_too_large, seams
from nest.plans.file import as_filed, digest_of, number_in, number_of, read, read_checked, text_of
from nest.plans.model import (
    TOLERANCE,
    UNKNOWN_THICKNESS,
    Box,
    Placement,
    Plan,
    Remnant,
    Verdict,
    keep_direction,
    placed_outline,
)

__all__ = [
    "TOLERANCE",
    "UNKNOWN_THICKNESS",
    "Box",
    "Placement",
    "Plan",
    "Remnant",
    "Verdict",
    "as_filed",
    "bed_windows",
    "borders",
    "digest_of",
    "keep_direction",
    "number_in",
    "number_of",
    "placed_outline",
    "read",
    "read_checked",
    "refuse_too_large",
    "seams",
    "text_of",
]
