"""What is printed beside the parts: the fit by station, the facts, the dimensions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon

from hides.outline import turned
from nest.knife import Choices, Knife
from nest.part import XY, Part
from nest.sheaths.channel import LIP, Channel, fit_warnings, heel_warnings, standing, verdict
from nest.sheaths.loop import risen
from nest.sheaths.model import Dimension, Facts, Station
from nest.sheaths.parts import Draft
from nest.sheaths.pattern import CORNER_RADIUS, excess_of
from nest.sheaths.remedy import Change, first_of, words
from nest.sheaths.retention import Attempt, caution_of, retention_of
from nest.sheaths.stitch import thread_diameter, thread_length

REPORT_STEP = 10.0  # mm between stations that are reported
LITTLE = 0.6  # mm that the rule of thumb for the fold adds to the leather: 4 mm for 3.4 mm
# Grams per mm³ of leather, steel and handle; from memory, they only place the loop.
LEATHER_DENSITY, STEEL_DENSITY, HANDLE_DENSITY = 0.9e-3, 7.8e-3, 1.2e-3


def balance(channel: Channel, knife: Knife, choices: Choices) -> float:
    """Distance of the centre of weight from the fold, knife in sheath, mm."""
    lie = channel.lie
    half = channel.room.buffer(choices.welt).intersection(
        shapely.box(lie.throat, 0, lie.tip + choices.welt, 1e4)
    )
    whole = Polygon(turned(lie.points, 0, 0, channel.allowance)).buffer(0)
    handle = whole.intersection(shapely.box(-1e4, -1e4, lie.guard, 1e4))
    thick = float(np.mean([mm for _, mm in knife.handle_thickness]))
    weights = (
        (half, 2 * choices.leather * LEATHER_DENSITY),
        (handle, thick * HANDLE_DENSITY),
        (whole.difference(handle), knife.blade_thickness / 2 * STEEL_DENSITY),
    )
    total = sum(shape.area * weight for shape, weight in weights)
    return sum(shape.area * weight * shape.centroid.y for shape, weight in weights) / total


def stations_of(draft: Draft) -> tuple[Station, ...]:
    """The fit from throat to tip, and just behind the guard."""
    channel = draft.channel
    x, guard = channel.x, channel.lie.guard
    wanted = np.r_[np.arange(x[0], x[-1], REPORT_STEP), x[-1], guard - LIP - 0.5]
    wanted = wanted[(wanted >= x[0]) & (np.abs(wanted - guard) > LIP)]
    return tuple(
        Station(
            u=float(x[i] - channel.lie.shift),
            x=float(x[i] - draft.origin[0]),
            where="handle" if x[i] < guard else "blade",
            needed=float(channel.needed[i]),
            available=float(channel.available[i]),
            slack=float(channel.slack[i]),
            verdict=verdict(float(channel.slack[i])),
            off=float(channel.back[i]),
            standing=standing(float(channel.back[i])),
        )
        for i in np.unique(np.searchsorted(x, wanted + 1e-6, side="right") - 1)
    )


def facts_of(draft: Draft, parts: Sequence[Part]) -> Facts:
    """Stitches, thread and leather."""
    choices = draft.choices
    steps = np.hypot(*np.diff(draft.seam, axis=0).T)
    pad_steps = np.hypot(*np.diff(draft.pad, axis=0).T)
    pads = 2 if choices.loop == "sewn" else 1
    seam, pad_seam = float(steps.sum()), float(pad_steps.sum())
    stack = 2 * choices.leather + choices.welt_mm
    return Facts(
        fold_allowance=draft.channel.allowance,
        fold_rule=choices.leather + LITTLE,
        stitches=len(steps),
        seam=seam,
        loop_stitches=pads * len(pad_steps),
        loop_seam=pads * pad_seam,
        thread=thread_length(seam, stack, choices.stitch),
        loop_thread=pads * thread_length(pad_seam, 2 * choices.leather, choices.stitch),
        thread_rule=(7 * seam, 8 * seam),
        thread_diameter=thread_diameter(choices.stitch),
        needles=2,
        pitches=(float(steps.min()), float(steps.max())),
        retention=retention_of(draft.channel),
        welt_longer=draft.pattern.longer,
        welt_trim=excess_of(choices, draft.pattern.longer),
        areas={part.kind: part.outline.area for part in parts},
    )


def warnings_of(draft: Draft, attempt: Attempt) -> tuple[str, ...]:
    """What the maker should know, in words; ``attempt`` is the retention with other choices."""
    held = caution_of(retention_of(draft.channel), draft.choices, attempt)
    said = tuple(
        s
        for s in (
            *draft.choices.remarks,
            held,
            *heel_warnings(draft.knife),
            *fit_warnings(draft.channel, lambda: _alone(draft.choices, attempt)),
        )
        if s
    )
    if draft.choices.loop == "back":
        said += ("The loop is the back folded outward: its flesh side shows.",)
    return said


def _alone(choices: Choices, attempt: Attempt) -> str:
    """What to write for a sheath that holds the blade alone; empty if none can be made."""
    bare: Change = {"handle_covered": 0.0}
    change = first_of(choices, (bare, {**bare, "loop": "back"}), attempt)
    return words(change) if change else ""


def dimensions_of(draft: Draft, parts: Sequence[Part]) -> tuple[Dimension, ...]:
    """Measures for the drawing, each in the frame of its part."""
    channel, pattern, place = draft.channel, draft.pattern, draft.place
    throat, end = pattern.throat, pattern.end
    x = throat + CORNER_RADIUS  # the throat's corners are rounded
    inner = channel.inner(x)
    outer = inner + draft.choices.welt + draft.choices.oversize
    traced = channel.allowance + float(np.interp(x, channel.x, channel.edge))
    mid = (channel.lie.guard + channel.lie.tip) / 2
    at_fold = channel.x[channel.back < channel.back.min() + 0.1]
    lies = float(at_fold[np.argmin(np.abs(at_fold - mid))])
    seat_x = place.x + 5
    clear = x + draft.choices.thumb  # on the front, where nothing else is drawn
    measures: tuple[tuple[str, XY, XY], ...] = (
        ("length along the fold", (throat, 0.0), (end, 0.0)),
        ("width at the throat", (x, -outer), (x, outer)),
        ("fold to welt at the throat", (clear, 0.0), (clear, -channel.inner(clear))),
        ("margin at the handle", (x, traced), (x, outer)),
        ("fold allowance", (lies, 0.0), (lies, channel.allowance)),
        ("fold to welt at mid blade", (mid, 0.0), (mid, -channel.inner(mid))),
        ("fold to loop's middle", (seat_x, 0.0), (seat_x, place.middle)),
    )
    found = [_on_body(draft, *measure) for measure in measures]
    return (*found, *_of_loop(draft, parts))


def _of_loop(draft: Draft, parts: Sequence[Part]) -> list[Dimension]:
    place, throat = draft.place, draft.pattern.throat
    side = place.width / 2
    if draft.choices.loop == "back":
        far, low, high = throat - risen(draft.choices), place.middle - side, place.middle + side
        return [
            _on_body(draft, "rise of the back", (far, place.middle), (throat, place.middle)),
            _on_body(draft, "loop width", (far + 15, low), (far + 15, high)),
        ]
    half = parts[-1].outline.bounds[2]
    return [
        _on_body(draft, "throat to loop", (throat, place.middle), (place.x, place.middle)),
        Dimension("loop", "length", (-half, 0.0), (half, 0.0), 2 * half),
        Dimension("loop", "width", (0.0, -side), (0.0, side), 2 * side),
    ]


def _on_body(draft: Draft, label: str, p: XY, q: XY) -> Dimension:
    x, y = (float(v) for v in draft.origin)
    value = float(np.hypot(q[0] - p[0], q[1] - p[1]))
    return Dimension("body", label, (p[0] - x, p[1] - y), (q[0] - x, q[1] - y), value)
