"""The judge: whether a plan may be cut, from the plan and the hide record alone.

:func:`check` derives everything anew and returns what is wrong, each finding with its code,
the part and a size; an empty tuple is a valid plan. It raises nothing and repairs nothing.
It uses shapely and the record's own data, and shares no geometry with the search: what the
search takes for allowed ground is never looked at here.

Codes come in families: ``file`` (the wrong record), ``count`` (parts missing or too many),
``shape`` (what the file draws is not the part), ``place`` (parts among themselves and the
hide's edge) and ``ground`` (flaws, thickness, direction). All lengths are forgiven
:data:`nest.plans.TOLERANCE`, which the plan file states; shapes are held to
:data:`SHAPE_TOLERANCE`, directions to :data:`ANGLE_TOLERANCE`.

How much two shapes overlap is told as the least way they must be moved apart, from below:
around a point p of both lie discs inside each, of radius r and s, and discs that are to be
disjoint must move by r + s. The largest such sum over many points p is what is reported; for
an edge or a corner pushed into a straight side it is the depth itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, STRtree
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from hides.flaws import FLAW_KINDS, bars
from hides.hide import Hide
from hides.outline import FloatArray, polygons_of
from hides.thickness import chance_outside
from nest.job import Wanted
from nest.part import Part
from nest.plans import TOLERANCE, Placement, Plan, Verdict

VERSION = 3  # of the rules below; a plan's verdict names it
SHAPE_TOLERANCE = 0.001  # mm; a drawn outline against its definition: rounding, nothing else
ANGLE_TOLERANCE = 0.05  # degrees; far below what a hand can lay
RISK_TOLERANCE = 1e-6  # a probability; rounding of the risk in the file
LATTICE = 2.5  # mm; spacing at which thickness is looked at: a quarter of a narrow welt's width


class Code(StrEnum):
    """What can be wrong with a plan, in families."""

    HIDE = "file.hide"  # made for another record than this
    MISSING = "count.missing"  # a wanted part that isn't there
    TWICE = "count.twice"  # a part that is there more than once
    UNKNOWN = "count.unknown"  # a part nobody wanted
    LEFT_OUT = "count.left_out"  # a part of a kit the plan claims to leave out
    MIRRORED = "shape.mirrored"  # drawn turned over
    SCALED = "shape.scaled"  # drawn larger or smaller
    MOVED = "shape.moved"  # drawn elsewhere than its angle and origin say
    CHANGED = "shape.changed"  # drawn as something else
    UNCOVERED = "shape.uncovered"  # regions that don't cover their part, so it escapes judgement
    OVERLAP = "place.overlap"  # two parts share leather
    GAP = "place.gap"  # two parts nearer than the gap
    CUT = "place.cut"  # on, or nearer than the gap to, leather that is gone: a part cut already
    BED = "place.bed"  # across the border of two windows of a cutter's bed
    EDGE = "place.edge"  # over the hide's edge or a hole, or nearer than the margin
    FLAW = "ground.flaw"  # on, or nearer than the margin to, a flaw that bars the face
    THICKNESS = "ground.thickness"  # where the leather is too likely too thin or too thick
    WINDOW = "ground.window"  # turned too far off the line of least stretch


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong with a plan.

    ``part`` is a part's id ("" for the plan as a whole), ``other`` the other part or the flaw,
    ``by`` how much the rule is broken in ``unit`` ("mm", "deg", "mm2", or "" for a count or a
    probability), ``says`` the same as a sentence.
    """

    code: Code
    part: str
    other: str
    by: float
    unit: str
    says: str


@dataclass(frozen=True, slots=True)
class _Piece:
    """A placement with its shapes in the hide's frame; ``drawn`` is what will be cut."""

    placement: Placement
    wanted: Wanted | None
    drawn: Polygon
    placed: Polygon | None
    regions: tuple[tuple[str, Polygon], ...]

    @property
    def id(self) -> str:
        return self.placement.id


def check(plan: Plan, hide: Hide) -> tuple[Finding, ...]:
    """Return everything that is wrong with a plan on a hide; nothing for a valid plan."""
    pieces, gone = _pieces(plan)
    shapes = [piece.drawn for piece in pieces]
    ids = [piece.id for piece in pieces]
    return (
        *_record(plan, hide),
        *_counts(plan),
        *_covers(plan),
        *_outlines([*pieces, *gone]),
        *clearances(shapes, plan.gap, hide.polygon, margin=plan.edge_margin, names=ids),
        *_gone(pieces, gone, plan, hide),
        *_across_borders(pieces, plan),
        *_flaws(pieces, hide),
        *_thickness(pieces, hide),
        *_windows(pieces, hide),
    )


def verdict(findings: Sequence[Finding]) -> Verdict:
    """Return the record of a check that a plan file carries."""
    return Verdict(not findings, len(findings), TOLERANCE, VERSION)


def clearances(
    polygons: Sequence[Polygon],
    gap: float,
    container: Polygon | MultiPolygon | None = None,
    *,
    margin: float = 0.0,
    names: Sequence[str] | None = None,
) -> tuple[Finding, ...]:
    """Return which polygons lie too near to each other or to the container's edge.

    Parameters
    ----------
    polygons : valid shapes in mm.
    gap : mm, least distance between two of them; at 0 they may touch.
    container : what they must lie in, None for anywhere.
    margin : mm, least distance to the container's edge and its holes.
    names : what findings call the polygons, their index by default.
    """
    names = [str(i) for i in range(len(polygons))] if names is None else names
    found = list(_too_near(polygons, gap, names))
    if container is not None:
        found += _over_the_edge(polygons, container, margin, names)
    return tuple(found)


# --- shapes ----------------------------------------------------------------------------------


def _pieces(plan: Plan) -> tuple[list[_Piece], list[_Piece]]:
    """The parts to be cut, which are judged, and those cut already, whose leather is gone."""
    by_id = plan.by_id
    pieces: list[_Piece] = []
    gone: list[_Piece] = []
    for index, placement in enumerate(plan.lying):
        wanted = by_id.get(placement.id)
        placed = _laid(wanted.part.outline.polygon, placement) if wanted else None
        drawn = plan.drawn[index].polygon if plan.drawn else placed
        if drawn is None:
            continue  # unknown and without a shape: there is its count finding, no more to see
        regions = wanted.part.regions if wanted else ()
        laid = tuple((region.face, _laid(region.outline.polygon, placement)) for region in regions)
        lot = pieces if index < len(plan.placements) else gone
        lot.append(_Piece(placement, wanted, drawn, placed, laid))
    return pieces, gone


def _laid(shape: Polygon, placement: Placement) -> Polygon:
    """Turn a shape of the part frame about (0, 0) and move it, by shapely's own arithmetic."""
    angle = np.deg2rad(placement.angle)
    c, s = float(np.cos(angle)), float(np.sin(angle))
    laid: Polygon = affine_transform(shape, [c, -s, s, c, placement.x, placement.y])
    return laid


def _deepest(common: BaseGeometry, first: BaseGeometry, other: BaseGeometry) -> float:
    """Largest sum of distances to two edges over points of a common area; see the module text."""
    areas = polygons_of(common)
    if not areas:
        return 0.0
    points = np.concatenate([_samples(area) for area in areas])
    return float((shapely.distance(points, first) + shapely.distance(points, other)).max())


def _samples(area: Polygon) -> NDArray[np.object_]:
    """Points all along the edge of an area and spread over its inside."""
    edge = shapely.segmentize(area.boundary, max(area.length / 400, 1e-3))
    x0, y0, x1, y1 = area.bounds
    xs, ys = np.meshgrid(np.linspace(x0, x1, 18)[1:-1], np.linspace(y0, y1, 18)[1:-1])
    inside = shapely.contains_xy(area, xs, ys)
    spread = np.column_stack([xs[inside], ys[inside]])
    return np.asarray(shapely.points(np.vstack([shapely.get_coordinates(edge), spread])))


def _shortfall(one: Polygon, other: Polygon, least: float) -> float:
    """By how many mm two shapes miss the least distance; overlapping adds its depth."""
    distance = float(shapely.distance(one, other))
    if distance > 0:
        return least - distance
    return least + _deepest(shapely.intersection(one, other), one.boundary, other.boundary)


# --- rules -----------------------------------------------------------------------------------


def _record(plan: Plan, hide: Hide) -> Iterator[Finding]:
    if plan.hide_sha256 != hide.sha256:
        says = (
            f"The plan was made for another state of the record: it names {plan.hide_name} with "
            f"digest {plan.hide_sha256[:12]}…, this is {hide.name} with {hide.sha256[:12]}…."
        )
        yield Finding(Code.HIDE, "", hide.name, 0.0, "", says)


def _counts(plan: Plan) -> Iterator[Finding]:
    times = Counter(placement.id for placement in plan.lying)
    for wanted in plan.expected:
        if not times[wanted.id]:
            yield Finding(Code.MISSING, wanted.id, "", 1.0, "", f"{wanted.id} is missing.")
    for name, count in times.items():
        wanted_part = plan.by_id.get(name)
        if count > 1:
            says = f"{name} is there {count} times."
            yield Finding(Code.TWICE, name, "", float(count - 1), "", says)
        if wanted_part is None:
            says = f"{name} is on the plan, but no part of that name is wanted."
            yield Finding(Code.UNKNOWN, name, "", float(count), "", says)
        elif wanted_part.kit in plan.left_out:
            says = f"{name} is on the plan, which says that {wanted_part.kit} is left out."
            yield Finding(Code.LEFT_OUT, name, wanted_part.kit, float(count), "", says)


def _covers(plan: Plan) -> Iterator[Finding]:
    """Each definition's regions must cover it, or a flaw could hide between them."""
    bare: dict[int, float] = {}
    for wanted in plan.expected:
        part = wanted.part
        area = bare.setdefault(id(part), _uncovered(part))
        if area > 0:
            says = f"{wanted.id}: its regions leave {area:.2f} mm² of the part unjudged."
            yield Finding(Code.UNCOVERED, wanted.id, "", area, "mm2", says)


def _uncovered(part: Part) -> float:
    covered = shapely.union_all([region.outline.polygon for region in part.regions])
    bare = shapely.difference(part.outline.polygon, covered)
    return 0.0 if bare.buffer(-TOLERANCE).is_empty else float(bare.area)


def _outlines(pieces: Sequence[_Piece]) -> Iterator[Finding]:
    for piece in pieces:
        if piece.placed is None or piece.drawn is piece.placed:
            continue
        by = float(shapely.hausdorff_distance(piece.drawn, piece.placed))
        differ = shapely.symmetric_difference(piece.drawn, piece.placed).area
        if by > SHAPE_TOLERANCE or differ > SHAPE_TOLERANCE * piece.placed.length:
            code, how = _likeness(piece.drawn, piece.placed)
            says = f"{piece.id} is drawn {how}: up to {by:.3f} mm from where it should lie."
            yield Finding(code, piece.id, "", by, "mm", says)


def _likeness(drawn: Polygon, placed: Polygon) -> tuple[Code, str]:
    """Tell in which way a drawn outline differs, by fitting turned, scaled and mirrored copies.

    Least squares over corresponding corners as complex numbers: of all copies ``s·v`` with s
    complex, the best has s = ⟨v, z⟩ / ⟨v, v⟩, its scale is \\|s\\| (plane Procrustes analysis,
    e.g. Dryden & Mardia, Statistical Shape Analysis, 1998, chapter 3).
    """
    z, v = _centred(drawn), _centred(placed)
    if len(z) != len(v):
        return Code.CHANGED, "as another shape"
    scale, rest = min(_fits(z, v), key=lambda fit: fit[1])
    if rest <= SHAPE_TOLERANCE:
        if abs(scale - 1) * float(np.abs(v).max()) > SHAPE_TOLERANCE:
            return Code.SCALED, f"{scale:.4f} times its size"
        return Code.MOVED, "elsewhere than its angle and origin say"
    if min(rest for _, rest in _fits(z, v.conjugate())) <= SHAPE_TOLERANCE:
        return Code.MIRRORED, "mirrored, which would turn the grain side down"
    return Code.CHANGED, "as another shape"


def _centred(polygon: Polygon) -> NDArray[np.complex128]:
    xy = shapely.get_coordinates(polygon.exterior)[:-1]
    z = xy[:, 0] + 1j * xy[:, 1]
    return np.asarray(z - z.mean(), dtype=np.complex128)


def _fits(z: NDArray[np.complex128], v: NDArray[np.complex128]) -> Iterator[tuple[float, float]]:
    """(scale, root mean square rest in mm) for each way to match the corners of v to z's."""
    size, target = float((abs(v) ** 2).sum()), float((abs(z) ** 2).sum())
    for order in (v, v[::-1]):
        for shift in range(len(v)):
            match = abs(complex(np.vdot(np.roll(order, shift), z)))
            yield match / size, float(np.sqrt(max(target - match**2 / size, 0.0) / len(z)))


def _too_near(polygons: Sequence[Polygon], gap: float, names: Sequence[str]) -> Iterator[Finding]:
    shapes = np.array(polygons, dtype=object)
    left, right = STRtree(shapes).query(shapes, predicate="dwithin", distance=gap)
    left, right = left[left < right], right[left < right]
    near = shapely.distance(shapes[left], shapes[right]) < max(gap - TOLERANCE, 1e-12)
    for i, j in sorted(zip(left[near].tolist(), right[near].tolist(), strict=True)):
        by = _shortfall(shapes[i], shapes[j], gap)
        if by <= TOLERANCE:
            continue
        if by > gap + TOLERANCE:
            says = f"{names[i]} and {names[j]} overlap by {by - gap:.3f} mm."
            yield Finding(Code.OVERLAP, names[i], names[j], by, "mm", says)
        else:
            says = f"{names[i]} and {names[j]} are {gap - by:.3f} mm apart, not {gap:g} mm."
            yield Finding(Code.GAP, names[i], names[j], by, "mm", says)


def _over_the_edge(
    polygons: Sequence[Polygon],
    container: Polygon | MultiPolygon,
    margin: float,
    names: Sequence[str],
) -> Iterator[Finding]:
    shapes = np.array(polygons, dtype=object)
    edge = container.boundary
    shapely.prepare([container, edge])
    inside = shapely.covers(container, shapes)
    near = shapely.dwithin(edge, shapes, max(margin - TOLERANCE, 0.0))
    for i in np.flatnonzero(~inside | near).tolist():
        by = margin - float(shapely.distance(shapes[i], edge))
        says = f"{names[i]} is {margin - by:.3f} mm from the edge, not {margin:g} mm."
        if not inside[i]:
            outside = shapely.difference(shapes[i], container)
            by = margin + _deepest(outside, shapes[i].boundary, edge)
        if by > margin + TOLERANCE:
            says = f"{names[i]} lies {by - margin:.3f} mm over the edge or a hole."
        if by > TOLERANCE:
            yield Finding(Code.EDGE, names[i], "", by, "mm", says)


def _gone(
    pieces: Sequence[_Piece], gone: Sequence[_Piece], plan: Plan, hide: Hide
) -> Iterator[Finding]:
    """Parts keep the gap to leather that is gone, and what was cut was cut from this hide."""
    shapes = [piece.drawn for piece in gone]
    yield from _over_the_edge(shapes, hide.polygon, 0.0, [piece.id for piece in gone])
    tree = STRtree(shapes)
    for piece in pieces:
        for index in sorted(tree.query(piece.drawn, predicate="dwithin", distance=plan.gap)):
            by = _shortfall(piece.drawn, shapes[index], plan.gap)
            if by > TOLERANCE:
                says = (
                    f"{piece.id} lies {by:.3f} mm too near to {gone[index].id}, which is cut "
                    f"already: {plan.gap:g} mm is the gap to where it lay."
                )
                yield Finding(Code.CUT, piece.id, gone[index].id, by, "mm", says)


def _across_borders(pieces: Sequence[_Piece], plan: Plan) -> Iterator[Finding]:
    """Each part must lie wholly in one window, if the plan states any: they are upright boxes."""
    for piece in pieces if plan.bed_windows else ():
        x0, y0, x1, y1 = piece.drawn.bounds
        by = min(
            max(left - x0, x1 - right, low - y0, y1 - high)
            for left, low, right, high in plan.bed_windows
        )
        if by > TOLERANCE:
            says = f"{piece.id} crosses the border of the bed's windows by {by:.3f} mm."
            yield Finding(Code.BED, piece.id, "", by, "mm", says)


def _flaws(pieces: Sequence[_Piece], hide: Hide) -> Iterator[Finding]:
    regions = [(piece, face, shape) for piece in pieces for face, shape in piece.regions]
    shapes = np.array([shape for _, _, shape in regions], dtype=object)
    tree = STRtree(shapes)
    for number, flaw in enumerate(hide.flaws, start=1):
        margin = FLAW_KINDS[flaw.kind].margin
        for index in sorted(tree.query(flaw.shape, predicate="dwithin", distance=margin).tolist()):
            piece, face, shape = regions[index]
            if not bars(flaw, face):
                continue
            by = _shortfall(shape, flaw.shape, margin)
            if by > TOLERANCE:
                says = (
                    f"{piece.id}: its {face} face is {by:.3f} mm too near to flaw {number} "
                    f"({flaw.kind}, {flaw.face}), which wants {margin:g} mm."
                )
                yield Finding(Code.FLAW, piece.id, f"flaw {number}", by, "mm", says)


def _thickness(pieces: Sequence[_Piece], hide: Hide) -> Iterator[Finding]:
    """Each part is looked at every LATTICE mm, inside and along its edge, where leather is."""
    known = [(piece, piece.wanted.need) for piece in pieces if piece.wanted is not None]
    if not known:
        return
    leather = hide.polygon.buffer(-TOLERANCE)  # what lies over the edge is another finding
    points = [_lattice(piece.drawn.intersection(leather)) for piece, _ in known]
    ends = np.cumsum([len(spots) for spots in points])[:-1]
    means, deviations = (np.split(v, ends) for v in hide.thickness.field(np.vstack(points)))
    for (piece, need), spots, mean, deviation in zip(known, points, means, deviations, strict=True):
        if not len(spots):
            continue
        chance = chance_outside(mean, deviation, need)
        worst = int(chance.argmax())
        by = float(chance[worst]) - need.risk
        if by > RISK_TOLERANCE:
            says = (
                f"{piece.id} wants {need.low:g} to {need.high:g} mm"
                f"{' or thicker' if need.may_split else ''}; at ({spots[worst, 0]:.0f}, "
                f"{spots[worst, 1]:.0f}) the leather is {_gauged(float(mean[worst]))} and fails "
                f"that with a chance of {chance[worst]:.0%}, not at most {need.risk:.0%}."
            )
            yield Finding(Code.THICKNESS, piece.id, "", by, "", says)


def _gauged(mean: float) -> str:
    return "of unknown thickness" if np.isnan(mean) else f"about {mean:.2f} mm"


def _lattice(area: BaseGeometry) -> FloatArray:
    """(n, 2) points over an area and along its edge, at most LATTICE mm apart."""
    shape = MultiPolygon(polygons_of(area))
    if shape.is_empty:
        return np.empty((0, 2))
    x0, y0, x1, y1 = shape.bounds
    xs, ys = np.meshgrid(np.arange(x0, x1 + LATTICE, LATTICE), np.arange(y0, y1 + LATTICE, LATTICE))
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, xs, ys)
    edge = shapely.get_coordinates(shapely.segmentize(shape.boundary, LATTICE))
    return np.vstack([np.column_stack([xs[inside], ys[inside]]), edge])


def _windows(pieces: Sequence[_Piece], hide: Hide) -> Iterator[Finding]:
    known = [(piece, piece.wanted.part) for piece in pieces if piece.wanted is not None]
    if not known:
        return
    origins = np.array([(piece.placement.x, piece.placement.y) for piece, _ in known])
    for (piece, part), line in zip(known, hide.stretch.direction(origins), strict=True):
        axis = part.axis + piece.placement.angle
        stray = abs((axis - float(line) + 90.0) % 180.0 - 90.0)
        by = stray - part.window
        if by > ANGLE_TOLERANCE:
            says = (
                f"{piece.id} lies {stray:.2f}° off the line of least stretch; "
                f"its window allows {part.window:g}°."
            )
            yield Finding(Code.WINDOW, piece.id, "", by, "deg", says)
