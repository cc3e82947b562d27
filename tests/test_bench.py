"""The benches run and print their tables; the core against CP-SAT and published densities.

Nothing is timed here: budgets are tiny, and only what must hold on any machine is asserted.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from ortools.sat.python import cp_model
from shapely import Polygon, affinity, box

from nest.checker import clearances
from nest.job import Budget
from nest.place import search, shapes
from tests.bench import bins, fullness, hides, jobs, leather, strip
from tests.places import DATA as OPEN

DATA = OPEN / "esicup"


def data(file: str) -> Path:
    path = DATA / file
    if not path.is_file():
        pytest.skip(f"{file} is not in CROUPON_DATA ({DATA})")
    return path


def shown(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return capsys.readouterr().out.splitlines()


# --- the commands ----------------------------------------------------------------------------


def test_strip_bench_prints_a_row_and_writes_a_layout_anyone_can_check(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Density from the layout file alone is what the row says; parts don't overlap."""
    path = data("three.json")
    command = ["strip", str(path), "--effort", "0.01", "--json", "--out", str(tmp_path)]
    monkeypatch.setattr("sys.argv", command)
    strip.main()
    row = json.loads(shown(capsys)[0])
    assert set(row) >= {"name", "density", "length", "seconds", "cpu"}
    layout = json.loads((tmp_path / "three.layout.json").read_text(encoding="utf-8"))
    parts = [Polygon(part["points"]) for part in layout["parts"]]
    area = sum(part.area for part in parts)
    density = 100 * area / (layout["height"] * max(part.bounds[2] for part in parts))
    assert density == pytest.approx(row["density"], abs=0.01)
    assert not clearances(parts, 0.0)


def test_bins_bench_prints_known_and_found(capsys: pytest.CaptureFixture[str]) -> None:
    """Seventeen parts of two full bins: at least the optimum, and no more than two above."""
    bins.main([str(data("bins/TS001C5.json")), "--seconds", "2"])
    head, row, last = shown(capsys)
    assert head.split()[:2] == ["file", "parts"]
    name, parts, least, known, found = row.split()[:5]
    assert (name, parts, least, known) == ("TS001C5", "17", "2", "2")
    assert found == "-" or int(known) <= int(found) <= int(known) + 2
    assert last.startswith("solved to the optimum: ")


def test_leather_bench_prints_ours_beside_the_baseline(capsys: pytest.CaptureFixture[str]) -> None:
    """Both columns name hides, share of the last one and yield, in their ranges."""
    leather.main([str(data("leather/baldacci_test8.json")), "--seconds", "0.5"])
    _, _, row, _ = shown(capsys)
    name, parts, *numbers = row.split()
    assert (name, parts) == ("baldacci_test8", "79")
    for hides_, last, net_yield, left in (numbers[:4], numbers[4:8]):
        assert 1 <= int(hides_) <= 2
        assert 0 < float(last) <= 100
        assert 0 < float(net_yield) < 100
        assert 0 <= int(left) < 79


def test_hide_bench_prints_a_row_and_draws_the_curves(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A week repeated to 24 parts: all placed, the curve falls, and a picture is there."""
    picture = tmp_path / "curves.png"
    hides.main(["week-4", "--parts", "24", "--seconds", "1", "--picture", str(picture)])
    _, row = shown(capsys)
    assert row.split()[:4] == ["week-4", "Birch", "24", "24"]
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_fullness_bench_stops_after_two_failures(capsys: pytest.CaptureFixture[str]) -> None:
    """A little fits; more than the whole hide never does."""
    command = ["--week", "week-4", "--seconds", "0.3", "--from", "10", "--to", "400"]
    fullness.main([*command, "--step", "95"])
    rows = [line.split() for line in shown(capsys)[2:]]
    assert "yes" in rows[0]
    assert len(rows) == 3
    assert all("yes" not in row for row in rows[1:])


def test_random_job_bench_counts_outcomes(capsys: pytest.CaptureFixture[str]) -> None:
    """Every job is counted once."""
    assert jobs.main(["--jobs", "5", "--seed", "7"]) == 0
    counts = [int(cell) for cell in shown(capsys)[-1].split()[:4]]
    assert counts[0] == 5 == sum(counts[1:])


# --- what the benches measure with -------------------------------------------------------------


SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def row_of(points: list[tuple[float, float]], quality: int | None, zones: list) -> dict:
    return {"points": points, "base_quality": quality, "zones": zones, "demand": 1}


@pytest.fixture
def one_hide(tmp_path: Path) -> Path:
    """A hide of 1000 × 1000 with a hole, a zone of quality 1 and one of quality 3."""

    def square(x: float, y: float, size: float) -> list[list[float]]:
        return [[x, y], [x + size, y], [x + size, y + size], [x, y + size]]

    hide = {
        "outer": square(0, 0, 1000),
        "holes": [square(400, 400, 200)],
        "zones": [
            {"quality": 1, "points": square(0, 0, 300)},
            {"quality": 3, "points": square(700, 700, 300)},
        ],
        "stock": 1,
        "gross_area": 1e6,
        "net_area": 9.6e5,
    }
    inner = [(20, 20), (80, 20), (80, 80), (20, 80)]
    items = [
        row_of(SQUARE, None, []),
        row_of(SQUARE, 2, []),
        row_of(SQUARE, 1, [{"quality": 9, "points": inner}]),
        row_of(SQUARE, None, [{"quality": 0, "points": inner}]),
    ]
    path = tmp_path / "one.json"
    path.write_text(json.dumps({"name": "one", "hides": [hide], "items": items}))
    return path


@pytest.mark.parametrize(
    ("item", "x", "y", "allowed"),
    [
        (0, 500, 200, True),  # faultless part on faultless leather
        (0, 800, 800, False),  # on the mild zone
        (0, 150, 150, False),  # on the bad zone
        (1, 800, 800, True),  # quality 2 may lie on quality 3
        (1, 150, 150, False),  # and not on quality 1
        (2, 330, 150, True),  # quality 1 at its rim only, where 1 will do
        (2, 290, 150, False),  # its faultless middle on the zone
        (3, 500, 500, False),  # rim on the hole
        (3, 640, 500, False),  # its zone is clear, its rim over the hole's edge
        (3, 800, 500, True),  # clear of all
    ],
)
def test_leather_is_judged_by_the_rule_of_quality(
    one_hide: Path, item: int, x: float, y: float, allowed: bool
) -> None:
    """The rule as the data's own description states it, on a hide that fits in the head."""
    instance = leather.read(one_hide)
    scale = np.sqrt(leather.HIDE_AREA / 1e6)
    part = instance.items[item]
    assert leather._sound(instance.hides[0], part, 0.0, np.array([x, y]) * scale) is allowed


def test_a_part_that_overlaps_is_taken_away_by_the_judge() -> None:
    """Three squares, the middle one over both others: two stay."""
    squares = [box(x, 0, x + 10, 10) for x in (0, 8, 16)]
    assert leather._without_conflicts(squares, [0, 1, 2]) == [0, 2]


def test_contacts_are_edge_to_edge() -> None:
    """Two unit squares: eight places side by side, of which four are distinct."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    instance = bins.Instance("two", (square,), ((0.0,),), (0, 0), (2.0, 1.0), 1)
    _, rows = bins.contacts(instance)
    assert {tuple(row) for row in rows.tolist()} == {(1, 0), (-1, 0), (0, 1), (0, -1)}


# --- the core against the outside --------------------------------------------------------------


def rectangles(seed: int, count: int) -> list[tuple[int, int]]:
    rng = np.random.default_rng(seed)
    return [(int(w), int(h)) for w, h in rng.integers(3, 9, (count, 2)) * 10]


def ring(wide: float, high: float) -> np.ndarray:
    return np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]]) / 2


def shortest_strip(sizes: list[tuple[int, int]], height: int) -> int:
    """The least length of a strip that holds all rectangles unturned, proved by CP-SAT."""
    model = cp_model.CpModel()
    most = sum(w for w, _ in sizes)
    length = model.new_int_var(0, most, "length")
    across, along = [], []
    for n, (w, h) in enumerate(sizes):
        x, y = model.new_int_var(0, most, f"x{n}"), model.new_int_var(0, height - h, f"y{n}")
        along.append(model.new_fixed_size_interval_var(x, w, f"a{n}"))
        across.append(model.new_fixed_size_interval_var(y, h, f"c{n}"))
        model.add(x + w <= length)
    model.add_no_overlap_2d(along, across)
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.value(length))


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_small_strips_come_within_two_percent_of_the_proved_optimum(seed: int) -> None:
    """Seven rectangles in a strip 100 high; CP-SAT's no-overlap in two dimensions proves it."""
    sizes = rectangles(seed, 7)
    best = shortest_strip(sizes, 100)
    made = [shapes.Shape(ring(*size), (0.0,)) for size in sizes]
    world = shapes.build(
        made, range(len(sizes)), box=(0, 0, sum(w for w, _ in sizes), 100), exact=True
    )
    outcome = search.run(world, Budget(effort=0.1), seed=1, good_enough=best + 1e-6)
    assert outcome.conflict == 0
    assert best - 1e-6 <= outcome.reach <= 1.02 * best


def fewest_bins(sizes: list[tuple[int, int]], side: int) -> int:
    """The least number of square bins that hold all rectangles unturned, proved by CP-SAT."""
    for bins_ in range(1, len(sizes) + 1):
        model = cp_model.CpModel()
        across, along = [], []
        for n, (w, h) in enumerate(sizes):
            at = model.new_int_var(0, bins_ - 1, f"bin{n}")
            inside = model.new_int_var(0, side - w, f"in{n}")
            y = model.new_int_var(0, side - h, f"y{n}")
            x = model.new_int_var(0, side * bins_, f"x{n}")
            model.add(x == inside + side * at)
            along.append(model.new_fixed_size_interval_var(x, w, f"a{n}"))
            across.append(model.new_fixed_size_interval_var(y, h, f"c{n}"))
        model.add_no_overlap_2d(along, across)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
        if status == cp_model.OPTIMAL:
            return bins_
    raise AssertionError("each rectangle fits in a bin of its own")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rectangles_need_as_many_bins_as_cp_sat_proves(seed: int) -> None:
    """Nine rectangles in bins of 100 × 100."""
    sizes = rectangles(seed, 9)
    best = fewest_bins(sizes, 100)
    instance = bins.Instance(
        "rectangles",
        tuple(ring(*size) for size in sizes),
        ((0.0,),) * len(sizes),
        tuple(range(len(sizes))),
        (100.0, 100.0),
        best,
    )
    assert not any(bins.pack(instance, few, 0.3, 1).valid for few in range(1, best))
    assert bins.pack(instance, best, 5.0, 1).valid


@pytest.mark.parametrize(
    ("circles", "side"),  # side of the least square in radii, proved optimal (from memory)
    [(4, 4.0), (5, 2 + 2 * 2**0.5), (9, 6.0)],
)
def test_circles_in_a_square_reach_the_published_density(circles: int, side: float) -> None:
    """Polygons of 32 sides around circles, in a strip as high as the least square and 0.3 % play.

    Without play the search finds 4 and not 9. The play and the polygons count as wasted.
    """
    radius, play = 10.0, 1.003
    turn = 2 * np.pi * (np.arange(32) + 0.5) / 32
    disc = radius / np.cos(np.pi / 32) * np.column_stack([np.cos(turn), np.sin(turn)])
    high = side * radius * play
    made = [shapes.Shape(disc, (0.0,))]
    world = shapes.build(made, [0] * circles, box=(0, 0, 2 * high, high), exact=True)
    outcome = search.run(world, Budget(effort=0.5), seed=1, good_enough=high)
    assert outcome.conflict == 0
    density = circles * np.pi * radius**2 / (high * outcome.reach)
    published = circles * np.pi / side**2
    assert (1 - 0.015) * published <= density <= np.pi / 12**0.5  # none beats hexagons (Thue)
    parts = [affinity.translate(Polygon(disc), *place) for place in outcome.poses[:, :2]]
    assert not clearances(parts, 0.0, box(0, 0, outcome.reach, high))
