"""Marks: drawn on patches of leather whose truth is known, read back as flaws or doubts.

Patches are pictures from straight above at 1 mm per pixel: leather with grain on a floor, a
sheet of paper beside it, marks of chalk with gaps and bare spots, then light, blur, noise and
JPEG. Whole photos through a camera are in ``tests/bench/marks.py`` and in the last test here.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box

from hides.capture.marks import (
    PALETTE,
    UNMARKED,
    USUAL_LEGEND,
    Doubt,
    Legend,
    LegendEntry,
    Marks,
    find,
    read_legend,
)
from hides.capture.marks.colour import COVERS, Chalks, difference, lab_of, linear
from hides.capture.marks.strokes import close, forms
from hides.capture.pose import Flat
from hides.errors import InputError
from hides.flaws import Flaw
from hides.outline import Outline
from tests.bench.marks import FORMS, flattened, judge, overlap, papers_of
from tests.marked import HIDE, PAPER, SIZE, at, painted, patch
from tests.places import ROOT
from tests.scenes import LEATHERS, Chalk, scene


def read(flat: Flat, legend: Legend = USUAL_LEGEND, **about: object) -> Marks:
    return find(flat, Outline.of(HIDE.exterior.coords), legend, papers=[PAPER], **about)


def told(marks: Marks) -> list[str]:
    """Kinds of the flaws, in order of x."""
    return [flaw.kind for flaw in sorted(marks.flaws, key=lambda f: f.shape.centroid.x)]


def edge_error(flaw: Flaw, truth: Polygon) -> float:
    """Median distance in mm from the flaw's edge to the truth's."""
    edge = flaw.shape.exterior
    points = [edge.interpolate(s) for s in np.arange(0, edge.length, 3.0)]
    return float(np.median([truth.exterior.distance(p) for p in points]))


@pytest.mark.parametrize("leather", LEATHERS)
@pytest.mark.parametrize("form", FORMS)
def test_marks_in_every_colour_are_read(leather: str, form: str) -> None:
    """Six colours in one form on one patch, some in light, some in a shadow and on its edge."""
    colours = [entry.colour for entry in USUAL_LEGEND.entries]
    places = [(120, 150), (120, 360), (270, 150), (270, 360), (420, 150), (420, 360)]
    shapes = [at(*place) for place in places]
    if form == "line":
        shapes = [LineString([(x - 40, y), (x + 40, y + 15)]).buffer(3) for x, y in places]
    drawn = [(form, colour, shape) for colour, shape in zip(colours, shapes, strict=True)]
    marks = read(patch(leather, drawn, shadow=0.55))
    wanted = [
        (USUAL_LEGEND.entry(colour), shape) for colour, shape in zip(colours, shapes, strict=True)
    ]
    for entry, shape in wanted:
        found = [f for f in marks.flaws if overlap(f.shape, shape) > 0.3]
        listed = [d for d in marks.doubtful if overlap(d.shape, shape) > 0.3]
        if entry.colour == "white" and leather == "natural":
            assert found or listed  # white on nearly white may be doubtful, not lost
            continue
        assert [(f.kind, f.face) for f in found] == [(entry.flaw, entry.face)], entry.colour
        assert edge_error(found[0], shape) < 4.0
    assert all(max(overlap(f.shape, s) for s in shapes) > 0.3 for f in marks.flaws)


@pytest.mark.parametrize("leather", LEATHERS)
def test_bare_leather_has_no_marks(leather: str) -> None:
    """Grain, light and a shadow's edge are no chalk."""
    marks = read(patch(leather, [], seed=2, shadow=0.5))
    assert marks == Marks(())


@pytest.mark.parametrize("leather", LEATHERS)
def test_what_leather_has_by_nature_is_no_flaw(leather: str) -> None:
    """Dark and pale scars, a stain and a crease: at most doubtful, for the user to judge."""
    flat = patch(leather, [], seed=3)
    factor = np.ones(SIZE)
    for (start, end), tone in zip(
        [((90, 90), (260, 140)), ((300, 80), (330, 300)), ((400, 400), (540, 380))],
        (0.7, 1.15, 0.85),
        strict=True,
    ):
        cv2.line(factor, start, end, tone, 4, cv2.LINE_AA)
    cv2.ellipse(factor, (200, 330), (45, 25), 20, 0, 360, 0.8, -1)
    factor = cv2.GaussianBlur(factor, (0, 0), 2.0)[..., None]
    dark = (flat.pixels * factor).clip(0, 255).astype(np.uint8)
    assert read(replace(flat, pixels=dark)).flaws == ()


def test_a_ring_that_ends_at_the_edge_is_closed_by_it() -> None:
    """The part on the leather is the flaw."""
    ring = at(300, 478, 60)
    marks = read(patch("tan", [("ring", "blue", ring)]))
    assert told(marks) == ["scar"]
    assert overlap(marks.flaws[0].shape, ring.intersection(HIDE)) > 0.9
    assert marks.flaws[0].shape.boundary.intersection(HIDE.exterior).length > 90
    assert HIDE.buffer(0.01).contains(marks.flaws[0].shape)


def test_a_line_that_runs_to_the_edge_is_a_line() -> None:
    """With the edge beside it, it encloses nothing that was meant."""
    line = LineString([(300, 476), (355, 440)]).buffer(3)
    marks = read(patch("black", [("line", "red", line)]))
    assert told(marks) == ["hole"]
    assert marks.doubtful == ()
    assert overlap(marks.flaws[0].shape, line) > 0.5


def test_what_lies_along_the_edge_may_be_floor_that_the_edge_took_in() -> None:
    """It bars the leather: nobody draws a flaw 6 mm off the edge and along it."""
    y = HIDE.bounds[3] - 7.0
    line = LineString([(260, y), (340, y)]).buffer(3)
    assert HIDE.contains(line)
    marks = read(patch("tan", [("line", "white", line)]))
    assert marks.doubtful == ()
    (flaw,) = marks.flaws
    assert (flaw.kind, flaw.face) == ("hole", "through")
    assert flaw.note in UNMARKED
    assert overlap(flaw.shape, line) > 0.3


def test_a_patch_of_the_floors_colour_at_the_edge_is_doubtful() -> None:
    """An edge that took in a piece of a red floor must not make a flaw of it."""
    x, y = 300, HIDE.bounds[3]
    flat = patch("tan", [("area", "red", box(x - 30, y - 40, x + 30, y))], cover=1.0)
    top = SIZE[0] - int(y)  # the first row of leather
    pixels = flat.pixels.copy()
    pixels[:top, x - 60 : x + 60] = np.median(pixels[top + 10 : top + 30, x - 20 : x + 20], (0, 1))
    flat = replace(flat, pixels=pixels)
    marks = read(flat)
    assert marks.flaws == ()
    assert any("the colour of the floor beside it" in doubt.says for doubt in marks.doubtful)


@pytest.mark.parametrize("leather", ["tan", "natural", "black"])
def test_a_hole_that_shows_the_floor_is_a_hole(leather: str) -> None:
    """No chalk is drawn; the floor's grey is no colour of the legend either."""
    hole = at(300, 260, 25)
    flat = patch(leather, [("area", "red", at(120, 150))])
    (flaw,) = read(flat).flaws
    assert flaw.kind == "hole"
    assert flaw.note not in UNMARKED
    floor = np.median(flat.pixels[5:35, 30:500], axis=(0, 1))
    floor = floor + np.random.default_rng(1).normal(0, 2.5, flat.pixels.shape)
    seen = np.where(painted(hole, "area")[..., None] > 0.5, floor, flat.pixels)
    flat = replace(flat, pixels=seen.clip(0, 255).astype(np.uint8))
    marks = read(flat)
    assert marks.doubtful == ()
    (through,) = [flaw for flaw in marks.flaws if flaw.note in UNMARKED]
    assert (through.kind, through.face) == ("hole", "through")
    assert overlap(through.shape, hole) > 0.85


def test_creases_that_shine_on_pale_leather_are_no_chalk() -> None:
    """Light that is too bright for the camera loses its red first, and looks greenish then."""
    flat = patch("natural", [("ring", "red", at(150, 200))])
    glow = np.zeros(SIZE)
    for start, end in [((90, 300), (380, 340)), ((330, 80), (420, 300)), ((80, 420), (200, 450))]:
        cv2.line(glow, start, end, 0.3, 6, cv2.LINE_AA)
    glow = 1.12 + cv2.GaussianBlur(glow, (0, 0), 3.0)[..., None]
    marks = read(replace(flat, pixels=(flat.pixels * glow).clip(0, 255).astype(np.uint8)))
    assert told(marks) == ["hole"]
    assert marks.doubtful == ()


def test_a_line_across_the_hide_is_a_line() -> None:
    """It cuts off a third of the hide, whose border is mostly the hide's own edge."""
    line = LineString([(400, 30), (400, 490)]).buffer(3)
    marks = read(patch("tan", [("line", "blue", line)]))
    assert told(marks) == ["scar"]
    assert marks.flaws[0].shape.area < 440 * 12


def test_rings_of_two_colours_that_touch_stay_apart() -> None:
    """Strokes are parted by colour before they are read."""
    pair = [("ring", "red", at(200, 250)), ("ring", "blue", at(298, 250))]
    marks = read(patch("russet", pair))
    assert told(marks) == ["hole", "scar"]
    for flaw, (_, _, shape) in zip(
        sorted(marks.flaws, key=lambda f: f.shape.centroid.x), pair, strict=True
    ):
        assert overlap(flaw.shape, shape) > 0.8


def test_two_rings_of_one_colour_side_by_side_are_two_flaws() -> None:
    pair = [("ring", "red", at(200, 250, 40)), ("ring", "red", at(302, 250, 40))]
    marks = read(patch("tan", pair))
    assert told(marks) == ["hole", "hole"]


def test_a_ring_in_a_ring_is_read_twice() -> None:
    """A hole within a scar: each colour by itself."""
    pair = [("ring", "blue", at(300, 250, 90)), ("area", "red", at(300, 250, 25))]
    marks = read(patch("tan", pair))
    assert sorted(told(marks)) == ["hole", "scar"]
    areas = {flaw.kind: flaw.shape.area for flaw in marks.flaws}
    assert areas["scar"] == pytest.approx(pair[0][2].area, rel=0.1)  # the hole is not cut out
    assert areas["hole"] == pytest.approx(pair[1][2].area, rel=0.2)


def test_a_large_filled_area_is_read_to_its_edge() -> None:
    """Wider than the leather that the light is taken from."""
    shape = at(300, 260, 120)
    marks = read(patch("tan", [("area", "green", shape)]))
    assert told(marks) == ["healed"]
    assert overlap(marks.flaws[0].shape, shape) > 0.95


def test_a_ring_with_a_wide_gap_is_doubtful() -> None:
    """The best guess stands in the doubt."""
    ring = at(300, 260, 60)
    turn = np.array(ring.exterior.coords)
    missing = LineString(turn[:5]).buffer(6)
    drawn = Polygon(turn).exterior.difference(missing)
    stroke = drawn.buffer(3.0)
    marks = read(patch("tan", [("line", "red", max(getattr(stroke, "geoms", [stroke]),
                                                   key=lambda g: g.area))]))  # fmt: skip
    assert marks.flaws == ()
    (doubt,) = marks.doubtful
    assert doubt.says.startswith("a red open ring, 1")
    assert doubt.says.endswith("mm across. Close it if all inside is meant.")
    assert doubt.flaw is not None and doubt.flaw.kind == "hole"
    assert overlap(doubt.shape, ring) > 0.8


@pytest.mark.parametrize(
    ("leather", "colour"),
    [("tan", "pink"), ("russet", "purple"), ("black", "pink"), ("natural", "purple")],
)
def test_a_colour_outside_the_legend_is_said(leather: str, colour: str) -> None:
    """It is listed by its name with what to do, and becomes no flaw."""
    shape = at(300, 260)
    marks = read(patch(leather, [("ring", colour, shape)]))
    assert marks.flaws == ()
    (doubt,) = marks.doubtful
    assert doubt.says.startswith(f"a {colour} ring, ")
    assert f"The legend has no {colour}: add it there, or wipe the mark off." in doubt.says
    assert doubt.flaw is None
    assert overlap(doubt.shape, shape) > 0.8


@pytest.mark.parametrize("leather", ["tan", "natural"])
def test_a_ring_of_ink_is_listed_as_black(leather: str) -> None:
    """A pen lies at hand; its ring is neither lost nor taken for chalk."""
    shape = at(300, 260)
    drawn = [("ring", "black", shape), ("ring", "red", at(120, 150))]
    marks = read(patch(leather, drawn))
    assert told(marks) == ["hole"]
    (doubt,) = marks.doubtful
    assert doubt.says.startswith("a black ring, ")
    assert overlap(doubt.shape, shape) > 0.8


def test_the_same_colour_is_a_flaw_once_the_legend_has_it() -> None:
    """Only the legend differs from the test above."""
    legend = Legend((LegendEntry("pink", PALETTE["pink"], "vein", "grain"),))
    marks = read(patch("tan", [("ring", "pink", at(300, 260))]), legend)
    assert told(marks) == ["vein"]
    assert marks.flaws[0].face == "grain"
    assert "pink ring" in marks.flaws[0].note


def test_two_colours_that_mean_the_same_are_no_doubt() -> None:
    """Red or orange: whichever it is, it is the same flaw."""
    between = {"between": (220, 85, 40)}
    entries = (
        LegendEntry("red", PALETTE["red"], "hole", "through"),
        LegendEntry("orange", PALETTE["orange"], "hole", "through"),
    )
    drawn = [("area", "between", at(300, 260))]
    PALETTE.update(between)
    try:
        flat = patch("tan", drawn)
    finally:
        PALETTE.pop("between")
    assert told(read(flat, Legend(entries))) == ["hole"]
    other = (entries[0], replace(entries[1], flaw="scar"))
    (doubt,) = read(flat, Legend(other)).doubtful
    assert "It may be red too" in doubt.says or "It may be orange too" in doubt.says


def test_faint_chalk_is_doubtful_and_not_lost() -> None:
    """A fifth of the usual cover."""
    marks = read(patch("tan", [("area", "blue", at(300, 260))], cover=0.12))
    assert marks.flaws == ()
    assert any(isinstance(d, Doubt) and overlap(d.shape, at(300, 260)) > 0.5
               for d in marks.doubtful)  # fmt: skip


def test_what_is_to_be_ignored_is_no_mark() -> None:
    """Numbered stickers lie on the hide too."""
    card = box(276, 236, 324, 284)
    flat = patch("tan", [("area", "white", card), ("ring", "red", at(150, 200))])
    assert sorted(told(read(flat))) == ["bite", "hole"]
    assert told(read(flat, ignore=[Point(300, 260).buffer(36)])) == ["hole"]


def test_a_finer_picture_gives_the_same_flaws() -> None:
    """At half a millimetre per pixel the marks are where they were."""
    drawn = [("ring", "red", at(150, 200)), ("area", "blue", at(400, 300))]
    flat = patch("tan", drawn)
    fine = Flat(
        np.asarray(cv2.resize(flat.pixels, None, fx=2, fy=2), np.uint8),
        np.ones((SIZE[0] * 2, SIZE[1] * 2), bool),
        (flat.origin[0] - 0.25, flat.origin[1] + 0.25),
        0.5,
    )
    for one, other in zip(read(flat).flaws, read(fine).flaws, strict=True):
        assert one.kind == other.kind
        assert overlap(one.shape, other.shape) > 0.95


def test_without_paper_in_sight_clear_colours_are_read() -> None:
    """The brightest of the picture is taken for white."""
    flat = patch("tan", [("ring", "red", at(150, 200)), ("ring", "blue", at(400, 300))])
    assert told(find(flat, Outline.of(HIDE.exterior.coords))) == ["hole", "scar"]


def test_a_hide_that_the_photo_does_not_show_has_no_marks() -> None:
    """Nothing seen, nothing read, and no failure."""
    flat = patch("tan", [("ring", "red", at(150, 200))])
    assert read(replace(flat, seen=np.zeros(SIZE, bool))) == Marks(())
    far = Outline.of(np.array(HIDE.exterior.coords) + 5000.0)
    assert find(flat, far, papers=[PAPER]) == Marks(())


def test_marks_are_read_in_a_photo() -> None:
    """Through a camera, at 20° and in shadow, with sheets for white."""
    chalk = [Chalk(form, colour) for form, colour in
             [("ring", "red"), ("ring", "blue"), ("area", "green"), ("line", "red"),
              ("ring", "pink")]]  # fmt: skip
    shot = scene(11, leather="tan", tilt=20, shadow=0.4, chalk=chalk, size=3.0)
    marks = find(flattened(shot), Outline.of(shot.outline), papers=papers_of(shot))
    count, edges = judge(marks, shot.marks)
    assert (count["drawn"], count["read"], count["strange listed"]) == (4, 4, 1)
    assert count["invented"] == 0
    assert np.median(edges) < 3.0


# --- legends ---------------------------------------------------------------------------------


def test_the_sample_legend_is_read() -> None:
    legend = read_legend(ROOT / "shared/legends/bench.legend.toml")
    assert [(e.colour, e.flaw, e.face) for e in legend.entries] == [
        ("red", "hole", "through"),
        ("blue", "scar", "grain"),
        ("green", "healed", "grain"),
        ("purple", "loose", "through"),
        ("turquoise crayon", "vein", "grain"),
    ]
    assert legend.entries[-1].rgb == (20, 163, 173)
    assert set(legend.colours) == {*PALETTE, "turquoise crayon"}


def test_an_own_colour_takes_the_place_of_the_palettes_nearest() -> None:
    """A mark must not be torn between two names of one colour."""
    legend = Legend((LegendEntry("brick crayon", (200, 50, 55), "scar", "grain"),))
    assert "red" not in legend.colours
    assert "blue" in legend.colours


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the legend names no colour."),
        ("[red]\nflaw = 'hole'", "table [red]: 'face' is missing. Say one of through, grain"),
        ("[red]\nface = 'grain'", "table [red]: 'flaw' is missing."),
        ("[red]\nflaw = 'dent'\nface = 'grain'", "table [red]: 'dent' is no known kind of flaw."),
        ("[red]\nflaw = 'scar'\nface = 'front'", "table [red]: face must be one of through"),
        ("[red]\nflaw = 'scar'\nface = 3", "table [red]: face must be a text in quotes, got 3."),
        ("[red]\nflaw = 'scar'\nside = 'grain'", "there is no key 'side' here."),
        ("[teal]\nflaw = 'scar'\nface = 'grain'", "table [teal]: 'teal' is no colour known here."),
        ("[teal]\nflaw='scar'\nface='grain'\nrgb='teal'", "six hex digits after a #, got 'teal'"),
        ("red = 'hole'", "'red' stands outside of a table."),
        (
            "[red]\nflaw='scar'\nface='grain'\n[rose]\nflaw='cut'\nface='grain'\nrgb='#cd3035'",
            "table [rose]: 'red' and 'rose' look too much alike",
        ),
        ("[red", "this is not TOML"),
    ],
)
def test_a_legend_that_cannot_be_used_is_refused(tmp_path: Path, text: str, says: str) -> None:
    """File, table, fault and mend in one message."""
    path = tmp_path / "shop.legend.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_legend(path)
    assert says in str(caught.value)
    assert "shop.legend.toml" in str(caught.value)


def test_bytes_that_are_no_text_are_no_legend(tmp_path: Path) -> None:
    path = tmp_path / "shop.legend.toml"
    path.write_bytes(b"\xff\xfe\x00[red]")
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_legend(path)


# --- the arithmetic --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 255, 255), (100.0, 0.0, 0.0)),  # white, by definition of CIE 1976
        ((0, 0, 0), (0.0, 0.0, 0.0)),
        ((255, 0, 0), (53.24, 80.09, 67.20)),  # sRGB red under D65, IEC 61966-2-1 (from memory)
        ((0, 0, 255), (32.30, 79.19, -107.86)),  # sRGB blue (from memory)
    ],
)
def test_colours_are_those_of_the_standard(rgb, lab) -> None:
    """L*a*b* of sRGB corners, to the precision of tables."""
    assert lab_of(rgb) == pytest.approx(np.array(lab), abs=0.6)


def test_linear_light_is_that_of_srgb() -> None:
    """IEC 61966-2-1: 188 is 50.3 % of white's light (from memory), 0 and 255 are the ends."""
    light = linear(np.array([[[0, 188, 255]]], np.uint8))[0, 0]
    assert light == pytest.approx([0.0, 0.503, 1.0], abs=0.002)


def test_a_mixture_is_explained_by_its_own_colour() -> None:
    """Each chalk at each share above a fifth is nearest to itself, on each leather."""
    for leather in LEATHERS.values():
        bare = linear(np.array([[leather]], np.uint8))[0, 0].astype(float)
        colours = {name: rgb for name, rgb in PALETTE.items() if name != "black"}
        chalks = Chalks.on(bare, colours)
        for i in range(len(colours)):
            off = chalks.explain(chalks.mixed[i][COVERS > 0.2].astype(np.float32))
            assert off[:, i].max() < 1e-3
            assert (off.argmin(axis=1) == i).all()


def test_the_palettes_colours_are_far_apart() -> None:
    labs = [lab_of(rgb) for rgb in PALETTE.values()]
    pairs = [difference(a, b) for i, a in enumerate(labs) for b in labs[:i]]
    assert min(pairs) > 20


def test_gaps_are_bridged_up_to_their_size() -> None:
    """Two bars 10 pixels apart: joined by a gap of 12, not by one of 8."""
    bars = np.zeros((40, 60), bool)
    bars[18:24, 5:25] = bars[18:24, 35:55] = True
    assert cv2.connectedComponents(close(bars, 12).astype(np.uint8))[0] == 2
    assert cv2.connectedComponents(close(bars, 8).astype(np.uint8))[0] == 3


def test_a_drawn_circle_encloses_what_its_line_runs_around() -> None:
    """A circle of radius 60 with a line 7 wide: pi 60² is the area within its middle."""
    window = np.zeros((240, 240), np.uint8)
    cv2.circle(window, (120, 120), 60, 1, 7)
    (form,) = forms(window > 0, window > 1, np.ones((240, 240), bool), 1.0)
    assert form.name == "ring"
    assert form.shape.sum() == pytest.approx(np.pi * 60**2, rel=0.03)


@pytest.mark.parametrize("seed", range(12))
def test_any_scribble_has_forms_that_keep_to_the_window(seed: int) -> None:
    """Random strokes and blots, dense and sparse: each form holds paint, none is empty."""
    rng = np.random.default_rng(seed)
    window = np.zeros((160, 160), np.uint8)
    for _ in range(int(rng.integers(1, 9))):
        points = rng.integers(40, 120, (int(rng.integers(2, 6)), 2))
        cv2.polylines(window, [points.astype(np.int32)], bool(rng.integers(2)), 1,
                      int(rng.integers(1, 12)))  # fmt: skip
    paint = window > 0
    leather = np.ones_like(paint)
    leather[:, : int(rng.integers(1, 60))] = False
    found = list(forms(paint & leather, np.zeros_like(paint), leather, 1.0))
    for form in found:
        assert form.name in {"ring", "open ring", "area", "line"}
        assert (form.shape & paint).any()
    assert found
