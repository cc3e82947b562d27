"""Bad input of every sort: one message with file, place and remedy, and nothing written.

Each row holds the files of a folder, a command run in it, and what its one line on stderr has
to say. Exit code 2 where the input can't be used, 1 where it is sound and no plan exists.
"""

from __future__ import annotations

import copy
import io
import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from hides import record as records
from nest import plans
from nest.checker import check
from nest.cli import main
from tests.places import ROOT
from tests.small_hides import record

SAMPLES = ROOT / "shared"
BIRCH = str(SAMPLES / "hides/birch.hide.json")

# A knife of 220 mm: handle to x = 110, edge down (y up), its back straight.
PLAIN = [[0, 4], [110, 4], [110, 2], [180, 2], [213, 17], [220, 27], [190, 30], [0, 30]]
BOW_TIE = [[0, 0], [200, 20], [200, 0], [0, 20]]
SYMMETRIC = [[0, -9], [100, -9], [100, -14], [190, -10], [220, 0], [190, 10], [100, 14], [100, 9],
             [0, 9]]  # fmt: skip
LUGS = [[0, -9], [97, -9], [97, -26], [103, -26], [103, -12], [190, -10], [220, 6], [190, 12],
        [103, 12], [103, 26], [97, 26], [97, 9], [0, 9]]  # fmt: skip
PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"

Files = dict[str, "str | bytes | int"]  # by name: text, bytes, or the size of a sparse file


def knife(*left_out: str, raw: str = "", **changes: Any) -> str:
    """A sound knife file but for what is changed or left out; ``raw`` is put before it."""
    about: dict[str, Any] = {
        "points": PLAIN,
        "length": 220,
        "tip": [220, 27],
        "butt": [0, 27],
        "edge": [150, 0],
        "guard": 110,
        **changes,
    }
    rows = [f"{key} = {json.dumps(v)}" for key, v in about.items() if key not in left_out]
    return "\n".join([raw, *rows, ""])


def drawn(name: str, *left_out: str, **changes: Any) -> str:
    """A knife file that names a drawing."""
    return knife("points", *left_out, outline=name, **changes)


def svg(points: list[list[float]], end: str = "Z", paint: str = "", page: str = "") -> str:
    """A drawing of one path."""
    d = "M" + " ".join(f"{x},{y}" for x, y in points) + end
    return f'<svg xmlns="http://www.w3.org/2000/svg" {page}><path d="{d}" {paint}/></svg>'


def dxf(points: list[list[float]], close: bool = True, units: int = 4) -> str:
    """A drawing of one polyline."""
    document = ezdxf.new(units=units)
    document.modelspace().add_lwpolyline(points, close=close)
    text = io.StringIO()
    document.write(text)
    return text.getvalue()


def hide(change: Callable[[dict[str, Any]], object] = lambda data: None) -> str:
    """A sound hide record of 1000 × 600 mm, but for what ``change`` does to it."""
    data = record()
    change(data)
    return json.dumps(data)


def outline(ring: list[list[float]]) -> Callable[[dict[str, Any]], object]:
    """Give the record another outline, of one ring."""
    return lambda data: data["features"][0]["geometry"].update(coordinates=[ring])


def piece(length: float, width: float, thickness: float = 3.4) -> str:
    """A sound remnant: a rectangle with three equal readings, and nothing else."""

    def change(data: dict[str, Any]) -> None:
        outline([[0, 0], [length, 0], [length, width], [0, width], [0, 0]])(data)
        data["piece"] = "remnant"
        del data["supplier_area"]
        readings = [feature for feature in data["features"] if "gauge" in feature["properties"]]
        readings[0]["properties"]["thickness"] = thickness
        data["features"] = data["features"][:1]
        for share in (0.2, 0.5, 0.8):
            reading = copy.deepcopy(readings[0])
            reading["geometry"]["coordinates"] = [share * length, width / 2]
            data["features"].append(reading)

    return hide(change)


def week(*orders: str, hides: str = '"h.hide.json"', top: str = "") -> str:
    """A week of the orders, each given by the lines of its table."""
    tables = [f"[[sheath]]\n{order}\n" for order in orders]
    return "\n".join([f"hides = [{hides}]", top, *tables])


K, W, H = "k.knife.toml", "w.week.toml", "h.hide.json"
SHEATH, PLAN, CHECK, SHOW = ["sheath", K], ["plan", W], ["hide", "check", H], ["hide", "show", H]
ONE = f'knife = "{K}"'
BIG = 50_000_000

UNUSABLE: dict[str, tuple[Files, list[str], tuple[str, ...]]] = {
    # --- outlines
    "points that cross": (
        {K: knife(points=BOW_TIE)},
        SHEATH,
        ("k.knife.toml, key 'points': the outline crosses", "100 10", "Redraw it"),
    ),
    "an SVG path that crosses": (
        {K: drawn("k.svg"), "k.svg": svg(BOW_TIE)},
        SHEATH,
        ("k.svg: the outline crosses or touches itself at (100, 10)", "Redraw it"),
    ),
    "a DXF polyline that crosses": (
        {K: drawn("k.dxf"), "k.dxf": dxf(BOW_TIE)},
        SHEATH,
        ("k.dxf: the outline crosses or touches itself at (100, 10)", "Redraw it"),
    ),
    "a hide that crosses": (
        {H: hide(outline([[0, 0], [1000, 600], [1000, 0], [0, 600], [0, 0]]))},
        CHECK,
        ("h.hide.json, features[0] (outline)", "crosses", "500 300", "Redraw it"),
    ),
    "a hide's ring left open": (
        {H: hide(outline([[0, 0], [1000, 0], [1000, 600], [0, 600]]))},
        CHECK,
        ("h.hide.json, features[0] (outline)", "is open", "Repeat the first point"),
    ),
    "an open SVG path, filled": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, end="")},
        SHEATH,
        ("k.svg: the outline is open", "gap of 26 units between (0, 4) and (0, 30)", "Close it"),
    ),
    "an open SVG path, drawn as a line": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, end="", paint='fill="none" stroke="#000"')},
        SHEATH,
        ("k.svg: the drawing holds lines only", "closed path and fill it"),
    ),
    "an open DXF polyline": (
        {K: drawn("k.dxf"), "k.dxf": dxf(PLAIN, close=False)},
        SHEATH,
        ("k.dxf: the outline is open", "gap of 26 units between (0, 4) and (0, 30)", "Close it"),
    ),
    "a point that is NaN": (
        {K: knife("points", raw="points = [[0, 4], [nan, 4], [110, 2], [220, 27], [0, 30]]")},
        SHEATH,
        ("k.knife.toml, key 'points'", "got nan"),
    ),
    "a coordinate of the drawing that is NaN": (
        {K: drawn("k.svg"), "k.svg": svg([*PLAIN, [float("nan"), 3]])},
        SHEATH,
        ("k.svg, path number 1: the path data can't be read",),
    ),
    "two knives in one drawing": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, "ZM0,100 220,100 220,130Z")},
        SHEATH,
        ("k.svg: the drawing shows 2 separate shapes", "Leave one object"),
    ),
    # --- scale and units
    "length 0": ({K: knife(length=0)}, SHEATH, (K, "key 'length'", "40 to 600 mm, got 0")),
    "length of 22 m": ({K: knife(length=22e3)}, SHEATH, (K, "key 'length'", "got 22000")),
    "length NaN": (
        {K: knife("length", raw="length = nan")},
        SHEATH,
        (K, "key 'length'", "40 to 600 mm, got nan"),
    ),
    "length that no float holds": (
        {K: knife("length", raw=f"length = 1{'0' * 400}")},
        SHEATH,
        (K, "key 'length'", "40 to 600 mm, got 1000"),
    ),
    "no length and no unit": (
        {K: knife("length")},
        SHEATH,
        (K, "key 'length'", "no real size", "Give length = mm"),
    ),
    "units of the drawing that the format doesn't know": (
        {K: drawn("k.dxf", "length"), "k.dxf": dxf(PLAIN, units=0)},
        SHEATH,
        (K, "key 'length'", "no real size", "Give length = mm"),
    ),
    "a drawing in metres": (
        {K: drawn("k.dxf", "length"), "k.dxf": dxf(PLAIN, units=6)},
        SHEATH,
        (K, "key 'length'", "2.2e+05 mm long; 40 to 600 mm make sense", "Give length = mm"),
    ),
    "a page without size": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, page='viewBox="0 0 240 40" width="0"')},
        SHEATH,
        ('k.svg, <svg>: the page has no size: width="0"', "above 0"),
    ),
    "a drawing scaled to nothing": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, paint='transform="scale(0)"')},
        SHEATH,
        ("k.svg: the filled shapes in this drawing have no area",),
    ),
    "coordinates beyond all reason": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN, paint='transform="scale(1e300)"')},
        SHEATH,
        ("k.svg: a coordinate in the drawing", "beyond 1e+09 units", "near the middle"),
    ),
    "a stitch pitch in an unknown unit": (
        {K: knife(sheath={}).replace("sheath = {}", '[sheath]\nstitch = "6 spi"')},
        SHEATH,
        (K, "[sheath] key 'stitch'", "'6 spi' can mean two", "Give it in mm"),
    ),
    "leather in an unknown unit": (
        {K: knife(sheath={}).replace("sheath = {}", '[sheath]\nleather = "8 stone"')},
        SHEATH,
        (K, "[sheath] key 'leather'", "8 stone", "oz"),
    ),
    "a hide in inches": (
        {H: hide(lambda data: data["frame"].update(units="inch"))},
        CHECK,
        (H, "frame.units", 'got "inch"', "mm"),
    ),
    "a hide said in mm and drawn in metres": (
        {H: hide(outline([[0, 0], [2.4, 0], [2.4, 1.2], [0, 1.2], [0, 0]]))},
        CHECK,
        (H, "outline", "in metres it would be", "Coordinates must be in millimetres"),
    ),
    "a stamped area in an unknown unit": (
        {H: hide(lambda data: data["supplier_area"].update(unit="acre"))},
        CHECK,
        (H, "supplier_area", "acre", "ft2"),
    ),
    "a price per something unknown": (
        {H: hide(lambda data: data["price"].update(per="yard"))},
        CHECK,
        (H, "price.per", 'got "yard"', "ft2"),
    ),
    # --- knives that a fold-over sheath can't hold
    "no guard, and none to be seen": (
        {K: knife("guard")},
        SHEATH,
        (K, "key 'guard'", "doesn't tell where the blade starts", "Give guard = mm"),
    ),
    "a guard off the step of the outline": (
        {K: knife(points=LUGS, tip=[220, 6], butt=[0, 0], guard=95)},
        SHEATH,
        (K, "key 'guard'", "guard = 95, and the outline steps in to the blade 103", "sure_of"),
    ),
    "a length that rescales a drawing in millimetres": (
        {
            K: drawn("k.svg", length=202),
            "k.svg": svg(PLAIN, page='width="300mm" viewBox="0 0 300 90"'),
        },
        SHEATH,
        (K, "key 'length'", "length = 202 mm", "220.0 mm from tip to butt", "sure_of"),
    ),
    "no edge, and too little that tells it": (
        {K: knife("edge")},
        SHEATH,
        (K, "key 'edge'", "doesn't tell which side", "Give edge = [", "if the lower side does"),
    ),
    "a blade the same on both sides": (
        {K: knife("edge", points=SYMMETRIC, tip=[220, 0], butt=[0, 0], guard=100)},
        SHEATH,
        (K, "a fold-over sheath can't hold two edges", "edges = 1"),
    ),
    "a blade said to be double-edged": (
        {K: knife(edges=2)},
        SHEATH,
        (K, "key 'edges'", "double-edged", "edges = 1"),
    ),
    "a guard that stands out on both sides": (
        {K: knife(points=LUGS, tip=[220, 6], butt=[0, 0], edge=[150, -30], guard=103)},
        SHEATH,
        (K, "double guard", "across the fold", "two panels"),
    ),
    # --- hides
    "a reading off the leather": (
        {H: hide(lambda data: data["features"][5]["geometry"].update(coordinates=[200, 700]))},
        CHECK,
        (H, "features[5] (reading)", "100 mm off the leather", "Correct its place"),
    ),
    "two outlines": (
        {H: hide(lambda data: data["features"].append(data["features"][0]))},
        CHECK,
        (H, "features[9] (outline)", "a second outline", "Keep one"),
    ),
    "no outline": (
        {H: hide(lambda data: data["features"].pop(0))},
        CHECK,
        (H, "the hide has no outline", "Add a feature"),
    ),
    "NaN in a hide": (
        {H: hide(lambda data: data["features"][5]["properties"].update(thickness=float("nan")))},
        CHECK,
        (H, "features[5] (reading).thickness", "got NaN"),
    ),
    "a flaw of no known kind": (
        {H: hide(lambda data: data["features"][2]["properties"].update(flaw="burn mark"))},
        CHECK,
        (H, "features[2] (flaw)", "burn mark", "scar"),
    ),
    # --- files
    "a drawing of 50 MB": (
        {K: drawn("k.svg"), "k.svg": BIG},
        SHEATH,
        ("k.svg: the file has 50 MB", "Save the outline alone"),
    ),
    "a DXF of 50 MB": (
        {K: drawn("k.dxf"), "k.dxf": BIG},
        SHEATH,
        ("k.dxf: the file has 50 MB", "Save the outline alone"),
    ),
    "a knife file of 50 MB": ({K: BIG}, SHEATH, (f"{K}: the file has 50 MB", "the right file?")),
    "a hide of 50 MB": ({H: BIG}, SHOW, (f"{H}: the file has 50 MB", "the right file?")),
    "a week of 50 MB": ({W: BIG}, PLAN, (f"{W}: the file has 50 MB", "the right file?")),
    "a picture named as a drawing": (
        {K: drawn("k.svg"), "k.svg": PNG},
        SHEATH,
        ("k.svg: the file is named .svg and holds a PNG picture", "Save it again"),
    ),
    "an SVG named .dxf": (
        {K: drawn("k.dxf"), "k.dxf": svg(PLAIN)},
        SHEATH,
        ("k.dxf: the file is named .dxf and holds an SVG", "Save it again"),
    ),
    "a DXF named .svg": (
        {K: drawn("k.svg"), "k.svg": dxf(PLAIN)},
        SHEATH,
        ("k.svg: the file is named .svg and holds a DXF", "Save it again"),
    ),
    "a DXF cut short": (
        {K: drawn("k.dxf"), "k.dxf": dxf(PLAIN)[:3000]},
        SHEATH,
        ("k.dxf: the DXF can't be read", "Save it again"),
    ),
    "an SVG cut short": (
        {K: drawn("k.svg"), "k.svg": svg(PLAIN)[:-9]},
        SHEATH,
        ("k.svg, line 1, column", "the XML is broken"),
    ),
    "a drawing of another format": (
        {K: drawn("k.png"), "k.png": PNG},
        SHEATH,
        ("k.png: a drawing is an .svg or a .dxf file",),
    ),
    "JSON where TOML belongs": (
        {K: hide()},
        SHEATH,
        (f"{K}, line 1: this is not TOML", "in “{", "the right file"),
    ),
    "TOML where JSON belongs": (
        {H: knife()},
        SHOW,
        (f"{H}, line", "this is not JSON", "the right file"),
    ),
    "a plan where a hide belongs": (
        {H: hide(lambda data: data["croupon"].update(kind="plan"))},
        SHOW,
        (f"{H}, croupon.kind", 'got "plan"', "the right file"),
    ),
    "bytes where text belongs": (
        {W: b"\xff\xfe\0\1"},
        PLAN,
        (f"{W}: this is not text in UTF-8", "the right file"),
    ),
    "a number of 5000 digits": (
        {W: f"seed = {'9' * 5000}"},
        PLAN,
        (f"{W}: a number can't be read", "the right file"),
    ),
    "lists nested without end": (
        {W: "a = " + "[" * 100_000},
        PLAN,
        (f"{W}: lists are nested too deeply", "the right file"),
    ),
    "a name of two lines": (
        {K: knife(name="two\nlines")},
        SHEATH,
        (K, "key 'name'", "must be on one line"),
    ),
    "a damaged file that would clear the terminal": (
        {K: drawn("k.dxf"), "k.dxf": dxf(PLAIN).replace(" 70\n", "\x1b[2J\n", 1)},
        SHEATH,
        ("k.dxf: the DXF can't be read", "\N{REPLACEMENT CHARACTER}[2J", "Save it again"),
    ),
    "a value as long as the file": (
        {K: knife(length=list(range(9999)))},
        SHEATH,
        (K, "key 'length'", "must be a number, got [0, 1, 2", " ..."),
    ),
    "a zero byte in a file's name": (
        {W: week('knife = "k\\u0000"'), H: hide()},
        PLAN,
        (W, "sheath 1, key 'knife'", "must be on one line"),
    ),
    # --- weeks
    "a week that is not there": ({}, PLAN, (f"{W}: there is no such file", "Check its name")),
    "a knife that is not there": (
        {W: week(ONE, 'knife = "none.knife.toml"'), K: knife(), H: hide()},
        PLAN,
        (W, "sheath 2, key 'knife': there is no such file: none.knife.toml", "Correct the name"),
    ),
    "a hide that is not there": (
        {W: week(ONE, hides='"none.hide.json"'), K: knife()},
        PLAN,
        (W, "key 'hides': there is no such file: none.hide.json", "Correct the name"),
    ),
    "a hide on the command line that is not there": (
        {W: week(ONE), K: knife()},
        [*PLAN, "--hide", "none.hide.json"],
        ("none.hide.json: there is no such file", "Check its name"),
    ),
    "no hide at all": (
        {W: week(ONE, hides=""), K: knife()},
        PLAN,
        (W, "the week names no hide", "command line"),
    ),
    "a drawing that is not there": (
        {K: drawn("none.svg")},
        SHEATH,
        (K, "key 'outline': there is no such file: none.svg", "Correct the name"),
    ),
    "a choice out of bounds in the second order": (
        {W: week(ONE, f"{ONE}\nwelt = 400"), K: knife(), H: hide()},
        PLAN,
        (W, "sheath 2, key 'welt'", "6 to 40 mm, got 400"),
    ),
    "a key that is nearly right": (
        {W: week(f"{ONE}\ncuont = 2"), K: knife(), H: hide()},
        PLAN,
        (W, "sheath 1, key 'cuont'", "Did you mean 'count'?"),
    ),
    "more sheaths than memory": (
        {W: week(f"{ONE}\ncount = 1000000000"), K: knife(), H: hide()},
        PLAN,
        (W, "sheath 1, key 'count'", "1 to 2000"),
    ),
}


def write(files: Files) -> None:
    """Put the files into the current folder."""
    for name, content in files.items():
        path = Path(name)
        if isinstance(content, str):
            path.write_text(content, encoding="utf-8")
        elif isinstance(content, bytes):
            path.write_bytes(content)
        else:
            with path.open("wb") as file:
                file.truncate(content)


@pytest.fixture
def refused(tmp_path, monkeypatch, capfd):
    """Run a command that must fail; check the form of the failure, and return its message."""
    monkeypatch.chdir(tmp_path)

    def run(arguments: list[str], code: int = 2, out: str = "out") -> str:
        before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
        where = [] if "check" in arguments else ["--out", out]
        assert main([*arguments, *where]) == code
        told = capfd.readouterr()
        assert told.out == ""
        (line,) = told.err.splitlines()
        assert line.startswith("croupon: ")
        assert len(line) < 700
        assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before
        return line

    return run


@pytest.mark.parametrize(("files", "arguments", "words"), UNUSABLE.values(), ids=UNUSABLE)
def test_input_that_can_not_be_used_gets_one_clear_message(files, arguments, words, refused):
    """File, place, what is wrong and how to mend it, on one line; exit code 2."""
    write(files)
    line = refused(arguments)
    assert [part for part in words if part not in line] == [], line


@pytest.mark.parametrize("arguments", [SHEATH, PLAN, SHOW, CHECK, [*PLAN, "--hide", H]])
def test_a_folder_in_a_files_place_is_said(arguments, refused):
    """For every kind of file that is read."""
    write({W: week(ONE), K: knife(), H: hide()})
    name = arguments[-1]
    Path(name).unlink()
    Path(name).mkdir()
    line = refused(arguments)
    assert f"{name}: this can't be read: it is a folder" in line
    assert "Name a file" in line


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs /dev/zero")
def test_a_device_without_end_is_not_read_to_its_end(refused):
    assert "/dev/zero: the file has 20 MB, more than 20 MB" in refused(
        ["hide", "check", "/dev/zero"]
    )


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
@pytest.mark.parametrize("arguments", [SHEATH, SHOW])
def test_a_file_that_may_not_be_read_is_said(arguments, refused):
    write({K: knife(), H: hide()})
    Path(arguments[-1]).chmod(0)
    line = refused(arguments)
    assert f"{arguments[-1]}: the file can't be read" in line
    assert "you may read it" in line


@pytest.mark.parametrize("out", [K, f"{K}/deeper/out"])
@pytest.mark.parametrize("arguments", [SHEATH, PLAN, SHOW])
def test_results_can_not_go_to_a_file_and_that_is_said_before_the_work(arguments, out, refused):
    """A week of 300 s would time out here if it were planned first."""
    write({W: week(ONE, top="seconds = 300"), K: knife(), H: hide()})
    line = refused(arguments, out=out)
    assert f"{K}: the results go to a folder, and this is a file" in line
    assert "--out" in line


LARGE, SMALL = f'knife = "{SAMPLES}/knives/bittern.knife.toml"', ONE


@pytest.mark.parametrize(
    ("orders", "piece", "words"),
    [
        # a body of over 260 mm goes along the backbone, where there are 250
        ([LARGE], piece(250, 1500, 4.0), ("0 of 1 sheaths fit on Sheet", "bittern-1/body")),
        ([f"{SMALL}\nleather = [5.0, 5.4]"], piece(900, 500, 3.0), ("5 to 5.4 mm", "lacking")),
        ([f"{SMALL}\ncount = 30"], piece(600, 300), (" of 30 sheaths fit", "These fit: k-1, k-2")),
    ],
    ids=["a knife longer than the hide", "thickness that is nowhere", "more than the hide holds"],
)  # fmt: skip
def test_sound_input_without_a_plan_says_what_fits_and_what_is_missing(
    orders, piece, words, refused
):
    """Exit code 1, since nothing is wrong with the files."""
    write({W: week(*orders), K: knife(), H: piece})
    line = refused([*PLAN, "--effort", "0.005"], code=1)
    assert [part for part in (*words, "no room for") if part not in line] == [], line


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "nest", *arguments]


@pytest.mark.parametrize("case", ["points that cross", "a picture named as a drawing",
                                  "a hide of 50 MB", "a knife that is not there"])  # fmt: skip
def test_a_process_of_its_own_leaves_no_traceback_either(case, tmp_path, monkeypatch):
    """As users meet it: interpreter, warnings, logging and all."""
    monkeypatch.chdir(tmp_path)
    files, arguments, words = UNUSABLE[case]
    write(files)
    ran = subprocess.run(
        command(*arguments, "--out", "out"),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    (line,) = ran.stderr.splitlines()
    assert line.startswith("croupon: ")
    assert all(part in line for part in words)
    assert not Path("out").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_ctrl_c_keeps_the_best_plan_and_writes_it(tmp_path):
    """On a terminal: interrupt once the live line tells of a valid plan; it is written, checked."""
    import pty

    ours, theirs = pty.openpty()
    run = subprocess.Popen(
        command("plan", str(SAMPLES / "weeks/week-4.week.toml"), "--hide", BIRCH,
                "--seconds", "3000", "--out", str(tmp_path / "out")),
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.close(theirs)
    try:
        shown = read_until(ours, ": used ", seconds=120)
        assert ": used " in shown
        run.send_signal(signal.SIGINT)
        told, _ = run.communicate(timeout=120)
    finally:
        run.kill()
        os.close(ours)
    assert run.returncode == 0
    assert "12 parts, checked" in told
    plan = plans.read(tmp_path / "out/week-4.plan.json")
    assert check(plan, records.read(BIRCH)) == ()
    assert not list(tmp_path.rglob("*.part"))


def read_until(terminal: int, words: str, seconds: float) -> str:
    """What a process writes, up to those words or the end of the wait."""
    shown, end = "", time.monotonic() + seconds
    while words not in shown and (left := end - time.monotonic()) > 0:
        if select.select([terminal], [], [], left)[0]:
            shown += os.read(terminal, 4096).decode("utf-8", "replace")
    return shown
