"""TOML files and their keys, each checked with a message that says what to mend.

A checked value that fails names its key, the bound and the value met; whoever knows the
file or the table adds them (:meth:`hides.errors.InputError.at`).
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, get_type_hints

from hides.errors import InputError
from hides.files import read_whole
from hides.syntax import toml_error

LARGEST_TOML = 1_000_000  # bytes


def read_table(path: Path, kind: str) -> dict[str, object]:
    """The top table of a TOML file; ``kind`` ("knife", "week") is used in messages.

    Raises
    ------
    InputError : missing, too large, not UTF-8, or not TOML.
    """
    data, text = read_whole(path, LARGEST_TOML), ""
    try:
        text = data.decode("utf-8")
        return tomllib.loads(text)
    except UnicodeDecodeError:
        what = f"this is not text in UTF-8, so it is no {kind} file."
    except tomllib.TOMLDecodeError as error:
        raise toml_error(text, error) from None
    except RecursionError:
        what = "lists are nested too deeply."
    except ValueError as error:  # a whole number of thousands of digits
        what = f"a number can't be read ({error})."
    raise InputError(what, mend="Is it the right file, and whole?")


def known_keys(table: Mapping[str, object], known: Iterable[str]) -> None:
    """Refuse keys that are not known, and name the nearest one that is."""
    known = sorted(known)
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
            mend = f"Did you mean '{near[0]}'?" if near else f"Known are: {', '.join(known)}."
            raise InputError(f"there is no key '{key}' here.", mend=mend, place=f"key '{key}'")


def number(value: object, key: str, low: float, high: float, unit: str = "") -> float:
    """A number within bounds."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} must be a number, got {value!r}.", place=f"key '{key}'")
    if not low <= value <= high:
        met = f"{value:g}" if isinstance(value, float) else str(value)  # no float holds 10**400
        raise InputError(
            f"{key} must be {low:g} to {high:g}{unit}, got {met}.", place=f"key '{key}'"
        )
    return float(value)


def text(value: object, key: str) -> str:
    """A text on one line that is not blank."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{key} must be a text, got {value!r}.", place=f"key '{key}'")
    if not value.isprintable():  # a line break or the like would spoil every drawing
        raise InputError(f"{key} must be on one line, got {value!r}.", place=f"key '{key}'")
    return value.strip()


def one_of(value: object, key: str, allowed: tuple[object, ...]) -> None:
    """Refuse values that are not in a short list."""
    if value not in allowed or isinstance(value, bool) != isinstance(allowed[0], bool):
        names = " or ".join(repr(a) for a in allowed)
        raise InputError(f"{key} must be {names}, got {value!r}.", place=f"key '{key}'")


@dataclass(frozen=True, slots=True)
class Between:
    """Bounds of a number; a field's type names them: ``Annotated[float, Between(0, 3, "mm")]``."""

    low: float
    high: float
    unit: str = ""

    def check(self, value: object, key: str) -> float:
        """The number, if it lies within."""
        return number(value, key, self.low, self.high, self.unit and f" {self.unit}")


@dataclass(frozen=True, slots=True)
class OneOf:
    """The short list that a value must be in, beside a field's type as :class:`Between` is."""

    allowed: tuple[object, ...]

    def check(self, value: object, key: str) -> None:
        """Refuse a value that is not in it."""
        one_of(value, key, self.allowed)


@cache
def rules_of(kind: type) -> dict[str, Between | OneOf]:
    """What a dataclass says beside the types of its fields, by their names."""
    hints = get_type_hints(kind, include_extras=True)
    return {key: h.__metadata__[0] for key, h in hints.items() if hasattr(h, "__metadata__")}


def check_fields(record: Any) -> None:
    """Refuse a value, or one of several in a tuple, that breaks the rule beside its type.

    A number may be None, where that is its default.
    """
    for key, rule in rules_of(record.__class__).items():
        value = getattr(record, key)
        for one in value if isinstance(value, tuple) else (value,):
            if one is not None or isinstance(rule, OneOf):
                rule.check(one, key)
