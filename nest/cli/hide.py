"""``croupon hide``: records of hides, made, looked at and gauged."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any

import nest
from nest.cli.told import DONE, NO_PLAN, as_json, files, report, table
from nest.cli.verb import PAPERS, Verbs, add, may_replace, positive, stem, writes

RECORD = "NAME.hide.json"
ENDING = ".hide.json"
ISO_2589 = (
    "A gauge after ISO 2589 presses with a flat round foot of 10 mm and 393 g of dead weight "
    "(49 kPa) against an anvil of the same size, and reads to 0.01 mm; a hand gauge repeats to "
    "about 0.05 mm, which is what is reckoned with. Measure on leather that lies dry and flat."
)


def add_to(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add the verb, and all verbs below it, to the command's."""
    hide = verbs.add_parser("hide", help="make, show, check or gauge a hide record")
    below = hide.add_subparsers(required=True, metavar="verb")
    show = add(
        below, "show", _show, "draw a hide record and print its figures",
        "croupon hide show shared/hides/birch.hide.json",
    )  # fmt: skip
    writes(show)
    show.add_argument("hide", type=Path, help=RECORD)
    check = add(
        below, "check", _check, "say what is wrong or odd in a hide record",
        "croupon hide check shared/hides/birch.hide.json",
    )  # fmt: skip
    check.add_argument("hide", type=Path, help=RECORD)
    _add_gauge(below)
    _add_targets(below)
    _add_capture(below)
    _add_measure(below)
    _add_more(below)
    _add_remnant(below)


# ---------------------------------------------------------------- looked at


def _show(options: argparse.Namespace) -> int:
    hide = nest.read_hide(options.hide)
    made = nest.files(hide, stem(options.hide, "hide"))
    return report(options, nest.facts(hide), nest.save(made, options.out, force=options.force))


def _check(options: argparse.Namespace) -> int:
    hide = nest.read_hide(options.hide)
    found = nest.remarks(hide)
    if options.json:
        return as_json({"name": hide.name, "valid": True, "remarks": list(found)})
    print(f"{options.hide}: a valid record of {hide.name}.")
    for sentence in found:
        print(f"  {sentence}")
    return DONE


def _add_gauge(verbs: Verbs[argparse.ArgumentParser]) -> None:
    gauge = add(
        verbs, "gauge", _gauge,
        "say where leather is surely as thick as asked, and where to gauge next",
        'croupon hide gauge shared/hides/birch.hide.json --need "3.2-3.5 mm" --count 6',
    )  # fmt: skip
    writes(gauge)
    gauge.description = f"{gauge.description} {ISO_2589}"
    gauge.add_argument("hide", type=Path, help=RECORD)
    gauge.add_argument("--need", metavar="RANGE", help='such as "3.2-3.5 mm" or "8-9 oz"')
    gauge.add_argument(
        "--split", action="store_true", help="thicker leather counts too: it can be split down"
    )
    gauge.add_argument(
        "--sure", type=float, default=0.9, metavar="CHANCE", help="confidence asked for (0.9)"
    )
    gauge.add_argument("--count", type=int, default=5, help="how many places to gauge next (5)")
    gauge.add_argument(
        "--reach", type=float, default=1e9, metavar="MM",
        help="how far from the edge the gauge's arm reaches (any place)",
    )  # fmt: skip


def _gauge(options: argparse.Namespace) -> int:
    gauged = nest.gauge(
        nest.read_hide(options.hide),
        options.need,
        may_split=options.split,
        sure=options.sure,
        count=options.count,
        reach=options.reach,
    )
    made = nest.files(gauged, stem(options.hide, "hide"))
    written = nest.save(made, options.out, force=options.force)
    return report(options, nest.facts(gauged), written, mind=gauged.remarks)


def _add_targets(verbs: Verbs[argparse.ArgumentParser]) -> None:
    targets = add(
        verbs, "targets", _targets,
        "write the scale sheets and numbered stickers to print for photos of hides",
        "croupon hide targets --out sheets.pdf --paper letter",
    )  # fmt: skip
    targets.add_argument(
        "--out", type=Path, default=Path("scale-sheets.pdf"), metavar="FILE.pdf",
        help="where to write them (scale-sheets.pdf)",
    )  # fmt: skip
    may_replace(targets)
    targets.add_argument(
        "--paper", choices=PAPERS, default="a4", help="the paper in the printer (a4)"
    )


def _targets(options: argparse.Namespace) -> int:
    if options.out.suffix.lower() != ".pdf":
        what = f"several pages go into a PDF, not into '{options.out.name}'."
        raise nest.InputError(what, mend="Let the name end in .pdf.")
    sheets = nest.scale_sheets(options.paper)
    (data,) = nest.files(sheets, options.out.stem).values()
    written = nest.save({options.out.name: data}, options.out.parent, force=options.force)
    return report(options, nest.facts(sheets), written)


# ---------------------------------------------------------------- made


def _add_capture(verbs: Verbs[argparse.ArgumentParser]) -> None:
    capture = add(
        verbs, "capture", _capture,
        "make a hide record from photos of a side with scale sheets around it",
        "croupon hide capture side.jpg --ruler 180 --name Larch --out larch.hide.json",
    )  # fmt: skip
    capture.add_argument(
        "photos", type=Path, nargs="+", metavar="PHOTO", help="several that overlap are merged"
    )
    capture.add_argument(
        "--guide", type=Path, metavar="CSV",
        help="x,y: about thirty points around the edge in order, in pixels of the first photo",
    )  # fmt: skip
    capture.add_argument(
        "--legend", type=Path, metavar="TOML", help="what your colours of chalk stand for"
    )
    capture.add_argument(
        "--readings", type=Path, metavar="CSV",
        help="x,y,mm in the hide's frame, or number,mm for numbered stickers on the photo",
    )  # fmt: skip
    capture.add_argument(
        "--ruler", type=float, metavar="MM",
        help="length of the printed ruler as you measure it; needed unless --stamp is given",
    )  # fmt: skip
    capture.add_argument(
        "--raised", type=float, default=0.0, metavar="MM",
        help="the leather's thickness, if the sheets lie on the floor and not on offcuts (0)",
    )  # fmt: skip
    capture.add_argument(
        "--mirror", action="store_true", help="the photo shows the flesh side; turn it over"
    )
    _add_backbone(capture, "in pixels of the first photo")
    capture.add_argument(
        "--anyway", action="store_true", help="write the record even where it is doubtful"
    )
    _add_label(capture)


def _add_measure(verbs: Verbs[argparse.ArgumentParser]) -> None:
    measure = add(
        verbs, "measure", _measure,
        "make a hide record without a camera, from a tape, points or a drawing",
        "croupon hide measure tape.csv --name Larch --out larch.hide.json",
    )  # fmt: skip
    measure.add_argument(
        "outline", type=Path,
        help="CSV of along,offset[,edge] (a tape along the backbone) or x,y; or SVG or DXF",
    )  # fmt: skip
    measure.add_argument(
        "--unit", choices=("mm", "cm", "m", "in"), help="where the file doesn't say it"
    )
    measure.add_argument("--readings", type=Path, metavar="CSV", help="x,y,mm in the hide's frame")
    measure.add_argument(
        "--flaws", type=Path, metavar="CSV",
        help="kind,face,width,along,across; croupon hide flaws prints the kinds",
    )  # fmt: skip
    measure.add_argument(
        "--align", action="store_true", help="turn the drawing so that its backbone lies at y = 0"
    )
    _add_backbone(measure, "in mm of the file; turns it as --align does")
    _add_label(measure)


def _add_backbone(verb: argparse.ArgumentParser, where: str) -> None:
    verb.add_argument(
        "--backbone", nargs=2, type=_place, metavar="X,Y",
        help=f"two places near the ends of the backbone edge, the tail's first, {where}",
    )  # fmt: skip


def _place(text: str) -> tuple[float, float]:
    """Two numbers, in whatever unit is asked for."""
    try:
        x, y = (float(number) for number in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no place; write X,Y") from None
    return x, y


def _add_label(verb: argparse.ArgumentParser) -> None:
    """What neither photo nor tape can tell, for both."""
    verb.add_argument(
        "--out", type=Path, required=True, metavar=RECORD,
        help="the record to write; pictures go beside it",
    )  # fmt: skip
    may_replace(verb)
    verb.add_argument(
        "--side", choices=("left", "right"), default="left",
        help="side of the animal; it tells tail from neck (left)",
    )  # fmt: skip
    verb.add_argument("--name", help="what you call this hide (the file's name)")
    verb.add_argument("--tannage", default="", help="in words; a laser must know it")
    verb.add_argument(
        "--stamp", metavar="AREA", help='area stamped by the seller, such as "22³ ft2"'
    )
    verb.add_argument(
        "--price", nargs=3, metavar=("AMOUNT", "CURRENCY", "PER"),
        help="such as 9.50 EUR ft2; per ft2, dm2 or piece",
    )  # fmt: skip


def _capture(options: argparse.Namespace) -> int:
    file = _record_file(options, "Captured")
    found = nest.capture(
        options.photos,
        **_label(options, file),
        guide=options.guide,
        legend=options.legend,
        readings=options.readings,
        ruler=options.ruler,
        raised=options.raised,
        side=options.side,
        mirror=options.mirror,
        backbone=options.backbone,
        keep=_kept(options),
    )
    made = nest.files(found, file, anyway=options.anyway)
    written = nest.save(made, options.out.parent, force=options.force)
    done = found.sure or options.anyway
    state = "written" if done else "not written, as something is doubtful (see --anyway)"
    facts = nest.facts(found) | {"record": state}
    code = report(options, facts, written, doubt=found.doubts, mind=found.remarks)
    return code if done else NO_PLAN


def _measure(options: argparse.Namespace) -> int:
    file = _record_file(options, "Recorded")
    made = nest.measure(
        options.outline,
        **_label(options, file),
        flaws=options.flaws,
        keep=_kept(options),
        readings=options.readings,
        unit=options.unit,
        turn=options.side if options.align or options.backbone else None,
        backbone=options.backbone,
    )
    written = nest.save(nest.files(made, file), options.out.parent, force=options.force)
    return report(options, nest.facts(made), written, mind=made.remarks)


def _add_more(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Add to a record, and print what flaws there are."""
    more = add(
        verbs, "add", _more,
        "add readings and flaws to a record, or confirm odd readings; all else in it stays",
        "croupon hide add larch.hide.json --readings more.csv --flaws flaws.csv --confirm 11",
    )  # fmt: skip
    more.add_argument("hide", type=Path, help=RECORD)
    more.add_argument("--readings", type=Path, metavar="CSV", help="x,y,mm in the hide's frame")
    more.add_argument(
        "--flaws", type=Path, metavar="CSV",
        help="kind,face,width,along,across; a row without a kind goes on with the flaw above",
    )  # fmt: skip
    more.add_argument(
        "--confirm", nargs="+", type=int, default=(), metavar="NUMBER",
        help="readings that check calls odd, and that were measured again and are right",
    )  # fmt: skip
    add(verbs, "flaws", _flaws, "print the kinds of flaw, and what each bars", "croupon hide flaws")


def _more(options: argparse.Namespace) -> int:
    made = nest.add_to_hide(
        options.hide, readings=options.readings, flaws=options.flaws, confirm=options.confirm
    )
    data = {options.hide.name: (made.text or "").encode()}
    written = nest.save(data, options.hide.parent, force=True)
    said = ["Plans made on the record before no longer hold.", *made.remarks]
    return report(options, nest.facts(made), written, mind=said)


def _flaws(options: argparse.Namespace) -> int:
    head, *rows = nest.flaw_kinds()
    if options.json:
        return as_json([dict(zip(head, row, strict=True)) for row in rows])
    table([head, *rows])
    return DONE


def _add_remnant(verbs: Verbs[argparse.ArgumentParser]) -> None:
    remnant = add(
        verbs, "remnant", _remnant,
        "make a hide of each piece that a plan leaves, with all that is known of its leather",
        "croupon hide remnant out/week-12.plan.json --name 'Birch II' --out hides",
    )  # fmt: skip
    writes(remnant)
    remnant.add_argument("plan", type=Path, help="NAME.plan.json, which is cut by now")
    remnant.add_argument("--hide", type=Path, help="the hide's record (where the plan says it is)")
    remnant.add_argument("--name", help="what you call it (the hide's name and 'rest')")
    remnant.add_argument(
        "--offcuts", type=positive, nargs="?", const=60.0, metavar="MM",
        help="also clean pieces beside the parts, so wide at every place (60: those that the plan "
        "names)",
    )  # fmt: skip


def _remnant(options: argparse.Namespace) -> int:
    plan, hide = nest.read_plan(options.plan, options.hide)
    found = nest.remnants(plan, hide, name=options.name, offcuts=options.offcuts)
    made: dict[str, bytes] = {}
    for one in found:
        made |= nest.files(one, "-".join(re.findall(r"\w+", one.hide.name.lower())))
    written = nest.save(made, options.out, force=options.force)
    if options.json:
        told = [nest.facts(one) | {"mind": list(one.remarks)} for one in found]
        return as_json({"hides": told, "files": written})
    for one in found:
        report(options, nest.facts(one), mind=one.remarks)
        print()
    files(written)
    return DONE


def _record_file(options: argparse.Namespace, kind: str) -> str:
    """The record's name without its ending; a wrong one is refused before the work, not after."""
    file: Path = options.out
    if not file.name.endswith(ENDING) or file.name == ENDING:
        raise nest.InputError(
            f"a hide record is named NAME{ENDING}, got '{file.name}'.",
            mend=f"Write --out {file.stem.split('.')[0] or 'larch'}{ENDING}.",
        )
    if not file.parent.is_dir():
        raise nest.InputError("there is no such folder.", mend="Make it first.", file=file.parent)
    name = file.name.removesuffix(ENDING)
    taken = [f"{name}{ending}" for ending in nest.endings(kind)]
    nest.refuse_taken(file.parent, taken, force=options.force)
    return name


def _kept(options: argparse.Namespace) -> Path | None:
    """The record that is there, of which stays what isn't made anew: with --force, or it was
    refused.
    """
    return options.out if options.out.exists() else None


def _label(options: argparse.Namespace, file: str) -> dict[str, Any]:
    """What is written on a hide, as the door asks for it."""
    name, keep = options.name, _kept(options)
    if name is None:
        name = nest.read_hide(keep).name if keep else file.replace("-", " ").title()
    return {"name": name} | {key: getattr(options, key) for key in ("tannage", "stamp", "price")}
