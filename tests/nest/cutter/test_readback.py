"""The judge of cut files passes what is right and names each thing that is wrong.

Every mistake is made on purpose, in every format it can be made in: a judge that passes one of
them is no judge.
"""

import dataclasses
import math
import os
import random
import re
import runpy
import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

from nest.cutter.contour import Contour, cross
from nest.cutter.formats import SUFFIXES, encoded
from nest.cutter.readback import judge, simulation
from nest.cutter.readback.found import bent, swung
from nest.cutter.stroke import along
from tests import cut_sample as cs
from tests.castor import dragged, heading_of, walked

FORMS = tuple(SUFFIXES)
CLIENTS = Path(os.environ.get("CROUPON_DATA", "../shared")) / "clients"
MACHINES = {
    "laser": {},
    "kerf and two passes": {"kerf": 0.2, "passes": 2},
    "thinned": {"smallest_step": 0.2, "kerf": 0.2},
    "upper right, swapped": {"origin": "upper right", "swap_axes": True},
    "centre, mirrored": {"origin": "centre", "mirror": "x"},
    "lower right, mirrored": {"origin": "lower right", "mirror": "y"},
    "upper left": {"origin": "upper left", "beam": "M3", "power_cut": 800.0},
}
KNIVES = {
    "1 mm": {},
    "3 mm": {"offset": 3.0, "lead_in": 20.0},
    "thinned": {"smallest_step": 0.1},
    "never lifted": {"turn_height": 0.0},
    "three passes": {"passes": 3},
}


def codes(findings):
    return {finding.code for finding in findings}


def judged(program, form, changed):
    """Findings on the file of a changed program, held against the right one."""
    return judge(encoded(changed, form), form, program)


def edited(old, new, form, device=None, count=1):
    """Findings on the sample's file after an edit of its text."""
    program = cs.program(device)
    data = encoded(program, form).decode("utf-8")
    assert old in data
    return judge(data.replace(old, new, count).encode(), form, program)


# --- what is right ---------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("changes", MACHINES.values(), ids=MACHINES)
def test_a_right_file_of_a_laser_passes(form, changes):
    program = cs.program(cs.machine(**changes))
    assert judge(encoded(program, form), form, program) == ()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("changes", KNIVES.values(), ids=KNIVES)
def test_a_right_file_of_a_drag_knife_passes(form, changes):
    program = cs.program(cs.knife(**changes))
    assert judge(encoded(program, form), form, program) == ()


@pytest.mark.parametrize("form", [form for form in FORMS if form != "gcode"])
def test_a_right_file_of_an_oscillating_knife_passes(form):
    """It is lifted at corners, so its strokes come in pieces."""
    device = cs.machine(tool="oscillating", overcut=1.0, turn_height=8.0, lift_threshold=30.0)
    program = cs.program(device)
    assert judge(encoded(program, form), form, program) == ()


# --- mistakes in what is drawn ---------------------------------------------------------------


def turned(stroke):
    """The same line begun from its other end, or run the other way round."""
    bulges = None if stroke.bulges is None else -np.roll(stroke.bulges[::-1], -1)
    return dataclasses.replace(stroke, points=stroke.points[::-1], bulges=bulges)


def moved(stroke, x, y):
    return dataclasses.replace(stroke, points=stroke.points + np.array([x, y]))


def scaled(stroke, by):
    return dataclasses.replace(stroke, points=stroke.points * by)


def mirrored(stroke):
    bulges = None if stroke.bulges is None else -stroke.bulges
    return dataclasses.replace(stroke, points=[300.0, 0.0] + stroke.points * [-1, 1], bulges=bulges)


def opened(stroke):
    return dataclasses.replace(stroke, closed=False) if stroke.closed else stroke


def only(index, change):
    return lambda strokes: [change(s) if i == index else s for i, s in enumerate(strokes)]


# Strokes: 0 fold, 1-3 holes, 4 body, 5 bend, 6 loop.
MISTAKES = {
    "a hole is missing": (lambda s: s[:2] + s[3:], {"missing"}),
    "an outline is missing": (lambda s: s[:-1], {"missing"}),
    "nothing is drawn but a mark": (lambda s: s[:1], {"missing"}),
    "an outline is cut twice": (lambda s: [*s, s[4]], {"duplicate"}),
    "a hole is cut twice": (lambda s: [*s[:2], s[1], *s[2:]], {"duplicate"}),
    "a stranger is drawn": (lambda s: [*s, moved(s[1], 120, 60)], {"extra"}),
    "mm taken for inches": (lambda s: [scaled(x, 25.4) for x in s], {"scale"}),
    "inches taken for mm": (lambda s: [scaled(x, 1 / 25.4) for x in s], {"scale"}),
    "px taken for mm": (lambda s: [scaled(x, 25.4 / 96) for x in s], {"scale"}),
    "0.5 % too large": (lambda s: [scaled(x, 1.005) for x in s], {"scale"}),
    "an outline is open": (only(4, opened), {"open"}),
    "a hole is open": (only(2, opened), {"open"}),
    "a mark is closed": (only(5, lambda x: dataclasses.replace(x, closed=True)), {"shape"}),
    "everything is shifted": (lambda s: [moved(x, 3.0, 4.0) for x in s], {"shifted"}),
    "a hole is shifted by 0.2 mm": (only(2, lambda x: moved(x, 0.2, 0.0)), {"shifted"}),
    "everything is mirrored": (lambda s: [mirrored(x) for x in s], {"mirrored"}),
    "an arc is a chord": (only(4, lambda x: dataclasses.replace(x, bulges=None)), {"shape"}),
    "the loop runs the other way": (only(6, turned), {"way"}),
    "the fold runs the other way": (only(0, turned), {"way"}),
    "the outline starts elsewhere": (
        only(6, lambda x: dataclasses.replace(x, points=np.roll(x.points, 1, axis=0))),
        {"way"},
    ),
    "holes in another order": (lambda s: [s[0], s[3], s[1], s[2], *s[4:]], {"order"}),
    "the loop before the body": (lambda s: [*s[:4], s[6], s[5], s[4]], {"order"}),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("change", "wanted"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_named(form, change, wanted):
    program = cs.program()
    changed = cs.with_strokes(program, change(list(program.strokes)))
    found = codes(judged(program, form, changed))
    assert wanted <= found
    assert found <= wanted | {"bed", "closed"}


@pytest.mark.parametrize("form", ["dxf-r2000", "dxf-r12", "svg"])
def test_an_outline_on_the_layer_of_marks_is_named(form):
    """Software chooses power and speed by layer: a cut among the marks would not be cut."""
    program = cs.program()
    strokes = list(program.strokes)
    strokes[4] = dataclasses.replace(strokes[4], work="mark")
    assert "layer" in codes(judged(program, form, cs.with_strokes(program, strokes)))


@pytest.mark.parametrize("form", FORMS)
def test_a_program_that_leaves_the_bed_is_named(form):
    """The file agrees with its program; the bed is smaller than both."""
    program = cs.program(cs.machine(bed=(205.0, 100.0)))
    findings = judge(encoded(program, form), form, program)
    assert codes(findings) == {"bed"}
    assert findings[0].by == pytest.approx(5.0, abs=0.03)


@pytest.mark.parametrize("form", ["hpgl", "gcode"])
def test_a_pass_too_few_is_named(form):
    device = cs.machine(passes=3)
    program = cs.program(device)
    strokes = [dataclasses.replace(s, passes=min(s.passes, 2)) for s in program.strokes]
    findings = judged(program, form, cs.with_strokes(program, strokes))
    assert codes(findings) == {"missing"}
    assert len(findings) == 5  # three holes and two outlines


def test_the_usual_stories_are_told():
    """132.29 for 500: pixels taken for millimetres, factor 25.4/96 = 0.2646 (public issues)."""
    program = cs.program()
    small = cs.with_strokes(program, [scaled(s, 132.292 / 500) for s in program.strokes])
    says = judged(program, "dxf-r2000", small)[0].says
    assert "0.2646 times as large: pixels were taken for millimetres" in says


# --- mistakes in how it is told --------------------------------------------------------------


DXF_EDITS = [
    ("dxf-r2000", "$INSUNITS\n 70\n4", "$INSUNITS\n 70\n1", "units"),  # inches
    ("dxf-r2000", "$INSUNITS", "$INSUNIT_", "units"),  # not told
    ("dxf-r2000", "$MEASUREMENT\n 70\n1", "$MEASUREMENT\n 70\n0", "units"),
    ("dxf-r12", "$INSUNITS\n 70\n     4", "$INSUNITS\n 70\n     6", "units"),  # metres
    ("dxf-r12", "  9\n$MEASUREMENT\n 70\n     1\n", "", "units"),
    ("dxf-r2000", "$EXTMAX\n 10\n210.0", "$EXTMAX\n 10\n1e+20", "extents"),
    ("dxf-r2000", "\nHOLES\n 70", "\nHOLEX\n 70", "layer"),  # drawn on, not declared
    ("dxf-r2000", "110.0\n", "110,0\n", "file"),  # a decimal comma
    ("dxf-r2000", "LWPOLYLINE", "SPLINE", "extra"),
    ("dxf-r2000", "LWPOLYLINE", "SPLINE", "missing"),
    ("dxf-r12", "SEQEND", "SEQEN_", "file"),
    ("dxf-r2000", "  0\nEOF\n", "", "file"),  # cut off
]


@pytest.mark.parametrize(("form", "old", "new", "code"), DXF_EDITS)
def test_a_dxf_that_tells_it_wrong_is_named(form, old, new, code):
    assert code in codes(edited(old, new, form, count=-1))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.75, 0.97])
def test_a_file_cut_off_anywhere_is_named(form, share):
    program = cs.program()
    data = encoded(program, form)
    assert judge(data[: int(len(data) * share)], form, program) != ()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"no file of ours", b"0\n0\n0\n"])
def test_what_is_no_file_of_that_kind_is_named_not_raised(form, data):
    assert "file" in codes(judge(data, form, cs.program()))


@pytest.mark.parametrize("form", FORMS)
def test_a_damaged_file_is_judged_and_never_raises(form):
    """Sixty files with a few bytes changed: an error in a reader would leave them unjudged."""
    program = cs.program()
    data = encoded(program, form)
    dice = random.Random(form)
    blamed = 0
    for _ in range(60):
        bad = bytearray(data)
        for _ in range(dice.choice((1, 4, 20))):
            bad[dice.randrange(len(bad))] = dice.choice(b"0123456789 .,;-AXZ\n\xff")
        blamed += judge(bytes(bad), form, program) != ()
    assert blamed > 15  # many a byte changes nothing that is cut


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('width="300mm" height="200mm"', 'width="300" height="200"'),  # pixels
        (' viewBox="0 0 300 200"', ""),
        ('viewBox="0 0 300 200"', 'viewBox="0 0 1133.858 755.906"'),  # a unit is a pixel
        ('width="300mm"', 'width="100%"'),
    ],
)
def test_an_svg_whose_unit_is_no_millimetre_is_named(old, new):
    assert "units" in codes(edited(old, new, "svg"))


def test_an_svg_with_a_transform_is_read_as_it_is_seen():
    """A group that is shifted by 7 mm moves its lines, whatever their numbers say."""
    findings = edited('<g id="CUT"', '<g transform="translate(7,0)" id="CUT"', "svg")
    assert codes(findings) == {"shifted"}
    assert [finding.by for finding in findings] == pytest.approx([7.0, 7.0], abs=1e-3)


def test_an_svg_with_curves_that_a_cutter_may_not_know_is_named():
    found = codes(edited("M15.0000,150.0000 L105.0000,150.0000", "M15,150 Q60,150 105,150", "svg"))
    assert "file" in found


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("PD4200,2000;\nPU;\nPU;SP", "PD4200,2000;\nSP", "travel"),  # down until the pen is changed
        ("PU;\nPU2480", "PD2480", "missing"),  # two holes joined by a cut
        ("IN;", "IN;ZZ5;", "file"),
        ("SP2;", "", "file"),  # no pen is chosen
        ("PD4200,2000;", "PD4200,2000,1;", "file"),
        ("PU0,0;\n", "PU0,0", "file"),
        ("SP0;\nPU0,0;", "SP0;\nPU-900,0;", "bed"),
    ],
)
def test_an_hpgl_file_that_tells_it_wrong_is_named(old, new, code):
    device = cs.machine(pen_cut=1, pen_mark=2)
    assert code in codes(edited(old, new, "hpgl", device))


def test_hpgl_in_the_wrong_unit_is_told_as_a_story():
    """1000 units to the inch for 40 to the mm (1016 to the inch) is a known mistake: -1.6 %."""
    program = cs.program()
    small = cs.with_strokes(program, [scaled(s, 1000 / 1016) for s in program.strokes])
    assert "1000 units an inch" in judged(program, "hpgl", small)[0].says


GCODE_EDITS = [
    ("F1200\nM5\nG0 X", "F1200\nG0 X", "travel"),  # the beam stays on while it travels
    ("M5\nM5\nG0 X0", "G0 X0", "travel"),
    ("M5\nM5\nG0 X0 Y0\nM2", "", "travel"),  # on at the end
    ("G21", "G20", "file"),  # inches
    ("G90", "G91", "file"),  # relative
    ("G21 G90", "G90", "file"),  # units not told
    (" F1200", "", "file"),  # fed before any speed
    ("J10", "J8", "file"),  # an arc that does not end on its circle
    ("G1 X105 Y50", "G1 X105 X105 Y50", "file"),  # a word twice
    ("G1 X105 Y50", "G1 X105 Q7 Y50", "file"),
    ("G21", "$32=1\nG21", "file"),  # a setting in a program
    ("M2", "", "file"),
    ("G3 X110 Y30", "G2 X110 Y30", "shape"),  # the arc the long way round
    ("M4 S0\nG1 X105", "G1 X105", "missing"),  # the beam is off along a mark
    ("G0 X0 Y0\nM2", "G0 X0 Y500\nM2", "bed"),
    ("; Try", "; Try" + 80 * "!", "file"),  # longer than the controller's line
]


@pytest.mark.parametrize(("old", "new", "code"), GCODE_EDITS)
def test_a_gcode_file_that_tells_it_wrong_is_named(old, new, code):
    assert code in codes(edited(old, new, "gcode"))


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("G1 Z-0.3", "G1 Z-4", "layer"),  # a mark cut through
        ("Z-4", "Z-0.3", "layer"),  # an outline scratched
        ("G0 Z5\nG0 Z5\nG0 X0", "G0 X0", "travel"),  # travels with the blade in the leather
        ("G1 Z-0.3 ", "G0 Z-0.3 ", "travel"),  # dropped into it
        ("G1 Z-1\n", "G1 Z1\n", "fit"),  # swung above the leather, where it does not turn
        ("G1 Z-0.3 ", "G1 Z0.2 ", "layer"),  # marked in the air
        ("G17 G94\nG0 Z5", "G17 G94", "travel"),  # its height is not known
    ],
)
def test_a_knife_file_that_would_tear_is_named(old, new, code):
    assert code in codes(edited(old, new, "gcode", cs.knife(), count=-1))


@pytest.mark.parametrize(("old", "new"), [("S80", "S600"), ("S600", "S80"), ("S600", "S900")])
def test_a_line_burnt_with_another_power_is_named(old, new):
    device = cs.machine(power_cut=600.0, power_mark=80.0)
    assert "layer" in codes(edited(old, new, "gcode", device))


def test_own_lines_of_the_profile_may_hold_any_word_but_not_burn():
    """Air assist is the user's affair; a beam left on before the first travel is not."""
    fine = cs.machine(start=("M8", "G4 P1"), finish=("M9",))
    assert judge(encoded(cs.program(fine), "gcode"), "gcode", cs.program(fine)) == ()
    burns = cs.program(cs.machine(start=("M4 S500",)))
    assert "travel" in codes(judge(encoded(burns, "gcode"), "gcode", burns))
    inches = cs.program(cs.machine(start=("G20",)))
    assert "file" in codes(judge(encoded(inches, "gcode"), "gcode", inches))


# --- what is left of the leather -------------------------------------------------------------


@pytest.mark.parametrize(
    ("kerf", "drawn"),
    [
        (0.2, 0.0),  # no compensation at all
        (0.2, 0.4),  # twice as much
        (0.0, 0.3),  # compensated for a tool that takes nothing away
    ],
)
def test_a_kerf_that_was_not_or_wrongly_reckoned_is_named(kerf, drawn):
    """The file agrees with its strokes, yet the piece would not measure what the pattern says."""
    strokes = cs.program(cs.machine(kerf=drawn)).strokes
    program = cs.of_strokes(strokes, cs.machine(kerf=kerf), cs.PATTERN)
    findings = judge(encoded(program, "dxf-r2000"), "dxf-r2000", program)
    assert codes(findings) == {"fit"}
    assert max(finding.by for finding in findings) == pytest.approx(abs(kerf - drawn) / 2, abs=0.01)


def test_a_kerf_on_the_wrong_side_is_named():
    inside = [dataclasses.replace(c, inside=not c.inside) for c in cs.PATTERN]
    strokes = cs.program(cs.machine(kerf=0.2), inside).strokes
    program = cs.of_strokes(strokes, cs.machine(kerf=0.2), cs.PATTERN)
    findings = judge(encoded(program, "svg"), "svg", program)
    assert len([f for f in findings if "wrong side" in f.says]) == 5


@pytest.mark.parametrize("offset", [0.5, 1.0, 3.0])
def test_a_blade_that_was_not_compensated_is_named(offset):
    """A pivot sent along the pattern itself leaves corners rounded and the end uncut."""
    pattern = [cs.OUTLINE, cs.TRIANGLE]
    strokes = [along(c) for c in pattern]
    program = cs.of_strokes(strokes, cs.knife(offset=offset), pattern)
    assert codes(judge(encoded(program, "gcode"), "gcode", program)) == {"fit"}


def test_a_blade_that_marks_and_is_not_led_is_named():
    """A cross whose pivot goes along the arms: the tip trails by the offset."""
    arms = [Contour(a, False, "mark", "", what="registration") for a in cross((240.0, 90.0), 6.0)]
    program = cs.of_strokes([along(arm) for arm in arms], cs.knife(offset=3.0), arms)
    for form in ("gcode", "hpgl", "dxf-r12"):
        findings = judge(encoded(program, form), form, program)
        assert codes(findings) == {"fit"}
        assert max(finding.by for finding in findings) == pytest.approx(3.0, abs=0.1)


def test_a_pen_beside_the_blade_draws_marks_where_they_are():
    """It has no offset, and the blade keeps its heading meanwhile."""
    program = cs.program(cs.knife(marker="pen"))
    assert np.array_equal(program.strokes[0].points, cs.FOLD.points)
    for form in (form for form in FORMS if form != "gcode"):
        assert judge(encoded(program, form), form, program) == ()


def test_a_blade_compensated_for_another_offset_is_named():
    program = cs.program(cs.knife(offset=1.0))
    other = cs.of_strokes(program.strokes, cs.knife(offset=1.5), program.pattern)
    assert codes(judge(encoded(other, "hpgl"), "hpgl", other)) == {"fit"}


def test_a_cut_through_a_neighbour_is_named():
    """A stroke without a pattern of its own may lie anywhere but in a part."""
    align = Contour(np.array([[120.0, 40.0], [100.0, 40.0]]), False, "cut", "", what="align")
    program = cs.program(cs.machine(), [*cs.PATTERN, align])
    findings = judge(encoded(program, "gcode"), "gcode", program)
    assert [(f.code, f.part) for f in findings] == [("fit", cs.BODY)]
    assert findings[0].by == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    ("part", "line", "says", "by"),
    [
        (cs.BODY, [[100.0, 60.0], [120.0, 60.0]], "outside of its part", 10.0),
        (cs.LOOP, [[140.0, 30.0], [170.0, 30.0]], "outside of its part", 10.0),
        (cs.LOOP, [[100.0, 40.0], [105.0, 40.0]], "outside of its part", 5.0),  # neighbour
        ("", [[5.0, 60.0], [15.0, 60.0]], "across a part", 5.0),
        ("heron-9/welt", [[250.0, 60.0], [260.0, 60.0]], "outside of its part", 10.0),
    ],
)
def test_a_mark_that_is_not_on_its_part_is_named(form, part, line, says, by):
    """The file agrees with its program; the program itself burns beside or into a part."""
    mark = Contour(np.array(line), False, "mark", part, what="throat")
    program = cs.program(cs.machine(), [*cs.PATTERN, mark])
    findings = judge(encoded(program, form), form, program)
    assert [(f.code, f.part) for f in findings] == [("astray", part)]
    assert says in findings[0].says
    assert findings[0].by == pytest.approx(by, abs=0.1)


@pytest.mark.parametrize("offset", [0.5, 2.0, 4.0])
def test_the_judges_blade_goes_where_the_tests_blade_goes(offset):
    """The closed form, segment by segment, against a blade that is dragged in small steps."""
    stroke = cs.program(cs.knife(offset=offset)).strokes[1]
    pivot, _ = walked(stroke.points, stroke.bulges)
    theirs = dragged(pivot, 50.0, offset)[::25]
    pivot = pivot[::25]
    ours, heading = simulation.trailed(pivot, offset, math.radians(50.0))
    assert math.degrees(heading) % 360 == pytest.approx(
        heading_of(pivot[-1], theirs[-1]) % 360, abs=0.2
    )
    assert shapely.LineString(ours).hausdorff_distance(shapely.LineString(theirs)) < 0.02


def test_a_blade_closes_as_the_tractrix_does():
    """tan(e/2) falls by e^(-s/d): 90° becomes 2·atan(e^-1) = 40.4° after one offset (derived)."""
    tips, heading = simulation.trailed(np.array([[0.0, 0.0], [3.0, 0.0]]), 3.0, math.pi / 2)
    assert heading == pytest.approx(2 * math.atan(math.exp(-1)))
    assert np.hypot(*(tips[-1] - [3.0, 0.0])) == pytest.approx(3.0)


def test_arcs_are_read_without_the_writers_formulas():
    """A half circle from 0 to 2 with bulge +1 runs below the chord, counter-clockwise."""
    points = np.array(bent(0j, 2 + 0j, 1.0))
    assert np.abs(points - 1).max() == pytest.approx(1.0)
    assert points.imag.min() == pytest.approx(-1.0, abs=0.01)
    assert len(swung(0j, 1 + 0j, math.pi)) == len(points) - 1


# --- names of parts --------------------------------------------------------------------------

LAYERED = ("dxf-r12", "dxf-r2000", "svg")


@pytest.mark.parametrize("changes", [{}, {"mirror": "x"}, {"origin": "centre"}])
@pytest.mark.parametrize("form", FORMS)
def test_a_file_with_names_passes(form, changes):
    program = cs.named(cs.machine(**changes))
    assert judge(encoded(program, form), form, program) == ()


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (cs.NAMES[:1], "the name 'schräg/loop <&' is missing"),
        ((*cs.NAMES, cs.NAMES[0]), "the text 'heron-1/body' is no part's name"),
        ((cs.NAMES[0], dataclasses.replace(cs.NAMES[1], x=166.0)), "stands 1.00 mm from its place"),
        ((cs.NAMES[0], dataclasses.replace(cs.NAMES[1], text="x")), "is missing"),
    ],
)
@pytest.mark.parametrize("form", LAYERED)
def test_a_wrong_name_is_named(form, names, says):
    program = cs.named()
    findings = judged(program, form, dataclasses.replace(program, labels=names))
    assert codes(findings) == {"label"}
    assert says in findings[0].says


@pytest.mark.parametrize(
    ("form", "old", "new"),
    [
        ("dxf-r12", r"(TEXT\n  5\n\w+\n  8\n)LABELS", r"\1CUT"),  # would be cut
        ("svg", 'stroke="#000000"', 'stroke="#ff0000"'),
        ("svg", 'fill="none" stroke="#000000"', 'fill="#000000" stroke="#000000"'),  # engraved
    ],
)
def test_a_name_where_it_would_be_cut_is_named(form, old, new):
    program = cs.named()
    data, count = re.subn(old, new, encoded(program, form).decode())
    assert count
    assert judge(data.encode(), form, program) != ()


# --- files on the disk -----------------------------------------------------------------------


# --- bad samples from outside ----------------------------------------------------------------


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    """The folder of sample files that the generator in CROUPON_DATA makes."""
    if not (CLIENTS / "gen.py").is_file():
        pytest.skip(f"no clients/gen.py in CROUPON_DATA ({CLIENTS.parent})")
    folder = tmp_path_factory.mktemp("samples")
    shutil.copy(CLIENTS / "gen.py", folder)
    runpy.run_path(str(folder / "gen.py"))
    return folder


def truth(form):
    """What the generator says of its good sample: a rounded rectangle, three holes, a line.

    Its drawings have the holes as CIRCLE, which our files never hold, so there they are no
    part of the truth.
    """
    q = cs.QUARTER
    rows = [
        (20, 20, 0), (100, 20, q), (110, 30, 0), (110, 70, q),
        (100, 80, 0), (20, 80, q), (10, 70, 0), (10, 30, q),
    ]  # fmt: skip
    corners = np.array(rows, dtype=float)
    outline = Contour(corners[:, :2], True, "cut", "a", corners[:, 2])
    holes = [
        Contour(np.array([[x + 2.0, 30.0], [x - 2.0, 30.0]]), True, "hole", "a", np.full(2, turn))
        for x, turn in ((30, -1.0), (60, -1.0), (90, -1.0))
    ]
    line = Contour(np.array([[15.0, 50.0], [105.0, 50.0]]), False, "mark", "a")
    pattern = (outline, *(() if form.startswith("dxf") else holes), line)
    device = cs.machine(bed=(120.0, 100.0), pen_cut=1, pen_mark=3, power_cut=600.0)
    return cs.program(device, pattern)


@pytest.mark.parametrize(
    ("name", "form", "code"),
    [
        ("bad_insunits_inch.dxf", "dxf-r2000", "units"),
        ("bad_unitless.dxf", "dxf-r2000", "units"),
        ("bad_scale_25.4.dxf", "dxf-r2000", "scale"),
        ("bad_scale_72_96.dxf", "dxf-r2000", "scale"),
        ("bad_open.dxf", "dxf-r2000", "open"),
        ("bad_duplicate.dxf", "dxf-r2000", "duplicate"),
        ("bad_spline.dxf", "dxf-r2000", "extra"),
        ("bad_layer.dxf", "dxf-r2000", "layer"),
        ("bad_selfcross.dxf", "dxf-r2000", "extra"),
        ("block_insert.dxf", "dxf-r2000", "extra"),
        ("exploded_gap.dxf", "dxf-r2000", "missing"),
        ("bad_truncated.dxf", "dxf-r2000", "file"),
        ("bad_commas.dxf", "dxf-r2000", "file"),
        ("bad_nounit.svg", "svg", "units"),
        ("bad_noviewbox.svg", "svg", "units"),
        ("px96.svg", "svg", "units"),
        ("px72.svg", "svg", "units"),
        ("bad_scale.plt", "hpgl", "scale"),
        ("bad_open.plt", "hpgl", "open"),
        ("bad_units_laser.ngc", "gcode", "file"),
        ("bad_nofeed_laser.ngc", "gcode", "file"),
        ("bad_arc_laser.ngc", "gcode", "file"),
        ("bad_word_laser.ngc", "gcode", "file"),
        ("bad_code_laser.ngc", "gcode", "file"),
    ],
)
def test_bad_samples_from_outside_are_named(samples, name, form, code):
    assert code in codes(judge((samples / name).read_bytes(), form, truth(form)))


def test_the_good_drawing_from_outside_has_nothing_but_circles_and_no_extents(samples):
    """So whatever else is found in the bad ones is theirs. Its layer CREASE is none of ours."""
    findings = judge((samples / "good_r2000.dxf").read_bytes(), "dxf-r2000", truth("dxf-r2000"))
    assert codes(findings) == {"extra", "extents", "layer"}
    assert all(re.search(r"CIRCLE|\$EXT|on CREASE", f.says) for f in findings)


def test_the_good_gcode_sample_from_outside_has_its_outline_and_holes(samples):
    """It has no fold, and that is all that the judge misses."""
    findings = judge((samples / "good_laser.ngc").read_bytes(), "gcode", truth("gcode"))
    assert codes(findings) == {"missing"}
    assert len(findings) == 1
