"""The whole road: photos of a side on the floor to its record, with every doubt said.

Sheets give the camera (:mod:`hides.capture.pose`), the camera a flat picture in millimetres;
in it the edge is traced, marks are read, and the side is turned so that its backbone lies at
y = 0. A :class:`Captured` holds the hide whether or not it can be trusted, and says so:
``doubts`` are what should keep it from being cut from, ``remarks`` what is good to know.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Point

from hides import amend, record
from hides.capture import gauge, merge, photo, pose, targets
from hides.capture.boundary import Traced
from hides.capture.detection import PARTLY
from hides.capture.frame import LEAST_STRAIGHT, Ends, Frame, align
from hides.capture.marks import UNMARKED, USUAL_LEGEND, Doubt, Legend, find
from hides.capture.photo import Photo
from hides.capture.pose import View, papers_of
from hides.errors import InputError, placed
from hides.hide import Hide
from hides.label import HideLabel
from hides.outline import FloatArray
from hides.remarks import AREA_DOUBT, remarks
from hides.table import read_table
from hides.thickness import Reading

BEYOND = 0.05  # of a side's area may lie beyond the hull of the crossings unremarked
FLAT_PIXEL = 1.0  # mm per pixel of the flat picture
MOST_SPREAD = 5.0  # mm; two deviations of the edge's place, beyond which it is doubted
TOLD_MARKS = 5  # doubtful marks told one by one


@dataclass(frozen=True)
class Asked:
    """What the user says beside the photos.

    Attributes
    ----------
    guide : file of rough points around the edge, in pixels of the first photo.
    readings : file of gauge readings, by place or by sticker.
    ruler : mm, the printed ruler as measured.
    raised : mm, by how much the leather's face lies above the sheets.
    side : of the animal, left or right.
    backbone : (2, 2) pixels of the first photo near the backbone edge's ends, the tail's first.
    mirror : the photos show the flesh side.
    keep : an earlier record of the same hide, of which stays what the photos don't tell.
    """

    guide: Path | None = None
    readings: Path | None = None
    legend: Legend = USUAL_LEGEND
    ruler: float | None = None
    raised: float = 0.0
    side: str = "left"
    backbone: Sequence[tuple[float, float]] | None = None
    mirror: bool = False
    keep: Path | None = None


@dataclass(frozen=True, eq=False)
class Captured:
    """What was understood of the photos.

    Attributes
    ----------
    frame : from the floor of the first photo to the hide.
    raised : mm, by how much the leather's face lies above the sheets.
    doubtful : marks that could not be read for sure, hide frame; the largest first.
    doubts : sentences on what must not be trusted unseen; empty if all is well.
    remarks : sentences on what else was met.
    text : of the hide's record, where an earlier one was kept, which may hold more than the hide.
    """

    hide: Hide
    photos: tuple[Photo, ...]
    views: tuple[View, ...]
    frame: Frame
    raised: float
    doubtful: tuple[Doubt, ...] = ()
    doubts: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    text: str | None = None

    @property
    def sure(self) -> bool:
        """Whether nothing speaks against writing the record."""
        return not self.doubts

    def on_photo(self, points: FloatArray, index: int = 0) -> FloatArray:
        """(n, 2) pixels of a photo at which (n, 2) points of the hide frame are seen."""
        return self.views[index].to_pixels(self.frame.to_floor(points), self.raised)


def capture(paths: Sequence[Path], label: HideLabel, asked: Asked) -> Captured:
    """Make a hide of photos of one side; a guide is in pixels of the first.

    Raises
    ------
    InputError : a photo, a file or what they show can't be used at all; see the modules that
        this one joins. Photos that are mirrored are told by sheets that can only be read in
        the mirror.
    """
    photos = tuple(photo.read(path) for path in paths)
    views = merge.joined([_located(each, asked.ruler) for each in photos])
    guide = _guide(asked, photos[0], views[0])
    with placed(file=photos[0].path):
        flat, traced = merge.trace_all(photos, views, guide, FLAT_PIXEL, asked.raised)
    stickers = {number: at for view in views for number, at in view.stickers.items()}
    covered = gauge.covered(stickers)
    found = find(flat, traced.outline, asked.legend, papers=papers_of(views), ignore=covered)
    backbone = None
    if asked.backbone is not None:
        backbone = _on_floor(asked.backbone, photos[0], views[0], asked.raised)
    with placed(file=photos[0].path):
        frame = align(traced.outline, side=asked.side, mirror=asked.mirror, backbone=backbone)
    hide = label.side(
        frame.outline(traced.outline),
        flaws=tuple(replace(flaw, shape=frame.polygon(flaw.shape)) for flaw in found.flaws),
    )
    readings, told, lost = _readings(asked, views, frame, hide)
    hide = replace(hide, readings=readings)
    record.check(hide)
    text = None
    if asked.keep is not None:
        kept = amend.renewed(asked.keep, hide)
        hide, text, told = kept.hide, kept.text, [*told, *kept.said]
    ranked = sorted(found.doubtful, key=lambda each: -each.shape.area)
    doubtful = tuple(replace(each, shape=frame.polygon(each.shape)) for each in ranked)
    doubts = (
        *_outline_doubts(traced, views, asked),
        *_frame_doubts(frame, photos[0], views[0], asked),
        *_scale_doubts(hide, asked),
        *_mark_doubts(doubtful),
        *lost,
    )
    said = (
        *_view_remarks(views, traced, asked, hide),
        *told,
        *remarks(hide),
    )
    return Captured(hide, photos, views, frame, asked.raised, doubtful, doubts, said, text)


def _located(taken: Photo, ruler: float | None) -> View:
    """The view of a photo; a photo stored in the mirror is told from one without sheets."""
    try:
        return pose.locate(taken, ruler)
    except InputError as error:
        turned = replace(taken, pixels=np.ascontiguousarray(taken.pixels[:, ::-1]))
        try:
            pose.locate(turned, ruler)
        except InputError:
            raise error from None
    raise InputError(
        "the photo is mirrored: its sheets can be read only in a mirror.",
        mend="Turn mirroring off in the camera (selfie cameras do it), or flip the picture back.",
        file=taken.path,
    )


def _guide(asked: Asked, first: Photo, view: View) -> FloatArray | None:
    """The guide's points in floor mm, if any; they are given in pixels of the photo's file."""
    if asked.guide is None:
        return None
    table = read_table(asked.guide, (("x", "y"),))
    outside = ((table.values < 0) | (table.values > np.multiply(first.size, first.reduced))).any(1)
    if outside.any():
        bad = int(np.flatnonzero(outside)[0])
        x, y = table.values[bad]
        raise InputError(
            f"({x:g}, {y:g}) is no pixel of the photo.",
            mend="The guide is in pixels of the first photo, from its upper left corner.",
            place=f"line {table.lines[bad]}",
            file=asked.guide,
        )
    return _on_floor(table.values, first, view, asked.raised)


def _on_floor(pixels: ArrayLike, taken: Photo, view: View, raised: float) -> FloatArray:
    """(n, 2) mm of (n, 2) pixels of a photo's file."""
    return view.to_floor((np.asarray(pixels, float) + 0.5) / taken.reduced - 0.5, raised)


def _readings(
    asked: Asked, views: Sequence[View], frame: Frame, leather: Hide
) -> tuple[tuple[Reading, ...], list[str], list[str]]:
    """Readings on the leather, what is to be said of them, and what is doubtful."""
    if asked.readings is None:
        return (), [], []
    left, _, right, _ = leather.outline.bounds
    listed = gauge.read(asked.readings, length=right - left)
    told, placed = list(listed.says), listed.placed
    if listed.numbered:
        stuck = gauge.on_stickers(listed.numbered, _stickers(views, frame, asked.raised))
        told, placed = told + list(stuck.says), stuck.placed
    off = [leather.polygon.distance(Point(r.x, r.y)) for r in placed]
    lost = [
        f"The reading {r.thickness:g} mm at ({r.x:.0f}, {r.y:.0f}) lies {away:.0f} mm off the "
        "leather and was left out. Correct its place, or the outline."
        for r, away in zip(placed, off, strict=True)
        if away > amend.ON_LEATHER
    ]
    kept = tuple(r for r, away in zip(placed, off, strict=True) if away <= amend.ON_LEATHER)
    return kept, told, lost


def _stickers(views: Sequence[View], frame: Frame, raised: float) -> dict[int, tuple[float, float]]:
    """Stickers in the hide frame; they lie on the leather's face."""
    found = {}
    for view in views:
        for number, place in view.stickers.items():
            ((x, y),) = frame.to_hide(view.to_floor(view.to_pixels([place]), raised))
            found[number] = (float(x), float(y))
    return found


_GIVE_GUIDE = "if the line is wrong, give about thirty points around the hide with --guide"
_MEND_GUIDE = (
    "if the line is wrong, correct the guide and give more points where it is; if it is right, "
    "write the record with --anyway. A plain cloth under the hide would make it sure"
)


def _outline_doubts(traced: Traced, views: Sequence[View], asked: Asked) -> Iterator[str]:
    yield from traced.doubts
    if traced.doubts:
        mend = _GIVE_GUIDE if asked.guide is None else _MEND_GUIDE
        yield (
            f"The edge is not sure. Look at the picture; {mend}. (Places count in mm from the "
            f"lower left corner of sheet {views[0].sheets[0].number}, along it and up.)"
        )
    spread = 2.0 * _spread(views, traced.outline.points)
    if spread.max() > MOST_SPREAD:
        yield (
            f"The sheets tell the place of the edge only to ±{spread.max():.0f} mm. Lay four or "
            "more around the hide, one near each corner, and take the photo again."
        )


def _frame_doubts(frame: Frame, first: Photo, view: View, asked: Asked) -> Iterator[str]:
    """What speaks against the edge that was taken for the backbone, unless it was pointed out."""
    if asked.backbone is not None:
        return

    def told(ends: Ends) -> str:
        at = (view.to_pixels(ends, asked.raised) + 0.5) * first.reduced - 0.5
        return " ".join(f"{x:.0f},{y:.0f}" for x, y in at)

    if frame.rival is not None:
        yield (
            "Two edges may be the backbone. Say which, in pixels of the photo: --backbone "
            f"{told(frame.edge)} (the one that was taken), or --backbone {told(frame.rival)}."
        )
    elif frame.straight < LEAST_STRAIGHT:
        yield (
            "No long straight edge was found for the backbone, so the frame may be turned. Give "
            "its ends in pixels of the photo, the tail's first: --backbone X,Y X,Y; what was taken "
            f"is {told(frame.edge)}."
        )


def _spread(views: Sequence[View], points: FloatArray) -> FloatArray:
    """(n,) mm, deviation of each place of the edge, by the photo that is surest of it.

    A photo says nothing of what it does not show.
    """
    best = np.full(len(points), np.inf)
    for view in views:
        pixels = view.to_pixels(points)
        shown = ((pixels >= -1) & (pixels <= view.size)).all(axis=1)
        best[shown] = np.minimum(best[shown], view.doubt(points[shown]))
    return best


def _scale_doubts(leather: Hide, asked: Asked) -> Iterator[str]:
    """A print that was scaled as a whole shows only in the area, unless its ruler was measured."""
    stamped = leather.supplier_area
    if asked.ruler is not None:
        return
    if not stamped:
        yield (
            "Nothing tells the scale: a print at 97 % looks true in every photo and makes a hide "
            f"6 % too large. Measure the ruler of a printed sheet, which should be "
            f"{targets.RULER:.0f} mm long, and give it with --ruler, even if it is right; or give "
            "the seller's area with --stamp."
        )
        return
    off = leather.gross_area / stamped - 1
    wrong = targets.RULER * (stamped / leather.gross_area) ** 0.5
    if abs(off) > AREA_DOUBT:
        yield (
            f"The area is {off:+.1%} off the stamp, as if the printed rulers were {wrong:.0f} mm "
            f"long in place of {targets.RULER:.0f}. Measure one and give it with --ruler, even if "
            "it is right."
        )


def _view_remarks(views: Sequence[View], traced: Traced, asked: Asked, hide: Hide) -> Iterator[str]:
    if count := sum(flaw.note in UNMARKED for flaw in hide.flaws):
        yield (
            f"Where the floor seems to be seen, {count} hole{'s' * (count > 1)} "
            f"{'were' if count > 1 else 'was'} entered: see in the picture whether that is right."
        )
    # What one photo cuts off, its neighbour shows.
    whole = {PARTLY.format(sheet.number) for view in views for sheet in view.sheets}
    yield from (words for view in views for words in view.warnings if words not in whole)
    if asked.ruler is None and hide.supplier_area:
        yield (
            "The scale is known only as well as the stamp: measure a printed ruler and give it "
            "with --ruler; 1 % wrong there is 2 % of the area."
        )
    beyond = traced.outline.polygon.difference(shapely.union_all([view.span for view in views]))
    if beyond.area > BEYOND * traced.outline.area:
        yield (
            f"The sheets don't lie around the whole hide: {beyond.area / traced.outline.area:.0%} "
            "of it lies beyond them, where places are less sure."
        )


def _mark_doubts(doubtful: Sequence[Doubt]) -> list[str]:
    told = [
        f"Mark ?{number} near ({place.x:.0f}, {place.y:.0f}): {doubt.says}"
        for number, doubt in enumerate(doubtful[:TOLD_MARKS], 1)
        for place in [doubt.shape.representative_point()]
    ]
    if more := doubtful[TOLD_MARKS:]:
        told.append(f"{len(more)} smaller marks are doubtful too, ?{TOLD_MARKS + 1} and on.")
    return told
