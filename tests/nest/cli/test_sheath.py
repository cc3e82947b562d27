"""What ``croupon sheath`` prints: whatever is doubtful stands in terminal, page and JSON."""

import json

import pytest
from pypdf import PdfReader
from shapely import Polygon

import nest
from nest.cli import main
from tests.places import ROOT

HERON = (ROOT / "shared/knives/heron.knife.toml").read_text(encoding="utf-8")


@pytest.fixture
def told(tmp_path, capsys):
    """What is told of a changed Heron: on the terminal, in JSON, on the page."""
    drawing = (ROOT / "shared/knives/heron.svg").read_bytes()
    (tmp_path / "heron.svg").write_bytes(drawing)

    def tell(old, new, *options):
        assert old in HERON
        knife = tmp_path / "heron.knife.toml"
        knife.write_text(HERON.replace(old, new), encoding="utf-8")
        words = ["sheath", str(knife), "--out", str(tmp_path), "--force", *options]
        assert main(words) == 0
        terminal = capsys.readouterr().out
        assert main([*words, "--json"]) == 0
        answer = json.loads(capsys.readouterr().out)
        pages = PdfReader(tmp_path / "heron.pattern.pdf").pages
        return terminal, answer, " ".join(" ".join(p.extract_text() for p in pages).split())

    return tell


def test_the_old_name_of_a_key_is_told_in_terminal_json_and_page(told):
    terminal, answer, page = told("handle_covered = 0.6", "throat = 0.6")
    remark = "The key throat is now called handle_covered: write that."
    assert f"mind: {remark}" in terminal
    assert remark in answer["mind"]
    assert remark in page


def test_what_holds_the_knife_is_told_in_terminal_json_and_page(told):
    """With so much room asked for that nothing is squeezed."""
    terminal, answer, page = told("welt = 10.0", "welt = 10.0\nslack = 3.0")
    for words in (terminal, " ".join(answer["mind"]), page):
        assert "Nothing but friction keeps the knife in" in words
    assert answer["retention"].startswith("none: the widest section deeper in, 116 mm")
    assert answer["retention"] in " ".join(terminal.split())


def test_how_far_the_back_stands_off_the_fold_has_a_column(told):
    """Heron's clip drops 15 mm off the fold at the tip, where its slack is called snug."""
    terminal, _, page = told("welt = 10.0", "welt = 10.0")
    row = next(line.split() for line in terminal.splitlines() if line.startswith("232 "))
    assert row[5] == "snug"
    assert float(row[6]) > 8
    assert row[7:] == ["far", "off"]
    assert "off fold" in page


def test_edge_and_back_are_told_in_terminal_and_json(told):
    """On the page they are named on the knife itself."""
    terminal, answer, _ = told("edge = [200.0, 106.0]", "edge = [200.0, 106.0]")
    says = "the lower side of the drawing, as edge says; it lies at the welt, the knife's back at"
    assert says in terminal
    assert says in answer["cutting edge"]


def test_an_old_key_that_does_nothing_any_more_is_told_in_terminal_json_and_page(told):
    terminal, answer, page = told("guard = 119.5", "edge_straight = true\nguard = 119.5")
    remark = "edge_straight does nothing beside edge, which says it all: leave it out."
    assert f"mind: {remark}" in terminal
    assert remark in answer["mind"]
    assert remark in page


def test_json_holds_outlines_holes_fit_and_figures_with_their_units(told):
    """All that the pattern is drawn from, as the sheath itself has it."""
    terminal, answer, _ = told("welt = 10.0", "welt = 10.0")
    sheath = nest.sheath(nest.read_knife(ROOT / "shared/knives/heron.knife.toml"))
    assert "lengths in mm" in answer["units"]
    for given, part in zip(answer["parts"], sheath.parts, strict=True):
        assert given["kind"] == part.kind
        assert Polygon(given["outline"]).area == pytest.approx(
            answer["figures"]["areas"][part.kind]
        )
        holes = [point for seam in given["holes"] for point in seam["points"]]
        assert len(holes) == sum(len(m.points) for m in part.marks if m.kind == "stitch")
    body = {line["name"]: line["points"] for line in answer["parts"][0]["holes"]}
    assert len(body["edge seam, front"]) == answer["figures"]["stitches"] + 1
    rows = [line.split() for line in terminal.splitlines() if " blade " in line]
    blade = [row for row in answer["fit"] if row["where"] == "blade"]
    assert [row[3] for row in rows] == [f"{row['available']:.1f}" for row in blade]
    assert answer["figures"]["retention"]["word"] == "little"
