"""The pattern printed at full size: a millimetre on paper is a millimetre on the knife."""

import io
import re
import shutil
import subprocess
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ContentStream
from scipy.spatial.distance import pdist
from shapely import STRtree
from svgelements import SVG, Group, Shape

from nest.draw.book import Tile, pdf_of
from nest.draw.palette import FOLD, MEASURE
from nest.draw.parts import TRUE_HOLE
from nest.knife import read
from nest.report.patternsheet import facts, pattern_pages, pattern_sheet
from nest.sheaths import make
from tests.places import ROOT

KNIVES = ROOT / "shared" / "knives"
NAMES = sorted(path.name.split(".")[0] for path in KNIVES.glob("*.knife.toml"))
poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="poppler is not installed (poppler-utils)"
)


def made(name, **changes):
    """A sample knife and its sheath."""
    knife = read(KNIVES / f"{name}.knife.toml")
    return knife, make(knife, knife.choices.changed(changes))


@pytest.fixture(scope="module")
def heron():
    """The hunter of 232 mm, its sheath and its page."""
    knife, sheath = made("heron")
    return knife, sheath, pattern_sheet(sheath)


@pytest.fixture(scope="module")
def pdf(heron, tmp_path_factory):
    return heron[2].save(tmp_path_factory.mktemp("pattern") / "heron.pdf")


@pytest.fixture(scope="module")
def svg(heron, tmp_path_factory):
    return heron[2].save(tmp_path_factory.mktemp("pattern") / "heron.svg")


def said(sheet):
    return [words.text for words in sheet.words]


def paths_of(pdf):
    """Straight-sided paths of a PDF's page as (n, 2) points in mm, from its operators."""
    reader = PdfReader(pdf)
    paths, now = [], []
    for operands, operator in ContentStream(reader.pages[0].get_contents(), reader).operations:
        if operator == b"m":
            now = [[float(v) for v in operands]]
        elif operator == b"l":
            now.append([float(v) for v in operands])
        elif operator in (b"S", b"s", b"f", b"B", b"b", b"B*", b"f*") and len(now) > 1:
            paths.append(np.array(now) * 25.4 / 72.0)
    return paths


def shapes_of(svg):
    """Id of a group -> its first shape, in mm, read by svgelements at 25.4 px to the inch."""
    found = {}
    for group in SVG.parse(svg, ppi=25.4).elements(lambda e: isinstance(e, Group)):
        shapes = [shape for shape in group if isinstance(shape, Shape)]
        if shapes:
            found[group.values.get("id")] = shapes[0]
    return found


def ring_of(shape):
    """The corners of a straight-sided SVG shape, (n, 2)."""
    return np.array([(p.x, p.y) for p in shape.as_points()])


def test_ruler_and_square_measure_what_they_say(pdf):
    """100 mm and 50 mm in the PDF's own units (1 pt = 1/72 inch, ISO 32000-1)."""
    spans = [np.ptp(path, axis=0) for path in paths_of(pdf)]
    assert any(np.allclose(span, (100.0, 0.0), atol=0.002) for span in spans)
    assert any(np.allclose(span, (50.0, 50.0), atol=0.002) for span in spans)


def test_parts_have_their_true_size_in_the_pdf(pdf, heron):
    """Each part's outline is found among the paths, by box and area."""
    paths = [path for path in paths_of(pdf) if len(path) > 3]
    for part in heron[1].parts:
        x0, y0, x1, y1 = part.outline.bounds
        same = [p for p in paths if np.allclose(np.ptp(p, axis=0), (x1 - x0, y1 - y0), atol=0.01)]
        areas = [shapely.Polygon(path).area for path in same]
        assert any(area == pytest.approx(part.outline.area, rel=1e-3) for area in areas)


def test_parts_have_their_true_size_in_the_svg(svg, heron):
    """The same through another format and reader, with its orientation: y down, not mirrored."""
    shapes = shapes_of(svg)
    for part in heron[1].parts:
        ring = ring_of(shapes[f"part:{part.kind}"]) * (1, -1)
        ring = ring - shapely.Polygon(ring).centroid.coords[0]
        moved = shapely.Polygon(ring)
        assert moved.symmetric_difference(part.outline.polygon).area < 1e-3 * part.outline.area


def test_the_knife_is_laid_in_at_full_size(svg, heron):
    ring = ring_of(shapes_of(svg)["knife"])
    outline = heron[0].outline
    assert shapely.Polygon(ring).area == pytest.approx(outline.area, rel=1e-4)
    assert pdist(ring).max() == pytest.approx(pdist(outline.points).max(), abs=0.01)


@poppler
def test_a_print_of_the_pdf_measures_true(pdf, tmp_path):
    """poppler draws the page at 10 dots to the mm; its darkest long row is the ruler."""
    command = ["pdftoppm", "-r", "254", "-gray", "-png", "-singlefile", str(pdf)]
    subprocess.run([*command, str(tmp_path / "page")], check=True)
    with Image.open(tmp_path / "page.png") as image:
        assert image.size == pytest.approx((4200, 2970), abs=1)  # ISO 216: A3
        dark = np.asarray(image.convert("L")) < 160
    lengths = {max(map(len, re.findall("1+", "".join(map(str, row.astype(int))))), default=0)
               for row in dark[dark.sum(axis=1) > 900]}  # fmt: skip
    assert any(abs(length - 1000) <= 4 for length in lengths)


def test_every_hole_is_there(svg, heron):
    """One dot of 1 mm for each stitch hole of each part."""
    holes = sum(
        len(mark.points) for part in heron[1].parts for mark in part.marks if mark.kind == "stitch"
    )
    groups = ElementTree.parse(svg).iter("{http://www.w3.org/2000/svg}g")
    dots = [len(g.findall(".//{*}use")) for g in groups if g.get("id", "").startswith("stitch")]
    assert sum(dots) == holes


def test_faces_hand_and_sides_are_named(heron):
    words = " ".join(said(heron[2]))
    for told in ("BACK", "FRONT", "grain side up", "worn on the right", "do not turn over"):
        assert told in words


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("name", NAMES)
def test_edge_and_back_are_named_on_the_knife(name, hand):
    """The back's name lies between the edge's and the front, which is beyond the fold."""
    _, sheath = made(name, hand=hand)
    words = {w.text: w.box for w in pattern_sheet(sheath).words}
    front = next(box for text, box in words.items() if text.startswith("FRONT"))
    lines = [box.centroid.y for box in (words["CUTTING EDGE"], words["KNIFE'S BACK"], front)]
    assert lines in (sorted(lines), sorted(lines, reverse=True))


def test_edge_and_back_stand_within_the_silhouette(heron, svg):
    """The sheet counts y from its foot, the SVG from its top."""
    _, _, sheet = heron
    shape = shapely.Polygon(ring_of(shapes_of(svg)["knife"]) * (1, -1) + (0, sheet.height))
    named = [w.box for w in sheet.words if w.text in ("CUTTING EDGE", "KNIFE'S BACK")]
    assert len(named) == 2
    assert all(shape.buffer(0).contains(box) for box in named)


def test_the_fit_stands_station_by_station(heron):
    _, sheath, sheet = heron
    words = said(sheet)
    for station in sheath.stations:
        assert f"{station.needed:.1f}" in words
        assert f"{station.slack:+.1f}" in words
    assert sum(words.count(v) for v in ("snug", "easy", "loose", "won't close")) == len(
        sheath.stations
    )


def test_the_job_facts_are_told(heron):
    _, sheath, sheet = heron
    facts, words = sheath.facts, said(sheet)
    assert f"{facts.stitches} stitches, {facts.seam:.0f} mm" in words
    assert f"{facts.thread / 1000:.2f} m of {facts.thread_diameter:g} mm" in words
    assert f"{facts.fold_allowance:.1f} mm" in words
    for dimension in sheath.dimensions:
        assert any(w.startswith(dimension.label) and f"{dimension.value:.1f}" in w for w in words)


def test_cautions_stand_with_their_step(heron):
    """Blade at the fit, awl at the sewing, fumes at the glue."""
    words = {text: words.box.centroid.y for text, words in zip(said(heron[2]), heron[2].words,
             strict=True)}  # fmt: skip
    glue, awl, blade = (next(y for t, y in words.items() if t.startswith("⚠") and key in t)
                        for key in ("fumes", "Awl", "edge"))  # fmt: skip
    assert (
        words["Cut and glue"] > glue > words["Sew"] > awl > words["Fit: fold to welt, mm"] > blade
    )


@cache
def printed(name, paper="a4"):
    """A sample's printed pattern, read back."""
    _, sheath = made(name)
    return PdfReader(io.BytesIO(pdf_of(pattern_pages(sheath, paper))))


@cache
def drawings_of(name, hand, paper):
    """The picture of a sample's pattern and the drawings that its printed pages show."""
    _, sheath = made(name, hand=hand)
    tiles = [page for page in pattern_pages(sheath, paper) if isinstance(page, Tile)]
    return sheath, [pattern_sheet(sheath), *{id(t.drawing): t.drawing for t in tiles}.values()]


def drawn(sheet):
    """What stands on a sheet, from its artists in page mm: outlines, holes, lines of measures."""
    outlines = [
        shapely.Polygon(patch.get_path().vertices)
        for patch in sheet.axes.patches
        if (patch.get_gid() or "").startswith("part:")
    ]
    lines = sheet.axes.lines
    holes = [xy for line in lines if (line.get_gid() or "").startswith("stitch:")
             for xy in line.get_xydata()]  # fmt: skip
    measures = [shapely.LineString(line.get_xydata()) for line in lines
                if line.get_color() == MEASURE.edge]  # fmt: skip
    return outlines, shapely.MultiPoint(holes).buffer(TRUE_HOLE / 2), measures


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("name", NAMES)
def test_no_words_stand_on_others_on_holes_on_outlines_or_under_measures(name, hand):
    """Boxes of words against each other and against all that is drawn, in picture and print."""
    _, sheets = drawings_of(name, hand, "a4")
    for number, sheet in enumerate(sheets):
        boxes = np.array([words.box for words in sheet.words])
        pairs = STRtree(boxes).query(boxes, predicate="intersects").T
        found = [(sheet.words[i].text, sheet.words[j].text) for i, j in pairs
                 if i < j and boxes[i].intersection(boxes[j]).area > 0.01]  # fmt: skip
        assert found == []
        outlines, holes, measures = drawn(sheet)
        assert len(outlines) > 0
        assert len(measures) > 6 or number > 1  # the picture and the body have them
        for words in sheet.words:
            assert not words.box.intersects(holes), words.text
            assert not any(words.box.intersects(line) for line in measures), words.text
            assert not any(words.box.intersects(one.exterior) for one in outlines), words.text
        page = shapely.box(0, 0, sheet.width, sheet.height)
        assert [w.text for w in sheet.words if not page.contains(w.box)] == []


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("name", NAMES)
def test_all_labels_are_written_and_each_lies_in_its_outline(name, hand):
    """BACK on the back half, FRONT on the front, names on their parts, every measure told."""
    sheath, sheets = drawings_of(name, hand, "a4")
    for sheet in (sheets[0], sheets[1]):
        outlines, _, _ = drawn(sheet)
        body = max(outlines, key=lambda one: one.area)
        (fold,) = [line.get_ydata()[0] for line in sheet.axes.lines
                   if line.get_gid() is None and line.get_color() == FOLD.edge
                   and np.ptp(line.get_ydata()) == 0 and np.ptp(line.get_xdata()) > 100
                   and line.is_dashed()]  # fmt: skip
        sides = {}
        for words in sheet.words:
            if words.text.endswith(("BACK, to the body", "FRONT, grain side up")):
                assert body.contains(words.box)
                sides[words.text[-4:]] = np.sign(words.box.centroid.y - fold)
        assert sorted(sides.values()) == [-1.0, 1.0]
    written = [words for sheet in sheets[1:] for words in sheet.words]
    texts = [words.text for words in written]
    for part in sheath.parts:
        assert any(text.startswith(f"{sheath.name} {part.kind}: cut 1") for text in texts)
    for d in sheath.dimensions:
        assert f"{d.label} {d.value:.1f}" in texts


@pytest.mark.parametrize(("paper", "size"), [("a4", (297.0, 210.0)), ("letter", (279.4, 215.9))])
@pytest.mark.parametrize("name", NAMES)
def test_a_pattern_prints_on_the_paper_that_is_at_hand(name, paper, size):
    """ISO 216 and ANSI/ASME Y14.1; each page in one of the two, whatever the knife."""
    pages = printed(name, paper).pages
    assert len(pages) >= 3
    for page in pages:
        mm = sorted(float(side) * 25.4 / 72 for side in page.mediabox[2:])
        assert mm == pytest.approx(sorted(size), abs=0.1)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_set_in_less_than_seven_points(name):
    """By the PDF's own operators (Tf), on all pages."""
    reader = printed(name)
    for page in reader.pages:
        operations = ContentStream(page.get_contents(), reader).operations
        sizes = [float(operands[1]) for operands, operator in operations if operator == b"Tf"]
        assert sizes
        assert min(sizes) >= 7.0


def test_backstitches_are_drawn_and_told(heron):
    """Three at each end of the edge seam, on the body's halves and the welt, and of each pad."""
    _, sheath, sheet = heron
    drawn_twice = [line.get_xydata() for line in sheet.axes.lines
                   if line.get_gid() == "backstitches"]  # fmt: skip
    assert len(drawn_twice) == 2 * (2 + 1 + 2 + 2)
    assert {len(line) for line in drawn_twice} == {4}
    assert facts(sheath)["backstitches"].startswith("3 at each end")
    assert "sewn twice" in " ".join(said(sheet))


def test_a_left_hand_sheath_says_so():
    _, sheath = made("heron", hand="left")
    assert "worn on the left" in " ".join(said(pattern_sheet(sheath)))


def test_the_picture_is_the_smallest_page_that_holds_all(heron):
    """The hunter needs A3."""
    assert (heron[2].width, heron[2].height) == (420.0, 297.0)


def test_two_writes_give_the_same_bytes(heron, pdf, svg, tmp_path):
    again = pattern_sheet(heron[1])
    assert again.save(tmp_path / "a.pdf").read_bytes() == pdf.read_bytes()
    assert again.save(tmp_path / "a.svg").read_bytes() == svg.read_bytes()
