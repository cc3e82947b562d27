"""A checked plan in, files to cut from out: for a machine, or pages for a pair of hands.

Nothing is cut from a plan that was edited after its check, and where the hide's record is at
hand the plan is checked again on it. Files that are there already stay unless they may be
replaced, and a file that does not read back right is not left behind.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from hides import record
from hides.errors import InputError
from hides.hide import Hide
from hides.outline import FloatArray
from nest import plan as plans
from nest.check import check
from nest.cut import blade, files, kerf, machine, program, setups
from nest.cut.caution import BY_HAND, cautions_of
from nest.cut.formats import SUFFIXES
from nest.cut.machine import Machine
from nest.cut.program import Program
from nest.cut.setups import Setup
from nest.draw.book import save_book
from nest.errors import CutError, PlanError
from nest.job import Job
from nest.plan import Plan
from nest.report.placingsheet import placing_pages
from nest.report.setupsheet import setup_pages
from nest.report.templates import template_pages, templates_of

__all__ = [
    "BY_HAND", "COUPONS", "MEASURE", "Made", "Source", "coupon_files", "coupon_for", "facts_of",
    "machine_files", "made_for", "measured", "opened", "paper_files", "places_given", "proof",
    "write_all",
]  # fmt: skip

Place = tuple[float, float]
Writer = Callable[[Path], object]
FOLDERS = (Path(), Path("hides"), Path("shared/hides"))  # where a plan's hide is looked for
COUPONS = {"kerf": kerf.kerf_coupon, "offset": blade.offset_coupon}
CORNER = 20.0  # mm from the bed's corner to a coupon's
MEASURE = {
    "kerf": (
        "Measure the window along the row, push the strips together and measure the row; then "
        "croupon cut --coupon kerf --measured WINDOW ROW."
    ),
    "offset": (
        "Measure between the ends of each pair of cuts; then croupon cut --coupon offset "
        "--measured GAP GAP GAP."
    ),
}


@dataclass(frozen=True, eq=False, slots=True)
class Source:
    """A plan to cut from, its file without the endings, and its hide where a record was found."""

    plan: Plan
    file: Path
    stem: str
    hide: Hide | None


def opened(path: Path, hide: Path | None = None) -> Source:
    """Read a plan file and check it again on its hide.

    The record is ``hide``, or else a file of the name in the plan, beside the plan or in one of
    :data:`FOLDERS`; without it there is no second check.

    Raises
    ------
    PlanError : the plan can't be read, has not passed the checker, was edited since, or does not
        pass on this hide.
    HideError : the record can't be read.
    """
    plan = plans.read_checked(path)
    found = hide or _record_of(plan, path.parent)
    leather = record.read(found) if found else None
    for finding in check(plan, leather) if leather else ():
        what = f"on {found} the checker refuses it: {finding.says}"
        mend = "Name the record that it was planned on with --hide, or plan the week again."
        raise PlanError(what, mend=mend, file=path)
    stem = path.name.split(".plan")[0] if ".plan" in path.name else path.stem
    return Source(plan, path, stem, leather)


def proof(source: Source) -> str:
    """What is known of the plan's soundness, in words."""
    if source.hide is None:
        return f"unchanged since its check; the record {source.plan.hide_file} was not found"
    return f"checked again on {source.hide.name}"


def _record_of(plan: Plan, beside: Path) -> Path | None:
    """The hide record that the plan names, where it is found."""
    if not plan.hide_file:
        return None
    places = (folder / Path(plan.hide_file).name for folder in (beside, *FOLDERS))
    return next((place for place in places if place.is_file()), None)


def paper_files(source: Source, paper: str) -> dict[str, Writer]:
    """The pages for cutting by hand: name of each file, and what writes it."""
    plan, hide = source.plan, source.hide
    title = f"{plan.name}: templates"
    return {
        f"{source.stem}.templates.pdf": lambda path: save_book(
            template_pages(title, templates_of(plan), paper), path, title
        ),
        f"{source.stem}.placing.pdf": lambda path: save_book(
            placing_pages(plan, hide, paper), path, f"{plan.name}: placing sheet"
        ),
    }


def planned_for(job: Job, profile: str, beside: Path) -> Job:
    """A job by the rules of a machine: no part crosses the windows that its bed takes at once.

    Parameters
    ----------
    profile : name or path of a machine profile.
    beside : the folder in which it is looked for first.

    Raises
    ------
    CutError : no such machine, or something in its profile is wrong.
    """
    return replace(job, shift=machine.read(profile, beside=beside).shift)


# --- for a machine ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """What a machine is to cut: its set-ups and the program of each; none for a hand."""

    machine: Machine
    setups: tuple[Setup, ...]
    programs: tuple[Program, ...]

    @property
    def by_hand(self) -> bool:
        """A pair of hands, which cuts from paper."""
        return self.machine.tool == "hand"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to tell whoever acts."""
        return self.programs[0].cautions if self.programs else cautions_of(self.machine)


def made_for(
    source: Source,
    profile: str,
    marked: Mapping[int, Sequence[Place]],
) -> Made:
    """The programs of a plan for a machine.

    Parameters
    ----------
    profile : name or path of a machine profile.
    marked : for set-ups whose hide came to lie otherwise, the places of their registration
        marks as the machine counts, mm; then only these are made.

    Raises
    ------
    CutError : no such machine, or the plan can't be cut on it; a laser without the hide's
        record, or with leather that must not go on it; marks that do not fit.
    """
    device = machine.read(profile, beside=source.file.parent)
    if device.tool == "hand":
        return Made(device, (), ())
    if device.tool == "laser" and source.hide is None:
        what = (
            f"a laser must know the leather, and the record {source.plan.hide_file} is not found."
        )
        raise CutError(what, mend="Name the hide's record with --hide.")
    leather = source.hide.polygon if source.hide else None
    laid = setups.split(source.plan, device, leather)
    for number in marked:
        if not 1 <= number <= len(laid):
            what = f"there is no set-up {number}; this plan takes {len(laid)} on {device.name}."
            raise CutError(what, mend="Number them as the set-up sheet does.")
    moved = tuple(
        setups.corrected(setup, on_bed(device, marked[setup.number]))
        if setup.number in marked
        else setup
        for setup in laid
    )
    programs = program.build(source.plan, device, hide=source.hide, setups=moved)
    wanted = [n for n, setup in enumerate(moved) if not marked or setup.number in marked]
    return Made(device, tuple(moved[n] for n in wanted), tuple(programs[n] for n in wanted))


def places_given(given: Sequence[Sequence[str]] | None) -> dict[int, list[Place]]:
    """Where marks were found, as typed: [["2", "10,15", "610,14"]] is {2: [(10, 15), (610, 14)]}.

    Raises
    ------
    CutError : it is no number of a set-up with pairs of numbers after it.
    """
    found: dict[int, list[Place]] = {}
    for number, *places in given or ():
        try:
            pairs = [tuple(map(float, place.split(","))) for place in places]
            found[int(number)] = [(x, y) for x, y in pairs]
        except ValueError:
            what = f"--marked {' '.join((number, *places))} can't be read."
            mend = "Write the set-up's number, then X,Y for each of its marks: 2 10.5,15 610,14.2"
            raise CutError(what, mend=mend) from None
    return found


def on_bed(device: Machine, counted: Sequence[Place]) -> FloatArray:
    """Places (n, 2) mm as the machine counts them, on the bed (origin lower left, y up)."""
    base = device.counted(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    points = np.asarray(counted, dtype=np.float64) - base[0]
    return np.asarray(points @ np.linalg.inv(base[1:] - base[0]), dtype=np.float64)


def machine_files(source: Source, made: Made, forms: Sequence[str] | None) -> dict[str, Writer]:
    """The files for a machine: name of each, and what writes it; the profile's first format."""
    stem = f"{source.stem}.{made.machine.name}"
    writers = _program_files(stem, made.programs, made.machine, forms)
    if made.setups:
        whole = len(made.setups) == made.programs[0].count
        numbers = "-".join(str(setup.number) for setup in made.setups)
        sheet = "setups" if whole else f"setup-{numbers}"
        writers[f"{stem}.{sheet}.pdf"] = lambda path: save_book(
            setup_pages(source.plan, source.hide, made.setups, made.programs),
            path,
            f"{source.plan.name}: set-ups",
        )
    return writers


def _program_files(
    stem: str, programs: Sequence[Program], device: Machine, forms: Sequence[str] | None
) -> dict[str, Writer]:
    chosen = forms or [form for form in device.formats if form in SUFFIXES][:1]
    return {
        f"{stem}.{one.number}{SUFFIXES[form]}": partial(_write, one, form)
        for one in programs
        for form in chosen
    }


def _write(made: Program, form: str, path: Path) -> None:
    """Write a file, unless what is read back of it differs from what it should be."""
    findings = files.write(made, form, path)
    if findings:
        raise CutError(
            f"this file did not read back right and was not written: {findings[0].says}",
            mend=_mend(made.machine),
            file=Path(path.name),
        )


def _mend(device: Machine) -> str:
    report = "a fault of the program, not of your input; please report it."
    if device.start or device.finish:
        lines = f"the lines that the profile {device.name} puts at start and finish"
        return f"Look at {lines}; if it is not these, it is {report}"
    return f"This is {report}"


def facts_of(made: Made) -> dict[str, str]:
    """What there is to say of each program, for people."""
    facts = {"machine": made.machine.name}
    for one in made.programs:
        key = f"set-up {one.number} of {one.count}" if made.setups else one.name
        facts[key] = (
            f"{len(one.strokes)} strokes, cut {one.cut_length / 1000:.2f} m, "
            f"travel {one.travel / 1000:.2f} m, "
            f"about {_duration(one.seconds)}"
        )
    return facts


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


# --- coupons ---------------------------------------------------------------------------------


def coupon_for(profile: str, kind: str) -> Made:
    """A coupon of :data:`COUPONS` on a machine, as drawn, without compensation.

    Raises
    ------
    CutError : no such machine, or one that has no such thing.
    """
    device = machine.read(profile)
    if device.tool == "hand" or (kind == "offset" and device.tool != "drag"):
        raise CutError(f"a {device.tool} has no {kind} to measure.", mend="Name another machine.")
    lines = COUPONS[kind](CORNER, CORNER)
    made = program.of_contours(lines, device, name=f"{kind} coupon", as_drawn=True)
    return Made(device, (), (made, program.handed(device)))


def coupon_files(made: Made, kind: str, forms: Sequence[str] | None) -> dict[str, Writer]:
    """The files of a coupon, and of the test mark that shows a mirrored output."""
    coupon, mark = made.programs
    name = made.machine.name
    writers = _program_files(f"{kind}-coupon.{name}", [coupon], made.machine, forms)
    return writers | _program_files(f"test-mark.{name}", [mark], made.machine, forms)


def measured(kind: str, sizes: Sequence[float]) -> float:
    """The kerf or the offset in mm from the sizes measured on a coupon.

    Raises
    ------
    CutError : not as many sizes as it takes, or such as leave nothing.
    """
    if kind == "offset":
        return float(np.mean([blade.offset_of(size) for size in sizes]))
    if len(sizes) != 2:
        raise CutError("the kerf takes two sizes, the window and the row.", mend=MEASURE[kind])
    return kerf.kerf_of(sizes[0], sizes[1], kerf.STRIPS)


def write_all(writers: Mapping[str, Writer], folder: Path, *, replace: bool) -> list[Path]:
    """Write files into ``folder``, all or none; returns their paths.

    Raises
    ------
    InputError : one is there already and may not be replaced, or can't be written.
    """
    paths = [folder / name for name in writers]
    for path in paths:
        if path.exists() and not replace:
            what = "this file is there already."
            raise InputError(
                what, mend="Add --force to replace it, or name another --out.", file=path
            )
    folder.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix=".cut-", dir=folder) as beside:
        made = [Path(beside) / path.name for path in paths]
        for path, write in zip(made, writers.values(), strict=True):
            write(path)
        for path, place in zip(made, paths, strict=True):
            path.replace(place)
    return paths
