"""Several photos of one side, joined by the sheets that they share.

Where no photo can see the whole side, each shows a part of it with at least two sheets that
another one shows too. Those sheets say how the floors of both photos lie on each other: a turn
and a shift, no change of size, since every photo knows its millimetres. All are then seen from
straight above in one picture, each place from the photo in which it lies farthest from the rim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from hides.capture import targets
from hides.capture.camera import Camera
from hides.capture.outline import Traced, trace
from hides.capture.photo import Photo
from hides.capture.pose import Box, Flat, Laid, View, flatten
from hides.errors import InputError
from hides.outline import FloatArray, turned

SHARED = 2  # sheets; one alone says little of the angle between two photos
MOVED = 6.0  # mm, root mean square; more means that a sheet was moved between the photos
AROUND = 60.0  # mm of floor around the sheets


def joined(views: Sequence[View]) -> tuple[View, ...]:
    """The same views, all in the floor frame of the first.

    Raises
    ------
    InputError : a photo that shares fewer than two sheets with those joined before it, or a
        sheet that lay elsewhere in another photo.
    """
    done: dict[int, View] = {0: views[0]}
    while len(done) < len(views):
        known = {sheet.number: sheet for view in done.values() for sheet in view.sheets}
        waiting = [i for i in range(len(views)) if i not in done]
        best = max(waiting, key=lambda i: len(_shared(views[i], known)))
        done[best] = _moved(views[best], known, best)
    return tuple(done[i] for i in range(len(views)))


def mosaic(
    photos: Sequence[Photo],
    views: Sequence[View],
    mm_per_pixel: float = 1.0,
    height: float = 0.0,
) -> Flat:
    """One flat picture of several photos whose views are in one frame (:func:`joined`)."""
    box = _box(views)
    first, *others = (
        flatten(photo, view, mm_per_pixel, box, height)
        for photo, view in zip(photos, views, strict=True)
    )
    whole, depth = first, _depth(first.seen)
    for flat in others:
        inner = _depth(flat.seen)
        better = (inner > depth)[..., None]
        pixels = np.where(better, _matched(flat, whole), whole.pixels)
        whole = replace(whole, pixels=pixels, seen=whole.seen | flat.seen)
        depth = np.maximum(depth, inner)
    return whole


def papers(views: Sequence[View]) -> tuple[Polygon, ...]:
    """The paper of every sheet that some view shows, each once."""
    return tuple({s.number: s.paper for view in views for s in view.sheets}.values())


def trace_all(
    photos: Sequence[Photo],
    views: Sequence[View],
    guide: FloatArray | None = None,
    mm_per_pixel: float = 1.0,
    height: float = 0.0,
) -> Traced:
    """Trace a side that several photos show together; mm in the first one's floor frame.

    Raises
    ------
    InputError : see :func:`joined` and :func:`hides.capture.outline.trace`.
    """
    together = joined(views)
    return trace(mosaic(photos, together, mm_per_pixel, height), papers(together), guide)


def _shared(view: View, known: dict[int, Laid]) -> list[Laid]:
    return [sheet for sheet in view.sheets if sheet.number in known]


def _moved(view: View, known: dict[int, Laid], index: int) -> View:
    """A view moved so that the sheets it shares lie where they are known to."""
    shared = _shared(view, known)
    if len(shared) < SHARED:
        raise InputError(
            f"photo {index + 1} shares {len(shared)} sheets with the others.",
            mend=f"Let each photo show {SHARED} sheets or more that another one shows.",
        )
    here = np.concatenate([sheet.to_floor(_CORNERS) for sheet in shared])
    there = np.concatenate([known[sheet.number].to_floor(_CORNERS) for sheet in shared])
    angle, x, y = _rigid(here, there)
    off = np.hypot(*(turned(here, angle, x, y) - there).T)
    if np.sqrt((off**2).mean()) > MOVED:
        numbers = ", ".join(str(sheet.number) for sheet in shared)
        raise InputError(
            f"sheets {numbers} don't lie to each other in photo {index + 1} as in the others "
            f"(by {off.max():.0f} mm).",
            mend="Take all photos without moving a sheet, and with the sheets flat.",
        )
    sheets = tuple(_laid(sheet, angle, x, y) for sheet in view.sheets)
    stickers = {n: _at(place, angle, x, y) for n, place in view.stickers.items()}
    camera = _seen_from(view.camera, angle, x, y)
    spread = _carried(view, angle, x, y)
    return replace(view, camera=camera, sheets=sheets, spread=spread, stickers=stickers)


def _seen_from(camera: Camera, angle: float, x: float, y: float) -> Camera:
    """The same camera for a floor frame in which its own lies turned and shifted."""
    c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    turn = camera.turn @ np.array([(c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0)])
    return replace(camera, turn=turn, shift=camera.shift - turn @ np.array([x, y, 0.0]))


def _carried(view: View, angle: float, x: float, y: float) -> FloatArray:
    """The covariance of the camera's unknowns in that frame, to first order."""
    middle = view.camera.vector
    there = _seen_from(Camera.of(middle), angle, x, y).vector
    step = 1e-6
    moved = [
        _seen_from(Camera.of(middle + unit), angle, x, y).vector - there
        for unit in step * np.eye(len(middle))
    ]
    slopes = np.array(moved).T / step
    return np.asarray(slopes @ view.spread @ slopes.T)


def _at(place: tuple[float, float], angle: float, x: float, y: float) -> tuple[float, float]:
    ((at_x, at_y),) = turned(np.array([place]), angle, x, y)
    return float(at_x), float(at_y)


_CORNERS = np.array(
    [(0.0, 0.0), (targets.WIDTH, 0.0), (targets.WIDTH, targets.HEIGHT), (0.0, targets.HEIGHT)]
)


def _laid(sheet: Laid, angle: float, x: float, y: float) -> Laid:
    at_x, at_y = _at((sheet.x, sheet.y), angle, x, y)
    return replace(sheet, angle=sheet.angle + angle, x=at_x, y=at_y)


def _rigid(here: FloatArray, there: FloatArray) -> tuple[float, float, float]:
    """Turn in degrees and shift that bring points nearest to others (Kabsch, in the plane)."""
    a, b = here - here.mean(axis=0), there - there.mean(axis=0)
    cross = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()
    angle = float(np.rad2deg(np.arctan2(cross, (a * b).sum())))
    x, y = there.mean(axis=0) - turned(here.mean(axis=0)[None], angle)[0]
    return angle, float(x), float(y)


def _matched(flat: Flat, other: Flat) -> NDArray[np.uint8]:
    """Its pixels, each channel made as bright as the other's where both see the same."""
    few = (slice(None, None, 8), slice(None, None, 8))
    both = (flat.seen & other.seen)[few]
    if not both.any():
        return flat.pixels
    ours, theirs = (np.median(each.pixels[few][both], axis=0) + 1.0 for each in (flat, other))
    return np.asarray(np.clip(flat.pixels * (theirs / ours), 0, 255), dtype=np.uint8)


def _depth(seen: NDArray[np.bool_]) -> FloatArray:
    """How many pixels away from what is not seen each pixel lies."""
    framed = np.pad(seen.astype(np.uint8), 1)
    inner = cv2.distanceTransform(framed, cv2.DIST_L2, cv2.DIST_MASK_3)
    return np.asarray(inner[1:-1, 1:-1], dtype=np.float64)


def _box(views: Sequence[View]) -> Box:
    points = np.concatenate([shapely.get_coordinates(paper) for paper in papers(views)])
    low, high = points.min(axis=0) - AROUND, points.max(axis=0) + AROUND
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
