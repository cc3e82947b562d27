"""Program: all that one set-up of one machine cuts, in the order it is cut.

:func:`build` goes the whole road from a plan: contours, set-ups, kerf, order, strokes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from nest.cutter.blade import SETTLED, aligning, strokes
from nest.cutter.caution import Depth, cautions_of, fit_for, thin_enough
from nest.cutter.contour import WORKS, Contour, Label, contours, cross, labels
from nest.cutter.kerf import compensated
from nest.cutter.machine import Machine
from nest.cutter.route import arrange
from nest.cutter.setups import CROSS, Setup, places, split
from nest.cutter.stroke import Stroke, along
from nest.errors import CutError
from nest.plans import TOLERANCE, Plan, digest_of, labels_of, leather_left, placed_outline

__all__ = ["Program", "Stroke", "build", "handed", "of_contours"]

CLEAR = 2.0  # mm that the stroke which aligns a blade stays off parts and the leather's edge
TRIED_APART = 5.0  # mm between the places tried for that stroke
REGISTRATION = "registration"  # what a mark is by which a later set-up is laid
LETTER = (40.0, 60.0)  # mm, the F that shows mirroring

ONE_IN_TWENTY = 1.645  # deviations above the mean, of a normal law

Point = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Program:
    """What one set-up cuts. All coordinates in mm on the bed: origin lower left, y up.

    How the machine counts its axes (corner of its origin, swapped or mirrored axes) is the
    writers' affair: it is in ``machine`` and not yet in the coordinates.

    Attributes
    ----------
    name : the plan's name.
    machine : the profile it is made for.
    number, count : which set-up of how many, from 1.
    strokes : in the order they are cut.
    pattern : what the cut should leave, contour by contour on the bed, kerf and blade left out;
        the k-th contour is drawn by the k-th stroke. What belongs to no part (registration
        marks, the stroke that aligns a blade) has part "".
    extents : (min x, min y, max x, max y) of the strokes, arcs included.
    start : where the tool stands before the first stroke, and comes back to after the last.
    digest : the plan's, as in its file.
    cautions : sentences to show where somebody acts.
    labels : the parts' names on the bed, for a layer that is not cut.
    """

    name: str
    machine: Machine
    number: int
    count: int
    strokes: tuple[Stroke, ...]
    pattern: tuple[Contour, ...]
    extents: tuple[float, float, float, float]
    start: Point
    digest: str
    cautions: tuple[str, ...]
    labels: tuple[Label, ...] = ()


def build(
    plan: Plan,
    machine: Machine,
    *,
    hide: Hide | None = None,
    setups: Sequence[Setup] | None = None,
) -> tuple[Program, ...]:
    """Make the programs that cut a plan, one for each set-up.

    Parameters
    ----------
    hide : the plan's hide, where its record is at hand: says what may be cut by laser and where
        there is leather for registration marks.
    setups : those of :func:`nest.cutter.setups.split` unless given, as after a correction.

    Raises
    ------
    CutError : leather that must not go on this machine or is too thick for it, a part that the
        bed has no room for, a curve or hole that the tool can't cut, or a hand, which needs no
        program.
    """
    if machine.tool == "hand":
        raise CutError("a hand needs no file.", mend="Print the templates with --paper.")
    if hide is not None:
        fit_for(machine, hide.tannage)
    leather = None if hide is None else leather_left(plan, hide)
    laid = split(plan, machine, leather) if setups is None else tuple(setups)
    pattern = contours(plan, machine)
    depth = _depth(plan, hide)
    cautions = (
        *cautions_of(machine, depth.most),
        *thin_enough(machine, depth),
        *_unmarked(laid, machine),
    )
    digest = digest_of(plan)
    names = labels(plan) if machine.labels else {}
    # where a stroke harms no part, of any set-up
    bed = shapely.box(0.0, 0.0, *machine.bed)
    parts = shapely.union_all([placed_outline(plan, p).polygon for p in plan.placements])
    found = []
    for setup in laid:
        mine, others = _on_bed(pattern, setup, machine)
        free = bed.difference(shapely.transform(parts, setup.to_bed.on))
        if leather is not None:
            free = free.intersection(shapely.transform(leather, setup.to_bed.on))
        program = _program(mine, others, machine, free=free)
        _inside_bed(program)
        found.append(
            replace(
                program,
                name=plan.name,
                number=setup.number,
                count=len(laid),
                digest=digest,
                cautions=(*cautions, *setup.cautions),
                labels=tuple(_named(names[part], setup) for part in setup.parts if part in names),
            )
        )
    return tuple(found)


def of_contours(given: Sequence[Contour], machine: Machine, *, name: str) -> Program:
    """A program for contours that are already on the bed, such as a coupon.

    Kerf, blade and order are left alone: the tool's middle goes along the lines.

    Raises
    ------
    CutError : it leaves the bed.
    """
    # of no part: what a tool leaves of an uncompensated line is not what the line shows
    pattern = tuple(replace(contour, part="") for contour in given)
    passes = {"mark": 1}
    drawn = tuple(along(contour, passes.get(contour.work, machine.passes)) for contour in given)
    program = _finished(drawn, pattern, machine)
    _inside_bed(program)
    return replace(program, name=name, cautions=cautions_of(machine))


def handed(machine: Machine) -> Program:
    """An F of 40 × 60 mm in the lower left corner of the bed: mirrored output is seen at once.

    The foot of its stem points to the front edge and its arms to the right, seen from above.
    """
    width, height = LETTER
    low = np.array([20.0, 20.0])
    head = low + np.array([[0.0, 0.0], [0.0, height], [width, height]])
    arm = low + np.array([[0.0, 0.55 * height], [0.7 * width, 0.55 * height]])
    work = "cut" if machine.is_knife else "mark"
    letter = [Contour(line, False, work, "test", what="letter") for line in (head, arm)]
    return of_contours(letter, machine, name="test mark")


def home_of(machine: Machine) -> Point:
    """Where the machine counts from, mm on the bed: the tool starts and ends there."""
    width, height = machine.bed
    if machine.origin == "centre":
        return width / 2, height / 2
    return width if "right" in machine.origin else 0.0, height if "upper" in machine.origin else 0.0


# --- the road --------------------------------------------------------------------------------


def _on_bed(
    pattern: Sequence[Contour], setup: Setup, machine: Machine
) -> tuple[list[Contour], list[Contour]]:
    """This set-up's contours and marks on its bed, and the outlines of all other parts there."""
    laid = [replace(c, points=setup.to_bed.on(c.points)) for c in pattern]
    mine = [c for c in laid if c.part in setup.parts]
    others = [c for c in laid if c.part not in setup.parts and c.work == "cut"]
    marks = [
        Contour(arm, False, "mark", "", what=REGISTRATION)
        for at in setup.to_bed.on(places(setup.draws if machine.can_mark else ()))
        for arm in cross(at, CROSS)
    ]
    return [*marks, *mine], others


def _depth(plan: Plan, hide: Hide | None) -> Depth:
    """How thick the leather is along the parts' outlines."""
    labels = {wanted.id: label for label, wanted in labels_of(plan).items()}
    rims = [(labels[p.id], placed_outline(plan, p).points) for p in plan.placements]
    owners = np.repeat([name for name, _ in rims], [len(points) for _, points in rims])
    points = np.concatenate([points for _, points in rims])
    mean = deviation = np.full(len(points), np.nan)
    if hide is not None and hide.thickness.known:
        mean, deviation = hide.thickness.field(points)
    known = np.isfinite(mean)
    if not known.any():
        asked = [w.need for w in plan.expected]
        return Depth(None, max(n.high for n in asked), min(n.low for n in asked))
    mean, deviation, owners = mean[known], deviation[known], owners[known]
    thickest = int(np.argmax(mean))
    most = float((mean + ONE_IN_TWENTY * deviation).max())
    return Depth(float(mean[thickest]), most, float(mean.min()), str(owners[thickest]))


def _unmarked(laid: Sequence[Setup], machine: Machine) -> tuple[str, ...]:
    """What to do where a later set-up is laid by marks, and the machine draws none."""
    names = [mark.name for setup in laid for mark in setup.draws]
    if not names or machine.can_mark:
        return ()
    return (
        f'{machine.name} marks nothing (marker = "none"): put {", ".join(names)} on the hide with '
        "a tape before the first cut, as later set-ups are laid by them.",
    )


def _named(label: Label, setup: Setup) -> Label:
    x, y = setup.to_bed.on([(label.x, label.y)])[0].tolist()
    return replace(label, x=x, y=y, angle=label.angle + setup.to_bed.angle)


def _program(
    mine: Sequence[Contour],
    others: Sequence[Contour],
    machine: Machine,
    *,
    free: BaseGeometry,
) -> Program:
    """Kerf, order and strokes of the contours of one bed; lead-ins stay off ``others``.

    Each of the :func:`_runs` of a trailing blade begins with the stroke that aligns it, since
    software that goes layer by layer, or stops to change the tool, leaves it as it happens to be.
    """
    paths, here = compensated(mine, machine.kerf), home_of(machine)
    crosses = [c.points.mean(axis=0) for c in mine if c.what == REGISTRATION]
    free = free.difference(shapely.MultiPoint(crosses).buffer(CROSS))
    drawn: list[Stroke] = []
    pattern: list[Contour] = []
    for work, sweeps in _runs(mine, machine):
        ordered: list[Contour] = []
        if machine.leads(work):
            lead = _aligned(machine, free, work)
            free = free.difference(shapely.LineString(lead.points).envelope)
            drawn.append(lead)
            pattern.append(Contour(lead.points, False, work, "", what=lead.what))
        for sweep in sweeps:
            route = arrange([paths[k] for k in sweep], machine, here)
            ordered += route.contours
            pattern += [mine[sweep[k]] for k in route.places]
            here = ordered[-1].end
        # The others come after all else, so that lead-ins see them, and are not drawn.
        drawn += strokes([*ordered, *others], machine)[: len(ordered)]
    return _finished(tuple(drawn), tuple(pattern), machine)


def _runs(mine: Sequence[Contour], machine: Machine) -> list[tuple[str, list[list[int]]]]:
    """Contours, by index, that are put in order together, and the work that a run of them is.

    Registration marks come first of all, while the hide lies as it was laid. A knife marks all,
    then cuts all holes, then all outlines: its tool is changed once, nothing is loose yet where
    it marks, and files whose layers are cut one by one are in the order of the strokes.
    """
    first = [k for k, c in enumerate(mine) if c.what == REGISTRATION]
    rest = [k for k in range(len(mine)) if mine[k].what != REGISTRATION]
    if not machine.is_knife:
        return [("mark", [sweep for sweep in (first, rest) if sweep])]
    runs = [(work, [[k for k in rest if mine[k].work == work]]) for work in WORKS]
    runs[0][1].insert(0, first)
    found = [(work, [sweep for sweep in sweeps if sweep]) for work, sweeps in runs]
    return [(work, sweeps) for work, sweeps in found if sweeps]


def _finished(drawn: tuple[Stroke, ...], pattern: tuple[Contour, ...], machine: Machine) -> Program:
    return Program(
        name="",
        machine=machine,
        number=1,
        count=1,
        strokes=drawn,
        pattern=pattern,
        extents=_extents(drawn),
        start=home_of(machine),
        digest="",
        cautions=(),
    )


def _extents(drawn: Sequence[Stroke]) -> tuple[float, float, float, float]:
    points = np.concatenate([stroke.flat(0.001) for stroke in drawn])
    low, high = points.min(axis=0), points.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _inside_bed(program: Program) -> None:
    """Refuse what leaves the bed; the first part that does is named."""
    width, height = program.machine.bed
    for stroke in program.strokes:
        x0, y0, x1, y1 = _extents([stroke])
        if min(x0, y0) < -TOLERANCE or x1 > width + TOLERANCE or y1 > height + TOLERANCE:
            raise CutError(
                f"{stroke.what or stroke.work} of '{stroke.part or 'no part'}' leaves the bed of "
                f"{width:g} × {height:g} mm: it takes x {x0:.1f} to {x1:.1f}, "
                f"y {y0:.1f} to {y1:.1f}.",
                mend="Lay the hide nearer to its place by the marks, or use a larger bed.",
            )


def _aligned(machine: Machine, free: BaseGeometry, work: str) -> Stroke:
    """The stroke in scrap, nearest to where the tool starts, that gives a blade its heading."""
    size = SETTLED * machine.offset
    room = free.buffer(-CLEAR)
    x, y = (np.arange(TRIED_APART, side - size, TRIED_APART) for side in machine.bed)
    corners = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    away = np.hypot(*(corners - home_of(machine)).T)
    shapely.prepare(room)
    for corner in corners[np.argsort(away, kind="stable")]:
        if room.contains(shapely.box(*corner, *(corner + size))):
            return aligning(corner, machine, work=work)
    raise CutError(
        f"there is no scrap of {size:g} × {size:g} mm on the bed for the blade to turn in first.",
        mend="Plan with a larger gap, or lay the hide so that some waste is in reach.",
    )
