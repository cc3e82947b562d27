"""Silhouettes of drawings: what is read, in which units, and what is refused in which words."""

import math
import os
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from hides.errors import InputError, OutlineError
from hides.trace import SIZE_LIMIT, filled, read_drawing

DATA = Path(os.environ.get("CROUPON_DATA", "../shared")) / "realinputs"


@pytest.fixture
def svg(tmp_path):
    """Writes an SVG with the given content and root attributes, and reads it."""

    def write(content, root="", name="drawing.svg"):
        path = tmp_path / name
        path.write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" '
            f'xmlns:xlink="http://www.w3.org/1999/xlink" {root}>{content}</svg>',
            encoding="utf-8",
        )
        return read_drawing(path)

    return write


@pytest.fixture
def dxf(tmp_path):
    """Builds a DXF by calls on its model space, and reads it."""

    def write(build, units=4):
        document = ezdxf.new("R2010")
        document.header["$INSUNITS"] = units
        build(document.modelspace(), document)
        path = tmp_path / "drawing.dxf"
        document.saveas(path)
        return read_drawing(path)

    return write


def refusal(read, *args, **kwargs):
    with pytest.raises(OutlineError) as caught:
        read(*args, **kwargs)
    return str(caught.value)


# ---------------------------------------------------------------- SVG: what is read


@pytest.mark.parametrize(
    ("content", "bounds", "area"),
    [
        ('<rect x="10" y="5" width="30" height="20"/>', (10, -25, 40, -5), 600),  # y turned up
        ('<polygon points="0,0 40,0 40,30"/>', (0, -30, 40, 0), 600),
        ('<circle cx="5" cy="5" r="5"/>', (0, -10, 10, 0), 25 * math.pi),
        ('<ellipse rx="30" ry="10"/>', (-30, -10, 30, 10), 300 * math.pi),
        ('<path d="M0 0 h40 v30 z"/>', (0, -30, 40, 0), 600),
        ('<path d="M0 0 h40 v30 L0.002 0"/>', (0, -30, 40, 0), 600),  # closed but for a hair
        # area under one arch of y = x(4 - x)/4·... as a Bezier: 2/3 of base times height
        ('<path d="M0 0 Q 30 60 60 0 Z"/>', (0, -30, 60, 0), 60 * 30 * 2 / 3),
        ('<path d="M0 0 A 25 25 0 0 1 50 0 Z"/>', (0, 0, 50, 25), 625 * math.pi / 2),
        ('<rect width="9" height="9" transform="translate(5 1) scale(2)"/>', (5, -19, 23, -1), 324),
        (
            '<g transform="rotate(90)"><g transform="translate(10 0)">'
            '<rect width="8" height="4"/></g></g>',
            (-4, -18, 0, -10),
            32,
        ),  # (x, y) -> (-y, x), then y up
        (
            '<defs><rect id="r" width="8" height="4"/></defs><use href="#r" x="3" y="2"/>',
            (3, -6, 11, -2),
            32,
        ),
        ('<svg x="10" width="20" height="10" viewBox="0 0 200 100"><rect width="200" height="100"/>'
         "</svg>", (10, -10, 30, 0), 200),  # nested viewBox
        ('<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
         '<use xlink:href="#s" x="5" width="40" height="60"/>', (5, -50, 45, -10), 1600),  # centred
        ('<rect width="9" height="9" style="fill:#123"/>', (0, -9, 9, 0), 81),
        ('<style>.k{fill:none}</style><rect class="k" width="99" height="99"/>'
         '<rect width="9" height="9"/>', (0, -9, 9, 0), 81),
        ('<clipPath id="c"><rect width="99" height="99"/></clipPath><marker id="m">'
         '<rect width="99" height="99"/></marker><rect width="9" height="9"/>', (0, -9, 9, 0), 81),
        ('<rect width="9" height="9"/><rect width="99" height="99" visibility="hidden"/>'
         '<rect width="99" height="99" display="none"/>', (0, -9, 9, 0), 81),
    ],
)  # fmt: skip
def test_shapes_of_every_sort_come_out_in_place(svg, content, bounds, area):
    """Bounds and area by hand; curves within the stated flatness of the drawing's size."""
    outline = svg(content).outline
    assert outline.bounds == pytest.approx(bounds, abs=0.02)
    assert outline.area == pytest.approx(area, rel=1e-3)


def test_overlapping_shapes_make_one_silhouette(svg):
    """Blade and handle drawn as two rectangles that overlap."""
    drawing = svg('<rect width="100" height="20"/><rect x="80" width="50" height="30"/>')
    assert drawing.outline.area == pytest.approx(100 * 20 + 50 * 30 - 20 * 20)


@pytest.mark.parametrize(
    ("rule", "holes"),
    [("evenodd", 1), ("nonzero", 0)],  # SVG 1.1, 11.3: both squares turn the same way
)
def test_fill_rules_decide_what_is_a_hole(svg, rule, holes):
    drawing = svg(f'<path fill-rule="{rule}" d="M0 0h40v40h-40z M10 10h20v20h-20z"/>')
    assert len(drawing.holes) == holes
    assert drawing.outline.area == 1600


def test_a_pentagram_has_its_middle_by_one_rule_and_not_by_the_other():
    """SVG 1.1, 11.3; the pentagon in the middle by its closed form."""
    angle = np.deg2rad(90 + 144 * np.arange(5))
    star = np.c_[np.cos(angle), np.sin(angle)]
    whole, pierced = filled([star], evenodd=False), filled([star], evenodd=True)
    inner = np.sin(np.pi / 10) / np.sin(3 * np.pi / 10)  # circumradius of the pentagon
    assert whole.area - pierced.area == pytest.approx(5 / 2 * inner**2 * np.sin(2 * np.pi / 5))


def test_a_curve_is_flattened_within_a_ten_thousandth_of_the_size(svg):
    """Every point of the flattened circle's chords lies that close to the circle."""
    outline = svg('<circle r="100"/>').outline
    middles = (outline.points + np.roll(outline.points, 1, axis=0)) / 2
    assert 100 - np.hypot(*middles.T).min() < 1e-4 * 283
    assert len(outline.points) < 400


def test_user_units_stay_as_drawn_whatever_the_physical_size(svg):
    """Points in the knife file are in viewBox units, so the drawing has to be too."""
    drawing = svg('<rect width="200" height="40"/>', 'width="100mm" viewBox="0 0 200 40"')
    assert drawing.outline.bounds == pytest.approx((0, -40, 200, 0))
    assert drawing.unit == pytest.approx(0.5)
    assert drawing.here((150, 30)).tolist() == [150, -30]


@pytest.mark.parametrize(
    ("width", "unit"),
    [("100mm", 0.5), ("10cm", 0.5), ("2in", 0.254), ("200", None), ("100%", None), ("200px", None)],
)
def test_a_real_size_is_known_only_where_a_unit_of_length_says_so(svg, width, unit):
    """25.4 mm to the inch, by definition; pixels have no size."""
    found = svg('<rect width="200" height="40"/>', f'width="{width}" viewBox="0 0 200 40"').unit
    assert found == (unit if unit is None else pytest.approx(unit))


def test_near_parts_are_joined_and_it_is_said(svg):
    """A white line of 2 % of the size between blade and handle; corners elsewhere stay sharp."""
    drawing = svg('<rect width="100" height="20"/><rect x="103" width="50" height="20"/>')
    assert drawing.outline.area == pytest.approx(153 * 20, rel=1e-3)
    assert drawing.outline.bounds == pytest.approx((0, -20, 153, 0), abs=0.02)
    assert "2 separate parts were joined into 1" in drawing.warnings[0]


def test_a_speck_apart_is_left_out_and_it_is_said(svg):
    drawing = svg('<rect width="150" height="20"/><circle cx="50" cy="60" r="5"/>')
    assert drawing.outline.area == pytest.approx(3000)
    assert "1 smaller shape(s)" in drawing.warnings[0]


def test_a_page_behind_the_knife_is_no_knife(svg):
    drawing = svg(
        '<rect width="300" height="200" fill="#fff"/><rect x="9" y="9" width="99" height="9"/>'
    )
    assert drawing.outline.area == pytest.approx(891)
    assert "page" in drawing.warnings[0]


# ---------------------------------------------------------------- SVG: what is refused


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('<path d="M0 0h9v9z" fill="none" stroke="#000"/>', "lines only"),
        ('<line x2="9" y2="9" stroke="#000"/>', "lines only"),
        ("<text>knife</text>", "only text"),
        ('<image width="9" height="9" href="a.png"/>', "only pictures"),
        ("", "empty"),
        ('<rect width="0" height="0"/>', "empty"),
        ('<path d="M0 0 h9"/>', "no area"),
        ('<path d="M0 0 h40 v30"/>', "a gap of 50 units between (0, 0) and (40, 30)"),
        ('<path d="M0 0 h90 L0 20 H90z"/>', "crosses or touches itself at (45, 10)"),
        ('<g transform="scale(1e200)"><rect width="9e99" height="3"/></g>', "beyond 1e+09 units"),
        ("<g>" * 5000 + '<rect width="9" height="9"/>' + "</g>" * 5000, "nested without end"),
        (
            f'<path d="M0 0 L{" ".join(f"{90 * (k % 2)} {k}" for k in range(60))}'
            f' {" ".join(f"{k} {60 * (k % 2)}" for k in range(60))}z"/>',
            "more than 1000 times",
        ),
        ('<path id="back" d="M0 0 L 10 ten"/>', "path back: the path data"),
        ('<path d="M0 0 L 10 nan z"/>', "path number 1: the path data"),
        ('<path d="M0 0 L 1e999 3 L 4 4 z"/>', "path number 1: the path data"),
        ('<g id="a"><use href="#a"/><rect width="3" height="3"/></g>', "refers to itself"),
        ('<rect width="50" height="9"/><rect y="50" width="50" height="9"/>', "2 separate shapes"),
        ('<rect width="9" height="9" fill-opacity="0"/>', "lines only"),
    ],
)
def test_drawings_without_one_filled_shape_are_refused_in_words(svg, content, words):
    text = refusal(svg, content)
    assert words in text
    assert "drawing.svg" in text


def test_broken_xml_names_the_line(tmp_path):
    path = tmp_path / "broken.svg"
    path.write_text('<svg xmlns="http://www.w3.org/2000/svg">\n<rect', encoding="utf-8")
    assert "line 2" in refusal(read_drawing, path)


def test_nested_entities_do_not_blow_up(tmp_path):
    """Ten levels of ten entities each would be 10¹⁰ characters."""
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 11))
    path = tmp_path / "laughs.svg"
    path.write_text(
        f'<!DOCTYPE svg [<!ENTITY e0 "ha">{entities}]>'
        '<svg xmlns="http://www.w3.org/2000/svg"><text>&e10;</text></svg>',
        encoding="utf-8",
    )
    assert "XML is broken" in refusal(read_drawing, path)


# ---------------------------------------------------------------- which file


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("knife.svg", b"\x89PNG\r\n\x1a\n....", "named .svg and holds a PNG picture"),
        ("knife.dxf", b"%PDF-1.7", "named .dxf and holds a PDF"),
        ("knife.svg", b"\x1f\x8b\x08", "holds a gzip archive"),
        ("knife.dxf", b'<svg xmlns="http://www.w3.org/2000/svg"/>', "holds an SVG drawing"),
        ("knife.svg", b"  0\r\nSECTION\r\n  2\r\nHEADER", "holds a DXF drawing"),
        ("knife.svg", b"", "holds nothing"),
        ("knife.svg", b"not a drawing", "holds something else"),
        ("knife.svg", b"<?xml version='1.0'?><html/>", "no SVG: it begins with <html>"),
        ("knife.txt", b"<svg/>", "has '.txt'"),
    ],
)
def test_a_file_that_is_not_what_its_name_says_is_refused(tmp_path, name, content, words):
    path = tmp_path / name
    path.write_bytes(content)
    assert words in refusal(read_drawing, path)


def test_a_file_of_fifty_megabytes_is_refused_unread(tmp_path):
    """A sparse file: reading it would be quick, so the words tell that it wasn't."""
    path = tmp_path / "huge.svg"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    assert SIZE_LIMIT == 20_000_000
    with pytest.raises(InputError, match="50 MB"):
        read_drawing(path)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.svg: there is no such file"):
        read_drawing(tmp_path / "nowhere.svg")


# ---------------------------------------------------------------- DXF


def test_lines_and_arcs_in_any_order_and_sense_are_chained(dxf):
    """A stadium 60 × 20 from two lines and two arcs; area by hand."""

    def build(space, _):
        space.add_arc((50, 10), 10, -90, 90)
        space.add_line((50, 20), (10, 20))
        space.add_line((50, 0), (10, 0))
        space.add_arc((10, 10), 10, 90, 270)

    drawing = dxf(build)
    assert drawing.outline.area == pytest.approx(40 * 20 + 100 * math.pi, rel=1e-3)
    assert drawing.outline.bounds == pytest.approx((0, 0, 60, 20), abs=0.02)  # y is up already
    assert not drawing.y_down


@pytest.mark.parametrize(
    ("build", "area"),
    [
        (lambda s, _: s.add_circle((0, 0), 10), 100 * math.pi),
        (lambda s, _: s.add_ellipse((0, 0), (20, 0), 0.5), 200 * math.pi),
        # bulge 1 is a half circle (DXF reference: tangent of a quarter of the angle)
        (lambda s, _: s.add_lwpolyline([(0, 0, 1), (20, 0, 1)], format="xyb", close=True),
         100 * math.pi),
        (lambda s, _: s.add_polyline2d([(0, 0), (20, 0), (20, 10)], close=True), 100),
    ],
)  # fmt: skip
def test_every_closed_curve_is_read(dxf, build, area):
    assert dxf(build).outline.area == pytest.approx(area, rel=1e-3)


def test_a_spline_is_read(dxf):
    """One cubic arch over a line; ∫ y dx = ∫ 120 t(1 - t) · 360 t(1 - t) dt = 1440."""

    def build(space, _):
        space.add_open_spline([(0, 0), (0, 40), (60, 40), (60, 0)], degree=3)
        space.add_line((0, 0), (60, 0))

    assert dxf(build).outline.area == pytest.approx(1440, rel=1e-3)


def test_blocks_are_resolved_and_frozen_layers_left_out(dxf):
    def build(space, document):
        block = document.blocks.new("KNIFE")
        block.add_lwpolyline([(0, 0), (50, 0), (50, 10), (0, 10)], close=True)
        space.add_blockref("KNIFE", (100, 0))
        document.layers.add("NOTES").freeze()
        space.add_circle((0, 0), 300, dxfattribs={"layer": "NOTES"})

    assert dxf(build).outline.bounds == pytest.approx((100, 0, 150, 10))


def test_a_ring_inside_the_outline_is_a_hole(dxf):
    def build(space, _):
        space.add_lwpolyline([(0, 0), (50, 0), (50, 10), (0, 10)], close=True)
        space.add_circle((5, 5), 2)

    drawing = dxf(build)
    assert drawing.outline.area == pytest.approx(500)
    assert drawing.holes[0].area == pytest.approx(4 * math.pi, rel=2e-3)


@pytest.mark.parametrize(
    ("code", "unit"),
    [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0), (0, None)],  # DXF reference, $INSUNITS
)
def test_units_of_a_dxf(dxf, code, unit):
    found = dxf(lambda s, _: s.add_circle((0, 0), 10), units=code).unit
    assert found == (unit if unit is None else pytest.approx(unit))


def test_an_open_path_is_refused_and_its_gap_named(dxf):
    def build(space, _):
        space.add_lwpolyline([(0, 0), (50, 0), (50, 10), (0, 10), (0, 3)])
        space.add_circle((40, 5), 2)  # a closed pin must not stand in for the knife

    text = refusal(dxf, build)
    assert "gap of 3 units" in text
    assert "(0, 3)" in text


def test_an_outline_that_crosses_itself_is_refused_and_the_place_named(dxf):
    """As one polyline, and as two that cross: lines merge only up to the crossing."""
    bow = [(0, 0), (90, 0), (0, 20), (90, 20)]
    assert "itself at (45, 10)" in refusal(dxf, lambda s, _: s.add_lwpolyline(bow, close=True))

    def crossed(space, _):
        space.add_lwpolyline([*bow, bow[0]][:3])
        space.add_lwpolyline([*bow, bow[0]][2:])

    assert "itself at (45, 10)" in refusal(dxf, crossed)


def test_a_loop_turned_the_same_way_lies_within_the_fill(svg):
    """A square of 40 whose line loops round a square of 5 within it, and notches it by 5 × 5."""
    loop = svg('<path d="M0 0 H40 V40 H30 V30 H35 V35 H25 V40 H0z"/>').outline
    assert loop.area == pytest.approx(1600 - 25)


def test_ends_within_a_hair_are_closed(dxf):
    """A gap of 0.004 on a size of 51 is drawing dust."""
    drawing = dxf(lambda s, _: s.add_lwpolyline([(0, 0), (50, 0), (50, 10), (0, 10), (0, 0.004)]))
    assert drawing.outline.area == pytest.approx(500, rel=1e-3)


def test_a_dxf_without_curves_is_refused(dxf):
    assert "no line, arc" in refusal(dxf, lambda s, _: s.add_text("knife"))


def test_garbage_after_a_dxf_head_is_refused(tmp_path):
    path = tmp_path / "bad.dxf"
    path.write_text("  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n 10\nabc\n", encoding="utf-8")
    assert "DXF can't be read" in refusal(read_drawing, path)


# ---------------------------------------------------------------- drawings that nobody here drew


@pytest.mark.skipif(not DATA.is_dir(), reason="CROUPON_DATA has no realinputs")
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("fluent-emoji-flat__kitchen-knife", None),
        ("game-icons__animal-hide", None),
        ("game-icons__bone-knife", None),
        ("game-icons__bowie-knife", None),
        ("game-icons__butterfly-knife", None),
        ("game-icons__katana", None),
        ("game-icons__knife-fork", None),
        ("game-icons__machete", "3 separate shapes"),  # two drops beside it
        ("game-icons__plain-dagger", None),
        ("mdi__knife", None),
        ("openclipart__knife", None),
        ("openmoji__dagger", None),
        ("tabler__sword", "lines only"),
    ],
)
def test_drawings_from_elsewhere_give_a_silhouette_or_say_why_not(name, words):
    """Icons under open licences; see the notes beside them for where they come from."""
    path = DATA / f"{name}.svg"
    if words is None:
        outline = read_drawing(path).outline
        assert outline.area > 0.04 * outline.polygon.envelope.area
    else:
        assert words in refusal(read_drawing, path)


_NESTED = "".join(f'<g id="a{i}">' + f'<use href="#a{i - 1}"/>' * 10 + "</g>" for i in range(1, 12))


def test_a_drawing_that_blows_up_by_use_is_refused(tmp_path) -> None:
    """Ten uses of ten uses, eleven times over: refused before it is drawn."""
    path = tmp_path / "uses.svg"
    body = f'<path id="a0" d="M0 0H50V20H0Z"/>{_NESTED}'
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 99 99">{body}</svg>')
    with pytest.raises(OutlineError, match="more than 50000 times"):
        read_drawing(path)


def test_a_shape_used_beside_itself_is_drawn(tmp_path) -> None:
    """A use of a sibling is no loop: two squares of 10, the second moved onto the first's side."""
    path = tmp_path / "use.svg"
    square = '<path id="a" d="M0 0H10V10H0Z"/><use href="#a" x="10"/>'
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 99 99">{square}</svg>')
    assert read_drawing(path).outline.area == pytest.approx(200)
