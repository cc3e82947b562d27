"""From a knife and the maker's choices to a sheath."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from hides.errors import InputError
from hides.outline import turned
from nest.knife import Choices, Knife
from nest.sheaths.channel import Channel, channel_of
from nest.sheaths.facts import balance, dimensions_of, facts_of, stations_of, warnings_of
from nest.sheaths.loop import Seat, pad_holes, seat
from nest.sheaths.model import Dimension, Sheath
from nest.sheaths.parts import Draft, frozen, moved, parts_of
from nest.sheaths.pattern import LAST_HOLE, pattern_of
from nest.sheaths.remedy import HELPS, remedy_of
from nest.sheaths.retention import retention_of
from nest.sheaths.stitch import holes


def make(knife: Knife, choices: Choices | None = None) -> Sheath:
    """Make the sheath of a knife.

    Parameters
    ----------
    choices : the knife's own unless given.

    Raises
    ------
    KnifeError : the pattern won't close, the knife can't be drawn, or the loop finds no place;
        with the figures and how to mend it.
    """
    return _make(knife, knife.choices if choices is None else choices)


@lru_cache(maxsize=256)
def _make(knife: Knife, choices: Choices) -> Sheath:
    try:
        right = _fold_over(knife, choices)
    except InputError as error:
        key = error.place.rpartition("key ")[2].strip("'")
        if key in HELPS and not error.mend:
            error.mend = remedy_of(choices, key, lambda other: _fold_over(knife, other))
        raise error.at(file=knife.source, place=f"knife '{knife.name}'") from None
    return right if choices.hand == "right" else _left_hand(right)


def _fold_over(knife: Knife, choices: Choices) -> Sheath:
    """The right-hand sheath of one body folded along the back."""
    channel, place = _laid(knife, choices)
    pattern = pattern_of(channel, choices, place)
    seam = holes(pattern.seam, choices.stitch, end=(LAST_HOLE * choices.stitch, choices.stitch))
    pad = pad_holes(place.width, choices.loop_pad, choices.stitch)
    draft = Draft(knife, choices, channel, place, pattern, seam, pad)
    parts = parts_of(draft)
    x, y = draft.origin
    return Sheath(
        name=knife.name,
        hand="right",
        parts=parts,
        stations=stations_of(draft),
        facts=facts_of(draft, parts),
        warnings=(
            *knife.remarks,
            *warnings_of(draft, lambda other: retention_of(_laid(knife, other)[0])),
        ),
        dimensions=dimensions_of(draft, parts),
        fold=-float(y),
        knife=frozen(turned(channel.lie.points, 0, -x, channel.allowance - y)),
        choices=choices,
        guesses=knife.guesses,
        assumed=knife.assumed,
        edge_side=knife.edge_side,
    )


def _laid(knife: Knife, choices: Choices) -> tuple[Channel, Seat]:
    channel = channel_of(knife, choices)
    return channel, seat(channel, choices, balance(channel, knife, choices))


def _left_hand(right: Sheath) -> Sheath:
    """The other hip's sheath: everything mirrored over the fold's direction."""
    return replace(
        right,
        hand="left",
        parts=tuple(moved(part, np.zeros(2), mirror=True) for part in right.parts),
        dimensions=tuple(_mirrored(d) for d in right.dimensions),
        fold=-right.fold,
        knife=frozen(right.knife * (1.0, -1.0)),
    )


def _mirrored(d: Dimension) -> Dimension:
    return replace(d, p=(d.p[0], -d.p[1]), q=(d.q[0], -d.q[1]))
