"""A checked plan in, what it is cut from out: programs of a machine, or pages for a pair of hands.

Nothing is cut from a plan that was edited after its check, nor without its hide: the plan is
checked again on it, whole. Nothing here writes a file; :mod:`nest.report.cut` makes them.
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
from nest.cutter.formats import SUFFIXES, notes
from nest.cutter.machine import KERF, OFFSET, Machine
from nest.cutter.program import Program
from nest.cutter.setups import Setup
from nest.errors import CutError, PlanError
from nest.plans import Plan, leather_left, read_checked

Place = tuple[float, float]
FOLDERS = (Path(), Path("hides"), Path("shared/hides"))  # where a plan's hide is looked for
COUPONS = {"kerf": kerf.kerf_coupon, "offset": blade.offset_coupon}
UNEQUAL = 0.5  # mm between the gaps of one coupon: a caliper reads a tenth of that
DISTORTED = 0.01  # of its length, by which a coupon may come out larger or smaller
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
    machine : None for a pair of hands, as where its ``tool`` is "hand".
    setups, programs : one of each for every laying of the hide that is to be cut, in order.
    formats : of the machine's files, names of :data:`nest.cutter.formats.SUFFIXES`.
    paper : of the pages for a pair of hands, "a4" or "letter"; None for no pages.
    """

    plan: Plan
    hide: Hide
    machine: Machine | None
    setups: tuple[Setup, ...] = ()
    programs: tuple[Program, ...] = ()
    formats: tuple[str, ...] = ()
    paper: str | None = None

    @property
    def is_whole(self) -> bool:
        """Whether all set-ups of the plan are here, and not only those whose marks moved."""
        return not self.programs or len(self.programs) == self.programs[0].count

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to tell whoever acts."""
        if self.programs:
            said = [*(words for one in self.programs for words in one.cautions)]
            for one in self.programs:
                said += [words for form in self.formats for words in notes(one, form)]
            return tuple(dict.fromkeys(said))
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
        told = (words for form in self.formats for words in notes(self.programs[0], form))
        return (*self.programs[0].cautions, *told)

    @property
    def measure(self) -> str:
        """What to do with it, in words."""
        return MEASURE[self.kind]


def read_plan(path: Path, hide: Path | None = None) -> tuple[Plan, Hide]:
    """Read a plan file and the hide it was made for, and check the plan again on it.

    The record is ``hide``, or else where the plan says, or else a file of that name beside the
    plan or in one of :data:`FOLDERS`.

    Raises
    ------
    PlanError : the plan can't be read, has not passed the checker, was edited since, or does not
        pass on this hide; the record is not found.
    HideError : the record can't be read.
    """
    plan = read_checked(path)
    found = hide or _record_of(plan, path)
    leather = record.read(found)
    for finding in check(plan, leather):
        what = f"on {found} the checker refuses it: {finding.says}"
        mend = "Name the record as it was planned on with --hide, or plan the week again."
        raise PlanError(what, mend=mend, file=path)
    return plan, leather


def _record_of(plan: Plan, path: Path) -> Path:
    """The record that a plan's file names. Where the plan says goes first: a copy elsewhere, such
    as an older one beside the plan, must not hide that the record has changed since.
    """
    stated = Path(plan.hide_file)
    for named in (stated, Path(stated.name)) if plan.hide_file else ():
        for folder in (path.parent, *FOLDERS):
            if (folder / named).is_file():
                return folder / named
    what = f"the record of its hide “{plan.hide_name}” is not found"
    what += f" ({plan.hide_file})" if plan.hide_file else ""
    mend = "Name the record with --hide."
    raise PlanError(f"{what}, so it can't be checked on its leather.", mend=mend, file=path)


def cut(
    plan: Plan,
    hide: Hide,
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
    CutError : the plan can't be cut on the machine; leather that must not go on it; marks that do
        not fit.
    """
    if paper is not None:
        one_of(paper, "paper", tuple(PAPERS))
    if plan.check is None or not plan.check.passed:
        raise PlanError("this plan has not passed the checker, so nothing is cut from it.")
    for finding in check(plan, hide):
        raise PlanError(f"on {hide.name} the checker refuses it: {finding.says}")
    if machine is None or machine.tool == "hand":
        if formats or marked:
            what = "a hand cuts from paper, which has no other format and no registration marks."
            raise CutError(what, mend="Leave them out (--format, --marked), or name a machine.")
        return Cut(plan, hide, machine, paper=paper or "a4")
    marked = marked or {}
    laid = setups.split(plan, machine, leather_left(plan, hide))
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
    """The formats asked for, or the first one of the machine's that is written.

    Raises
    ------
    CutError : the profile has not one that is asked for, or none that is written.
    """
    for form in asked:
        one_of(form, "formats", tuple(SUFFIXES))
    takes = tuple(form for form in machine.formats if form in SUFFIXES)
    strange = [form for form in asked if form not in takes]
    if strange or not takes:
        raise CutError(
            f"{machine.name} takes {', '.join(machine.formats)}, and {', '.join(strange) or 'none'}"
            f" {'was asked for' if strange else 'of these is written'}.",
            mend=f"Ask for another format, or put it into formats of the profile if the machine "
            f"takes it: {', '.join(SUFFIXES)}.",
            place="key 'formats'",
        )
    return tuple(asked) or takes[:1]


def coupon(machine: Machine, kind: str, *, formats: Sequence[str] = ()) -> Coupon:
    """A coupon of :data:`COUPONS` on a machine, as drawn, without compensation.

    Raises
    ------
    CutError : the machine has no such thing.
    """
    one_of(kind, "kind", tuple(COUPONS))
    tools = {"kerf": ("laser",), "offset": ("drag",)}  # a knife takes nothing away
    if machine.tool not in tools[kind]:
        what = f"{machine.name} ({machine.tool}) has no {kind} to measure."
        raise CutError(what, mend=f"Name a machine whose tool is {tools[kind][0]}.")
    lines = COUPONS[kind](CORNER, CORNER)
    made = program.of_contours(lines, machine, name=f"{kind} coupon")
    return Coupon(kind, machine, (made, program.handed(machine)), _formats(machine, formats))


def measured(kind: str, sizes: Sequence[float]) -> float:
    """The kerf or the offset in mm from the sizes in mm measured on a coupon.

    Raises
    ------
    CutError : not as many sizes as it takes, or such as no coupon of that kind can have.
    """
    one_of(kind, "kind", tuple(COUPONS))
    return _offset(sizes) if kind == "offset" else _kerf(sizes)


def _offset(gaps: Sequence[float]) -> float:
    """Half the mean gap of the coupon's three pairs."""
    if len(gaps) > 3 or max(gaps) - min(gaps) > UNEQUAL:
        what = f"the gaps of its three pairs must be alike within {UNEQUAL:g} mm, got "
        what += f"{', '.join(f'{gap:g}' for gap in gaps)}."
        raise CutError(what, mend="Measure them again, or cut another: a blade was loose or blunt.")
    return OFFSET.check(float(np.mean([blade.offset_of(gap) for gap in gaps])), "offset")


def _kerf(sizes: Sequence[float]) -> float:
    """The kerf from the window and the row, if the coupon came out as large as it was drawn."""
    if len(sizes) != 2:
        raise CutError("the kerf takes two sizes, the window and the row.", mend=MEASURE["kerf"])
    found = KERF.check(kerf.kerf_of(sizes[0], sizes[1], kerf.STRIPS), "kerf")
    drawn = kerf.STRIPS * kerf.STRIP[0]
    scale = (sizes[0] - found) / drawn
    if abs(scale - 1) > DISTORTED:
        raise CutError(
            f"a window of {sizes[0]:g} mm and a row of {sizes[1]:g} mm make a coupon of "
            f"{sizes[0] - found:.1f} mm, which is drawn {drawn:g} mm long.",
            mend="Measure both again; or the machine, or its software, changes sizes: set that "
            "right first.",
        )
    return found
