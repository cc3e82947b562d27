"""What is printed: tables and sentences for people, JSON for scripts, messages on stderr."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import nest

DONE, NO_PLAN, BAD_INPUT, STOPPED = 0, 1, 2, 130  # exit codes


def report(
    options: argparse.Namespace,
    facts: Mapping[str, str],
    written: Sequence[Path] = (),
    data: Mapping[str, object] | None = None,
    **remarks: Sequence[str],
) -> int:
    """Print facts by label, sentences by their weight, and the files written; the exit code.

    ``data`` is for scripts alone.
    """
    if options.json:
        said = {kind: list(sentences) for kind, sentences in remarks.items()}
        return as_json({**facts, **said, **(data or {}), "files": written})
    table([[label, value] for label, value in facts.items()])
    for kind, sentences in remarks.items():
        for sentence in sentences:
            print(f"{kind}: {sentence}")
    files(written)
    return DONE


def table(rows: Iterable[Sequence[str]]) -> None:
    """Print rows of words in columns."""
    rows = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in rows if i < len(row)) for i in range(len(rows[0]))]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        print("  ".join(cells).rstrip())


def files(written: Sequence[Path]) -> None:
    """Name the files that were written."""
    if written:
        print("\nwritten: " + ", ".join(map(str, written)))


def set_aside(names: Sequence[str], folder: Path) -> list[str]:
    """What is told of files that are to be set aside, if any are."""
    aside = nest.aside_in(folder)
    return [f"{', '.join(names)} of an earlier plan or cut: set aside in {aside}"] if names else []


def as_json(value: object) -> int:
    """Print a value for scripts; the exit code."""
    print(json.dumps(value, indent=1, ensure_ascii=False, default=str))
    return DONE


def say(words: str, code: int) -> int:
    """Print one sentence on stderr; the exit code."""
    print(f"croupon: {words}", file=sys.stderr)
    return code
