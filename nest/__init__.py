"""Croupon: from knives and hides to a checked cut plan, and to files that a cutter takes.

What the command does, a script or a notebook can do with this module alone:

>>> import nest
>>> week = nest.read_week("shared/weeks/week-4.week.toml")
>>> (planned,) = nest.plan(week, effort=0.01)
>>> nest.check(planned.plan, planned.hide)
()
>>> cut = nest.cut(planned.plan, planned.hide, nest.read_machine("laser-1300"))
>>> sorted(nest.files(cut, "week-4"))
['week-4.laser-1300.1.dxf', 'week-4.laser-1300.setups.pdf']
>>> nest.save(nest.files(cut, "week-4"), "out")                       # doctest: +SKIP

An *answer* is whatever a function here gives that is worth showing: a hide, a sheath, what was
planned, compared, cut, gauged or captured. Of each, :func:`facts` are its figures in words,
:func:`picture` is its page, and :func:`files` is all that is written of it, in memory;
:func:`save` writes it.

Millimetres, mm², degrees counter-clockwise, seconds, as :mod:`hides` says. Whatever a user can
get wrong raises :class:`InputError`; sound input that no plan is found for raises
:class:`NoPlan`. Libraries are loaded by the function that needs them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hides.errors import InputError
from hides.units import area_text
from nest.errors import NoPlan
from nest.output import aside_in, refuse_taken, save

if TYPE_CHECKING:  # the classes of answers, under one name for annotations
    from hides.capture.pipeline import Captured as Captured
    from hides.hide import Hide as Hide
    from nest.answers import Answer
    from nest.checker import Finding as Finding
    from nest.cutter.machine import Machine as Machine
    from nest.cutting import Coupon as Coupon
    from nest.cutting import Cut as Cut
    from nest.draw.sheet import Sheet as Sheet
    from nest.explained import Explained as Explained
    from nest.job import Job as Job
    from nest.knife import Knife as Knife
    from nest.part import Part as Part
    from nest.planning import Planned as Planned
    from nest.planning import Progress as Progress
    from nest.plans import Plan as Plan
    from nest.report.compare import Comparison as Comparison
    from nest.report.gaugesheet import Gauging as Gauging
    from nest.report.recorded import Recorded as Recorded
    from nest.report.scalesheet import ScaleSheets as ScaleSheets
    from nest.sheaths import Sheath as Sheath

__all__ = [
    "InputError",
    "NoPlan",
    "add_to_hide",
    "area_text",
    "aside_in",
    "begun",
    "capture",
    "check",
    "compare",
    "coupon",
    "cut",
    "cut_before",
    "earlier",
    "endings",
    "explain",
    "facts",
    "files",
    "flaw_kinds",
    "gauge",
    "hides_of",
    "measure",
    "measured",
    "picture",
    "plan",
    "read_hide",
    "read_knife",
    "read_machine",
    "read_plan",
    "read_week",
    "refuse_taken",
    "remarks",
    "remnants",
    "save",
    "scale_sheets",
    "sheath",
    "starters",
]


# ---------------------------------------------------------------- reading


def read_hide(path: Path | str) -> Hide:
    """Read a hide record, ``NAME.hide.json``; lengths in mm, areas in mm².

    >>> area_text(read_hide("shared/hides/birch.hide.json").gross_area)
    '206.0 dm² (22.17 ft²)'

    Raises
    ------
    InputError : the file is no hide record; says where and how to mend it.
    """
    from hides import record

    return record.read(path)


def read_knife(path: Path | str) -> Knife:
    """Read a knife file, ``NAME.knife.toml``, with its drawing; lengths in mm.

    >>> round(read_knife("shared/knives/heron.knife.toml").length)
    232

    Raises
    ------
    InputError : the file or its drawing can't be used, or a fold-over sheath can't hold the knife.
    """
    from nest import knife

    return knife.read(path)


def read_week(path: Path | str) -> Job:
    """Read a week file, ``NAME.week.toml``, with its knives: a job of kits, and their rules.

    >>> len(read_week("shared/weeks/week-4.week.toml").kits)
    4

    Raises
    ------
    InputError : the week or one of its knives can't be used, or asks for a sheath that can't be.
    """
    from nest import week

    return week.job_of(week.read(path))


def hides_of(week: Job, records: Sequence[Path | str] | None = None) -> tuple[Hide, ...]:
    """Read the hides to cut a week from: the ``records`` given, or else those that it names.

    Raises
    ------
    InputError : there is none, or one of the files is missing or no hide record.
    """
    from hides import record

    for file in () if records else week.hides:
        if not file.exists():
            what, mend = f"there is no such file: {file}.", "Correct the name or the folder."
            raise InputError(what, mend=mend, place="key 'hides'")
    if not (records or week.hides):
        mend = 'Add hides = ["..."] to it, or name one on the command line.'
        raise InputError("the week names no hide.", mend=mend)
    return tuple(record.read(file) for file in records or week.hides)


def read_machine(name: Path | str, *, beside: Path | None = None) -> Machine:
    """Read a cutter's profile, ``NAME.machine.toml``, by its path or its bare name.

    A bare name is looked for in the folder ``beside``, the working folder, ``machines`` and
    ``shared/machines``. Lengths in mm, speeds in mm/s, angles in degrees.

    >>> read_machine("laser-600").bed
    (600.0, 400.0)

    Raises
    ------
    InputError : no such profile (those that are there are named), or a value out of bounds.
    """
    from nest.cutter import machine

    return machine.read(name, beside=beside)


def read_plan(path: Path | str, hide: Path | str | None = None) -> tuple[Plan, Hide]:
    """Read a checked plan, ``NAME.plan.json``, and the hide that it was made for.

    The record is ``hide``, or else the file that the plan names, where the plan says or beside
    the plan, in the working folder or in ``hides`` or ``shared/hides`` there. The plan is checked
    again on it. Lengths in mm, angles in degrees.

    Raises
    ------
    InputError : no plan, one that did not pass the checker or was edited since, no record, or one
        that has changed since or on which the plan does not pass.
    """
    from nest import cutting

    return cutting.read_plan(Path(path), Path(hide) if hide else None)


def explain(word: str | None = None) -> tuple[Explained, ...]:
    """What can stand in files: all kinds of them, one of them, or one key wherever it may stand.

    Each key has its meaning, what it takes, its unit (mm, degrees, mm/s ...) and its default.

    >>> (knife,) = explain("guard")
    >>> knife.file, knife.tables[""][0].takes, knife.tables[""][0].unit
    ('NAME.knife.toml', '1 to 600', 'mm')

    Raises
    ------
    InputError : neither a file nor a key; the nearest is named.
    """
    from nest import explained

    return explained.explain(word) if word else explained.FILES


def starters(kind: str, name: str, folder: Path | str = ".") -> dict[str, bytes]:
    """The files of a starter "knife", "week" or "hide" for a folder, by name, in memory.

    Each has every key with its meaning, lengths in mm, and reads and plans as it is. A week
    asks for the first knife and hide in the folder, or brings them along.

    >>> list(starters("hide", "larch"))
    ['larch.hide.json']

    Raises
    ------
    InputError : no such kind, or a name that no file can have.
    """
    from nest import starter

    return starter.starters(kind, name, Path(folder))


# ---------------------------------------------------------------- working


def sheath(knife: Knife, **changes: object) -> Sheath:
    """Make the sheath of a knife, with ``changes`` to the choices in its file.

    Choices are those of a knife file's ``[sheath]``: lengths in mm, ``handle_covered`` a
    share, ``hand`` "right" or "left".

    >>> heron = read_knife("shared/knives/heron.knife.toml")
    >>> [part.kind for part in sheath(heron, hand="left", welt=12.0).parts]
    ['body', 'welt', 'loop']

    Raises
    ------
    InputError : an unknown choice, one out of bounds, or a pattern that won't close, with figures.
    """
    from nest import sheaths

    return sheaths.make(knife, knife.choices.changed(changes))


def plan(
    week: Job,
    hides: Sequence[Hide] | None = None,
    *,
    machine: Machine | None = None,
    seconds: float | None = None,
    effort: float | None = None,
    seed: int | None = None,
    partial: bool = False,
    unknown_thickness: bool = False,
    observer: Callable[[Progress], None] = lambda progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Planned, ...]:
    """Plan a week on hides: a checked plan for each hide that is cut into.

    Parameters
    ----------
    hides : what to cut from; those that the week names unless given.
    machine : no part then crosses the windows that its bed takes at once, if it gives a shift.
    seconds : time for the search; the week's own budget where neither is given.
    effort : work instead of seconds (1 is about 10 s on a slow core): with the same seed it
        gives the same plan on every run.
    seed : another number, another search; the week's own unless given.
    partial : plan as many sheaths as fit where not all do.
    unknown_thickness : let parts lie on leather whose thickness nobody knows; all that is made of
        the plan then says so.
    observer : told of each better plan.
    stop : asked now and then; True ends the search with the best plan so far.

    >>> week = read_week("shared/weeks/week-4.week.toml")
    >>> (planned,) = plan(week, effort=0.01, seed=2)
    >>> len(planned.plan.placements)
    12

    Raises
    ------
    NoPlan : not everything fits (the message says what would), or nothing was found.
    InputError : no hide, two of one name, one whose thickness nobody knows, a pin that breaks a
        rule, a part too large for the bed.
    """
    from nest import planning

    return planning.plan_hides(
        _with(week, unknown_thickness, seed=seed, shift=machine.shift if machine else None),
        hides_of(week) if hides is None else hides,
        seconds=seconds,
        effort=effort,
        partial=partial,
        observer=observer,
        stop=stop,
    )


def _with(week: Job, unknown_thickness: bool, **changes: Any) -> Job:
    """A week with some of its rules changed; None leaves a rule as it is."""
    week = week.taking_unknown if unknown_thickness else week
    return replace(week, **{key: value for key, value in changes.items() if value is not None})


def begun(
    week: Job,
    plan: Path | str,
    parts: Sequence[str] = (),
    hides: Sequence[Hide] | None = None,
) -> Job:
    """The week with parts that are cut already: :func:`plan` then plans the rest round them.

    A part counts as made where the week still asks for its knife with that outline and those
    holes; its sheath is finished from the same hide. Whatever else was cut is leather that is
    gone, and the plan's remarks say so.

    Parameters
    ----------
    plan : the file of the plan that was cut, of this week or of another on the same hide. What
        it knows to be cut before stays so.
    parts : what its pages call the parts, such as "A1", "A1W".
    hides : what the week is cut from; those that it names unless given.

    >>> week = read_week("shared/weeks/week-4.week.toml")
    >>> rest = begun(week, "out/week-4.plan.json", ["A1", "B2W"])      # doctest: +SKIP
    >>> (planned,) = plan(rest)                                        # doctest: +SKIP

    Raises
    ------
    InputError : no plan, one that did not pass the checker or was edited since, a part that it
        doesn't place, or a hide that isn't offered; nothing is left to plan.
    """
    from nest import resume
    from nest.plans import read_checked

    offered = hides_of(week) if hides is None else hides
    try:
        return resume.begun(week, read_checked(plan), parts, offered)
    except InputError as error:
        raise error.at(file=plan) from None


def cut_before(plan: Path | str) -> tuple[str, ...]:
    """The parts that a plan file knows to be cut already, as its pages call them.

    Raises
    ------
    InputError : it is no plan, or was edited.
    """
    from nest.plans import labels_of, read_checked

    old = read_checked(plan)
    cut = {placement.id for placement in old.cut}
    return tuple(label for label, wanted in labels_of(old).items() if wanted.id in cut)


def compare(
    week: Job,
    hides: Sequence[Hide] | None = None,
    *,
    seconds: float | None = None,
    effort: float | None = None,
    seed: int | None = None,
    unknown_thickness: bool = False,
    observer: Callable[[Progress], None] = lambda progress: None,
) -> Comparison:
    """Plan the same week on each hide, as much of it as fits, and say which one to cut.

    ``seconds`` or ``effort`` is the budget for each hide, 10 s at most unless given. A hide whose
    thickness nobody knows is of no use, unless ``unknown_thickness`` lets parts lie on it.
    ``observer`` is that of :func:`plan`.

    Raises
    ------
    NoPlan : some hide holds not one sheath of the week.
    InputError : as for :func:`plan`.
    """
    from nest import planning
    from nest.report.compare import Comparison

    job = _with(week, unknown_thickness, seed=seed)
    offered = hides_of(week) if hides is None else hides
    if seconds is None and effort is None and week.effort is None:
        seconds = min(week.seconds, 10.0)
    tried, useless = planning.compare_hides(
        job, offered, seconds=seconds, effort=effort, observer=observer
    )
    return Comparison(tried, useless)


def check(plan: Plan, hide: Hide) -> tuple[Finding, ...]:
    """Judge a plan on its hide; no finding is a pass.

    Each finding has a code, the part, by how many mm (or mm², degrees) a rule is broken, and a
    sentence. The checker shares no geometry with the search; its tolerance is 0.01 mm.
    """
    from nest import checker

    return checker.check(plan, hide)


def cut(
    plan: Plan,
    hide: Hide,
    machine: Machine | None = None,
    *,
    formats: Sequence[str] = (),
    marked: Mapping[int, Sequence[tuple[float, float]]] | None = None,
    paper: str | None = None,
) -> Cut:
    """What a plan is cut from: programs for a machine, full-size pages for a pair of hands.

    Parameters
    ----------
    hide : the hide that the plan was made for; the plan is checked again on it.
    formats : of the files ("dxf-r12", "dxf-r2000", "svg", "hpgl", "gcode"); the first that the
        machine takes unless given.
    marked : for set-ups whose hide came to lie otherwise, the places (x, y) in mm of their
        registration marks as the machine counts; then only these are made.
    paper : "a4" or "letter", for templates and a placing sheet.

    Raises
    ------
    InputError : a plan that is not checked or does not pass on ``hide``, or that can't be cut
        so; leather that must not go on a laser; marks that do not fit.
    """
    from nest import cutting

    return cutting.cut(plan, hide, machine, formats=formats, marked=dict(marked or {}), paper=paper)


def coupon(machine: Machine, kind: str, *, formats: Sequence[str] = ()) -> Coupon:
    """A test piece that tells a machine's "kerf" or its blade's "offset", in mm.

    Raises
    ------
    InputError : the machine has no such thing.
    """
    from nest import cutting

    return cutting.coupon(machine, kind, formats=formats)


def measured(kind: str, sizes: Sequence[float]) -> float:
    """The kerf or the offset in mm, from the sizes in mm measured on a coupon.

    >>> round(measured("kerf", [100.4, 96.0]), 3)
    0.4

    Raises
    ------
    InputError : not as many sizes as it takes, or such as leave nothing.
    """
    from nest import cutting

    return cutting.measured(kind, sizes)


# ---------------------------------------------------------------- leather


def remarks(hide: Hide) -> tuple[str, ...]:
    """What looks odd in a hide record that is sound, a sentence each."""
    from hides import remarks as odd

    return odd.remarks(hide)


def gauge(
    hide: Hide,
    need: str | None = None,
    *,
    may_split: bool = False,
    sure: float = 0.9,
    count: int = 5,
    reach: float = 1e9,
) -> Gauging:
    """Where leather surely is as thick as asked, and where to gauge next.

    Parameters
    ----------
    need : a thickness in mm, oz or iron, such as "3.2-3.5 mm"; only places to gauge without.
    may_split : thicker leather counts too.
    sure : the chance from 0.5 to 1 that is asked for.
    count : number of places, most 50.
    reach : mm from the edge that the gauge's arm reaches.

    Raises
    ------
    InputError : no thickness, a value out of bounds, or no place within reach.
    """
    from nest.report import gaugesheet

    return gaugesheet.asked(
        hide, need, may_split=may_split, confidence=sure, count=count, reach=reach
    )


def capture(
    photos: Sequence[Path],
    *,
    name: str,
    tannage: str = "",
    stamp: str | None = None,
    price: Sequence[str] | None = None,
    guide: Path | None = None,
    legend: Path | None = None,
    readings: Path | None = None,
    ruler: float | None = None,
    raised: float = 0.0,
    side: str = "left",
    mirror: bool = False,
    backbone: Sequence[tuple[float, float]] | None = None,
    keep: Path | None = None,
) -> Captured:
    """Understand photos of a side with scale sheets around it; what is doubtful is said.

    Parameters
    ----------
    stamp : the seller's area with its unit, such as "22³ ft2".
    price : amount, currency and "ft2", "dm2" or "piece".
    guide : CSV of some thirty points around the edge, in pixels of the first photo.
    legend : TOML that says what colours of chalk stand for.
    readings : CSV of gauge readings in mm, by place or by sticker.
    ruler : length in mm of the printed ruler as measured.
    raised : by how many mm the leather's face lies above the sheets.
    side : of the animal, "left" or "right".
    mirror : the photos show the flesh side.
    backbone : pixels of the first photo near both ends of the backbone edge, the tail's first.
    keep : an earlier record of the same hide: all in it stays that the photos don't tell, and what
        they tell takes the place of the old.

    Raises
    ------
    InputError : a photo, a file, or what they show can't be used at all, or what stays of the
        earlier record lies off the edge.
    """
    from hides.capture import pipeline
    from hides.capture.marks import USUAL_LEGEND, read_legend
    from hides.label import HideLabel

    asked = pipeline.Asked(
        guide=guide,
        readings=readings,
        legend=read_legend(legend) if legend else USUAL_LEGEND,
        ruler=ruler,
        raised=raised,
        side=side,
        mirror=mirror,
        backbone=backbone,
        keep=keep,
    )
    return pipeline.capture(photos, HideLabel.of(name, tannage, stamp, price), asked)


def measure(
    outline: Path,
    *,
    name: str,
    tannage: str = "",
    stamp: str | None = None,
    price: Sequence[str] | None = None,
    readings: Path | None = None,
    unit: str | None = None,
    turn: str | None = None,
    backbone: Sequence[tuple[float, float]] | None = None,
    flaws: Path | None = None,
    keep: Path | None = None,
) -> Recorded:
    """Make a hide of offsets along the backbone, of points round the edge, or of a drawing.

    Parameters
    ----------
    stamp, price : as for :func:`capture`.
    readings : CSV of gauge readings in mm, by place.
    unit : "mm", "cm", "m" or "in", where the outline's file doesn't say it.
    turn : "left" or "right", the side of the animal, to turn its backbone to y = 0.
    backbone : places in mm of the outline's file near both ends of that edge, the tail's first.
    flaws : CSV of flaws by place.
    keep : an earlier record of the same hide: flaws, readings and all else in it stay, but for
        what is new.

    Raises
    ------
    InputError : a file can't be used, or no side looks so.
    """
    from hides import amend, measured
    from hides.label import HideLabel
    from nest.report.recorded import Recorded

    label = HideLabel.of(name, tannage, stamp, price)
    made = measured.side(outline, label, unit=unit, readings=readings, turn=turn, backbone=backbone)
    hide, said = made
    if keep is not None:
        amended = amend.renewed(keep, hide, flaws=flaws)
    elif flaws is not None:
        amended = amend.with_flaws(hide, flaws)
    else:
        return Recorded(hide, said)
    return Recorded(amended.hide, (*said, *amended.said), amended.text)


def add_to_hide(
    path: Path,
    *,
    readings: Path | None = None,
    flaws: Path | None = None,
    confirm: Sequence[int] = (),
) -> Recorded:
    """Add readings and flaws to a hide's record, or confirm odd readings; all else in it stays.

    Parameters
    ----------
    readings, flaws : CSV, places in mm of the hide's frame.
    confirm : numbers of readings, from 1, that were looked at again and are right.

    Raises
    ------
    InputError : the record or a table can't be used, or there is no such reading.
    """
    from hides import amend
    from nest.report.recorded import Recorded

    made = amend.add(Path(path), readings=readings, flaws=flaws, confirm=confirm)
    return Recorded(made.hide, made.said, made.text)


def flaw_kinds() -> list[list[str]]:
    """All kinds of flaw: which faces of a part each bars, the mm kept clear of it, what it is."""
    from hides.flaws import FACES, FLAW_KINDS

    head = ["kind", "bars", "clear", "what it is"]
    return [head] + [
        [kind.name, ", ".join(f for f in FACES if f in kind.bars), f"{kind.margin:g} mm", kind.says]
        for kind in FLAW_KINDS.values()
    ]


def remnants(
    plan: Plan, hide: Hide, *, name: str | None = None, offcuts: float | None = None
) -> tuple[Recorded, ...]:
    """What a plan leaves of its hide, each piece as a hide of its own with all that is known of it.

    They are there once the plan is cut and the hide is cut along the frontier. Each has its
    share of the price by area.

    Parameters
    ----------
    name : of the piece, numbered where there are several; the hide's and "rest" unless given.
    offcuts : also the clean pieces beside the parts that are so many mm wide at every place; the
        plan's page names those of 60 mm.

    >>> week = read_week("shared/weeks/week-4.week.toml")
    >>> (planned,) = plan(week, effort=0.01)
    >>> (rest,) = remnants(planned.plan, planned.hide)
    >>> rest.hide.name, rest.hide.parent
    ('Birch rest', 'Birch')

    Raises
    ------
    InputError : the plan places no part, leaves no piece of a dm², or was made for another hide.
    """
    from nest.report import recorded

    return recorded.remnants(plan, hide, name, offcuts)


def scale_sheets(paper: str = "a4") -> ScaleSheets:
    """The scale sheets and stickers to print for photos of hides, on "a4" or "letter".

    Raises
    ------
    InputError : no such paper.
    """
    from nest.report import scalesheet

    return scalesheet.scale_sheets(paper)


# ---------------------------------------------------------------- showing


def facts(answer: Answer) -> dict[str, str]:
    """The figures of an answer in words with their units, by label.

    >>> facts(read_hide("shared/hides/birch.hide.json"))["readings"]
    '36'
    """
    found: dict[str, str] = _shown(answer).facts(answer)
    return found


def picture(answer: Answer) -> Sheet:
    """The page of an answer, in mm at its true size; a notebook shows it."""
    page: Sheet = _shown(answer).picture(answer)
    return page


def files(answer: Answer, name: str, **how: object) -> dict[str, bytes]:
    """All files of an answer in memory, by name; every cut file was read back and judged.

    ``how`` is ``paper`` ("a4" or "letter") for the pattern of a sheath, ``anyway`` for a
    captured hide that is doubtful, ``folder`` for a plan: where it will be saved, so that it can
    tell where its hide's record lies from there.

    Raises
    ------
    InputError : a machine can't be told so, or a file did not read back right.
    """
    made: dict[str, bytes] = _shown(answer).files(answer, name, **how)
    return made


def endings(kind: str) -> tuple[str, ...]:
    """What :func:`files` puts behind the name, by the answer's class: "Planned", "Sheath", ..."""
    from nest.answers import module_of

    found: tuple[str, ...] = module_of(kind).ENDINGS
    return found


def earlier(
    folder: Path | str,
    name: str,
    answers: Sequence[Planned | Cut] = (),
    written: Collection[str] = (),
) -> tuple[str, ...]:
    """Names of files in a folder that an earlier plan or cut of that name left, and that do not
    belong beside the answers: :func:`save` takes them, and sets them aside.

    Parameters
    ----------
    answers : the plans of a week, or a cut; without any, all such files are named.
    written : names of the files that will be written.
    """
    from nest.report.earlier import left_in

    return left_in(Path(folder), name, answers, written)


def _shown(answer: Answer) -> Any:
    """The module that shows it."""
    from nest.answers import module_of

    return module_of(type(answer).__name__)
