"""What the writers put into each file, held against the formats' own references."""

import re

import ezdxf
import numpy as np
import pytest

from nest.cutter.contour import Contour
from nest.cutter.formats import SUFFIXES, encoded
from nest.cutter.formats.lines import flattened, named, plain, thinned
from nest.cutter.polyline import arc_centre
from nest.cutter.stroke import SWIVEL, Stroke, along
from nest.errors import CutError
from tests import cut_sample as cs

FORMS = tuple(SUFFIXES)


def text(form, device=None, pattern=None):
    return encoded(cs.program(device, pattern), form).decode("utf-8")


def drawing(form, tmp_path, device=None):
    """The file as ezdxf sees it."""
    path = tmp_path / "a.dxf"
    path.write_bytes(encoded(cs.program(device), form))
    return ezdxf.readfile(path)


# --- all formats -----------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
def test_two_writes_give_the_same_bytes(form):
    assert text(form) == text(form)


@pytest.mark.parametrize("form", FORMS)
def test_no_date_and_no_machine_path_is_in_a_file(form):
    """Bytes that change with the day or the computer would hide real changes."""
    told = text(form)
    assert not re.search(r"20[2-9]\d-\d\d-\d\d|/home/|/tmp/|/usr/", told)


@pytest.mark.parametrize("form", [form for form in FORMS if form != "hpgl"])
def test_plan_and_cautions_stand_in_the_head_of_the_file(form):
    head = " ".join(line.lstrip("; ") for line in text(form).split("\n")[:14])
    assert "plan PABABAB," in head
    assert "digest " + "ab" * 32 in head
    assert "Never leave it alone" in head
    assert "Try it on scrap first." in head


@pytest.mark.parametrize("form", [form for form in FORMS if form != "svg"])
def test_files_for_controllers_are_plain_ascii(form):
    """The long dash of a caution becomes a hyphen, other letters a question mark."""
    assert text(form).isascii()
    assert plain("schräg – 90° × 2") == "schr?g - 90 deg x 2"


@pytest.mark.parametrize("form", FORMS)
def test_a_file_larger_than_the_controller_takes_is_refused(form):
    with pytest.raises(CutError, match=r"bytes; sample laser takes 500"):
        encoded(cs.program(cs.machine(largest_file=500)), form)


@pytest.mark.parametrize("form", ["dxf-r12", "dxf-r2000"])
def test_dxf_names_the_parts_on_a_layer_that_is_not_plotted(form, tmp_path):
    """Read by ezdxf; R12 knows no flag for it, so the head says it too."""
    path = tmp_path / "a.dxf"
    path.write_bytes(encoded(cs.named(), form))
    drawing = ezdxf.readfile(path)
    texts = drawing.modelspace().query("TEXT")
    assert [text.dxf.text for text in texts] == [cs.BODY, "schr?g/loop <&"]
    assert {text.dxf.layer for text in texts} == {"LABELS"}
    assert [text.get_placement()[1].round(6) for text in texts] == [(60, 60, 0), (165, 35, 0)]
    assert texts[1].dxf.rotation == pytest.approx(30.0)
    if form == "dxf-r2000":
        assert drawing.layers.get("LABELS").dxf.plot == 0
    assert b"Layer LABELS holds the parts' names and is not cut" in path.read_bytes()


def test_svg_names_the_parts_in_a_layer_of_another_colour():
    told = encoded(cs.named(), "svg").decode()
    assert '<g id="LABELS" inkscape:groupmode="layer"' in told
    assert told.count("<text ") == 2
    assert "schräg/loop &lt;&amp;" in told
    assert 'transform="rotate(-30.00 165.0000 165.0000)"' in told


def test_names_on_a_mirrored_machine_can_be_read():
    """Its drawing is mirrored, the letters are not: at 300 - 165, tilted the other way."""
    _, label = named(cs.named(cs.machine(mirror="x")))
    assert (label.x, label.y, label.angle) == pytest.approx((135.0, 35.0, -30.0))


@pytest.mark.parametrize("form", ["hpgl", "gcode"])
def test_files_without_layers_name_no_part(form):
    """All that is in them is done: the file is the same without names."""
    assert encoded(cs.named(), form) == encoded(cs.program(), form)


# --- chords and arcs -------------------------------------------------------------------------


def test_bulges_make_the_arcs_of_the_dxf_reference():
    """A quarter circle from (10, 0) to (0, 10) has bulge tan(90°/4) and its centre at (0, 0)."""
    centre, radius = arc_centre(np.array([10.0, 0.0]), np.array([0.0, 10.0]), cs.QUARTER)
    assert centre == pytest.approx([0.0, 0.0], abs=1e-9)
    assert radius == pytest.approx(10.0)


@pytest.mark.parametrize("most", [0.001, 0.01, 0.1])
def test_chords_leave_an_arc_by_no_more_than_asked(most):
    stroke = along(cs.OUTLINE)
    points = flattened(stroke, most)
    assert points[0].tolist() == points[-1].tolist()
    inner = points[(points[:, 0] > 100) & (points[:, 1] < 30)]
    middles = (inner[1:] + inner[:-1]) / 2
    radii = np.hypot(*(np.vstack([inner, middles]) - [100.0, 30.0]).T)
    assert (10 - most - 1e-9 <= radii).all()
    assert (radii <= 10 + 1e-9).all()


def test_points_too_close_together_are_left_out_but_corners_stay():
    """A dense straight run loses its points; a notch 0.15 mm deep does not, at any step."""
    run = np.array(
        [[0.0, 0.0], [0.05, 0.0], [0.1, 0.0], [5.0, 0.0], [5.05, 0.15], [5.1, 0.0], [9, 0]]
    )
    assert thinned(run, 0.2).tolist() == run[[0, 3, 4, 5, 6]].tolist()
    assert thinned(run, 0.0) is run


# --- DXF -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("form", "version"), [("dxf-r12", "AC1009"), ("dxf-r2000", "AC1015")])
def test_dxf_tells_units_and_extents_in_its_header(form, version, tmp_path):
    """DXF reference: $INSUNITS 4 is mm, $MEASUREMENT 1 metric. R12 lacks both until patched."""
    told = drawing(form, tmp_path)
    assert told.dxfversion == version
    assert (told.header["$INSUNITS"], told.header["$MEASUREMENT"]) == (4, 1)
    assert told.header["$EXTMIN"][:2] == pytest.approx(cs.EXTENTS[:2])
    assert told.header["$EXTMAX"][:2] == pytest.approx(cs.EXTENTS[2:])
    assert not told.audit().errors


@pytest.mark.parametrize(
    ("form", "kinds"), [("dxf-r12", {"POLYLINE"}), ("dxf-r2000", {"LWPOLYLINE"})]
)
def test_dxf_holds_polylines_on_declared_layers_in_order(form, kinds, tmp_path):
    told = drawing(form, tmp_path)
    drawn = list(told.modelspace())
    assert {entity.dxftype() for entity in drawn} == kinds
    layers = [entity.dxf.layer for entity in drawn]
    assert layers == ["MARK", "HOLES", "HOLES", "HOLES", "CUT", "MARK", "CUT"]
    colours = {layer.dxf.name: layer.dxf.color for layer in told.layers}
    assert (colours["CUT"], colours["HOLES"], colours["MARK"]) == (1, 5, 3)


def test_r12_is_chords_and_r2000_keeps_the_bulges(tmp_path):
    """Bulges count from the vertex that the arc leaves: (100, 20) is the second."""
    light = drawing("dxf-r2000", tmp_path).modelspace()[4]
    assert light.closed
    assert light.get_points("xyb")[1] == pytest.approx((100.0, 20.0, cs.QUARTER), abs=1e-6)
    heavy = drawing("dxf-r12", tmp_path).modelspace()[4]
    assert heavy.is_closed
    assert not heavy.has_arc
    assert len(heavy.vertices) > 15


# --- SVG -------------------------------------------------------------------------------------


def test_svg_page_is_the_bed_and_a_unit_is_a_millimetre():
    told = text("svg")
    assert 'width="300mm" height="200mm" viewBox="0 0 300 200"' in told
    assert "transform" not in told


def test_svg_turns_y_down_and_keeps_arcs():
    """(10, 20) on a bed 200 mm deep is (10, 180); a ccw arc goes against the sweep."""
    told = text("svg")
    assert "L100.0000,180.0000 A10.000000,10.000000 0 0 0 110.0000,170.0000" in told
    assert '<g id="CUT" inkscape:groupmode="layer" inkscape:label="CUT" fill="none"' in told


# --- HPGL ------------------------------------------------------------------------------------


def test_hpgl_counts_forty_units_to_the_millimetre():
    """One unit is 0.025 mm (Hewlett-Packard, HP-GL reference): the fold from 15 to 105 mm."""
    assert "PU600,2000;\nPD4200,2000;\nPU;" in text("hpgl")


def test_hpgl_uses_the_pens_and_speeds_of_the_profile():
    """VS is in cm/s: 250 mm/s is 25."""
    told = text("hpgl", cs.machine(pen_cut=4, pen_mark=7, feed_cut=250.0, feed_mark=5.0))
    assert re.findall(r"SP\d+;VS\d+", told) == ["SP7;VS1", "SP4;VS25", "SP7;VS1", "SP4;VS25"]
    assert set(re.findall(r"[A-Z]{2}", told)) == {"IN", "PA", "PU", "PD", "SP", "VS"}
    assert told.endswith("SP0;\nPU0,0;\n")


def test_hpgl_lines_fit_old_buffers():
    assert max(map(len, text("hpgl").split("\n"))) <= 255


@pytest.mark.parametrize(
    ("changes", "units"),
    [
        ({}, (600, 2000)),  # (15, 50) mm from the lower left
        ({"origin": "lower right"}, (11400, 2000)),  # 300 - 15
        ({"origin": "upper left"}, (600, 6000)),  # 200 - 50
        ({"origin": "centre"}, (-5400, -2000)),  # 15 - 150, 50 - 100
        ({"swap_axes": True}, (2000, 600)),
        ({"mirror": "x"}, (11400, 2000)),
        ({"origin": "upper right", "swap_axes": True}, (6000, 11400)),
    ],
)
def test_hpgl_counts_as_the_machine_does(changes, units):
    first = re.search(r"PU(-?\d+),(-?\d+)", text("hpgl", cs.machine(**changes)))
    assert (int(first[1]), int(first[2])) == units


def test_hpgl_that_would_be_negative_is_refused():
    off = [Contour(np.array([[-5.0, 0.0], [5.0, 0.0]]), False, "cut", "")]
    with pytest.raises(CutError, match="leaves the bed"):
        text("hpgl", pattern=off)


# --- G-code ----------------------------------------------------------------------------------


def test_a_laser_is_off_on_every_travel():
    """Between M5 and M4 (or M3) there is G0 only, between M4 and M5 none."""
    burning = False
    for line in text("gcode", cs.machine(power_cut=600.0)).split("\n"):
        burning = line.startswith("M4") or (burning and line != "M5")
        assert not (burning and line.startswith("G0 "))
        assert not (not burning and re.match(r"G[123] ", line))


def test_laser_words_are_those_of_the_profile():
    """Feeds are mm/s in the profile and mm/min in the file."""
    told = text("gcode", cs.machine(power_cut=600.0, power_mark=80.0, feed_cut=12.5, beam="M3"))
    assert "M3 S80\nG1 X105 Y50 F1200\nM5" in told
    assert "M3 S600" in told
    assert "F750" in told
    assert "$32=1" not in "".join(line for line in told.split("\n") if not line.startswith(";"))


def test_without_power_the_beam_stays_off_and_the_file_says_so():
    told = text("gcode")
    assert set(re.findall(r"S[\d.]+", told.split("G21")[1])) == {"S0"}
    assert "No power is set" in told


def test_gcode_lines_fit_the_controllers_80_letters():
    """gnea/grbl, LINE_BUFFER_SIZE 80."""
    assert max(map(len, text("gcode").split("\n"))) <= 80


def test_gcode_arcs_keep_their_centre_and_small_ones_become_chords():
    """I, J lead from the start to the centre; below a radius of 0.5 mm grbl's check is harsh."""
    told = text("gcode")
    assert "G3 X110 Y30 I0 J10" in told
    small = Contour(np.array([[10.0, 10.0], [10.6, 10.0]]), False, "cut", "", np.array([1.0, 0]))
    assert not re.search(r"^G[23] ", text("gcode", pattern=[small]), re.MULTILINE)


def test_a_knife_travels_high_cuts_low_and_swivels_between():
    """Heights of the profile: 5 above the leather, 4 in it, 3 less for a swivel."""
    told = text("gcode", cs.knife(z_cut=-4.0, turn_height=3.0))
    assert "M4" not in told
    assert set(re.findall(r"Z(-?[\d.]+)", told)) == {"5", "-4", "-1", "-0.3"}


def test_a_blade_is_swung_before_it_is_lowered_to_full_depth():
    """It comes down to -0.3 mm, turns round its tip there, and only then goes to -4 mm."""
    rows = [row for row in text("gcode", cs.knife()).split("\n") if not row.startswith(";")]
    lowered = [
        k for k, row in enumerate(rows) if row.startswith("G1 Z") and rows[k - 1][:2] == "G0"
    ]
    assert len(lowered) == 4
    assert all(rows[k].startswith("G1 Z-0.3 F") for k in lowered)
    swung = [rows[k + 1][:2] for k in lowered if "G1 Z-4" in rows[k : k + 3]]
    assert len(swung) == 2
    assert set(swung) <= {"G2", "G3"}


def test_a_blade_never_swings_above_the_leather_where_it_would_not_turn():
    """A swivel 3 mm above each of three passes of 1.33 mm would be in the air."""
    told = text("gcode", cs.knife(passes=3, turn_height=3.0))
    heights = {float(z) for z in re.findall(r"G1 Z(-?[\d.]+)", told)}
    assert heights == {-0.3, -1.0, -4.0, -1.3333, -2.6667}


def test_marks_that_a_controller_can_not_make_are_refused():
    """G-code changes no tool; HPGL has no depth."""
    with pytest.raises(CutError, match="no pen can draw the marks"):
        text("gcode", cs.knife(marker="pen"))
    with pytest.raises(CutError, match="would be cut through"):
        text("hpgl", cs.knife(pen_mark=1))


def test_a_knife_goes_deeper_with_every_pass():
    """Common practice, no published source: equal steps to the full depth."""
    line = Stroke(np.array([[10.0, 10.0], [50.0, 10.0]]), False, "cut", "", passes=4)
    told = encoded(cs.of_strokes([line], cs.knife(z_cut=-4.0), ()), "gcode").decode()
    assert re.findall(r"G1 Z(\S+)", told) == ["-1", "-2", "-3", "-4"]


def test_own_start_and_finish_lines_stand_around_the_strokes():
    told = text("gcode", cs.machine(start=("M8",), finish=("M9",)))
    assert told.index("M8") < told.index("M4 ") < told.index("M9") < told.index("M2")


def test_gcode_is_refused_to_a_knife_that_must_be_turned():
    device = cs.machine(tool="oscillating")
    with pytest.raises(CutError, match="turns no blade, and sample laser's must be turned"):
        text("gcode", device)


def test_a_lifted_knife_makes_separate_lines():
    """Where its machine turns the blade, the pen is up in HPGL and the polyline ends in DXF."""
    way = np.array([[10.0, 10.0], [50.0, 10.0], [50.0, 12.0], [50.0, 60.0]])
    stroke = Stroke(way, False, "cut", "", heights=("down", SWIVEL, "down"))
    device = cs.machine(tool="oscillating")
    told = encoded(cs.of_strokes([stroke], device, ()), "hpgl").decode()
    assert "PU400,400;\nPD2000,400;\nPU;\nPU2000,480;\nPD2000,2400;\nPU;" in told
