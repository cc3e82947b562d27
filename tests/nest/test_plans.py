"""The plan and its file: written the same way each time, read strictly."""

import json
from dataclasses import replace

import numpy as np
import pytest
from shapely import Point, Polygon, box

from hides.files import write_whole
from nest.checker import Code, check
from nest.errors import PlanError
from nest.plans import (
    Placement,
    Plan,
    Remnant,
    Verdict,
    digest_of,
    keep_direction,
    placed_outline,
    read,
    read_checked,
    text_of,
)
from tests.small import BODY, JOB, LOOP, PLACEMENTS, hide, outline, plan


def full():
    """A plan with everything that can stand in one."""
    with_hole = Polygon(box(500, 0, 1000, 600).exterior, [box(800, 100, 850, 150).exterior])
    return replace(
        plan(),
        figures={"net_area": 37404.0, "yield_on_used": 0.1234567890123},
        remnants=(Remnant(with_hole, (700.0, 300.0, 171.25)),),
        check=Verdict(True, 0, 0.01, 1),
        placements=plan().placements[1:],
        cut=plan().placements[:1],
        remarks=("A1 was cut from thinner leather.",),
    )


def saved(of, folder):
    path = folder / "week.plan.json"
    path.write_text(text_of(of))
    return path


def spoiled(folder, change):
    """The file of the full plan with one thing changed in its JSON."""
    path = saved(full(), folder)
    content = json.loads(path.read_text())
    change(content)
    path.write_text(json.dumps(content))
    return path


# --- placements --------------------------------------------------------------------------


def test_a_part_is_turned_about_its_origin_then_moved():
    """A quarter turn takes (50, 15), the loop's corner, to (-15, 50), then by (330, 300)."""
    of = plan(skinner_1_loop=Placement("skinner-1/loop", 90.0, 330.0, 300.0))
    placed = placed_outline(of, of.placements[4]).points
    assert np.abs(placed - [315.0, 350.0]).sum(axis=1).min() < 1e-9
    assert placed_outline(of, of.placements[4]).bounds == pytest.approx((315, 250, 345, 350))


def test_a_placement_without_definition_is_refused():
    with pytest.raises(PlanError, match="'bag-1/strap', which it does not define"):
        placed_outline(plan(), Placement("bag-1/strap", 0.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("angle", "kept"),
    [
        (12.3456789, 12.345679),  # six digits
        (-90.0, 270.0),  # once round
        (359.99999999, 0.0),  # never 360
        (-1e-9, 0.0),  # nor minus zero
    ],
)
def test_angles_are_kept_as_the_file_holds_them(angle, kept):
    placed = Placement("x", angle, -1e-9, 1.23456789).rounded()
    assert (placed.angle, placed.x, placed.y) == (kept, 0.0, 1.234568)
    assert str(placed.x) == "0.0"


# --- the end that is kept ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("keep", "kept", "given"),
    [
        ("tail", (0, 300), (2000, 300)),  # the tail end lies at x = 0
        ("neck", (2000, 300), (0, 300)),
        ("belly", (900, 800), (900, 0)),  # y grows from the backbone to the belly
        ("butt", (0, 0), (2000, 0)),  # tail end at the backbone, before the neck
        ("butt", (0, 0), (0, 800)),  # and before the flank
    ],
)
def test_the_kept_end_lies_farther_along_the_keep_direction(keep, kept, given):
    u = np.array(keep_direction(keep))
    assert np.hypot(*u) == pytest.approx(1.0)
    assert u @ kept > u @ given


# --- round trip --------------------------------------------------------------------------


def test_a_plan_comes_back_as_it_was(tmp_path):
    of = full()
    back = read(saved(of, tmp_path))
    for name in ("name", "hide_name", "hide_sha256", "hide_file", "placements", "gap", "keep",
                 "edge_margin", "seed", "budget", "left_out", "check", "remnants"):  # fmt: skip
        assert getattr(back, name) == getattr(of, name), name
    assert back.figures == {"net_area": 37404.0, "yield_on_used": 0.123457}
    assert [(w.id, w.kit, w.need) for w in back.wanted] == [
        (w.id, w.kit, w.need) for w in of.wanted
    ]
    for mine, theirs in zip(of.wanted, back.wanted, strict=True):
        assert (mine.part.kind, mine.part.axis, mine.part.window) == (
            theirs.part.kind, theirs.part.axis, theirs.part.window)  # fmt: skip
        np.testing.assert_allclose(mine.part.outline.points, theirs.part.outline.points, atol=6e-7)
        assert [r.face for r in mine.part.regions] == [r.face for r in theirs.part.regions]
        for one, other in zip(mine.part.marks, theirs.part.marks, strict=True):
            assert (one.kind, one.closed, one.text) == (other.kind, other.closed, other.text)
            np.testing.assert_allclose(one.points, other.points, atol=6e-7)


def test_what_the_file_draws_is_where_the_parts_lie(tmp_path):
    of = plan()
    back = read(saved(of, tmp_path))
    for placement, drawn in zip(of.placements, back.drawn, strict=True):
        np.testing.assert_allclose(drawn.points, placed_outline(of, placement).points, atol=6e-7)


def test_writing_what_was_read_gives_the_same_bytes(tmp_path):
    path = saved(full(), tmp_path)
    first = path.read_bytes()
    path.write_text(text_of(read(path)))
    assert path.read_bytes() == first


def test_the_same_plan_gives_the_same_bytes():
    assert text_of(full()) == text_of(full())


def test_a_checked_plan_passes_from_its_file_too(tmp_path):
    """The checker needs the plan file and the hide, nothing else."""
    assert check(read(saved(full(), tmp_path)), hide()) == ()


def test_a_fault_put_into_the_file_is_found(tmp_path):
    """Somebody drags a part in the file: the polygon moves, angle and origin don't."""

    def drag(content):
        for ring in content["features"][0]["geometry"]["coordinates"]:
            for point in ring:
                point[0] += 3.0

    found = check(read(spoiled(tmp_path, drag)), hide())
    assert [(f.code, f.part) for f in found] == [(Code.MOVED, "hunter-1/welt")]
    assert found[0].by == pytest.approx(3.0, abs=1e-5)


def test_equal_parts_share_one_definition():
    """Both bodies are alike; the loops differ in their axis."""
    content = json.loads(text_of(plan()))
    assert [d["name"] for d in content["parts"]] == ["body-1", "welt-1", "loop-1", "loop-2"]
    assert [w["part"] for w in content["wanted"]] == [
        "body-1", "welt-1", "loop-1", "body-1", "loop-2"]  # fmt: skip


def test_the_file_is_geojson():
    """RFC 7946: closed rings (3.1.6), outer ones counter-clockwise; marks by their geometry."""
    content = json.loads(text_of(full()))
    assert content["type"] == "FeatureCollection"
    types = {"part": set(), "cut": set(), "mark": set(), "remnant": set()}
    for feature in content["features"]:
        geometry, properties = feature["geometry"], feature["properties"]
        types[properties["role"]].add(geometry["type"])
        if geometry["type"] == "Polygon":
            outer = geometry["coordinates"][0]
            assert outer[0] == outer[-1]
            assert Polygon(outer).exterior.is_ccw
    assert types == {
        "part": {"Polygon"},
        "cut": {"Polygon"},
        "mark": {"LineString", "MultiPoint", "Point"},
        "remnant": {"Polygon"},
    }


def test_marks_are_written_where_the_placed_part_has_them():
    """The fold line of the first body, from (-60, 0) to (60, 0), turned by 5° about (150, 100)."""
    content = json.loads(text_of(plan()))
    fold = next(f for f in content["features"] if f["properties"].get("mark") == "fold")
    (x0, y0), (x1, y1) = fold["geometry"]["coordinates"]
    assert np.degrees(np.arctan2(y1 - y0, x1 - x0)) == pytest.approx(5.0)
    assert Point((x0 + x1) / 2, (y0 + y1) / 2).distance(Point(150, 100)) < 1e-6
    assert fold["properties"]["part"] == "hunter-1/body"


def test_what_json_has_no_word_for_is_refused():
    """RFC 8259, section 6: no NaN."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        text_of(replace(plan(), figures={"net_area": float("nan")}))


# --- bad files ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda c: c.pop("rules"), "'rules' is missing"),
        (lambda c: c["rules"].pop("gap"), "rules: 'gap' is missing"),
        (lambda c: c["rules"].update(gap=-1.0), "rules.gap: must be a number from 0"),
        (lambda c: c["rules"].update(tolerance=0.5), "rules.tolerance: must be 0.01 mm"),
        (lambda c: c["rules"].update(keep="head"), "rules.keep: must be one of butt"),
        (lambda c: c.update(seed=1.5), "seed: must be a whole number"),
        (lambda c: c.update(seed=True), "seed: must be a whole number"),
        (lambda c: c.update(type="Feature"), "no GeoJSON FeatureCollection"),
        (lambda c: c["croupon"].update(kind="hide"), "croupon.kind: must be \"plan\""),
        (lambda c: c["croupon"].update(version=1), "croupon.version: must be 2"),
        (lambda c: c["wanted"][0].update(part="bag-1"), "name of a definition"),
        (lambda c: c["wanted"][0].update(id="hunter-1/loop"), "share one id"),
        (lambda c: c["parts"][0].update(kind="strap"), r"parts\[0\].kind: must be one of body"),
        (lambda c: c["parts"][0].update(window=91), r"parts\[0\].window: must be a number from 0"),
        (lambda c: c["parts"][0]["need"].update(low=9.0), r"parts\[0\].need: leather thickness"),
        (lambda c: c["parts"][0]["need"].update(may_split=1), "must be true or false"),
        (lambda c: c["parts"][0]["regions"][0].update(face="side"), "face: must be one of front"),
        (lambda c: c["features"][0]["properties"].update(role="leg"), "'leg' is no known role"),
        (lambda c: c["features"][0]["geometry"].update(type="Point"), "a part can't be a Point"),
        (lambda c: c["features"][0]["properties"].update(origin=[1]), "origin: must be 2 numbers"),
        (lambda c: c["features"][0]["properties"].update(angle="5"), "angle: must be a number"),
        (lambda c: c["features"][0]["geometry"]["coordinates"][0].pop(), "the ring is open"),
        (lambda c: c["features"][-1]["properties"].pop("circle"), "'circle' is missing"),
        (lambda c: c.update(figures=[1]), "figures: must be an object"),
    ],
)  # fmt: skip
def test_a_spoiled_file_is_one_error_with_file_and_place(tmp_path, change, says):
    path = spoiled(tmp_path, change)
    with pytest.raises(PlanError, match=says) as caught:
        read(path)
    assert str(caught.value).startswith(str(path))


def test_a_drawn_part_that_crosses_itself_is_refused(tmp_path):
    def cross(content):
        ring = content["features"][0]["geometry"]["coordinates"][0]
        ring[1], ring[2] = ring[2], ring[1]

    with pytest.raises(PlanError, match=r"features\[0\] \(part\).*crosses or touches itself"):
        read(spoiled(tmp_path, cross))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "not JSON"),
        ("{\"type\": ", "line 1: this is not JSON"),
        ("[1, 2]", "no GeoJSON FeatureCollection"),
        ("{\"type\": NaN}", "no GeoJSON FeatureCollection"),
        ("[" * 100_000, "nested too deeply"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_plan_is_refused(tmp_path, content, says):
    path = tmp_path / "week.plan.json"
    path.write_text(content)
    with pytest.raises(PlanError, match=says):
        read(path)


def test_a_plan_cut_short_is_refused(tmp_path):
    path = saved(full(), tmp_path)
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(PlanError, match="not JSON"):
        read(path)


def test_a_hide_record_is_no_plan(tmp_path):
    path = tmp_path / "birch.hide.json"
    about = {"type": "FeatureCollection", "croupon": {"kind": "hide", "version": 1}}
    write_whole(path, json.dumps(about))
    with pytest.raises(PlanError, match='must be "plan", got "hide"'):
        read(path)


def test_no_such_file(tmp_path):
    with pytest.raises(PlanError, match=r"away\.plan\.json: there is no such file"):
        read(tmp_path / "away.plan.json")


# --- the plan itself ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"keep": "head"}, "keep must be one of"),
        ({"gap": -0.1}, "gap must be >= 0 mm, got -0.1"),
        ({"gap": float("nan")}, "gap must be >= 0 mm, got nan"),
        ({"edge_margin": float("inf")}, "edge_margin must be >= 0 mm"),
        ({"placements": (Placement("a", 0.0, float("nan"), 0.0),)}, "'a' lies at angle 0.0"),
        ({"wanted": (*plan().wanted, plan().wanted[0])}, "share one id"),
        ({"drawn": (outline(LOOP.outline.points),)}, "1 parts drawn, 5 placed"),
    ],
)
def test_a_plan_refuses_what_makes_no_sense(change, says):
    with pytest.raises(PlanError, match=says):
        replace(plan(), **change)


def test_a_plan_of_a_job_takes_its_rules():
    of = Plan.of(JOB, hide(), PLACEMENTS, left_out=["skinner-1"], budget="20 s")
    assert (of.gap, of.edge_margin, of.keep, of.seed) == (2.0, 5.0, "neck", 1)
    assert (of.hide_name, of.hide_sha256, of.budget) == ("Slate", "5ca1ab1e", "20 s")
    assert [w.id for w in of.expected] == ["hunter-1/body", "hunter-1/welt", "hunter-1/loop"]
    assert of.by_id["skinner-1/body"].part is BODY


# --- the digest --------------------------------------------------------------------------


def _corner(content):
    """The second corner of the first part, as the file draws it."""
    return content["features"][0]["geometry"]["coordinates"][0][1]


def test_a_plan_as_it_was_written_is_cut_from(tmp_path):
    """So is one whose text was laid out anew: what counts is what it says."""
    path = saved(full(), tmp_path)
    assert text_of(read_checked(path)) == text_of(full())
    path.write_text(json.dumps(json.loads(path.read_text()), indent=3))
    assert text_of(read_checked(path)) == text_of(full())


@pytest.mark.parametrize(
    "change",
    [
        lambda content: content["rules"].update(gap=1.0),  # another rule
        lambda content: content["features"][0]["properties"].update(angle=6.0),  # a part turned
        lambda content: _corner(content).__setitem__(0, _corner(content)[0] + 0.1),
        lambda content: content["features"].pop(),  # a remnant taken out
        lambda content: content.update(budget="20 s"),  # even what no rule asks for
        lambda content: content["features"][1]["properties"].update(text="x"),  # a mark's words
        lambda content: content.update(digest="0" * 64),
        lambda content: content["hide"].update(sha256="0" * 64),
    ],
)
def test_a_plan_edited_after_its_check_is_refused(change, tmp_path):
    path = spoiled(tmp_path, change)
    with pytest.raises(PlanError, match="edited after it was checked") as told:
        read_checked(path)
    assert told.value.file == path


def test_a_record_that_was_moved_may_be_told_by_hand(tmp_path):
    """The path proves nothing, the record's own digest does: it is no edit, nor another plan."""
    path = spoiled(tmp_path, lambda content: content["hide"].update(file="../slate.hide.json"))
    assert read_checked(path).hide_file == "../slate.hide.json"
    assert digest_of(read_checked(path)) == digest_of(full())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda content: content.pop("digest"), "carries no digest"),
        (lambda content: content.update(check=None), "has not passed the checker"),
        (lambda content: content["check"].update(passed=False), "has not passed the checker"),
    ],
)
def test_a_plan_without_proof_is_not_cut_from(change, says, tmp_path):
    with pytest.raises(PlanError, match=says):
        read_checked(spoiled(tmp_path, change))
