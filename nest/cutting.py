"""A checked plan in, what it is cut from out: programs of a machine, or pages for a pair of hands.

Nothing is cut from a plan that was edited after its check, and where the hide is known the plan
is checked again on it. Nothing here writes a file; :mod:`nest.report.cut` makes them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hides import record
from hides.hide import Hide
from hides.keys import one_of
from hides.outline import FloatArray
from hides.units import PAPERS
from nest.checker import check
from nest.cutter import blade, kerf, program, setups
from nest.cutter.caution import BY_HAND, cautions_of
from nest.cutter.formats import SUFFIXES
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.setups import Setup
from nest.errors import CutError, PlanError
from nest.plans import Plan, read_checked

Place = tuple[float, float]
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
class Cut:
    """What a plan is cut from.

    Attributes
    ----------
    hide : None where its record is not at hand.
    machine : None for a pair of hands, as where its ``tool`` is "hand".
    setups, programs : one of each for every laying of the hide that is to be cut, in order.
    formats : of the machine's files, names of :data:`nest.cutter.formats.SUFFIXES`.
    paper : of the pages for a pair of hands, "a4" or "letter"; None for no pages.
    """

    plan: Plan
    hide: Hide | None
    machine: Machine | None
    setups: tuple[Setup, ...] = ()
    programs: tuple[Program, ...] = ()
    formats: tuple[str, ...] = ()
    paper: str | None = None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to tell whoever acts."""
        if self.programs:
            return self.programs[0].cautions
        return cautions_of(self.machine) if self.machine else BY_HAND


@dataclass(frozen=True, eq=False, slots=True)
class Coupon:
    """A test piece of one of :data:`COUPONS`, and the mark that shows mirrored output."""

    kind: str
    machine: Machine
    programs: tuple[Program, Program]
    formats: tuple[str, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to tell whoever acts."""
        return self.programs[0].cautions

    @property
    def measure(self) -> str:
        """What to do with it, in words."""
        return MEASURE[self.kind]


def read_plan(path: Path, hide: Path | None = None) -> tuple[Plan, Hide | None]:
    """Read a plan file and the hide it was made for, and check the plan again on it.

    The record is ``hide``, or else a file of the name in the plan, beside the plan or in one of
    :data:`FOLDERS`; without it there is no second check.

    Raises
    ------
    PlanError : the plan can't be read, has not passed the checker, was edited since, or does not
        pass on this hide.
    HideError : the record can't be read.
    """
    plan = read_checked(path)
    found = hide or _record_of(plan, path.parent)
    leather = record.read(found) if found else None
    for finding in check(plan, leather) if leather else ():
        what = f"on {found} the checker refuses it: {finding.says}"
        mend = "Name the record that it was planned on with --hide, or plan the week again."
        raise PlanError(what, mend=mend, file=path)
    return plan, leather


def _record_of(plan: Plan, beside: Path) -> Path | None:
    """The hide record that the plan names, where it is found."""
    if not plan.hide_file:
        return None
    places = (folder / Path(plan.hide_file).name for folder in (beside, *FOLDERS))
    return next((place for place in places if place.is_file()), None)


def cut(
    plan: Plan,
    hide: Hide | None,
    machine: Machine | None,
    *,
    formats: Sequence[str] = (),
    marked: Mapping[int, Sequence[Place]] | None = None,
    paper: str | None = None,
) -> Cut:
    """What a plan is cut from, as :func:`nest.cut` says; places of marks in mm.

    Raises
    ------
    PlanError : the plan did not pass the checker, or does not on this hide.
    CutError : the plan can't be cut on the machine; a laser without the hide, or with leather
        that must not go on it; marks that do not fit.
    """
    if paper is not None:
        one_of(paper, "paper", tuple(PAPERS))
    if plan.check is None or not plan.check.passed:
        raise PlanError("this plan has not passed the checker, so nothing is cut from it.")
    for finding in check(plan, hide) if hide else ():
        raise PlanError(f"on {hide.name if hide else ''} the checker refuses it: {finding.says}")
    if machine is None or machine.tool == "hand":
        if formats or marked:
            what = "a hand cuts from paper, which has no other format and no registration marks."
            raise CutError(what, mend="Leave them out (--format, --marked), or name a machine.")
        return Cut(plan, hide, machine, paper=paper or "a4")
    if machine.tool == "laser" and hide is None:
        what = f"a laser must know the leather, and the record {plan.hide_file} is not found."
        raise CutError(what, mend="Name the hide's record with --hide.")
    marked = marked or {}
    laid = setups.split(plan, machine, hide.polygon if hide else None)
    for number in marked:
        if not 1 <= number <= len(laid):
            what = f"there is no set-up {number}; this plan takes {len(laid)} on {machine.name}."
            raise CutError(what, mend="Number them as the set-up sheet does.")
    moved = tuple(
        setups.corrected(setup, on_bed(machine, marked[setup.number]))
        if setup.number in marked
        else setup
        for setup in laid
    )
    programs = program.build(plan, machine, hide=hide, setups=moved)
    wanted = [n for n, setup in enumerate(moved) if not marked or setup.number in marked]
    return Cut(
        plan,
        hide,
        machine,
        tuple(moved[n] for n in wanted),
        tuple(programs[n] for n in wanted),
        _formats(machine, formats),
        paper,
    )


def on_bed(device: Machine, counted: Sequence[Place]) -> FloatArray:
    """Places (n, 2) mm as the machine counts them, on the bed (origin lower left, y up)."""
    base = device.counted(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    points = np.asarray(counted, dtype=np.float64) - base[0]
    return np.asarray(points @ np.linalg.inv(base[1:] - base[0]), dtype=np.float64)


def _formats(machine: Machine, asked: Sequence[str]) -> tuple[str, ...]:
    """The formats asked for, or the first one of the machine's that is written."""
    for form in asked:
        one_of(form, "formats", tuple(SUFFIXES))
    return tuple(asked) or tuple(form for form in machine.formats if form in SUFFIXES)[:1]


def coupon(machine: Machine, kind: str, *, formats: Sequence[str] = ()) -> Coupon:
    """A coupon of :data:`COUPONS` on a machine, as drawn, without compensation.

    Raises
    ------
    CutError : the machine has no such thing.
    """
    one_of(kind, "kind", tuple(COUPONS))
    if machine.tool == "hand" or (kind == "offset" and machine.tool != "drag"):
        raise CutError(f"a {machine.tool} has no {kind} to measure.", mend="Name another machine.")
    lines = COUPONS[kind](CORNER, CORNER)
    made = program.of_contours(lines, machine, name=f"{kind} coupon")
    return Coupon(kind, machine, (made, program.handed(machine)), _formats(machine, formats))


def measured(kind: str, sizes: Sequence[float]) -> float:
    """The kerf or the offset in mm from the sizes in mm measured on a coupon.

    Raises
    ------
    CutError : not as many sizes as it takes, or such as leave nothing.
    """
    one_of(kind, "kind", tuple(COUPONS))
    if kind == "offset":
        return float(np.mean([blade.offset_of(size) for size in sizes]))
    if len(sizes) != 2:
        raise CutError("the kerf takes two sizes, the window and the row.", mend=MEASURE[kind])
    return kerf.kerf_of(sizes[0], sizes[1], kerf.STRIPS)
