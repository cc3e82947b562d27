"""Blade: what a knife's pivot must do, so that its tip follows the pattern.

A drag knife's tip trails its pivot by the offset d, and points where it goes. So the pivot is
always led by d ahead of the tip, along the blade:

* on a straight cut it runs d ahead, and so passes a corner by d;
* at a corner it swings round the tip on an arc of radius d, from the old heading to the new;
* on a curve of radius R it runs on radius √(R² + d²): for 5 and 3 that is 5.831.

The blade keeps its heading while it is lifted, so each stroke begins with a swing from the
heading in which the last one ended; then it runs in through waste. For that swing its tip is
lowered only so far that it holds in the leather, and to full depth after it. Before the very
first stroke the heading is unknown: begin with :func:`aligning` in scrap. A blade exactly against
its way never turns (an unstable balance), which is why that stroke has a bend. Marks that the
blade draws are led in the same way; only it touches the leather and no more.

Tangential and oscillating knives are turned by their machine; they run past sharp corners in
waste, are lifted, turned and put down again. Beams and pens go where the line is. All of it is
kinematics of a rigid link, derived; `tests/castor.py` drags a blade along to see.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from shapely import LineString, Polygon, STRtree

from hides.outline import FloatArray
from nest.cutter.contour import Contour
from nest.cutter.machine import Machine
from nest.cutter.stroke import DOWN, SWIVEL, TOUCH, Stroke, along
from nest.errors import CutError

LEAD_ANGLES = (30.0, 20.0, 12.0, 6.0, 3.0)  # degrees off the cut, the steepest that has room
LEAD_SHARES = (1.0, 0.5, 0.25)  # of the lead-in asked, the longest that has room
LEAD_CLEAR = 0.3  # mm that a lead-in stays off other parts
SETTLED = 8.0  # offsets of straight way in which a blade finds its heading: e⁻⁸ is 0.03 %
CURVE_TURN = 60.0  # degrees of steady turning that make a curve; less is a corner or a kink
SAME_HEADING = 0.01  # degrees; headings nearer than this are one
FLAT_ARC = 0.002  # mm; a swing that leaves its chord by less is drawn as the chord


@dataclass(frozen=True, slots=True)
class _Leg:
    """A line or an arc of the tip's way; ``bulge`` as in a contour."""

    p: FloatArray
    q: FloatArray
    bulge: float = 0.0
    height: str = DOWN

    @property
    def sweep(self) -> float:
        """Angle of the arc in degrees, + counter-clockwise, 0 for a line."""
        return math.degrees(4 * math.atan(self.bulge))

    @property
    def headings(self) -> tuple[float, float]:
        """Direction of travel in degrees where it begins and where it ends."""
        chord = math.degrees(math.atan2(*(self.q - self.p)[::-1]))
        return chord - self.sweep / 2, chord + self.sweep / 2

    @property
    def length(self) -> float:
        half = math.radians(self.sweep / 2)
        chord = math.hypot(*(self.q - self.p))
        return chord * half / math.sin(half) if half else chord

    @property
    def radius(self) -> float:
        return self.length / abs(math.radians(self.sweep)) if self.bulge else math.inf

    def first(self, share: float) -> _Leg:
        """The first part of it."""
        if not self.bulge:
            return replace(self, q=self.p + share * (self.q - self.p))
        half = math.radians(self.sweep / 2)
        chord = math.sin(share * half) / math.sin(half)
        turned = _unit(math.degrees(half * (share - 1)), self.q - self.p)
        return replace(self, q=self.p + chord * turned, bulge=math.tan(share * half / 2))


@dataclass(slots=True)
class _Way:
    """A stroke while it is drawn."""

    points: list[FloatArray]
    bulges: list[float] = field(default_factory=list)
    heights: list[str] = field(default_factory=list)

    def to(self, point: FloatArray, bulge: float = 0.0, height: str = DOWN) -> None:
        self.points.append(point)
        self.bulges.append(bulge)
        self.heights.append(height)

    def stroke(self, contour: Contour, passes: int) -> Stroke:
        bulges = np.array([*self.bulges, 0.0])
        return Stroke(
            points=np.array(self.points),
            work=contour.work,
            part=contour.part,
            closed=False,
            bulges=bulges if bulges.any() else None,
            what=contour.what,
            heights=tuple(self.heights) if {*self.heights} - {DOWN} else None,
            passes=passes,
        )


def strokes(
    contours: Sequence[Contour], machine: Machine, *, heading: float = 0.0
) -> tuple[Stroke, ...]:
    """The tool's way for each contour, in the same order and from its first point on.

    Parameters
    ----------
    contours : in the order they are cut, kerf taken into account; closed ones had better begin
        on a straight run.
    heading : degrees, where a drag knife's blade points before the first stroke.

    Raises
    ------
    CutError : a curve tighter than the blade turns; part and place are named.
    """
    room = _Room(contours)
    found = []
    for k, contour in enumerate(contours):
        if machine.leads(contour.work):
            stroke, heading = _dragged(contour, machine, heading, room.lead_in(k, machine))
            found.append(stroke)
        elif contour.work == "mark" or not machine.is_knife:
            found.append(along(contour, 1 if contour.work == "mark" else machine.passes))
        else:
            found.append(_driven(contour, machine))
    return tuple(found)


def aligning(
    at: Sequence[float], machine: Machine, heading: float = 0.0, work: str = "cut"
) -> Stroke:
    """A bent stroke in scrap after which a drag knife's blade points to ``heading`` degrees.

    The pivot starts at ``at`` (mm), goes eight offsets to the left of ``heading`` and then eight
    along it, so that even a blade that lay against the first leg turns in the second. It is made
    as strokes of that ``work`` are, at their depth.
    """
    ahead = SETTLED * machine.offset * _unit(heading)
    first = np.asarray(at, dtype=np.float64)
    bend = first + _unit(90.0, ahead)
    return Stroke(np.array([first, bend, bend + ahead]), False, work, "", what="align")


# --- drag knife ------------------------------------------------------------------------------


def _dragged(
    contour: Contour, machine: Machine, heading: float, lead: FloatArray | None
) -> tuple[Stroke, float]:
    """The pivot's way for one contour, and the blade's heading at its end."""
    legs, marks = _legs(contour), contour.work == "mark"
    if not marks:  # a tip that only touches the leather turns in any curve
        _turnable(legs, contour, machine)
    passes = 1 if marks else machine.passes
    if contour.closed and not marks:
        legs += list(_again(legs, machine.overcut))
    if lead is not None:
        legs.insert(0, _Leg(lead, legs[0].p))
    d, blade = machine.offset, heading
    way = _Way([legs[0].p + d * _unit(blade)])
    for k, leg in enumerate(legs):
        first, last = leg.headings
        if k == 0:
            _swing(way, leg.p, blade, first, machine, TOUCH)
        else:
            lifted = abs(_turn(blade, first)) > machine.turn_from
            _swing(way, leg.p, blade, first, machine, SWIVEL if lifted else DOWN)
        way.to(leg.q + d * _unit(last), leg.bulge)
        blade = last
    if passes > 1:
        # every pass comes down at the same place, so each must find the blade as the first did
        _swing(way, legs[-1].q, blade, heading, machine, SWIVEL)
        blade = heading
    return way.stroke(contour, passes), blade


def _swing(
    way: _Way, tip: FloatArray, old: float, new: float, machine: Machine, height: str
) -> None:
    """Swing the pivot round the tip, at a height."""
    turn = _turn(old, new)
    if abs(turn) < SAME_HEADING:
        return
    d = machine.offset
    height = DOWN if height == SWIVEL and not machine.turn_height else height
    round_ = d * (1 - math.cos(math.radians(turn) / 2)) > FLAT_ARC
    bulge = math.tan(math.radians(turn) / 4) if round_ else 0.0
    way.to(tip + d * _unit(new), bulge, height)


def _turnable(legs: list[_Leg], contour: Contour, machine: Machine) -> None:
    """Refuse curves that the blade, buried in leather, can't follow."""
    least = machine.turns_in
    for leg in legs:
        if leg.radius < least:
            raise _too_tight(leg.p, leg.radius, contour, machine)
    turned, run = 0.0, 0.0
    for old, new in pairwise(legs):
        turn = _turn(old.headings[1], new.headings[0])
        step = (old.length + new.length) / 2
        # a corner is swung round, and a curve wide enough ends the run
        bends = SAME_HEADING < abs(turn) <= machine.turn_from
        if not bends or step >= least * math.radians(abs(turn)) or turn * turned < 0:
            turned, run = 0.0, 0.0
            continue
        turned, run = turned + turn, run + step
        if abs(turned) > CURVE_TURN:
            raise _too_tight(new.p, run / math.radians(abs(turned)), contour, machine)


def _too_tight(at: FloatArray, radius: float, contour: Contour, machine: Machine) -> CutError:
    return CutError(
        f"the curve at ({at[0]:.1f}, {at[1]:.1f}) on the bed has a radius of {radius:.2g} mm, and "
        f"the blade of {machine.name} turns in {machine.turns_in:g} mm.",
        mend="Take a blade with less offset, or cut it by hand.",
        place=f"part '{contour.part}', {contour.what or contour.work}",
    )


# --- knives that their machine turns ---------------------------------------------------------


def _driven(contour: Contour, machine: Machine) -> Stroke:
    """Along the contour; past sharp corners into waste, lifted, and down again before the next."""
    legs = _legs(contour)
    _turnable(legs, contour, machine)
    way = _Way([legs[0].p])
    if contour.closed:
        legs += list(_again(legs, machine.overcut))
    for k, leg in enumerate(legs):
        turn = _turn(legs[k - 1].headings[1], leg.headings[0]) if k else 0.0
        if abs(turn) > machine.lift_threshold:
            _overrun(way, leg, legs[k - 1], turn, machine)
        way.to(leg.q, leg.bulge)
    return way.stroke(contour, machine.passes)


def _overrun(way: _Way, leg: _Leg, before: _Leg, turn: float, machine: Machine) -> None:
    """Lift and turn at a corner; only where the turn is to the left does waste lie ahead."""
    over = machine.overcut if turn > 0 else 0.0
    if over:
        way.to(leg.p + over * _unit(before.headings[1]))
    way.to(leg.p - over * _unit(leg.headings[0]), 0.0, SWIVEL)
    if over:
        way.to(leg.p)


# --- room for lead-ins -----------------------------------------------------------------------


class _Room:
    """The waste between the parts, where blades find their heading."""

    def __init__(self, contours: Sequence[Contour]) -> None:
        self.contours = contours
        self.shapes = {k: Polygon(c.flat()) for k, c in enumerate(contours) if c.closed}
        self.cuts = [k for k in self.shapes if contours[k].work == "cut"]
        self.tree = STRtree([self.shapes[k] for k in self.cuts])

    def lead_in(self, k: int, machine: Machine) -> FloatArray | None:
        """Where in waste the k-th contour's blade comes down; None where there is no room.

        Without room the blade still has the heading it was swung to.
        """
        contour = self.contours[k]
        if not contour.closed or contour.work == "mark" or machine.lead_in <= 0:
            return None
        start, (first, _) = contour.points[0], _legs(contour)[0].headings
        for share in LEAD_SHARES:
            for angle in LEAD_ANGLES:
                # waste is on the right, so the way back into it turns to the left of backwards
                at = start - share * machine.lead_in * _unit(first + angle)
                if self._free(k, LineString([at, start])):
                    return np.asarray(at, dtype=np.float64)
        return None

    def _free(self, k: int, line: LineString) -> bool:
        own = self.shapes[k]
        if self.contours[k].inside:
            return bool(own.buffer(1e-6).contains(line))
        if own.intersection(line).length > 1e-6:
            return False
        near = self.tree.query(line, predicate="dwithin", distance=LEAD_CLEAR)
        return all(self.cuts[i] == k for i in near.tolist())


# --- legs ------------------------------------------------------------------------------------


def _legs(contour: Contour) -> list[_Leg]:
    return [_Leg(p, q, bulge) for p, q, bulge in contour.segments()]


def _again(legs: list[_Leg], length: float) -> Iterator[_Leg]:
    """The way's first ``length`` mm once more."""
    for leg in legs:
        if length <= 1e-9:
            return
        yield leg if leg.length <= length else leg.first(length / leg.length)
        length -= leg.length


def _turn(old: float, new: float) -> float:
    """The shorter way from one heading to another, degrees in (-180, 180]."""
    return 180.0 - (180.0 - (new - old)) % 360.0


def _unit(angle: float, base: FloatArray | None = None) -> FloatArray:
    """``base``, (1, 0) unless given, turned by ``angle`` degrees."""
    x, y = (1.0, 0.0) if base is None else base
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return np.array([c * x - s * y, s * x + c * y])


def offset_coupon(x: float = 0.0, y: float = 0.0) -> tuple[Contour, ...]:
    """Pairs of cuts that come from both sides and stop at one line, uncompensated.

    Each cut ends one offset short of the line, so between the ends of a pair stay two offsets:
    :func:`offset_of`. Every cut begins with a bend, in which the blade finds its heading. The
    whole lies in 100 × 40 mm from its corner (x, y).
    """
    found = []
    for row in range(3):
        for side in (-1.0, 1.0):
            end = np.array([x + 50.0, y + 10.0 + 10.0 * row])
            way = np.array([[side * 46.0, -6.0], [side * 40.0, 0.0], [0.0, 0.0]])
            found.append(Contour(end + way, False, "cut", "coupon"))
    return tuple(found)


def offset_of(between: float) -> float:
    """The offset in mm from the distance between the ends of a pair: half of it.

    Derived, no published source: each tip stops one offset behind its pivot.

    Raises
    ------
    CutError : the ends overlap or meet.
    """
    if between <= 0:
        raise CutError(
            "the cuts of the pair meet or overlap, which leaves no offset.",
            mend="If your controller compensates the blade already, give offset 0 there.",
        )
    return between / 2
