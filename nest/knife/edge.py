"""Which side of the blade is the cutting edge: the fold takes the other one.

What the maker names is believed. Without it the outline is asked for five signs: three of the
blade (its bulge, the height of its tip, its belly), one of the handle (its drop) and one of the
guard or heel. Those of the blade mislead together wherever the tip is low (wharncliffe,
sheepsfoot, kukri, hawkbill), so alone they decide nothing. All signs are common practice in how
knives are made, no published source; their thresholds are judgement, tried on drawings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point

from hides.outline import FloatArray
from nest.errors import KnifeError
from nest.knife.model import Profile

EDGE_SURE = 1.2  # one side bulges so many times more than the other before that tells anything
FAINT_BULGE = 0.004  # of the blade's length: bulges below it tell nothing
TIP_SURE = 0.2  # of the greatest width: how much nearer the tip lies to one side's line
BELLY_SURE = 10.0  # degrees: how much more one side turns towards the tip
DROP_SURE = 0.15  # of the greatest width: how far the butt leaves the handle's line
HEEL_SURE = (5.0, 0.022)  # mm, share of the length: more than a thumb rise stands out on a back
BESIDE = 0.15  # of the blade's width: how far off the blade a point beside it is named


@dataclass(frozen=True, slots=True)
class Flank:
    """One side of the blade as it lies in the drawing: its name, and a point beside its middle."""

    name: str  # "upper side"
    beside: str  # "[148, 32.5]", in the drawing file's own units and axes

    @property
    def key(self) -> str:
        """The line of a knife file that names this side as the edge."""
        return f"edge = {self.beside}"


def chosen_side(ring: FloatArray, side: Profile, guard: float, chosen: FloatArray) -> bool:
    """Whether the edge that the maker named faces -v.

    Parameters
    ----------
    ring : (n, 2) the outline of ``side``, counter-clockwise.
    chosen : (2,) the point; all in mm.

    Raises
    ------
    KnifeError : the point lies half way between both sides.
    """
    size = float(side.u[-1])
    width = float(np.median(side.height[side.u > guard]))
    butt, tip = (int(np.argmin(np.hypot(ring[:, 0] - x, ring[:, 1]))) for x in (0.0, size))
    lower = np.roll(ring, -butt, axis=0)[: (tip - butt) % len(ring) + 1]
    upper = np.roll(ring, -tip, axis=0)[: (butt - tip) % len(ring) + 1]
    below, above = (LineString(side).distance(Point(chosen)) for side in (lower, upper))
    if abs(above - below) < 0.1 * width:  # as far from both: in the middle, or far off the tip
        here = side.at(chosen[:1])
        above, below = 0.0, float(chosen[1] - (here.back[0] + here.edge[0]) / 2)
    if abs(above - below) < 0.1 * width:
        raise KnifeError(
            "edge lies on the knife's middle, so it names neither side.",
            mend="Give a point on or beside the cutting edge.",
            place="key 'edge'",
        )
    return below < above


def guessed_side(side: Profile, guard: float, flanks: tuple[Flank, ...]) -> tuple[bool, str]:
    """Whether the edge faces -v by all signs, and the guess in words; mm.

    ``flanks`` are the side that faces +v and the one that faces -v.

    Raises
    ------
    KnifeError : they don't agree, or too few speak; with what each says, and for either side
        the line that settles it.
    """
    signs = _signs(side, guard)
    ups = [name for name, says in signs.items() if says > 0]
    downs = [name for name, says in signs.items() if says < 0]
    mute = [name for name, says in signs.items() if says == 0]
    sure = not (ups and downs) and "guard or heel" not in mute and len(mute) <= 2
    upper, lower = flanks
    if sure:
        edge = upper if ups else lower
        return not ups, (
            f"The {edge.name} of the drawing is taken for the edge, as {edge.key}: "
            f"{_listed(ups or downs)} speak for it (key edge)."
        )
    sides = {f"the {upper.name}": ups, f"the {lower.name}": downs, "neither": mute}
    heard = [f"{_listed(names)} for {whom}" for whom, names in sides.items() if names]
    raise KnifeError(
        f"the outline doesn't tell which side of the blade is the edge. What speaks: "
        f"{'; '.join(heard)}.",
        mend=f"Give {upper.key} if the {upper.name} cuts, {lower.key} if the {lower.name} does.",
        place="key 'edge'",
    )


def straighter_side(side: Profile, guard: float) -> bool | None:
    """Whether the side that bulges less faces -v; None where both bulge alike. Mm."""
    above, below = _bulges(side, guard)
    return None if _bulge(above, below) == 0 else below < above


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _signs(side: Profile, guard: float) -> dict[str, int]:
    """What each sign says: 1, the edge faces +v; -1, it faces -v; 0, nothing. All in mm."""
    above, below = _bulges(side, guard)
    return {
        "bulge": _bulge(above, below),
        "tip height": _said(_tip(side, guard), TIP_SURE * float(side.height.max())),
        "belly": _said(_belly(side, guard), BELLY_SURE),
        "handle drop": _said(_drop(side, guard), DROP_SURE * float(side.height.max())),
        "guard or heel": _said(
            _heel(side, guard), max(HEEL_SURE[0], HEEL_SURE[1] * float(side.u[-1]))
        ),
    }


def _said(figure: float, sure: float) -> int:
    return 0 if abs(figure) < sure else 1 if figure > 0 else -1


def _bulge(above: float, below: float) -> int:
    return _said(math.log(above / below), math.log(EDGE_SURE))


def _bulges(whole: Profile, guard: float) -> tuple[float, float]:
    """How far the upper and the lower side stand out beyond the chord from guard to tip.

    Mean over the chord, at least the faintest bulge that tells anything, mm. The tip of a
    single-edged blade mostly lies nearer the back's line than the edge's: the edge bulges more.
    """
    size = float(whole.u[-1])
    start = guard + 0.06 * (size - guard)  # clear of guard, ricasso and choil
    share = np.linspace(0, 1, 201)
    side = whole.at(start + (size - start) * share)
    tip = (side.back[-1] + side.edge[-1]) / 2
    upper = side.edge - (side.edge[0] + (tip - side.edge[0]) * share)
    lower = (side.back[0] + (tip - side.back[0]) * share) - side.back
    faint = FAINT_BULGE * (size - guard)
    return max(float(upper.mean()), faint), max(float(lower.mean()), faint)


def _line(side: Profile, curve: FloatArray, start: float, end: float) -> FloatArray:
    """Slope and height at 0 of the straight line through a curve from start to end, mm."""
    within = (side.u >= start) & (side.u <= end)
    return np.polyfit(side.u[within], curve[within], 1)


def _tip(side: Profile, guard: float) -> float:
    """How much farther the tip lies from the upper side's line than from the lower one's, mm."""
    size = float(side.u[-1])
    root = guard + 0.1 * (size - guard), guard + 0.45 * (size - guard)
    tip = (side.back[-1] + side.edge[-1]) / 2
    upper, lower = (np.polyval(_line(side, c, *root), size) for c in (side.edge, side.back))
    return float((upper - tip) - (tip - lower))


def _belly(side: Profile, guard: float) -> float:
    """How much more the upper side turns towards the tip than the lower one, degrees."""
    blade = float(side.u[-1]) - guard

    def turn(curve: FloatArray) -> float:
        slopes = (_line(side, curve, guard + a * blade, guard + b * blade)[0]
                  for a, b in ((0.1, 0.4), (0.75, 0.95)))  # fmt: skip
        root, point = (math.degrees(math.atan(slope)) for slope in slopes)
        return root - point

    return turn(side.edge) - turn(-side.back)


def _drop(side: Profile, guard: float) -> float:
    """How far the butt leaves the line of the handle's front half, up or down (-), mm."""
    middle = (side.back + side.edge) / 2
    butt, half, front = (
        float(np.median(middle[(side.u > a * guard) & (side.u < b * guard)]))
        for a, b in ((0.02, 0.12), (0.45, 0.6), (0.8, 0.93))
    )
    ahead = (0.525 - 0.07) / (0.865 - 0.525)  # of the steps between the middles of these stretches
    return butt - (half + (half - front) * ahead)


def _heel(side: Profile, guard: float) -> float:
    """How much farther the upper side stands out round the guard than the lower one, mm.

    Beyond the handle behind it, whose slope in the drawing is taken off.
    """
    size = float(side.u[-1])
    slope = _line(side, (side.back + side.edge) / 2, guard - 0.2 * size, guard - 0.04 * size)[0]
    beyond = (side.u - guard) / size
    hand, near = (beyond > -0.2) & (beyond < -0.07), np.abs(beyond) < 0.07
    out = (side.edge - slope * side.u, slope * side.u - side.back)
    above, below = (float(s[near].max() - np.median(s[hand])) for s in out)
    return above - below
