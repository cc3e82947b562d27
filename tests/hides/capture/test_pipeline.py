"""Photos to records: one good photo looked at closely, and everything that can go wrong, as the
user meets it on the command line.

Scenes are drawn with known truth (tests/scenes.py). Geometry, outlines, marks and readings have
their own tests; here it is the whole road that counts.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely import Polygon, box

from hides import record
from hides.capture.frame import Frame
from hides.capture.marks import Doubt
from hides.capture.photo import Photo
from hides.capture.pipeline import TOLD_MARKS, Asked, Captured, _frame_doubts, _mark_doubts, capture
from hides.capture.pose import locate
from hides.errors import InputError
from hides.geojson import feature
from hides.hide import Price
from hides.label import HideLabel
from nest.cli import main
from tests.scenes import Chalk, Scene, scene

CHALK = (Chalk("ring", "red"), Chalk("area", "blue"), Chalk("ring", "green", edge=True))
STUCK = {1: 3.55, 2: 3.4, 3: 2.9, 4: 3.1, 5: 3.45, 6: 3.2}  # mm, by sticker
LABEL = HideLabel("Larch", supplier_area=None)


@cache
def shot(seed: int = 3, **changes: object) -> Scene:
    return scene(seed, **{"size": 1.5, "sheets": 4, **changes})


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A side with three marks and six stickers, and its list of readings."""
    path = tmp_path_factory.mktemp("larch")
    shot(chalk=CHALK, stickers=6).save(path / "side.jpg")
    rows = "\n".join(f"{number},{value}" for number, value in STUCK.items())
    (path / "gauge.csv").write_text(f"sticker,mm\n{rows}\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def found(folder: Path) -> Captured:
    return capture([folder / "side.jpg"], LABEL, Asked(readings=folder / "gauge.csv", ruler=180.0))


def truth() -> Scene:
    return shot(chalk=CHALK, stickers=6)


def on_floor(found: Captured, shape: Polygon) -> Polygon:
    return Polygon(found.frame.to_floor(np.asarray(shape.exterior.coords)))


def alike(one: Polygon, other: Polygon) -> float:
    """Area in common over area together."""
    return one.intersection(other).area / one.union(other).area


# --- a good photo ----------------------------------------------------------------------------


def test_a_good_photo_is_understood_without_doubt(found: Captured) -> None:
    """Nothing is doubted; what is missing is remarked."""
    assert found.sure
    assert found.doubtful == ()
    assert any("No price" in words for words in found.remarks)
    assert any("Only 6 readings" in words for words in found.remarks)


def test_the_outline_is_true(found: Captured) -> None:
    """Area within 1.2 %, and the shape lies where the hide is."""
    true = Polygon(truth().outline)
    assert found.hide.gross_area == pytest.approx(true.area, rel=0.012)
    assert alike(on_floor(found, found.hide.polygon), true) > 0.985


def test_the_side_is_framed_by_its_backbone(found: Captured) -> None:
    """Tail root at x = 0, the backbone along y = 0, the belly above: within 15 mm and 0.5°."""
    left, low, right, _ = found.hide.outline.bounds
    hide = truth().hide
    assert left == pytest.approx(hide[:, 0].min(), abs=15)
    assert low == pytest.approx(hide[:, 1].min(), abs=15)
    assert right - left == pytest.approx(np.ptp(hide[:, 0]), abs=15)
    back = found.frame.to_hide(truth().place(np.array([(0.2, 0.0), (0.8, 0.0)]) * right))
    assert np.abs(back[:, 1]).max() < 15
    assert abs(np.degrees(np.arctan2(*np.diff(back, axis=0)[0][::-1])) % 180) < 0.5


def test_marks_are_flaws_by_the_usual_legend_where_they_were_drawn(found: Captured) -> None:
    """Red is a hole through, blue a scar, green a healed scar."""
    assert sorted(flaw.kind for flaw in found.hide.flaws) == ["healed", "hole", "scar"]
    kinds = {"red": "hole", "blue": "scar", "green": "healed"}
    for mark in truth().marks:
        flaw = next(f for f in found.hide.flaws if f.kind == kinds[mark.colour])
        assert alike(on_floor(found, flaw.shape), mark.shape) > 0.6, mark.colour


def test_readings_lie_where_their_stickers_are(found: Captured) -> None:
    """Within 3 mm, each with its own value."""
    assert len(found.hide.readings) == len(STUCK)
    for reading in found.hide.readings:
        number = next(n for n, value in STUCK.items() if value == reading.thickness)
        ((x, y),) = found.frame.to_floor(np.array([(reading.x, reading.y)]))
        assert (x, y) == pytest.approx(truth().stickers[number], abs=3.0)


def test_a_captured_place_is_found_again_on_the_photo(found: Captured) -> None:
    """The whole chain backwards: hide, floor, pixel; by OpenCV's own projection, within 2."""
    points = found.hide.outline.points[::40]
    pixels = truth().to_pixels(found.frame.to_floor(points))
    assert np.abs(found.on_photo(points) - pixels).max() < 2.0


def test_the_record_reads_back_as_it_was_captured(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the command: record and pictures are written, and the record is sound."""
    out = tmp_path / "larch.hide.json"
    code = main(
        [
            *("hide", "capture", str(folder / "side.jpg"), "--out", str(out)),
            *("--readings", str(folder / "gauge.csv"), "--price", "9.50", "EUR", "ft2"),
            *("--stamp", "9.5 dm2", "--ruler", "180"),
        ]
    )
    told = capsys.readouterr().out
    assert code == 0, told
    assert {path.name for path in tmp_path.iterdir()} == {
        "larch.hide.json", "larch.capture.png", "larch.capture.pdf",
    }  # fmt: skip
    hide = record.read(out)
    assert (hide.name, hide.piece, len(hide.flaws), len(hide.readings)) == ("Larch", "side", 3, 6)
    assert hide.price is not None
    assert "against the stamped 9.5 dm²" in told


def test_a_new_photo_keeps_what_was_typed_into_the_record_by_hand(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], found: Captured
) -> None:
    """A flaw that no photo shows, a reading elsewhere, a zone, price, stamp and an own remark stay;
    edge, marks and readings are the photo's, and a flaw under a mark gives way to it.
    """
    out = tmp_path / "larch.hide.json"
    record.write(replace(found.hide, name="Larch II", price=Price(9.5, "EUR", "ft2")), out)
    typed = json.loads(out.read_text(encoding="utf-8"))
    marks = [one for one in typed["features"] if one["properties"]["role"] == "flaw"]
    scar = next(one["properties"] for one in marks if one["properties"]["flaw"] == "scar")
    scar["flaw"] = "sore"
    at = found.hide.polygon.representative_point()
    by_hand = [
        feature("flaw", "Point", [at.x, at.y], flaw="flay", face="flesh", width=4.0),
        feature("reading", "Point", [at.x, at.y + 9], thickness=3.3, gauge="dial"),
        feature("zone", "Polygon", [list(box(at.x, at.y, at.x + 9, at.y + 9).exterior.coords)],
                thickness=[3.0, 3.4]),
        feature("stretch", "LineString", [[at.x, at.y], [at.x + 20, at.y]]),
    ]  # fmt: skip
    typed["features"] += by_hand
    typed["photo"] = "first.jpg"
    typed["supplier_area"] = {"value": 9.5, "unit": "dm2"}
    out.write_text(json.dumps(typed), encoding="utf-8")
    arguments = [str(folder / "side.jpg"), "--readings", str(folder / "gauge.csv")]
    code, words = told([*arguments, "--ruler", "180", "--force"], tmp_path, capsys)
    assert code == 0, words
    after = json.loads(out.read_text(encoding="utf-8"))
    assert [one for one in json.loads(json.dumps(by_hand)) if one not in after["features"]] == []
    for key in ("name", "price", "photo", "supplier_area"):
        assert after[key] == typed[key]
    hide = record.read(out)
    assert sorted(flaw.kind for flaw in hide.flaws) == ["flay", "healed", "hole", "scar"]
    assert len(hide.readings) == len(STUCK) + 1
    assert hide.outline == found.hide.outline
    assert "Kept of it: readings 7, flaws 1, zones 1, stretch lines 1." in words
    assert "Replaced by new flaws that lie on them: " in words
    assert "sore at (" in words
    assert "No price" not in words


# --- what goes wrong -------------------------------------------------------------------------


def told(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str]:
    out = tmp_path / "larch.hide.json"
    code = main(["hide", "capture", *arguments, "--out", str(out)])
    words = capsys.readouterr()
    assert "Traceback" not in words.err
    assert out.exists() == (code == 0)
    return code, words.out + words.err


def blank(path: Path) -> Path:
    """A floor and nothing on it."""
    noise = np.random.default_rng(0).normal(128, 8, (900, 1200, 3)).clip(0, 255).astype(np.uint8)
    cv2.imwrite(str(path), noise)
    return path


def mirrored(path: Path, picture: Scene) -> Path:
    cv2.imwrite(str(path), picture.pixels[:, ::-1])
    return path


@pytest.mark.parametrize(
    ("take", "arguments", "says"),
    [
        (lambda p: blank(p), [], "no scale sheet can be read in the photo"),
        (lambda p: shot(4, sheets=1).save(p), [], "only 1 scale sheet can be read"),
        (lambda p: shot(4, sheets=2).save(p), [], "only 2 scale sheets can be read"),
        (lambda p: shot(4, blur=6.0).save(p), [], "the photo is blurred"),
        (lambda p: shot().save(p), ["--ruler", "120"], "ruler is 120 mm long in place of 180 mm"),
        (lambda p: shot().save(p), ["--ruler", "18"], "that looks like cm"),
        (lambda p: mirrored(p, shot()), [], "the photo is mirrored"),
        (lambda p: shot(5, hides=2).save(p), [], "two hides are in view"),
        (lambda p: p, [], "there is no such file"),
    ],
)  # fmt: skip
def test_a_photo_that_can_not_be_used_is_refused(take, arguments, says, tmp_path, capsys) -> None:
    """One message that names the photo, exit code 2, and no record, not even if asked for."""
    path = take(tmp_path / "side.png")
    code, words = told([str(path), *arguments, "--anyway"], tmp_path, capsys)
    assert code == 2, words
    assert says in words
    assert "side.png" in words or "ruler" in words
    assert words.startswith("croupon: ")
    assert words.count("\n") == 1


def test_photos_that_share_no_sheets_can_not_be_joined(tmp_path, capsys) -> None:
    """Each by itself is good; no sheet is in both."""
    one = shot(5).save(tmp_path / "one.jpg")
    other = shot(8).save(tmp_path / "other.jpg")
    assert {s.number for s in shot(5).sheets}.isdisjoint(s.number for s in shot(8).sheets)
    code, words = told([str(one), str(other)], tmp_path, capsys)
    assert code == 2
    assert "photo 2 shares 0 sheets with the others" in words


def test_two_photos_of_one_side_give_one_record(folder, tmp_path, found) -> None:
    """The same photo, and it with noise of its own: the hide stays what it is."""
    picture = truth().pixels.astype(np.int16)
    picture += np.random.default_rng(2).integers(-4, 5, picture.shape, dtype=np.int16)
    cv2.imwrite(str(tmp_path / "again.png"), picture.clip(0, 255).astype(np.uint8))
    both = capture([folder / "side.jpg", tmp_path / "again.png"], LABEL, Asked(ruler=180.0))
    assert len(both.views) == 2
    assert both.hide.gross_area == pytest.approx(found.hide.gross_area, rel=0.003)
    assert len(both.hide.flaws) == len(found.hide.flaws)
    points = both.hide.outline.points[::50]
    assert np.abs(both.on_photo(points, 1) - both.on_photo(points, 0)).max() < 1.0


def test_a_colour_that_is_not_in_the_legend_keeps_the_record_back(tmp_path, capsys) -> None:
    """It is listed with its place; the pictures show it; --anyway writes the record."""
    path = shot(6, chalk=(Chalk("ring", "pink"), Chalk("ring", "red"))).save(tmp_path / "side.jpg")
    code, words = told([str(path)], tmp_path, capsys)
    assert code == 1
    assert "doubt: Mark ?1" in words
    assert "legend has no pink" in words
    assert (tmp_path / "larch.capture.png").exists()
    code, words = told([str(path), "--anyway", "--force"], tmp_path, capsys)
    assert code == 0
    assert [flaw.kind for flaw in record.read(tmp_path / "larch.hide.json").flaws] == ["hole"]


@pytest.mark.parametrize(
    ("name", "text", "option", "says"),
    [
        ("gauge.csv", "x,y,mm\n20,10,0.13\n60,20,0.14\n", "--readings", "gauge.csv"),  # inches
        ("gauge.csv", "x,y,mm\n200,100,3,4\n", "--readings", "gauge.csv"),  # decimal commas
        ("gauge.csv", "x,y,mm\n200,100,thick\n", "--readings", "gauge.csv, line 2"),
        ("guide.csv", "x,y\n-5,9\n", "--guide", "guide.csv, line 2: (-5, 9) is no pixel"),
        ("guide.csv", "x,y\n500,9\n600,9\n700,80\n", "--guide", "a guide needs"),
        ("guide.csv", "a,b\n5,9\n", "--guide", "guide.csv, line 1: the columns are a, b"),
        ("ours.toml", '[mauve]\nflaw = "scar"\nface = "grain"\n', "--legend", "ours.toml, table"),
        ("ours.toml", "", "--legend", "the legend names no colour"),
    ],
)
def test_a_file_beside_the_photo_that_can_not_be_used_is_named(
    name, text, option, says, folder, tmp_path, capsys
) -> None:
    """With its line or table."""
    (tmp_path / name).write_text(text, encoding="utf-8")
    arguments = [str(folder / "side.jpg"), option, str(tmp_path / name), "--anyway"]
    code, words = told(arguments, tmp_path, capsys)
    assert code == 2, words
    assert says in words


def test_a_reading_off_the_leather_is_left_out_and_doubted(folder, tmp_path) -> None:
    """It may be the reading or the outline that is wrong."""
    (tmp_path / "gauge.csv").write_text("x,y,mm\n300,100,3.4\n300,-60,3.5\n", encoding="utf-8")
    asked = Asked(readings=tmp_path / "gauge.csv", ruler=180.0)
    found = capture([folder / "side.jpg"], LABEL, asked)
    assert [reading.thickness for reading in found.hide.readings] == [3.4]
    (words,) = found.doubts
    assert "The reading 3.5 mm at (300, -60) lies" in words


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--out", "larch.json"], "a hide record is named NAME.hide.json, got 'larch.json'"),
        (["--out", "none/larch.hide.json"], "none: there is no such folder"),
        (["--out", "a.hide.json", "--stamp", "22.3 ft2"], "can mean 22 and 3 quarters"),
        (["--out", "a.hide.json", "--price", "x", "EUR", "ft2"], "'x' is no price"),
        (["--out", "a.hide.json", "--price", "9", "EUR", "yard"], "a price is per ft2, dm2"),
    ],
)
def test_what_is_asked_wrongly_is_said_before_the_work(
    arguments, says, tmp_path, capsys, monkeypatch
) -> None:
    """No photo is read for it."""
    monkeypatch.chdir(tmp_path)
    assert main(["hide", "capture", "none.jpg", *arguments]) == 2
    assert says in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_print_at_another_scale_is_doubted_by_the_stamp(tmp_path, capsys) -> None:
    """All sheets 3 % too large, which no photo shows: the area is 6 % small (1 / 1.03²)."""
    picture = shot(3, printed=1.03, size=3.0)  # to the millimetre of its ruler
    path = picture.save(tmp_path / "side.jpg")
    stamp = ["--stamp", f"{Polygon(picture.outline).area / 1e4:.1f} dm2"]
    code, words = told([str(path), *stamp], tmp_path, capsys)
    assert code == 1
    (ruler,) = re.findall(r"as if the printed rulers were (\d+) mm long in place of 180", words)
    assert float(ruler) == pytest.approx(1.03 * 180, rel=0.004)  # the figure asked for of an area
    code, words = told([str(path), *stamp, "--ruler", "185.4", "--force"], tmp_path, capsys)
    assert code == 0
    assert "only as well as the stamp" not in words


def test_a_print_of_unknown_scale_is_not_believed(tmp_path, capsys) -> None:
    """Printed at 97 %, a hide looks 1 / 0.97² = 6.3 % too large: no record without a word on it."""
    picture = shot(3, printed=0.97, size=3.0)
    path = picture.save(tmp_path / "side.jpg")
    code, words = told([str(path)], tmp_path, capsys)
    assert code == 1
    assert "doubt: Nothing tells the scale" in words
    assert "--ruler" in words
    code, words = told([str(path), "--ruler", "174.6", "--force"], tmp_path, capsys)
    assert code == 0, words
    hide = record.read(tmp_path / "larch.hide.json")
    assert hide.gross_area == pytest.approx(Polygon(picture.outline).area, rel=0.012)


def test_a_stamp_without_a_ruler_is_said_to_tell_the_scale(tmp_path, capsys) -> None:
    path = shot(3, size=3.0).save(tmp_path / "side.jpg")
    stamp = f"{Polygon(shot(3, size=3.0).outline).area / 1e4:.1f} dm2"
    code, words = told([str(path), "--stamp", stamp], tmp_path, capsys)
    assert code == 0, words
    assert "The scale is known only as well as the stamp" in words


def test_json_has_facts_doubts_and_files(folder, tmp_path, capsys) -> None:
    """For scripts."""
    out = tmp_path / "a.hide.json"
    arguments = [str(folder / "side.jpg"), "--ruler", "180", "--out", str(out), "--json"]
    assert main(["hide", "capture", *arguments]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["doubt"] == []
    assert str(out) in told["files"]


def test_an_error_says_the_same_to_a_program(tmp_path) -> None:
    """The library raises what the command prints."""
    with pytest.raises(InputError, match="no scale sheet"):
        capture([blank(tmp_path / "floor.png")], LABEL, Asked())


def test_a_backbone_pointed_out_on_the_photo_is_taken(folder, tmp_path, capsys, found) -> None:
    """In pixels of the photo; the wrong way round, it contradicts the side and is refused."""
    right = found.hide.outline.bounds[2]
    tail, neck = (f"{x:.0f},{y:.0f}" for x, y in found.on_photo([(20.0, 6.0), (right - 20, -5.0)]))
    rest = [str(folder / "side.jpg"), "--ruler", "180", "--backbone"]
    code, words = told([*rest, tail, neck], tmp_path, capsys)
    assert code == 0, words
    made = record.read(tmp_path / "larch.hide.json")
    assert made.outline.points == pytest.approx(found.hide.outline.points, abs=1.0)
    (tmp_path / "larch.hide.json").unlink()
    code, words = told([*rest, neck, tail, "--force"], tmp_path, capsys)
    assert code == 2
    assert "side.jpg, --backbone: from its first place to its second the belly" in words


def test_an_edge_that_may_not_be_the_backbone_keeps_the_record_back() -> None:
    """The two are named in pixels of the photo's file, where the user finds them."""
    picture = shot(3)
    view = locate(Photo(picture.pixels, Path("side.jpg")))
    ends, other = ((0.0, 0.0), (240.0, 0.0)), ((0.0, 180.0), (240.0, 180.0))
    frame = Frame(0.0, 0.0, 0.0, edge=ends, rival=other)
    half = Photo(picture.pixels, Path("side.jpg"), reduced=2)
    (words,) = _frame_doubts(frame, half, view, Asked())
    numbers = np.array(re.findall(r"(-?\d+),(-?\d+)", words), dtype=float)
    seen = picture.to_pixels(np.array([*ends, *other]))
    assert (numbers + 0.5) / 2 - 0.5 == pytest.approx(seen, abs=3.0)
    assert words.count("--backbone") == 2
    assert list(_frame_doubts(frame, half, view, Asked(backbone=ends))) == []


def test_doubtful_marks_are_told_by_rank_and_no_more_than_a_few() -> None:
    """Thirteen sentences on a bare hide bury the one that counts."""
    marks = [Doubt(Polygon([(0, 0), (9, 0), (9, 9)]), "a blot.") for _ in range(TOLD_MARKS + 3)]
    words = _mark_doubts(marks)
    assert len(words) == TOLD_MARKS + 1
    assert words[-1] == "3 smaller marks are doubtful too, ?6 and on."
    assert _mark_doubts(marks[:TOLD_MARKS]) == words[:-1]
