"""Watching the search: a live line on the terminal, and Ctrl-C as a wish to stop."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import nest

if TYPE_CHECKING:
    from nest import Hide, Progress

REFRESH = 0.1  # seconds between two writings of the live line


class Watch:
    """The live line on a terminal, and Ctrl-C as a wish to stop with the best plan so far."""

    def __init__(self, hides: Sequence[Hide], quiet: bool) -> None:
        self.quiet, self.name = quiet, hides[0].name
        self.began, self.asked = time.perf_counter(), False
        self.shown = 0.0
        self.best, self.least = "looking for a first valid plan", ""

    def told(self, progress: Progress) -> None:
        """Told of a better layout."""
        if progress.hide != self.name:
            self.name, self.best, self.least = progress.hide, "looking for a first valid plan", ""
        if progress.used is not None:
            self.best = f"used {nest.area_text(progress.used)}"
        if progress.least is not None:
            self.least = f"bound {nest.area_text(progress.least)}, "
        self.show()

    def stopped(self) -> bool:
        """Asked by the search between pieces of work."""
        self.show()
        return self.asked

    def ask(self, *_: object) -> None:
        """First Ctrl-C: stop with the best so far. Second: at once."""
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True

    def show(self) -> None:
        """Write the line anew, not too often."""
        spent = time.perf_counter() - self.began
        if not self.quiet and spent > self.shown + REFRESH:
            self.shown = spent
            line = f"{self.name}: {self.best}, {self.least}{spent:.1f} s"
            print(f"\r{line[:118]:<118}", end="", file=sys.stderr, flush=True)


@contextmanager
def watched(hides: Sequence[Hide], *, quiet: bool) -> Iterator[Watch]:
    """Watch while a plan is made and written; Ctrl-C asks for the best plan so far."""
    watch = Watch(hides, quiet)
    before = signal.signal(signal.SIGINT, watch.ask)
    try:
        yield watch
    finally:
        signal.signal(signal.SIGINT, before)
        if not quiet:
            print(file=sys.stderr)
