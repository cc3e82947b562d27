"""TOML files and their keys, each checked with a message that says what to mend.

A checked value that fails names its key, the bound and the value met; whoever knows the
file or the table adds them (:meth:`hides.errors.InputError.at`).

The keys of a table are the fields of a dataclass that have a rule beside their type, and what
each means stands in its docstring. What is explained (:func:`keys_of`) thus is what is checked.
"""

from __future__ import annotations

import difflib
import inspect
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from hides.errors import InputError
from hides.files import read_whole
from hides.syntax import toml_error

LARGEST_TOML = 1_000_000  # bytes
BOUNDLESS = 1e6  # from there on an upper bound is only against nonsense, and isn't told


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
        names = " or ".join(_word(a) if isinstance(a, bool) else repr(a) for a in allowed)
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

    def whole(self, value: object, key: str) -> int:
        """The whole number, if it lies within."""
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(f"{key} must be a whole number, got {value!r}.", place=f"key '{key}'")
        self.check(value, key)
        return value


@dataclass(frozen=True, slots=True)
class OneOf:
    """The short list that a value must be in, beside a field's type as :class:`Between` is."""

    allowed: tuple[object, ...]

    def check(self, value: object, key: str) -> None:
        """Refuse a value that is not in it."""
        one_of(value, key, self.allowed)


@dataclass(frozen=True, slots=True)
class Takes:
    """What a value looks like, in words, where no bound or list says it; its reader checks it.

    ``default`` says what is taken where the key is left out, if the field does not.
    """

    words: str
    default: str = ""


Rule = Between | OneOf | Takes


@cache
def rules_of(kind: type) -> dict[str, Rule]:
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
            if not isinstance(rule, Takes) and (one is not None or isinstance(rule, OneOf)):
                rule.check(one, key)


def checked(kind: type, table: Mapping[str, object]) -> dict[str, Any]:
    """The values of a table by the rules of ``kind``, whose fields are all keys that it may have.

    Raises
    ------
    InputError : a key that is none, one that is missing, or a value that breaks its rule.
    """
    rules = rules_of(kind)
    known_keys(table, rules)
    for key in (f.name for f in fields(kind) if f.default is MISSING and f.name not in table):
        raise InputError(f"'{key}' is missing.", place=f"key '{key}'")
    found = dict(table)
    for key in table:
        rule = rules[key]
        if isinstance(rule, Between):
            whole = get_type_hints(kind)[key] in (int, int | None)
            found[key] = rule.whole(table[key], key) if whole else rule.check(table[key], key)
        elif isinstance(rule, OneOf):
            rule.check(table[key], key)
    return found


# ---------------------------------------------------------------- explained


@dataclass(frozen=True, slots=True)
class Key:
    """A key as it is explained, all in words: what it means and takes, its unit and default."""

    name: str
    says: str
    takes: str
    unit: str
    default: str


@cache
def keys_of(kind: type) -> tuple[Key, ...]:
    """The keys of a table, in the order of the fields of ``kind``."""
    says, hints, rules = _meanings(kind), get_type_hints(kind), rules_of(kind)
    return tuple(
        Key(f.name, says[f.name], *_taken(rules[f.name], hints[f.name]), _default(f, rules[f.name]))
        for f in fields(kind)
        if f.name in rules
    )


def _meanings(kind: type) -> dict[str, str]:
    """What the docstring says of each field, as plain words."""
    attributes = inspect.cleandoc(kind.__doc__ or "").partition("Attributes\n----------\n")[2]
    found: dict[str, str] = {}
    for entry in re.split(r"\n(?=\S)", attributes.split("\n\n")[0]):
        names, _, words = entry.partition(" : ")
        plain = re.sub(r":\w+:`[~!]?([^`]*)`|``([^`]*)``", r"\1\2", " ".join(words.split()))
        found |= dict.fromkeys(names.split(", "), plain)
    return found


def _taken(rule: Rule, hint: object) -> tuple[str, str]:
    """What a value may be, and its unit."""
    args = [one for one in get_args(hint) if one is not type(None)]
    several = get_origin(hint) is tuple or any(get_origin(one) is tuple for one in args)
    if isinstance(rule, Takes):
        return rule.words, ""
    if isinstance(rule, OneOf):
        words = ", ".join(_word(value) for value in rule.allowed)
        return (f"a list of {words}" if several else words), ""
    bounds = f"{rule.low:g} to {rule.high:g}"
    if rule.high >= BOUNDLESS:
        bounds = f"{rule.low:g} or more"
    if several:
        return f"two numbers, {bounds}", rule.unit
    return (f"whole, {bounds}" if int in (hint, *args) else bounds), rule.unit


def _default(field: Field[Any], rule: Rule) -> str:
    if isinstance(rule, Takes) and rule.default:
        return rule.default
    if field.default is MISSING:
        return "must be given"
    return "" if field.default is None else _word(field.default)


def _word(value: object) -> str:
    """A value as it is written in a file, without quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ", ".join(map(_word, value)) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)
