"""From photos, tables and drawings to hide records, gauge pictures and scale sheets on disk.

Each function does one of the command line's hide verbs and says what came of it as a
:class:`Told`; printing is not done here.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from pathlib import Path

from hides import measured, record
from hides.capture import targets
from hides.capture.marks import USUAL_LEGEND, read_legend
from hides.capture.pipeline import Asked, Captured, capture
from hides.errors import InputError
from hides.label import HideLabel
from hides.remarks import remarks
from hides.thickness import THROAT, Need
from hides.units import area_text, parse_thickness
from nest.draw.book import save_book
from nest.draw.sheet import Sheet
from nest.report.capturesheet import capture_sheet
from nest.report.gaugesheet import Gauging, gauge_sheet, gauging, need_text
from nest.report.hidesheet import hide_facts, hide_sheet
from nest.report.scalesheet import write_sheets

PICTURES = (".png", ".pdf", ".svg")
MOST_PLACES = 50
ENDING = ".hide.json"


@dataclass(frozen=True)
class Told:
    """What a verb did: facts by label, files written, sentences by their weight, and whether
    it is done (a record that is doubtful is not written)."""

    facts: dict[str, str]
    written: list[str] = field(default_factory=list)
    remarks: dict[str, list[str]] = field(default_factory=dict)
    done: bool = True


def show(options: argparse.Namespace) -> Told:
    """Draw a hide record."""
    hide = record.read(options.hide)
    return Told(
        hide_facts(hide), _pictures(hide_sheet(hide), options.out, stem(options.hide), ".hide")
    )


def gauge(options: argparse.Namespace) -> Told:
    """Say where the leather is surely as thick as asked, and where to gauge next."""
    if not 0.5 <= options.sure < 1.0:
        raise InputError(f"--sure must be from 0.5 to below 1, got {options.sure:g}.")
    if not 1 <= options.count <= MOST_PLACES:
        raise InputError(f"--count must be from 1 to {MOST_PLACES}, got {options.count}.")
    if not options.reach > THROAT:
        raise InputError(f"--reach must be more than {THROAT:g} mm, got {options.reach:g}.")
    hide = record.read(options.hide)
    need = Need(*parse_thickness(options.need), options.split) if options.need else None
    found = gauging(hide, need, confidence=options.sure, count=options.count, reach=options.reach)
    written = _pictures(gauge_sheet(found), options.out, stem(options.hide), ".gauge")
    return Told(_gauge_facts(found), written)


def scale_sheets(options: argparse.Namespace) -> Told:
    """Write the sheets to print."""
    pages = write_sheets(options.file, options.paper)
    facts = {
        "pages": f"{pages}: hints, {targets.COUNT} scale sheets, {targets.STICKERS} stickers",
        "print": f'at "actual size"; the ruler on each sheet must be {targets.RULER:g} mm long',
    }
    return Told(facts, [str(options.file)])


def capture_photos(options: argparse.Namespace) -> Told:
    """Make a record of photos; what is doubtful is drawn, but not written unless asked for."""
    _check_record(options.file, replace=options.force)
    legend = read_legend(options.legend) if options.legend else USUAL_LEGEND
    asked = Asked(
        guide=options.guide,
        readings=options.readings,
        legend=legend,
        ruler=options.ruler,
        raised=options.raised,
        side=options.side,
        mirror=options.mirror,
    )
    found = capture(options.photos, _label(options), asked)
    pages = [capture_sheet(found, photo) for photo in range(len(found.photos))]
    return _recorded(options, found, [*pages, hide_sheet(found.hide)])


def _recorded(options: argparse.Namespace, found: Captured, pages: list[Sheet]) -> Told:
    """Write the pictures, and the record where nothing speaks against it."""
    name = options.file.with_name(stem(options.file))
    written = [str(pages[0].save(name.with_name(f"{name.name}.capture.png")))]
    written.append(str(save_book(pages, name.with_name(f"{name.name}.capture.pdf"))))
    done = found.sure or options.anyway
    if done:
        record.write(found.hide, options.file)
        written.insert(0, str(options.file))
    view = found.views[0]
    facts = hide_facts(found.hide) | {
        "sheets": f"{len(view.sheets)} read, agree to {view.residual_mm:.2f} mm",
        "record": "written" if done else "not written, as something is doubtful (see --anyway)",
    }
    return Told(facts, written, {"doubt": list(found.doubts), "mind": list(found.remarks)}, done)


def measure(options: argparse.Namespace) -> Told:
    """Make a record of a measured outline."""
    _check_record(options.file, replace=options.force)
    hide, said = measured.side(
        options.outline,
        _label(options),
        unit=options.unit,
        readings=options.readings,
        turn=options.side if options.align else None,
    )
    record.write(hide, options.file)
    name = stem(options.file)
    pictures = _pictures(hide_sheet(hide), options.file.parent, name, ".hide")
    facts = hide_facts(hide) | {"record": "written"}
    return Told(facts, [str(options.file), *pictures], {"mind": [*said, *remarks(hide)]})


def _check_record(file: Path, *, replace: bool) -> None:
    """Refuse a name for the record before the work, not after it."""
    if not file.name.endswith(ENDING) or file.name == ENDING:
        raise InputError(
            f"a hide record is named NAME{ENDING}, got '{file.name}'.",
            mend=f"Write --out {file.stem.split('.')[0] or 'larch'}{ENDING}.",
        )
    if not file.parent.is_dir():
        raise InputError("there is no such folder.", mend="Make it first.", file=file.parent)
    if file.exists() and not replace:
        raise InputError(
            "this record is there already.",
            mend="Add --force to replace it, or name another --out.",
            file=file,
        )


def _label(options: argparse.Namespace) -> HideLabel:
    name = stem(options.file).replace("-", " ").title() if options.name is None else options.name
    return HideLabel.of(name, options.tannage, options.stamp, options.price)


def stem(path: Path) -> str:
    """birch.hide.json -> birch"""
    return path.name.removesuffix(ENDING) if path.name.endswith(ENDING) else path.stem


def _gauge_facts(found: Gauging) -> dict[str, str]:
    facts = {"name": found.hide.name, "readings": str(len(found.hide.readings))}
    if found.need is not None:
        facts["asked"] = need_text(found.need)
        facts[f"sure to {found.confidence:.0%}"] = area_text(found.sure.area)
        facts["not decided"] = area_text(found.open.area)
    for number, ((x, y), doubt) in enumerate(zip(found.places, found.doubts, strict=True), 1):
        known = f", known to ±{doubt:.2f} mm" if found.hide.readings else ""
        facts[f"gauge next, {number}"] = f"{x:.0f} along, {y:.0f} across{known}"
    return facts


def _pictures(sheet: Sheet, folder: Path, name: str, kind: str) -> list[str]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{name}{kind}{suffix}" for suffix in PICTURES]
    return [str(sheet.save(path)) for path in paths]
