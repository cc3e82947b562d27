"""What a plan is cut from: a machine's files with a set-up sheet, or templates for a hand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from nest.cutter.files import proved
from nest.cutter.formats import MUTE, SUFFIXES
from nest.cutter.program import Program
from nest.cutter.reckoning import reckoned
from nest.cutting import Cut
from nest.draw.book import pdf_of
from nest.draw.sheet import Sheet
from nest.plans import number_in, number_of
from nest.report.placingsheet import placing_pages
from nest.report.setupsheet import setup_pages, time_text
from nest.report.templates import template_pages, templates_of

PAPERS = (".templates.pdf", ".placing.pdf")
ENDINGS = (*PAPERS, *SUFFIXES.values())


def facts(cut: Cut) -> dict[str, str]:
    """What is known of the plan, and of each set-up how far the tool goes (m) and how long."""
    plan = cut.plan
    proof = f"checked again on {cut.hide.name}"
    told = {"plan": f"{plan.name}, number {number_of(plan)}, {proof}"}
    for number, words in enumerate(plan.warnings, 1):
        told[f"mind, {number}"] = words
    if cut.machine:
        told["machine"] = cut.machine.name
    for setup, one in zip(cut.setups, cut.programs, strict=True):
        told[f"set-up {one.number} of {one.count}"] = ways_of(one, cut.formats)
        if setup.off:
            told[f"marks of set-up {one.number}"] = f"found, and fit {setup.fits}"
    return told


def ways_of(program: Program, formats: Sequence[str]) -> str:
    """Strokes, cut length and travel in m, and time of a program's files, said once if alike."""
    said: dict[str, list[str]] = {}
    for form in formats:
        ways = reckoned(program, form)
        words = (
            f"{ways.strokes} strokes, cut {ways.cut / 1000:.2f} m, "
            f"travel {ways.travel / 1000:.2f} m, about {time_text(ways.seconds)}"
        )
        said.setdefault(words, []).append(form)
    if len(said) == 1:
        return next(iter(said))
    return "; ".join(f"{', '.join(forms)}: {words}" for words, forms in said.items())


def picture(cut: Cut) -> Sheet:
    """The first set-up on its bed, or the placing sheet for a hand; in mm."""
    if cut.setups:
        return setup_pages(cut.plan, cut.hide, cut.setups, cut.programs, cut.formats)[0]
    return placing_pages(cut.plan, cut.hide, cut.paper or "a4")[0]


def files(cut: Cut, name: str) -> dict[str, bytes]:
    """Each program in each format, read back and judged, with the set-up sheet; templates and a
    placing sheet where paper is wanted.

    Raises
    ------
    CutError : the machine can't be told so, or a file did not read back right.
    """
    plan, made = cut.plan, {}
    number = f"plan {number_of(plan)}"
    if cut.machine and cut.programs:
        stem = f"{name}.{cut.machine.name}"
        made = program_files(stem, cut.programs, cut.formats)
        numbers = "-".join(str(setup.number) for setup in cut.setups)
        pages = setup_pages(plan, cut.hide, cut.setups, cut.programs, cut.formats)
        sheet = f"{stem}.{'setups' if cut.is_whole else f'setup-{numbers}'}.pdf"
        made[sheet] = pdf_of(pages, f"{plan.name}: set-ups")
    if cut.paper:
        title = f"{plan.name}, {number}: templates"
        templates = template_pages(title, templates_of(plan), cut.paper, plan.warnings)
        made[f"{name}.templates.pdf"] = pdf_of(templates, title, number)
        placing = placing_pages(plan, cut.hide, cut.paper)
        made[f"{name}.placing.pdf"] = pdf_of(placing, f"{plan.name}: placing sheet")
    return made


def _name(stem: str, program: Program, form: str) -> str:
    """A program's file name; where the file itself can't tell its plan's number, the name does."""
    plan = f".{number_in(program.digest)}" if form in MUTE and program.digest else ""
    return f"{stem}.{program.number}{plan}{SUFFIXES[form]}"


def program_files(
    stem: str, programs: Sequence[Program], formats: Iterable[str]
) -> dict[str, bytes]:
    """Each program in each of the formats, by file name; nothing that did not read back right.

    Raises
    ------
    CutError : the machine can't be told so, or a file did not read back right.
    """
    named = {_name(stem, one, form): (one, form) for one in programs for form in formats}
    return {name: proved(one, form, name) for name, (one, form) in named.items()}
