"""The DXF says what the plan says, to readers that share nothing with its writer."""

import dataclasses
import json
import shutil
import subprocess
from collections import defaultdict

import ezdxf
import numpy as np
import pytest
import shapely
from shapely.geometry import shape

from nest.plan import placed_outline
from nest.report.dxf import LAYERS, write_dxf
from tests import small

gdal = pytest.mark.skipif(
    shutil.which("ogr2ogr") is None, reason="GDAL is not installed (apt-get install gdal-bin)"
)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """The small plan as a DXF file."""
    target = tmp_path_factory.mktemp("dxf") / "week.dxf"
    write_dxf(small.plan(), small.hide(), target)
    return target


@pytest.fixture(scope="module")
def layers(path):
    """Layer -> shapely geometries, as GDAL's own DXF reader sees them."""
    command = ["ogr2ogr", "-f", "GeoJSON", "/vsistdout/", str(path)]
    options = ["-lco", "COORDINATE_PRECISION=6"]
    told = subprocess.run([*command, *options], capture_output=True, text=True, check=True)
    assert told.stderr == ""
    found = defaultdict(list)
    for feature in json.loads(told.stdout)["features"]:
        found[feature["properties"]["Layer"]].append(shape(feature["geometry"]))
    return found


def rings(geometries):
    """Closed lines or polygons as (n, 2) rings without the closing point."""
    lines = [g.exterior if g.geom_type == "Polygon" else g for g in geometries]
    points = [np.asarray(line.coords)[:, :2] for line in lines]
    assert all(np.abs(p[0] - p[-1]).max() < 1e-4 for p in points), "a contour is open"
    return [p[:-1] for p in points]


@gdal
def test_every_part_is_one_closed_contour_in_its_place(layers):
    """Outlines read by GDAL against the plan's, point set by point set, within 0.001 mm."""
    plan = small.plan()
    wanted = [placed_outline(plan, placement).points for placement in plan.placements]
    found = rings(layers["CUT"])
    assert len(found) == len(wanted)
    for ring, points in zip(found, wanted, strict=True):
        one, other = shapely.LinearRing(ring), shapely.LinearRing(points)
        assert one.hausdorff_distance(other) < 1e-3
        assert shapely.Polygon(ring).area == pytest.approx(shapely.Polygon(points).area, abs=0.01)


@gdal
def test_cut_length_is_the_parts_perimeter(layers):
    """Nothing on the cut layer is doubled, missing or extra."""
    perimeter = sum(wanted.part.outline.perimeter for wanted in small.WANTED)
    assert sum(g.length for g in layers["CUT"]) == pytest.approx(perimeter, abs=0.01)


@gdal
def test_holes_are_circles_on_the_stitch_marks(layers):
    """GDAL turns circles into polylines: centre and diameter must be right all the same."""
    marks = sum(
        len(mark.points) for w in small.WANTED for mark in w.part.marks if mark.kind == "stitch"
    )
    assert len(layers["HOLES"]) == marks
    for circle in layers["HOLES"]:
        x0, y0, x1, y1 = circle.bounds
        assert (x1 - x0, y1 - y0) == pytest.approx((1.0, 1.0), abs=0.01)


@gdal
def test_the_hide_is_there_with_its_hole(layers):
    areas = sorted(shapely.Polygon(ring).area for ring in rings(layers["HIDE"]))
    assert areas == pytest.approx([2500.0, 600_000.0])


@gdal
def test_marks_are_lines_and_labels_are_text(layers):
    """Two bodies with a fold and a closed throat mark each; five ids."""
    assert len(layers["MARK"]) == 4
    assert [g.geom_type for g in layers["LABEL"]] == ["Point"] * 5


def test_units_extents_and_layers_are_told(path):
    """DXF reference: $INSUNITS 4 is mm, $MEASUREMENT 1 metric."""
    drawing = ezdxf.readfile(path)
    assert drawing.dxfversion == "AC1015"
    assert (drawing.header["$INSUNITS"], drawing.header["$MEASUREMENT"]) == (4, 1)
    assert drawing.header["$EXTMIN"] == (0.0, 0.0, 0.0)
    assert drawing.header["$EXTMAX"] == (1000.0, 600.0, 0.0)
    assert set(LAYERS) <= {layer.dxf.name for layer in drawing.layers}
    assert {e.dxf.layer for e in drawing.modelspace()} == set(LAYERS)


def test_the_audit_finds_nothing(path):
    findings = ezdxf.readfile(path).audit()
    assert findings.errors == []
    assert findings.fixes == []


def test_cut_contours_carry_the_closed_flag(path):
    """Programs that ignore the repeated first point go by the flag, and the reverse."""
    cuts = ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="CUT"]')
    assert all(cut.closed for cut in cuts)
    assert not any(cut.has_arc for cut in cuts)


def test_two_writes_give_the_same_bytes(path, tmp_path):
    write_dxf(small.plan(), small.hide(), tmp_path / "again.dxf")
    assert (tmp_path / "again.dxf").read_bytes() == path.read_bytes()


def test_letters_that_a_dxf_can_not_hold_become_question_marks(tmp_path):
    """Ids may hold any letter; the drawing must open all the same."""
    named = dataclasses.replace(small.WANTED[0], id="søren-1/body")
    plan = dataclasses.replace(
        small.plan(),
        wanted=(named,),
        placements=(dataclasses.replace(small.PLACEMENTS[0], id="søren-1/body"),),
    )
    write_dxf(plan, small.hide(), tmp_path / "a.dxf")
    texts = ezdxf.readfile(tmp_path / "a.dxf").modelspace().query("TEXT")
    assert [text.dxf.text for text in texts] == ["s?ren-1/body"]
