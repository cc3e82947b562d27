"""The lines of a file against the strokes of its program.

Lines are matched by where they lie, not by their number. If none fit as they are, the mistakes
that files are known for are tried (scale, shift, mirror); one that explains everything is the
only fault. Otherwise each line that has no stroke, and each stroke without a line, is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from scipy.spatial import cKDTree

from hides.outline import FloatArray
from nest.cutter.machine import TURNED
from nest.cutter.program import Program
from nest.cutter.readback.found import Fault, FaultCode, Line, bent, line_of
from nest.cutter.stroke import SWIVEL, Stroke

# Factors that are a story: told wrong -> what happened. From issues of drawing programs; the
# dpi are those of CSS (96), of old drawing programs (90 and 72), 1016 and 1000 units an inch.
STORIES = {
    25.4: "millimetres were taken for inches",
    1 / 25.4: "inches were written as millimetres",
    25.4 / 96: "pixels were taken for millimetres",
    96 / 25.4: "millimetres were taken for pixels",
    96 / 90: "90 and 96 dots an inch were mixed up",
    90 / 96: "90 and 96 dots an inch were mixed up",
    96 / 72: "72 and 96 dots an inch were mixed up",
    72 / 96: "72 and 96 dots an inch were mixed up",
    1000 / 1016: "1000 units an inch were written for 40 units a mm",
}
SAME_LINE = 30.0  # mm; a line farther from a stroke than this is not the same one gone


@dataclass(frozen=True, slots=True)
class Allowance:
    """How far a line may be ``off`` its stroke, mm, and how much ``longer`` or shorter it may be
    beyond twice that, as a share of its length: rounding makes many short steps longer.
    """

    off: float
    longer: float = 2e-4


@dataclass(frozen=True, eq=False, slots=True)
class _Side:
    """Lines of one side with what they are compared by: boxes (n, 4), lengths (n,), shapes."""

    lines: tuple[Line, ...]
    boxes: FloatArray
    lengths: FloatArray
    shapes: list[shapely.LineString]


def wanted_lines(program: Program, again: bool, layered: bool) -> tuple[tuple[int, Line], ...]:
    """What a file should hold: for each line the index of its stroke; its part is its ``where``.

    ``again``: a stroke is there as often as it is gone over. ``layered``: marks come first, then
    holes, then cuts.
    """
    strokes: Sequence[tuple[int, Stroke]] = list(enumerate(program.strokes))
    if layered:
        strokes = sorted(strokes, key=lambda pair: ("mark", "hole", "cut").index(pair[1].work))
    split = program.machine.tool in TURNED
    return tuple(
        (k, line)
        for k, stroke in strokes
        for _ in range(stroke.passes if again else 1)
        for line in _wanted(stroke, split)
    )


def _wanted(stroke: Stroke, split: bool) -> Iterator[Line]:
    """A stroke's line; or the pieces of one whose knife is lifted where it turns."""
    points = [complex(*stroke.points[0])]
    whole = True
    for first, last, bulge, height in stroke.moves():
        if split and height == SWIVEL:
            whole = False
            if len(points) > 1:
                yield line_of(points, False, stroke.work, stroke.part)
            points = [complex(*last)]
        else:
            points += bent(complex(*first), complex(*last), bulge)
    if len(points) > 1:
        yield line_of(points, stroke.closed and whole, stroke.work, stroke.part)


def compared(
    wanted: tuple[Line, ...], found: tuple[Line, ...], allowed: Allowance
) -> Iterator[Fault]:
    """All that differs between two sequences of lines by more than is allowed."""
    if not found:
        if wanted:
            yield Fault("missing", "nothing is drawn in the file.", by=len(wanted))
        return
    if not wanted:
        yield Fault("extra", "the program draws nothing, and the file does.", by=len(found))
        return
    want, have = _side(wanted), _side(found)
    pairs = _matched(want, have, allowed)
    if len(pairs) < len(wanted) / 2:
        story = _story(want, have, allowed)
        if story is not None:
            yield story
            return
    for i, k in sorted(pairs.items()):
        yield from _details(wanted[i], found[k], allowed)
    yield from _disorder(wanted, found, pairs)
    yield from _rest(want, have, pairs, allowed)


def _side(lines: Sequence[Line]) -> _Side:
    shapes = [shapely.LineString(line.run) for line in lines]
    boxes = np.array([shape.bounds for shape in shapes])
    return _Side(tuple(lines), boxes, shapely.length(shapes), shapes)


def _matched(want: _Side, have: _Side, allowed: Allowance) -> dict[int, int]:
    """Index of a stroke -> index of the first line that lies on it and has no stroke yet."""
    near = cKDTree(have.boxes).query_ball_point(want.boxes, 2 * allowed.off, p=np.inf)
    free = np.ones(len(have.lines), dtype=bool)
    pairs: dict[int, int] = {}
    for i, candidates in enumerate(near):
        for k in sorted(candidates):  # type: ignore[call-overload]
            if free[k] and _same(want, i, have, k, allowed):
                pairs[i], free[k] = k, False
                break
    return pairs


def _same(want: _Side, i: int, have: _Side, k: int, allowed: Allowance) -> bool:
    """Lies on it: no point of either is farther from the other than allowed (Hausdorff)."""
    if abs(want.lengths[i] - have.lengths[k]) > 2 * allowed.off + allowed.longer * want.lengths[i]:
        return False
    return bool(shapely.hausdorff_distance(want.shapes[i], have.shapes[k]) <= allowed.off)


def _details(want: Line, have: Line, allowed: Allowance) -> Iterator[Fault]:
    """What may differ between two lines that lie on each other."""
    part = want.where
    joined = have.closed and np.hypot(*(want.run[0] - want.run[-1])) <= allowed.off
    if want.closed != have.closed and not joined:  # HPGL and G-code know no other closed lines
        code: FaultCode = "open" if want.closed else "closed"
        yield Fault(code, f"{have.where} is {code} and should not be.", part=part)
        return
    if (have.work and want.work not in have.work.split("|")) or not have.work:
        says = f"{have.where} is told as {have.work or 'nothing known'}, and is a {want.work}."
        yield Fault("layer", says, part=part)
    ends = zip((want.run[0], want.run[-1]), (have.run[0], have.run[-1]), strict=True)
    off = max(float(np.hypot(*(a - b))) for a, b in ends)
    turned = want.closed and _area(want) * _area(have) < 0
    if off > 2 * allowed.off or turned:
        how = "runs backwards" if turned else f"starts or ends {off:.2f} mm from where it should"
        yield Fault("way", f"{have.where} {how}.", part=part, by=off)


def _area(line: Line) -> float:
    x, y = line.points.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _disorder(
    wanted: Sequence[Line], found: Sequence[Line], pairs: dict[int, int]
) -> Iterator[Fault]:
    ranks = [(i, pairs[i]) for i in sorted(pairs)]
    late = [(i, k) for (_, before), (i, k) in pairwise(ranks) if k < before]
    if late:
        i, k = late[0]
        says = f"{found[k].where} is drawn too early; {len(late)} lines are out of order."
        yield Fault("order", says, part=wanted[i].where, by=len(late))


def _rest(want: _Side, have: _Side, pairs: dict[int, int], allowed: Allowance) -> Iterator[Fault]:
    """Lines and strokes that found no partner."""
    lost = [i for i in range(len(want.lines)) if i not in pairs]
    taken = set(pairs.values())
    over = [k for k in range(len(have.lines)) if k not in taken]
    for i in lost:
        k = _nearest(want, i, have, over)
        if k is None:
            line = want.lines[i]
            at, part = "({:.1f}, {:.1f})".format(*line.points.mean(axis=0)), line.where
            says = f"a {line.work} of {part or 'the set-up'} around {at} is missing."
            yield Fault("missing", says, part=part)
        else:
            over.remove(k)
            yield _gone_wrong(want, i, have, k)
    twice = _matched(_side([have.lines[k] for k in over]), want, allowed) if over else {}
    for n, k in enumerate(over):
        where = have.lines[k].where
        if n in twice:
            part = want.lines[twice[n]].where
            yield Fault("duplicate", f"{where} is drawn once more.", part=part)
        else:
            yield Fault("extra", f"{where} is in no stroke of the program.")


def _nearest(want: _Side, i: int, have: _Side, among: Sequence[int]) -> int | None:
    """The line whose box is most like the stroke's, if it can be the same one gone wrong."""
    if not among:
        return None
    off = np.abs(have.boxes[among] - want.boxes[i]).max(axis=1)
    best = int(off.argmin())
    limit = min(SAME_LINE, max(2.0, float(want.lengths[i])))
    return among[best] if off[best] < limit else None


def _gone_wrong(want: _Side, i: int, have: _Side, k: int) -> Fault:
    one, other = want.lines[i], have.lines[k]
    part = one.where
    if one.closed and not other.closed:
        gap = float(np.hypot(*(other.points[0] - other.points[-1])))
        return Fault("open", f"{other.where} is open by {gap:.2f} mm.", part=part, by=gap)
    sides = have.boxes[k] - want.boxes[i]
    if np.ptp(sides[[0, 2]]) < 1e-2 and np.ptp(sides[[1, 3]]) < 1e-2:
        by = float(np.hypot(sides[0], sides[1]))
        if by > 1e-2:
            return Fault("shifted", f"{other.where} lies {by:.3f} mm off.", part=part, by=by)
    far = float(shapely.hausdorff_distance(want.shapes[i], have.shapes[k]))
    longer = float(have.lengths[k] - want.lengths[i])
    says = f"{other.where} leaves its stroke by {far:.3f} mm and is {longer:+.3f} mm longer."
    return Fault("shape", says, part=part, by=far)


def _story(want: _Side, have: _Side, allowed: Allowance) -> Fault | None:
    """The one mistake that explains all lines, if there is one."""
    low, high = want.boxes[:, :2].min(0), want.boxes[:, 2:].max(0)
    first, last = have.boxes[:, :2].min(0), have.boxes[:, 2:].max(0)
    sizes = np.maximum(high - low, 1e-9)
    scales = (last - first) / sizes
    scale = float(scales[sizes.argmax()])
    unsure = 1e-3 + 4 * allowed.off / float(sizes.min())  # a small drawing's scale is rounded
    if scale > 0 and np.ptp(scales) <= unsure and abs(scale - 1) >= 1e-3:
        finer = replace(allowed, off=allowed.off * max(1.0, 2 / scale))
        if _explains(want, have, scale, first - scale * low, finer):
            names = (says for factor, says in STORIES.items() if abs(scale / factor - 1) < 2e-3)
            says = f"everything is {scale:.4f} times as large: {next(names, 'a wrong scale')}."
            return Fault("scale", says, by=scale)
    shift = first - low
    if _explains(want, have, 1.0, shift, allowed):
        by = float(np.hypot(*shift))
        says = f"everything is shifted by ({shift[0]:.3f}, {shift[1]:.3f}) mm."
        return Fault("shifted", says, by=by)
    for name, turned in (("x", [True, False]), ("y", [False, True])):
        back = np.where(turned, first + high, shift)
        if _explains(want, have, np.where(turned, -1.0, 1.0), back, allowed):
            return Fault("mirrored", f"everything is mirrored in {name}.")
    return None


def _explains(
    want: _Side, have: _Side, factor: float | FloatArray, shift: FloatArray, allowed: Allowance
) -> bool:
    """Whether nearly all lines fit once they are moved back by ``shift`` mm and unscaled."""
    lines = [replace(line, points=(line.points - shift) / factor) for line in have.lines]
    pairs = _matched(want, _side(lines), replace(allowed, off=2 * allowed.off))
    return len(pairs) >= 0.9 * len(want.lines)
