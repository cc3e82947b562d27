"""What all verbs have in common: how they are added to the parser, and options they share."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

PAPERS = ("a4", "letter")
Verbs = argparse._SubParsersAction  # argparse has no public name for it
Run = Callable[[argparse.Namespace], int]


def add(
    verbs: Verbs[argparse.ArgumentParser], name: str, run: Run, says: str, example: str
) -> argparse.ArgumentParser:
    """Add a verb that ``run`` does, giving an exit code; what it does in words, and an example."""
    verb = verbs.add_parser(
        name, help=says, description=f"{says[0].upper()}{says[1:]}.", epilog=f"example: {example}"
    )
    verb.set_defaults(run=run)
    verb.add_argument("--json", action="store_true", help="print JSON for scripts")
    return verb


def writes(verb: argparse.ArgumentParser) -> None:
    """Let a verb write files into a folder."""
    verb.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (out)")
    may_replace(verb)


def may_replace(verb: argparse.ArgumentParser) -> None:
    """Let a verb replace files, if it is told to."""
    verb.add_argument("--force", action="store_true", help="replace files that are there already")


def stem(path: Path, kind: str) -> str:
    """A file's name without what is behind it: birch.hide.json of kind "hide" is birch."""
    return path.name.split(f".{kind}")[0] if f".{kind}" in path.name else path.stem


def positive(words: str) -> float:
    """A number above 0, of seconds, mm or effort, of at most a day of seconds."""
    try:
        value = float(words)
    except ValueError:
        value = 0.0
    if not 0 < value <= 86_400:
        raise argparse.ArgumentTypeError(f"must be above 0 and at most 86400, got {words}")
    return value


def seed(words: str) -> int:
    """A whole number of 0 or more, for the search's random numbers."""
    value = int(words) if words.isdecimal() else -1
    if value < 0:
        raise argparse.ArgumentTypeError(f"must be a whole number of 0 or more, got {words}")
    return value
