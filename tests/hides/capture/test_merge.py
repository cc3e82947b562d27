"""Photos of parts of one side, joined: sheets laid on each other, one picture, one outline.

One photo of a whole side is cut into a left and a right part, each with a floor frame of its own
and with only the sheets that it shows; so the truth of both is known.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon

from hides.capture import merge, targets
from hides.capture.adjustment import SheetPose
from hides.capture.camera import UNKNOWNS, Camera
from hides.capture.marks import UNMARKED
from hides.capture.photo import Photo, read
from hides.capture.pipeline import Asked, capture
from hides.capture.pose import View, locate, papers_of
from hides.errors import InputError
from hides.label import HideLabel
from hides.outline import FloatArray, turned
from tests.bench.capture import carried, shots
from tests.scenes import Chalk, Place, Scene, scene, scenes

HERE = Place(0.0, 0.0, 0.0)
THERE = Place(73.0, 1234.0, -321.0)  # where the second photo's floor frame lies in the first's


@cache
def shot() -> Scene:
    return scene(31, floor="tarp", leather="natural", tilt=15, sheets=8, size=2.0)


def part(left: float, right: float, frame: Place) -> tuple[Photo, View]:
    """What lies between two shares of the width, its floor measured in a frame of its own."""
    width = shot().pixels.shape[1]
    first, last = int(left * width), int(right * width)
    pixels = np.ascontiguousarray(shot().pixels[:, first:last])
    true = shot().camera
    c, s = np.cos(np.deg2rad(frame.angle)), np.sin(np.deg2rad(frame.angle))
    upright = np.array([(c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0)])
    camera = Camera(
        true.focal,
        (true.centre[0] - first, true.centre[1]),
        true.turn @ upright,
        true.turn @ np.array([frame.x, frame.y, 0.0]) + true.shift,
        true.lens,
    )
    photo = Photo(pixels, Path("part.jpg"))
    laid = [_laid(sheet, frame) for sheet in shot().sheets]
    seen = [s for s in laid if _within(camera.to_pixels(s.to_floor(_PATTERN)), photo.size)]
    spread = np.diag(np.full(UNKNOWNS, 1e-8))
    return photo, View(camera, photo.size, tuple(seen), 0.1, 0.1, spread, {7: (10.0, 20.0)})


_PATTERN = np.array(
    [(0.0, 0.0), (targets.WIDTH, 0.0), (targets.WIDTH, targets.HEIGHT), (0.0, targets.HEIGHT)]
)


def _laid(sheet: Place, frame: Place) -> SheetPose:
    x, y = frame.back([(sheet.x, sheet.y)])[0]
    corners = targets.SHEETS[sheet.number - 1].corners
    return SheetPose(sheet.number, sheet.angle - frame.angle, x, y, corners, corners)


def _within(pixels: FloatArray, size: tuple[int, int]) -> bool:
    return bool(((pixels >= 0) & (pixels <= np.subtract(size, 1))).all())


def halves() -> tuple[tuple[Photo, View], tuple[Photo, View]]:
    return part(0.0, 0.74, HERE), part(0.26, 1.0, THERE)


@pytest.mark.parametrize("which", [0, 1])
def test_each_part_shows_too_little_alone(which):
    """Or the tests below would show nothing: the side leaves both parts."""
    frame = (HERE, THERE)[which]
    photo, view = halves()[which]
    assert not _within(view.to_pixels(frame.back(shot().outline)), photo.size)
    assert len(view.sheets) >= 3


def test_a_view_moves_to_where_its_sheets_are_known():
    """Any place of the floor is seen at the same pixel, as sure as before; stickers move along."""
    (_, one), (_, two) = halves()
    _, moved = merge.joined([one, two])
    places = np.random.default_rng(0).uniform(-500, 500, (30, 2))
    assert moved.to_pixels(THERE(places)) == pytest.approx(two.to_pixels(places), abs=1e-6)
    assert moved.stickers[7] == pytest.approx(THERE([(10.0, 20.0)])[0])
    assert moved.doubt(THERE(places)) == pytest.approx(two.doubt(places), rel=0.02)
    numbers = {sheet.number for sheet in moved.sheets}
    for sheet in (s for s in shot().sheets if s.number in numbers):
        mine = next(s for s in moved.sheets if s.number == sheet.number)
        assert mine.to_floor(_PATTERN) == pytest.approx(sheet(_PATTERN), abs=1e-6)


def test_two_parts_give_the_outline_of_the_whole():
    """Within 1.2 % of the truth though no part shows it all, and sure."""
    photos, views = zip(*halves(), strict=True)
    _, found = merge.trace_all(photos, merge.joined(views), mm_per_pixel=2.0)
    assert not found.doubts, found.doubts
    assert found.outline.area == pytest.approx(Polygon(shot().outline).area, rel=0.012)


@pytest.mark.parametrize(
    ("seed", "count", "floor", "leather"),
    [(1, 2, "tarp", "russet"), (8, 3, "concrete", "tan")],
)
def test_photos_from_several_places_give_one_true_record(tmp_path, seed, count, floor, leather):
    """Each camera stands and tilts by itself in a light of its own and shows only a part; the
    whole is within 0.5 % of the area, 95 % of the edge within 4 mm, and no seam is read as a mark.
    The truth is carried over by the sheets, turned and shifted, never scaled.
    """
    chalk = [Chalk("ring", "blue"), Chalk("ring", "red"), Chalk("area", "yellow")]
    shots = scenes(seed, count, floor=floor, leather=leather, tilt=20, size=3.0, chalk=chalk)
    for each in shots:
        assert not _within(each.to_pixels(each.outline), each.pixels.shape[1::-1])
    paths = [each.save(tmp_path / f"{at}.jpg") for at, each in enumerate(shots)]
    found = capture(paths, HideLabel("Larch"), Asked(ruler=180.0))
    laid = [sheet for view in found.views for sheet in view.sheets]
    there = np.concatenate([sheet.to_floor(_PATTERN) for sheet in laid])
    true = {sheet.number: sheet for sheet in shots[0].sheets}
    here = np.concatenate([true[sheet.number](_PATTERN) for sheet in laid])
    edge = carried(here, there, shots[0].outline)
    outline = Polygon(found.frame.to_floor(found.hide.outline.points))
    ring = shapely.segmentize(outline.exterior, 5.0)
    off = shapely.distance(shapely.points(ring.coords), Polygon(edge).exterior)
    assert found.sure, found.doubts
    assert outline.area == pytest.approx(Polygon(edge).area, rel=0.005)
    assert np.percentile(off, 95) < 4.0
    drawn = [flaw for flaw in found.hide.flaws if flaw.note not in UNMARKED]
    assert len(drawn) == len(chalk)
    assert not any("partly hidden" in words for words in found.remarks)


def test_one_part_alone_is_refused():
    (photo, view), _ = halves()
    with pytest.raises(InputError, match="touches the edge of the picture"):
        merge.trace_all([photo], [view], mm_per_pixel=2.0)


def test_a_hide_that_sticks_out_between_the_sheets_is_seen_whole(tmp_path):
    """The picture is made larger, as the photo shows more than what lies among the sheets."""
    shot = next(shots(1, 6.0, {"grey": None}, 49)).scene
    taken = read(shot.save(tmp_path / "side.jpg"))
    view = locate(taken)
    among = shapely.union_all(papers_of([view])).envelope
    true = Polygon(view.to_floor(shot.to_pixels(shot.outline)))
    assert true.bounds[1] < among.bounds[1] - merge.FLOOR_AROUND[0]
    flat, found = merge.trace_all([taken], [view])
    assert not found.doubts, found.doubts
    assert found.outline.area == pytest.approx(true.area, rel=0.005)
    assert flat.pixels.shape[1] * flat.scale > among.bounds[2] - among.bounds[0] + 800


def test_brightness_is_matched_where_parts_meet():
    """The second part a third darker: in the picture of both, the same place is as bright."""
    (photo, one), (dark, two) = halves()
    dark = replace(dark, pixels=(dark.pixels * 0.67).astype(np.uint8))
    views = merge.joined([one, two])
    whole = merge.mosaic([photo, dark], views, 6.0)
    even = merge.mosaic([photo, halves()[1][0]], views, 6.0)
    off = np.abs(whole.pixels.astype(int) - even.pixels)[whole.seen & even.seen]
    assert np.percentile(off, 90) < 8


def test_a_photo_that_shares_no_sheets_is_named():
    (_, one), (_, two) = halves()
    alone = replace(two, sheets=two.sheets[:1])
    with pytest.raises(InputError, match=r"photo 2 shares [01] sheets") as caught:
        merge.joined([one, alone])
    assert "2 sheets or more" in caught.value.mend


def test_a_sheet_moved_between_photos_is_noticed():
    """By 60 mm: the sheets no longer lie to each other as they did."""
    (_, one), (_, two) = halves()
    known = {sheet.number for sheet in one.sheets}
    number = next(s.number for s in two.sheets if s.number in known)
    sheets = [replace(s, x=s.x + 60.0) if s.number == number else s for s in two.sheets]
    with pytest.raises(InputError, match="don't lie to each other"):
        merge.joined([one, replace(two, sheets=tuple(sheets))])


def test_a_single_view_stays_as_it_is():
    (_, one), _ = halves()
    assert merge.joined([one]) == (one,)


def test_turning_is_that_of_the_project():
    """:func:`hides.outline.turned` and the places of the scenes agree, or all above is void."""
    points = np.random.default_rng(1).normal(0, 100, (5, 2))
    assert THERE(points) == pytest.approx(turned(points, 73.0, 1234.0, -321.0))
