"""The CSV lists, read back, agree with the plan."""

import csv

import pytest

from hides.units import DM2
from nest.figures import FIGURES, measure
from nest.plans import number_of
from nest.report.lists import FIGURE_COLUMNS, PART_COLUMNS, figures_text, parts_text
from tests import small


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def figures():
    return measure(small.plan(), small.hide())


def test_every_placed_part_has_a_row(tmp_path):
    (tmp_path / "parts.csv").write_text(parts_text(small.plan()), encoding="utf-8")
    rows = rows_of(tmp_path / "parts.csv")
    assert tuple(rows[0]) == (*PART_COLUMNS, "plan")
    assert {row["plan"] for row in rows} == {number_of(small.plan())}
    assert [row["id"] for row in rows] == [placement.id for placement in small.PLACEMENTS]
    assert [row["label"] for row in rows] == ["A1", "A1W", "A1L", "B1", "B1L"]
    assert [row["holes"] for row in rows] == ["3", "0", "0", "3", "0"]


def test_places_and_areas_are_those_of_the_plan(tmp_path):
    """Sums over the file against the parts themselves."""
    (tmp_path / "parts.csv").write_text(parts_text(small.plan()), encoding="utf-8")
    rows = rows_of(tmp_path / "parts.csv")
    area = sum(wanted.part.outline.area for wanted in small.WANTED)
    assert sum(float(row["area_mm2"]) for row in rows) == pytest.approx(area, abs=0.5)
    assert sum(float(row["area_dm2"]) for row in rows) == pytest.approx(area / DM2, abs=0.001)
    first = small.PLACEMENTS[0]
    told = tuple(float(rows[0][key]) for key in ("x_mm", "y_mm", "angle_deg"))
    assert told == (first.x, first.y, first.angle)
    assert (rows[0]["thickness_low_mm"], rows[0]["thickness_high_mm"]) == ("3.2", "3.6")


def test_every_figure_stands_with_its_definition(tmp_path, figures):
    (tmp_path / "figures.csv").write_text(figures_text(small.plan(), figures), encoding="utf-8")
    rows = rows_of(tmp_path / "figures.csv")
    assert tuple(rows[0]) == FIGURE_COLUMNS
    told = {row["key"]: row for row in rows}
    assert list(figures.numbers) == [key for key in told if key in FIGURES]
    for key, value in figures.numbers.items():
        assert float(told[key]["value"]) == pytest.approx(value, abs=1e-4)
        assert told[key]["definition"] == FIGURES[key].definition
    assert told["leather_cost"]["unit"] == "EUR"


def test_the_sheaths_costs_add_up_to_the_leather_cost(tmp_path, figures):
    (tmp_path / "figures.csv").write_text(figures_text(small.plan(), figures), encoding="utf-8")
    rows = rows_of(tmp_path / "figures.csv")
    told = {row["key"]: float(row["value"]) for row in rows if row["value"]}
    costs = [value for key, value in told.items() if key.startswith("cost:")]
    areas = [value for key, value in told.items() if key.startswith("net_area:")]
    assert len(costs) == len(areas) == 2
    assert sum(costs) == pytest.approx(told["leather_cost"], abs=1e-3)
    assert sum(areas) == pytest.approx(told["net_area"], abs=1e-3)


def test_lists_repeat_byte_for_byte_and_end_lines_plainly(tmp_path, figures):
    for name in ("one", "two"):
        (tmp_path / f"{name}-parts.csv").write_text(parts_text(small.plan()), encoding="utf-8")
        (tmp_path / f"{name}-figures.csv").write_text(
            figures_text(small.plan(), figures), encoding="utf-8"
        )
    for kind in ("parts", "figures"):
        data = (tmp_path / f"one-{kind}.csv").read_bytes()
        assert data == (tmp_path / f"two-{kind}.csv").read_bytes()
        assert b"\r" not in data
        assert data.endswith(b"\n")
