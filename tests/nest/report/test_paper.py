"""Paper to cut from by hand: what is printed measures what the pattern says.

Pages are rendered by poppler at 254 dpi, so that a pixel is exactly 0.1 mm, and measured there;
nothing of the drawing code takes part in the measuring.
"""

import io
import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from scipy import ndimage
from shapely import Polygon, box

from hides.outline import turned
from nest import knife as knives
from nest import sheaths
from nest.draw.book import Tile, pdf_of
from nest.draw.sheet import Sheet, Style
from nest.part import Mark, Part
from nest.plans import number_of, placed_outline
from nest.report.page import Page
from nest.report.placingsheet import placing_pages, placing_rows
from nest.report.templates import Template, targets, template_pages, templates_of
from nest.report.tiles import FullSize, count_of, printed, window_of
from tests.places import ROOT
from tests.small import PLACEMENTS, hide, plan

KNIVES = ROOT / "shared" / "knives"
PIXEL = 0.1  # mm at 254 dpi
LINE = 0.3  # mm, how wide an outline is drawn: half of it lies outside the part
SMALL = 15.0  # mm; letters and marks are less
HALF = 149  # between the ink's 43 and paper: a pixel that is half covered
THREAD = (0x1F, 0x5F, 0x66)  # the ink of holes and marks

poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="poppler is not installed (poppler-utils)"
)


def parts_of(name):
    """Templates of a sample knife's sheath, as a plan with one of it would have them."""
    knife = knives.read(KNIVES / f"{name}.knife.toml")
    sheath = sheaths.make(knife, knife.choices)
    return tuple(Template(name, part, "A", 1, "P012345") for part in sheath.parts)


def rendered(pages, folder):
    """Every page as an array of (rows from the top, columns, 3) at 0.1 mm to the pixel."""
    pdf = folder / "all.pdf"
    pdf.write_bytes(pdf_of(pages))
    command = ["pdftoppm", "-r", "254", "-png", str(pdf)]
    subprocess.run([*command, str(folder / "page")], check=True)
    return [np.asarray(Image.open(path).convert("RGB")) for path in sorted(folder.glob("page*"))]


def blobs(page):
    """What is printed, largest first: (area in mm², width, height, slice) of joined ink."""
    labelled, _ = ndimage.label(page.min(axis=2) < HALF, structure=np.ones((3, 3)))
    found = []
    for number, where in enumerate(ndimage.find_objects(labelled), 1):
        height, width = (PIXEL * (s.stop - s.start) for s in where)
        if max(height, width) < SMALL:
            continue
        # what a line goes round belongs to it, unless it is white: a notch closed by a mark
        shape = ndimage.binary_fill_holes(labelled[where] == number)
        shape &= page[where].min(axis=2) < 250
        found.append((float(shape.sum()) * PIXEL**2, width, height, where))
    return sorted(found, key=lambda blob: -blob[0])


@pytest.fixture(scope="module")
def heron(tmp_path_factory):
    """The hunter's templates on A4, as pictures: they fit one page."""
    folder = tmp_path_factory.mktemp("heron")
    pages = template_pages("Heron", parts_of("heron"), "a4")
    return pages, rendered(pages, folder)


@pytest.fixture(scope="module")
def bittern(tmp_path_factory):
    """The long knife's templates on Letter: body and welt run over two pages."""
    folder = tmp_path_factory.mktemp("bittern")
    pages = template_pages("Bittern", parts_of("bittern"), "letter")
    return pages, rendered(pages, folder)


# --- the print check -------------------------------------------------------------------------


@poppler
@pytest.mark.parametrize(
    ("case", "width", "height"),
    [
        ("heron", 210.0, 297.0),  # A4: ISO 216
        ("bittern", 215.9, 279.4),  # Letter: 8.5 × 11 inches, ANSI/ASME Y14.1
    ],
)
def test_ruler_and_square_measure_what_they_say(case, width, height, request):
    """The paper's size, 100 mm of ruler and a square of 50 mm, by counting pixels."""
    page = request.getfixturevalue(case)[1][0]
    assert page.shape[:2] == pytest.approx((height / PIXEL, width / PIXEL), abs=1.5)
    found = blobs(page)
    square = next(blob for blob in found if abs(blob[1] - 50.0) < 1.0 and blob[2] > 40.0)
    assert square[1:3] == pytest.approx((50.2, 50.2), abs=0.15)  # its line is 0.2 mm wide
    ruler = next(blob for blob in found if abs(blob[1] - 100.0) < 1.0 and blob[2] < 10.0)
    assert ruler[1] == pytest.approx(100.2, abs=0.15)


@poppler
def test_every_page_has_the_ruler(bittern):
    """A page that was printed alone can be checked too."""
    for page in bittern[1]:
        assert any(abs(blob[1] - 100.2) < 0.15 and blob[2] < 4.0 for blob in blobs(page))


# --- templates -------------------------------------------------------------------------------


def grown(template):
    """A template's area and its sides, short one first, in mm as its line draws them."""
    shape = template.part.outline.polygon.buffer(LINE / 2)
    x0, y0, x1, y1 = shape.bounds
    return shape.area, *sorted((x1 - x0, y1 - y0))


@poppler
def test_templates_have_their_true_size_on_paper(heron):
    """Body, welt and loop of the hunter: area within 0.3 %, sides within two pixels."""
    wanted = sorted((grown(one) for one in parts_of("heron")), reverse=True)
    found = [(area, *sorted(sides)) for area, *sides, _ in blobs(heron[1][1])[:3]]
    for (area, *sides), (true, *right) in zip(found, wanted, strict=True):
        assert area == pytest.approx(true, rel=0.003)
        assert sides == pytest.approx(right, abs=2.5 * PIXEL)


@poppler
def test_stitch_holes_are_printed_where_the_pattern_has_them(heron):
    """Dots of the welt's edge seam, to 0.1 mm, in a frame measured on the print itself."""
    welt = parts_of("heron")[1].part
    area = Polygon(welt.outline.points).buffer(LINE / 2).area
    where = next(b[3] for b in blobs(heron[1][1])[:3] if abs(b[0] / area - 1) < 0.01)
    picture = (np.abs(heron[1][1][where].astype(int) - THREAD) < 60).all(axis=2)
    dots, count = ndimage.label(picture)
    centres = np.array(ndimage.center_of_mass(picture, dots, range(1, count + 1))) + 0.5
    found = np.column_stack([centres[:, 1], picture.shape[0] - centres[:, 0]]) * PIXEL
    upright = picture.shape[0] > picture.shape[1]
    outline = turned(welt.outline.points, 90.0 if upright else 0.0)
    holes = next(mark.points for mark in welt.marks if mark.kind == "stitch")
    true = turned(holes, 90.0 if upright else 0.0) - outline.min(axis=0) + LINE / 2
    apart = np.hypot(*(true[:, None] - found[None]).T).min(axis=0)
    assert len(true) == 52
    assert apart.max() < 0.1


@poppler
def test_pages_laid_over_each_other_give_the_whole_template(bittern):
    """Each later page is cut at its left or upper edge and laid on: the body is whole and true."""
    pages, pictures = bittern
    tiles = [(page, picture) for page, picture in zip(pages, pictures, strict=True)
             if isinstance(page, Tile)]  # fmt: skip
    assert len(tiles) == 2
    wide, high = (round(size / PIXEL) for size in window_of("letter"))
    left = min(tile.window[0] for tile, _ in tiles)
    top = max(tile.window[3] for tile, _ in tiles)
    shown = tiles[0][0].drawing
    glued = np.full((round(shown.height / PIXEL) + high, round(shown.width / PIXEL) + wide, 3), 255,
                    dtype=np.uint8)  # fmt: skip
    for tile, picture in tiles:
        x, y = (round((value - offset) / PIXEL) for value, offset in zip(
            (tile.window[0], -tile.window[3]), (left, -top), strict=True))  # fmt: skip
        across = round(tile.place[0] / PIXEL)
        down = picture.shape[0] - round(tile.place[1] / PIXEL) - high
        glued[y : y + high, x : x + wide] = picture[down : down + high, across : across + wide]
    body = parts_of("bittern")[0]
    area, *sides = grown(body)
    found = _without_joints(glued)
    best = min(found, key=lambda blob: abs(blob[0] - area))
    assert best[0] == pytest.approx(area, rel=0.003)
    assert sorted(best[1:3]) == pytest.approx(sides, abs=0.3)


def _without_joints(picture):
    """Blobs of the leather's colour alone: joint lines would join what they cross."""
    leather = (picture == (0xFD, 0xFA, 0xF4)).all(axis=2)
    closed = ndimage.binary_closing(leather, iterations=5)
    labelled, _ = ndimage.label(closed)
    found = []
    for number, where in enumerate(ndimage.find_objects(labelled), 1):
        shape = ndimage.binary_fill_holes(labelled[where] == number)
        height, width = (PIXEL * (s.stop - s.start) + LINE * 2 for s in where)
        rim = float((shape & ~ndimage.binary_erosion(shape)).sum()) * PIXEL
        found.append((float(shape.sum()) * PIXEL**2 + rim * LINE, width, height, where))
    return found


def test_the_awl_dots_follow_the_welts_inner_line():
    """On the body the line where the welt's inner edge lies is dotted, ends among the dots."""
    page = next(p for p in template_pages("H", parts_of("heron"), "a4") if isinstance(p, Tile))
    svg = page.drawing.data("svg").decode()
    assert svg.count('id="awl:inner"') == 2  # one on each half


def test_a_template_is_drawn_once_however_often_it_is_placed():
    """Two bodies of one pattern are one template; a loop cut across the grain is another."""
    found = templates_of(plan())
    assert [(one.name, one.count) for one in found] == [
        ("A  hunter body", 1),
        ("AW  hunter welt", 1),
        ("AL  hunter loop", 1),
        ("B  skinner body", 1),
        ("BL  skinner loop", 1),
    ]
    twice = templates_of(_twins())
    assert [(one.name, one.count) for one in twice] == [("A  hunter body", 2)]


def _twins():
    whole = plan()
    first = whole.wanted[0]
    other = replace(first, id="hunter-2/body", kit="hunter-2")
    placed = (PLACEMENTS[0], replace(PLACEMENTS[3], id="hunter-2/body"))
    return replace(whole, wanted=(first, other), placements=placed)


@pytest.mark.parametrize(
    ("width", "height", "tiles"),
    [
        (192.0, 262.0, (1, 1)),  # just what an A4 page shows
        (192.1, 262.0, (2, 1)),
        (374.0, 514.0, (2, 2)),  # 192 + (192 - 10), 262 + (262 - 10)
        (374.1, 514.1, (3, 3)),
        (10.0, 10.0, (1, 1)),
    ],
)
def test_a_drawing_takes_as_many_tiles_as_it_must(width, height, tiles):
    assert window_of("a4") == (192.0, 262.0)
    assert count_of(width, height, "a4") == tiles


def test_tiles_without_ink_are_not_printed():
    """Two small shapes in the corners of a large sheet: two pages and the first one."""
    sheet = Sheet(374.0, 514.0)
    shapes = (box(5, 5, 20, 20), box(350, 490, 370, 510))
    pages = printed("Corners", [FullSize("corners", "", sheet, shapes)], "a4")
    assert [type(page) for page in pages] == [Page, Tile, Tile]
    assert [page.window for page in pages[1:]] == [(182, 252, 374, 514), (0, 0, 192, 262)]


def test_every_template_bears_the_plans_number():
    """Cut out, it is apart from its page: one of last month's plan must not be taken for this."""
    of = plan()
    drawings = {id(page.drawing): page.drawing for page in template_pages(
        "Week", templates_of(of), "a4") if isinstance(page, Tile)}  # fmt: skip
    said = Counter(word.text for drawing in drawings.values() for word in drawing.words)
    assert said[f"plan {number_of(of)}"] == len(templates_of(of)) == 5


# --- the placing sheet -----------------------------------------------------------------------

ROW = re.compile(r"([A-Z]+\d+[WL]?)\s+(\S+)\s+" + r"\s+".join([r"(-?\d+\.\d)"] * 5))


def laid(part, p, q):
    """The outline as somebody lays it whose template has P and Q over two places (n, 2)."""
    home_p, home_q = targets(part)
    angle = np.rad2deg(np.arctan2(*(q - p)[::-1]) - np.arctan2(*(home_q - home_p)[::-1]))
    middle = turned(((home_p + home_q) / 2)[None], angle)[0]
    return turned(part.outline.points, angle, *((p + q) / 2 - middle))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_a_template_laid_by_the_list_lies_where_the_plan_says(tmp_path):
    """The numbers are read off the PDF by poppler; 0.5 mm steps of the tape leave 0.5 mm."""
    pages = placing_pages(plan(), hide(), "letter")
    (tmp_path / "placing.pdf").write_bytes(pdf_of(pages))
    text = subprocess.run(["pdftotext", "-layout", str(tmp_path / "placing.pdf"), "-"],
                          check=True, capture_output=True, text=True).stdout  # fmt: skip
    rows = {match[1]: np.array(match.groups()[2:], dtype=float) for match in ROW.finditer(text)}
    labels = {one.label: one.id for one in placing_rows(plan())}
    assert rows.keys() == labels.keys()
    placed = {placement.id: placement for placement in plan().placements}
    for label, numbers in rows.items():
        placement = placed[labels[label]]
        part = plan().by_id[placement.id].part
        there = laid(part, numbers[:2], numbers[2:4])
        true = turned(part.outline.points, placement.angle, placement.x, placement.y)
        assert np.hypot(*(there - true).T).max() < 0.7
        assert np.hypot(*(numbers[:2] - numbers[2:4])) == pytest.approx(numbers[4], abs=0.8)


def test_p_and_q_are_the_stitch_holes_farthest_apart():
    """What is pricked there is hidden by the thread; a part without gives its corners."""
    shape = placed_outline(plan(), PLACEMENTS[0])
    holes = np.array([[0.0, 0.0], [60.0, 5.0], [-38.0, 2.0]])
    part = Part("body", shape, (), (Mark("stitch", holes),))
    assert [point.tolist() for point in targets(part)] == [[-38.0, 2.0], [60.0, 5.0]]
    for marks in ((), (Mark("stitch", holes / 10.0),)):  # none, and all in one place
        corners = targets(Part("body", shape, (), marks))
        assert all((shape.points == corner).all(axis=1).any() for corner in corners)


# --- the file --------------------------------------------------------------------------------


def test_the_same_pages_give_the_same_bytes(heron):
    again = template_pages("Heron", parts_of("heron"), "a4")
    assert pdf_of(again, "Heron") == pdf_of(heron[0], "Heron")


def test_a_tile_shows_its_window_and_nothing_beyond(tmp_path):
    """A drawing's square lies half in the window: half of it is printed, at its place."""
    drawing, page = Sheet(100.0, 100.0), Sheet(60.0, 40.0)
    drawing.shade(box(30, 30, 50, 50), Style(fill="#000000"))
    tile = Tile(page, drawing, (40.0, 0.0, 80.0, 35.0), (10.0, 2.0))
    size = PdfReader(io.BytesIO(pdf_of([tile]))).pages[0].mediabox
    assert (float(size.width), float(size.height)) == pytest.approx(
        (60 / 25.4 * 72, 40 / 25.4 * 72)
    )
    if shutil.which("pdftoppm") is None:
        pytest.skip("poppler is not installed (poppler-utils)")
    (picture,) = rendered([tile], tmp_path)
    rows, columns = np.nonzero((picture < 128).any(axis=2))
    # window 40..50 by 30..35 of the square, moved by (-30, +2): 10..20 by 32..37 from below
    assert (columns.min(), columns.max() + 1) == pytest.approx((100, 200), abs=1)
    assert (rows.min(), rows.max() + 1) == pytest.approx((30, 80), abs=1)
