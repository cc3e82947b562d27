"""How far a part must reach alone, and how much ground some parts reach: by hand and against plans.

Each bound is held between two numbers: never above what some sound plan reaches, and within a
few millimetres of it where the answer is known.
"""

from collections import Counter

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity, box

from hides import record
from hides.flaws import Flaw
from hides.thickness import Reading, Zone
from nest.bound import NoPlace, bound, loops
from nest.bound.alone import Kind, Places
from nest.bound.area import Leather
from nest.checker import check
from nest.errors import NoPlan
from nest.job import KEEPS, Job, Kit, Wanted
from nest.planning import plan_week
from nest.plans import Placement, Plan, keep_direction, placed_outline
from nest.week import job_of, read
from tests.bench import jobs
from tests.small import EVEN, NEED, hide, outline, part

NEAR = 4.0  # mm; grids of 2.5 mm, and the border of thickness drawn 1.8 mm generously
ROOT = record.__file__.rpartition("hides")[0]


def plain(**changes):
    """1000 × 600 mm of even thickness, without hole or flaw; stretch along x."""
    return hide(**({"holes": (), "flaws": (), "zones": (EVEN,)} | changes))


def block(width, height, face="hidden", **rules):
    """A rectangular part of one face."""
    corners = [(0, 0), (width, 0), (width, height), (0, height)]
    return part("body", corners, {face: (0, 0, width, height)}, **({"window": 0.0} | rules))


def wanted(count, of, name="kit"):
    return tuple(Wanted(f"{name}-{i}/body", f"{name}-{i}", of, NEED) for i in range(count))


def least(parts, of, gap=0.0, edge_margin=0.0, keep="neck"):
    return bound(parts, of, gap=gap, edge_margin=edge_margin, keep=keep)


def cut(*corners):
    return plain(outline=outline(corners))


def necked(depth):
    """A neck of some depth for 400 mm, then 600 mm of full depth."""
    return cut((0, 0), (1000, 0), (1000, 600), (400, 600), (400, depth), (0, depth))


# --- alone -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "rules", "reach"),
    [
        ((300, 100), {"window": 0.0}, 300.0),
        ((300, 100), {"window": 15.0}, 300.0),  # 300 cos a + 100 sin a grows from 0 to 18°
        ((300, 20), {"window": 15.0}, 294.95),  # 300 cos 15° + 20 sin 15°
        ((300, 20), {"window": 89.0}, 25.23),  # 300 cos 89° + 20 sin 89°
        ((300, 20), {"window": 90.0}, 20.0),
        ((300, 20), {"axis": 90.0}, 20.0),
        ((300, 20), {"axis": 75.0, "window": 15.0}, 20.0),
        ((300, 20), {"axis": -60.0, "window": 15.0}, 97.00),  # 300 cos 75° + 20 sin 75°
    ],
)
def test_one_part_reaches_as_far_as_its_window_makes_it(size, rules, reach):
    """On a bare rectangle the least frontier is the least width of the turned part."""
    found = least(wanted(1, block(*size, **rules)), plain())
    assert reach - NEAR < found.frontier <= reach + 1e-3
    assert found.because == "kit-0/body can lie no nearer, even alone."


@pytest.mark.parametrize("keep", KEEPS)
@pytest.mark.parametrize("turn", [0.0, 11.3, 30.0, 45.0, 77.7])
@pytest.mark.parametrize("window", [90.0, 5.0])
def test_a_part_as_large_as_the_hide_is_not_cut_off(keep, turn, window):
    """A turned hide that the part fills to the last mm: one place, and the bound allows it."""
    shape = affinity.rotate(box(0, 0, 212, 97), turn, origin=(0, 0))
    filled = cut(*shape.exterior.coords[:-1])
    made = block(212, 97, axis=-turn + 5.0 * (window < 90), window=window)
    found = least(wanted(1, made), filled, keep=keep)
    u = np.array(keep_direction(keep))
    reach = (np.array(shape.exterior.coords) @ u).max()
    assert found.fits
    assert reach - NEAR < found.frontier <= reach + 1e-3
    middle = shape.centroid
    sound = Plan.of(
        Job("Week", (Kit("kit-0", "Kit", wanted(1, made)),), keep=keep, gap=0.0, edge_margin=0.0),
        filled,
        [Placement("kit-0/body", turn, middle.x, middle.y)],
    )
    assert check(sound, filled) == ()


@pytest.mark.parametrize("window", [0.0, 15.0])
@pytest.mark.parametrize(
    ("depth", "reach"),
    [
        (100, 550.0),  # the block, 150 mm, stands beyond the neck
        (144, 550.0),
        (150, 150.0),  # it just fits into the neck
        (200, 150.0),
    ],
)
def test_a_neck_that_is_too_thin_is_passed_over(depth, reach, window):
    found = least(wanted(1, block(150, 150, window=window)), necked(depth))
    assert reach - 2 * NEAR < found.frontier <= reach + 1e-3


def test_the_margin_narrows_a_neck():
    """A neck of 158 mm holds 150 mm with margins of 4 mm, not of 10 mm."""
    parts = wanted(1, block(150, 150))
    assert least(parts, necked(158), edge_margin=4.0).frontier <= 154.0
    narrow = least(parts, necked(158), edge_margin=10.0).frontier
    assert 560.0 - NEAR < narrow <= 560.0


@pytest.mark.parametrize(
    ("face", "reach"),
    [
        ("front", 252.0 + 120.0),  # 2 mm clear of the stain
        ("hidden", 120.0),  # a stain doesn't matter where it isn't seen
    ],
)
def test_a_flaw_too_small_for_the_area_to_tell_drives_a_part_away(face, reach):
    """Specks 100 mm apart over x < 250 bar next to no area, and every place for 120 mm."""
    specks = tuple(
        Flaw("stain", "grain", box(x - 4, y - 4, x, y))
        for x in (50, 150, 250)
        for y in range(50, 600, 100)
    )
    found = least(wanted(1, block(120, 120, face)), plain(flaws=specks))
    assert reach - NEAR < found.frontier <= reach + 1e-3


def test_each_region_is_judged_by_its_own_face():
    """A stain may lie under the hidden half: turned round, the part lies on it with that half."""
    halves = part(
        "body",
        [(0, 0), (200, 0), (200, 560), (0, 560)],
        {"front": (0, 0, 100, 560), "hidden": (100, 0, 200, 560)},
        window=5.0,
    )
    stained = plain(flaws=(Flaw("stain", "grain", box(0, 0, 98, 600)),))
    found = least(wanted(1, halves), stained)
    assert 200.0 - NEAR < found.frontier <= 200.0
    wider = plain(flaws=(Flaw("stain", "grain", box(0, 0, 118, 600)),))
    assert 220.0 - NEAR < least(wanted(1, halves), wider).frontier <= 220.0


def test_leather_thick_enough_far_away_makes_a_part_go_there():
    """Thick in a strip of 40 mm along the edge from 0, and on an island from 700 on."""
    zones = (
        Zone("strip", 3.3, 3.5, box(0, 0, 700, 40)),
        Zone("island", 3.3, 3.5, box(700, 100, 900, 300)),
    )
    found = least(wanted(1, block(90, 90, window=15.0)), plain(zones=zones))
    assert 790.0 - 2 * NEAR < found.frontier <= 790.0


def test_the_direction_of_stretch_counts_where_the_part_lies():
    """A user's line turns the stretch near x = 0 across, far from it the bend's own is along."""
    bar = wanted(1, block(300, 20))
    across = plain(stretch_lines=(np.array([[100.0, 0.0], [100.0, 600.0]]),))
    assert 20.0 - NEAR < least(bar, across).frontier <= 20.0
    assert least(bar, plain()).frontier > 300.0 - NEAR


def test_a_part_without_a_place_is_named():
    """Leather of the right thickness in plenty, but nowhere 90 mm wide."""
    zones = (Zone("strip", 3.3, 3.5, box(0, 0, 1000, 80)),)
    found = least(wanted(1, block(90, 90, window=90.0)), plain(zones=zones))
    assert found.shortages == (NoPlace("kit-0/body"),)
    assert str(found.shortages[0]) == "kit-0/body finds no place on this hide, even alone"
    assert found.frontier == pytest.approx(1000.0)
    assert found.used_area == pytest.approx(600_000.0)


# --- reach -------------------------------------------------------------------------------


ISLANDS = (
    Zone("near", 3.3, 3.5, box(0, 0, 110, 110)),
    Zone("far", 3.3, 3.5, box(800, 0, 910, 110)),
)


def test_ground_counts_only_once_a_part_on_it_lies_before_the_frontier():
    """Two blocks of 100 mm on two islands: by area the second could end at 870, truly at 900."""
    found = least(wanted(2, block(100, 100)), plain(zones=ISLANDS))
    assert 900.0 - 3 * NEAR < found.frontier <= 900.0
    assert found.because == (
        "nearer, kit-0/body and its like reach too little ground for all of them."
    )


def test_unlike_parts_share_what_ground_there_is():
    """As above with one block a hair longer: neither alone lacks anything."""
    parts = wanted(1, block(100, 100)) + wanted(1, block(101, 100), "other")
    found = least(parts, plain(zones=ISLANDS))
    assert 900.0 - 3 * NEAR < found.frontier <= 900.0
    assert "kit-0/body, other-0/body and their like reach" in found.because


def test_ground_that_no_part_can_cover_does_not_count():
    """Two blocks want 2 dm²; there are 4 dm², of which 2.8 dm² in a strip of 40 mm."""
    zones = (ISLANDS[0], Zone("strip", 3.3, 3.5, box(300, 0, 1000, 40)))
    found = least(wanted(2, block(100, 100)), plain(zones=zones))
    (lack,) = found.shortages
    assert lack.where == "within their reach"
    assert str(lack).startswith("kit-0/body and its like: 2.0 dm² wanted, 1.")
    assert not found.fits


def test_a_bare_hide_is_all_within_reach():
    """Nothing is lost on a rectangle that the parts tile: the bound by area stands."""
    found = least(wanted(60, block(100, 100)), plain())
    assert found.frontier == pytest.approx(1000.0, abs=1.0)
    assert found.because == "nearer, the areas of the parts find too little ground."


# --- against sound plans -----------------------------------------------------------------


@pytest.mark.parametrize("number", range(12))
def test_no_plan_of_a_random_job_beats_any_of_the_bounds(number):
    """Every part of a checked plan lies where its own bound lets it, and the ground suffices."""
    job, of = jobs.drawn(number)
    try:
        planned = plan_week(job, of, effort=jobs.EFFORT, partial=True)
    except NoPlan:
        pytest.skip("this job has no plan")
    plan = planned.plan
    places = Places(Leather(of, job.edge_margin, job.keep))
    u = np.array(keep_direction(job.keep))
    count = Counter()
    frontier = -np.inf
    for placement in plan.placements:
        kind = Kind.of(plan.by_id[placement.id])
        reach = float((placed_outline(plan, placement).points @ u).max())
        assert places.least(kind) <= reach
        count[kind] += 1
        frontier = max(frontier, reach)
    assert planned.bound.fits
    assert planned.bound.frontier <= frontier
    for kind, n in count.items():
        assert places.room([kind], frontier, np.inf) >= n * kind.shrunk_area


@pytest.mark.parametrize("seed", range(3))
def test_a_part_anywhere_the_checker_allows_it_is_not_nearer_than_its_bound(seed):
    """Random poses along the near end of a hide with a wild direction, readings and flaws."""
    rng = np.random.default_rng(seed)
    spots = [(x, y) for x in range(0, 1001, 200) for y in range(0, 601, 150)]
    readings = tuple(Reading(x, y, 3.4 + rng.normal(0, 0.1)) for x, y in spots)
    lines = tuple(np.sort(rng.uniform([0, 0], [500, 600], (3, 2)), axis=0) for _ in range(3))
    flaws = tuple(Flaw("scar", "grain", box(x, y, x + 30, y + 5))
                  for x, y in rng.uniform([0, 0], [400, 600], (6, 2)))  # fmt: skip
    of = plain(readings=readings, stretch_lines=lines, flaws=flaws)
    made = block(130, 60, "front", window=12.0)
    one = wanted(1, made)
    found = least(one, of, edge_margin=5.0)
    job = Job("Week", (Kit("kit-0", "Kit", one),), keep="neck", edge_margin=5.0)
    tried = allowed = 0
    while tried < 80:
        x, y = rng.uniform([30, 30], [max(found.frontier, 60.0), 570])
        line = float(of.stretch.direction(np.array([[x, y]]))[0])
        angle = line + 180.0 * rng.integers(2) + rng.uniform(-12.0, 12.0)
        reach = made.outline.placed(angle, x, y).bounds[2]
        if found.frontier - 10.0 < reach < found.frontier + 20.0:
            plan = Plan.of(job, of, [Placement("kit-0/body", angle, x, y)])
            sound, tried = check(plan, of) == (), tried + 1
            allowed += sound
            assert not sound or found.frontier <= reach
    assert allowed > 0


def test_the_sample_week_that_needs_thin_leather_far_away():
    """Four sheaths of the sample week want leather that Alder has little of but near its end."""
    job = job_of(read(f"{ROOT}shared/weeks/week-30.week.toml"))
    of = record.read(f"{ROOT}shared/hides/alder.hide.json")
    found = bound(job.parts, of, gap=job.gap, edge_margin=job.edge_margin, keep="neck")
    assert found.frontier > 1380.0
    assert "osier" in found.because


# --- grids -------------------------------------------------------------------------------


def star(seed):
    """A spiky shape with a hole, its corners off any grid."""
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0, 2 * np.pi, 17))
    reach = rng.uniform(30, 90, 17)
    ring = np.column_stack([np.cos(angles), np.sin(angles)]) * reach[:, None]
    hole = Polygon(ring * 0.4)
    return Polygon(ring).buffer(0).difference(hole)


def edges_of(shape):
    """All edges (m, 4), rings counter-clockwise about the shape."""
    oriented = shapely.orient_polygons(shape)
    rings = [np.asarray(r.coords) for r in (oriented.exterior, *oriented.interiors)]
    return np.vstack([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


@pytest.mark.parametrize("seed", range(4))
def test_cells_are_covered_as_shapely_says(seed):
    """The share of each cell against shapely's intersection with its square."""
    shape, cell = star(seed), 7.0
    out = np.zeros((32, 32))
    loops.coverage(edges_of(shape), -105.0, -105.0, cell, out)
    for j in range(32):
        for i in range(32):
            x, y = -105.0 + i * cell, -105.0 + j * cell
            share = shape.intersection(box(x, y, x + cell, y + cell)).area / cell**2
            assert out[j, i] == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_distances_are_as_shapely_says(seed):
    """Distance to the edge at nodes, negative outside, cut off far away."""
    shape = star(seed)
    out = np.empty((50, 50))
    loops.signed_distance(edges_of(shape), -101.0, -102.0, 4.1, out)
    xs, ys = np.meshgrid(-101.0 + 4.1 * np.arange(50), -102.0 + 4.1 * np.arange(50))
    away = shapely.distance(shapely.points(xs, ys), shape.boundary)
    signed = np.where(shapely.contains_xy(shape, xs, ys), away, -away)
    assert out == pytest.approx(np.clip(signed, -loops.FAR, loops.FAR), abs=1e-6)
