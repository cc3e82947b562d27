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


def module_of(kind: str) -> Any:
    """The module that shows answers of the class of that name.

    Raises
    ------
    TypeError : no such class of answer, as where several are handed on at once.
    """
    if kind not in MODULES:
        raise TypeError(f"a {kind} is no answer; these are: {', '.join(MODULES)}")
    return import_module(MODULES[kind])
