"""What an earlier plan or cut of the same name left in a folder: files that no longer belong there.

New files beside old ones of the same week look like one set, and somebody cuts set-up 3 of last
month. So the old ones are named, and never stay beside the new ones.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from pathlib import Path

from nest.cutter.formats import SUFFIXES
from nest.cutting import Cut
from nest.planning import Planned
from nest.plans import number_of
from nest.report import cut, cutplan

_PAPERS = "|".join(map(re.escape, (*cutplan.ENDINGS, *cut.PAPERS)))
_PAPER = re.compile(rf"(\..+)?({_PAPERS})")
# as :func:`nest.report.cut.files` names them: .laser.2.dxf, .plotter.2.P3FA91C.plt,
# .laser.setups.pdf, .laser.setup-2-3.pdf
_FILES = "|".join(map(re.escape, SUFFIXES.values()))
_SETUP = re.compile(
    r"\.(?P<machine>.+?)\.(setups\.pdf|setup-(?P<sheet>[\d-]+)\.pdf"
    rf"|(?P<number>\d+)(\.P[0-9A-F]{{6}})?({_FILES}))"
)


def left_in(
    folder: Path,
    name: str,
    answers: Sequence[Planned | Cut] = (),
    written: Collection[str] = (),
) -> tuple[str, ...]:
    """Names of the files of a plan called ``name`` that belong to none of the answers.

    What belongs bears the number of an answer's plan, in its content or in its own name. Set-ups
    that an answer cuts anew, and those of its machine that it does not have any more, do not
    belong for all that. What will be ``written`` anyway is left out.
    """
    numbers = {number_of(answer.plan) for answer in answers}
    cuts = [answer for answer in answers if isinstance(answer, Cut)]
    found = []
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        rest = path.name.removeprefix(name)
        setup = _SETUP.fullmatch(rest)
        if rest == path.name or path.name in written or not (setup or _PAPER.fullmatch(rest)):
            continue
        anew = setup is not None and any(_replaces(one, setup) for one in cuts)
        if anew or not any(_bears(path, number) for number in numbers):
            found.append(path.name)
    return tuple(found)


def _bears(path: Path, number: str) -> bool:
    return number in path.name or number.encode() in path.read_bytes()


def _replaces(one: Cut, setup: re.Match[str]) -> bool:
    """Whether a cut takes the place of an earlier set-up, or of its sheet."""
    if one.machine is None or setup["machine"] != one.machine.name:
        return False
    told = {
        int(number) for number in (setup["sheet"] or setup["number"] or "").split("-") if number
    }
    return one.is_whole or bool(told & {laid.number for laid in one.setups})
