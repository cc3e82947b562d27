"""The judge against exact tilings from the literature: accepted as they are, refused once moved.

In a tiling every clearance is exactly zero, so nothing is left to forgive: any rule that is a
little too strict refuses the published layout, any that is too lax accepts the moved one.
"""

import itertools

import pytest
from ortools.sat.python import cp_model
from shapely import affinity, box, union_all

from nest.check import Code, clearances

# A. J. W. Duijvestijn, "Simple perfect squared square of lowest order", J. Combin. Theory B 25
# (1978) 240-243: 21 squares, no two alike, in a square of 112. The Bouwkamp code is from memory;
# the first test proves that it is the tiling it claims to be.
BOUWKAMP = [[50, 35, 27], [8, 19], [15, 17, 11], [6, 24], [29, 25, 9, 2], [7, 18], [16], [42],
            [4, 37], [33]]  # fmt: skip
SIDE = 112


def decoded(code, side):
    """Squares (x, y, size), y downwards: each bracket fills the highest gap from the left."""
    floor = [0] * side
    squares = []
    for row in code:
        x = floor.index(min(floor))
        for size in row:
            squares.append((x, floor[x], size))
            floor[x : x + size] = [floor[x] + size] * size
            x += size
    return squares


def squares():
    return [box(x, y, x + size, y + size) for x, y, size in decoded(BOUWKAMP, SIDE)]


def test_the_code_is_duijvestijns_tiling():
    """By whole numbers alone: 21 unlike squares cover each of 112 × 112 cells once."""
    sizes = sorted(size for _, _, size in decoded(BOUWKAMP, SIDE))
    assert sizes == [2, 4, 6, 7, 8, 9, 11, 15, 16, 17, 18, 19, 24, 25, 27, 29, 33, 35, 37, 42, 50]
    cells = [
        (x + i, y + j)
        for x, y, size in decoded(BOUWKAMP, SIDE)
        for i, j in itertools.product(range(size), repeat=2)
    ]
    assert len(cells) == SIDE**2
    assert set(cells) == set(itertools.product(range(SIDE), repeat=2))


def test_the_squared_square_is_accepted_with_zero_gap():
    assert clearances(squares(), gap=0.0, container=box(0, 0, SIDE, SIDE)) == ()


@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0])
def test_it_is_accepted_however_it_lies(angle):
    """Turned coordinates are no whole numbers: touching sides differ in their last digits."""
    lie = [affinity.rotate(shape, angle, origin=(0, 0)) for shape in squares()]
    room = affinity.rotate(box(0, 0, SIDE, SIDE), angle, origin=(0, 0))
    assert clearances(lie, gap=0.0, container=room) == ()


@pytest.mark.parametrize("moved", range(21))
@pytest.mark.parametrize(("dx", "dy"), [(0.05, 0), (-0.05, 0), (0, 0.05), (0, -0.05)])
def test_any_square_shifted_by_a_twentieth_is_refused(moved, dx, dy):
    """Whichever way it goes there is a neighbour or the edge, in the way by just 0.05."""
    shapes = squares()
    shapes[moved] = affinity.translate(shapes[moved], dx, dy)
    found = clearances(shapes, gap=0.0, container=box(0, 0, SIDE, SIDE))
    assert found
    assert {f.code for f in found} <= {Code.OVERLAP, Code.EDGE}
    assert all(str(moved) in (f.part, f.other) for f in found)
    assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_it_is_refused_with_any_gap():
    """Every square touches others, so a gap of 0.05 is short by 0.05 for each touching pair."""
    found = clearances(squares(), gap=0.05)
    assert {f.code for f in found} == {Code.GAP}
    assert {name for f in found for name in (f.part, f.other)} == {str(i) for i in range(21)}
    assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_it_is_refused_with_any_margin():
    """Those along the sides are too near, and no others."""
    found = clearances(squares(), gap=0.0, container=box(0, 0, SIDE, SIDE), margin=0.05)
    on_the_rim = {
        str(i)
        for i, (x, y, size) in enumerate(decoded(BOUWKAMP, SIDE))
        if 0 in (x, y) or SIDE in (x + size, y + size)
    }
    assert {f.part for f in found} == on_the_rim
    assert {f.code for f in found} == {Code.EDGE}


# The twelve pentominoes fill a 6 × 10 rectangle in 2339 ways (C. B. Haselgrove and
# J. Haselgrove, "A computer program for pentominoes", Eureka 23 (1960) 16-18). Any of them is
# a layout with zero gaps and non-convex parts that lock into each other.
PENTOMINOES = {
    "F": ["011", "110", "010"],
    "I": ["11111"],
    "L": ["1111", "1000"],
    "N": ["1110", "0011"],
    "P": ["111", "110"],
    "T": ["111", "010", "010"],
    "U": ["101", "111"],
    "V": ["100", "100", "111"],
    "W": ["100", "110", "011"],
    "X": ["010", "111", "010"],
    "Y": ["1111", "0100"],
    "Z": ["110", "010", "011"],
}
WIDE, HIGH, CELL = 10, 6, 10.0


def ways(rows):
    """All cells a pentomino can cover in the rectangle, turned and turned over."""
    cells = [(x, y) for y, row in enumerate(rows) for x, one in enumerate(row) if one == "1"]
    found = set()
    for turn, flip in itertools.product(range(4), (1, -1)):
        lie = [(flip * x, y) for x, y in cells]
        for _ in range(turn):
            lie = [(-y, x) for x, y in lie]
        left, low = min(x for x, _ in lie), min(y for _, y in lie)
        lie = [(x - left, y - low) for x, y in lie]
        wide, high = max(x for x, _ in lie), max(y for _, y in lie)
        found |= {
            frozenset((x + i, y + j) for x, y in lie)
            for i, j in itertools.product(range(WIDE - wide), range(HIGH - high))
        }
    return sorted(sorted(way) for way in found)


def packings(count):
    """So many fillings of the rectangle, by exact cover."""
    model = cp_model.CpModel()
    options = [
        (name, way, model.new_bool_var("")) for name, rows in PENTOMINOES.items()
        for way in ways(rows)
    ]  # fmt: skip
    for name in PENTOMINOES:
        model.add_exactly_one(taken for other, _, taken in options if other == name)
    for cell in itertools.product(range(WIDE), range(HIGH)):
        model.add_exactly_one(taken for _, way, taken in options if cell in way)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    for _ in range(count):
        assert solver.solve(model) == cp_model.OPTIMAL
        chosen = [option for option in options if solver.value(option[2])]
        yield [union_all([box(x, y, x + 1, y + 1) for x, y in way]) for _, way, _ in chosen]
        model.add_bool_or([~taken for _, _, taken in chosen])


def test_pentomino_fillings_are_accepted_and_refused_once_shifted():
    """Three fillings at 10 mm a cell; then each piece in turn is moved by 0.05 mm."""
    room = box(0, 0, WIDE * CELL, HIGH * CELL)
    for filling in packings(3):
        shapes = [affinity.scale(piece, CELL, CELL, origin=(0, 0)) for piece in filling]
        assert sum(shape.area for shape in shapes) == room.area
        assert clearances(shapes, gap=0.0, container=room) == ()
        for moved, shape in enumerate(shapes):
            shifted = list(shapes)
            shifted[moved] = affinity.translate(shape, 0.05, 0.0)
            found = clearances(shifted, gap=0.0, container=room)
            assert found
            assert all(str(moved) in (f.part, f.other) for f in found)
            assert [f.by for f in found] == pytest.approx([0.05] * len(found), abs=1e-9)


def test_the_pentominoes_are_the_twelve():
    """Free pentominoes: five cells each, none a turned or mirrored copy of another."""
    assert len(PENTOMINOES) == 12
    homes = {name: {tuple(way) for way in ways(rows)} for name, rows in PENTOMINOES.items()}
    assert all(len(way) == 5 for ways_ in homes.values() for way in ways_)
    assert not any(a & b for (_, a), (_, b) in itertools.combinations(homes.items(), 2))
