"""The pictures of capture and gauging: everything understood is on them, and nothing else."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely import Polygon, box

from hides.capture.adjustment import SheetPose
from hides.capture.camera import Camera
from hides.capture.frame import Frame
from hides.capture.marks import Doubt
from hides.capture.photo import Photo
from hides.capture.pipeline import Captured
from hides.capture.pose import View
from hides.thickness import Need, Reading
from hides.units import THICKEST
from nest.draw.tints import doubtful
from nest.report.capturesheet import capture_sheet
from nest.report.gaugesheet import gauge_sheet, gauging, need_text
from nest.report.hidesheet import hide_sheet
from tests.small_hides import sheet, square_flaw

DOWN = np.diag([1.0, -1.0, -1.0])  # a camera that looks straight down, pixel x along floor x
CAMERA = Camera(800.0, (599.5, 449.5), DOWN, np.array([-500.0, 300.0, 1000.0]), (0.0, 0.0))
NOTHING = np.zeros((4, 2))
LAID = SheetPose(3, 0.0, -200.0, 700.0, NOTHING, NOTHING)
HIDE = sheet(
    flaws=(square_flaw("brand", 100, 100, 80),),
    readings=(Reading(300, 300, 3.4), Reading(700, 200, 3.2)),
)
DOUBT = Doubt(box(600, 400, 640, 430), "pink ring: the legend has no pink.")


def captured(**changes: object) -> Captured:
    """A plain rectangle of leather seen from straight above."""
    pixels = np.full((900, 1200, 3), 120, np.uint8)
    view = View(CAMERA, (1200, 900), (LAID,), 0.05, 0.04, np.zeros((11, 11)), {})
    found = Captured(HIDE, (Photo(pixels, Path("side.jpg")),), (view,), Frame(0.0, 0.0, 0.0), 0.0)
    return replace(found, **changes)


def texts(page) -> str:
    return "\n".join(words.text for words in page.words)


def lines(page) -> list[np.ndarray]:
    """Every line drawn, page mm."""
    return [np.column_stack(line.get_data()) for line in page.axes.lines]


def test_the_outline_is_drawn_where_the_photo_shows_the_edge() -> None:
    """By a pinhole worked by hand: focal 800 at 1000 mm above the floor gives 0.8 pixels a mm;
    the camera stands over (500, 300), which is the middle of picture and hide.
    """
    page = capture_sheet(captured())
    edge = max(lines(page), key=lambda line: Polygon(line).area if len(line) > 3 else 0)
    wide, tall = np.ptp(edge, axis=0)
    assert wide / tall == pytest.approx(1000 / 600, rel=1e-3)
    picture = page.axes.images[0].get_extent()
    assert wide / (picture[1] - picture[0]) == pytest.approx(0.8 * 1000 / 1200, rel=1e-3)
    middle = (edge.min(axis=0) + edge.max(axis=0)) / 2
    assert middle == pytest.approx(
        [(picture[0] + picture[1]) / 2, (picture[2] + picture[3]) / 2], abs=0.05
    )


def test_what_was_understood_is_written_on_it() -> None:
    """Area, sheets, camera; flaws by code, readings by value."""
    told = texts(capture_sheet(captured()))
    for words in ("60.0 dm²", "sheet 3", "1.00 m up, 0°", "0.05 px, 0.04 mm", "br", "3.40", "3.20"):
        assert words in told, words
    assert "Understood" in told
    assert "Doubtful" not in told


def test_doubts_are_loud_and_numbered_on_the_photo() -> None:
    """The sentence beside it, the number at its place."""
    found = captured(doubtful=(DOUBT,), doubts=(f"Mark ?1 near (620, 415): {DOUBT.says}",))
    told = texts(capture_sheet(found))
    assert "Doubtful" in told
    assert re.search(r"^\?1$", told, re.M)
    assert "the legend has no pink" in told.replace("\n", " ")


def test_no_mark_on_the_photo_is_under_letters() -> None:
    """A hole no larger than its letters has them beside it; so has a doubtful mark."""
    hole, soft = square_flaw("hole", 400, 300, 12), square_flaw("soft", 200, 100, 120)
    hide = replace(HIDE, flaws=(hole, soft))
    page = capture_sheet(captured(hide=hide, doubtful=(DOUBT,)))
    boxes = {words.text: words.box for words in page.words}
    rings = [Polygon(line) for line in lines(page) if len(line) > 4]
    rings = [ring for ring in rings if ring.area < 1000.0]  # the hide has more on the page
    for words in ("ho", "?1"):
        ring = min(rings, key=boxes[words].distance)
        assert 0.0 < boxes[words].distance(ring) < 3.0, words
    assert any(ring.contains(boxes["sf"]) for ring in rings)


def test_pictures_are_the_same_every_time(tmp_path: Path) -> None:
    """Byte for byte, photo and all."""
    names = [tmp_path / name for name in ("a.pdf", "b.pdf")]
    for name in names:
        capture_sheet(captured()).save(name)
    assert names[0].read_bytes() == names[1].read_bytes()


def test_leather_whose_thickness_is_doubtful_is_dotted_on_the_record() -> None:
    """Two readings know their own places only; zones are known as given."""
    region = doubtful(HIDE)
    assert 0.3 * HIDE.gross_area < region.area < HIDE.gross_area
    assert not any(region.contains(box(r.x - 5, r.y - 5, r.x + 5, r.y + 5)) for r in HIDE.readings)
    assert "known no better than ±0.3 mm" in texts(hide_sheet(HIDE))
    assert doubtful(replace(HIDE, readings=())).is_empty


GAUGED = tuple(
    Reading(x, y, 3.5 if x < 500 else 2.7) for x in range(50, 1000, 100) for y in (100, 300, 500)
)


def test_what_is_surely_thick_enough_is_told_from_what_more_readings_would_decide() -> None:
    """3.5 mm at one end, 2.7 mm at the other: sure, open, and surely not."""
    found = gauging(sheet(readings=GAUGED), Need(3.1, THICKEST))
    assert found.sure.bounds[2] < 520
    assert 0.3 < found.sure.area / HIDE.gross_area < 0.5
    assert found.open.bounds[0] > 300
    assert found.open.area < 0.3 * HIDE.gross_area
    assert found.sure.intersection(found.open).area == 0
    assert (np.abs(found.places[:, 0] - 500) < 200).all()


def test_places_to_gauge_are_numbered_on_the_picture_and_in_the_list() -> None:
    """With their coordinates, and how well the thickness is known there."""
    found = gauging(sheet(readings=GAUGED), Need(3.1, THICKEST), count=3)
    told = texts(gauge_sheet(found))
    for number, (x, y) in enumerate(found.places, 1):
        assert told.split("\n").count(f"{number}") == 2
        assert f"{x:.0f}" in told
        assert f"{y:.0f}" in told
    assert "Sure to 90%" in told
    assert "ISO 2589" in told


def test_without_readings_nothing_is_claimed_as_known() -> None:
    """A list of first places, and no ± that nobody measured."""
    found = gauging(sheet(), None, count=4)
    told = texts(gauge_sheet(found))
    assert told.count("nothing") == 4
    assert "no thickness asked for" in told
    assert found.sure.is_empty


@pytest.mark.parametrize(
    ("need", "says"),
    [
        (Need(3.2, 3.5), "3.2 to 3.5 mm"),
        (Need(3.2, 3.5, may_split=True), "3.2 mm or more"),
        (Need(3.2, THICKEST), "3.2 mm or more"),
    ],
)
def test_a_need_is_told_in_words(need: Need, says: str) -> None:
    """As a maker asks for it."""
    assert need_text(need) == says
