"""Watching the search: a live line on the terminal, and Ctrl-C as a wish to stop."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from hides.hide import Hide
from hides.units import area_text
from nest.bound import used_area
from nest.job import Job
from nest.place.search import Step

REFRESH = 0.1  # seconds between two writings of the live line


class Watch:
    """The live line on a terminal, and Ctrl-C as a wish to stop with the best plan so far."""

    def __init__(self, job: Job, hides: Sequence[Hide], quiet: bool) -> None:
        self.areas = {hide.name: used_area(hide, job.keep) for hide in hides}
        self.least = ""
        self.quiet, self.name = quiet, hides[0].name
        self.began, self.asked = time.perf_counter(), False
        self.shown = 0.0
        self.best = "looking for a first valid plan"

    def step(self, hide: Hide, step: Step) -> None:
        """Told of a better layout."""
        if hide.name != self.name:
            self.name, self.best = hide.name, "looking for a first valid plan"
            self.least = ""
        if step.valid:
            self.best = f"used {area_text(self.areas[hide.name](step.reach))}"
        if step.least > float("-inf"):
            self.least = f"bound {area_text(self.areas[hide.name](step.least))}, "
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
def watched(job: Job, hides: Sequence[Hide], *, quiet: bool) -> Iterator[Watch]:
    """Watch while a plan is made; Ctrl-C asks for the best plan so far."""
    watch = Watch(job, hides, quiet)
    before = signal.signal(signal.SIGINT, watch.ask)
    try:
        yield watch
    finally:
        signal.signal(signal.SIGINT, before)
        if not quiet:
            print(file=sys.stderr)
