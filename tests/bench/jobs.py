"""Many random small jobs: whatever plan comes back must pass the checker.

    python -m tests.bench.jobs --jobs 10000 --seed 1

A job is drawn from its number alone: parts (bars, ells, stars, bent strips) with faces,
windows and needs, and a hide with holes, flaws of any kind and side, readings or zones, and
lines of stretch. That no plan is found is a fair outcome and is counted; that the checker
refuses one, or anything else raised, is a failure and is printed with the job's number.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np
import shapely
from shapely import LineString, Polygon, box

from hides import flaws, stretch
from hides.flaws import FACES, SIDES, Flaw
from hides.hide import Hide
from hides.outline import FloatArray, Outline, polygons_of
from hides.thickness import Need, Reading, Zone
from nest import checker, planning, plans
from nest.errors import NoPlan
from nest.job import KEEPS, PREFERS, Job, Kit, Pin, Wanted
from nest.part import KINDS, Part, Region
from nest.place import search
from nest.plans import Plan, placed_outline

EFFORT = 0.0005
LEATHER = 3.2  # mm, about what hides have and parts ask for
LEAST_FACE = 40.0  # mm²; smaller pieces of a cut part join no region of their own


@dataclass(frozen=True, slots=True)
class Result:
    """How a job ended: "planned", "none" or "failed", why, parts placed, checks that refused."""

    number: int
    outcome: str
    says: str
    parts: int
    refusals: int


def run(number: int, effort: float = EFFORT) -> Result:
    """Plan job ``number``, and judge what comes back once more.

    Every fifth job that has a plan is planned again with one of its parts pinned where it lies, and
    every fifth with half of its parts cut already.
    """
    refusals = 0

    def counted(*given: object) -> tuple[checker.Finding, ...]:
        nonlocal refusals
        found = checker.check(*given)
        refusals += bool(found)
        return found

    job, hide = drawn(number)
    placed, says = 0, ""
    try:
        with mock.patch.object(planning, "check", counted):
            plan = planning.plan_week(job, hide, effort=effort, partial=number % 3 > 0).plan
            says = _wrong(plan, hide)
            placed = len(plan.placements)
            if number % 5 == 0 and not says:
                pinned = _with_a_pin(job, plan)
                again = planning.plan_week(pinned, hide, effort=effort, partial=True).plan
                says = _wrong(again, hide) or _moved(pinned.pins[0], again)
            if number % 5 == 1 and not says:
                begun = _half_cut(job, plan)
                again = planning.plan_week(begun, hide, effort=effort, partial=True).plan
                says = _wrong(again, hide) or _not_gone(plan, begun, again)
    except NoPlan as error:
        outcome = "failed" if refusals else "planned" if placed else "none"
        return Result(number, outcome, str(error), placed, refusals)
    except Exception as error:  # whatever it is, it is what the bench is looking for
        return Result(number, "failed", repr(error), placed, refusals)
    return Result(number, "failed" if says else "planned", says, placed, refusals)


def _wrong(plan: Plan, hide: Hide) -> str:
    """What the checker has to say against a plan."""
    return "; ".join(finding.says for finding in checker.check(plan, hide))


def _with_a_pin(job: Job, plan: Plan) -> Job:
    at = plan.placements[job.seed % len(plan.placements)]
    return replace(job, pins=(Pin(at.id, at.x, at.y, at.angle),))


def _half_cut(job: Job, plan: Plan) -> Job:
    """The job after every other part of its plan was cut."""
    cut = plan.placements[job.seed % 2 :: 2]
    return replace(job, pins=tuple(Pin(at.id, at.x, at.y, at.angle, cut=True) for at in cut))


def _not_gone(before: Plan, begun: Job, plan: Plan) -> str:
    """That a part which is cut doesn't lie where it lay, or leather that is gone is planned on."""
    lay = {p.id: p for p in before.placements}
    if {p.id: p for p in plan.cut} != {pin.part: lay[pin.part] for pin in begun.pins}:
        return f"cut are {sorted(begun.cut)}, and the plan has {[p.id for p in plan.cut]}"
    gone = shapely.union_all([placed_outline(plan, p).polygon for p in plan.cut])
    near = [shapely.distance(placed_outline(plan, p).polygon, gone) for p in plan.placements]
    short = begun.gap - min(near, default=np.inf)
    return f"{short:.3f} mm too near to what is cut" if short > 2 * plans.TOLERANCE else ""


def _moved(pin: Pin, plan: Plan) -> str:
    """That a pinned part of a kit on the plan isn't where its pin is."""
    at = {p.id: (p.x, p.y, p.angle) for p in plan.placements}.get(pin.part)
    stays = at is not None and np.allclose(at, (pin.x, pin.y, pin.angle))
    return "" if stays or pin.kit in plan.left_out else f"pinned at {pin}, but lies at {at}"


# --- what is drawn -------------------------------------------------------------------------


def drawn(number: int) -> tuple[Job, Hide]:
    """Job and hide of that number."""
    rng = np.random.default_rng(number)
    hide = _hide(rng, number)
    parts = [_part(rng) for _ in range(int(rng.integers(1, 4)))]
    needs = [_need(rng) for _ in range(int(rng.choice([1, 1, 2])))]
    kits = tuple(_kit(rng, n, parts, needs) for n in range(1, int(rng.integers(2, 5))))
    job = Job(
        f"job {number}",
        kits,
        keep=str(rng.choice(KEEPS)),
        gap=float(rng.choice([0.0, 0.5, 2.0, 6.0])),
        edge_margin=float(rng.choice([0.0, 1.0, 5.0, 12.0])),
        seed=number,
        prefer=str(rng.choice(PREFERS)),
        remnant=None if rng.random() < 0.8 else (rng.uniform(60, 150), rng.uniform(8, 25)),
    )
    return job, hide


def _need(rng: np.random.Generator) -> Need:
    low = LEATHER - rng.uniform(0.2, 0.8)
    may_split, risk = bool(rng.random() < 0.3), float(rng.uniform(0.2, 0.6))
    return Need(low, low + rng.uniform(0.6, 1.6), may_split, risk, unknown=True)


def _kit(
    rng: np.random.Generator, number: int, parts: Sequence[Part], needs: Sequence[Need]
) -> Kit:
    chosen = [parts[i] for i in rng.integers(len(parts), size=int(rng.integers(1, 5)))]
    need = needs[int(rng.integers(len(needs)))]
    name = f"kit-{number}"
    wanted = tuple(Wanted(f"{name}/{i}", name, part, need) for i, part in enumerate(chosen))
    return Kit(name, name, wanted, value=float(rng.integers(10)))


def _part(rng: np.random.Generator) -> Part:
    shape = (_bar, _ell, _star, _bent)[int(rng.integers(4))](rng)
    x, y = shape.centroid.x, shape.centroid.y
    centred = shapely.transform(shape, lambda points: points - [x, y])
    return Part(
        str(rng.choice(KINDS)),
        Outline.of(shapely.get_coordinates(centred.exterior)),
        _regions(rng, centred),
        (),
        axis=float(rng.choice([0.0, 90.0, rng.uniform(0, 180)])),
        window=float(rng.choice([0.0, 2.0, 15.0, 45.0, 90.0])),
    )


def _regions(rng: np.random.Generator, shape: Polygon) -> tuple[Region, ...]:
    """The shape cut across once or not at all, each piece with a face of its own.

    The two halves share a strip, so that slivers which are too small to be a region stay
    covered by its neighbour.
    """
    x0, y0, x1, y1 = shape.bounds
    cut = x0 + (x1 - x0) * rng.uniform(0.2, 0.8)
    halves = [shape & box(x0 - 1, y0 - 1, cut + 1, y1 + 1), shape & box(cut - 1, y0, x1 + 1, y1)]
    pieces = [[p for p in polygons_of(half) if p.area > LEAST_FACE] for half in halves]
    joined = shapely.union_all([p for half in pieces for p in half])
    if rng.random() < 0.5 or shape.difference(joined).area > 0:
        return (Region(str(rng.choice(FACES)), Outline.of(np.asarray(shape.exterior.coords))),)
    return tuple(
        Region(face, Outline.of(np.asarray(piece.exterior.coords)))
        for half in pieces
        for face in [str(rng.choice(FACES))]
        for piece in half
    )


def _bar(rng: np.random.Generator) -> Polygon:
    return box(0, 0, rng.uniform(20, 120), rng.uniform(8, 60))


def _ell(rng: np.random.Generator) -> Polygon:
    wide, high, arm = rng.uniform(40, 110), rng.uniform(40, 110), rng.uniform(8, 25)
    return Polygon([(0, 0), (wide, 0), (wide, arm), (arm, arm), (arm, high), (0, high)])


def _star(rng: np.random.Generator) -> Polygon:
    return Polygon(_blob(rng, int(rng.integers(5, 12)), rng.uniform(15, 45), 0.35))


def _bent(rng: np.random.Generator) -> Polygon:
    """A strip along an arc, like a welt."""
    turn = np.deg2rad(np.linspace(0, rng.uniform(40, 200), 16))
    line = rng.uniform(30, 60) * np.column_stack([np.cos(turn), np.sin(turn)])
    return LineString(line).buffer(rng.uniform(4, 9), quad_segs=4)


def _blob(rng: np.random.Generator, corners: int, radius: float, least: float) -> FloatArray:
    """(corners, 2): a ring that is star-shaped about (0, 0)."""
    turn = 2 * np.pi * (np.arange(corners) + rng.uniform(0.1, 0.9, corners)) / corners
    far = radius * rng.uniform(least, 1.0, corners)
    ring: FloatArray = np.column_stack([far * np.cos(turn), far * np.sin(turn)])
    return ring


def _hide(rng: np.random.Generator, number: int) -> Hide:
    outline = Outline.of(_blob(rng, int(rng.integers(8, 30)), rng.uniform(70, 200), 0.6))
    whole = outline.polygon
    holes = _holes(rng, whole)
    leather = whole.difference(shapely.union_all([hole.polygon for hole in holes]))
    gauged, zoned = ((), ()) if rng.random() < 0.5 else _thickness(rng, whole)
    return Hide(
        f"hide {number}",
        str(rng.choice(stretch.PIECES)),
        "vegetable",
        outline,
        holes=holes,
        flaws=_flaws(rng, leather),
        readings=gauged,
        zones=zoned,
        stretch_lines=tuple(_line(rng, whole) for _ in range(int(rng.integers(0, 3)))),
        sha256=f"{number:08x}",
    )


def _holes(rng: np.random.Generator, whole: Polygon) -> tuple[Outline, ...]:
    """Up to two holes that lie apart and well inside."""
    found: list[Outline] = []
    for _ in range(int(rng.integers(0, 3))):
        ring = _blob(rng, 7, rng.uniform(8, 25), 0.5) + _spot(rng, whole)
        hole = Polygon(ring)
        apart = all(hole.distance(other.polygon) > 1 for other in found)
        if apart and whole.buffer(-5).contains(hole):
            found.append(Outline.of(ring))
    return tuple(found)


def _flaws(rng: np.random.Generator, leather: Polygon) -> tuple[Flaw, ...]:
    found = []
    for _ in range(int(rng.integers(0, 5))):
        shape = Polygon(_blob(rng, 6, rng.uniform(3, 40), 0.4) + _spot(rng, leather))
        kind, side = str(rng.choice(list(flaws.FLAW_KINDS))), str(rng.choice(SIDES))
        found += [Flaw(kind, side, piece) for piece in polygons_of(shape & leather)]
    return tuple(found)


def _thickness(
    rng: np.random.Generator, whole: Polygon
) -> tuple[tuple[Reading, ...], tuple[Zone, ...]]:
    zones = []
    if rng.random() < 0.5:
        area = Polygon(_blob(rng, 6, 90.0, 0.6) + _spot(rng, whole)) & whole
        low = LEATHER + rng.uniform(-1.0, 0.3)
        zones = [Zone("zone", low, low + rng.uniform(0.1, 0.6), p) for p in polygons_of(area)]
    slope = rng.normal(0.0, 0.0015, 2)
    spots = np.array([_spot(rng, whole) for _ in range(int(rng.integers(3, 15)))])
    values = LEATHER + spots @ slope + rng.normal(0.0, 0.1, len(spots))
    readings = [Reading(*spot, value) for spot, value in zip(spots, values, strict=True)]
    return tuple(readings) if not zones or rng.random() < 0.8 else (), tuple(zones)


def _line(rng: np.random.Generator, whole: Polygon) -> FloatArray:
    start, turn = _spot(rng, whole), rng.uniform(0, np.pi)
    return np.array([start, start + 40.0 * np.array([np.cos(turn), np.sin(turn)])])


def _spot(rng: np.random.Generator, shape: Polygon) -> FloatArray:
    """A random point (2,) of the shape's box, inside the shape if a few tries find one."""
    x0, y0, x1, y1 = shape.bounds
    for _ in range(20):
        spot = rng.uniform((x0, y0), (x1, y1))
        if shapely.contains_xy(shape, *spot):
            break
    return np.asarray(spot)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1, help="number of the first job")
    parser.add_argument("--effort", type=float, default=EFFORT)
    options = parser.parse_args(arguments)
    search.warm_up()
    began, counts, parts, refusals = time.perf_counter(), Counter(), 0, 0
    for number in range(options.seed, options.seed + options.jobs):
        result = run(number, options.effort)
        counts[result.outcome] += 1
        refusals += result.refusals
        parts += result.parts if result.outcome == "planned" else 0
        if result.outcome == "failed" or result.refusals:
            print(f"job {number} {result.outcome}, {result.refusals} refused: {result.says}")
    seconds = time.perf_counter() - began
    print("jobs    planned   no plan  failed  layouts refused  parts planned   seconds")
    print(
        f"{options.jobs:6d} {counts['planned']:8d} {counts['none']:9d} {counts['failed']:7d} "
        f"{refusals:16d} {parts:14d} {seconds:9.1f}"
    )
    return 1 if counts["failed"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
