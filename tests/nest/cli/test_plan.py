"""``croupon plan`` as a user runs it on a week of which some is cut already."""

from __future__ import annotations

import json
import re
from pathlib import Path

import ezdxf
import pytest
from ezdxf.path import make_path
from pypdf import PdfReader
from shapely import Polygon

from nest import plans
from nest.cli import main
from tests.places import ROOT

WEEK = ROOT / "shared/weeks/week-4.week.toml"
EFFORT = ("--effort", "0.01")


@pytest.fixture(scope="module")
def first(tmp_path_factory) -> Path:
    """The plan of the sample week, as the command writes it."""
    folder = tmp_path_factory.mktemp("first")
    assert main(["plan", str(WEEK), *EFFORT, "--out", str(folder)]) == 0
    return folder / "week-4.plan.json"


@pytest.fixture(scope="module")
def rest(first, tmp_path_factory) -> Path:
    """The plan of the rest, once a body, its welt and another body are cut."""
    folder = tmp_path_factory.mktemp("rest")
    asked = ["--cut", str(first), "A1", "A1W", "B1"]
    assert main(["plan", str(WEEK), *EFFORT, *asked, "--out", str(folder)]) == 0
    return folder / "week-4.plan.json"


def words_of(pdf: Path) -> str:
    return " ".join(page.extract_text() for page in PdfReader(pdf).pages)


def test_the_page_draws_what_is_cut_as_gone_and_says_so(rest) -> None:
    words = words_of(rest.with_name("week-4.cutplan.pdf"))
    for told in ("Cut already, and not to be cut again: A1,", "leather is gone", "9 parts, tol"):
        assert told in words, told
    svg = rest.with_name("week-4.cutplan.svg").read_text()
    drawn = set(re.findall(r'id="(?:cut|label):([^"]*)"', svg))
    assert {"heron-1/body", "heron-1/welt", "mallow-1/body"} <= drawn
    assert {"A1 cut", "A1W cut", "B1 cut"} <= drawn
    rows = rest.with_name("week-4.parts.csv").read_text().splitlines()
    assert len(rows) == 1 + 9


def test_no_cut_file_and_no_template_has_what_is_cut(rest, tmp_path, capsys) -> None:
    """On the laser no outline meets leather that is gone; by hand there is no template for it."""
    out = ["--out", str(tmp_path), "--force"]
    assert main(["cut", str(rest), "--machine", "laser-1300", "--paper", "a4", *out]) == 0
    assert "Cut already, and not to be cut again: A1, A1W, B1." in capsys.readouterr().out
    plan = plans.read_checked(rest)
    cut = [entity for file in tmp_path.glob("*.dxf") for entity in ezdxf.readfile(file).modelspace()
           if entity.dxf.layer.lower().startswith("cut")]  # fmt: skip
    rings = [Polygon([(v.x, v.y) for v in make_path(one).flattening(0.01)]) for one in cut]
    areas = sorted(ring.area for ring in rings if ring.area > 500.0)
    kept = sorted(plans.placed_outline(plan, one).area for one in plan.placements)
    assert areas == pytest.approx(kept, rel=0.03)  # the kerf apart
    words = words_of(tmp_path / "week-4.templates.pdf")
    assert "A1  " not in words.replace("A1L", "")
    assert "Cut already" in words
    assert "Cut already" in words_of(tmp_path / "week-4.placing.pdf")
    assert "Cut already" in words_of(tmp_path / "week-4.laser-1300.setups.pdf")


def test_letters_without_their_plan_are_refused_with_the_line_to_write(tmp_path, capsys) -> None:
    out = ["--out", str(tmp_path)]
    assert main(["plan", str(WEEK), *EFFORT, "--cut", "A1", "A1W", *out]) == 2
    said = capsys.readouterr().err
    assert f"--cut {tmp_path / 'week-4.plan.json'} A1 A1W" in said


def test_a_plan_that_knows_what_is_cut_is_not_replaced_by_one_that_does_not(rest, capsys) -> None:
    """Its leather would be planned on again, without a word."""
    again = ["plan", str(WEEK), *EFFORT, "--out", str(rest.parent), "--force"]
    before = rest.read_bytes()
    assert main(again) == 2
    said = capsys.readouterr().err
    assert re.search("knows what is cut: A1, A1W, B1", said)
    assert rest.read_bytes() == before
    assert main([*again, "--cut", str(rest), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["cut"] == ["heron-1/body", "heron-1/welt", "mallow-1/body"]
    assert told["parts"] == 9
    assert told["figures"]["cut_area"] < told["figures"]["net_area"]
