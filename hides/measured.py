"""An outline without a camera: from a drawing, from points, or from a tape along the backbone.

The way a side is measured with a tape is the surveyor's: a straight base line, here the backbone
edge, and offsets square to it at distances along it. Three files are read:

* ``.svg`` or ``.dxf``: one filled shape, as :mod:`hides.trace` reads it;
* ``.csv`` with the columns ``x, y``: points around the edge in their order;
* ``.csv`` with the columns ``along, offset`` and perhaps ``edge``: at each distance along the
  backbone from the tail, how far the belly edge is off it, and where it is not straight, how
  far the backbone edge is (negative beyond the line). Between rows the edge is straight, so the
  area is the trapezoidal rule's. Two rows at the same distance make a step.

Numbers are mm; the head may say another unit, ``along (cm)`` (:mod:`hides.table`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from hides import record
from hides.capture import gauge
from hides.capture.frame import LEAST_STRAIGHT, Ends, Frame, align
from hides.errors import InputError, placed
from hides.hide import Hide
from hides.label import HideLabel
from hides.outline import SAME_POINT, FloatArray, Outline
from hides.table import LENGTH_UNITS, read_table
from hides.trace import read_drawing

LEAST_STATIONS = 5  # fewer offsets can't tell a hide's shape

POINTS = ("x", "y")
FORMS = (POINTS, ("along", "offset"), ("along", "offset", "edge"))


@dataclass(frozen=True)
class Measured:
    """An outline in mm, y up, and the holes in it.

    ``framed`` says that it is in the hide's frame already, as offsets are; ``remarks`` are what
    was joined or left out in a drawing, in words; ``y_down`` that the file's own y counts down.
    """

    outline: Outline
    holes: tuple[Outline, ...] = ()
    framed: bool = False
    remarks: tuple[str, ...] = ()
    y_down: bool = False


def read(path: Path | str, unit: str | None = None) -> Measured:
    """Read a measured outline; ``unit`` (of :data:`LENGTH_UNITS`) is for drawings without one.

    Raises
    ------
    InputError : no such file, an unknown ending or column, a cell that is no number, too few
        rows, stations out of order, an edge that crosses itself, or a drawing without a unit.
    """
    path = Path(path)
    with placed(file=path):
        if path.suffix.lower() in (".svg", ".dxf"):
            return _drawn(path, unit)
        if path.suffix.lower() == ".csv":
            return _listed(path, unit)
        raise InputError(
            f"an outline is read from .svg, .dxf or .csv, and this name ends in '{path.suffix}'.",
            mend="Save it as one of these.",
        )


def side(
    path: Path | str,
    label: HideLabel,
    *,
    unit: str | None = None,
    readings: Path | None = None,
    turn: str | None = None,
    backbone: Sequence[tuple[float, float]] | None = None,
) -> tuple[Hide, tuple[str, ...]]:
    """A side of leather of a measured outline, and what is to be said of how it was read.

    Parameters
    ----------
    readings : file of gauge readings, places in the hide's frame.
    turn : left or right, the side of the animal: turn a drawing so that its straight edge lies
        along y = 0. None takes the drawing as lying in the hide's frame.
    backbone : (2, 2) mm in the file's own frame, near the ends of that edge, the tail's first.

    Raises
    ------
    InputError : as :func:`read`, or it can't be told which edge is the backbone, or the readings'
        file can't be used, or a reading lies off the leather, or no side has such an area.
    """
    found = read(path, unit)
    said = list(found.remarks)
    rings = [found.outline, *found.holes]
    if turn is not None and (backbone is not None or not found.framed):
        with placed(file=path):
            frame = _framed(found, turn, backbone)
        rings = [frame.outline(ring) for ring in rings]
    hide = label.side(rings[0], holes=tuple(rings[1:]))
    if readings is not None:
        hide, told = _with_readings(hide, readings)
        said += told
    try:
        record.check(hide)
    except InputError as error:
        raise error.at(file=readings if error.place.startswith("reading") else path) from None
    return hide, tuple(said)


def _framed(found: Measured, side: str, backbone: Sequence[tuple[float, float]] | None) -> Frame:
    """The frame of a drawing; refused where another edge may as well be the backbone."""
    if found.framed:
        raise InputError("offsets are along the backbone already.", place="--backbone")
    flip = (1.0, -1.0 if found.y_down else 1.0)
    if backbone is not None:
        return align(found.outline, side=side, backbone=np.array(backbone) * flip)
    frame = align(found.outline, side=side)

    def told(ends: Ends) -> str:
        return " ".join(f"{x:.0f},{y:.0f}" for x, y in np.array(ends) * flip)

    if frame.rival is not None:
        raise InputError(
            "two edges may be the backbone.",
            mend=f"Say which, in mm: --backbone {told(frame.edge)}, or {told(frame.rival)}.",
        )
    if frame.straight < LEAST_STRAIGHT:
        raise InputError(
            "there is no long straight edge for the backbone.",
            mend="Give its two ends in mm, the tail's first: --backbone X,Y X,Y; the straightest "
            f"edge is {told(frame.edge)}.",
        )
    return frame


def _with_readings(hide: Hide, file: Path) -> tuple[Hide, tuple[str, ...]]:
    left, _, right, _ = hide.outline.bounds
    listed = gauge.read(file, length=right - left)
    if listed.numbered:
        raise InputError(
            "these readings have numbers of stickers, whose places only a photo gives.",
            mend="Write their places: x,y,mm.",
            file=file,
        )
    return replace(hide, readings=listed.placed), listed.says


def _drawn(path: Path, unit: str | None) -> Measured:
    drawing = read_drawing(path)
    if drawing.unit is None and unit is None:
        raise InputError(
            "the drawing doesn't say how long its units are.",
            mend="Give --unit mm, cm, m or in.",
        )
    scale = drawing.unit if unit is None else LENGTH_UNITS[unit]
    assert scale is not None  # of the two, one is there
    scaled = [Outline.of(ring.points * scale) for ring in (drawing.outline, *drawing.holes)]
    return Measured(scaled[0], tuple(scaled[1:]), remarks=drawing.warnings, y_down=drawing.y_down)


def _listed(path: Path, unit: str | None) -> Measured:
    table = read_table(path, FORMS, unit or "mm")
    if table.names == POINTS:
        return Measured(Outline.of(table.values))
    return Measured(_by_offsets(table.values, table.lines), framed=True)


def _by_offsets(values: FloatArray, lines: tuple[int, ...]) -> Outline:
    """The ring of (n, 2 or 3) rows: along, offset, edge."""
    along, far = values[:, 0], values[:, 1]
    near = values[:, 2] if values.shape[1] > 2 else np.zeros(len(values))
    if len(np.unique(along)) < LEAST_STATIONS:
        raise InputError(
            f"offsets at {len(np.unique(along))} places can't tell a hide's shape.",
            mend=f"Measure at {LEAST_STATIONS} or more, closer where the edge bends.",
        )
    back = np.flatnonzero(np.diff(along) < 0)
    if len(back):
        raise InputError(
            f"the distance along falls from {along[back[0]]:g} to {along[back[0] + 1]:g} mm.",
            mend="Write the rows in order from the tail to the neck.",
            place=f"line {lines[back[0] + 1]}",
        )
    under = np.flatnonzero(far < near)
    if len(under):
        raise InputError(
            f"the offset {far[under[0]]:g} mm is less than the backbone edge's, "
            f"{near[under[0]]:g} mm.",
            mend="The offset is the belly edge's distance from the backbone.",
            place=f"line {lines[under[0]]}",
        )
    edge = np.column_stack([along, near])
    ring = Outline.of(np.vstack([edge, np.column_stack([along, far])[::-1]]))
    # Points on the straight line between their neighbours are left out: the backbone has many.
    return Outline.of(shapely.get_coordinates(ring.polygon.simplify(SAME_POINT)))
