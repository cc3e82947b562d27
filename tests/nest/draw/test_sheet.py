"""The page: true size in three formats, the same bytes every time, words with known boxes."""

import os
import subprocess
import sys
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ContentStream
from shapely import Point, box
from svgelements import SVG, Shape

from hides.errors import InputError
from hides.files import write_whole
from nest.draw.labels import Labels
from nest.draw.sheet import DPI, Sheet, Style
from nest.draw.words import Type, words_size, wrapped
from tests.places import ROOT

INK = Style(edge="#000000", width=0.3)
SVG_NS = "{http://www.w3.org/2000/svg}"


def drawn():
    """A sheet of 120 × 80 mm with a 100 mm line, a framed hole, some dots and words."""
    sheet = Sheet(120.0, 80.0, "A trial")
    sheet.line([(10, 10), (110, 10)], INK, name="hundred")
    frame = box(10, 20, 40, 50).difference(box(20, 30, 30, 40))
    sheet.shade(frame, Style(fill="#eeddcc", edge="#000000", hatch="////"), name="frame")
    sheet.dots([(60, 30), (70, 30), (80, 30)], 1.0, Style(fill="#112233"), name="holes")
    sheet.arrow((60, 40), (90, 40), INK, both=True)
    sheet.text((60, 60), "5 $ and 6 $: not mathematics", name="words")
    return sheet


def lines_of(pdf):
    """Every straight path of a PDF's first page as (n, 2) points in mm, from its operators."""
    reader = PdfReader(pdf)
    paths, now, scale = [], [], 25.4 / 72.0
    for operands, operator in ContentStream(reader.pages[0].get_contents(), reader).operations:
        if operator == b"m":
            now = [[float(v) for v in operands]]
        elif operator == b"l":
            now.append([float(v) for v in operands])
        elif operator in (b"S", b"s", b"f", b"B", b"b", b"B*", b"f*"):
            paths.append(np.array(now) * scale)
    return paths


def test_a_pdf_has_the_pages_size_and_a_millimetre_is_a_millimetre(tmp_path):
    """Read by pypdf: 1 pt = 1/72 inch (PDF 1.7, ISO 32000-1, 8.3.2.3)."""
    path = drawn().save(tmp_path / "a.pdf")
    size = PdfReader(path).pages[0].mediabox
    assert float(size.width) * 25.4 / 72 == pytest.approx(120.0, abs=0.01)
    assert float(size.height) * 25.4 / 72 == pytest.approx(80.0, abs=0.01)
    lengths = [np.hypot(*(p[-1] - p[0])) for p in lines_of(path) if len(p) == 2]
    assert any(abs(length - 100.0) < 0.001 for length in lengths)


def test_an_svg_counts_in_millimetres(tmp_path):
    """Read by svgelements, which knows nothing of us: 96 px to the inch (CSS)."""
    path = drawn().save(tmp_path / "a.svg")
    root = ElementTree.parse(path).getroot()
    assert (root.get("width"), root.get("height")) == ("120mm", "80mm")
    assert root.get("viewBox") == "0 0 120 80"
    shapes = [e for e in SVG.parse(path, ppi=96).elements() if isinstance(e, Shape)]
    widths = [(b[2] - b[0]) * 25.4 / 96 for e in shapes if (b := e.bbox()) is not None]
    assert any(abs(width - 100.0) < 0.001 for width in widths)


def test_names_become_ids(tmp_path):
    path = drawn().save(tmp_path / "a.svg")
    ids = {e.get("id") for e in ElementTree.parse(path).iter(f"{SVG_NS}g")}
    assert {"hundred", "frame", "holes", "words"} <= ids


def test_a_png_has_the_stated_resolution_and_is_not_blank(tmp_path):
    path = drawn().save(tmp_path / "a.png")
    with Image.open(path) as image:
        assert image.size == (int(120 / 25.4 * DPI), int(80 / 25.4 * DPI))
        assert len(image.convert("RGB").getcolors(100_000)) > 50


def test_a_hole_in_a_shape_stays_open(tmp_path):
    """The middle of the frame shows the paper, its side the fill."""
    path = drawn().save(tmp_path / "a.png", dpi=254)
    with Image.open(path) as image:
        assert image.getpixel((250, 800 - 350))[:3] == (255, 255, 255)
        side = np.asarray(image.convert("RGB"))[800 - 290 : 800 - 210, 110:190].reshape(-1, 3)
        assert (side == (0xEE, 0xDD, 0xCC)).all(axis=1).mean() > 0.5


@pytest.mark.parametrize("suffix", [".png", ".pdf", ".svg"])
def test_two_writes_give_the_same_bytes(tmp_path, suffix):
    one = drawn().save(tmp_path / f"one{suffix}").read_bytes()
    two = drawn().save(tmp_path / f"two{suffix}").read_bytes()
    assert one == two


def test_another_process_gives_the_same_bytes(tmp_path):
    """Neither dates nor the salt of Python's hashes get into a file."""
    code = (
        "import sys; from pathlib import Path; from tests.nest.draw.test_sheet import drawn\n"
        "for s in ('.png', '.pdf', '.svg'): drawn().save(Path(sys.argv[1]) / f'a{s}')"
    )
    found = []
    for seed in ("1", "2"):
        folder = tmp_path / seed
        folder.mkdir()
        surroundings = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", code, str(folder)]
        subprocess.run(command, env=surroundings, check=True)
        found.append([(folder / f"a{s}").read_bytes() for s in (".png", ".pdf", ".svg")])
    assert found[0] == found[1]


@pytest.mark.parametrize("name", ["a.jpg", "a"])
def test_an_unknown_suffix_is_refused(tmp_path, name):
    with pytest.raises(InputError, match=r"\.png, \.pdf, \.svg"):
        drawn().save(tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_told_and_nothing_is_left(tmp_path):
    with pytest.raises(InputError, match="can't be written"):
        write_whole(tmp_path / "nowhere" / "a.svg", b"x")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_keeps_the_old_file(tmp_path):
    """The new file takes the old one's place only when it is whole."""
    target = tmp_path / "a.txt"
    target.write_bytes(b"old")
    (tmp_path / "a.txt.part").mkdir()  # the way is blocked
    with pytest.raises((InputError, OSError)):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"


def test_a_view_maps_its_world_into_the_middle_of_its_frame():
    sheet = Sheet(200.0, 100.0)
    pen = sheet.view((20, 10, 160, 80), (0, 0, 1000, 500))
    assert pen.scale == pytest.approx(1 / 7)  # 1:6.25 would just fit; 1:7 is the next we offer
    assert pen.at([[500.0, 250.0]])[0] == pytest.approx([100.0, 50.0])


def test_a_view_at_a_stated_scale_keeps_it():
    pen = Sheet(200.0, 100.0).view((0, 0, 200, 100), (0, 0, 100, 50), 1.0)
    assert pen.scale == 1.0
    assert pen.at([[0.0, 0.0], [100.0, 50.0]]).tolist() == [[50.0, 25.0], [150.0, 75.0]]


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_words_fill_the_box_they_report(tmp_path, angle):
    """All dark pixels lie in the box (within 0.2 mm), and fill its length."""
    sheet = Sheet(60.0, 60.0)
    words = sheet.text((30, 30), "HMEH", Type(14.0, "#000000"), anchor="middle", angle=angle)
    with Image.open(sheet.save(tmp_path / "a.png", dpi=254)) as image:
        dark = np.argwhere(np.asarray(image.convert("L")) < 128)
    ink = np.column_stack([dark[:, 1] / 10, 60.0 - dark[:, 0] / 10])
    assert shapely.contains_xy(words.box.buffer(0.2), ink).all()
    hull = shapely.MultiPoint(ink).convex_hull
    assert hull.area == pytest.approx(words.box.area, rel=0.1)


def test_wider_words_measure_wider():
    assert words_size("ii")[0] < words_size("iii")[0] < words_size("MMM")[0]
    assert words_size("x", Type(20.0))[0] == pytest.approx(2 * words_size("x", Type(10.0))[0])


def test_words_break_where_the_line_ends():
    style = Type(7.0)
    lines = list(wrapped("one two three four five six seven", 20.0, style))
    assert " ".join(lines) == "one two three four five six seven"
    assert len(lines) > 1
    assert all(words_size(line, style)[0] <= 20.0 for line in lines)


def test_labels_inside_a_shape_stay_inside_and_apart():
    sheet = Sheet(100.0, 100.0)
    labels, room = Labels(sheet), box(10, 10, 30, 20)
    while labels.inside(room, "abc", Type(8.0)):
        pass
    boxes = [words.box for words in sheet.words]
    assert len(boxes) > 2
    assert all(room.contains(b) for b in boxes)
    assert shapely.union_all(boxes).area == pytest.approx(sum(b.area for b in boxes))


def test_a_label_that_has_no_room_stands_beside_on_a_leader():
    sheet = Sheet(100.0, 100.0)
    labels, small = Labels(sheet), Point(50, 50).buffer(1.0)
    assert labels.inside(small, "A1W", Type(6.0)) is None
    first = labels.beside(small, "A1W", Type(6.0))
    second = labels.beside(Point(50, 52).buffer(1.0), "A2W", Type(6.0))
    assert not first.box.intersects(small)
    assert not first.box.intersects(second.box)
    assert first.box.distance(small) < 10.0


def test_a_label_beside_prefers_bare_ground():
    sheet = Sheet(100.0, 100.0)
    covered = box(0, 0, 60, 100)
    words = Labels(sheet).beside(Point(50, 50).buffer(1.0), "A1W", Type(6.0), avoid=covered)
    assert not words.box.intersects(covered)
