"""``croupon explain``: every key of every file, with what it means and takes."""

from __future__ import annotations

import argparse
import textwrap
from dataclasses import asdict

import nest
from nest.cli.told import DONE, as_json
from nest.cli.verb import Verbs, add

WIDTH = 96  # characters of a line


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add the verb to the command's."""
    explain = add(
        verbs, "explain", _explain, "say what a key of a file means and takes, or list all keys",
        "croupon explain handle_covered",
    )  # fmt: skip
    explain.add_argument("word", nargs="?", metavar="KEY", help="a key, or a kind of file")


def _explain(options: argparse.Namespace) -> int:
    found = nest.explain(options.word)
    if options.json:
        return as_json([asdict(file) for file in found])
    for file in found:
        for title, keys in file.tables.items():
            where = " ".join(word for word in (file.name, file.file, title) if word)
            print(f"{where}:")
            if options.word is None:
                print(_filled(", ".join(key.name for key in keys)))
                continue
            for key in keys:
                takes = f"{key.takes} {key.unit}".strip()
                default = _default(key.default)
                print(f"  {key.name}: {takes}{default}")
                print(_filled(key.says, 6))
        if file.picture and options.word is not None:
            print(f"  shown in a picture: {file.picture}")
    if options.word is None:
        print(
            "\n`croupon explain KEY` says what a key means; `croupon explain knife` tells them all."
        )
    return DONE


def _default(words: str) -> str:
    return f"; {words}" if words.startswith("must") else f"; {words} unless given" if words else ""


def _filled(words: str, indent: int = 2) -> str:
    left = " " * indent
    return textwrap.fill(words, WIDTH, initial_indent=left, subsequent_indent=left)
