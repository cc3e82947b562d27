"""The hide verbs as a user runs them, but for photos (tests/test_capture_record.py)."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from hides import record
from nest.cli import main
from tests.places import ROOT

BIRCH = str(ROOT / "shared/hides/birch.hide.json")
TAPE = "along,offset\n0,300\n400,800\n800,950\n1200,900\n1600,850\n2000,500\n"  # 156 dm², by hand


def written(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def tape(folder: Path, text: str = TAPE) -> str:
    (folder / "tape.csv").write_text(text, encoding="utf-8")
    return str(folder / "tape.csv")


def test_gauge_says_how_much_is_sure_and_where_to_gauge_next(tmp_path, capsys) -> None:
    """In words, as JSON, and as a picture in three formats."""
    arguments = ["hide", "gauge", BIRCH, "--need", "3.2-3.5 mm", "--count", "3"]
    assert main([*arguments, "--out", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "sure to 90%" in told
    assert "gauge next, 3" in told
    assert written(tmp_path) == {"birch.gauge.png", "birch.gauge.pdf", "birch.gauge.svg"}
    assert main([*arguments, "--out", str(tmp_path), "--json", "--force"]) == 0
    assert json.loads(capsys.readouterr().out)["asked"] == "3.2 to 3.5 mm"


def test_gauge_help_tells_the_standards_figures(capsys) -> None:
    """ISO 2589: a foot of 10 mm, 393 g, 49 kPa, to 0.01 mm."""
    with pytest.raises(SystemExit):
        main(["hide", "gauge", "--help"])
    told = " ".join(capsys.readouterr().out.split())
    for figure in ("ISO 2589", "10 mm", "393 g", "49 kPa", "0.01 mm"):
        assert figure in told


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--sure", "0.3"], "sure must be from 0.5 to below 1"),
        (["--sure", "nan"], "sure must be from 0.5 to below 1"),
        (["--count", "0"], "count must be from 1 to 50"),
        (["--reach", "5"], "reach must be more than 20 mm"),
        (["--need", "thick"], "'thick' is no thickness"),
    ],
)
def test_gauge_refuses_what_makes_no_sense(arguments, says, tmp_path, capsys) -> None:
    """One message, exit code 2, no picture."""
    assert main(["hide", "gauge", BIRCH, *arguments, "--out", str(tmp_path)]) == 2
    assert says in capsys.readouterr().err
    assert written(tmp_path) == set()


def test_targets_writes_one_pdf(tmp_path, capsys) -> None:
    """And says how to print it."""
    assert main(["hide", "targets", "--out", str(tmp_path / "s.pdf"), "--paper", "letter"]) == 0
    assert "actual size" in capsys.readouterr().out
    assert (tmp_path / "s.pdf").read_bytes().startswith(b"%PDF")
    assert main(["hide", "targets", "--out", str(tmp_path / "s.png")]) == 2


def test_a_tape_gives_a_record_that_reads_back(tmp_path, capsys) -> None:
    """With label and readings; area worked by hand above."""
    (tmp_path / "gauge.csv").write_text("x,y,mm\n300,200,3.4\n1500,300,3.1\n", encoding="utf-8")
    out = tmp_path / "old-larch.hide.json"
    label = ["--stamp", "17 ft2", "--price", "120", "EUR", "piece"]
    readings = ["--readings", str(tmp_path / "gauge.csv")]
    assert main(["hide", "measure", tape(tmp_path), *readings, *label, "--out", str(out)]) == 0
    hide = record.read(out)
    assert hide.name == "Old Larch"
    assert hide.gross_area == pytest.approx(1_560_000)
    assert [r.thickness for r in hide.readings] == [3.4, 3.1]
    assert hide.paid == 120.0
    told = capsys.readouterr().out
    assert "against the stamped" not in told  # 157.9 dm²: within the usual 3 %
    assert "Only 2 readings" in told


def test_a_drawing_is_turned_into_the_frame_when_asked(tmp_path, capsys) -> None:
    """A side drawn upside down: its straight edge comes to y = 0, and its area stays."""
    ring = "\n".join(["x,y", "100,900", "2100,900", "2000,300", "1200,80", "800,60", "200,250"])
    out = tmp_path / "a.hide.json"
    arguments = ["hide", "measure", tape(tmp_path, ring + "\n"), "--out", str(out)]
    assert main(arguments) == 0
    assert "turned or mirrored" in capsys.readouterr().out  # taken as it lies, and remarked
    area = record.read(out).gross_area
    before = out.read_bytes()
    assert main([*arguments, "--align"]) == 2  # a record that is there stays
    assert "or replace files with --force" in capsys.readouterr().err
    assert out.read_bytes() == before
    assert main([*arguments, "--align", "--force"]) == 0
    left, low, _, high = record.read(out).outline.bounds
    assert (left, low) == pytest.approx((0.0, 0.0), abs=20)
    assert high == pytest.approx(840.0, abs=20)
    assert record.read(out).gross_area == pytest.approx(area)
    assert main([*arguments, "--align", "--side", "right", "--force"]) == 0
    assert record.read(out).outline.bounds[1] == pytest.approx(-840.0, abs=20)


@pytest.mark.parametrize(
    ("text", "extra", "says"),
    [
        (TAPE.replace("along,offset", "along (cm),offset"), [], "no side's area"),
        (TAPE.replace("400,800", "400,x"), [], "tape.csv, line 3: 'x' is no number"),
        (TAPE, ["x,y,mm\n300,-200,3.4\n"], "gauge.csv, reading 1"),
        (TAPE, ["sticker,mm\n1,3.4\n"], "whose places only a photo gives"),
    ],
)
def test_a_bad_measure_is_refused_with_its_file_and_place(
    text, extra, says, tmp_path, capsys
) -> None:
    """No record is left behind."""
    arguments = ["hide", "measure", tape(tmp_path, text), "--out", str(tmp_path / "a.hide.json")]
    for rows in extra:
        (tmp_path / "gauge.csv").write_text(rows, encoding="utf-8")
        arguments += ["--readings", str(tmp_path / "gauge.csv")]
    assert main(arguments) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "a.hide.json").exists()


def test_a_remnant_of_a_plan_is_planned_on(tmp_path, capsys) -> None:
    """What a week leaves is a hide with readings, flaws and a price, on which the next lies."""
    week, out = str(ROOT / "shared/weeks/week-4.week.toml"), ["--out", str(tmp_path)]
    assert main(["plan", week, "--effort", "0.01", *out]) == 0
    plan = str(tmp_path / "week-4.plan.json")
    assert main(["hide", "remnant", plan, "--name", "Birch II", *out]) == 0
    said = capsys.readouterr().out
    file = tmp_path / "birch-ii.hide.json"
    hide, parent = record.read(file), record.read(ROOT / "shared/hides/birch.hide.json")
    share = 301.50 * hide.gross_area / parent.gross_area
    price = re.search(r"price +([\d.]+) EUR", said)
    assert price is not None
    assert float(price[1]) == pytest.approx(share, abs=0.01)
    assert (hide.name, hide.parent, hide.piece) == ("Birch II", "Birch", "remnant")
    assert len(hide.readings) == 36
    assert {"stain", "vein", "clamp"} <= {flaw.kind for flaw in hide.flaws}
    assert main(["plan", week, "--effort", "0.01", "--hide", str(file), "--out",
                 str(tmp_path / "next")]) == 0  # fmt: skip
    assert "12 parts, checked" in capsys.readouterr().out
