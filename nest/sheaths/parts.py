"""Parts: outlines, regions and marks brought together, each in its own frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from shapely import LineString

from hides.outline import FloatArray, Outline, turned
from nest.knife import Choices, Knife
from nest.part import Mark, Part, Region
from nest.sheaths.channel import Channel
from nest.sheaths.loop import Seat, bulged, risen, strip
from nest.sheaths.pattern import FlatPattern

BODY_WINDOW, LOOP_WINDOW, FREE_WINDOW = 15.0, 20.0, 90.0  # degrees off the line of least stretch

_OVER = (1.0, -1.0)  # mirrors over the fold


@dataclass(frozen=True)
class Draft:
    """All that a right-hand sheath's parts are drawn from, in the pattern's frame.

    Attributes
    ----------
    seam : (n, 2) holes of the edge seam on the back half, mm.
    pad : (n, 2) holes of one of the loop's pads, from its crown, mm.
    """

    knife: Knife
    choices: Choices
    channel: Channel
    place: Seat
    pattern: FlatPattern
    seam: FloatArray
    pad: FloatArray

    @cached_property
    def origin(self) -> FloatArray:
        """The body's centroid: (0, 0) of its own frame, mm."""
        return np.array(self.pattern.body.polygon.centroid.coords[0])


def parts_of(draft: Draft) -> tuple[Part, ...]:
    """Body, welt and, where it is a strip of its own, loop."""
    parts = [_body(draft), _welt(draft)]
    if draft.choices.loop == "sewn":
        parts.append(_loop(draft))
    return tuple(moved(part, -np.array(part.outline.polygon.centroid.coords[0])) for part in parts)


def _body(draft: Draft) -> Part:
    pattern, choices = draft.pattern, draft.choices
    throat, end = pattern.throat, pattern.end
    wide, middle = draft.channel.inner(throat), (throat + end) / 2
    regions = [Region("front", pattern.front), Region("back", pattern.back)]
    if pattern.strap is not None:
        regions.append(Region("strap", pattern.strap))
    marks = [
        Mark("fold", np.array([[throat, 0.0], [end, 0.0]])),
        Mark("throat", np.array([[throat, -wide], [throat, wide]])),
        Mark("inner", pattern.inner, text="welt, back"),
        Mark("inner", pattern.inner * _OVER, text="welt, front"),
        Mark("stitch", draft.seam, text="edge seam, back"),
        Mark("stitch", draft.seam * _OVER, text="edge seam, front"),
        Mark("stitch", np.concatenate(_on_pads(draft, draft.pad)), text="loop"),
        *_loop_places(draft),
        Mark("grain", np.array([[middle - 20, -wide / 8], [middle + 20, -wide / 8]])),
        Mark(
            "label", np.array([[middle, wide / 2]]), text=f"{draft.knife.name}: BACK, to the body"
        ),
        Mark("label", np.array([[middle, -wide / 2]]), text="FRONT, grain side up"),
    ]
    if choices.drain:
        marks.append(Mark("drain", _drain(draft), closed=True, text="drain hole"))
    return Part("body", pattern.body, tuple(regions), tuple(marks), 0.0, BODY_WINDOW)


def _on_pads(draft: Draft, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of a pad, from its crown, on both pads: of the back half or of the risen back."""
    first, last = draft.place.crowns
    upper = turned(points, 0, first, draft.place.middle)
    return upper, turned(_backward(points), 0, last, draft.place.middle)


def _backward(points: FloatArray) -> FloatArray:
    return points * (-1.0, 1.0)


def _loop_places(draft: Draft) -> list[Mark]:
    """Outlines of the pads on the back half, and the line that a risen back folds on."""
    choices, place, throat = draft.choices, draft.place, draft.pattern.throat
    length, width = choices.loop_pad, place.width
    crown = strip(2 * length, width)
    crown = crown[crown[:, 0] < length]
    pad = np.concatenate([crown, [[length, -width / 2], [length, width / 2]]])
    upper, lower = _on_pads(draft, pad)
    if choices.loop == "sewn":
        return [
            Mark("loop", upper, closed=True, text="loop, upper pad"),
            Mark("loop", lower, closed=True, text="loop, lower pad"),
        ]
    turn = throat - (risen(choices) - length) / 2
    low, high = place.middle - width / 2, place.middle + width / 2
    return [
        Mark("fold", np.array([[turn, low], [turn, high]]), text="loop folds here"),
        Mark("loop", lower, closed=True, text="loop's end"),
    ]


def _drain(draft: Draft) -> FloatArray:
    """A hole on the fold's end, where the channel ends and the welt hasn't begun."""
    choices = draft.choices
    angle = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    rim = choices.drain / 2 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return turned(rim, 0, draft.channel.lie.tip + choices.clearance - choices.drain / 2)


def _welt(draft: Draft) -> Part:
    pattern = draft.pattern
    inner = draft.channel.inner(pattern.throat)
    outer = inner + draft.choices.welt
    label = LineString(pattern.seam).interpolate(0.35, normalized=True)
    marks = (
        Mark("throat", np.array([[pattern.throat, inner], [pattern.throat, outer]]), text="trim"),
        Mark("stitch", draft.seam, text="edge seam"),
        Mark("label", np.array(label.coords), text=f"{draft.knife.name}: welt"),
    )
    return Part("welt", pattern.welt, (Region("hidden", pattern.welt),), marks, 0.0, FREE_WINDOW)


def _loop(draft: Draft) -> Part:
    choices, width = draft.choices, draft.place.width
    length = 2 * choices.loop_pad + bulged(choices)
    middle = length / 2
    outline = Outline.of(strip(length, width))
    far = turned(_backward(draft.pad), 0, length)
    marks = (
        Mark("stitch", np.concatenate([draft.pad, far]), text="loop"),
        Mark("grain", np.array([[middle - 12, -width / 4], [middle + 12, -width / 4]])),
        Mark("label", np.array([[middle, width / 4]]), text=f"{draft.knife.name}: loop"),
    )
    return Part("loop", outline, (Region("strap", outline),), marks, 0.0, LOOP_WINDOW)


def moved(part: Part, shift: FloatArray, *, mirror: bool = False) -> Part:
    """A part mirrored over the x axis if asked, then shifted in mm; marks and regions with it."""
    scale = _OVER if mirror else (1.0, 1.0)

    def to(points: FloatArray) -> FloatArray:
        return frozen(points * scale + shift)

    return replace(
        part,
        outline=Outline.of(to(part.outline.points)),
        regions=tuple(replace(r, outline=Outline.of(to(r.outline.points))) for r in part.regions),
        marks=tuple(replace(m, points=to(m.points)) for m in part.marks),
        axis=-part.axis if mirror else part.axis,
    )


def frozen(points: FloatArray) -> FloatArray:
    """The same array (of mm), made read-only."""
    points.setflags(write=False)
    return points
