"""``croupon cut``: what a plan is cut from."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import nest
from nest.cli.told import report, set_aside
from nest.cli.verb import PAPERS, Verbs, add, positive, stem, writes

FORMATS = ("dxf-r12", "dxf-r2000", "svg", "hpgl", "gcode")
COUPONS = ("kerf", "offset")


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add the verb to the command's."""
    cut = add(
        verbs, "cut", _cut, "make the files that a plan is cut from, or full-size paper templates",
        "croupon cut out/week-12.plan.json --machine laser-600 --out out",
    )  # fmt: skip
    writes(cut)
    cut.add_argument("plan", type=Path, nargs="?", help="NAME.plan.json")
    cut.add_argument(
        "--machine", help="a profile: NAME in machines/ or shared/machines/, or a file"
    )
    cut.add_argument(
        "--format", nargs="+", choices=FORMATS, default=(),
        help="files to write (the profile's first)",
    )  # fmt: skip
    cut.add_argument(
        "--paper", choices=PAPERS, help="templates and a placing sheet, to cut by hand"
    )
    cut.add_argument(
        "--hide",
        type=Path,
        help="the hide's record, where it no longer lies where it was planned on",
    )
    cut.add_argument(
        "--marked", nargs="+", action="append", metavar=("SETUP", "X,Y"), default=[],
        help="where the registration marks of a set-up came to lie, as the machine counts: "
        "its files are made anew for that",
    )  # fmt: skip
    cut.add_argument("--coupon", choices=COUPONS, help="a test piece to cut, instead of a plan")
    cut.add_argument(
        "--measured", nargs="+", type=positive, metavar="MM",
        help="what the coupon measures: of kerf, the window and the row; of offset, the gaps",
    )  # fmt: skip


def _cut(options: argparse.Namespace) -> int:
    if options.coupon:
        return _coupon(options)
    if options.plan is None or not (options.paper or options.machine):
        raise nest.InputError(
            "a plan is cut with something.", mend="Give a plan, and --machine NAME or --paper a4."
        )
    if options.measured:
        what = "sizes are measured on a coupon."
        raise nest.InputError(what, mend="Say which: --coupon kerf.")
    plan, hide = nest.read_plan(options.plan, options.hide)
    machine = (
        nest.read_machine(options.machine, beside=options.plan.parent) if options.machine else None
    )
    marked = _places(options.marked)
    cut = nest.cut(plan, hide, machine, formats=options.format, marked=marked, paper=options.paper)
    name = stem(options.plan, "plan")
    made = nest.files(cut, name)
    left = nest.earlier(options.out, name, [cut], made)
    earlier = set_aside(left, options.out)
    written = nest.save(made, options.out, force=options.force, earlier=left)
    return report(options, nest.facts(cut), written, mind=cut.cautions, earlier=earlier)


def _places(given: Sequence[Sequence[str]]) -> dict[int, list[tuple[float, float]]]:
    """Where marks were found, mm: [["2", "10,15", "9,4"]] is {2: [(10, 15), (9, 4)]}."""
    found: dict[int, list[tuple[float, float]]] = {}
    for number, *places in given:
        try:
            pairs = [tuple(map(float, place.split(","))) for place in places]
            found[int(number)] = [(x, y) for x, y in pairs]
        except ValueError:
            what = f"--marked {' '.join((number, *places))} can't be read."
            mend = "Write the set-up's number, then X,Y for each of its marks: 2 10.5,15 610,14.2"
            raise nest.InputError(what, mend=mend) from None
    return found


def _coupon(options: argparse.Namespace) -> int:
    if options.plan or options.paper or options.marked:
        what = "a coupon is cut alone, without a plan, paper or marks."
        raise nest.InputError(what, mend="Leave out --coupon, or all that belongs to a plan.")
    if options.measured:
        value = nest.measured(options.coupon, options.measured)
        return report(options, {options.coupon: f"{value:.3f} mm"})
    if not options.machine:
        raise nest.InputError("a coupon is cut with a machine.", mend="Add --machine NAME.")
    machine = nest.read_machine(options.machine)
    coupon = nest.coupon(machine, options.coupon, formats=options.format)
    written = nest.save(nest.files(coupon, ""), options.out, force=options.force)
    return report(
        options, nest.facts(coupon), written, measure=[coupon.measure], mind=coupon.cautions
    )
