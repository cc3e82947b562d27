"""The set-up sheet: where the hide lies on the bed, one page for each time it is laid down.

The bed is drawn as you stand before it, with what this set-up cuts in colour and the rest of
the hide pale. Beside it stand the registration marks, by which the hide is laid and its place is
measured, what the file holds, and the cautions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import box

from hides.hide import Hide
from nest.cutter.formats import notes
from nest.cutter.program import Program
from nest.cutter.reckoning import reckoned
from nest.cutter.setups import Setup, places
from nest.draw.labels import Labels
from nest.draw.leather import EDGE_WORD, scale_bar
from nest.draw.palette import (
    ALARM,
    BACKBONE,
    FADED,
    GONE,
    HIDE_EDGE,
    HIDE_FILL,
    INK,
    PAPER,
    PART_EDGE,
)
from nest.draw.parts import label_part
from nest.draw.rows import Row, cells, gap, head, note, pair, stack
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.words import Type
from nest.plans import Plan
from nest.report.names import gone_of, shown_of
from nest.report.page import ISO_A, MARGIN, Page, caution

SIDEBAR = 74.0  # mm, width of the column at the right
BED_AROUND = 0.06  # of the bed's length, shown round it: leather that hangs over
MARK_COLUMNS = (10.0, 16.0, 16.0, 16.0, 16.0)  # mm, of the table of marks

BED = Style(edge=INK, width=0.6)
LATER = replace(PART_EDGE, edge=FADED, width=0.15)
CROSS = Style(edge=ALARM, width=0.3)
MARK_NAME = Type(8.0, ALARM, bold=True, halo=PAPER)
ORIGIN = Type(6.4, INK, bold=True, halo=PAPER)
TAPE = (
    "Put these marks on the hide with a tape: “along” the backbone from the tail root, “across” "
    "square to it, mm. Lay them where the last two columns say, as the machine counts."
)
DRAWN = (
    "An earlier set-up drew these marks (along and across say where). Lay them where the last two "
    "columns say, as the machine counts."
)
ASKEW = (
    "If they come to lie otherwise, read their places off the machine and make the file anew: "
    "--marked {number} {places}, of {names} in this order."
)
FOUND = "This file is made for the marks as they were found: they fit {fits}."
LINE = Type(6.6)
TITLES = Type(6.0, INK, bold=True)


def setup_pages(
    plan: Plan,
    hide: Hide,
    setups: Sequence[Setup],
    programs: Sequence[Program],
    formats: Sequence[str],
) -> list[Sheet]:
    """One landscape page of A4 for each set-up, whose files are of these formats."""
    pairs = zip(setups, programs, strict=True)
    return [_page(plan, hide, setup, program, formats) for setup, program in pairs]


def time_text(seconds: float) -> str:
    """A time in words, to ten seconds where it takes minutes: "3 min 40 s"."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds >= 600:
        return f"{seconds / 60:.0f} min"
    minutes, rest = divmod(10 * round(seconds / 10), 60)
    return f"{minutes:.0f} min {rest:.0f} s" if rest else f"{minutes:.0f} min"


def _page(plan: Plan, hide: Hide, setup: Setup, program: Program, formats: Sequence[str]) -> Sheet:
    machine = program.machine
    title = f"{plan.name}: set-up {program.number} of {program.count} on {machine.name}"
    below = f"hide “{plan.hide_name}”, grain side up    ·    bed {machine.bed[0]:g} × "
    below += f"{machine.bed[1]:g} mm"
    page = Page(ISO_A["A4"], title, below, plan=plan, sidebar=SIDEBAR, gutter=6.0)
    pen = page.view(page.frame(MARGIN + 12.0, left=0.0), _world(machine.bed), cut=True)
    _draw_bed(pen, plan, hide, setup, program)
    stack(page, scale_bar(pen.scale, 60.0), MARGIN, MARGIN + 8.0)
    stack(page, _rows(plan, setup, program, formats), page.side, page.top)
    return page


def _world(bed: tuple[float, float]) -> Box:
    around = BED_AROUND * max(bed)
    return -around, -around, bed[0] + around, bed[1] + around


def _draw_bed(pen: Pen, plan: Plan, hide: Hide, setup: Setup, program: Program) -> None:
    bed = box(0.0, 0.0, *program.machine.bed)
    lies = shapely.transform(hide.polygon, setup.to_bed.on)
    pen.shade(lies, HIDE_FILL, layer=1.0, name="hide")
    pen.shade(lies, HIDE_EDGE, layer=5.0)
    if hide.backbone is not None:
        pen.line(setup.to_bed.on(np.asarray(hide.backbone)), BACKBONE, layer=5.0)
    pen.shade(bed, BED, layer=5.5, name="bed")
    front = (program.machine.bed[0] / 2, 0.0)
    pen.sheet.text(pen.at([front])[0] - (0.0, 5.0), "front edge", EDGE_WORD, anchor="centre")
    labels = Labels(pen)
    _draw_marks(pen, setup, labels)
    labels.obstacles.append(pen.on_page(bed.boundary))
    _draw_parts(pen, plan, setup, labels)
    _draw_origin(pen, program)


def _draw_parts(pen: Pen, plan: Plan, setup: Setup, labels: Labels) -> None:
    """What is cut now in colour and named, what is cut already as gone, the rest a pale line."""
    parts = shown_of(plan)
    shapes = [shapely.transform(one.shape, setup.to_bed.on) for one in parts]
    for one in gone_of(plan):
        pen.shade(shapely.transform(one.shape, setup.to_bed.on), GONE, layer=2.0)
    covered = pen.on_page(shapely.union_all(shapes))
    for one, shape in zip(parts, shapes, strict=True):
        name, fill = one.placement.id, one.fill
        if name not in setup.parts:
            pen.shade(shape, LATER, layer=2.0)
            continue
        pen.shade(shape, replace(PART_EDGE, fill=fill), layer=3.0, name=name)
        angle = one.placement.angle + setup.to_bed.angle
        label_part(pen.on_page(shape), one.label, angle, labels, fill=fill, avoid=covered)


def _draw_marks(pen: Pen, setup: Setup, labels: Labels) -> None:
    for mark in (*setup.marks, *setup.draws):
        place = setup.to_bed.on([(mark.x, mark.y)])[0]
        reach = 2.5 / pen.scale
        for arm in (np.array([reach, 0.0]), np.array([0.0, reach])):
            pen.line([place - arm, place + arm], CROSS, layer=6.0)
        pen.dots([place], 2.6, CROSS, layer=6.0, name=f"mark:{mark.name}")
        labels.near(pen, place, mark.name, MARK_NAME, on_it=False, steps=3)


def _draw_origin(pen: Pen, program: Program) -> None:
    """Arrows along the axes as the machine counts them, from where it counts."""
    machine = program.machine
    ends = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]) * (0.12 * max(machine.bed))
    counted = machine.counted(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    # counting is a rigid motion of the bed: turned round, it says where (0, 0), x and y lie
    turn = counted[1:] - counted[0]
    places = (ends - counted[0]) @ np.linalg.inv(turn)
    page = pen.at(places)
    along = (page[1:] - page[0]) / np.hypot(*(page[1:] - page[0]).T)[:, None]
    aside = np.array([along.sum(axis=0), along[1], along[0]])  # towards the bed: words keep off it
    for end in places[1:]:
        pen.arrow(places[0], end, Style(edge=INK, width=0.4), head=2.2)
    for place, way, name in zip(page, aside, ("0", "x", "y"), strict=True):
        pen.sheet.text(place - 2.2 * way, name, ORIGIN, anchor="middle")


# --- the words -------------------------------------------------------------------------------


def _rows(plan: Plan, setup: Setup, program: Program, formats: Sequence[str]) -> list[Row]:
    told = dict.fromkeys(said for form in formats for said in notes(program, form))
    return [
        *_laying_rows(setup, program),
        gap(2.0),
        *_program_rows(plan, setup, program, formats),
        gap(2.0),
        head("Mind", SIDEBAR),
        *[
            row
            for said in (*plan.warnings, *program.cautions, *told)
            for row in (*caution(said, SIDEBAR), gap(0.6))
        ],
    ]


def _laying_rows(setup: Setup, program: Program) -> list[Row]:
    titles = ("mark", "along", "across", "bed x", "bed y")
    rows = [head("Lay the hide", SIDEBAR), cells(titles, MARK_COLUMNS, TITLES, right=range(1, 5))]
    counted = program.machine.counted(setup.to_bed.on(places(setup.marks)))
    for mark, place in zip(setup.marks, counted, strict=True):
        numbers = [f"{value:.1f}" for value in (mark.x, mark.y, *place)]
        rows.append(cells((mark.name, *numbers), MARK_COLUMNS, LINE, right=range(1, 5)))
    rows += [
        gap(0.8),
        *note(DRAWN if setup.number > 1 and program.machine.can_mark else TAPE, SIDEBAR),
        gap(0.6),
    ]
    each = {
        "places": " ".join("X,Y" for _ in setup.marks),
        "names": ", ".join(mark.name for mark in setup.marks),
    }
    if setup.off:
        rows += [*note(FOUND.format(fits=setup.fits), SIDEBAR), gap(0.6)]
    rows += note(ASKEW.format(number=setup.number, **each), SIDEBAR)
    if setup.draws and program.machine.can_mark:
        names = ", ".join(mark.name for mark in setup.draws)
        rows += [gap(0.6), *note(f"{names}: the file draws them, for a later set-up.", SIDEBAR)]
    return rows


def _program_rows(plan: Plan, setup: Setup, program: Program, formats: Sequence[str]) -> list[Row]:
    rows = [head("The file", SIDEBAR)]
    rows.append(pair("Parts", f"{len(setup.parts)}", SIDEBAR))
    for form in formats:
        ways = reckoned(program, form)
        rows.append(pair(f"Strokes, {form}", f"{ways.strokes}", SIDEBAR))
        rows.append(
            pair("Cut, travel", f"{ways.cut / 1000:.2f} m, {ways.travel / 1000:.2f} m", SIDEBAR)
        )
        rows.append(pair("About", time_text(ways.seconds), SIDEBAR))
    rows += note("by the profile's speeds and acceleration", SIDEBAR)
    labels = {one.placement.id: one.label for one in shown_of(plan)}
    names = [labels[one] for one in setup.parts]
    return [*rows, gap(0.8), *note(f"In colour: {', '.join(names)}", SIDEBAR)]
