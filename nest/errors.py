"""Errors of the planning side, under the roots of :mod:`hides.errors`.

::

    InputError
    ├── KnifeError     a knife file, or a knife that a fold-over sheath can't hold
    ├── WeekError      a week file
    ├── PlanError      a plan file
    └── CutError       a machine profile, or a plan that can't be cut on it
    NoPlan             the input is sound, and no valid plan was found (exit code 1)
"""

from __future__ import annotations

from hides.errors import InputError


class KnifeError(InputError):
    """A knife file that can't be used, or a knife that a fold-over sheath can't hold."""


class WeekError(InputError):
    """A week file that can't be used."""


class PlanError(InputError):
    """A plan file that can't be used."""


class CutError(InputError):
    """A machine profile that can't be used, or a plan that can't be cut on that machine."""


class NoPlan(Exception):  # noqa: N818  (it is an outcome, not a fault)
    """The input is sound, yet no valid plan exists or none was found; says what would fit."""
