"""The command ``croupon``: each verb reads files, calls one function and prints one table.

Exit codes: 0 done, 1 the input is sound but no valid plan exists or was found, 2 the input
can't be used. Heavy libraries are imported inside the verbs, so that ``--help`` is quick.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from hides.errors import InputError
from nest.errors import NoPlan

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hides.hide import Hide
    from nest.planning import Planned
    from nest.sheath import Sheath
    from nest.week import Job

DONE, NO_PLAN, BAD_INPUT, STOPPED = 0, 1, 2, 130
REFRESH = 0.1  # seconds between two writings of the live line
PICTURES = (".png", ".pdf", ".svg")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except InputError as error:
        return _say(str(error), BAD_INPUT)
    except NoPlan as error:
        return _say(str(error), NO_PLAN)
    except BrokenPipeError:  # the reader of our output has gone, as with | head
        sys.stderr.close()
        return DONE
    except OSError as error:
        return _say(f"{error.filename or 'a file'}: {error.strerror or error}.", BAD_INPUT)
    except KeyboardInterrupt:
        return _say("stopped before there was a plan; nothing was written.", STOPPED)


# ---------------------------------------------------------------- the verbs


def _hide_show(options: argparse.Namespace) -> int:
    from hides import record
    from nest.report.hidesheet import hide_sheet

    hide = record.read(options.hide)
    facts = _hide_facts(hide)
    written = _save(hide_sheet(hide).save, options, _stem(options.hide, ".hide"), ".hide")
    return _report(options, facts, written)


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
    from nest.report.pattern import pattern_sheet

    knife = knives.read(options.knife)
    changes = {"hand": options.hand} if options.hand else {}
    sheath = sheaths.make(knife, knife.choices.changed(changes))
    sheet = pattern_sheet(sheath, knife)
    written = _save(sheet.save, options, _stem(options.knife, ".knife"), ".pattern")
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
    from nest.planning import plan_week
    from nest.week import job_of, read

    job = _with_options(job_of(read(options.week)), options)
    hides = _hides(options.hide, job, options.week)
    missed: list[str] = []
    for hide in hides:
        try:
            with _watched(job, hide, options) as watch:
                planned = plan_week(
                    job,
                    hide,
                    seconds=options.seconds,
                    effort=options.effort,
                    partial=options.partial,
                    observer=watch.step,
                    stop=watch.stopped,
                )
        except NoPlan as reason:
            missed.append(str(reason))
            continue
        return _write_plan(options, planned, hide, _stem(options.week, ".week"))
    raise NoPlan("\n".join(missed))


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


# ---------------------------------------------------------------- reading


def _with_options(job: Job, options: argparse.Namespace) -> Job:
    from dataclasses import replace

    return job if options.seed is None else replace(job, seed=options.seed)


def _hides(given: Sequence[Path] | None, job: Job, week: Path) -> list[Hide]:
    from hides import record

    files = list(given or job.hides)
    if not files:
        raise InputError(
            "the week names no hide.",
            mend='Add hides = ["..."] to it, or name one on the command line.',
            file=week,
        )
    return [record.read(file) for file in files]


def _stem(path: Path, kind: str) -> str:
    """birch.hide.json -> birch"""
    return path.name.split(kind)[0] if kind in path.name else path.stem


# ---------------------------------------------------------------- watching the search


class _Watch:
    """The live line on a terminal, and Ctrl-C as a wish to stop with the best plan so far."""

    def __init__(self, job: Job, hide: Hide, quiet: bool) -> None:
        from nest.place.bound import bound, used_area

        least = bound(job.parts, hide, gap=job.gap, edge_margin=job.edge_margin, keep=job.keep)
        self.least, self.area = least.used_area, used_area(hide, job.keep)
        self.quiet, self.name = quiet, hide.name
        self.began, self.asked = time.perf_counter(), False
        self.shown = 0.0
        self.best = "looking for a first valid plan"

    def step(self, step: object) -> None:
        """Told of a better layout."""
        from hides.units import area_text
        from nest.place.search import Step

        if isinstance(step, Step) and step.valid:
            self.best = f"used {area_text(self.area(step.reach))}"
        self.show()

    def stopped(self) -> bool:
        """Asked by the search between pieces of work."""
        self.show()
        return self.asked

    def ask(self, *_: object) -> None:
        """First Ctrl-C: stop with the best so far. Second: at once."""
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True

    def show(self) -> None:
        from hides.units import area_text

        spent = time.perf_counter() - self.began
        if not self.quiet and spent > self.shown + REFRESH:
            self.shown = spent
            line = f"{self.name}: {self.best}, bound {area_text(self.least)}, {spent:.1f} s"
            print(f"\r{line[:118]:<118}", end="", file=sys.stderr, flush=True)


@contextmanager
def _watched(job: Job, hide: Hide, options: argparse.Namespace) -> Iterator[_Watch]:
    quiet = options.json or not sys.stderr.isatty()
    watch = _Watch(job, hide, quiet)
    before = signal.signal(signal.SIGINT, watch.ask)
    try:
        yield watch
    finally:
        signal.signal(signal.SIGINT, before)
        if not quiet:
            print(file=sys.stderr)


# ---------------------------------------------------------------- writing


def _write_plan(options: argparse.Namespace, planned: Planned, hide: Hide, stem: str) -> int:
    from nest import plan as plans
    from nest.report.cutplan import cut_detail, cut_plan
    from nest.report.dxf import write_dxf
    from nest.report.lists import write_figures, write_parts

    out: Path = options.out
    out.mkdir(parents=True, exist_ok=True)
    plan, figures = planned.plan, planned.figures
    writers: dict[str, Callable[[Path], object]] = {
        f"{stem}.plan.json": lambda path: plans.write(plan, path),
        f"{stem}.parts.csv": lambda path: write_parts(plan, path),
        f"{stem}.figures.csv": lambda path: write_figures(figures, path),
        f"{stem}.dxf": lambda path: write_dxf(plan, hide, path),
    }
    for name, write in writers.items():
        write(out / name)
    written = [str(out / name) for name in writers]
    written += _save(cut_plan(plan, hide, figures).save, options, stem, ".cutplan")
    written += _save(cut_detail(plan, hide, figures).save, options, stem, ".detail")
    facts = {"hide": hide.name, "parts": len(plan.placements), "seed": plan.seed}
    if options.json:
        return _json(facts | {"figures": dict(figures.numbers), "files": written})
    from nest.figures import FIGURES

    print(f"{plan.name} on {hide.name}: {len(plan.placements)} parts, checked, seed {plan.seed}.")
    if plan.left_out:
        print(f"Left out: {', '.join(plan.left_out)}.")
    _table([[FIGURES[key].label, figures.text(key)] for key in figures.numbers])
    _files(written)
    return DONE


def _save(
    save: Callable[[Path], object], options: argparse.Namespace, stem: str, kind: str
) -> list[str]:
    """Write one picture in every format; returns the names."""
    options.out.mkdir(parents=True, exist_ok=True)
    paths = [options.out / f"{stem}{kind}{suffix}" for suffix in PICTURES]
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


def _hide_facts(hide: Hide) -> dict[str, str]:
    from hides.units import area_text

    facts = {
        "name": hide.name,
        "piece": f"{hide.piece}, {hide.tannage}",
        "gross area": area_text(hide.gross_area),
        "usable area": area_text(hide.usable_area),
        "flaws": str(len(hide.flaws)),
        "readings": str(len(hide.readings)),
    }
    if hide.supplier_area:
        facts["stamped area"] = area_text(hide.supplier_area)
    if hide.price and hide.paid is not None:
        facts["price"] = f"{hide.paid:.2f} {hide.price.currency}"
    return facts


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
    _verb(
        hide, "show", _hide_show, "draw a hide record and print its figures",
        "croupon hide show shared/hides/birch.hide.json",
    ).add_argument("hide", type=Path, help="NAME.hide.json")  # fmt: skip
    check = _verb(
        hide, "check", _hide_check, "say what is wrong or odd in a hide record",
        "croupon hide check shared/hides/birch.hide.json", out=False,
    )  # fmt: skip
    check.add_argument("hide", type=Path, help="NAME.hide.json")
    _sheath_verb(verbs)
    _plan_verb(verbs)
    _compare_verb(verbs)
    return parser


def _sheath_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    sheath = _verb(
        verbs, "sheath", _sheath, "draw the 1:1 pattern of a knife's sheath and print its facts",
        "croupon sheath shared/knives/heron.knife.toml --hand left",
    )  # fmt: skip
    sheath.add_argument("knife", type=Path, help="NAME.knife.toml")
    sheath.add_argument("--hand", choices=("right", "left"), help="overrides the knife file")


def _plan_verb(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = _verb(
        verbs, "plan", _plan, "place a week's sheaths on a hide, check the plan and write it",
        "croupon plan shared/weeks/week-12.week.toml --seconds 20 --out out",
    )  # fmt: skip
    plan.add_argument("week", type=Path, help="NAME.week.toml")
    plan.add_argument(
        "--hide", type=Path, nargs="+", metavar="HIDE",
        help="records to try in this order, instead of the week's; the first that holds all",
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


def _budget(verb: argparse.ArgumentParser) -> None:
    budget = verb.add_mutually_exclusive_group()
    budget.add_argument("--seconds", type=_positive, help="time for the search (the week's)")
    budget.add_argument(
        "--effort", type=_positive,
        help="work instead of time: the same plan on every run; 1 is about 10 s on a slow core",
    )  # fmt: skip
    verb.add_argument("--seed", type=int, help="another seed, another search (the week's)")


def _positive(words: str) -> float:
    value = float(words)
    if not 0 < value <= 86_400:
        raise argparse.ArgumentTypeError(f"must be above 0 and at most 86400, got {words}")
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
