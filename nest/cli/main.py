"""The parser of all verbs, and what becomes of errors."""

from __future__ import annotations

import argparse
import logging
import re
import signal
import sys
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version

import nest
from nest.cli import completion, cut, explain, hide, new, plan, sheath
from nest.cli.told import BAD_INPUT, DONE, NO_PLAN, STOPPED, say

_PLACE = re.compile(r"-[\d.]+,")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    # a place such as -10.5,20 is no option; argparse sees that by a space in it
    options = _parser().parse_args([f" {one}" if _PLACE.match(one) else one for one in given])
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # temporary files go, too
    logging.getLogger().addHandler(logging.NullHandler())  # what libraries say is not for users
    try:
        return int(options.run(options))
    except nest.InputError as error:
        return say(str(error), BAD_INPUT)
    except nest.NoPlan as error:
        return say(str(error), NO_PLAN)
    except BrokenPipeError:  # the reader of our output has gone, as with | head
        sys.stderr.close()
        return DONE
    except OSError as error:
        what = f"{error.filename or 'a file'}: {error.strerror or error}."
        return say(f"{what} Check the rights and the room left there.", BAD_INPUT)
    except KeyboardInterrupt:
        return say("stopped at once; what is not written yet is lost.", STOPPED)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="croupon",
        description="From knife outlines and a hide to a checked cut plan for knife sheaths.",
        epilog="example: croupon plan shared/weeks/week-12.week.toml --seconds 20",
    )
    parser.add_argument("-V", "--version", action="version", version=_version())
    verbs = parser.add_subparsers(required=True, metavar="verb")
    for room in (hide, sheath, plan, cut, new, explain):
        room.add_to(verbs)
    completion.add_to(verbs, parser)
    return parser


def _version() -> str:
    try:
        return f"croupon {version('croupon')}"
    except PackageNotFoundError:
        return "croupon (not installed)"
