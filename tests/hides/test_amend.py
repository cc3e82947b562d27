"""A record kept up: what is added, what takes the place of what, and that all else stays."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from hides import amend, record
from hides.errors import InputError
from hides.thickness import Reading
from nest.cli import main
from tests.small_hides import record as contents
from tests.small_hides import sheet, square_flaw

FLAWS = "kind,face,width,along,across\nscar,grain,6,300,120\n,,,340,140\n"
TAPE = "along,offset\n" + "".join(f"{x},{600 - x / 100}\n" for x in range(0, 1001, 100))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A sound record with what only a hand types, and a member that nobody here knows."""
    path = tmp_path / "sheet.hide.json"
    path.write_text(json.dumps(contents() | {"bought": "at the fair"}), encoding="utf-8")
    return path


def table(file: Path, text: str, name: str = "table.csv") -> Path:
    path = file.parent / name
    path.write_text(text, encoding="utf-8")
    return path


def of_role(text: str, role: str) -> list[dict[str, Any]]:
    return [one for one in json.loads(text)["features"] if one["properties"]["role"] == role]


def test_readings_and_flaws_are_added_and_all_else_stays(file: Path) -> None:
    """What was there comes first, unchanged, a gauge's name and an unknown member too."""
    before = json.loads(file.read_text())
    readings = table(file, "x,y,mm\n400,300,3.2\n600,300,3.1\n", "more.csv")
    made = amend.add(file, readings=readings, flaws=table(file, FLAWS))
    after = json.loads(made.text)
    assert after["features"][: len(before["features"])] == before["features"]
    rest = {key for key in before if key != "features"}
    assert {key: after[key] for key in rest} == {key: before[key] for key in rest}
    assert len(made.hide.readings) == 4
    assert [flaw.kind for flaw in made.hide.flaws] == ["brand", "scar", "hole", "scar"]
    assert made.said == ("Readings added: 2.", "Flaws added: 1.")
    file.write_text(made.text)
    assert len(amend.add(file, flaws=table(file, FLAWS)).hide.flaws) == 4  # it is there already


def test_a_reading_taken_again_replaces_the_older_one(file: Path) -> None:
    """Within 5 mm, the radius of a gauge's foot; what it was is told."""
    again = table(file, "x,y,mm\n203,204,3.1\n206,200,3.3\n")
    made = amend.add(file, readings=again)
    assert [r.thickness for r in made.hide.readings] == [3.1, 3.3, 3.3]
    assert "The reading at (203, 204) is 3.1 mm now, it was 3.4." in made.said
    assert of_role(made.text, "reading")[0]["properties"]["gauge"] == "dial"


def test_a_reading_is_confirmed_by_its_number(file: Path) -> None:
    """As check numbers them, from 1; one that there isn't is refused."""
    made = amend.add(file, confirm=[2])
    assert [r.confirmed for r in made.hide.readings] == [False, True]
    for number in (0, 3):
        with pytest.raises(InputError, match=f"there is no reading {number}; the record has 2"):
            amend.add(file, confirm=[number])
    with pytest.raises(InputError, match="there is nothing to add"):
        amend.add(file)


@pytest.mark.parametrize(
    ("what", "text", "says"),
    [
        ("readings", "x,y,mm\n1400,300,3.2\n", "table.csv, line 2, column 'mm': the reading at"),
        ("readings", "x,y,mm\n400,300,3.2\n400,310,x\n", "table.csv, line 3, column 'mm': 'x' is"),
        ("readings", "sticker,mm\n4,3.2\n", "table.csv: these readings have numbers of stickers"),
        ("flaws", FLAWS.replace("300,120", "1300,120").replace("340", "1340"), "table.csv, line 2"),
        ("flaws", FLAWS.replace("scar", "scratch"), "table.csv, line 2, column 'kind'"),
    ],
)
def test_what_cannot_be_added_is_told_by_file_and_line(
    file: Path, what: str, text: str, says: str
) -> None:
    """And the record is as it was."""
    before = file.read_bytes()
    more = str(table(file, text))
    with pytest.raises(InputError) as error:
        amend.add(file, **{what: Path(more)})  # type: ignore[arg-type]
    assert says in str(error.value)
    assert main(["hide", "add", str(file), f"--{what}", more]) == 2
    assert file.read_bytes() == before


def test_the_command_adds_in_place_and_says_what(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The record is written whole, and plans made before are spoken of."""
    more = ["--flaws", str(table(file, FLAWS)), "--confirm", "1"]
    assert main(["hide", "add", str(file), *more]) == 0
    told = capsys.readouterr().out
    assert "mind: Plans made on the record before no longer hold." in told
    assert "Reading 1 at (200, 200), 3.4, is confirmed." in told
    assert len(record.read(file).flaws) == 4
    assert record.read(file).readings[0].confirmed


def test_measuring_the_edge_anew_keeps_what_was_typed_by_hand(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Flaws, readings, zones, stretch lines, price and stamp; outline and backbone are new."""
    before = record.read(file)
    tape = str(table(file, TAPE, "tape.csv"))
    arguments = ["hide", "measure", tape, "--out", str(file), "--flaws", str(table(file, FLAWS))]
    assert main(arguments) == 2  # it is there already
    capsys.readouterr()
    assert main([*arguments, "--force"]) == 0
    told = capsys.readouterr().out
    assert "Taken anew for sheet.hide.json: outline, backbone, piece." in told
    assert "Kept of it: flaws 3, readings 2, zones 1, stretch lines 1." in told
    after = record.read(file)
    assert [flaw.kind for flaw in after.flaws] == ["brand", "scar", "hole", "scar"]
    assert after.readings == before.readings
    assert after.name == before.name
    assert (after.price, after.supplier_area) == (before.price, before.supplier_area)
    assert after.outline != before.outline
    assert json.loads(file.read_text())["bought"] == "at the fair"


def test_a_flaw_that_is_seen_again_replaces_the_old_and_all_others_stay(file: Path) -> None:
    """The brand is seen larger; the nail's hole is seen as a cut over all of it; the open scar lies
    under a corner of a healed one, which is another.
    """
    seen = (
        square_flaw("brand", 140, 130, 60),
        square_flaw("cut", 290, 390, 20),
        square_flaw("healed", 780, 130, 60),
    )
    made = amend.renewed(file, sheet(flaws=seen, readings=(Reading(202, 200, 3.1),)))
    assert [flaw.kind for flaw in made.hide.flaws] == ["scar", "brand", "cut", "healed"]
    assert made.hide.flaws[1].shape.equals(seen[0].shape)
    assert [reading.thickness for reading in made.hide.readings] == [3.1, 3.3]
    assert made.said == (
        "Taken anew for sheet.hide.json: outline, backbone.",
        "Kept of it: flaws 1, readings 2, zones 1, stretch lines 1.",
        "Replaced by new flaws that lie on them: brand at (125, 120), hole at (300, 400).",
        "Flaws added: 3.",
        "The reading at (202, 200) is 3.1 mm now, it was 3.4.",
    )


def test_what_lies_off_the_new_edge_is_told_in_one_error(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of it, by its place; the record is as it was."""
    before = file.read_bytes()
    rows = "".join(f"{x},600\n" for x in range(0, 651, 65))
    tape = str(table(file, f"along,offset\n{rows}", "tape.csv"))
    assert main(["hide", "measure", tape, "--out", str(file), "--force"]) == 2
    told = capsys.readouterr().err
    assert "sheet.hide.json: the new edge leaves out what the record holds: scar at (750, " in told
    assert "reading at (800, 200). Write to another --out" in told
    assert file.read_bytes() == before


def test_a_new_record_takes_flaws_from_a_table(file: Path) -> None:
    """Without a word of JSON."""
    tape, out = str(table(file, TAPE, "tape.csv")), file.parent / "new.hide.json"
    more = ["--flaws", str(table(file, FLAWS)), "--out", str(out)]
    assert main(["hide", "measure", tape, *more]) == 0
    assert [flaw.kind for flaw in record.read(out).flaws] == ["scar"]


def test_the_kinds_of_flaw_are_printed_with_what_they_bar(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["hide", "flaws"]) == 0
    told = capsys.readouterr().out
    (line,) = [line for line in told.splitlines() if line.startswith("healed ")]
    assert line.split()[1:4] == ["front,", "strap", "2"]
    assert main(["hide", "flaws", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)) == told.count("\n") - 1
