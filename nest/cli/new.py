"""``croupon new``: a starter file with every key in it, to be changed."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

import nest
from nest.cli.told import report
from nest.cli.verb import Verbs, add

NEXT = {
    "knife": "croupon sheath {}",
    "week": "croupon plan {}",
    "hide": "croupon hide show {}",
}


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add the verb to the command's."""
    new = add(
        verbs, "new", _new, "write a starter file that reads and plans as it is, to be changed",
        "croupon new knife larch",
    )  # fmt: skip
    new.add_argument("kind", choices=tuple(NEXT))
    new.add_argument("name", help="of the file, without its ending")
    new.add_argument("--out", type=Path, default=Path(), help="folder for it (here)")


def _new(options: argparse.Namespace) -> int:
    made = nest.starters(options.kind, options.name, options.out)
    written = nest.save(made, options.out)  # never in the place of a file that is there
    first = NEXT[options.kind].format(shlex.quote(str(written[-1])))
    return report(options, {"next": first}, written)
