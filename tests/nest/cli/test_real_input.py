"""Knives and hides that nobody here drew, all the way to a checked plan or a clear refusal.

The files lie in the folder that the environment variable CROUPON_DATA names (default:
``../shared`` beside the project). ``realinputs`` holds icons under open licences, see the notes
beside them; the icons state no size, so a plausible length is given and the rest left to the
shape. The hides are those of :mod:`real_hides`: whole hides for furniture and shoes whose
sizes are those of hides in millimetres; their thickness is not known.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from hides import record
from hides.hide import Hide
from hides.outline import Outline
from hides.trace import read_drawing
from nest import plans
from nest.checker import check
from nest.cli import main
from nest.planning import plan_week
from nest.plans import Plan
from nest.week import job_of, read
from tests.places import ROOT
from tests.real_hides import DATA, FILES, real_hides

BIRCH = ROOT / "shared/hides/birch.hide.json"
WEEK = ROOT / "shared/weeks/week-12.week.toml"
ICONS = DATA / "realinputs"

needs_icons = pytest.mark.skipif(not ICONS.is_dir(), reason=f"no realinputs in {DATA}")

# Length in mm, and what the maker is told to mind: a deep heel has to pass where the handle is.
HELD = {
    "fluent-emoji-flat__kitchen-knife": (300, "wider parts of the knife have to pass"),
    "mdi__knife": (200, "wider parts of the knife have to pass"),
    "openclipart__knife": (230, "Nothing but friction keeps the knife in"),
}
# Length in mm, the file that is named as the culprit, what is unusable, how to mend it.
REFUSED = {
    "game-icons__animal-hide": (250, ".toml", "0.99 times as wide as it is long", "one knife"),
    "game-icons__bone-knife": (250, ".toml", "double guard, 9.6 mm", "two panels"),
    "game-icons__bowie-knife": (320, ".toml", "double guard, 7.9 mm", "two panels"),
    "game-icons__butterfly-knife": (240, ".toml", "forked: 21% of the ground", "knife closed"),
    "game-icons__katana": (600, ".toml", "double guard, 38.9 mm", "two panels"),
    "game-icons__knife-fork": (220, ".toml", "0.97 times as wide as it is long", "one knife"),
    "game-icons__machete": (500, ".svg", "3 separate shapes", "Leave one object"),
    "game-icons__plain-dagger": (280, ".toml", "can't hold two edges", "edges = 1"),
    "openmoji__dagger": (280, ".toml", "can't hold two edges", "edges = 1"),
    "tabler__sword": (280, ".svg", "lines only and no filled shape", "one closed path"),
}


def knife_file(folder: Path, name: str, length: float) -> Path:
    """A knife file that names the drawing and its length, and nothing else.

    One icon states a size, which is a page's and no knife's.
    """
    path = folder / f"{name}.knife.toml"
    outline = json.dumps(f"{ICONS / name}.svg")
    path.write_text(f'outline = {outline}\nlength = {length}\nsure_of = ["length"]\n')
    return path


@needs_icons
def test_every_drawing_among_the_data_has_its_row():
    """So that a drawing added to the data can't be passed over."""
    assert {path.stem for path in ICONS.glob("*.svg")} == HELD.keys() | REFUSED.keys()


@needs_icons
@pytest.mark.parametrize("name", HELD)
def test_these_knives_give_a_sheath(name, tmp_path, capsys):
    """The pattern drawn, every guess said, and what to mind."""
    length, minds = HELD[name]
    knife = knife_file(tmp_path, name, length)
    assert main(["sheath", str(knife), "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    said = " ".join(told["guessed"])
    assert [key for key in ("tip and butt", "guard", "edge") if f"{key})" not in said] == []
    assert bool(told["mind"]) == bool(minds)
    assert minds in " ".join(told["mind"])
    assert {Path(file).suffix for file in told["files"]} == {".png", ".pdf", ".svg"}
    assert all(Path(file).stat().st_size > 5000 for file in told["files"])


@needs_icons
def test_these_knives_are_planned_by_the_command_and_the_plan_is_proved(tmp_path):
    """A week of one sheath for each, on a sample hide; no finding in the plan as read back."""
    files = [knife_file(tmp_path, name, length) for name, (length, _) in HELD.items()]
    week = tmp_path / "real.week.toml"
    week.write_text(
        'keep = "neck"\n'
        + "\n".join(f'[[sheath]]\nknife = "{file.name}"\nleather = [3.2, 3.6]' for file in files)
    )
    out = tmp_path / "out"
    arguments = ["plan", str(week), "--hide", str(BIRCH), "--effort", "0.005", "--out", str(out)]
    assert main(arguments) == 0
    plan = plans.read(out / "real.plan.json")
    assert check(plan, record.read(BIRCH)) == ()
    assert {placement.id for placement in plan.placements} == {
        f"{name}-1/{kind}" for name in HELD for kind in ("body", "welt", "loop")
    }


@needs_icons
@pytest.mark.parametrize("name", REFUSED)
def test_these_drawings_are_refused_with_what_is_unusable_in_them(name, tmp_path, capsys):
    """One line with the file, what the outline lacks and how to mend it; nothing written."""
    length, suffix, what, mend = REFUSED[name]
    knife = knife_file(tmp_path, name, length)
    out = tmp_path / "out"
    assert main(["sheath", str(knife), "--out", str(out)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("croupon: ")
    assert f"{name}{'.knife' if suffix == '.toml' else ''}{suffix}" in line
    assert what in line
    assert mend in line
    assert not out.exists()


def planned(hide: Hide, folder: Path) -> Plan:
    """Write and read the hide, plan the week of twelve on it, and judge the plan as read back."""
    record.write(hide, folder / "real.hide.json")
    again = record.read(folder / "real.hide.json")
    assert again.outline == hide.outline
    assert len(again.flaws) == len(hide.flaws)
    made = plan_week(job_of(read(WEEK)).taking_unknown, again, effort=0.005).plan
    (folder / "real.plan.json").write_text(plans.text_of(made))
    plan = plans.read(folder / "real.plan.json")
    assert plan.hide_sha256 == again.sha256
    assert check(plan, again) == ()
    return plan


# The second file's largest hide is the first one's too, whose second largest is taken instead.
@pytest.mark.parametrize(("file", "index"), [(FILES[0], 1), (FILES[1], 0)])
def test_the_week_of_twelve_is_planned_on_a_real_hide(file, index, tmp_path):
    """52 to 77 flaws and holes on nearly 5 m²; unknown thickness is let count."""
    hide = real_hides(file)[index]
    assert len(hide.flaws) > 50
    assert not hide.thickness.known
    assert len(planned(hide, tmp_path).placements) == 36


@needs_icons
def test_a_drawing_of_a_whole_hide_can_be_planned_on(tmp_path):
    """The icon of a hide with legs, notches and a hole, made 2.4 m long: no knife, but leather."""
    drawing = read_drawing(ICONS / "game-icons__animal-hide.svg")
    left, low, right, _ = drawing.outline.bounds
    scale = 2400 / (right - left)
    outline, *holes = (
        Outline.of((ring.points - (left, low)) * scale)
        for ring in (drawing.outline, *drawing.holes)
    )
    hide = Hide("Icon", "double butt", "vegetable", outline, holes=tuple(holes))
    assert len(planned(hide, tmp_path).placements) == 36
