"""The belt loop: a strip sewn on the back, or the back itself risen and folded over.

Both are sewn down on pads whose seam runs along the strap's sides and round an arch at its
end: a row straight across would tear it off like a stamp. Millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hides.outline import FloatArray, turned
from nest.errors import KnifeError
from nest.knife import Choices
from nest.sheaths.channel import Channel
from nest.sheaths.stitch import holes

STITCH_INSET = 5.0  # from the strap's edges to its stitches (load path; common practice)
LOOP_CLEAR = 2.0  # from the strap's sides to fold and welt
USUAL_WIDTHS = (25.0, 40.0)  # usual widths of a loop; down to NARROWEST on a slender knife
NARROWEST = 18.0
ARCH = 0.2  # rise of the arched end, as a share of the width


def inside_height(choices: Choices) -> float:
    """Room for the belt between the seams: its width and the ease, mm."""
    return choices.belt + choices.belt_ease


def bulged(choices: Choices) -> float:
    """Length of a sewn strip between its seams: over the belt, down to the seams either side, mm.

    B + 2·√((ease/2)² + b²) for a belt B wide and b thick that sits in the middle.
    """
    return choices.belt + 2 * math.hypot(choices.belt_ease / 2, choices.belt_thickness)


def risen(choices: Choices) -> float:
    """Length that the back rises by to fold over the belt and be sewn down below the throat, mm.

    2·(B + ease) + π·(b/2 + k·t) + one pad: up, round the belt, down, and the pad.
    """
    turn = math.pi * (choices.belt_thickness / 2 + choices.neutral * choices.leather)
    return 2 * inside_height(choices) + turn + choices.loop_pad


@dataclass(frozen=True)
class Seat:
    """The loop's place on the back half, mm: ``middle`` off the fold, ``width``, from ``x`` on.

    ``crowns`` are the x of the outer ends of its two pads, before a risen back is folded over.
    """

    x: float
    middle: float
    width: float
    crowns: tuple[float, float]


def seat(channel: Channel, choices: Choices, balance: float) -> Seat:
    """Find the loop's place: its top at the throat, centred on the balance where that fits.

    Parameters
    ----------
    balance : distance of the hanging sheath's centre of weight from the fold, mm.

    Raises
    ------
    KnifeError : the sheath is too short or too slender for the loop.
    """
    throat = channel.lie.throat
    if choices.loop == "sewn":
        start, span = throat + 3.0, inside_height(choices) + 2 * choices.loop_pad
        crowns = start, start + inside_height(choices) + 2 * choices.loop_pad
    else:
        start, span = throat, choices.loop_pad + STITCH_INSET
        # Folded over, the strap's end comes to lie a pad's length below the throat line.
        crowns = throat - risen(choices), throat + choices.loop_pad
    end = channel.lie.tip
    if start + span > end:
        raise KnifeError(
            f"the loop takes {span:.0f} mm along the knife, and {end - start:.0f} mm of it are in "
            "the sheath.",
            place="[sheath] key 'belt'",
        )
    within = (channel.x >= start) & (channel.x <= start + span)
    low = channel.allowance + LOOP_CLEAR
    high = float(channel.available[within].min()) - LOOP_CLEAR
    room = high - low
    width = choices.loop_width or max(
        min(float(np.clip(0.75 * room, *USUAL_WIDTHS)), room), NARROWEST
    )
    if width > room:
        raise KnifeError(
            f"fold and welt leave {room:.1f} mm for the loop, which wants {width:g} mm.",
            place="[sheath] key 'loop_width'",
        )
    middle = float(np.clip(balance, low + width / 2, high - width / 2))
    return Seat(start, middle, width, crowns)


def arched_end(width: float, *, inset: float = 0.0) -> FloatArray:
    """The end of a strap as an arc, (n, 2) mm: from side to side, its crown on x = -inset.

    x runs from the crown back along the strap, y across it.
    """
    rise = ARCH * width
    radius = (width**2 / 4 + rise**2) / (2 * rise)
    inner, half = radius - inset, width / 2 - inset
    swing = math.asin(min(half / inner, 1.0))
    angle = np.linspace(-swing, swing, 13)
    return np.stack([radius - inner * np.cos(angle), inner * np.sin(angle)], axis=-1)


def strip(length: float, width: float) -> FloatArray:
    """Outline of a sewn strip, (n, 2) mm: x from one crown (0) to the other (length)."""
    end = arched_end(width)
    return np.concatenate([end[::-1], turned(end * (-1.0, 1.0), 0, length)])


def pad_holes(width: float, pad: float, pitch: float) -> FloatArray:
    """Holes of one pad, (n, 2) mm: x from the crown (0) to the pad's end (pad), y across.

    Along one side from the belt's room outward, round the arch and back along the other.
    """
    arch = arched_end(width, inset=STITCH_INSET)
    half = width / 2 - STITCH_INSET
    seam = np.vstack([[pad, -half], arch, [pad, half]])
    return holes(seam, pitch)
