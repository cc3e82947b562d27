"""Several photos of one side, joined by the sheets that they share.

Where no photo can see the whole side, each shows a part of it with at least two sheets that
another one shows too. Those sheets say how the floors of both photos lie on each other: a turn
and a shift, no change of size, since every photo knows its millimetres. All are then seen from
straight above in one picture, each place from the photo in which it lies farthest from the rim,
as bright as the first photo has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.optimize import approx_fprime

from hides.capture import targets
from hides.capture.adjustment import SheetPose
from hides.capture.boundary import OffPictureError, Traced, trace
from hides.capture.camera import Camera, rigid
from hides.capture.masks import Floats, Mask, depth, shrunk
from hides.capture.photo import Photo
from hides.capture.pose import Flat, View, box_around, flatten, papers_of
from hides.errors import InputError
from hides.outline import FloatArray, turned

LEAST_SHARED = 2  # sheets; one alone says little of the angle between two photos
MOST_MOVED = 6.0  # mm, root mean square; more means that a sheet was moved between the photos
FLOOR_AROUND = (60.0, 500.0)  # mm of floor around the sheets; the second where the hide goes beyond
BLEND = 40.0  # mm over which one photo passes into the next
BRIGHTNESS_CELL = 8.0  # mm, in which the brightness of two photos is compared
BRIGHTNESS_BLUR = 30.0  # mm, deviation of the evening-out of its ratio


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
    around: float = FLOOR_AROUND[0],
) -> Flat:
    """One flat picture of several photos whose views are in one frame (:func:`joined`).

    It shows the plane ``height`` mm above the floor, up to ``around`` mm beyond the sheets.
    """
    box = box_around(views, around)
    whole, *others = (
        flatten(photo, view, mm_per_pixel, box, height)
        for photo, view in zip(photos, views, strict=True)
    )
    pixels, inner = whole.pixels.astype(np.float32), depth(whole.seen)
    for flat in others:
        deep = depth(flat.seen)
        share = np.clip(0.5 + (deep - inner) * flat.scale / BLEND, 0.0, 1.0)[..., None]
        share[~flat.seen], share[~whole.seen & flat.seen] = 0.0, 1.0
        pixels += share * (_matched(flat, pixels, flat.seen & whole.seen) - pixels)
        whole = replace(whole, seen=whole.seen | flat.seen)
        inner = np.maximum(inner, deep)
    if others:  # made as bright as the first, others may be brighter than white
        pixels *= min(1.0, 255.0 / max(float(np.percentile(pixels[::8, ::8], 99.9)), 1.0))
    return replace(whole, pixels=np.clip(pixels, 0, 255).astype(np.uint8))


def trace_all(
    photos: Sequence[Photo],
    views: Sequence[View],
    guide: FloatArray | None = None,
    mm_per_pixel: float = 1.0,
    height: float = 0.0,
) -> tuple[Flat, Traced]:
    """Trace a side in one flat picture of all photos, whose views are in one frame.

    The picture goes farther around the sheets where the hide does. ``guide`` (n, 2) and
    ``height`` of the leather's face above the floor are in mm.

    Raises
    ------
    InputError : see :func:`hides.capture.boundary.trace`.
    """
    for around in FLOOR_AROUND:
        flat = mosaic(photos, views, mm_per_pixel, height, around)
        try:
            found = trace(flat, papers_of(views), guide)
        except OffPictureError:
            if around == FLOOR_AROUND[-1]:
                raise
            continue
        if not found.leaves:
            break
    return flat, found


def _shared(view: View, known: dict[int, SheetPose]) -> list[SheetPose]:
    return [sheet for sheet in view.sheets if sheet.number in known]


def _moved(view: View, known: dict[int, SheetPose], index: int) -> View:
    """A view moved so that the sheets it shares lie where they are known to."""
    shared = _shared(view, known)
    if len(shared) < LEAST_SHARED:
        raise InputError(
            f"photo {index + 1} shares {len(shared)} sheets with the others.",
            mend=f"Let each photo show {LEAST_SHARED} sheets or more that another one shows.",
        )
    here = np.concatenate([sheet.to_floor(_CORNERS) for sheet in shared])
    there = np.concatenate([known[sheet.number].to_floor(_CORNERS) for sheet in shared])
    radians, x, y = rigid(here, there)
    angle = float(np.rad2deg(radians))
    off = np.hypot(*(turned(here, angle, x, y) - there).T)
    if np.sqrt((off**2).mean()) > MOST_MOVED:
        numbers = ", ".join(str(sheet.number) for sheet in shared)
        raise InputError(
            f"sheets {numbers} don't lie to each other in photo {index + 1} as in the others "
            f"(by {off.max():.0f} mm).",
            mend="Take all photos without moving a sheet, and with the sheets flat.",
        )
    sheets = tuple(sheet.moved(angle, x, y) for sheet in view.sheets)
    places = turned(np.array(list(view.stickers.values())).reshape(-1, 2), angle, x, y).tolist()
    stickers = {n: (at_x, at_y) for n, (at_x, at_y) in zip(view.stickers, places, strict=True)}
    camera = view.camera.moved(angle, x, y)
    spread = _carried(view, angle, x, y)
    return replace(view, camera=camera, sheets=sheets, spread=spread, stickers=stickers)


def _carried(view: View, angle: float, x: float, y: float) -> FloatArray:
    """The covariance of the camera's unknowns in that frame, to first order."""

    def carried(vector: FloatArray) -> FloatArray:
        return Camera.of(vector).moved(angle, x, y).vector

    slopes = approx_fprime(view.camera.vector, carried, 1e-6)
    return np.asarray(slopes @ view.spread @ slopes.T)


_CORNERS = np.array(
    [(0.0, 0.0), (targets.WIDTH, 0.0), (targets.WIDTH, targets.HEIGHT), (0.0, targets.HEIGHT)]
)


def _matched(flat: Flat, other: Floats, both: Mask) -> Floats:
    """Its pixels, each channel made as bright as the other picture's, place by place.

    Light falls otherwise on each photo. How much brighter the other one is where ``both`` see
    the same, evened out, goes on beyond as it is at the nearest such place.
    """
    wide, tall = (max(round(n * flat.scale / BRIGHTNESS_CELL), 1) for n in both.shape[::-1])
    known = shrunk(both.astype(np.float32), (wide, tall)) > 0.999
    pixels = flat.pixels.astype(np.float32)
    if not known.any():
        return pixels
    ours, theirs = (np.log(shrunk(each, (wide, tall)) + 1.0) for each in (pixels, other))
    rows, columns = distance_transform_edt(~known, return_distances=False, return_indices=True)
    apart = (theirs - ours)[rows, columns].astype(np.float32)
    apart = cv2.GaussianBlur(
        apart, (0, 0), BRIGHTNESS_BLUR / BRIGHTNESS_CELL, borderType=cv2.BORDER_REPLICATE
    )
    apart = cv2.resize(apart, both.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(pixels * np.exp(apart), dtype=np.float32)
