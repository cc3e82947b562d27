"""The channel: the room for the knife on the flat half pattern, between fold and welt.

Pattern frame of the half: x along the fold from butt to tip, y from the fold (0) to the seam.
The fold is straight. It lies on the knife's back as a ruler would, on the straight line that
leaves the least room; where the back drops away from that line there is room at the fold.

Every section of the knife between throat and tip passes all stations nearer the throat when
the knife is drawn. So the channel is nowhere narrower than what has to pass, up to the grip
that a handle's swell may be squeezed by (a blade's edge is never squeezed: it cuts).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from hides.outline import FloatArray, turned
from nest.errors import KnifeError
from nest.knife import Choices, Knife, profile_of
from nest.sheaths.section import blade_section, fold_allowance, half_girth, handle_section

STATION_STEP = 1.0  # mm between stations, less than the blade's clearance needs
BEND_OUT, BEND_IN = 30.0, 45.0  # mm, least radii where the line from blade to handle swings
WONT_CLOSE, SNUG, EASY = -1.0, 1.0, 3.0  # mm of slack: below, won't close; then snug, easy, loose
OFF, FAR_OFF = 3.0, 8.0  # mm from the fold to the knife's back: room to shift; room to turn in
LIP = 2.0  # mm at the guard where a section may be handle or blade: guards are measured so well
HELD = 0.3  # of the blade from the guard on lies in the swing and is held by the handle
LOOSE_SHARE = 0.25  # of handle or blade that has to be loose before it is worth a word
HEEL, HEEL_RISE, HEEL_REACH = 4.0, 17, 30.0  # mm out within 16 half mm, mm behind the guard
SLOPPY = 8.0  # mm of slack at the handle: more than leather can be formed to
_BEYOND = np.geomspace(0.5, 600, 60)
ARC = 48  # segments in a quarter of an offset's round: within 0.01 mm at 25 mm radius


@dataclass(frozen=True)
class Lie:
    """The knife laid on the fold: x along it, y the depth below it; mm.

    Attributes
    ----------
    points : (n, 2) the knife's outline.
    throat, guard, tip : x.
    shift : x minus u, the distance from the butt in the knife's own frame.
    """

    points: FloatArray
    throat: float
    guard: float
    tip: float
    shift: float


def lie_on_fold(knife: Knife, covered: float) -> Lie:
    """Lay the knife with its back on the fold.

    Of all straight lines that the back between throat and tip doesn't cross, the one that
    leaves the least room is the side of the back's convex hull over the middle of that stretch.

    Parameters
    ----------
    covered : how much of the handle, a share of the way from guard to butt.
    """
    u = np.linspace(knife.guard * (1 - covered), knife.length, 400)
    side = knife.profile(np.r_[knife.guard, u])
    guard, mouth = (side.back + side.edge)[:2] / 2
    hull = shapely.get_coordinates(LineString(np.c_[u, side.back[1:]]).convex_hull)[:-1]
    middle = (u[0] + u[-1]) / 2
    a, b = hull, np.roll(hull, -1, axis=0)
    over = (np.minimum(a[:, 0], b[:, 0]) <= middle) & (middle <= np.maximum(a[:, 0], b[:, 0]))
    over &= np.abs(b[:, 0] - a[:, 0]) > 0
    a, b = a[over], b[over]
    slope = (b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0])
    upper = np.argmin(a[:, 1] + slope * (middle - a[:, 0]))
    angle = math.degrees(math.atan(slope[upper]))

    points = turned(knife.outline.points, -angle)
    spots = turned(np.array([(u[0], mouth), (knife.guard, guard), a[upper]]), -angle)
    points = points - (0.0, spots[2, 1])
    return Lie(
        points=points,
        throat=float(spots[0, 0]),
        guard=float(spots[1, 0]),
        tip=float(points[:, 0].max()),
        shift=float(spots[1, 0]) - knife.guard,
    )


@dataclass(frozen=True)
class Channel:
    """The channel and the stations it was made for; arrays (n,), mm.

    Attributes
    ----------
    lie : the knife on the fold.
    allowance : from the fold to the corner of the blade's back.
    x : stations from throat to tip.
    back, edge : depths of the knife's back and edge.
    needed : leather from the fold to the welt, by girth.
    passing : the most that has to pass here when the knife is drawn.
    available : what the pattern gives.
    slack : available less needed, square to the inner line.
    room : the channel with its mirror image over the fold, open beyond the throat.
    folded : the same in the plane of the welt when the sheath is closed: what goes round a thick
        handle is gone from the depth there.
    """

    lie: Lie
    allowance: float
    x: FloatArray
    back: FloatArray
    edge: FloatArray
    needed: FloatArray
    passing: FloatArray
    available: FloatArray
    slack: FloatArray
    room: Polygon
    folded: Polygon

    def inner(self, x: float) -> float:
        """Distance of the welt's inner line from the fold at x, mm."""
        return float(np.interp(x, self.x, self.available))


def channel_of(knife: Knife, choices: Choices) -> Channel:
    """Find the channel for a knife.

    Raises
    ------
    KnifeError : with the maker's own handle margin the pattern won't close, or the knife can't
        be drawn; with the place and the figures.
    """
    lie = lie_on_fold(knife, choices.handle_covered)
    grow = choices.neutral * choices.leather
    allowance = fold_allowance(knife.blade_thickness, grow)
    x = _stations(lie)
    side = profile_of(lie.points, x)
    back = np.maximum(side.back, 0.0)
    edge = np.maximum(side.edge, back + 0.01)
    thickness = knife.thickness(x - lie.shift)
    h = x < lie.guard
    shape = {"fold": knife.blade_thickness / 2, "grow": grow, "welt": choices.welt_mm / 2}
    needed = np.full_like(x, np.inf)
    b = x >= lie.guard - LIP
    needed[h] = half_girth(
        handle_section(back[h], edge[h], thickness[h], knife.handle_round), **shape
    )
    as_blade = np.minimum(thickness[b], knife.blade_thickness)
    needed[b] = np.minimum(
        needed[b], half_girth(blade_section(back[b], edge[b], as_blade), **shape)
    )
    depth = allowance + edge
    passing, asked = _asked(needed, h, choices)
    deep = _asked(depth, h, choices)[1]
    if choices.handle_margin is not None:
        own = depth + choices.handle_margin - choices.welt
        asked, deep = np.where(h, own, asked), np.where(h, own - needed + depth, deep)
    room, folded = (
        _room(
            x,
            swung(x, line - choices.clearance, h),
            choices.clearance,
            lie.throat - choices.excess - 40,
        )
        for line in (asked, deep)
    )
    available = profile_of(np.asarray(room.exterior.coords[:-1]), x).edge
    slack = _slack(x, needed, available, room)
    channel = Channel(
        lie, allowance, x, back, edge, needed, passing, available, slack, room, folded
    )
    _check(channel, choices)
    return channel


def _asked(need: FloatArray, handle: np.ndarray, choices: Choices) -> tuple[FloatArray, FloatArray]:
    """What has to pass each station (n,) by the need of all deeper ones, and the room asked for."""
    blades = _to_throat(need, ~handle)
    handles = np.maximum(_to_throat(need, handle) - choices.grip, need)
    passing = np.where(handle, np.maximum(blades, handles), blades)
    asked = blades + choices.clearance
    asked[handle] = np.maximum(asked, handles + choices.slack)[handle]
    return passing, asked


def _stations(lie: Lie) -> FloatArray:
    """Stations from throat to tip, one just before and one at the guard."""
    count = math.ceil((lie.tip - lie.throat) / STATION_STEP)
    x = np.linspace(lie.throat, lie.tip, count + 1)
    near = 0.01
    return np.unique(np.r_[x, [lie.guard - near, lie.guard] if lie.guard > lie.throat else []])


def _to_throat(needed: FloatArray, which: np.ndarray) -> FloatArray:
    """The greatest need of the chosen stations from each one on to the tip."""
    chosen = np.where(which, needed, -np.inf)
    most: FloatArray = np.maximum.accumulate(chosen[::-1])[::-1]
    return most


def swung(x: FloatArray, y: FloatArray, handle: np.ndarray) -> FloatArray:
    """The least smooth line over ``y`` (n,), mm, that swings from blade to handle without a kink.

    The handle's needs are carried on towards the tip under parabolas (no bend tighter than
    BEND_OUT where the line turns down), then hollows are filled by parabolas (BEND_IN). Both
    steps only add, and more need never gives less: they are the two envelopes of Lasry and
    Lions (1986, Israel J. Math. 55; from memory), the first drawn from the handle alone.
    """
    gaps = (x[:, None] - x[None, :]) ** 2 / 2
    carried = np.where(handle, y - gaps / BEND_OUT, -np.inf).max(axis=1)
    over = np.maximum(y, carried)
    far = np.r_[x[0] - _BEYOND[::-1], x, x[-1] + _BEYOND]  # a hollow has two banks: none at an end
    reach = (far[:, None] - x[None, :]) ** 2 / (2 * BEND_IN)
    wide = (over - reach).max(axis=1)
    closed: FloatArray = (wide[:, None] + reach).min(axis=0)
    return closed


def _room(x: FloatArray, line: FloatArray, clearance: float, start: float) -> Polygon:
    """The ground under the line and its mirror image, with the blade's clearance all round."""
    above = np.vstack([[start, line[0]], np.c_[x, line]])
    ring = np.vstack([above, above[::-1] * (1.0, -1.0)])
    shape = Polygon(ring).buffer(0)
    grown = shape.buffer(clearance, quad_segs=ARC) if clearance > 0 else shape
    if not isinstance(grown, Polygon):
        raise KnifeError("the knife's outline falls apart between throat and tip.")
    return grown


def _slack(x: FloatArray, needed: FloatArray, available: FloatArray, room: Polygon) -> FloatArray:
    spots = shapely.points(x, needed)
    near = shapely.distance(room.exterior, spots)
    upright = available - needed
    return np.where(upright > 0, np.minimum(upright, near), upright)


def _check(channel: Channel, choices: Choices) -> None:
    """Refuse a pattern that won't close, or a knife that can't be drawn."""
    key = "slack" if choices.handle_margin is None else "handle_margin"
    worst = int(np.argmin(channel.slack))
    if channel.slack[worst] < WONT_CLOSE:
        raise KnifeError(
            f"the sheath won't close: {_place(channel, worst)} the knife needs "
            f"{channel.needed[worst]:.1f} mm of leather from fold to welt and the pattern gives "
            f"{channel.available[worst]:.1f} mm.",
            place=f"[sheath] key '{key}'",
        )
    short = channel.passing - channel.available
    worst = int(np.argmax(short))
    if short[worst] > -WONT_CLOSE:
        raise KnifeError(
            f"the knife can't be drawn: {_place(channel, worst)} the sheath is "
            f"{channel.available[worst]:.1f} mm from fold to welt, and "
            f"{channel.passing[worst]:.1f} mm have to pass.",
            place=f"[sheath] key '{key}'",
        )


def _place(channel: Channel, station: int) -> str:
    return f"{channel.x[station] - channel.lie.shift:.0f} mm from the butt"


def verdict(slack: float) -> str:
    """The slack in mm, to a tenth, in a word."""
    slack = round(slack, 1)
    if slack < WONT_CLOSE:
        return "won't close"
    return "snug" if slack <= SNUG else "easy" if slack <= EASY else "loose"


def standing(off: float) -> str:
    """How far the knife's back stands off the fold, mm to a tenth, in a word; empty where it lies.

    The leather bridges the gap, so the slack says nothing of it.
    """
    off = round(off, 1)
    return "" if off <= OFF else "off" if off <= FAR_OFF else "far off"


def fit_warnings(channel: Channel, alone: Callable[[], str] = str) -> tuple[str, ...]:
    """What the maker should know about the fit, in words.

    ``alone`` tells what to write for a sheath that holds the blade alone, if one can be made.
    """
    lie, said = channel.lie, []
    held = lie.guard + HELD * (lie.tip - lie.guard)
    for name, inside in (("handle", channel.x < lie.guard - LIP), ("blade", channel.x > held)):
        slack = channel.slack[inside]
        if not len(slack) or (slack > EASY).mean() < LOOSE_SHARE:
            continue
        worst = int(np.argmax(slack))
        said.append(
            f"The {name} has up to {slack[worst]:.1f} mm of room "
            f"({_place(channel, int(np.flatnonzero(inside)[worst]))}), because wider parts "
            f"of the knife have to pass there. {_remedy(name, float(slack[worst]), alone)}"
        )
    far = channel.back > FAR_OFF
    if far.mean() >= LOOSE_SHARE:
        worst = int(np.argmax(channel.back))
        said.append(
            f"The knife's back stands up to {channel.back[worst]:.1f} mm off the fold "
            f"({_place(channel, worst)}), because the fold is straight and the back isn't. "
            "There the leather only bridges the gap: the knife can turn towards the fold."
        )
    return tuple(said)


def heel_warnings(knife: Knife) -> tuple[str, ...]:
    """Where something stands out of the handle just behind the guard, taken as thick as it, though
    no thickness was given there: a blade's heel is thin.
    """
    u = np.arange(knife.guard - HEEL_REACH, knife.guard - LIP, 0.5)
    edge = knife.profile(u).edge
    nearer = np.lib.stride_tricks.sliding_window_view(edge, HEEL_RISE)[:, 0]
    out = edge[HEEL_RISE - 1 :] - nearer
    thick = knife.thickness(u)
    if out.max(initial=0.0) < HEEL:
        return ()
    top = int(np.argmax(out)) + HEEL_RISE - 1
    start = float(u[top - HEEL_RISE + 1])
    given = any(start - 1 <= at <= knife.guard for at, _ in knife.handle_thickness)
    if given or thick[top] <= 2 * knife.blade_thickness:
        return ()
    rows = [*((at, mm) for at, mm in knife.handle_thickness if at < start), (start, thick[top])]
    rows.append((start + 1, knife.blade_thickness))
    stations = ", ".join(f"[{at:.0f}, {mm:g}]" for at, mm in rows)
    return (
        f"From {start:.0f} mm from the butt to the guard the outline stands {out.max():.1f} mm out "
        f"of the handle, and it is taken to be as thick as the handle, {thick[top]:g} mm. If that "
        f"is the blade's heel or a thin guard, say so: handle_thickness = [{stations}].",
    )


def _remedy(name: str, slack: float, alone: Callable[[], str]) -> str:
    if name == "blade":
        return "It can rattle there."
    if slack > SLOPPY:
        how = alone()
        more = "That is more than leather can be formed to."
        return (
            f"With {how} the sheath holds the blade alone, and a strap the handle." if how else more
        )
    return "Forming the wet leather round the handle takes up some of it."
