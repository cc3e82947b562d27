"""``croupon cut`` as a user runs it: what is written, what is refused, what is told."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.path import make_path
from pypdf import PdfReader
from shapely import Point, Polygon
from shapely.affinity import translate
from svgelements import SVG
from svgelements import Path as SvgPath

import nest
from hides import record
from hides.hide import Hide
from nest import plans
from nest.checker import check, verdict
from nest.cli import main
from nest.job import Job
from nest.part import Mark
from nest.plans import Plan
from tests import small
from tests.places import ROOT


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Path:
    """A folder with the small plan, checked, and the record of its hide."""
    return laid_on(small.hide(), tmp_path_factory.mktemp("bench"))


def laid_on(hide: Hide, folder: Path, job: Job = small.JOB) -> Path:
    """The folder, with the record of a hide and the small plan on it."""
    record.write(hide, folder / "slate.hide.json")
    hide = record.read(folder / "slate.hide.json")
    plan = Plan.of(job, hide, small.PLACEMENTS, budget="by hand")
    findings = check(plan, hide)
    assert findings == ()
    checked = replace(plan, check=verdict(findings))
    (folder / "week.plan.json").write_text(plans.text_of(checked))
    return folder


def cut(bench: Path, *options: str) -> int:
    return main(["cut", str(bench / "week.plan.json"), *options])


def test_paper_gives_templates_and_a_placing_sheet(bench, tmp_path, capsys) -> None:
    """What is there already stays, and nothing is written, unless --force is given."""
    old = tmp_path / "week.placing.pdf"
    old.write_text("mine")
    assert cut(bench, "--paper", "a4", "--out", str(tmp_path)) == 2
    assert "week.placing.pdf: this is there already" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["week.placing.pdf"]
    assert old.read_text() == "mine"
    assert cut(bench, "--paper", "a4", "--out", str(tmp_path), "--force", "--json") == 0
    told = json.loads(capsys.readouterr().out)  # nothing else on stdout: a script can read it
    assert [Path(name).name for name in told["files"]] == ["week.templates.pdf", old.name]
    assert "checked again on Slate" in told["plan"]
    assert all(path.read_bytes().startswith(b"%PDF") for path in tmp_path.iterdir())


def edited(bench: Path, folder: Path, old: str, new: str) -> Path:
    """The plan's file with a piece of its text replaced, beside its hide."""
    text = (bench / "week.plan.json").read_text()
    assert text.count(old) >= 1
    (folder / "slate.hide.json").write_bytes((bench / "slate.hide.json").read_bytes())
    (folder / "week.plan.json").write_text(text.replace(old, new, 1))
    return folder


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"gap": 2.0', '"gap": 1.0', "was edited after it was checked"),
        ('"angle": 5.0', '"angle": 6.0', "was edited after it was checked"),
        ('"passed": true', '"passed": false', "has not passed the checker"),
        ('"digest": "', '"digester": "', "carries no digest"),
        ('"croupon": {"kind": "plan"', '"croupon": {"kind": "hide"', "week.plan.json"),
        ('"features": [', '"features": (', "not JSON"),
    ],
)
def test_a_plan_that_may_not_be_cut_is_refused(old, new, says, bench, tmp_path, capsys) -> None:
    """One message that names the file, exit code 2, and nothing written."""
    folder = edited(bench, tmp_path, old, new)
    out = tmp_path / "out"
    assert cut(folder, "--paper", "a4", "--out", str(out)) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "week.plan.json" in told
    assert "Traceback" not in told
    assert not out.exists()


def test_a_hide_that_changed_since_is_refused(bench, tmp_path, capsys) -> None:
    """A new scar under a part: the record differs, so its plan is no longer proven."""
    folder = edited(bench, tmp_path, '"seed"', '"seed"')
    scarred = small.hide(flaws=(small.SCAR, small.STAIN, replace(small.SCAR, kind="hole")))
    record.write(scarred, folder / "slate.hide.json")
    assert cut(folder, "--paper", "a4", "--out", str(tmp_path / "out")) == 2
    assert "another state of the record" in capsys.readouterr().err


@pytest.mark.parametrize("cutter", ["paper", "laser", "drag"])
def test_nothing_is_cut_from_a_plan_without_its_hide(cutter, bench, tmp_path, capsys) -> None:
    """Not even on paper: what lies under the parts can't be proven. Naming the record helps."""
    (tmp_path / "week.plan.json").write_bytes((bench / "week.plan.json").read_bytes())
    drag = {"kerf": 0.0, "offset": 1.0, "holes": "none"} if cutter == "drag" else {}
    given = ["--machine", profile(tmp_path, tool=cutter, **drag)]
    options = ["--paper", "a4"] if cutter == "paper" else given
    options += ["--out", str(tmp_path / "out")]
    assert cut(tmp_path, *options) == 2
    told = capsys.readouterr().err
    assert "record of its hide “Slate” is not found (slate.hide.json)" in told
    assert "Name the record with --hide" in told
    assert not (tmp_path / "out").exists()
    assert cut(tmp_path, *options, "--hide", str(bench / "slate.hide.json")) == 0


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """Leather in one folder, and in another the plan of a week on it."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "leather").mkdir()
    birch = (ROOT / "shared/hides/birch.hide.json").read_bytes()
    (folder / "leather/side.hide.json").write_bytes(birch)
    week = str(ROOT / "shared/weeks/week-4.week.toml")
    given = ["--hide", str(folder / "leather/side.hide.json"), "--effort", "0.01"]
    assert main(["plan", week, *given, "--out", str(folder / "plans")]) == 0
    return folder


@pytest.mark.parametrize("copied", [False, True])
def test_a_hide_that_changed_in_another_folder_is_noticed(
    copied, shop, tmp_path, capsys, monkeypatch
) -> None:
    """From any working folder, after all was moved, and past an old copy beside the plan."""
    moved = tmp_path / "moved"
    shutil.copytree(shop, moved)
    monkeypatch.chdir(tmp_path)
    options = [str(moved / "plans/week-4.plan.json"), "--paper", "a4", "--out", "out"]
    assert main(["cut", *options]) == 0
    assert "checked again on Birch" in capsys.readouterr().out
    record_ = moved / "leather/side.hide.json"
    if copied:
        shutil.copy(record_, moved / "plans")
    content = json.loads(record_.read_text())
    content["price"]["amount"] += 1.0
    record_.write_text(json.dumps(content))
    assert main(["cut", *options, "--force"]) == 2
    told = capsys.readouterr().err
    assert "another state of the record" in told
    assert "--hide" in told


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "Give a plan, and --machine NAME or --paper a4"),
        (["--paper", "a4", "--hide", "none.hide.json"], "none.hide.json: there is no such file"),
        (["--machine", "hand", "--format", "svg"], "a hand cuts from paper"),
        (["--machine", "hand", "--marked", "1", "1,1", "2,2"], "a hand cuts from paper"),
        (["--measured", "1", "2", "--paper", "a4"], "sizes are measured on a coupon"),
        (["--coupon", "kerf", "--machine", "laser-600"], "a coupon is cut alone"),
    ],
)
def test_options_that_say_too_little_are_told(options, says, bench, tmp_path, capsys) -> None:
    assert cut(bench, *options, "--out", str(tmp_path / "out")) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


# --- for a machine ---------------------------------------------------------------------------


def profile(folder: Path, **changes: object) -> str:
    """The file of a laser of 600 × 400 mm with some values of its own."""
    formats = ["dxf-r2000", "svg", "dxf-r12", "hpgl", "gcode"]
    values = {"tool": "laser", "bed": [600.0, 400.0], "kerf": 0.2, "formats": formats}
    lines = [f"{key} = {json.dumps(value)}" for key, value in (values | changes).items()]
    path = folder / "ours.machine.toml"
    path.write_text("\n".join(lines))
    return str(path)


def test_a_machine_gets_a_file_for_each_set_up_and_a_sheet(bench, tmp_path, capsys) -> None:
    """A bed on which the small plan must be laid down twice."""
    out = tmp_path / "out"
    machine = profile(tmp_path, bed=[330.0, 300.0])
    assert cut(bench, "--machine", machine, "--format", "dxf-r2000", "svg", "--out", str(out)) == 0
    assert {path.name for path in out.iterdir()} == {
        *(f"week.ours.{n}{suffix}" for n in (1, 2) for suffix in (".dxf", ".svg")),
        "week.ours.setups.pdf",
    }
    told = capsys.readouterr().out
    assert "set-up 2 of 2" in told
    assert re.search(r"set-up 2 of 2 .* travel \d+\.\d\d m, about", told)
    assert "Never leave a running laser alone" in told
    sheet = PdfReader(out / "week.ours.setups.pdf")
    assert len(sheet.pages) == 2
    assert "Never leave a running laser alone" in sheet.pages[0].extract_text()


def outlines_of_dxf(path: Path) -> list[Polygon]:
    """Closed lines of the layer that is cut, read by ezdxf, arcs as chords."""
    lines = ezdxf.readfile(path).modelspace().query("LWPOLYLINE[layer=='CUT']")
    return [Polygon([tuple(p)[:2] for p in make_path(line).flattening(0.001)]) for line in lines]


def outlines_of_svg(path: Path) -> list[Polygon]:
    """Red paths, read by svgelements at 25.4 px to the inch, y turned up; all sides straight."""
    shapes = SVG.parse(path, ppi=25.4).elements(lambda e: isinstance(e, SvgPath))
    red = [shape for shape in shapes if shape.stroke is not None and shape.stroke.red == 255]
    return [Polygon([(side.end.x, -side.end.y) for side in shape]) for shape in red]


def cornered(shapes: list[Polygon]) -> list[Polygon]:
    """Shapes moved together so that their common box begins at (0, 0), in order of place."""
    x, y = np.min([shape.bounds[:2] for shape in shapes], axis=0)
    moved = (translate(shape, -x, -y) for shape in shapes)
    return sorted(moved, key=lambda shape: tuple(round(v) for v in shape.centroid.coords[0]))


@pytest.mark.parametrize(
    ("form", "suffix", "read"),
    [("dxf-r2000", ".dxf", outlines_of_dxf), ("svg", ".svg", outlines_of_svg)],
)
def test_a_cut_piece_measures_what_the_pattern_says(form, suffix, read, bench, tmp_path) -> None:
    """The file read by a library, half a kerf taken off all round: the parts, to 0.05 mm.

    What stays is compared with the plan's own outlines, all in their places.
    """
    machine = profile(tmp_path, kerf=0.4)
    assert cut(bench, "--machine", machine, "--format", form, "--out", str(tmp_path)) == 0
    paths = read(tmp_path / f"week.ours.1{suffix}")
    plan = plans.read(bench / "week.plan.json")
    wanted = [plans.placed_outline(plan, placement).polygon for placement in plan.placements]
    pieces = [path.buffer(-0.2, join_style="mitre") for path in paths]
    assert len(pieces) == len(wanted)
    for piece, part in zip(cornered(pieces), cornered(wanted), strict=True):
        assert piece.area == pytest.approx(part.area, rel=1e-4)
        assert piece.hausdorff_distance(part) < 0.05
    drawn = zip(cornered(paths), cornered(wanted), strict=True)
    assert all(path.area > part.area + 0.15 * part.length for path, part in drawn)  # kerf matters


def test_marks_that_came_to_lie_otherwise_move_the_file(bench, tmp_path) -> None:
    """The hide lies 10 mm farther along x than drawn: so does all that is cut."""
    machine = profile(tmp_path)
    first, again = tmp_path / "first", tmp_path / "again"
    assert cut(bench, "--machine", machine, "--out", str(first)) == 0
    plan, hide = nest.read_plan(bench / "week.plan.json")
    (setup,) = nest.cut(plan, hide, nest.read_machine(machine)).setups
    shift = np.array([10.0, 0.0])
    places = shift + setup.to_bed.on([(mark.x, mark.y) for mark in setup.marks])
    marked = ["--marked", "1", *(f"{x:.3f},{y:.3f}" for x, y in places)]
    assert cut(bench, "--machine", machine, *marked, "--out", str(again)) == 0
    before, after = (outlines_of_dxf(f / "week.ours.1.dxf") for f in (first, again))
    wide = [min(p.bounds[0] for p in pieces) for pieces in (before, after)]
    assert wide[1] - wide[0] == pytest.approx(10.0, abs=0.01)


def test_how_well_the_marks_fit_is_told_and_badly_is_minded(bench, tmp_path, capsys) -> None:
    """In the terminal, in the JSON and on the sheet."""
    machine = profile(tmp_path)
    plan, hide = nest.read_plan(bench / "week.plan.json")
    (setup,) = nest.cut(plan, hide, nest.read_machine(machine)).setups
    places = setup.to_bed.on([(mark.x, mark.y) for mark in setup.marks])
    for shift, minded in ((0.2, False), (2.0, True)):
        found = places + np.array([[shift, 0.0], [0.0, 0.0], [0.0, 0.0]])
        marked = ["--marked", "1", *(f"{x:.3f},{y:.3f}" for x, y in found)]
        out = ["--out", str(tmp_path), "--force"]
        assert cut(bench, "--machine", machine, *marked, *out, "--json") == 0
        told = json.loads(capsys.readouterr().out)
        fits = re.search(r"fit within (\d\.\d\d) mm \(M1 ", told["marks of set-up 1"])
        assert fits is not None
        assert (float(fits[1]) > 0.5) == minded
        assert any("Read them again" in words for words in told["mind"]) == minded
        sheet = PdfReader(tmp_path / "week.ours.setups.pdf").pages[0].extract_text()
        assert fits[0] in " ".join(sheet.split())
        assert ("Read them again" in " ".join(sheet.split())) == minded
        assert cut(bench, "--machine", machine, *marked, *out) == 0
        assert f"{fits[0]}" in capsys.readouterr().out


@pytest.mark.parametrize("origin", ["lower left", "upper right", "centre"])
def test_what_the_sheet_says_of_the_marks_can_be_typed_in(origin, bench, tmp_path) -> None:
    """Read off the printed table, as the machine counts, they give the same cuts again.

    Along and across are those of the hide: what a tape measures.
    """
    machine = profile(tmp_path, origin=origin)
    first, again = tmp_path / "first", tmp_path / "again"
    assert cut(bench, "--machine", machine, "--out", str(first)) == 0
    sheet = PdfReader(first / "week.ours.setups.pdf").pages[0].extract_text()
    number = r"\s+(-?\d+\.\d)"
    rows = re.findall(r"(M[123])" + 4 * number, sheet)
    assert [row[0] for row in rows] == ["M1", "M2", "M3"]
    assert "--marked 1 X,Y X,Y X,Y, of M1, M2, M3 in this order" in " ".join(sheet.split())
    places = [f"{x},{y}" for _, _, _, x, y in rows]
    assert cut(bench, "--machine", machine, "--marked", "1", *places, "--out", str(again)) == 0
    before, after = (outlines_of_dxf(folder / "week.ours.1.dxf") for folder in (first, again))
    assert len(before) == len(after) == 5
    for one in before:  # the table has tenths of a millimetre
        assert min(one.hausdorff_distance(other) for other in after) < 0.2
    leather = record.read(bench / "slate.hide.json").polygon
    assert all(leather.contains(Point(float(x), float(y))) for _, x, y, _, _ in rows)


@pytest.mark.parametrize(
    ("changes", "options", "says"),
    [
        ({}, ["--machine", "laser-of-dreams"], "there is no machine 'laser-of-dreams'"),
        ({"hole": 0.3, "kerf": 0.4}, [], "no wider than the kerf of 0.4 mm"),
        ({"bed": [120.0, 110.0]}, [], "A1 (hunter-1/body) takes"),  # 150 mm long
        ({"most_thickness": 1.0}, [], "under A1 the leather"),
        ({"bed": "large"}, [], "ours.machine.toml, key 'bed'"),
        ({}, ["--marked", "7", "1,1", "2,2"], "there is no set-up 7"),
        ({}, ["--marked", "1", "1,1"], "set-up 1 has 3 marks; places given: 1."),
        ({}, ["--marked", "1", "1,1", "1,2", "2,2"], "mm apart"),
        ({}, ["--marked", "one"], "can't be read"),
        ({"largest_file": 10}, [], "takes 10"),
    ],
)  # fmt: skip
def test_what_a_machine_can_not_do_is_told(changes, options, says, bench, tmp_path, capsys) -> None:
    """Exit code 2, one message, no traceback, and no file of any kind left behind."""
    out = tmp_path / "out"
    given = options if "--machine" in options else ["--machine", profile(tmp_path, **changes)]
    more = [] if "--machine" in options else options
    assert cut(bench, *given, *more, "--out", str(out)) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "Traceback" not in told
    assert not out.exists() or not list(out.iterdir())


def test_a_file_that_is_there_stops_the_whole_run(bench, tmp_path, capsys) -> None:
    machine = profile(tmp_path)
    out = tmp_path / "out"
    out.mkdir()
    (out / "week.ours.setups.pdf").write_text("mine")
    assert cut(bench, "--machine", machine, "--out", str(out)) == 2
    assert "there already" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["week.ours.setups.pdf"]


@pytest.mark.parametrize(
    ("tannage", "says"),
    [
        ("chrome", "disputed"),  # the reason is said plainly
        ("pvc coated", "poisonous"),
        ("", "plainly vegetable-tanned"),
    ],
)
def test_a_laser_takes_vegetable_tanned_leather_only(tannage, says, tmp_path, capsys) -> None:
    folder = laid_on(small.hide(tannage=tannage), tmp_path)
    out = str(tmp_path / "out")
    assert cut(folder, "--machine", profile(tmp_path), "--out", out) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize("line", ["G20", "G91", "M3 S100"])  # inches; steps; beam on
def test_a_file_that_does_not_read_back_right_is_not_left(line, bench, tmp_path, capsys) -> None:
    """The profile's own line spoils its G-code; the drawing written before it is not left either.

    The message says where to look, since such lines are the user's.
    """
    machine, out = profile(tmp_path, start=[line]), tmp_path / "out"
    forms = ["--format", "dxf-r2000", "gcode"]
    assert cut(bench, "--machine", machine, *forms, "--out", str(out)) == 2
    told = capsys.readouterr().err
    assert "week.ours.1.nc: this file did not read back right and was not written" in told
    assert "the lines that the profile ours puts at start and finish" in told
    assert not out.exists()


def test_a_curve_that_the_blade_can_not_turn_is_told(tmp_path, capsys) -> None:
    """A drain hole of 3 mm in a loop, and a blade of 2 mm: profile, part and place are named."""
    turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = 1.5 * np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    loop = replace(small.LOOP, marks=(Mark("drain", rim, closed=True),))
    hunter, skinner = small.JOB.kits
    parts = (skinner.parts[0], replace(skinner.parts[1], part=loop))
    job = replace(small.JOB, kits=(hunter, replace(skinner, parts=parts)))
    folder = laid_on(small.hide(), tmp_path, job)
    machine = profile(tmp_path, tool="drag", kerf=0.0, offset=2.0, hole=4.5)
    assert cut(folder, "--machine", machine, "--out", str(tmp_path / "out")) == 2
    told = capsys.readouterr().err
    assert "part 'skinner-1/loop', drain: the curve at (" in told
    assert "on the bed has a radius of 1.5 mm, and the blade of ours turns in 2 mm" in told
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists()


def test_cautions_of_a_format_without_comments_are_shown(bench, tmp_path, capsys) -> None:
    """HPGL holds none, so they are printed, are in the JSON, and stand on the set-up sheet."""
    machine, out = profile(tmp_path, tool="drag", kerf=0.0, offset=1.0, holes="none"), tmp_path
    options = ["--machine", machine, "--format", "hpgl", "--out", str(out)]
    assert cut(bench, *options) == 0
    sentence = "Keep hands out of the bed while the machine runs"
    assert f"mind: {sentence}" in capsys.readouterr().out
    assert sentence in PdfReader(out / "week.ours.setups.pdf").pages[0].extract_text()
    number = nest.read_plan(bench / "week.plan.json")[0]
    (file,) = out.glob("week.ours.1.*.plt")
    assert file.name == f"week.ours.1.{plans.number_of(number)}.plt"
    assert sentence.encode() not in file.read_bytes()
    assert cut(bench, *options, "--force", "--json") == 0
    assert any(sentence in words for words in json.loads(capsys.readouterr().out)["mind"])


def test_outlines_alone_are_cut_and_their_travel_is_told(bench, tmp_path, capsys) -> None:
    machine = profile(tmp_path, tool="drag", kerf=0.0, offset=1.0, holes="none")
    assert cut(bench, "--machine", machine, "--out", str(tmp_path)) == 0
    told = capsys.readouterr().out
    found = re.search(r"travel (\d+\.\d\d) m, about", told)
    assert found is not None
    sheet = PdfReader(tmp_path / "week.ours.setups.pdf").pages[0].extract_text()
    assert f"{found[1]} m" in sheet
    assert "Layer LABELS holds the parts' names and is not cut: switch it off." in told
    assert "switch it off" in sheet


def test_coupons_are_cut_and_reckoned(tmp_path, capsys) -> None:
    """Ten strips in a window of 100.4 mm that push together to 96.0: 4.4 mm over 11 cuts."""
    machine = profile(tmp_path)
    out = tmp_path / "out"
    arguments = ["cut", "--coupon", "kerf", "--machine", machine, "--out", str(out)]
    assert main(arguments) == 0
    assert {path.name for path in out.iterdir()} == {
        "kerf-coupon.ours.1.dxf",
        "test-mark.ours.1.dxf",
    }
    capsys.readouterr()
    assert main(["cut", "--coupon", "kerf", "--measured", "100.4", "96.0", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["kerf"] == "0.400 mm"
    assert main(["cut", "--coupon", "offset", "--measured", "2.0", "2.1", "1.9", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["offset"] == "1.000 mm"
    assert main(["cut", "--coupon", "kerf"]) == 2


@pytest.mark.parametrize(
    ("kind", "sizes", "says"),
    [
        ("kerf", ["97.8"], "takes two sizes"),
        ("kerf", ["97.8", "102.2"], "leaves no kerf"),
        ("kerf", ["200", "10"], "kerf must be 0 to 3 mm, got 17.2727"),
        ("kerf", ["104.2", "97.6"], "a coupon of 103.6 mm, which is drawn 100 mm long"),
        ("kerf", ["50.2", "48"], "a coupon of 50.0 mm"),
        ("offset", ["40"], "offset must be 0 to 6 mm, got 20"),
        ("offset", ["2.0", "2.1", "3.9"], "alike within 0.5 mm, got 2, 2.1, 3.9"),
        ("offset", ["2.0", "2.0", "2.0", "2.0"], "of its three pairs"),
    ],
)
def test_sizes_that_no_coupon_can_have_are_refused(kind, sizes, says, capsys) -> None:
    assert main(["cut", "--coupon", kind, "--measured", *sizes]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("kind", "changes"),
    [
        ("offset", {}),
        ("kerf", {"tool": "drag", "kerf": 0.0, "offset": 1.0, "holes": "none"}),
        ("kerf", {"tool": "oscillating", "kerf": 0.0}),
        ("kerf", {"tool": "hand"}),
    ],
)
def test_a_coupon_of_what_a_tool_has_not_is_refused(kind, changes, tmp_path, capsys) -> None:
    machine, out = profile(tmp_path, **changes), tmp_path / "out"
    assert main(["cut", "--coupon", kind, "--machine", machine, "--out", str(out)]) == 2
    assert f"has no {kind} to measure" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize(
    ("takes", "options", "says"),
    [
        (["svg"], ["--format", "gcode"], "ours takes svg, and gcode was asked for"),
        (["pdf"], [], "ours takes pdf, and none of these is written"),
    ],
)
def test_a_format_that_the_machine_does_not_take_is_refused(
    takes, options, says, bench, tmp_path, capsys
) -> None:
    machine, out = profile(tmp_path, formats=takes), tmp_path / "out"
    assert cut(bench, "--machine", machine, *options, "--out", str(out)) == 2
    assert says in capsys.readouterr().err
    assert not out.exists()


def test_no_library_talks_to_the_user(bench, tmp_path) -> None:
    """In a process of its own, since a test runner catches what libraries log."""
    machine = profile(tmp_path)
    command = [sys.executable, "-m", "nest", "cut", str(bench / "week.plan.json")]
    options = ["--machine", machine, "--out", str(tmp_path), "--format", "dxf-r12", "svg"]
    done = subprocess.run([*command, *options], cwd=ROOT, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
