"""TOML files and their keys, each checked with a message that says what to mend.

A checked value that fails names its key, the bound and the value met; whoever knows the
file or the table adds them (:meth:`hides.errors.InputError.at`).
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

from hides.errors import InputError

LARGEST = 1_000_000  # bytes


def read_table(path: Path, kind: str) -> dict[str, object]:
    """The top table of a TOML file; ``kind`` ("knife", "week") is used in messages.

    Raises
    ------
    InputError : missing, too large, not UTF-8, or not TOML.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise InputError(f"a {kind} file is a page of text; this one is over 1 MB.")
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("there is no such file.", mend="Check the name and the folder.") from None
    except OSError as error:
        raise InputError(f"the file can't be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise InputError(f"this is not text in UTF-8, so it is no {kind} file.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"this is not TOML: {error}.") from None


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
        raise InputError(
            f"{key} must be {low:g} to {high:g}{unit}, got {value:g}.", place=f"key '{key}'"
        )
    return float(value)


def one_of(value: object, key: str, allowed: tuple[object, ...]) -> None:
    """Refuse values that are not in a short list."""
    if value not in allowed or isinstance(value, bool) != isinstance(allowed[0], bool):
        names = " or ".join(repr(a) for a in allowed)
        raise InputError(f"{key} must be {names}, got {value!r}.", place=f"key '{key}'")
