"""What the tool would leave, worked out from the lines of a file, against the pattern.

The lines of a file agree with the program's strokes when this is asked. Here the tool itself
goes along them: a beam that takes half its kerf from either side, or a blade that trails behind
its pivot. A blade of offset d that stands at an angle e to a straight way closes it as
tan(e/2)·exp(-s/d) over the way s (the tractrix; derived, no published source). No formula that
made the strokes is used.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise

import numpy as np
import shapely

from hides.outline import FloatArray
from nest.cutter.contour import Contour
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.readback.found import Fault, Line, bent, pairs

BEAM = 0.05  # mm, how far a cut piece may be off its pattern
BLADE = 0.15  # mm, the same for a blade that trails, which rounds corners
MARK = 0.1  # mm, how far a mark or cross that such a blade draws may be off, to either side
MEAN = 0.02  # mm, on the whole way round: half the kerf must lie beside the line
NARROW_BAY = 5.0  # half kerfs; a beam can't come nearer to the point of a narrow bay
SPACING = 0.5  # mm, between the points of a contour that are looked at
FOLLOW_STEP = 0.2  # of the offset; a blade that still turns is followed in such steps
UNKNOWN = -1.4  # radian; where a blade may point before it is aligned: nearly against its way
STRAIGHT_ON = 1e-3  # radian; a blade that is nearer to its way goes straight


def leaves(program: Program, lines: Sequence[Sequence[Line]]) -> Iterator[Fault]:
    """Judge what is left; ``lines`` are those of each stroke, in the program's order.

    The k-th stroke is judged by the k-th contour of the pattern. Strokes that belong to no part
    (the one that aligns a blade in scrap) are only kept out of the parts.
    """
    machine = program.machine
    if len(program.pattern) != len(lines):
        says = f"{len(lines)} strokes stand beside {len(program.pattern)} contours of the pattern."
        yield Fault("fit", says)
        return
    tips = _tips(program, lines)
    for contour, tip in zip(program.pattern, tips, strict=True):
        yield from _fits(contour, tip, machine)
    yield from _spared(program.pattern, tips, machine)
    yield from _at_home(program.pattern, tips, machine)


def trailed(pivot: FloatArray, offset: float, heading: float) -> tuple[FloatArray, float]:
    """Where the tip of a blade goes whose pivot goes along (n, 2) points, and its last heading.

    ``heading`` in radians points from tip to pivot.
    """
    points = [complex(*point) for point in pivot]
    tips = [points[0] - cmath.rect(offset, heading)]
    for first, last in pairwise(points):
        way = last - first
        if way == 0:
            continue
        along = math.atan2(way.imag, way.real)
        lag = math.remainder(heading - along, 2 * math.pi)
        count = 1 if abs(lag) < STRAIGHT_ON else math.ceil(abs(way) / (FOLLOW_STEP * offset))
        count = min(count, 200)  # by then it has settled
        for k in range(1, count + 1):
            gone = k / count
            left = 2 * math.atan(math.tan(lag / 2) * math.exp(-gone * abs(way) / offset))
            heading = along + left
            tips.append(first + gone * way - cmath.rect(offset, heading))
    return pairs(tips), heading


def _tips(program: Program, lines: Sequence[Sequence[Line]]) -> list[shapely.Geometry]:
    """The way of the beam, the pen or the blade's tip in the leather for each stroke.

    A stroke that aligns a blade must cope with any heading that it had before.
    """
    heading = 0.0
    found: list[shapely.Geometry] = []
    for stroke, pieces in zip(program.strokes, lines, strict=True):
        ways: list[FloatArray] = []
        heading = UNKNOWN if stroke.what == "align" else heading
        for piece in pieces:
            if _trails(program.machine, stroke.work):
                more, heading = _through(piece, program.machine.offset, heading)
                ways += more
            else:
                ways.append(piece.run)
        found.append(shapely.multilinestrings([shapely.LineString(way) for way in ways]))
    return found


def _trails(machine: Machine, work: str) -> bool:
    """Whether a stroke's work is done by a blade that trails behind its pivot."""
    return machine.tool == "drag" and (work != "mark" or machine.marker == "blade")


def _through(piece: Line, offset: float, heading: float) -> tuple[list[FloatArray], float]:
    """The ways of a blade's tip through the leather along one line; above it, it does not turn."""
    run, ways = piece.run, []
    lowered = piece.lowered or (True,) * (len(run) - 1)
    for down, segments in groupby(range(len(lowered)), lambda k: lowered[k]):
        if down:
            first, *more = segments
            way, heading = trailed(run[first : first + len(more) + 2], offset, heading)
            ways.append(way)
    return ways, heading


def _fits(contour: Contour, tip: shapely.Geometry, machine: Machine) -> Iterator[Fault]:
    """Every point of the contour has the tool's way beside it, half a kerf off.

    What a blade marks, in a part or for a later set-up, also has all of its way on the line: it
    runs in and on through no waste.
    """
    if not contour.part and contour.what != "registration":
        return
    if shapely.is_empty(tip):
        says = f"along the {contour.what or contour.work} the blade stays above the leather."
        yield Fault("fit", says, part=contour.part)
        return
    if contour.work == "mark" and _trails(machine, "mark"):
        by = float(shapely.hausdorff_distance(tip, shapely.LineString(_run(contour)), 0.1))
        if by > MARK:
            says = f"the {contour.what or contour.work} would be drawn {by:.3f} mm off."
            yield Fault("fit", says, part=contour.part, by=by)
        return
    beside = contour.closed and contour.work != "mark"
    half = machine.kerf / 2 if beside else 0.0
    allowed = BLADE if machine.tool == "drag" else BEAM
    run = _run(contour)
    points = shapely.get_coordinates(shapely.segmentize(shapely.LineString(run), SPACING))
    off = _distances(tip, points)
    most = half * NARROW_BAY if half else 0.0
    worst = float(max(half - off.min(), off.max() - max(most, half)))
    mean = abs(float(off.mean()) - half)
    if worst > allowed or (mean > MEAN and half):
        says = f"the {contour.what or contour.work} would be {max(worst, mean):.3f} mm off."
        yield Fault("fit", says, part=contour.part, by=max(worst, mean))
    elif half and _inward(run, tip) != contour.inside:
        says = f"the {contour.what or contour.work} is cut on the wrong side of its line."
        yield Fault("fit", says, part=contour.part, by=machine.kerf)


def _distances(tip: shapely.Geometry, points: FloatArray) -> FloatArray:
    """How far each of (n, 2) points is from a way, (n,) mm."""
    ways = [shapely.get_coordinates(way) for way in shapely.get_parts(tip)]
    legs = np.concatenate([np.stack([way[:-1], way[1:]], axis=1) for way in ways])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(legs), dtype=object))
    found = tree.query_nearest(shapely.points(points), all_matches=False, return_distance=True)
    return np.asarray(found[1], dtype=np.float64)


def _inward(run: FloatArray, tip: shapely.Geometry) -> bool:
    """Whether a way runs inside of a closed contour."""
    way = shapely.get_coordinates(tip)
    return bool(shapely.contains_xy(shapely.Polygon(run), way[:, 0], way[:, 1]).mean() > 0.5)


def _run(contour: Contour) -> FloatArray:
    corners = [complex(*point) for point in contour.points]
    if contour.closed:
        corners.append(corners[0])
    bulges = contour.bulges if contour.bulges is not None else np.zeros(len(contour.points))
    points = corners[:1]
    for first, last, bulge in zip(corners, corners[1:], bulges.tolist(), strict=False):
        points += bent(first, last, bulge)
    return pairs(points)


def _spared(
    pattern: Sequence[Contour], tips: Sequence[shapely.Geometry], machine: Machine
) -> Iterator[Fault]:
    """No outline is cut through a part: its own, or a neighbour's."""
    allowed = BLADE if machine.tool == "drag" else BEAM
    outlines = _outlines(pattern)
    parts = [shapely.Polygon(_run(c)).buffer(-allowed) for c in outlines]
    tree = shapely.STRtree(parts)
    for contour, tip in zip(pattern, tips, strict=True):
        if contour.work != "cut":
            continue
        for i in tree.query(tip, predicate="intersects").tolist():
            by = float(shapely.intersection(parts[i], tip).length)
            if by > allowed:
                says = f"the cut of '{contour.part or contour.what}' goes {by:.2f} mm through it."
                yield Fault("fit", says, part=outlines[i].part, by=by)


def _at_home(
    pattern: Sequence[Contour], tips: Sequence[shapely.Geometry], machine: Machine
) -> Iterator[Fault]:
    """What is marked or holed on a part stays on it; what belongs to none, as a registration
    mark, stays off all."""
    allowed = BLADE if machine.tool == "drag" else BEAM
    parts = {c.part: shapely.Polygon(_run(c)).buffer(allowed) for c in _outlines(pattern)}
    everywhere = shapely.union_all(list(parts.values()))
    for contour, tip in zip(pattern, tips, strict=True):
        if contour.work == "cut":
            continue
        if contour.part:
            astray = shapely.difference(tip, parts.get(contour.part, shapely.Polygon()))
        else:
            astray = shapely.intersection(tip, everywhere)
        if not astray.is_empty:
            name, by = contour.what or contour.work, float(astray.length)
            where = "outside of its part" if contour.part else "across a part"
            says = f"the {name} is drawn {where} for {by:.2f} mm."
            yield Fault("astray", says, part=contour.part, by=by)


def _outlines(pattern: Sequence[Contour]) -> list[Contour]:
    """The outlines of parts."""
    return [c for c in pattern if c.closed and c.work == "cut" and not c.inside and c.part]
