"""Plan: where every part lies on one hide, what parts are called, its file, a cutter's bed."""

from nest.plans.bed import bed_windows, borders, refuse_too_large, seams
from nest.plans.file import as_filed, digest_of, number_in, number_of, read, read_checked, text_of
from nest.plans.letters import SUFFIX, Pattern, labels_of, named, patterns_of, said_of_cut
from nest.plans.model import (
    TOLERANCE,
    UNKNOWN_THICKNESS,
    Box,
    Placement,
    Plan,
    Remnant,
    Verdict,
    keep_direction,
    leather_left,
    placed_outline,
)

__all__ = [
    "SUFFIX",
    "TOLERANCE",
    "UNKNOWN_THICKNESS",
    "Box",
    "Pattern",
    "Placement",
    "Plan",
    "Remnant",
    "Verdict",
    "as_filed",
    "bed_windows",
    "borders",
    "digest_of",
    "keep_direction",
    "labels_of",
    "leather_left",
    "named",
    "number_in",
    "number_of",
    "patterns_of",
    "placed_outline",
    "read",
    "read_checked",
    "refuse_too_large",
    "said_of_cut",
    "seams",
    "text_of",
]
