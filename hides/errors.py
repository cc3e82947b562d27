"""Errors that a user can mend.

::

    InputError            one clear message: file, place, what is wrong, how to mend it
    ├── OutlineError      a shape that is open, crosses itself, is empty …
    └── HideError         a hide record that can't be understood
    (nest.errors adds KnifeError, WeekError and PlanError)

The command line prints the message and leaves with exit code 2; no other module
catches these except to add the file or the place where it happened.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LONGEST_MESSAGE = 400  # characters of what is wrong; a damaged file can quote itself at any length


class InputError(Exception):
    """What the user gave can't be used.

    Parameters
    ----------
    what : what is wrong, a sentence with the value met ("welt must be > 0 mm, got -3.0").
    mend : how to mend it, a sentence; empty where the first one already says so.
    place : where in the file ("sheath 3, key 'leather'", "feature 12", "line 40").
    file : the file it was read from.
    """

    def __init__(
        self, what: str, *, mend: str = "", place: str = "", file: Path | str | None = None
    ) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend
        self.place = place
        self.file = file

    def at(self, *, file: Path | str | None = None, place: str = "") -> InputError:
        """Return this error with file or place filled in where they were not yet known."""
        self.file = self.file if self.file is not None else file
        self.place = self.place or place
        return self

    def __str__(self) -> str:
        head = ", ".join(str(part) for part in (self.file, self.place) if part)
        what = (
            self.what if len(self.what) <= LONGEST_MESSAGE else f"{self.what[:LONGEST_MESSAGE]} ..."
        )
        text = f"{head}: {what}" if head else what
        return one_line(f"{text} {self.mend}" if self.mend else text)


@contextmanager
def placed(*, file: Path | str | None = None, place: str = "") -> Iterator[None]:
    """Fill in file or place of every :class:`InputError` raised within."""
    try:
        yield
    except InputError as error:
        raise error.at(file=file, place=place) from None


def one_line(text: str) -> str:
    """The text on one line, without what a terminal would take for a command."""
    line = " ".join(text.split())
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)


class OutlineError(InputError):
    """A shape that is no simple closed outline."""


class HideError(InputError):
    """A hide record that can't be used."""
