"""Watching the search: a live line on the terminal, and Ctrl-C as a wish to stop."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from math import inf
from typing import TYPE_CHECKING

import nest

if TYPE_CHECKING:
    from nest import Hide, Progress

REFRESH = 0.1  # seconds between two writings of the live line


LOOKING = "looking for a first valid plan"


class Watch:
    """The live line on a terminal, from the first moment until all is written, and Ctrl-C as a wish
    to stop with the best plan so far.
    """

    def __init__(self, hides: Sequence[Hide], quiet: bool) -> None:
        self.quiet, self.hides = quiet, {hide.name: hide for hide in hides}
        self.began, self.asked = time.perf_counter(), False
        self.shown = -inf
        self.name, self.best, self.least = hides[0].name, LOOKING, ""
        self.doing = "reading leather and shapes; the very first run compiles the search"

    def told(self, progress: Progress) -> None:
        """Told of a better layout."""
        if progress.hide != self.name:
            self.name, self.best, self.least = progress.hide, LOOKING, ""
        if progress.used is not None:
            self.best = f"used {nest.area_text(progress.used)}"
            hide = self.hides[progress.hide]
            cost = hide.cost(progress.used)
            if cost is not None and hide.price is not None:
                self.best += f", leather {cost:.2f} {hide.price.currency}"
        if progress.least is not None:
            self.least = f", bound {nest.area_text(progress.least)}"
        self.doing = f"{self.name}: {self.best}{self.least}"
        self.show()

    def then(self, doing: str) -> None:
        """Told what is done now that the search is over."""
        self.doing, self.shown = doing, -inf
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
            line = f"{self.doing}, {spent:.1f} s"
            print(f"\r{line[:118]:<118}", end="", file=sys.stderr, flush=True)


@contextmanager
def watched(hides: Sequence[Hide], *, quiet: bool, stops: bool = True) -> Iterator[Watch]:
    """Watch while plans are made and written; Ctrl-C asks for the best plan so far, or where that
    makes no sense (not ``stops``) ends all at once.
    """
    watch = Watch(hides, quiet)
    before = signal.getsignal(signal.SIGINT)
    if stops:
        signal.signal(signal.SIGINT, watch.ask)
    watch.show()
    try:
        yield watch
    finally:
        signal.signal(signal.SIGINT, before)
        if not quiet:
            print(file=sys.stderr)
