"""Answers: what is told, drawn and written of each thing that a user can ask for.

Each class of answer has its module in :mod:`nest.report`, of the same form:

* ``ENDINGS``: what is put behind the name of the answer's files;
* ``facts(answer)``: its figures in words, by label;
* ``picture(answer)``: its page;
* ``files(answer, name)``: the files in memory, by name.

Modules are loaded when an answer of theirs is shown, for the libraries behind them load slowly.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from nest.draw.sheet import Sheet

Answer = Any  # of a class named in MODULES
MODULES = {
    "Hide": "nest.report.hidesheet",
    "Recorded": "nest.report.recorded",
    "Captured": "nest.report.capturesheet",
    "Gauging": "nest.report.gaugesheet",
    "ScaleSheets": "nest.report.scalesheet",
    "Sheath": "nest.report.patternsheet",
    "Planned": "nest.report.cutplan",
    "Comparison": "nest.report.compare",
    "Cut": "nest.report.cut",
    "Coupon": "nest.report.coupon",
}


def facts(answer: Answer) -> dict[str, str]:
    """The figures of an answer in words with their units, by label."""
    found: dict[str, str] = _module(answer).facts(answer)
    return found


def picture(answer: Answer) -> Sheet:
    """The page of an answer, in mm at its true size."""
    page: Sheet = _module(answer).picture(answer)
    return page


def files(answer: Answer, name: str, **how: object) -> dict[str, bytes]:
    """All files of an answer in memory, by name.

    Raises
    ------
    InputError : what must be read back did not read back right.
    """
    made: dict[str, bytes] = _module(answer).files(answer, name, **how)
    return made


def endings(kind: str) -> tuple[str, ...]:
    """What :func:`files` puts behind the name, by the name of the answer's class."""
    found: tuple[str, ...] = import_module(MODULES[kind]).ENDINGS
    return found


def _module(answer: Answer) -> Any:
    return import_module(MODULES[type(answer).__name__])
