"""Cut files as programs read them that share nothing with this one.

GDAL (its own DXF reader), LibreCAD (obeys ``$INSUNITS``), Inkscape's importer (obeys
``$MEASUREMENT``) and its SVG reader, librsvg, hp2xx, LinuxCNC's rs274, poppler. Each measures
our files, and the numbers it must find are worked out by hand in :mod:`tests.cut_sample`. Each is
given bad files too: a reader that finds nothing in them would prove nothing.
"""

from __future__ import annotations

import json
import math
import os
import re
import runpy
import shutil
import subprocess
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import shapely
import svgelements
from PIL import Image
from shapely.geometry import shape

from nest.cutter.formats import SUFFIXES, encoded
from tests import cut_sample as cs

CLIENTS = Path(os.environ.get("CROUPON_DATA", "../shared")) / "clients"
IMPORTER = Path("/usr/share/inkscape/extensions/dxf_input.py")
PX = 25.4 / 96  # mm
DXF = ("dxf-r12", "dxf-r2000")


def needs(program, package):
    """Skip where a reader is not installed."""
    return pytest.mark.skipif(
        shutil.which(program) is None, reason=f"{program} is not installed (apt: {package})"
    )


gdal = needs("ogr2ogr", "gdal-bin")
librecad = needs("librecad", "librecad")
poppler = needs("pdftoppm", "poppler-utils")
inkscape = needs("inkscape", "inkscape")
rsvg = needs("rsvg-convert", "librsvg2-bin")
hp2xx = needs("hp2xx", "hp2xx")
rs274 = needs("rs274", "linuxcnc-uspace")
importer = pytest.mark.skipif(
    not IMPORTER.is_file(), reason="no importer for DXF (apt: inkscape python3-lxml ...)"
)


@dataclass(frozen=True)
class Truth:
    """What a drawing holds: layer -> how many lines, their length in mm; the box of all."""

    layers: dict[str, tuple[int, float]]
    box: tuple[float, float, float, float]
    open_ends: int

    @property
    def length(self):
        return sum(length for _, length in self.layers.values())

    @property
    def count(self):
        return sum(count for count, _ in self.layers.values())


OURS = Truth({"CUT": (2, cs.CUTS), "HOLES": (3, cs.ROUND), "MARK": (2, cs.MARKS)}, cs.EXTENTS, 4)
# A rounded rectangle of 100 × 60 mm, radius 10; three holes of 4 mm; a line of 90 mm. From the
# text of the generator in CROUPON_DATA.
THEIRS = Truth(
    {"CUT": (1, 240 + 20 * math.pi), "HOLES": (3, 12 * math.pi), "CREASE": (1, 90.0)},
    (10.0, 20.0, 110.0, 80.0),
    2,
)


@pytest.fixture(scope="module")
def ours(tmp_path_factory):
    """Format -> the sample's file on the disk."""
    folder = tmp_path_factory.mktemp("ours")
    device = cs.machine(power_cut=600.0, power_mark=80.0)
    for form, suffix in SUFFIXES.items():
        (folder / f"a{suffix}").write_bytes(encoded(cs.program(device), form))
    return {form: folder / f"a{suffix}" for form, suffix in SUFFIXES.items()}


@pytest.fixture(scope="module")
def theirs(tmp_path_factory):
    """The folder of sample files, good and bad, that the generator in CROUPON_DATA makes."""
    if not (CLIENTS / "gen.py").is_file():
        pytest.skip(f"no clients/gen.py in CROUPON_DATA ({CLIENTS.parent})")
    folder = tmp_path_factory.mktemp("theirs")
    shutil.copy(CLIENTS / "gen.py", folder)
    runpy.run_path(str(folder / "gen.py"))
    return folder


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A home of its own for programs that keep settings, and no display."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    return tmp_path


def run(*command, **options):
    words = [str(word) for word in command]
    options = {"timeout": 120} | options
    return subprocess.run(words, capture_output=True, text=True, check=False, **options)


def spoiled(path, tmp_path, *edits):
    """A copy of a file with parts of its text changed."""
    text = path.read_text()
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    copy = tmp_path / f"bad{path.suffix}"
    copy.write_text(text)
    return copy


# --- DXF: GDAL -------------------------------------------------------------------------------


def gdal_blames(path, truth):
    """What GDAL's DXF reader and shapely find wrong in a drawing."""
    command = ["ogr2ogr", "-f", "GeoJSON", "/vsistdout/", path]
    told = run(*command, "-lco", "COORDINATE_PRECISION=7")
    blames = [told.stderr.split("\n")[0]] if told.stderr else []
    layers = defaultdict(list)
    for feature in json.loads(told.stdout or '{"features": []}')["features"]:
        found = shape(feature["geometry"])
        parts = getattr(found, "geoms", [found])
        layers[feature["properties"]["Layer"]] += [
            shapely.LineString(g.exterior if g.geom_type == "Polygon" else g) for g in parts
        ]
    return blames + _layer_blames(layers, truth)


def _layer_blames(layers, truth):
    lines = [line for found in layers.values() for line in found]
    if set(layers) != set(truth.layers):
        return [f"layers {sorted(layers)}"]
    blames = []
    for name, (count, length) in truth.layers.items():
        found = sum(line.length for line in layers[name])
        if len(layers[name]) != count:
            blames.append(f"{name}: {len(layers[name])} lines")
        # GDAL's chords of 4 degrees are 0.02 % shorter than their arcs, ours in R12 0.16 %
        if abs(found - length) > 2e-3 * length:
            blames.append(f"{name}: {found:.3f} mm")
        if not all(_ringed(line).is_simple for line in layers[name]):
            blames.append(f"{name}: crosses itself")
    box = shapely.total_bounds(lines)
    if np.abs(box - truth.box).max() > 0.01:
        blames.append(f"box {box.round(3).tolist()}")
    gaps = [math.dist(line.coords[0], line.coords[-1]) for line in lines]
    if 2 * sum(gap > 1e-4 for gap in gaps) != truth.open_ends:
        blames.append(f"gaps {np.round(gaps, 3).tolist()}")
    return blames


def _ringed(line):
    """A ring whose end differs from its start by a rounding is closed."""
    near = math.dist(line.coords[0], line.coords[-1]) < 1e-4
    return shapely.LineString([*line.coords[:-1], line.coords[0]]) if near else line


@gdal
@pytest.mark.parametrize("form", DXF)
def test_gdal_measures_what_was_drawn(form, ours):
    assert gdal_blames(ours[form], OURS) == []


@gdal
@pytest.mark.parametrize("form", DXF)
@pytest.mark.parametrize(
    "device",
    [cs.machine(kerf=0.3), cs.knife(), cs.knife(offset=3.0, lead_in=20.0)],
    ids=["kerf", "knife", "long knife"],
)
def test_gdal_measures_every_stroke_of_a_tool(device, form, tmp_path):
    """Kerf and blade change the lines; their length is that of the program's strokes.

    The way of a blade's pivot crosses itself where it runs on past its start.
    """
    program = cs.program(device)
    path = tmp_path / "a.dxf"
    path.write_bytes(encoded(program, form))
    blames = gdal_blames(path, truth_of(program))
    assert blames == (["CUT: crosses itself"] if device.is_knife else [])


def truth_of(program):
    """What a drawing of a program must hold, from its strokes."""
    names = {"mark": "MARK", "hole": "HOLES", "cut": "CUT"}
    layers = {}
    for stroke in program.strokes:
        count, length = layers.get(names[stroke.work], (0, 0.0))
        layers[names[stroke.work]] = count + 1, length + stroke.length
    return Truth(layers, program.extents, 2 * sum(not s.closed for s in program.strokes))


@gdal
@pytest.mark.parametrize("form", DXF)
def test_gdal_reads_the_names_on_their_layer(form, tmp_path):
    """Its reader of TEXT gives the words at their place; nothing else lies on that layer."""
    path = tmp_path / "a.dxf"
    path.write_bytes(encoded(cs.named(), form))
    sql = "select Text, st_x(geometry), st_y(geometry) from entities where Layer='LABELS'"
    command = ["ogr2ogr", "-f", "CSV", "/vsistdout/", str(path), "-dialect", "SQLite", "-sql", sql]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    rows = [row.split(",") for row in told.strip().split("\n")[1:]]
    assert [row[0].strip('"') for row in rows] == [cs.BODY, "schr?g/loop <&"]
    places = [float(value) for row in rows for value in row[1:]]
    assert places == pytest.approx([60.0, 60.0, 165.0, 35.0])


@gdal
def test_gdal_passes_the_good_sample(theirs):
    assert gdal_blames(theirs / "good_r2000.dxf", THEIRS) == []


@gdal
@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("bad_scale_25.4", "box"),
        ("bad_scale_72_96", "box"),
        ("bad_open", "gaps"),
        ("bad_duplicate", "CUT: 2 lines"),
        ("bad_spline", "ERROR"),
        ("bad_layer", "NOT_DECLARED"),
        ("bad_selfcross", "crosses itself"),
        ("block_insert", "CUT: 2 lines"),
    ],
)
def test_gdal_blames_the_bad_samples(name, says, theirs):
    assert says in "; ".join(gdal_blames(theirs / f"{name}.dxf", THEIRS))


@gdal
def test_gdal_blames_a_contour_in_pieces(theirs):
    """Eight lines and arcs with a gap of 0.05 mm between two of them."""
    alone = Truth({"CUT": THEIRS.layers["CUT"]}, THEIRS.box, 0)
    assert "CUT: 8 lines" in gdal_blames(theirs / "exploded_gap.dxf", alone)


# --- DXF: LibreCAD and poppler ---------------------------------------------------------------


def librecad_box(path, folder):
    """The box in mm of what LibreCAD draws at 1:1, and the page's size; y is up."""
    run("librecad", "dxf2pdf", "-s", "1", "-t", folder, path)
    pdf = folder / f"{path.stem}.pdf"
    told = run("pdfinfo", pdf).stdout
    page = [float(side) / 72 * 25.4 for side in re.search(r"size:\s+(\S+) x (\S+)", told).groups()]
    if max(page) > 3000:
        return None, page  # as large as a house: nothing to be painted
    run("pdftoppm", "-r", "254", "-gray", "-png", "-singlefile", pdf, folder / "page")
    dark = np.asarray(Image.open(folder / "page.png").convert("L")) < 230
    (rows, columns), tall = np.nonzero(dark), page[1]
    box = columns.min(), tall * 10 - rows.max() - 1, columns.max() + 1, tall * 10 - rows.min()
    return np.array(box) / 10, page


@librecad
@poppler
@pytest.mark.parametrize("form", DXF)
def test_librecad_draws_it_in_its_size_and_place(form, ours, home):
    """It believes $INSUNITS; ten pixels are a millimetre, and a line is one or two wide."""
    box, _ = librecad_box(ours[form], home)
    assert box == pytest.approx(cs.EXTENTS, abs=0.15)


@librecad
@poppler
@pytest.mark.parametrize("form", DXF)
def test_librecad_notices_other_units(form, ours, home):
    """Told to be inches, the same numbers are 25.4 times as large."""
    four = "     4" if form == "dxf-r12" else "4"
    edit = (f"$INSUNITS\n 70\n{four}", "$INSUNITS\n 70\n1")
    box, page = librecad_box(spoiled(ours[form], home, edit), home)
    assert box is None or np.abs(box - cs.EXTENTS).max() > 100, page


@librecad
@poppler
@pytest.mark.parametrize("name", ["bad_insunits_inch", "bad_scale_25.4", "bad_scale_72_96"])
def test_librecad_blames_the_bad_samples(name, theirs, home):
    box, page = librecad_box(theirs / f"{name}.dxf", home)
    assert box is None or np.abs(box - THEIRS.box).max() > 1, page


@librecad
def test_librecad_does_not_draw_what_is_cut_off(ours, home):
    """It stands still with a message, so only the end of its time tells."""
    cut = home / "cut.dxf"
    cut.write_bytes(ours["dxf-r2000"].read_bytes()[:12_000])
    with pytest.raises(subprocess.TimeoutExpired):
        run("librecad", "dxf2pdf", "-s", "1", "-t", home, cut, timeout=4)
    assert not (home / "cut.pdf").exists()


# --- DXF: Inkscape's importer ----------------------------------------------------------------


def imported(path, home):
    """Length in mm by layer's colour, and box, of what the importer makes of a drawing."""
    # its extensions need the system's own Python
    command = ["/usr/bin/python3", IMPORTER, "--scalemethod=file", path]
    told = run(*command, env={"PATH": "/usr/bin:/bin", "HOME": str(home)})
    if told.returncode:
        return None, None
    svg = home / "imported.svg"
    svg.write_text(told.stdout)
    return svg_measures(svg)


def svg_measures(path):
    """Length in mm by colour, and box with y down, as svgelements reads a drawing."""
    lengths, boxes = defaultdict(float), []
    for element in svgelements.SVG.parse(str(path), ppi=96).elements():
        if isinstance(element, svgelements.Shape) and element.stroke.value is not None:
            way = abs(svgelements.Path(element))
            lengths[element.stroke.hex] += way.length(error=1e-4) * PX
            boxes.append(way.bbox())
    box = np.array(boxes)
    return dict(lengths), np.array([*box[:, :2].min(0), *box[:, 2:].max(0)]) * PX


@importer
@pytest.mark.parametrize("form", DXF)
def test_inkscape_imports_it_in_its_size(form, ours, home):
    """It believes $MEASUREMENT, whatever $INSUNITS says."""
    lengths, box = imported(ours[form], home)
    assert sum(lengths.values()) == pytest.approx(OURS.length, rel=1e-3)
    assert lengths["#ff0000"] == pytest.approx(cs.CUTS, rel=1e-3)
    assert box[2] - box[0] == pytest.approx(200.0, abs=0.01)
    assert box[3] - box[1] == pytest.approx(60.0, abs=0.01)


@importer
@pytest.mark.parametrize("form", DXF)
def test_inkscape_notices_that_the_drawing_is_not_metric(form, ours, home):
    one = "     1" if form == "dxf-r12" else "1"
    edit = (f"$MEASUREMENT\n 70\n{one}", "$MEASUREMENT\n 70\n0")
    _, box = imported(spoiled(ours[form], home, edit), home)
    assert box[2] - box[0] == pytest.approx(200.0 * 25.4, rel=1e-3)


@importer
@pytest.mark.parametrize("name", ["bad_commas", "bad_scale_25.4", "bad_duplicate", "bad_open"])
def test_inkscapes_importer_blames_the_bad_samples(name, theirs, home):
    lengths, _ = imported(theirs / f"{name}.dxf", home)
    good, _ = imported(theirs / "good_r2000.dxf", home)
    assert sum(good.values()) == pytest.approx(THEIRS.length, rel=1e-3)
    assert lengths is None or abs(sum(lengths.values()) - THEIRS.length) > 10


# --- SVG: Inkscape, svgelements, librsvg -----------------------------------------------------


def inkscape_box(path):
    """The box in mm of all that Inkscape sees in a drawing, y down, lines' width with it."""
    rows = run("inkscape", "--query-all", path).stdout.strip().split("\n")
    x, y, wide, tall = (float(value) * PX for value in rows[0].split(",")[1:])
    return np.array([x, y, x + wide, y + tall])


def painted_box(path, folder):
    """The box in mm of what librsvg paints at ten pixels to the millimetre; None for nothing."""
    picture = folder / "painted.png"
    run("rsvg-convert", "-d", "254", "-p", "254", "-o", picture, path)
    shown = np.asarray(Image.open(picture).convert("RGBA"))[:, :, 3] > 40
    if not shown.any():
        return None
    rows, columns = np.nonzero(shown)
    return np.array([columns.min(), rows.min(), columns.max() + 1, rows.max() + 1]) / 10


DOWN = (10.0, 120.0, 210.0, 180.0)  # the sample's box on a page 200 mm high, y down


@inkscape
def test_inkscape_sees_the_svg_in_its_size_and_place(ours, home):
    assert inkscape_box(ours["svg"]) == pytest.approx(DOWN, abs=0.06)


@inkscape
@pytest.mark.parametrize("name", ["bad_nounit", "bad_noviewbox", "px72"])
def test_inkscape_blames_the_bad_samples(name, theirs, home):
    """The good one is 100 × 60 mm at (10, 20) from the left and the top."""
    assert np.abs(inkscape_box(theirs / f"{name}.svg") - [10, 20, 110, 80]).max() > 1


@inkscape
def test_inkscape_passes_the_good_sample(theirs, home):
    assert inkscape_box(theirs / "good.svg") == pytest.approx([10, 20, 110, 80], abs=0.06)


def test_svgelements_measures_each_colour(ours):
    lengths, box = svg_measures(ours["svg"])
    assert lengths["#ff0000"] == pytest.approx(cs.CUTS, abs=0.01)
    assert lengths["#0000ff"] == pytest.approx(cs.ROUND, abs=0.01)
    assert lengths["#00ff00"] == pytest.approx(cs.MARKS, abs=0.01)
    assert box == pytest.approx(DOWN, abs=1e-3)


@rsvg
def test_librsvg_paints_it_in_its_size_and_place(ours, tmp_path):
    assert painted_box(ours["svg"], tmp_path) == pytest.approx(DOWN, abs=0.15)


@rsvg
@pytest.mark.parametrize("name", ["bad_nounit", "bad_noviewbox", "px72"])
def test_librsvg_blames_the_bad_samples(name, theirs, tmp_path):
    box = painted_box(theirs / f"{name}.svg", tmp_path)
    assert box is None or np.abs(box - [10, 20, 110, 80]).max() > 1


# --- HPGL: hp2xx -----------------------------------------------------------------------------


def plotted(path, folder):
    """What hp2xx reports of a file: size in mm, pens, what it ignored, mm drawn with pen down."""
    drawing = folder / "plotted.dxf"
    told = run("hp2xx", "-t", "-m", "dxf", "-f", drawing, path)
    text = told.stdout + told.stderr
    size = re.search(r"height:\s+([\d.]+) x ([\d.]+) mm", text)
    lines = run("ogr2ogr", "-f", "GeoJSON", "/vsistdout/", drawing).stdout
    features = json.loads(lines)["features"] if lines else []
    return {
        "returns": told.returncode,
        "size": tuple(float(side) for side in size.groups()) if size else None,
        "range": re.findall(r"\((-?\d+), (-?\d+)\)", text),
        "pens": re.findall(r"Pens used: ([\d ]+)", text),
        "ignored": re.findall(r"ignored:\s+(\d+)", text),
        "length": sum(shape(f["geometry"]).length for f in features),
    }


@hp2xx
@gdal
def test_hp2xx_plots_it_in_its_size(ours, tmp_path):
    """200 × 60 mm, 40 units to the mm from (10, 20); every line with the pen down, no other."""
    told = plotted(ours["hpgl"], tmp_path)
    assert told["returns"] == 0
    assert told["size"] == pytest.approx((200.0, 60.0), abs=0.01)
    assert told["range"] == [("400", "800"), ("8400", "3200")]
    assert told["pens"] == ["1 2 "]
    assert told["ignored"] == ["0"]
    assert told["length"] == pytest.approx(OURS.length, rel=1e-3)


@hp2xx
@gdal
def test_hp2xx_plots_a_knifes_strokes_as_often_as_they_are_cut(tmp_path):
    program = cs.program(cs.knife(passes=3))
    path = tmp_path / "a.plt"
    path.write_bytes(encoded(program, "hpgl"))
    drawn = sum(stroke.length * stroke.passes for stroke in program.strokes)
    assert plotted(path, tmp_path)["length"] == pytest.approx(drawn, rel=3e-3)


@hp2xx
@gdal
def test_hp2xx_notices_a_pen_that_stays_down(ours, tmp_path):
    bad = spoiled(ours["hpgl"], tmp_path, ("PU;\nPU2480,1200;", "PD2480,1200;"))
    # from the end of the first hole to the start of the second
    assert plotted(bad, tmp_path)["length"] == pytest.approx(OURS.length + 30, abs=0.5)


@hp2xx
@gdal
@pytest.mark.parametrize(
    ("name", "size", "length"),
    [
        ("good", (100.0, 60.0), THEIRS.length),
        ("bad_scale", (98.42, 59.05), THEIRS.length * 1000 / 1016),
        ("bad_open", (100.0, 60.0), THEIRS.length - 80),
    ],
)
def test_hp2xx_tells_bad_samples_from_the_good_one(name, size, length, theirs, tmp_path):
    told = plotted(theirs / f"{name}.plt", tmp_path)
    assert told["size"] == pytest.approx(size, abs=0.05)  # two units
    assert told["length"] == pytest.approx(length, abs=0.5)


@hp2xx
@gdal
def test_hp2xx_reports_what_it_does_not_know(ours, tmp_path):
    bad = spoiled(ours["hpgl"], tmp_path, ("IN;", "IN;ZZ1;"))
    assert plotted(bad, tmp_path)["ignored"] != ["0"]


# --- G-code: LinuxCNC's interpreter ----------------------------------------------------------

# Numbered parameters that the interpreter wants to find (from its own documentation).
PARAMETERS = [*range(5161, 5170), *range(5181, 5190), *range(5210, 5221)]
PARAMETERS += [start + i for start in range(5221, 5382, 20) for i in range(10)]


def interpreted(path, folder):
    """What rs274 makes of a file: units, mm cut, mm travelled with the tool on, errors."""
    (folder / "tools.tbl").write_text("")
    (folder / "v.var").write_text("".join(f"{number}\t0.0\n" for number in PARAMETERS))
    out = folder / "canon"
    options = ["-g", "-n", "2", "-t", "tools.tbl", "-v", "v.var"]
    told = run("rs274", *options, path, out, cwd=folder)
    calls = re.findall(r"N\S+\s+(\w+)\((.*)\)", out.read_text() if out.exists() else "")
    return {"returns": told.returncode, **_canon(calls)}


def _canon(calls):
    """Follow the interpreter's canonical calls."""
    found = {"units": None, "cut": 0.0, "burnt": 0.0, "lows": [], "box": [], "ended": False}
    at, on = np.zeros(3), False
    for name, given in calls:
        values = [float(v) for v in re.findall(r"-?\d+\.?\d*(?:e[-+]?\d+)?", given)]
        if name == "USE_LENGTH_UNITS":
            found["units"] = given
        elif name.startswith(("START_SPINDLE", "STOP_SPINDLE")):
            on = name.startswith("START")
        elif name == "PROGRAM_END":
            found["ended"] = True
        elif name in ("STRAIGHT_TRAVERSE", "STRAIGHT_FEED", "ARC_FEED"):
            end, length = _step(at, name, values)
            found["lows"].append((name, end[2], length))
            if on:
                found["burnt" if name == "STRAIGHT_TRAVERSE" else "cut"] += length
                found["box"] += [at[:2], end[:2]]
            at = end
    return found


def _step(at, name, values):
    """End and length in mm of a canonical move."""
    if name != "ARC_FEED":
        end = np.array(values[:3])
        return end, float(np.hypot(*(end - at)[:2]))
    x, y, cx, cy, turn, z = values[:6]
    first, last = math.atan2(at[1] - cy, at[0] - cx), math.atan2(y - cy, x - cx)
    angle = (last - first) * (1 if turn > 0 else -1) % (2 * math.pi) or 2 * math.pi
    return np.array([x, y, z]), angle * math.hypot(at[0] - cx, at[1] - cy)


@rs274
def test_linuxcnc_cuts_what_was_drawn(ours, tmp_path):
    """Units, length with the beam on, none on travel, corners in place, and an end."""
    told = interpreted(ours["gcode"], tmp_path)
    assert (told["returns"], told["units"], told["ended"]) == (0, "CANON_UNITS_MM", True)
    assert told["cut"] == pytest.approx(OURS.length, abs=0.01)
    assert told["burnt"] == 0
    ends = np.array(told["box"])
    assert (*ends.min(0), *ends.max(0)) == pytest.approx(cs.EXTENTS, abs=1e-3)


@rs274
def test_linuxcnc_lowers_the_knife_only_to_feed(tmp_path):
    """The knife cuts at -4 mm, marks at -0.3 mm, swivels at -1 mm, and travels at 5 mm."""
    path = tmp_path / "knife.nc"
    program = cs.program(cs.knife())
    path.write_bytes(encoded(program, "gcode"))
    told = interpreted(path, tmp_path)
    assert told["returns"] == 0
    # the first travel of all begins from where the interpreter starts, at height 0
    travels = {z for name, z, length in told["lows"] if name == "STRAIGHT_TRAVERSE"}
    assert travels == {5.0}
    fed = sum(length for name, _, length in told["lows"] if name != "STRAIGHT_TRAVERSE")
    assert fed == pytest.approx(sum(s.length for s in program.strokes), abs=0.02)
    assert {z for name, z, length in told["lows"] if name != "STRAIGHT_TRAVERSE"} == {
        -4.0, -1.0, -0.3,
    }  # fmt: skip


@rs274
@pytest.mark.parametrize("name", ["bad_nofeed", "bad_arc", "bad_word", "bad_code"])
def test_linuxcnc_refuses_the_bad_samples(name, theirs, tmp_path):
    assert interpreted(theirs / f"{name}_laser.ngc", tmp_path)["returns"] == 1


@rs274
def test_linuxcnc_passes_the_good_sample_and_sees_inches(theirs, tmp_path):
    good = interpreted(theirs / "good_laser.ngc", tmp_path)
    assert (good["returns"], good["units"]) == (0, "CANON_UNITS_MM")
    assert good["cut"] == pytest.approx(THEIRS.length - 90, abs=0.01)  # it has no line
    bad = interpreted(theirs / "bad_units_laser.ngc", tmp_path)
    assert bad["units"] == "CANON_UNITS_INCHES"


@rs274
def test_linuxcnc_notices_a_beam_that_stays_on(ours, tmp_path):
    bad = spoiled(ours["gcode"], tmp_path, ("F1200\nM5\n", "F1200\n"))
    assert interpreted(bad, tmp_path)["burnt"] > 20


@rs274
def test_linuxcnc_refuses_a_setting_inside_a_program(ours, tmp_path):
    bad = spoiled(ours["gcode"], tmp_path, ("G21 G90", "$32=1\nG21 G90"))
    assert interpreted(bad, tmp_path)["returns"] == 1
