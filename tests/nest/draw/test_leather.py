"""What a picture shows of a hide, told from the shapes and words on the page."""

import dataclasses
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from shapely import LineString, box

from hides.flaws import Flaw
from hides.outline import Outline
from hides.thickness import Reading
from nest.draw import leather
from nest.draw.labels import Labels
from nest.draw.rows import height_of, stack
from nest.draw.sheet import Sheet
from nest.draw.tints import draw_levels, ramp, tints_of
from tests import small
from tests.sheets import said

READINGS = tuple(
    Reading(x, y, 3.6 - 0.001 * x) for x in (100.0, 500.0, 900.0) for y in (100.0, 500.0)
)


def gauged():
    """The small hide with readings that fall by 1 mm from left to right, and no zones."""
    return small.hide(zones=(), readings=READINGS)


def view_of(hide):
    sheet = Sheet(200.0, 140.0)
    return sheet, sheet.view((20, 20, 160, 100), hide.outline.bounds)


def ids_of(sheet, tmp_path):
    path = sheet.save(tmp_path / "a.svg")
    return [e.get("id") for e in ElementTree.parse(path).iter() if e.get("id")]


def test_tints_cover_what_is_known_without_a_gap():
    tints = tints_of(gauged())
    inside = np.array([[50.0, 300.0], [950.0, 300.0]])
    thick, thin = gauged().thickness.mean(inside)
    assert tints[0].low <= thin
    assert thick <= tints[-1].high
    assert [t.low for t in tints[1:]] == pytest.approx([t.high for t in tints[:-1]])
    assert len({t.colour for t in tints}) == len(tints)


def test_tints_of_zones_alone_span_their_ranges():
    """The small hide: 2.4 to 2.8 and 3.3 to 3.5 mm."""
    tints = tints_of(small.hide())
    assert tints[0].low == pytest.approx(2.4)
    assert tints[-1].low == pytest.approx(3.5)


def test_without_thickness_there_are_no_tints_and_the_legend_says_so():
    hide = small.hide(zones=())
    assert tints_of(hide) == ()
    sheet = Sheet(100.0, 50.0)
    stack(sheet, ramp((), 60.0), 10.0, 40.0)
    assert said(sheet) == ["thickness not known"]


def test_contours_carry_their_thickness():
    """Where the fall is even, the number stands where the field has that thickness."""
    hide = gauged()
    sheet, pen = view_of(hide)
    draw_levels(pen, hide, Labels(pen))
    assert len(sheet.words) >= 4
    for words in sheet.words:
        place = (np.array(words.box.centroid.coords[0]) - pen.origin) / pen.scale
        assert hide.thickness.mean(place[None])[0] == pytest.approx(float(words.text), abs=0.05)


def test_readings_are_dots_with_their_number_beside_them():
    hide = gauged()
    sheet, pen = view_of(hide)
    leather.draw_readings(pen, hide, Labels(pen))
    assert said(sheet) == [f"{r.thickness:.2f}" for r in READINGS]
    for words, reading in zip(sheet.words, READINGS, strict=True):
        dot = shapely.Point(pen.at([[reading.x, reading.y]])[0]).buffer(0.45)
        assert not words.box.intersects(dot)
        assert words.box.distance(dot) < 2.0


def test_each_flaw_is_drawn_and_named(tmp_path):
    hide = small.hide()
    sheet, pen = view_of(hide)
    leather.draw_flaws(pen, hide)
    leather.name_flaws(pen, hide, Labels(pen))
    assert said(sheet) == ["sc", "st"]
    assert {"flaw:1:scar", "flaw:2:stain", "hole"} <= set(ids_of(sheet, tmp_path))


HOLES = tuple(Flaw("hole", "through", box(x, 300, x + 25, 325)) for x in (300, 340, 380, 420))
BROAD = Flaw("soft", "grain", box(600, 200, 800, 400))


def test_the_mark_of_a_hole_is_never_under_letters():
    """Nor that of the next one: four small holes in a row, whose codes are as large as they."""
    hide = small.hide(flaws=(*HOLES, BROAD), readings=(Reading(300, 340, 3.4),), zones=())
    sheet, pen = view_of(hide)
    labels = Labels(pen)
    labels.obstacles += leather.flaw_marks(pen, hide)
    leather.draw_readings(pen, hide, labels)
    leather.name_flaws(pen, hide, labels)
    assert sorted(said(sheet)) == ["3.40", "ho", "ho", "ho", "ho", "sf"]
    marks = [pen.on_page(flaw.shape) for flaw in HOLES]
    marks.append(shapely.Point(pen.at([(300, 340)])[0]).buffer(0.45))
    for words in sheet.words:
        assert not any(words.box.intersects(mark) for mark in marks)


def test_a_flaw_beyond_the_edge_is_not_named():
    """Nothing of it is drawn, either."""
    hide = small.hide(flaws=(Flaw("hole", "through", box(-90, 100, -50, 140)),), zones=())
    sheet, pen = view_of(hide)
    leather.name_flaws(pen, hide, Labels(pen))
    assert said(sheet) == []


def test_a_flaw_with_room_for_it_has_its_letters_within():
    hide = small.hide(flaws=(BROAD,), zones=())
    sheet, pen = view_of(hide)
    leather.name_flaws(pen, hide, Labels(pen))
    (words,) = sheet.words
    assert pen.on_page(BROAD.shape).contains(words.box)


def test_a_flaw_that_sticks_out_is_drawn_on_the_leather_only(tmp_path):
    """Rims of flaws drawn by hand cross the edge; ink beyond it would be read as leather."""
    over = Flaw("stain", "grain", box(-200, 200, 100, 300))
    hide = small.hide(flaws=(over,), holes=(), zones=())
    sheet, pen = view_of(hide)
    leather.draw_flaws(pen, hide)
    (patch,) = sheet.axes.patches
    assert patch.get_path().get_extents().x0 == pytest.approx(pen.at([[0.0, 0.0]])[0][0])


def test_the_legend_counts_flaws_by_kind_and_side():
    flaws = (*small.hide().flaws, dataclasses.replace(small.SCAR, face="flesh"), small.STAIN)
    sheet = Sheet(120.0, 80.0)
    stack(sheet, leather.flaw_legend(small.hide(flaws=flaws), 100.0), 5.0, 70.0)
    assert said(sheet) == [
        "sc scar × 1: bars front, back, strap",
        "st stain × 2: bars front",
        "sc scar × 1 on the flesh: bars front, back, strap",
    ]


def test_a_flaw_that_bars_nothing_has_no_hatch():
    look = leather.flaw_look(dataclasses.replace(small.STAIN, face="flesh"))
    assert look.hatch == ""
    assert look.dash


def ticks_on(sheet):
    """(n, 2, 2) ends of the ticks, page mm."""
    (drawn,) = [patch for patch in sheet.axes.patches if patch.get_gid() == "stretch"]
    return drawn.get_path().vertices.reshape(-1, 2, 2)


def test_stretch_ticks_lie_along_the_field():
    """Ticks on the small hide (a bend) run along x; a user's line across it turns those near."""
    line = np.array([[500.0, 50.0], [500.0, 550.0]])
    hide = small.hide(flaws=(), stretch_lines=(line,))
    sheet, pen = view_of(hide)
    leather.draw_stretch(pen, hide)
    ticks = ticks_on(sheet)
    assert len(ticks) > 50
    for tick in ticks:
        middle = (tick.mean(axis=0) - pen.origin) / pen.scale
        angle = np.degrees(np.arctan2(*(tick[1] - tick[0])[::-1])) % 180
        difference = abs(angle - hide.stretch.direction(middle[None])[0])
        assert min(difference, 180 - difference) < 0.01


def test_stretch_ticks_keep_clear_of_parts_and_words():
    hide, parts = small.hide(flaws=()), box(0, 0, 500, 600)
    sheet, pen = view_of(hide)
    words = pen.text((750, 400), "SHOULDER", anchor="middle")
    leather.draw_stretch(pen, hide, avoid=parts)
    for ends in ticks_on(sheet):
        tick = shapely.LineString(ends)
        assert not tick.intersects(pen.on_page(parts))
        assert not tick.intersects(words.box)


def test_the_edges_are_named_and_the_rulers_count_from_the_origin():
    hide = small.hide(piece="side")
    sheet, pen = view_of(hide)
    leather.draw_edges(pen, hide)
    assert {"backbone", "belly edge", "← tail", "neck →", "0", "500", "1000"} <= set(said(sheet))
    for words in sheet.words:
        if words.text == "1000":
            x = words.box.centroid.x
            assert x == pytest.approx(pen.at([[1000.0, 0.0]])[0][0], abs=0.5)


@pytest.mark.parametrize(
    ("piece", "low", "words"),
    [
        ("side", 0.0, ("backbone", "belly edge")),
        ("bend", 0.0, ("towards the backbone", "towards the belly")),
        ("double butt", -600.0, ("towards the belly", "towards the belly")),
    ],
)
def test_a_piece_says_what_lies_beyond_it(piece, low, words):
    """Only a side ends at the backbone and the belly's edge."""
    shape = Outline.of([(0, low), (1000, low), (1000, 600), (0, 600)])
    sheet, pen = view_of(small.hide(piece=piece, outline=shape, holes=()))
    leather.draw_edges(pen, small.hide(piece=piece, outline=shape, holes=()))
    assert tuple(said(sheet)[:2]) == words


@pytest.mark.parametrize(
    ("piece", "named"),
    [
        ("side", {"BUTT", "SHOULDER", "BELLY"}),
        ("bend", set()),  # other pieces are one region throughout
    ],
)
def test_regions_are_named_on_a_side_only(piece, named):
    hide = small.hide(piece=piece, flaws=())
    _, pen = view_of(hide)
    leather.draw_regions(pen, hide, Labels(pen))
    assert set(said(pen.sheet)) == named


@pytest.mark.parametrize("scale", [1.0, 1 / 3, 1 / 11, 1 / 50])
def test_the_scale_bar_is_as_long_as_it_says(scale):
    """Its five pieces, measured on the page, against the length written at its end."""
    sheet = Sheet(100.0, 50.0)
    rows = leather.scale_bar(scale, 60.0)
    stack(sheet, rows, 10.0, 40.0)
    end = next(words.text for words in sheet.words if words.text.endswith("mm"))
    extents = [patch.get_path().get_extents() for patch in sheet.axes.patches]
    drawn = max(e.x1 for e in extents) - min(e.x0 for e in extents)
    assert len(extents) == 5
    assert drawn / scale == pytest.approx(float(end.removesuffix(" mm")))
    assert drawn <= 60.0
    assert height_of(rows) < 10.0


def test_a_reading_that_counts_for_nothing_is_struck_out(tmp_path):
    """On the picture and in the legend; the others are not."""
    grid = [(x, y) for x in range(100, 1000, 200) for y in range(100, 600, 200)]
    odd = tuple(Reading(x, y, 3.4 if (x, y) != (500, 300) else 4.4) for x, y in grid)
    hide = small.hide(zones=(), readings=odd)
    sheet, pen = view_of(hide)
    leather.draw_readings(pen, hide, Labels(pen))
    ids = ids_of(sheet, tmp_path)
    assert (ids.count("struck-out"), ids.count("reading")) == (1, 14)
    (word,) = [word for word in sheet.words if word.text == "4.40"]
    lines = [
        LineString(line.get_xydata()) for line in sheet.axes.lines if len(line.get_xdata()) > 1
    ]
    assert any(line.intersects(word.box) for line in lines)
    stack(sheet, leather.reading_rows(hide, 60.0), 10.0, 130.0)
    assert "1 struck out: odd, so of no account until confirmed" in said(sheet)
