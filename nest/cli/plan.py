"""``croupon plan`` and ``croupon compare``: a week's sheaths on hides."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import nest
from nest.cli.told import DONE, as_json, files, set_aside, table
from nest.cli.verb import Verbs, add, positive, seed, stem, writes
from nest.cli.watch import watched

if TYPE_CHECKING:
    from nest import Hide, Job, Planned

PLAN = ".plan.json"


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add both verbs to the command's."""
    plan = add(
        verbs, "plan", _plan, "place a week's sheaths on hides, check the plans and write them",
        "croupon plan shared/weeks/week-12.week.toml --seconds 20 --out out",
    )  # fmt: skip
    _week(plan, "instead of the week's; the cheapest that holds all, or several")
    plan.add_argument(
        "--machine", metavar="NAME",
        help="the cutter: where its profile gives a shift, no part crosses from one window of its "
        "bed to the next",
    )  # fmt: skip
    plan.add_argument(
        "--partial", action="store_true", help="plan what fits when not everything does"
    )
    plan.add_argument(
        "--cut", nargs="+", action="append", metavar=("PLAN", "PART"), default=[],
        help="parts that are cut already, as the pages of their plan call them: "
        "out/week-4.plan.json A1 A1W; the rest is planned round them, and kits are finished. Once "
        "for each plan",
    )  # fmt: skip
    compare = add(
        verbs, "compare", _compare, "plan the same week on several hides and compare them",
        "croupon compare shared/weeks/week-12.week.toml --hide shared/hides/*.hide.json",
    )  # fmt: skip
    _week(compare, "instead of the week's")


def _week(verb: argparse.ArgumentParser, instead: str) -> None:
    """The week, the hides, the budget and the folder."""
    writes(verb)
    verb.add_argument("week", type=Path, help="NAME.week.toml")
    verb.add_argument(
        "--hide", dest="hides", type=Path, nargs="+", metavar="HIDE",
        help=f"records to cut from, {instead}",
    )  # fmt: skip
    budget = verb.add_mutually_exclusive_group()
    budget.add_argument("--seconds", type=positive, help="time for the search (the week's)")
    budget.add_argument(
        "--effort", type=positive,
        help="work instead of time: the same plan on every run; 1 is about 10 s on a slow core",
    )  # fmt: skip
    verb.add_argument(
        "--unknown-thickness", action="store_true",
        help="let parts lie on leather whose thickness nobody knows; every page then says so",
    )  # fmt: skip
    verb.add_argument("--seed", type=seed, help="another seed, another search (the week's)")


def _asked(options: argparse.Namespace, kind: str) -> tuple[Job, tuple[Hide, ...]]:
    """The week and its hides; files that would stand in the way are told before the work."""
    name = stem(options.week, "week")
    week = nest.read_week(options.week)
    try:
        hides = nest.hides_of(week, options.hides)
    except nest.InputError as error:
        raise error.at(file=options.week) from None
    names = _names(options, hides) if kind == "Planned" else [name]
    for one in names:
        if names.count(one) > 1:  # the files of one would take the place of the other's
            what = f"two of the hides offered have a file of the name {one.removeprefix(name)[1:]}."
            raise nest.InputError(what, mend="Give each record's file a name of its own.")
    taken = [f"{one}{ending}" for one in names for ending in nest.endings(kind)]
    left = nest.earlier(options.out, name, written=taken) if kind == "Planned" else ()
    nest.refuse_taken(options.out, taken, force=options.force, earlier=left)
    return week, hides


def _name_of(hide: Hide) -> str:
    """A hide as its record file is named: birch.hide.json is birch."""
    return stem(hide.source, "hide") if hide.source else hide.name


def _plan(options: argparse.Namespace) -> int:
    week, hides = _asked(options, "Planned")
    week = _begun(options, week, hides)
    machine = (
        nest.read_machine(options.machine, beside=options.week.parent) if options.machine else None
    )
    with watched(hides, quiet=options.json or not sys.stderr.isatty()) as watch:
        try:
            plans = nest.plan(
                week,
                hides,
                machine=machine,
                seconds=options.seconds,
                effort=options.effort,
                seed=options.seed,
                partial=options.partial,
                unknown_thickness=options.unknown_thickness,
                observer=watch.told,
                stop=watch.stopped,
            )
        except nest.InputError as error:
            raise error.at(file=options.week) from None
        stem_ = stem(options.week, "week")
        names = [stem_] if len(plans) == 1 else [f"{stem_}.{_name_of(one.hide)}" for one in plans]
        made = []
        for one, name in zip(plans, names, strict=True):
            watch.then(f"{one.hide.name}: drawing the pages")
            made.append(nest.files(one, name, folder=options.out))
        together = {name: data for each in made for name, data in each.items()}
        left = nest.earlier(options.out, stem_, plans, together)
        earlier = set_aside(left, options.out)
        nest.save(together, options.out, force=options.force, earlier=left)
    written = [[options.out / name for name in each] for each in made]
    if options.json:
        facts = [
            _plan_facts(one, week) | {"files": each}
            for one, each in zip(plans, written, strict=True)
        ]
        told = facts[0] if len(plans) == 1 else {"hides": facts}
        return as_json(told | {"earlier": earlier})
    if machine and not machine.shift:
        print(f"{options.machine} gives no shift, so parts may lie anywhere on a hide.")
    for one, each in zip(plans, written, strict=True):
        _tell(one, week)
        files(each)
    if len(plans) > 1:
        print(f"\n{_total(plans)}")
    for words in earlier:
        print(f"earlier: {words}")
    return DONE


def _begun(options: argparse.Namespace, week: Job, hides: Sequence[Hide]) -> Job:
    """The week without what is cut already; a plan that knows of more is not written over."""
    asked = {}
    for file, *parts in options.cut:
        plan = Path(file)
        if not plan.name.endswith(PLAN):
            what = f"--cut {file} names no plan, and letters mean nothing without theirs."
            last = options.out / f"{stem(options.week, 'week')}{PLAN}"
            mend = f"Write the plan first: --cut {last} {' '.join((file, *parts))}"
            raise nest.InputError(what, mend=mend)
        asked[plan.resolve()] = parts
        week = nest.begun(week, plan, parts, hides)
    for name in _names(options, hides):
        old = options.out / f"{name}{PLAN}"
        if old.exists() and old.resolve() not in asked and (parts := nest.cut_before(old)):
            what = f"this plan would be replaced, and it knows what is cut: {', '.join(parts)}."
            mend = f"Go on from it with --cut {old}, or write to another folder with --out."
            raise nest.InputError(what, mend=mend, file=old)
    return week


def _names(options: argparse.Namespace, hides: Sequence[Hide]) -> list[str]:
    """What the files of plans may be called: as the week, and as the week and a hide."""
    name = stem(options.week, "week")
    return [name, *(f"{name}.{_name_of(hide)}" for hide in hides)]


def _of_sheaths(planned: Planned, week: Job) -> tuple[str, ...]:
    """What there is to say of the sheaths of a plan, beside what every page of it says."""
    own = {wanted.kit for wanted in planned.plan.expected}
    return week.of(k for k in week.kits if k.id in own).doubts


def _plan_facts(planned: Planned, week: Job) -> dict[str, object]:
    plan = planned.plan
    facts: dict[str, object] = {
        "plan": planned.number,
        "hide": planned.hide.name,
        "parts": len(plan.placements),
        "cut": [placement.id for placement in plan.cut],
        "seed": plan.seed,
        "left_out": list(plan.left_out),
        "figures": dict(planned.figures.numbers),
        "thickness_known": plan.thickness_known,
        "mind": [*plan.warnings, *_of_sheaths(planned, week)],
    }
    if plan.bed_windows:
        facts["bed_windows"] = [list(window) for window in plan.bed_windows]
    if planned.strap is not None:
        facts["strap"] = list(planned.strap.exterior.coords)[:-1]
    return facts


def _tell(planned: Planned, week: Job) -> None:
    plan, remnant = planned.plan, week.remnant
    parts = f"{len(plan.placements)} parts, checked, seed {plan.seed}, plan {planned.number}."
    print(f"{plan.name} on {planned.hide.name}: {parts}")
    for words in plan.warnings:
        print(f"mind: {words}")
    if plan.left_out:
        print(f"Left out: {', '.join(plan.left_out)}.")
    if plan.bed_windows:
        count = len(plan.bed_windows)
        print(
            f"No part crosses a border of the bed's {count} windows."
            if count > 1
            else "The hide lies on the bed at once."
        )
    if remnant:
        size = f"a clean strap of {remnant[0]:g} × {remnant[1]:g} mm"
        where = "beyond the frontier" if planned.strap_is_beyond else "beside the parts"
        print(f"Left {where}: {size}." if planned.strap else f"No room is left for {size}.")
    table([[label, value] for label, value in nest.facts(planned).items()])
    print(f"No plan does with less than the bound: {planned.bound.because}\n")
    for words in _of_sheaths(planned, week):  # many: they would push the figures off the screen
        print(f"mind: {words}")


def _total(plans: Sequence[Planned]) -> str:
    """What all hides together take."""
    parts = sum(len(planned.plan.placements) for planned in plans)
    used = sum(planned.figures.numbers["used_area"] for planned in plans)
    costs = [planned.figures.numbers.get("leather_cost") for planned in plans]
    words = f"{parts} parts on {len(plans)} hides, {nest.area_text(used)} used"
    if len({planned.figures.currency for planned in plans}) == 1 and None not in costs:
        words += f", leather for {sum(c or 0 for c in costs):.2f} {plans[0].figures.currency}"
    return f"{words}."


def _compare(options: argparse.Namespace) -> int:
    week, hides = _asked(options, "Comparison")
    quiet = options.json or not sys.stderr.isatty()
    with watched(hides, quiet=quiet, stops=False) as watch:
        try:
            compared = nest.compare(
                week,
                hides,
                seconds=options.seconds,
                effort=options.effort,
                seed=options.seed,
                unknown_thickness=options.unknown_thickness,
                observer=watch.told,
            )
        except nest.InputError as error:
            raise error.at(file=options.week) from None
        watch.then("drawing the page")
        made = nest.files(compared, stem(options.week, "week"))
        written = nest.save(made, options.out, force=options.force)
    if options.json:
        rows = {
            t.hide.name: dict(t.figures.numbers) | {"sheaths": len(t.figures.sheaths)}
            for t in compared.tried
        }
        return as_json(
            {
                "hides": rows,
                "useless": dict(compared.useless),
                "recommended": compared.recommended,
                "mind": [*compared.remarks, *week.doubts],
                "files": written,
            }
        )
    table(compared.table)
    print(f"\n{compared.recommended}")
    for words in (*compared.remarks, *week.doubts):
        print(f"mind: {words}")
    files(written)
    return DONE
