"""The live line: it speaks from the first moment, with figures soon, and until all is written."""

from __future__ import annotations

import re
import sys

from nest.cli import main
from tests.places import ROOT

WEEK = str(ROOT / "shared/weeks/week-4.week.toml")


def told(arguments, capsys, monkeypatch) -> list[str]:
    """Each state of the line on a terminal, in order."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert main(arguments) == 0
    return [line.strip() for line in capsys.readouterr().err.split("\r") if line.strip()]


def test_the_line_goes_from_reading_to_search_and_drawing(tmp_path, capsys, monkeypatch) -> None:
    """A first valid plan is told with its leather and what it costs."""
    plan = ["plan", WEEK, "--effort", "0.05", "--out", str(tmp_path)]
    lines = told(plan, capsys, monkeypatch)
    assert lines[0].startswith("reading leather and shapes")
    found = (
        r"Birch: used [\d.]+ dm² \([\d.]+ ft²\), leather [\d.]+ EUR, bound [\d.]+ dm².*, [\d.]+ s"
    )
    assert any(re.fullmatch(found, line) for line in lines)
    assert lines[-1].startswith("Birch: drawing the pages, ")
    seconds = [float(line.removesuffix(" s").rpartition(" ")[2]) for line in lines]
    assert seconds == sorted(seconds)


def test_a_comparison_is_watched_too(tmp_path, capsys, monkeypatch) -> None:
    """Each hide by its name."""
    hides = [str(ROOT / f"shared/hides/{name}.hide.json") for name in ("birch", "rowan")]
    compare = ["compare", WEEK, "--hide", *hides, "--effort", "0.01", "--out", str(tmp_path)]
    lines = told(compare, capsys, monkeypatch)
    for name in ("Birch", "Rowan"):
        assert any(line.startswith(f"{name}: used ") for line in lines)
    assert lines[-1].startswith("drawing the page, ")
