"""Reckoning: what a file of one format makes its tool do: strokes, ways and time.

The strokes of a program are the same in all formats, and what becomes of them is not: an SVG is
cut layer by layer, a knife that its machine turns comes down anew after each sharp corner, and
every pass is a stroke of its own. So each format has its own figures.

Time is reckoned as controllers plan it, each run of the tool from rest to rest: it speeds up and
slows down by the profile's acceleration, and passes a corner the slower, the sharper it is. A
corner's speed is that of a small arc beside it (grbl 1.1, ``planner.c``, junction deviation
0.01 mm, its default; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, pairwise

import numpy as np

from hides.outline import FloatArray
from nest.cutter.formats import feed_in, made_in
from nest.cutter.formats.gcode import levels
from nest.cutter.machine import Machine
from nest.cutter.program import Program
from nest.cutter.route import travel_of
from nest.cutter.stroke import DOWN, Stroke

JUNCTION = 0.01  # mm
CHORD = 0.02  # mm, how far the chords that are reckoned with may be off their arcs


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What a file makes its tool do.

    Attributes
    ----------
    strokes : how often the tool comes down.
    cut, travel : mm with the tool down, all passes; and up, from where it starts and back.
    seconds : estimated time.
    """

    strokes: int
    cut: float
    travel: float
    seconds: float


def reckoned(program: Program, form: str) -> Reckoned:
    """Reckon a program's file in ``form``, one of :data:`nest.cutter.formats.SUFFIXES`."""
    machine, made = program.machine, made_in(program, form)
    x, y = machine.counted(np.array([program.start]))[0].tolist()
    ends = [(x, y), *(end for stroke in made for end in (stroke.start, stroke.end)), (x, y)]
    hops = [math.dist(here, there) for here, there in zip(ends[::2], ends[1::2], strict=True)]
    up = sum(_straight(hop, machine.feed_travel, machine.acceleration) for hop in hops)
    down = sum(_stroke_seconds(stroke, machine, form) for stroke in made)
    cut = sum(stroke.length for stroke in made)
    return Reckoned(len(made), cut, travel_of(made, (x, y)), up + down)


def run_seconds(points: FloatArray, feed: float, acceleration: float) -> float:
    """Time along (n, 2) points in mm from rest to rest, s; mm/s and mm/s²."""
    moves = np.diff(points, axis=0)
    sizes = np.hypot(*moves.T)
    moves, sizes = moves[sizes > 0], sizes[sizes > 0]
    if not len(sizes):
        return 0.0
    ways = moves / sizes[:, None]
    half = np.sqrt(np.clip((1 + (ways[1:] * ways[:-1]).sum(axis=1)) / 2, 0.0, 1.0))
    corners = acceleration * JUNCTION * half / np.maximum(1 - half, 1e-12)
    squares = np.concatenate([[0.0], np.minimum(corners, feed**2), [0.0]])
    gains = 2 * acceleration * sizes
    for turn in (slice(None, None, -1), slice(None)):  # slow enough for what comes; for what was
        squares[turn] = list(_reached(squares[turn].tolist(), gains[turn].tolist()))
    first, last = squares[:-1], squares[1:]
    peak = np.sqrt(np.minimum((first + last + gains) / 2, feed**2))
    ramps = (2 * peak - np.sqrt(first) - np.sqrt(last)) / acceleration
    even = (sizes - (2 * peak**2 - first - last) / (2 * acceleration)) / peak
    return float((ramps + np.maximum(even, 0.0)).sum())


def _reached(limits: Sequence[float], gains: Sequence[float]) -> Iterator[float]:
    """Squares of speeds that are reached from one place to the next, and not above limits."""
    rows = zip(limits[1:], gains, strict=True)
    return accumulate(rows, lambda now, row: min(row[0], now + row[1]), initial=limits[0])


def _straight(length: float, feed: float, acceleration: float) -> float:
    """Time along a straight way from rest to rest, s."""
    if length >= feed**2 / acceleration:
        return length / feed + feed / acceleration
    return 2 * math.sqrt(length / acceleration)


def _stroke_seconds(stroke: Stroke, machine: Machine, form: str) -> float:
    """Time with the tool down, and to lower and lift it, s."""
    feed, hurry = feed_in(machine, stroke.work, form), machine.acceleration
    if form != "gcode" or not machine.is_knife:
        return run_seconds(_flat(stroke), feed, hurry) + machine.seconds_per_stroke
    seconds, heights = 0.0, levels(machine, stroke.work)
    visited = [machine.z_travel]
    for height, moves in groupby(stroke.moves(), key=lambda move: move[3]):
        pieces = [Stroke(np.stack([p, q]), False, "", "", np.array([b, b])) for p, q, b, _ in moves]
        way = [piece.flat(CHORD) for piece in pieces]
        seconds += run_seconds(np.concatenate(way), feed, hurry)
        visited.append(heights[height])
    sinks = [abs(high - low) for high, low in pairwise(visited)]
    seconds += sum(_straight(sink, feed, hurry) for sink in sinks)
    return seconds + _straight(machine.z_travel - heights[DOWN], machine.feed_travel, hurry)


def _flat(stroke: Stroke) -> FloatArray:
    points = stroke.flat(CHORD)
    return np.vstack([points, points[:1]]) if stroke.closed else points
