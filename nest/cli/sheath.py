"""``croupon sheath``: the pattern of a knife's sheath."""

from __future__ import annotations

import argparse
from dataclasses import asdict
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
        options,
        nest.facts(sheath),
        written,
        _data(sheath),
        guessed=sheath.guesses,
        mind=sheath.warnings,
    )
    if not options.json:
        rows = [["u mm", "where", "needed", "there", "slack", "fit", "back off fold", ""]]
        for s in sheath.stations:
            figures = (f"{s.needed:.1f}", f"{s.available:.1f}", f"{s.slack:+.1f}")
            rows.append([f"{s.u:.0f}", s.where, *figures, s.verdict, f"{s.off:.1f}", s.standing])
        table(rows)
    return code


def _data(sheath: nest.Sheath) -> dict[str, object]:
    """The sheath's figures, fit and parts for scripts."""
    return {
        "units": "lengths in mm, areas in mm2; each part in its own frame, grain side up, x along "
        "the fold towards the tip, y up, (0, 0) at its centroid; u and at from the knife's butt; "
        "needed, available, slack and give on one half, along the leather from fold to welt",
        "figures": asdict(sheath.facts),
        "fit": [asdict(station) for station in sheath.stations],
        "parts": [
            {
                "kind": part.kind,
                "outline": part.outline.points.tolist(),
                "holes": _marks(part, "stitch"),
                "lines": _marks(part, "fold", "throat", "inner", "loop", "drain"),
            }
            for part in sheath.parts
        ],
    }


def _marks(part: nest.Part, *kinds: str) -> list[dict[str, object]]:
    """Marks of some kinds by name, their points in mm."""
    return [
        {"name": mark.text or mark.kind, "closed": mark.closed, "points": mark.points.tolist()}
        for mark in part.marks
        if mark.kind in kinds
    ]
