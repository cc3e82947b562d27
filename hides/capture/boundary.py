"""Trace the hide in a flat picture: its outline in millimetres, and whether to believe it.

Two of three cuts of the picture must find the same hide (:mod:`hides.capture.segment`), the
edge is then found to a millimetre (:mod:`hides.capture.edge`), and every piece of it must be
borne out by the colours on both its sides. Where that is not so, the outline comes with doubts
that say where, and the user is asked for a guide: rough points along the edge, in order. With a
guide only a band around it is in question.

Bad pictures are errors: no hide, two hides, a hide that leaves the picture or lies under a
sheet. Where the outline is doubtful they are doubts, since then they may be mistaken themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree
from shapely import Polygon

from hides.capture import edge, segment
from hides.capture.masks import Mask, dilated, eroded, filled, rings_of
from hides.capture.pose import Flat
from hides.capture.segment import COARSE_PIXEL, Coarse
from hides.errors import InputError, one_line
from hides.outline import FloatArray, Outline, polygons_of
from hides.units import DM2

SMALLEST_HIDE = 3 * DM2  # mm²; smaller things in the picture are no hide
SECOND_HIDE = 0.12  # of the largest piece; another of that size is a second hide
CONTACT = 40.0  # mm along which a hide must touch the rim or a sheet to be said to
EDGE_BLUR = 4.0  # mm along the edge over which steps of a millimetre are evened out
STRAIGHTENED = 0.2  # mm by which the outline may be straightened, to drop points; it costs area

AGREE = 0.012  # of the hide's area: the largest piece that the two cuts may disagree on
SUPPORT = 0.55  # of what the edge could show; true edges on plain floors show 0.9
UNSUPPORTED = 0.015  # of the edge may show less
SEEN_BESIDE = 20.0  # mm to both sides must be seen for an edge to be judged
GUIDED = 0.05  # of it where a guide keeps the edge in a band

# What a guide may be off by was chosen on drawn photos (tests/bench/capture.py); there is no
# published source.
FEWEST_GUIDE = 8
GUIDE_OFF = 12.0  # mm that the edge may lie off a guide at its points; rough ones are 3 mm off
GUIDE_SAG = 0.6  # and between them, of what a line misses a point by that it was not told
GUIDE_FAR = 60.0  # mm; at most
LONG_GAP = 2.0  # times the shorter gap beside it; a longer one of a guide is taken as straight
GUIDE_STEPS = 40  # points of the line from one of the guide to the next
BIASED = 0.006  # of the area; more between edge and guide on the whole is doubted, if it is
CERTAIN = 2.5  # deviations of the mean of the guide's points from nothing
STRAINED = 0.9  # of GUIDE_OFF; an edge so far off a point of the guide would be farther


class OffPictureError(InputError):
    """The hide goes on beyond the picture."""


@dataclass(frozen=True, eq=False)
class Traced:
    """What was found.

    Attributes
    ----------
    outline : floor mm.
    doubts : sentences that say where and why it may be wrong; none when it is sure.
    leaves : it seems to go on beyond the picture.
    """

    outline: Outline
    doubts: tuple[str, ...] = ()
    leaves: bool = False


def trace(flat: Flat, sheets: Sequence[Polygon], guide: ArrayLike | None = None) -> Traced:
    """Find the hide in a flat picture.

    Parameters
    ----------
    sheets : the paper of each printed sheet, floor mm.
    guide : (n, 2) floor mm, n >= 8, rough points along the hide's edge in order, or None.

    Raises
    ------
    InputError : no hide, two hides, one that leaves the picture (:class:`OffPictureError`) or lies
        under a sheet, a guide of too few points or one that crosses itself.
    """
    papers = [flat.to_pixels(shapely.get_coordinates(s.exterior)[:-1]) for s in sheets]
    look = segment.coarse_of(flat.pixels, flat.seen, flat.scale, papers)
    if guide is None:
        return _found(flat, look)
    return _guided(flat, look, sheets, np.asarray(guide, dtype=np.float64))


def _found(flat: Flat, look: Coarse) -> Traced:
    cuts, rivals = _agreed(look)
    starts = [look.to_flat(rings_of(pieces[0])[0]) for pieces in cuts]
    rings = [edge.settled(flat.pixels, start, flat.scale) for start in starts]
    borne = [edge.support(flat.pixels, ring, flat.scale).mean() for ring in rings]
    best = int(np.argmax(borne))
    pieces, ring = cuts[best], rings[best]
    doubts = [*_disagreement(flat, look, rivals), *_unsupported(flat, look, ring, UNSUPPORTED)]
    faults = [
        *_second(flat, look, pieces),
        *_leaves(flat, look, pieces[0]),
        *_covered(flat, look, pieces[0]),
    ]
    if faults and not doubts:
        raise faults[0]
    said = (*doubts, *(one_line(str(fault)) for fault in faults))
    return Traced(
        _outline_of(flat, ring), said, any(isinstance(f, OffPictureError) for f in faults)
    )


def _agreed(look: Coarse) -> tuple[list[list[Mask]], list[Mask]]:
    """The cut to go by, as pieces, largest first: one of three that another agrees with.

    Where all differ, all of them, and where the second differs from the first.
    """
    cuts: list[list[Mask]] = []
    differ: list[Mask] = []
    for way in (segment.unlike_floor, segment.by_tint, segment.by_colour):
        pieces = segment.pieces_of(way(look))
        if not pieces or pieces[0].sum() * COARSE_PIXEL**2 < SMALLEST_HIDE:
            continue
        for other in cuts:
            here = _differences(look, other[0], pieces[0])
            if not here:
                return [other], []
            differ = differ or here
        cuts.append(pieces)
    if not cuts:
        raise InputError(
            "no hide was found in the photo.",
            mend="Lay it on a plain floor of another colour, or give points along its edge "
            "as a guide.",
        )
    return cuts, differ or [cuts[0][0]]


def _guided(flat: Flat, look: Coarse, sheets: Sequence[Polygon], guide: FloatArray) -> Traced:
    leash, ring = _followed(flat, sheets, guide)
    outline = _outline_of(flat, ring)
    for paper in sheets:
        shared = paper.intersection(outline.polygon)
        if not shared.is_empty:
            raise _under_sheet(*shared.representative_point().coords[0])
    mask = filled(look.open.shape, [look.to_coarse(ring)])
    for fault in _leaves(flat, look, mask & ~look.open & ~look.covered):
        raise fault
    doubts = (*_off_guide(outline, guide), *_unsupported(flat, look, ring, GUIDED))
    return Traced(_outline_of(flat, _kept_to(leash.line, flat, ring)), doubts)


def _followed(
    flat: Flat, sheets: Sequence[Polygon], guide: FloatArray
) -> tuple[edge.Leash, FloatArray]:
    """The edge along a smooth line through the guide or along straight ones, whichever the
    colours bear out better, and that line: points at corners only are meant straight.
    """
    papers, found = shapely.union_all(sheets), []
    for line, reach in (_through(guide), _straight(guide)):
        leash = edge.Leash(flat.to_pixels(line), reach)
        ring = edge.settled(flat.pixels, leash.line, flat.scale, leash)
        free = shapely.LinearRing(flat.to_floor(ring)).disjoint(
            papers
        )  # paper's edge is clear, too
        found.append((free, edge.support(flat.pixels, ring, flat.scale).mean(), leash, ring))
    return max(found, key=lambda each: each[:2])[2:]


def _kept_to(line: FloatArray, flat: Flat, ring: FloatArray) -> FloatArray:
    """The ring, drawn back to the line of a guide where colours don't bear it out; pixels."""
    weak = (edge.support(flat.pixels, ring, flat.scale) < SUPPORT).astype(np.float64)
    share = gaussian_filter1d(weak, SEEN_BESIDE / edge.RING_STEP, mode="wrap")[:, None]
    nearest = line[cKDTree(line).query(ring)[1]]
    return np.asarray(ring + share * (nearest - ring))


def _through(guide: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A smooth closed line through rough points, and how far off it the edge may lie.

    Both (n, 2) and (n,) mm: :data:`GUIDE_OFF` at the points, and more between them where the
    line bends: there a point tells how far the line through its neighbours would have missed it.
    A gap much longer than those beside it is meant to be straight, where a smooth line would
    swing out.
    """
    if guide.ndim != 2 or guide.shape[1:] != (2,) or len(guide) < FEWEST_GUIDE:
        raise InputError(
            f"a guide needs {FEWEST_GUIDE} or more points of two numbers, got {len(guide)}.",
            mend="Thirty, closer where the edge bends, are good.",
        )
    points = Outline.of(guide).points
    closed = np.vstack([points, points[:1]])
    along = _along(closed)
    spline = CubicSpline(along, closed, bc_type="periodic")
    share = np.arange(GUIDE_STEPS) / GUIDE_STEPS
    steps = along[:-1, None] + np.diff(along)[:, None] * share
    missed = np.array([_missed(points, i) for i in range(len(points))])
    between = np.maximum(missed, np.roll(missed, -1))[:, None] * 4 * share * (1 - share)
    gap = np.hypot(*np.diff(closed, axis=0).T)
    beside = np.minimum(np.roll(gap, 1), np.roll(gap, -1))
    bend = np.minimum(LONG_GAP * beside / gap, 1.0)[:, None] ** 2
    chord = closed[:-1, None] + np.diff(closed, axis=0)[:, None] * share[:, None]
    line = chord + bend[..., None] * (spline(steps) - chord)
    reach = np.minimum(GUIDE_OFF + GUIDE_SAG * bend * between, GUIDE_FAR)
    return line.reshape(-1, 2), reach.ravel()


def _straight(guide: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The straight lines of a guide, and how far off them the edge may lie, as above."""
    ring = shapely.segmentize(Outline.of(guide).polygon.exterior, GUIDE_OFF)
    line = shapely.get_coordinates(ring)[:-1]
    return line, np.full(len(line), GUIDE_OFF)


def _missed(points: FloatArray, which: int) -> float:
    """By how many mm the line through the neighbours of a guide's point misses it."""
    others = points[(which + np.array([-3, -2, -1, 1, 2, 3])) % len(points)]
    along = _along(others)
    line = CubicSpline(along, others)(np.linspace(along[2], along[3], GUIDE_STEPS))
    return float(np.hypot(*(line - points[which]).T).min())


def _along(points: FloatArray) -> FloatArray:
    """A line's parameter at its points: roots of the distances, so that it does not loop."""
    return np.append(0.0, np.cumsum(np.sqrt(np.hypot(*np.diff(points, axis=0).T))))


def _outline_of(flat: Flat, ring: FloatArray) -> Outline:
    """The ring as an outline in mm: no loops, no more points than it needs."""
    even = flat.to_floor(edge.smoothed(ring, EDGE_BLUR / edge.RING_STEP))
    shape = polygons_of(shapely.make_valid(Polygon(even)))[0]
    plain = Polygon(shape.exterior).buffer(0).simplify(STRAIGHTENED)
    return Outline.of(shapely.get_coordinates(polygons_of(plain)[0].exterior))


def _differences(look: Coarse, one: Mask, other: Mask) -> list[Mask]:
    """The larger pieces in which two cuts differ."""
    pieces = segment.pieces_of((one ^ other) & look.open)
    return [piece for piece in pieces if piece.sum() > AGREE * one.sum()]


def _disagreement(flat: Flat, look: Coarse, rivals: Sequence[Mask]) -> list[str]:
    return [
        f"Ways of finding the hide differ by {piece.sum() * COARSE_PIXEL**2 / DM2:.1f} dm² "
        f"near {_spot(flat, look, piece)}."
        for piece in rivals[:3]
    ]


def _unsupported(flat: Flat, look: Coarse, ring: FloatArray, allowed: float) -> Iterator[str]:
    """Where what is on both sides of the edge does not bear it out, as far as both are seen."""
    at = np.round(look.to_coarse(ring)).astype(int)
    at = np.clip(at, 0, np.array(look.open.shape[::-1]) - 1)
    shown = eroded(look.open & ~look.rim, SEEN_BESIDE / COARSE_PIXEL)[at[:, 1], at[:, 0]]
    weak = shown & (edge.support(flat.pixels, ring, flat.scale) < SUPPORT)
    if weak.sum() > allowed * len(weak):
        x, y = flat.to_floor(ring[weak])[int(weak.sum()) // 2]
        yield (
            f"Hide and floor look alike along {weak.sum() * edge.RING_STEP / 10:.0f} cm of the "
            f"edge, such as near ({x:.0f}, {y:.0f})."
        )


def _off_guide(outline: Outline, guide: FloatArray) -> Iterator[str]:
    """Where the guide contradicts the edge that was found: at a point, or on the whole.

    Rough points err to both sides, so their mean tells an edge that lies beside the true one all
    along, by a shadow or a border of the floor, which its colours bear out.
    """
    polygon, points = outline.polygon, shapely.points(guide)
    inside = np.where(shapely.contains(polygon, points), 1.0, -1.0)
    off = np.asarray(shapely.distance(points, polygon.exterior)) * inside
    worst = int(np.abs(off).argmax())
    if abs(off[worst]) > STRAINED * GUIDE_OFF:
        yield (
            f"Point {worst + 1} of the guide lies {abs(off[worst]):.0f} mm or more from what looks "
            "like the edge."
        )
    mean, sure = float(off.mean()), float(off.std(ddof=1)) / len(off) ** 0.5
    if abs(mean) > max(BIASED * outline.area / polygon.length, CERTAIN * sure):
        way = "outside" if mean > 0 else "inside"
        yield (
            f"On the whole the edge that was found lies {abs(mean):.1f} mm {way} the points of "
            "the guide."
        )


def _second(flat: Flat, look: Coarse, pieces: list[Mask]) -> Iterator[InputError]:
    if len(pieces) > 1 and pieces[1].sum() >= SECOND_HIDE * pieces[0].sum():
        yield InputError(
            f"two hides are in view, the smaller near {_spot(flat, look, pieces[1])}.",
            mend="Take each one by itself, or give points along the edge of one as a guide.",
        )


def _leaves(flat: Flat, look: Coarse, mask: Mask) -> Iterator[InputError]:
    touching = mask & dilated(look.rim | ~look.open & ~look.covered, 1.5)
    if touching.sum() * COARSE_PIXEL >= CONTACT:
        yield OffPictureError(
            f"the hide touches the edge of the picture near {_spot(flat, look, touching)}.",
            mend="Step back until floor is seen all around it.",
        )


def _covered(flat: Flat, look: Coarse, mask: Mask) -> Iterator[InputError]:
    touching = mask & dilated(look.covered, 1.5)
    if touching.sum() * COARSE_PIXEL >= CONTACT:
        yield _under_sheet(*_place(flat, look, touching))


def _under_sheet(x: float, y: float) -> InputError:
    return InputError(
        f"a sheet touches or covers the hide near ({x:.0f}, {y:.0f}).",
        mend="Lay the sheets on the floor, three fingers away from the hide.",
    )


def _place(flat: Flat, look: Coarse, mask: Mask) -> tuple[float, float]:
    """A point of a mask near its middle, floor mm."""
    at = np.argwhere(mask)[:, ::-1].astype(np.float64)
    nearest = at[np.hypot(*(at - at.mean(axis=0)).T).argmin()]
    x, y = flat.to_floor(look.to_flat(nearest[None]))[0]
    return float(x), float(y)


def _spot(flat: Flat, look: Coarse, mask: Mask) -> str:
    x, y = _place(flat, look, mask)
    return f"({x:.0f}, {y:.0f})"
