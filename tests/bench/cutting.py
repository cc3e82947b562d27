"""Cut by simulation and measure: what the kerf and a trailing blade leave of the pattern.

    python -m tests.bench.cutting [--plan PLAN] [--week WEEK]

First table: a disc as wide as the kerf is swept along each path, and what is left of every part
and hole is compared with the pattern. Asked: within 0.05 mm.

Second table: a castor blade (tests/castor.py) is dragged behind the path of its pivot, through
all parts of the plan and some shapes with sharp corners and true arcs, its heading carried from
cut to cut. Asked: within 0.15 mm at corners and 0.05 mm on curves. Its rows:

* raw: the pivot follows the pattern itself, as without any compensation;
* led: the path as it is;
* hpgl: as an HPGL file holds it: arcs as chords, points 0.1 mm apart, whole units of 0.025 mm;
* worn: the blade's true offset is 0.1 mm more than the profile says;
* blind: the blade points 90° off where it is thought to when it comes down (the shapes only,
  which have room for a lead-in of eight offsets).

The floors are for led and hpgl; worn and blind say what a cut forgives.

Third table: whole programs on a bed of 1200 × 800 mm whose blade also marks (crosses at stitch
places, registration marks), dragged stroke by stroke from a heading that nobody knows. How far
the worst mark lies off, to either side. Asked: within 0.1 mm.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import LinearRing, LineString, Polygon

from hides import record
from hides.outline import FloatArray
from nest import planning, plans, week
from nest.cutter.blade import aligning, strokes
from nest.cutter.contour import QUARTER, Contour, backwards, circle, contours
from nest.cutter.formats import hpgl
from nest.cutter.formats.lines import flattened
from nest.cutter.kerf import compensated
from nest.cutter.machine import Machine
from nest.cutter.program import build
from nest.cutter.stroke import Stroke
from nest.job import Job
from nest.plans import Placement, Plan
from tests import castor

WEEK = Path("shared/weeks/week-12.week.toml")
EFFORT = 0.05  # a hasty plan does: parts lie close all the same
KERFS = (0.1, 0.2, 0.3, 0.5)
OFFSETS = (0.25, 0.5, 1.0, 2.0, 3.0, 4.0)
WAYS = ("raw", "led", "hpgl", "worn", "blind")
EVERY = 5  # of the tip's places one is judged, 0.04 mm apart
CORNER = 20.0  # degrees that make a corner of the pattern
FINE = 0.2  # mm between the points that distances are taken at
SEGMENTS = 64  # chords in a quarter of the beam's disc


def laid(job: Job, width: float = 1500.0) -> Plan:
    """All parts of a job in rows, a gap apart: a plan to cut, without any search."""
    spots, x, y, high = [], job.gap, job.gap, 0.0
    for wanted in job.parts:
        left, low, right, top = wanted.part.outline.bounds
        if x + right - left > width:
            x, y, high = job.gap, y + high + job.gap, 0.0
        spots.append(Placement(wanted.id, 0.0, x - left, y - low))
        x, high = x + right - left + job.gap, max(high, top - low)
    return Plan(
        name=job.name,
        wanted=job.parts,
        hide_name="rows",
        hide_sha256="",
        hide_file="",
        placements=tuple(spots),
        gap=job.gap,
        edge_margin=job.edge_margin,
        keep="none",
        seed=0,
        budget="",
    )


def machine(tool: str, **changes: object) -> Machine:
    """A profile whose bed holds everything."""
    return Machine("bench", tool, (9000.0, 9000.0), **changes)  # type: ignore[arg-type]


# --- kerf ------------------------------------------------------------------------------------


def swept(path: Contour, kerf: float) -> Polygon:
    """What a disc as wide as the kerf leaves inside a path, or has cut away inside it."""
    ring = LinearRing(path.flat(0.0005))
    burnt = ring.buffer(kerf / 2, quad_segs=SEGMENTS)
    inner = Polygon(ring)
    left = inner.union(burnt) if path.inside else inner.difference(burnt)
    return max(getattr(left, "geoms", (left,)), key=lambda p: float(p.area))


def apart(a: Polygon, b: Polygon) -> float:
    """The largest distance in mm of a point on either rim from the other rim."""
    rims = [p.exterior for p in (a, b)]
    points = [shapely.points(shapely.segmentize(rim, FINE).coords) for rim in rims]
    return max(float(rims[1 - k].distance(points[k]).max()) for k in (0, 1))


def kerf_row(pattern: Sequence[Contour], kerf: float) -> tuple[float, float, float]:
    """Worst deviation of outlines and of holes, and of outlines that are not compensated."""
    closed = distinct(pattern)
    paths = compensated(closed, kerf)
    found: dict[bool, list[float]] = {True: [0.0], False: [0.0]}
    for contour, path in zip(closed, paths, strict=True):
        shape = Polygon(contour.flat(0.0005))
        found[contour.inside].append(apart(swept(path, kerf), shape))
    raw = max(apart(swept(c, kerf), Polygon(c.points)) for c in closed if not c.inside)
    return max(found[False]), max(found[True]), raw


# --- blade -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cut:
    """How far a dragged tip strayed from its contours, mm.

    ``corner`` near corners and ``curve`` elsewhere, ``uncut`` the farthest point of the pattern
    from the tip's way.
    """

    corner: float = 0.0
    curve: float = 0.0
    uncut: float = 0.0

    def with_(self, other: Cut) -> Cut:
        return Cut(*map(max, astuple(self), astuple(other)))


def shapes(x: float = 0.0, y: float = -400.0) -> tuple[Contour, ...]:
    """Closed cuts that are hard on a blade: spikes, bays, true arcs of radius 5 and more."""
    at, step = np.array([x, y]), np.array([100.0, 0.0])
    turns = np.radians(np.arange(10) * 36.0)
    star = np.where(np.arange(10) % 2, 12.0, 40.0)[:, None] * np.stack(
        [np.cos(turns), np.sin(turns)], -1
    )
    notched = np.array([(0, 0), (60, 0), (60, 40), (35, 40), (30, 15), (25, 40), (0, 40.0)])
    slot = np.array([(5.0, 0.0), (55.0, 0.0), (60.0, 5.0), (60.0, 35.0), (55.0, 40.0), (5.0, 40.0),
                     (0.0, 35.0), (0.0, 5.0)])  # fmt: skip
    arcs = np.array([0.0, QUARTER] * 4)
    wavy = np.array([(0.0, 0.0), (20.0, 0.0), (40.0, 0.0), (60.0, 0.0), (60.0, 50.0), (0.0, 50.0)])
    return (
        Contour(_begun(star) + at, True, "cut", "star"),
        Contour(_begun(notched) + at + step, True, "cut", "notched"),
        Contour(slot + at + 2 * step, True, "cut", "rounded", arcs),
        Contour(wavy + at + 3 * step, True, "cut", "wavy", np.array([0, 0.4, -0.4, 0, 0, 0.0])),
        replace(backwards(circle((x + 430, y + 20), 20.0, "disc", "cut")), inside=False),
    )


def _begun(ring: FloatArray) -> FloatArray:
    """The ring from the middle of its first side on."""
    return np.concatenate([[(ring[0] + ring[1]) / 2], ring[1:], ring[:1]])


def distinct(pattern: Sequence[Contour]) -> list[Contour]:
    """The closed cuts and holes of a pattern, each shape once."""
    closed = [c for c in pattern if c.closed and c.work != "mark"]
    return list({(len(c.points), round(c.area, 3)): c for c in closed}.values())


def castor_row(pattern: Sequence[Contour], offset: float, way: str) -> Cut:
    """Drag a blade through all closed cuts of a pattern in one of :data:`WAYS`."""
    knife = machine(
        "drag", offset=offset, overcut=2.0, lead_in=8 * offset, holes="none", turn_height=1.0
    )
    cuts = [c for c in distinct(pattern) if c.work == "cut"]
    first = aligning((-200.0, -200.0), knife)
    paths = strokes(cuts, knife, heading=0.0)
    true = offset + 0.1 if way == "worn" else offset
    _, heading = _drag(first, 143.0, true)
    worst = Cut()
    for contour, path in zip(cuts, paths, strict=True):
        if way == "raw":
            path = _raw(contour)
        if way == "hpgl":
            path = _in_units(path)
        if way == "blind":
            heading += 90.0
        tips, after = _drag(path, heading, true)
        worst = worst.with_(_judged(contour, tips, offset))
        heading = after
    return worst


def marks_row(plan: Plan, offset: float) -> tuple[int, float]:
    """How many lines the blade marks in all programs of a plan, and how far off the worst is."""
    knife = replace(
        machine("drag", offset=offset, overcut=2.0, lead_in=8 * offset, holes="cross", hole=1.5,
                marker="blade", turn_height=3.0),
        bed=(1200.0, 800.0),
    )  # fmt: skip
    far = [0.0]
    for made in build(plan, knife):
        heading = 143.0
        for stroke, contour in zip(made.strokes, made.pattern, strict=True):
            tips, heading = _drag(stroke, heading, offset)
            if contour.work == "mark" and contour.what != "align":
                arm = LineString(contour.flat(0.001))
                far.append(float(LineString(tips[::EVERY]).hausdorff_distance(arm)))
    return len(far) - 1, max(far)


def _drag(path: Stroke, heading: float, offset: float) -> tuple[FloatArray, float]:
    way, _ = castor.walked(path.points, path.bulges, path.closed)
    tips = castor.dragged(way, heading, offset)
    return tips, castor.heading_of(way[-1], tips[-1])


def _raw(contour: Contour) -> Stroke:
    """The pivot goes round the pattern, and 2 mm on."""
    ring = contour.flat(0.001)
    again = LinearRing(ring)
    over = [again.interpolate(s).coords[0] for s in np.linspace(0, 2, 9)[1:]]
    return Stroke(np.concatenate([ring, ring[:1], over]), False, "cut", contour.part)


def _in_units(path: Stroke) -> Stroke:
    points = np.round(flattened(path, hpgl.CHORD, 0.1) * hpgl.UNITS) / hpgl.UNITS
    keep = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 0])
    return Stroke(points[keep], False, "cut", path.part)


def _judged(contour: Contour, tips: FloatArray, offset: float) -> Cut:
    """From the tip's nearest approach to the start, the run through waste is over."""
    flat = contour.flat(0.0005)
    early = min(len(tips), int((9 * offset + math.pi * offset + 1) / castor.STEP))
    begun = int(np.argmin(np.hypot(*(tips[:early] - contour.points[0]).T)))
    tips_ = tips[begun::EVERY]
    strayed = LinearRing(flat).distance(shapely.points(tips_))
    corners = shapely.multipoints(_corners(contour))
    near = corners.distance(shapely.points(tips_)) < 2 * offset + 0.5
    pattern = shapely.points(shapely.segmentize(LinearRing(flat), 0.5).coords)
    uncut = LineString(tips_).distance(pattern).max()
    worst = (strayed[near].max(initial=0.0), strayed[~near].max(initial=0.0), uncut)
    return Cut(*map(float, worst))


def _corners(contour: Contour) -> FloatArray:
    points = contour.flat(0.0005)
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    turn = np.degrees(
        np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(1))
    )
    return points[np.abs(turn) > CORNER]


# --- the command -----------------------------------------------------------------------------


def planned(path: Path) -> Plan:
    """A hasty plan of a week on the first of its hides."""
    job = replace(week.job_of(week.read(path)), keep="neck")  # as in all results
    return planning.plan_week(job, record.read(job.hides[0]), effort=EFFORT).plan


def main(arguments: Sequence[str] | None = None) -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--plan", type=Path, help="a plan file")
    parser.add_argument("--week", type=Path, default=WEEK, help=f"a week file ({WEEK})")
    given = parser.parse_args(arguments)
    plan = plans.read(given.plan) if given.plan else planned(given.week)
    pattern = contours(plan, machine("laser"))
    print(f"{plan.name}: {len(plan.placements)} parts, {len(pattern)} contours")
    print("\nkerf    outlines  holes     not compensated   (mm, worst)")
    for kerf in KERFS:
        outlines, holes, raw = kerf_row(pattern, kerf)
        print(f"{kerf:<7g} {outlines:<9.4f} {holes:<9.4f} {raw:.4f}")
    print("\noffset  way      corners   curves    uncut     (mm, worst)")
    cuts = [c for c in pattern if c.work == "cut"] + list(shapes())
    for offset in OFFSETS:
        for way in WAYS:
            cut = castor_row(shapes() if way == "blind" else cuts, offset, way)
            row = f"{offset:<7g} {way:<8} {cut.corner:<9.4f} {cut.curve:<9.4f} {cut.uncut:.4f}"
            print(row, flush=True)
    print("\noffset  marks    worst   (mm)")
    for offset in OFFSETS[2:]:
        count, worst = marks_row(plan, offset)
        print(f"{offset:<7g} {count:<8} {worst:.4f}", flush=True)


if __name__ == "__main__":
    main()
