"""Laying a drawn outline out straight and to size, and telling the knife's parts by its shape.

What the maker names is taken; what they leave out is guessed where the shape tells, and the
guess is said in words. Where the shape doesn't tell, the maker is asked. Refused is what a
fold-over sheath can't hold: a blade with two edges (the fold would be cut) and a guard
that stands out on both sides (it would lie across the fold).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Point, Polygon

from hides.keys import number, one_of
from hides.outline import FloatArray, Outline, turned
from hides.trace import Silhouette
from nest.errors import KnifeError
from nest.knife.choices import Choices
from nest.knife.edge import BESIDE, Flank, chosen_side, guessed_side, straighter_side
from nest.knife.guard import guard_of
from nest.knife.model import Knife, Profile, profile_of
from nest.part import XY

STATIONS = 801  # at which back and edge are looked at, from end to end
SURE = ("length", "guard")  # figures that are held against the drawing
LENGTHS = (40.0, 600.0)  # mm; below it is a blade for a craft knife, above it is a sword

# Shares are of the knife's length unless said otherwise; all are judgement, tried on drawings.
STOUT = 0.55  # wider than this, it is no knife
OFF = 0.03  # tip and butt may be picked this far off the outline
LUG = (3.0, 0.012)  # mm, share: a guard stands out so far beyond handle and blade
SYMMETRIC = 0.9  # of its area: a shape that covers so much of its mirror image is symmetric
RESCALED = 0.005  # by which a length may rescale a drawing that states its size
FORK = 0.07  # of the area between back and edge: more empty ground in it makes it a fork
TWIN = 0.05  # sides that differ by less (mean difference over mean width) are two edges
NEAR_END = np.array([0.0, 0.01, 0.02, 0.03, 0.15])  # where the ends are looked at


def knife_from(
    drawing: Silhouette | ArrayLike,
    *,
    name: str = "Knife",
    length: float | None = None,
    tip: XY | None = None,
    butt: XY | None = None,
    edge: XY | None = None,
    guard: float | None = None,
    blade_thickness: float | None = None,
    tip_thickness: float | None = None,
    handle_thickness: object = None,
    handle_round: float = 1.0,
    edges: int | None = None,
    edge_straight: bool = False,
    sure_of: Sequence[str] = (),
    choices: Choices | None = None,
    source: Path | None = None,
) -> Knife:
    """Lay a drawn outline out straight and to size.

    Parameters
    ----------
    drawing : a :class:`~hides.trace.Silhouette`, or (n, 2) points with y up.
    length : mm from tip to butt; may be left out where the drawing has a real size.
    tip, butt, edge : points in the drawing file's own units and axes.
    tip, butt : come together; without them the knife is laid along its own long axis.
    guard : mm from the butt to the guard's face towards the blade, or to the handle's end;
        without it the place where the width steps.
    handle_thickness : mm, or [[mm from the butt, mm], ...].
    edges : 1 or 2; say 1 for a single-edged blade that looks double-edged.
    edge : any point beside the cutting edge. Without it the side for which all signs of the
        shape speak, if they do (:func:`nest.knife.edge.guessed_side`).
    sure_of : those of SURE that stand though the drawing shows another figure.
    edge_straight : of old files. Without ``edge``, the edge is the side that bulges less.

    Raises
    ------
    KnifeError : it is no knife, what is left out can't be told from the shape, or a fold-over
        sheath can't hold it (double-edged, double guard).
    """
    if not isinstance(drawing, Silhouette):
        drawing = Silhouette(Outline.of(drawing))
    if edges is not None:
        one_of(edges, "edges", (1, 2))
    one_of(edge_straight, "edge_straight", (True, False))
    for key in sure_of if isinstance(sure_of, list | tuple) else [sure_of]:
        one_of(key, "sure_of", SURE)
    lie = _named_lie(drawing, tip, butt) if tip or butt else _own_lie(drawing)
    _refuse_stout(lie, drawing)
    scale, scale_said = _scale(drawing, lie, length, sure="length" in sure_of)
    points = lie.laid(drawing.outline.points) * scale
    side = profile_of(points, np.linspace(points[:, 0].min(), points[:, 0].max(), STATIONS))
    _refuse_fork(side, Polygon(points).area)
    told_guard = guard
    guard, guard_said = guard_of(side, told_guard, sure="guard" in sure_of)
    flanks = tuple(_flank(drawing, lie, scale, side, guard, way) for way in (1.0, -1.0))
    _refuse_double_edge(side, guard, edges, flanks)
    _refuse_double_guard(side, guard)
    chosen = None if edge is None else lie.laid(drawing.here(edge)[None])[0] * scale
    told = _edge_told(points, side, guard, chosen, edge_straight, flanks)
    if told.below:
        points = points * (1.0, -1.0)
    blade, handle, thick_said = _thicknesses(blade_thickness, handle_thickness, guard)
    if tip_thickness is not None and tip_thickness > blade:
        raise KnifeError(
            f"tip_thickness must be at most the blade's {blade:g} mm, got {tip_thickness:g}.",
            place="key 'tip_thickness'",
        )
    assumed = {
        "edge": bool(told.guess),
        "guard": told_guard is None,
        "blade_thickness": blade_thickness is None,
        "handle_thickness": handle_thickness is None,
    }
    return Knife(
        name=name,
        outline=Outline.of(points - (0.0, points[:, 1].min())),
        guard=guard,
        blade_thickness=blade,
        tip_thickness=blade if tip_thickness is None else tip_thickness,
        handle_thickness=handle,
        handle_round=handle_round,
        choices=choices or Choices(),
        source=source,
        guesses=(
            *drawing.warnings,
            *(s for s in (lie.said, scale_said, guard_said, told.guess, thick_said) if s),
        ),
        assumed=tuple(key for key, is_so in assumed.items() if is_so),
        remarks=(told.remark,) if told.remark else (),
        edge_side=told.said,
    )


# ---------------------------------------------------------------- axis and scale


@dataclass(frozen=True, slots=True)
class _Axis:
    """How the knife lies in its drawing: its butt, the direction to its tip, their distance."""

    butt: FloatArray
    angle: float
    span: float
    said: str = ""

    def laid(self, points: FloatArray) -> FloatArray:
        """Turn (n, 2) points so that the butt is at (0, 0) and the tip on the x axis."""
        return turned(points - self.butt, -self.angle)

    def drawn(self, points: FloatArray) -> FloatArray:
        """Turn (n, 2) points back as the knife lies in its drawing, y up."""
        return turned(points, self.angle) + self.butt


def _named_lie(drawing: Silhouette, tip: XY | None, butt: XY | None) -> _Axis:
    if tip is None or butt is None:
        missing = "tip" if tip is None else "butt"
        raise KnifeError(
            "tip and butt come together.", mend="Give both or neither.", place=f"key '{missing}'"
        )
    a, b = drawing.here(butt), drawing.here(tip)
    span = float(np.hypot(*(b - a)))
    if span == 0:
        raise KnifeError("tip and butt are the same point.", place="key 'tip'")
    shape = drawing.outline.polygon
    for key, spot, given in (("tip", b, tip), ("butt", a, butt)):
        off = shape.exterior.distance(Point(spot))
        if off > OFF * span:
            low, high = drawing.here(np.reshape(shape.bounds, (2, 2)))
            raise KnifeError(
                f"{key} = [{given[0]:g}, {given[1]:g}] lies {off:.4g} units off the outline, which "
                f"spans x {low[0]:.4g} to {high[0]:.4g}, y {min(low[1], high[1]):.4g} to "
                f"{max(low[1], high[1]):.4g}.",
                mend="Give the point in the drawing's own units and axes.",
                place=f"key '{key}'",
            )
    lie = _Axis(a, math.degrees(math.atan2(*(b - a)[::-1])), span)
    x = lie.laid(drawing.outline.points)[:, 0]
    if x.min() < -2 * OFF * span or x.max() > (1 + 2 * OFF) * span:
        raise KnifeError(
            f"tip and butt are {span:.4g} units apart, and the outline goes on "
            f"{max(-x.min(), x.max() - span):.4g} units beyond them.",
            mend="Give the two ends of the knife.",
            place="key 'tip'",
        )
    return lie


def _own_lie(drawing: Silhouette) -> _Axis:
    """Lie along the outline's own long axis, its more pointed end forward."""
    angle = _axis(drawing.outline)
    points = turned(drawing.outline.points, -angle)
    start, end = points[:, 0].min(), points[:, 0].max()
    side = profile_of(points, start + (end - start) * np.r_[NEAR_END, 1 - NEAR_END[::-1]])
    ends = turned(np.c_[side.u, (side.back + side.edge) / 2][[0, -1]], angle)
    if _bluntness(side.height[::-1]) > _bluntness(side.height):
        angle, ends = angle + 180, ends[::-1]  # the blunter end is the butt
    butt, tip = ends[0], drawing.here(ends[1])
    said = (
        "Laid along its own long axis, the more pointed end, at "
        f"[{tip[0]:.4g}, {tip[1]:.4g}] in the drawing, taken for the tip (keys tip and butt)."
    )
    return _Axis(butt, angle, float(end - start), said)


def _axis(outline: Outline) -> float:
    """Direction of the long axis, degrees.

    A shape that is its own mirror image has its axis of symmetry; any other is laid in the
    narrowest rectangle, which follows a straight back.
    """
    shape = outline.polygon
    middle = np.array(shape.centroid.coords[0])
    angle = _principal(outline.points - middle)
    straight = turned(outline.points - middle, -angle)
    twin = Polygon(straight).buffer(0).intersection(Polygon(straight * (1.0, -1.0)).buffer(0))
    if twin.area > SYMMETRIC * shape.area:
        return angle
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    sides = np.diff(box[:3], axis=0)
    along = sides[np.argmax(np.hypot(*sides.T))]
    return math.degrees(math.atan2(along[1], along[0]))


def _principal(points: FloatArray) -> float:
    """Direction of the principal axis of the area in a ring (n, 2) about (0, 0), degrees.

    The second moments of area as sums over the sides (Green's theorem).
    """
    (x, y), (X, Y) = points.T, np.roll(points, -1, axis=0).T  # noqa: N806
    cross = x * Y - X * y
    xx = float((cross * (x * x + x * X + X * X)).sum()) / 12
    yy = float((cross * (y * y + y * Y + Y * Y)).sum()) / 12
    xy = float((cross * (2 * x * y + x * Y + X * y + 2 * X * Y)).sum()) / 24
    return math.degrees(math.atan2(2 * xy, xx - yy)) / 2


def _bluntness(width: FloatArray) -> float:
    """Width close to an end over the width further in, by NEAR_END; 0 for a needle."""
    return float(width[1:4].mean() / width[4])


def _refuse_stout(lie: _Axis, drawing: Silhouette) -> None:
    x, y = np.ptp(lie.laid(drawing.outline.points), axis=0)
    if y > STOUT * x:
        raise KnifeError(
            f"the outline is {y / x:.2f} times as wide as it is long; a knife is a slender thing.",
            mend="Leave one knife alone in the drawing.",
            place="key 'outline'",
        )


def _scale(
    drawing: Silhouette, lie: _Axis, length: float | None, *, sure: bool
) -> tuple[float, str]:
    """Mm per unit of the drawing."""
    if length is not None:
        scale = number(length, "length", *LENGTHS, " mm") / lie.span
        if drawing.unit is None:
            one = f"One unit of the drawing, which states none, is taken for {scale:.4g} mm, by "
            return scale, one + "length."
        more = scale / drawing.unit - 1
        if abs(more) > RESCALED and not sure:
            whence = "along its own long axis" if lie.said else "from tip to butt"
            raise KnifeError(
                f"length = {length:g} mm, and by the drawing's own units the knife is "
                f"{lie.span * drawing.unit:.1f} mm {whence}: all would be drawn {abs(more):.1%} "
                f"{'larger' if more > 0 else 'smaller'}.",
                mend="Correct length, or leave it out to take the drawing's size; if length is "
                'right and the drawing is not to scale, add sure_of = ["length"].',
                place="key 'length'",
            )
        return scale, ""
    if drawing.unit is None:
        raise KnifeError(
            "the drawing has no real size, so the knife's length is needed.",
            mend="Give length = mm from tip to butt.",
            place="key 'length'",
        )
    span = lie.span * drawing.unit
    if not LENGTHS[0] <= span <= LENGTHS[1]:
        raise KnifeError(
            f"by the drawing's units the knife is {span:.4g} mm long; "
            f"{LENGTHS[0]:g} to {LENGTHS[1]:g} mm make sense.",
            mend="Give length = mm from tip to butt.",
            place="key 'length'",
        )
    return drawing.unit, f"Length {span:.1f} mm, by the drawing's own units (key length)."


# ---------------------------------------------------------------- edge


@dataclass(frozen=True, slots=True)
class _Edge:
    """Whether the edge faces -v as the points lie, and what is said of it."""

    below: bool
    said: str
    guess: str = ""
    remark: str = ""


def _edge_told(
    points: FloatArray,
    side: Profile,
    guard: float,
    chosen: FloatArray | None,
    straight: bool,
    flanks: tuple[Flank, ...],
) -> _Edge:
    """Take the edge that is named, or ask the shape; ``flanks`` are the upper and the lower."""

    def named(below: bool, by: str, **words: str) -> _Edge:
        return _Edge(below, f"the {flanks[below].name} of the drawing, {by}", **words)

    if chosen is not None:
        spare = "edge_straight does nothing beside edge, which says it all: leave it out."
        below = chosen_side(points, side, guard, chosen)
        return named(below, "as edge says", remark=spare if straight else "")
    if straight and (straighter := straighter_side(side, guard)) is not None:
        old = f"edge_straight is an old key: say {flanks[straighter].key} instead."
        return named(straighter, "the straighter one, as edge_straight says", remark=old)
    below, guess = guessed_side(side, guard, flanks)
    return named(below, "guessed", guess=guess)


def _flank(
    drawing: Silhouette, lie: _Axis, scale: float, side: Profile, guard: float, way: float
) -> Flank:
    """The side of the blade that faces ``way`` (1 or -1) times v, as it is seen in the drawing."""
    middle = side.at(np.array([(guard + float(side.u[-1])) / 2]))
    off = BESIDE * float(middle.height[0])
    v = middle.edge[0] + off if way > 0 else middle.back[0] - off
    spot = drawing.here(lie.drawn(np.array([[middle.u[0], v]]) / scale))[0]
    digits = max(0, 3 - math.floor(math.log10(lie.span)))  # a thousandth of the knife
    x, y = (f"{value + 0.0:.{digits}f}" for value in np.round(spot, digits))
    across = turned(np.array([[0.0, way]]), lie.angle)[0]
    names = ("left", "right") if abs(across[0]) > abs(across[1]) else ("lower", "upper")
    return Flank(f"{names[int(across.sum() > 0)]} side", f"[{x}, {y}]")


# ---------------------------------------------------------------- what can't be held


def _refuse_fork(side: Profile, area: float) -> None:
    empty = 1 - area / float(np.trapezoid(side.height, side.u))
    if empty > FORK:
        raise KnifeError(
            f"the outline is forked: {empty:.0%} of the ground between its back and its edge is "
            "empty.",
            mend="Draw the knife closed, as it goes into the sheath.",
            place="key 'outline'",
        )


def _refuse_double_edge(
    whole: Profile, guard: float, edges: int | None, flanks: tuple[Flank, ...]
) -> None:
    size = float(whole.u[-1])
    side = whole.at(np.linspace(guard + 0.08 * (size - guard), 0.99 * size, 201))
    middle, tip = (side.back[0] + side.edge[0]) / 2, (whole.back[-1] + whole.edge[-1]) / 2
    line = np.linspace(middle, tip, 201)
    alike = float(np.abs((side.edge - line) - (line - side.back)).mean() / side.height.mean())
    if edges == 2 or (edges is None and alike < TWIN):
        raise KnifeError(
            "the blade is double-edged, and a fold-over sheath can't hold it: the second edge "
            "would lie against the fold and cut it."
            if edges == 2
            else "the blade is the same on both sides, like a double-edged one; a fold-over sheath "
            "can't hold two edges: the second would lie against the fold and cut it.",
            mend="If only one side is ground, say edges = 1, and "
            f"{' or '.join(f'{flank.key} (the {flank.name})' for flank in flanks)}.",
            place="key 'edges'" if edges == 2 else "key 'outline'",
        )


def _refuse_double_guard(side: Profile, guard: float) -> None:
    size = float(side.u[-1])
    lugs = [_lug(out, (side.u - guard) / size) for out in (side.edge, -side.back)]
    if min(lugs) > max(LUG[0], LUG[1] * size):
        raise KnifeError(
            f"the knife has a double guard, {lugs[0]:.1f} mm on one side and {lugs[1]:.1f} mm on "
            "the other; a fold-over sheath can't hold it: one part would lie across the fold.",
            mend="Such a knife wants a sheath of two panels.",
            place="key 'outline'",
        )


def _lug(out: FloatArray, beyond: FloatArray) -> float:
    """How far one side at the guard stands out beyond handle and blade, mm.

    ``beyond`` (n,) says how far beyond the guard the side is ``out``, as shares of the length.
    """
    handle = out[(beyond > -0.2) & (beyond < -0.07)]
    blade = out[(beyond > 0.05) & (beyond < 0.15)]
    lug = out[(beyond > -0.07) & (beyond < 0.05)]
    return float(lug.max() - max(np.median(handle), np.median(blade)))


def _thicknesses(
    blade: float | None, handle: object, guard: float
) -> tuple[float, tuple[XY, ...], str]:
    said = []
    if blade is None:
        blade = 3.5
        said.append(f"blade {blade:g} mm (key blade_thickness)")
    blade = number(blade, "blade_thickness", 0.5, 12.0, " mm")
    if handle is None:
        handle = max(18.0, blade)
        said.append(f"handle {handle:g} mm (key handle_thickness)")
    stations = _stations(handle, guard)
    thinnest = min(mm for _, mm in stations)
    if thinnest < blade:
        raise KnifeError(
            f"handle_thickness must be at least the blade's {blade:g} mm, got {thinnest:g}.",
            place="key 'handle_thickness'",
        )
    return blade, stations, f"Thickness taken for granted: {', '.join(said)}." if said else ""


def _stations(handle: object, guard: float) -> tuple[XY, ...]:
    key = "handle_thickness"
    if not isinstance(handle, list | tuple):
        return ((0.0, number(handle, key, 2.0, 60.0, " mm")),)
    stations = []
    for row in handle:
        u, mm = pair(row, key)
        stations.append((number(u, key, 0.0, guard, " mm"), number(mm, key, 2.0, 60.0, " mm")))
    if not stations or any(b[0] <= a[0] for a, b in pairwise(stations)):
        raise KnifeError(
            "handle_thickness must be mm, or [[mm from the butt, mm], ...] from butt to guard.",
            place=f"key '{key}'",
        )
    return tuple(stations)


def pair(value: object, key: str) -> tuple[object, object]:
    """Two values of a list, not yet checked."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise KnifeError(f"{key} must be a pair of numbers, got {value!r}.", place=f"key '{key}'")
    return value[0], value[1]
