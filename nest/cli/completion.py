"""``croupon completion``: what makes a shell complete verbs, options and file names."""

from __future__ import annotations

import argparse
from importlib import import_module
from pathlib import Path

from nest.cli.told import DONE
from nest.cli.verb import Verbs

SHELLS = ("bash", "zsh")
EXAMPLE = "croupon completion bash > ~/.local/share/bash-completion/completions/croupon"


def add_to(verbs: Verbs[argparse.ArgumentParser], whole: argparse.ArgumentParser) -> None:
    """Add the verb to the ``whole`` command, which it completes."""
    says = "print a script with which your shell completes verbs, options and file names"
    verb = verbs.add_parser("completion", help=says, description=f"{says.capitalize()}.",
                            epilog=f"example: {EXAMPLE}")  # fmt: skip
    verb.add_argument("shell", choices=SHELLS)
    verb.set_defaults(run=_completion, whole=whole)


def _completion(options: argparse.Namespace) -> int:
    shtab = import_module("shtab")  # no other verb needs it
    _complete_files(options.whole, shtab.FILE)
    print(shtab.complete(options.whole, options.shell))
    return DONE


def _complete_files(parser: argparse.ArgumentParser, file: object) -> None:
    """Tell shtab which arguments are paths, in a parser and all below it."""
    for action in parser._actions:  # as shtab reads them
        if action.type is Path:
            action.complete = file  # type: ignore[attr-defined]
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                _complete_files(below, file)
