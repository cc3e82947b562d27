"""``croupon sheath``: the pattern of a knife's sheath."""

from __future__ import annotations

import argparse
from pathlib import Path

import nest
from nest.cli.told import report, table
from nest.cli.verb import PAPERS, Verbs, add, stem, writes


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add the verb to the command's."""
    sheath = add(
        verbs, "sheath", _sheath, "draw the 1:1 pattern of a knife's sheath and print its facts",
        "croupon sheath shared/knives/heron.knife.toml --hand left",
    )  # fmt: skip
    writes(sheath)
    sheath.add_argument("knife", type=Path, help="NAME.knife.toml")
    sheath.add_argument("--hand", choices=("right", "left"), help="overrides the knife file")
    sheath.add_argument(
        "--paper", choices=PAPERS, default="a4", help="what the pattern is printed on (a4)"
    )


def _sheath(options: argparse.Namespace) -> int:
    changes = {"hand": options.hand} if options.hand else {}
    sheath = nest.sheath(nest.read_knife(options.knife), **changes)
    files = nest.files(sheath, stem(options.knife, "knife"), paper=options.paper)
    written = nest.save(files, options.out, force=options.force)
    code = report(
        options, nest.facts(sheath), written, guessed=sheath.guesses, mind=sheath.warnings
    )
    if not options.json:
        rows = [["u mm", "where", "needed", "there", "slack", "fit", "back off fold", ""]]
        for s in sheath.stations:
            figures = (f"{s.needed:.1f}", f"{s.available:.1f}", f"{s.slack:+.1f}")
            rows.append([f"{s.u:.0f}", s.where, *figures, s.verdict, f"{s.off:.1f}", s.standing])
        table(rows)
    return code
