"""The command ``croupon``: each verb reads files, calls one function and prints one table.

Exit codes: 0 done, 1 the input is sound but no valid plan exists or was found, 2 the input
can't be used. Heavy libraries are imported inside the verbs, so that ``--help`` is quick.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from hides.errors import InputError
from nest.errors import NoPlan
from nest.hideverbs import add_hide_verbs

if TYPE_CHECKING:
    from hides.hide import Hide
    from nest.job import Job
    from nest.planning import Planned
    from nest.sheath import Sheath

DONE, NO_PLAN, BAD_INPUT, STOPPED = 0, 1, 2, 130
PICTURES = (".png", ".pdf", ".svg")
PAPERS = ("a4", "letter")
FORMATS = ("dxf-r12", "dxf-r2000", "svg", "hpgl", "gcode")
COUPONS = ("kerf", "offset")
_PLACE = re.compile(r"-[\d.]+,")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    # a place such as -10.5,20 is no option; argparse sees that by a space in it
    options = _parser().parse_args([f" {one}" if _PLACE.match(one) else one for one in given])
    try:
        _check_folder(getattr(options, "out", None))
        return int(options.run(options))
    except InputError as error:
        return _say(str(error), BAD_INPUT)
    except NoPlan as error:
        return _say(str(error), NO_PLAN)
    except BrokenPipeError:  # the reader of our output has gone, as with | head
        sys.stderr.close()
        return DONE
    except OSError as error:
        what = f"{error.filename or 'a file'}: {error.strerror or error}."
        return _say(f"{what} Check the rights and the room left there.", BAD_INPUT)
    except KeyboardInterrupt:
        return _say("stopped at once; what is not written yet is lost.", STOPPED)


# ---------------------------------------------------------------- the verbs


def _hide_work(options: argparse.Namespace) -> int:
    """Whatever reads or makes a hide record: done elsewhere, told here."""
    from nest import capturing

    told: capturing.Told = getattr(capturing, options.does)(options)
    code = _report(options, told.facts, told.written, told.remarks)
    return code if told.done else NO_PLAN


def _hide_check(options: argparse.Namespace) -> int:
    from hides import record
    from hides.remarks import remarks

    hide = record.read(options.hide)
    found = remarks(hide)
    if options.json:
        return _json({"name": hide.name, "valid": True, "remarks": list(found)})
    print(f"{options.hide}: a valid record of {hide.name}.")
    for sentence in found:
        print(f"  {sentence}")
    return DONE


def _sheath(options: argparse.Namespace) -> int:
    from nest import knife as knives
    from nest import sheath as sheaths
    from nest.draw.book import save_book
    from nest.report.patternsheet import pattern_sheet
    from nest.report.templates import Template, template_pages

    knife = knives.read(options.knife)
    changes = {"hand": options.hand} if options.hand else {}
    sheath = sheaths.make(knife, knife.choices.changed(changes))
    sheet = pattern_sheet(sheath, knife)
    written = _save(sheet.save, options, _stem(options.knife, ".knife"), ".pattern")
    if options.paper:
        templates = [Template(sheath.name, part) for part in sheath.parts]
        pages = template_pages(f"{sheath.name}: templates", templates, options.paper)
        name = f"{_stem(options.knife, '.knife')}.templates.pdf"
        written.append(str(save_book(pages, options.out / name, f"{sheath.name}: templates")))
    remarks = {"guessed": list(knife.guesses), "mind": list(sheath.warnings)}
    code = _report(options, _sheath_facts(sheath), written, remarks)
    if not options.json:
        rows = [["u mm", "where", "needed", "there", "slack", "fit"]]
        for s in sheath.stations:
            figures = (f"{s.needed:.1f}", f"{s.available:.1f}", f"{s.slack:+.1f}")
            rows.append([f"{s.u:.0f}", s.where, *figures, s.verdict])
        _table(rows)
    return code


def _plan(options: argparse.Namespace) -> int:
    from nest.planning import plan_hides
    from nest.watch import watched
    from nest.week import job_of, read

    job = _with_options(job_of(read(options.week)), options)
    if options.machine:
        from nest.cutting import planned_for

        job = planned_for(job, options.machine, options.week.parent)
    hides = _hides(options.hide, job, options.week)
    try:
        quiet = options.json or not sys.stderr.isatty()
        with watched(job, hides, quiet=quiet) as watch:
            planned = plan_hides(
                job,
                hides,
                seconds=options.seconds,
                effort=options.effort,
                partial=options.partial,
                observer=watch.step,
                stop=watch.stopped,
            )
    except InputError as error:
        raise error.at(file=options.week) from None
    if options.machine and not options.json and not job.shift:
        print(f"{options.machine} gives no shift, so parts may lie anywhere on a hide.")
    return _write_plans(options, job, planned, _stem(options.week, ".week"))


def _compare(options: argparse.Namespace) -> int:
    from nest.planning import compare_hides
    from nest.report.compare import compare_sheet, recommend, table
    from nest.week import job_of, read

    job = _with_options(job_of(read(options.week)), options)
    hides = _hides(options.hides, job, options.week)
    seconds = options.seconds
    if seconds is None and options.effort is None and job.effort is None:
        seconds = min(job.seconds, 10.0)
    tried = compare_hides(job, hides, seconds=seconds, effort=options.effort)
    words = recommend(tried)
    written = _save(compare_sheet(tried).save, options, _stem(options.week, ".week"), ".compare")
    if options.json:
        rows = {
            t.hide.name: dict(t.figures.numbers) | {"sheaths": len(t.figures.sheaths)}
            for t in tried
        }
        return _json({"hides": rows, "recommended": words, "files": written})
    _table(table(tried))
    print(f"\n{words}")
    _files(written)
    return DONE


def _cut(options: argparse.Namespace) -> int:
    from nest import cutting

    if options.coupon:
        return _coupon(options)
    if options.plan is None or not (options.paper or options.machine):
        raise InputError(
            "a plan is cut with something.", mend="Give a plan, and --machine NAME or --paper a4."
        )
    if options.measured:
        raise InputError("sizes are measured on a coupon.", mend="Say which: --coupon kerf.")
    source = cutting.opened(options.plan, options.hide)
    made = None
    if options.machine:
        marked = cutting.places_given(options.marked)
        made = cutting.made_for(source, options.machine, marked)
    writers = cutting.machine_files(source, made, options.format) if made else {}
    if made and made.by_hand and (options.format or options.marked):
        what = "a hand cuts from paper, which has no other format and no registration marks."
        raise InputError(what, mend="Leave out --format and --marked, or name another machine.")
    if options.paper or (made and made.by_hand):
        writers |= cutting.paper_files(source, options.paper or PAPERS[0])
    written = cutting.write_all(writers, options.out, replace=options.force)
    facts = {"plan": f"{source.plan.name}, {cutting.proof(source)}"}
    facts |= cutting.facts_of(made) if made else {}
    cautions = list(made.cautions if made else cutting.BY_HAND)
    return _report(options, facts, [str(path) for path in written], {"mind": cautions})


def _coupon(options: argparse.Namespace) -> int:
    from nest import cutting

    if options.plan or options.paper or options.marked:
        what = "a coupon is cut alone, without a plan, paper or marks."
        raise InputError(what, mend="Leave out --coupon, or all that belongs to a plan.")
    if options.measured:
        value = cutting.measured(options.coupon, options.measured)
        return _report(options, {options.coupon: f"{value:.3f} mm"}, [])
    if not options.machine:
        raise InputError("a coupon is cut with a machine.", mend="Add --machine NAME.")
    made = cutting.coupon_for(options.machine, options.coupon)
    written = cutting.write_all(
        cutting.coupon_files(made, options.coupon, options.format),
        options.out,
        replace=options.force,
    )
    remarks = {"measure": [cutting.MEASURE[options.coupon]], "mind": list(made.cautions)}
    return _report(options, cutting.facts_of(made), [str(path) for path in written], remarks)


# ---------------------------------------------------------------- reading


def _with_options(job: Job, options: argparse.Namespace) -> Job:
    from dataclasses import replace

    return job if options.seed is None else replace(job, seed=options.seed)


def _hides(given: Sequence[Path] | None, job: Job, week: Path) -> list[Hide]:
    from hides import record

    files = list(given or job.hides)
    for file in () if given else files:
        if not file.exists():
            raise InputError(
                f"there is no such file: {file}.",
                mend="Correct the name or the folder.",
                place="key 'hides'",
                file=week,
            )
    if not files:
        raise InputError(
            "the week names no hide.",
            mend='Add hides = ["..."] to it, or name one on the command line.',
            file=week,
        )
    return [record.read(file) for file in files]


def _check_folder(out: Path | None) -> None:
    """Refuse a folder that can't be written to before the work, not after it."""
    if out is None:
        return
    near = next(path for path in (out, *out.absolute().parents) if path.exists())
    if not near.is_dir():
        what = "the results go to a folder, and this is a file."
        raise InputError(what, mend="Name a folder with --out.", file=near)
    if not os.access(near, os.W_OK | os.X_OK):
        what = "this folder can't be written to."
        raise InputError(what, mend="Name another with --out.", file=near)


def _stem(path: Path, kind: str) -> str:
    """birch.hide.json -> birch"""
    return path.name.split(kind)[0] if kind in path.name else path.stem


# ---------------------------------------------------------------- writing


def _write_plans(options: argparse.Namespace, job: Job, plans: Sequence[Planned], stem: str) -> int:
    """Write each hide's plan, under the hide's name too where there are several."""
    from nest.plan import write

    hides = [_name_of(planned) for planned in plans]
    stems = [stem] if len(plans) == 1 else [f"{stem}.{hide}" for hide in hides]
    written = []
    for planned, name in zip(plans, stems, strict=True):
        kept = _save(partial(write, planned.plan), options, name, ".plan", (".json",))
        if not options.json:  # the answer first: pictures take longer to draw than to think of
            _tell_plan(planned, job.remnant)
            sys.stdout.flush()
        written.append(kept + _write_rest(options, planned, name))
        if not options.json:
            _files(written[-1])
    if options.json:
        facts = [
            _plan_facts(planned) | {"files": files}
            for planned, files in zip(plans, written, strict=True)
        ]
        return _json(facts[0] if len(plans) == 1 else {"hides": facts})
    if len(plans) > 1:
        print(f"\n{_total(plans)}")
    return DONE


def _name_of(planned: Planned) -> str:
    """A hide as its record file is named: birch.hide.json is birch."""
    source = planned.hide.source
    return _stem(source, ".hide") if source else planned.hide.name.lower().replace(" ", "-")


def _write_rest(options: argparse.Namespace, planned: Planned, stem: str) -> list[str]:
    """Write what is made from a plan: lists, the DXF and the pictures."""
    from nest.report.cutplan import cut_detail, cut_plan
    from nest.report.dxf import write_dxf
    from nest.report.lists import write_figures, write_parts

    plan, hide, figures = planned.plan, planned.hide, planned.figures
    made: tuple[tuple[str, Sequence[str], Callable[[Path], object]], ...] = (
        (".parts", (".csv",), partial(write_parts, plan)),
        (".figures", (".csv",), partial(write_figures, figures)),
        ("", (".dxf",), partial(write_dxf, plan, hide)),
        (".cutplan", PICTURES, cut_plan(plan, hide, figures).save),
        (".detail", (".pdf",), cut_detail(plan, hide, figures).save),
    )
    return [
        name for kind, formats, save in made for name in _save(save, options, stem, kind, formats)
    ]


def _plan_facts(planned: Planned) -> dict[str, object]:
    plan = planned.plan
    facts: dict[str, object] = {
        "hide": planned.hide.name,
        "parts": len(plan.placements),
        "seed": plan.seed,
        "left_out": list(plan.left_out),
        "figures": dict(planned.figures.numbers),
    }
    if plan.bed_windows:
        facts["bed_windows"] = [list(window) for window in plan.bed_windows]
    if planned.strap is not None:
        facts["strap"] = list(planned.strap.exterior.coords)[:-1]
    return facts


def _tell_plan(planned: Planned, remnant: tuple[float, float] | None) -> None:
    from nest.figures import FIGURES

    plan, figures, name = planned.plan, planned.figures, planned.hide.name
    print(f"{plan.name} on {name}: {len(plan.placements)} parts, checked, seed {plan.seed}.")
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
    _table([[FIGURES[key].label, figures.text(key)] for key in figures.numbers])
    print(f"No plan does with less than the bound: {planned.bound.because}")


def _total(plans: Sequence[Planned]) -> str:
    """What all hides together take."""
    from hides.units import area_text

    parts = sum(len(planned.plan.placements) for planned in plans)
    used = sum(planned.figures.numbers["used_area"] for planned in plans)
    costs = [planned.figures.numbers.get("leather_cost") for planned in plans]
    words = f"{parts} parts on {len(plans)} hides, {area_text(used)} used"
    if len({planned.figures.currency for planned in plans}) == 1 and None not in costs:
        words += f", leather for {sum(c or 0 for c in costs):.2f} {plans[0].figures.currency}"
    return f"{words}."


def _save(
    save: Callable[[Path], object],
    options: argparse.Namespace,
    stem: str,
    kind: str,
    formats: Sequence[str] = PICTURES,
) -> list[str]:
    """Write one picture in several formats; returns the names."""
    options.out.mkdir(parents=True, exist_ok=True)
    paths = [options.out / f"{stem}{kind}{suffix}" for suffix in formats]
    for path in paths:
        save(path)
    return [str(path) for path in paths]


def _report(
    options: argparse.Namespace,
    facts: dict[str, str],
    written: list[str],
    remarks: dict[str, list[str]] | None = None,
) -> int:
    remarks = remarks or {}
    if options.json:
        return _json(facts | remarks | {"files": written})
    _table([[label, value] for label, value in facts.items()])
    for kind, sentences in remarks.items():
        for sentence in sentences:
            print(f"{kind}: {sentence}")
    _files(written)
    return DONE


def _sheath_facts(sheath: Sheath) -> dict[str, str]:
    from hides.units import area_text

    f = sheath.facts
    low, high = f.thread_rule
    least, most = f.pitches
    return {
        "sheath": f"{sheath.name}, {sheath.hand} hand",
        "fold allowance": f"{f.fold_allowance:.1f} mm (rule of thumb {f.fold_rule:.1f} mm)",
        "edge seam": f"{f.seam:.0f} mm, {f.stitches} stitches of {least:.2f} to {most:.2f} mm",
        "its thread": f"{f.thread / 1000:.2f} m of {f.thread_diameter:g} mm, {f.needles} needles "
        f"(rule of thumb {low / 1000:.2f} to {high / 1000:.2f} m)",
        "loop seams": f"{f.loop_seam:.0f} mm, {f.loop_stitches} stitches, "
        f"{f.loop_thread / 1000:.2f} m of thread",
        "welt trim": f"{f.welt_trim:.1f} mm",
        **{f"{kind} area": area_text(area) for kind, area in f.areas.items()},
    }


def _table(rows: Iterable[Sequence[str]]) -> None:
    rows = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in rows if i < len(row)) for i in range(len(rows[0]))]
    for row in rows:
        print(
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)).rstrip()
        )


def _files(written: list[str]) -> None:
    if written:
        print("\nwritten: " + ", ".join(written))


def _json(value: object) -> int:
    print(json.dumps(value, indent=1, ensure_ascii=False, default=str))
    return DONE


def _say(words: str, code: int) -> int:
    print(f"croupon: {words}", file=sys.stderr)
    return code


# ---------------------------------------------------------------- the parser


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="croupon",
        description="From knife outlines and a hide to a checked cut plan for knife sheaths.",
        epilog="example: croupon plan shared/weeks/week-12.week.toml --seconds 20",
    )
    parser.add_argument("--version", action="version", version=_version())
    verbs = parser.add_subparsers(required=True, metavar="verb")
    hide = verbs.add_parser("hide", help="show or check a hide record").add_subparsers(
        required=True, metavar="verb"
    )
    add_hide_verbs(lambda *about: _hide_verb(hide, *about))
    _sheath_verb(verbs)
    _plan_verb(verbs)
    _compare_verb(verbs)
    _cut_verb(verbs)
    return parser


def _hide_verb(
    hide: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    does: str,
    says: str,
    example: str,
) -> argparse.ArgumentParser:
    """A verb that :mod:`nest.capturing` does; only those that draw have a folder to write to."""
    run = _hide_check if name == "check" else _hide_work
    verb = _verb(hide, name, run, says, example, out=name in ("show", "gauge"))
    verb.set_defaults(does=does)
    return verb


def _sheath_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    sheath = _verb(
        verbs, "sheath", _sheath, "draw the 1:1 pattern of a knife's sheath and print its facts",
        "croupon sheath shared/knives/heron.knife.toml --hand left",
    )  # fmt: skip
    sheath.add_argument("knife", type=Path, help="NAME.knife.toml")
    sheath.add_argument("--hand", choices=("right", "left"), help="overrides the knife file")
    sheath.add_argument(
        "--paper", choices=PAPERS, help="full-size templates too, on pages of this paper"
    )


def _plan_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = _verb(
        verbs, "plan", _plan, "place a week's sheaths on hides, check the plans and write them",
        "croupon plan shared/weeks/week-12.week.toml --seconds 20 --out out",
    )  # fmt: skip
    plan.add_argument("week", type=Path, help="NAME.week.toml")
    plan.add_argument(
        "--hide", type=Path, nargs="+", metavar="HIDE",
        help="records to cut from, instead of the week's; the cheapest that holds all, or several",
    )  # fmt: skip
    plan.add_argument(
        "--machine", metavar="NAME",
        help="the cutter: where its profile gives a shift, no part crosses from one window of its "
        "bed to the next",
    )  # fmt: skip
    plan.add_argument(
        "--partial", action="store_true", help="plan what fits when not everything does"
    )
    _budget(plan)


def _compare_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    compare = _verb(
        verbs, "compare", _compare, "plan the same week on several hides and compare them",
        "croupon compare shared/weeks/week-12.week.toml --hides shared/hides/*.hide.json",
    )  # fmt: skip
    compare.add_argument("week", type=Path, help="NAME.week.toml")
    compare.add_argument(
        "--hides", type=Path, nargs="+", metavar="HIDE", help="records, instead of the week's"
    )
    _budget(compare)


def _cut_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    cut = _verb(
        verbs, "cut", _cut, "make the files that a plan is cut from, or full-size paper templates",
        "croupon cut out/week-12.plan.json --machine laser-600 --out out",
    )  # fmt: skip
    cut.add_argument("plan", type=Path, nargs="?", help="NAME.plan.json")
    cut.add_argument(
        "--machine", help="a profile: NAME in machines/ or shared/machines/, or a file"
    )
    cut.add_argument(
        "--format", nargs="+", choices=FORMATS, help="files to write (the profile's first)"
    )
    cut.add_argument(
        "--paper", choices=PAPERS, help="templates and a placing sheet, to cut by hand"
    )
    cut.add_argument("--hide", type=Path, help="the hide's record (looked for beside the plan)")
    cut.add_argument(
        "--marked", nargs="+", action="append", metavar=("SETUP", "X,Y"),
        help="where the registration marks of a set-up came to lie, as the machine counts: "
        "its files are made anew for that",
    )  # fmt: skip
    cut.add_argument("--coupon", choices=COUPONS, help="a test piece to cut, instead of a plan")
    cut.add_argument(
        "--measured", nargs="+", type=_positive, metavar="MM",
        help="what the coupon measures: of kerf, the window and the row; of offset, the gaps",
    )  # fmt: skip
    cut.add_argument("--force", action="store_true", help="replace files that are there already")


def _budget(verb: argparse.ArgumentParser) -> None:
    budget = verb.add_mutually_exclusive_group()
    budget.add_argument("--seconds", type=_positive, help="time for the search (the week's)")
    budget.add_argument(
        "--effort", type=_positive,
        help="work instead of time: the same plan on every run; 1 is about 10 s on a slow core",
    )  # fmt: skip
    verb.add_argument("--seed", type=_seed, help="another seed, another search (the week's)")


def _positive(words: str) -> float:
    try:
        value = float(words)
    except ValueError:
        value = 0.0
    if not 0 < value <= 86_400:
        raise argparse.ArgumentTypeError(f"must be above 0 and at most 86400, got {words}")
    return value


def _seed(words: str) -> int:
    value = int(words) if words.isdecimal() else -1
    if value < 0:
        raise argparse.ArgumentTypeError(f"must be a whole number of 0 or more, got {words}")
    return value


def _verb(
    verbs: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    run: Callable[[argparse.Namespace], int],
    says: str,
    example: str,
    *,
    out: bool = True,
) -> argparse.ArgumentParser:
    verb = verbs.add_parser(
        name, help=says, description=says[0].upper() + says[1:] + ".", epilog=f"example: {example}"
    )
    verb.set_defaults(run=run)
    verb.add_argument("--json", action="store_true", help="print JSON for scripts")
    if out:
        verb.add_argument(
            "--out", type=Path, default=Path("out"), help="folder for the files (out)"
        )
    return verb


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"croupon {version('croupon')}"
    except PackageNotFoundError:
        return "croupon (not installed)"


if __name__ == "__main__":
    sys.exit(main())
