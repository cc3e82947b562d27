"""Programs: the whole road from a plan to what a machine is told."""

import dataclasses
import re

import numpy as np
import pytest
import shapely
import shapely.affinity

from nest import week
from nest.cutter.contour import circle
from nest.cutter.formats import SUFFIXES, encoded
from nest.cutter.machine import Machine
from nest.cutter.program import build, handed, of_contours
from nest.cutter.readback import judge
from nest.cutter.setups import Move, split
from nest.errors import CutError
from nest.plans import labels_of, placed_outline, text_of
from tests import small
from tests.bench.cutting import laid
from tests.places import ROOT

PLAN = laid(week.job_of(week.read(ROOT / "shared/weeks/week-4.week.toml")))


def laser(width=700, depth=500, **more):
    return Machine("laser", "laser", (float(width), float(depth)), **more)


def drag(**more):
    about = {"bed": (1600.0, 1600.0), "offset": 1.0, "overcut": 2.0, "lead_in": 8.0}
    return Machine("knife", "drag", **(about | {"holes": "none"} | more))


@pytest.fixture(scope="module")
def programs():
    return build(PLAN, laser(kerf=0.2, marks=("fold",), feed_cut=10.0))


def test_strokes_stand_beside_their_pattern(programs):
    """The k-th stroke draws the k-th contour: same part and work, half a kerf away at most."""
    assert len(programs) > 1
    for program in programs:
        assert len(program.strokes) == len(program.pattern)
        for stroke, contour in zip(program.strokes, program.pattern, strict=True):
            assert (stroke.part, stroke.work) == (contour.part, contour.work)
            if contour.closed:
                ring = shapely.LinearRing(contour.flat())
                gaps = shapely.distance(ring, shapely.points(stroke.points))
                assert gaps.max() < 0.1 * 5.01  # a mitred corner: SHARP half kerfs


def test_every_outline_is_the_plans(programs):
    """Laid back on the hide, the pattern's outlines are those of the plan, each once."""
    setups = {setup.number: setup for setup in split(PLAN, laser(kerf=0.2))}
    shapes = {p.id: placed_outline(PLAN, p).polygon for p in PLAN.placements}
    seen = []
    for program in programs:
        for contour in program.pattern:
            if contour.work == "cut":
                home = shapely.Polygon(setups[program.number].to_bed.back(contour.points))
                assert home.symmetric_difference(shapes[contour.part]).area < 1e-6
                seen.append(contour.part)
    assert sorted(seen) == sorted(shapes)


def test_nothing_of_a_program_leaves_the_bed(programs):
    for program in programs:
        x0, y0, x1, y1 = program.extents
        assert x0 >= 0 and y0 >= 0 and x1 <= 700 and y1 <= 500


def test_the_digest_is_the_files(programs):
    assert all(f'"{program.digest}"' in text_of(PLAN) for program in programs)


def test_names_lie_with_their_parts_on_the_bed(programs):
    """Each part's once, in its outline; none where the profile wants none."""
    ids = {name: wanted.id for name, wanted in labels_of(PLAN).items()}
    for program in programs:
        cuts = {c.part: shapely.Polygon(c.points) for c in program.pattern if c.work == "cut"}
        assert len(program.labels) == len(cuts)
        for label in program.labels:
            within = shapely.Point(label.x, label.y).within
            assert [ids[label.text]] == [name for name, cut in cuts.items() if within(cut)]
    assert all(p.labels == () for p in build(PLAN, drag(labels=False)))


def test_marks_for_later_set_ups_are_drawn(programs):
    """A cross for each mark of the set-ups after the first, two lines each, of no part."""
    drawn = [s for program in programs for s in program.strokes if s.what == "registration"]
    later = split(PLAN, laser(kerf=0.2))[1:]
    assert len(drawn) == 2 * sum(len(setup.marks) for setup in later)
    assert len(later) == len(programs) - 1 > 0
    assert {s.part for s in drawn} == {""}


KNIFE = {"bed": (700.0, 500.0), "holes": "cross", "hole": 1.5}


@pytest.mark.parametrize(
    "machine",
    [laser(marks=("fold",)), drag(**KNIFE, marker="blade"), drag(**KNIFE, marker="pen")],
    ids=["laser", "blade", "pen"],
)
def test_registration_marks_come_first_of_all(machine):
    """While the hide lies as it was laid, and no part is loose."""
    for program in build(PLAN, machine):
        drawn = [s.what for s in program.strokes if s.what != "align"]
        count = drawn.count("registration")
        assert drawn[:count] == ["registration"] * count
    assert count == 0  # the last of them draws none


def test_a_knifes_layers_are_in_the_order_of_its_strokes():
    """A drawing is cut layer by layer; a blade's heading is known only in the program's order.

    So each layer begins by aligning it, in scrap, and what it marks comes before what it cuts.
    """
    program = build(PLAN, drag(**KNIFE, marker="blade"))[0]
    works = [stroke.work for stroke in program.strokes]
    assert works == sorted(works, key=("mark", "hole", "cut").index)
    firsts = [program.strokes[works.index(work)].what for work in ("mark", "cut")]
    assert firsts == ["align", "align"]
    for form in SUFFIXES:
        assert judge(encoded(program, form), form, program) == ()


def test_no_blade_goes_to_full_depth_inside_a_part():
    """G-code followed by its words alone: where Z is below the marks' depth, the tip is on an
    outline or in waste; inside of parts it only touches."""
    program = build(PLAN, drag(**KNIFE, marker="blade", formats=("gcode",)))[0]
    parts = [shapely.Polygon(c.points).buffer(-1.1) for c in program.pattern if c.closed]
    inner, spots, at, z = shapely.union_all(parts), {True: [], False: []}, [0.0, 0.0], 5.0
    for row in encoded(program, "gcode").decode().split("\n"):
        if not row.startswith("G"):
            continue
        words = dict(re.findall(r"([XYZ])(-?[\d.]+)", row))
        at = [float(words.get("X", at[0])), float(words.get("Y", at[1]))]
        z = float(words.get("Z", z))
        if z < 0:
            spots[z < -0.3].append(at)
    crosses = sum(s.what in ("stitch", "drain") for s in program.strokes)
    assert crosses > 100
    # each arm: down, round if it must, along
    assert shapely.contains_xy(inner, *np.transpose(spots[False])).sum() >= 2 * crosses - 20
    assert not shapely.contains_xy(inner, *np.transpose(spots[True])).any()


def test_a_machine_that_marks_nothing_says_so_with_the_first_set_up():
    """Marks by which later set-ups are laid would be missing: they are put on with a tape."""
    machine = drag(bed=(700.0, 500.0))
    programs = build(PLAN, machine)
    assert not any(s.what == "registration" for p in programs for s in p.strokes)
    names = [mark.name for setup in split(PLAN, machine) for mark in setup.draws]
    (said,) = (words for words in programs[0].cautions if "marks nothing" in words)
    assert names
    assert all(name in said for name in names)
    (whole,) = build(PLAN, drag())
    assert not any("marks nothing" in words for words in whole.cautions)


def test_the_leathers_thickness_is_taken_where_the_parts_lie():
    """The small hide is 3.3 to 3.5 mm thick under all parts, 2.4 to 2.8 mm elsewhere."""
    plan, hide = small.plan(), small.hide()
    thin = laser(1300, 900, most_thickness=3.3)
    with pytest.raises(CutError, match=r"about 3\.4 mm thick, and laser gets through 3\.3 mm"):
        build(plan, thin, hide=hide)
    (program,) = build(plan, laser(1300, 900, most_thickness=3.45), hide=hide)
    # uniform from 3.3 to 3.5: mean 3.4, deviation 0.2/√12 = 0.058, one in twenty 3.49
    assert any("may be 3.5 mm thick in places" in words for words in program.cautions)
    (program,) = build(plan, laser(1300, 900, most_thickness=3.5), hide=hide)
    assert not any("thick" in words for words in program.cautions)
    (program,) = build(plan, laser(1300, 900, most_thickness=3.5), hide=small.hide(zones=()))
    assert any("was not gauged" in words for words in program.cautions)


def test_a_blade_is_aligned_in_scrap_first():
    """Its bent stroke comes first, and touches no part."""
    (program,) = build(PLAN, drag())
    assert [s.what for s in program.strokes].index("align") == 0
    parts = shapely.union_all([shapely.Polygon(c.points) for c in program.pattern if c.closed])
    assert parts.distance(shapely.LineString(program.strokes[0].points)) > 1.9


@pytest.mark.parametrize(
    ("machine", "off"),
    [
        (laser(kerf=0.2), 0.0),
        (drag(bed=(700.0, 500.0)), 1.0),  # the pivot may be an offset off the tip
    ],
    ids=["laser", "drag knife"],
)
def test_no_cut_enters_another_part(machine, off):
    """Parts lie 2 mm apart; kerf, lead-ins and overcuts stay out of all, of other set-ups too."""
    shapes = {p.id: placed_outline(PLAN, p).polygon for p in PLAN.placements}
    setups = split(PLAN, machine)
    assert len(setups) > 1
    for program, setup in zip(build(PLAN, machine), setups, strict=True):
        laid = {n: shapely.transform(s, setup.to_bed.on).buffer(-off - 0.01)
                for n, s in shapes.items()}  # fmt: skip
        for stroke in program.strokes:
            if stroke.work == "cut":
                line = shapely.LineString(stroke.points)
                met = [n for n, s in laid.items() if n != stroke.part and s.intersects(line)]
                assert met == []


def test_the_test_mark_is_handed():
    """An F: no turn lays it on its mirror image. Its foot is at the lower left, 60 mm high."""
    program = handed(laser())
    assert program.extents == (20.0, 20.0, 60.0, 80.0)
    lines = shapely.MultiLineString([s.points for s in program.strokes])
    middle = shapely.affinity.translate(lines, -lines.centroid.x, -lines.centroid.y)
    mirrored = shapely.affinity.scale(middle, xfact=-1, origin=(0, 0))
    turned = (shapely.affinity.rotate(mirrored, angle, origin=(0, 0)) for angle in range(360))
    assert min(middle.hausdorff_distance(other) for other in turned) > 5


def test_a_coupon_is_drawn_as_it_stands():
    machine = laser(kerf=1, passes=3)
    (stroke,) = of_contours([circle((50, 50), 20, "c")], machine, name="c").strokes
    assert stroke.length == pytest.approx(20 * np.pi)
    assert stroke.passes == 3  # else it would not be cut through


@pytest.mark.parametrize(
    ("machine", "says"),
    [
        (Machine("hand", "hand", (900.0, 900.0)), "a hand needs no file"),
        (laser(120, 120), "no part is cut in two"),
    ],
)
def test_what_can_not_be_built_is_refused(machine, says):
    with pytest.raises(CutError, match=says):
        build(PLAN, machine)


def test_a_correction_that_leaves_the_bed_is_refused():
    setups = split(PLAN, laser())
    moved = [Move(s.to_bed.angle, s.to_bed.x - 100, s.to_bed.y) for s in setups]
    askew = [dataclasses.replace(s, to_bed=m) for s, m in zip(setups, moved, strict=True)]
    with pytest.raises(CutError, match="leaves the bed"):
        build(PLAN, laser(), setups=askew)
