"""Flaws as a table: spots, lines and areas are read; what is wrong is told by line and column."""

from __future__ import annotations

from pathlib import Path

import pytest

from hides import flawtable
from hides.errors import InputError
from hides.flaws import Flaw
from hides.record import flaw_of

TABLE = """kind,face,width,along,across,note
scar,grain,6,300,120,
,,,340,140
hole,through,12,800,400,nail
brand,grain,,900,500
,,,980,500
,,,980,560
"""


def read(tmp_path: Path, text: str) -> tuple[Flaw, ...]:
    file = tmp_path / "flaws.csv"
    file.write_text(text, encoding="utf-8")
    return tuple(flaw_of(listed.feature) for listed in flawtable.read(file))


def test_a_line_a_spot_and_an_area_are_read(tmp_path: Path) -> None:
    """A line of 44.7 mm, 6 mm wide with round ends; a spot of 12 mm; a triangle of 24 cm². Rounds
    are drawn a little generous.
    """
    scar, hole, brand = read(tmp_path, TABLE)
    assert [(f.kind, f.face, f.note) for f in (scar, hole, brand)] == [
        ("scar", "grain", ""), ("hole", "through", "nail"), ("brand", "grain", ""),
    ]  # fmt: skip
    assert scar.shape.area == pytest.approx(44.72 * 6 + 3.1416 * 9, rel=0.03)
    assert hole.shape.area == pytest.approx(3.1416 * 36, rel=0.03)
    assert hole.shape.centroid.coords[0] == pytest.approx((800, 400), abs=0.01)
    assert brand.shape.area == pytest.approx(80 * 60 / 2)


def test_units_of_the_head_and_decimal_commas_are_read(tmp_path: Path) -> None:
    """Places in cm, the width in mm."""
    text = "kind;face;width;along (cm);across (cm)\nstain;flesh;8;80,5;40\n"
    (stain,) = read(tmp_path, text)
    assert stain.shape.centroid.coords[0] == pytest.approx((805, 400), abs=0.01)
    assert stain.shape.bounds[2] - stain.shape.bounds[0] == pytest.approx(8, abs=0.1)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("scra,grain,6,300,120", "line 2, column 'kind': 'scra' is no known kind of flaw"),
        ("scar,top,6,300,120", "line 2, column 'face': face must be one of through, grain, flesh"),
        ("scar,grain,6,30O,120", "line 2, column 'along': '30O' is no number"),
        ("scar,grain,6,300,", "line 2, column 'across': there is no number"),
        ("scar,grain,0,300,120", "line 2, column 'width': a flaw is 0.1 to 2000 mm wide, not 0"),
        ("scar,grain,,300,120", "line 2, column 'width': a flaw without a width is an area, and 1"),
        (",,,300,120", "line 2, column 'kind': the first row must name a kind"),
        ("scar,grain,6,300,120,,7", "line 2: the row has 7 cells where the first one has 6"),
    ],
)
def test_a_wrong_cell_is_told_by_file_line_and_column(tmp_path: Path, row: str, says: str) -> None:
    with pytest.raises(InputError) as error:
        read(tmp_path, f"kind,face,width,along,across,note\n{row}\n")
    assert f"flaws.csv, {says}" in str(error.value)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        ("kind,face,along", "line 1: the column 'across' is missing"),
        ("kind,face,width,x,across", "line 1: 'x' is no column here. Columns: kind, face, width"),
        ("kind,face,width,along (ft),across", "line 1: 'along (ft)' is no column here"),
    ],
)
def test_a_wrong_head_is_told_with_the_columns(tmp_path: Path, head: str, says: str) -> None:
    with pytest.raises(InputError) as error:
        read(tmp_path, f"{head}\nscar,grain,6,300,120\n")
    assert says in str(error.value)
