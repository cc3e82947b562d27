"""Hide picture, cut plan, detail and comparison: what stands on them, and that it reads."""

import dataclasses
from collections import Counter
from typing import NamedTuple
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import Image
from pypdf import PdfReader
from svgelements import SVG, Shape

import nest
from hides.flaws import Flaw
from hides.hide import Hide
from nest.draw.palette import fill_of
from nest.figures import FIGURES, Figures, measure
from nest.job import Job, Kit, Wanted
from nest.plans import Placement, Plan, Verdict, patterns_of, placed_outline
from nest.report.compare import Comparison, best_of, compare_sheet
from nest.report.cutplan import SHOWN, cut_detail, cut_plan
from nest.report.hidesheet import hide_sheet
from tests import small
from tests.places import ROOT
from tests.sheets import overlaps, said

PASSED = Verdict(True, 0, 0.01, 1)


class Tried(NamedTuple):
    """What a comparison asks of a plan."""

    plan: Plan
    hide: Hide
    figures: Figures


def checked():
    return dataclasses.replace(small.plan(), check=PASSED)


def crowd(rows=6, columns=9):
    """A plan with one small loop and one thin welt in every cell of a grid: 108 labels."""
    kits, placements = [], []
    for row in range(rows):
        for column in range(columns):
            kit = f"knot-{row * columns + column + 1}"
            parts = (
                Wanted(f"{kit}/loop", kit, small.LOOP, small.NEED),
                Wanted(f"{kit}/welt", kit, small.WELT, small.NEED),
            )
            kits.append(Kit(kit, "Knot", parts))
            x, y = 60 + 108 * column, 40 + 98 * row
            placements += [
                Placement(parts[0].id, 0.0, x, y),
                Placement(parts[1].id, 0.0, x, y + 45),
            ]
    plan = Plan.of(Job("Crowded week", tuple(kits)), small.hide(), placements, budget="by hand")
    return dataclasses.replace(plan, check=PASSED)


def page_of(plan, **paper):
    return cut_plan(plan, small.hide(), measure(plan, small.hide()), **paper)


def outside(sheet):
    page = shapely.box(3, 3, sheet.width - 3, sheet.height - 3)
    return [words.text for words in sheet.words if not page.contains(words.box)]


def ids_of(path):
    return Counter(e.get("id") for e in ElementTree.parse(path).iter() if e.get("id"))


@pytest.fixture(scope="module")
def sheets():
    """Every page that can be made of the small hide and its plan, by name."""
    plan, hide = checked(), small.hide()
    figures = measure(plan, hide)
    other = dataclasses.replace(hide, name="Granite")
    bare = dataclasses.replace(other, zones=(), price=None)
    blind = dataclasses.replace(plan, wanted=small.JOB.taking_unknown.parts)
    return {
        "hide": hide_sheet(hide),
        "unknown": cut_plan(blind, bare, measure(blind, bare)),
        "unknown detail": cut_detail(blind, bare, figures),
        "unknown compared": compare_sheet(
            Comparison(
                [Tried(plan, hide, figures), Tried(blind, bare, measure(blind, bare))],
                {"Flint": "nobody has said how thick Flint is."},
            )
        ),
        "plan": cut_plan(plan, hide, figures),
        "plan on A3": cut_plan(plan, hide, figures, paper="A3"),
        "detail": cut_detail(plan, hide, figures),
        "crowd": page_of(crowd()),
        "comparison": compare_sheet(
            Comparison([Tried(plan, hide, figures), Tried(plan, other, figures)])
        ),
    }


NAMES = (
    "hide",
    "unknown",
    "unknown detail",
    "unknown compared",
    "plan",
    "plan on A3",
    "detail",
    "crowd",
    "comparison",
)


@pytest.mark.parametrize("name", NAMES)
def test_no_words_lie_on_other_words(sheets, name):
    assert overlaps(sheets[name]) == []


@pytest.mark.parametrize("name", NAMES)
def test_all_words_are_on_the_page(sheets, name):
    """3 mm is less than any printer leaves blank, and our margin is 9."""
    assert outside(sheets[name]) == []


def test_overlapping_words_would_be_seen(sheets):
    """The two checks above can fail."""
    sheet = hide_sheet(small.hide())
    place = sheet.words[0].box.centroid.coords[0]
    sheet.text(place, "on top", anchor="middle")
    sheet.text((sheet.width - 4, 50), "over the edge")
    assert (sheet.words[0].text, "on top") in overlaps(sheet)
    assert outside(sheet) == ["over the edge"]


@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("plan", (297.0, 210.0)),  # ISO 216: A4
        ("plan on A3", (420.0, 297.0)),  # ISO 216: A3
    ],
)
def test_pages_have_the_papers_size(sheets, name, size, tmp_path):
    box = PdfReader(sheets[name].save(tmp_path / "a.pdf")).pages[0].mediabox
    told = (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72)
    assert told == pytest.approx(size, abs=0.05)


def test_every_part_is_on_the_plan_once_and_labelled_once(sheets, tmp_path):
    ids = ids_of(sheets["plan"].save(tmp_path / "a.svg"))
    for placement in small.PLACEMENTS:
        assert ids[f"part:{placement.id}"] == 1
    labels = [name for name in ids if name.startswith("label:")]
    assert sorted(labels) == ["label:A1", "label:A1L", "label:A1W", "label:B1", "label:B1L"]


def test_parts_lie_on_the_page_where_they_lie_on_the_hide(sheets, tmp_path):
    """Read by svgelements: boxes of the drawn parts against the plan's outlines, to scale."""
    path = sheets["plan"].save(tmp_path / "a.svg")
    drawn = {
        group.values.get("id"): shape.bbox()
        for group in SVG.parse(path, ppi=25.4).elements()
        if str(getattr(group, "values", {}).get("id")).startswith("part:")
        for shape in (group if isinstance(group, list) else [group])
        if isinstance(shape, Shape)
    }
    plan = small.plan()
    bounds = {p.id: placed_outline(plan, p).bounds for p in plan.placements}
    boxes = np.array([drawn[f"part:{name}"] for name in bounds])
    truth = np.array(list(bounds.values()))
    scale = (boxes[0][2] - boxes[0][0]) / (truth[0][2] - truth[0][0])
    assert 1 / scale == pytest.approx(round(1 / scale, 1), abs=1e-3)
    across = boxes[:, 0] - scale * truth[:, 0]
    up = boxes[:, 3] + scale * truth[:, 1]  # an SVG's y runs down
    assert np.ptp(across) < 0.01
    assert np.ptp(up) < 0.01


def test_labels_lie_on_their_parts(sheets):
    """A body is large enough for its label."""
    sheet = sheets["plan"]
    drawn = {patch.get_gid(): patch.get_path().vertices for patch in sheet.axes.patches}
    boxes = {words.text: words.box for words in sheet.words}
    for label, name in (("A1", "hunter-1/body"), ("B1", "skinner-1/body")):
        assert shapely.Polygon(drawn[f"part:{name}"]).contains(boxes[label])


def test_no_code_of_a_flaw_lies_on_the_hides_edge():
    """Flaws at the edge had theirs half on the line and half off the leather."""
    spots = [(1000 - off, 100 * off / 10) for off in (10, 20, 30, 40, 50)]
    spots += [(off * 10, 600 - off) for off in (10, 20, 30, 40, 50)]
    flaws = [Flaw("clamp", "through", shapely.Point(at).buffer(9)) for at in spots]
    plan, hide = checked(), small.hide(flaws=tuple(flaws))
    sheet = cut_plan(plan, hide, measure(plan, hide))
    (edge,) = [p.get_path().vertices for p in sheet.axes.patches if p.get_gid() == "hide"]
    codes = [words.box for words in sheet.words if words.text == "cl"]
    assert len(codes) == len(spots)
    assert not shapely.LinearRing(edge).intersects(codes).any()


def test_the_figures_stand_with_their_definitions(sheets):
    figures = measure(small.plan(), small.hide())
    words = " ".join(said(sheets["plan"]))
    missing = {
        "cut_area",
        "cut_line_belly",
        "cut_line_across",
    }  # not yet; not askew; keeps the neck
    assert set(SHOWN) - set(figures.numbers) == missing
    for key in set(SHOWN) - missing:
        assert FIGURES[key].label in words
        assert figures.text(key) in words
        assert FIGURES[key].definition in words


def test_the_detail_shows_the_tail_and_where_a_tape_is_laid_to_it(sheets, tmp_path):
    """0 stands on its scale right under the hide's tail edge, and a number at each 100 mm."""
    sheet = sheets["detail"]
    low = min(word.box.bounds[1] for word in sheet.words if word.text == "400")  # of the ruler
    scale = {word.text: word.box.centroid.x for word in sheet.words if word.box.bounds[1] == low}
    edge = next(p.get_path().vertices for p in sheet.axes.patches if p.get_gid() == "hide-edge")
    assert list(scale) == ["0", "100", "200", "300", "400"]
    assert scale["0"] == pytest.approx(edge[:, 0].min(), abs=0.1)
    assert "← tail" in said(sheet)


def test_week_hide_seed_and_verdict_are_named(sheets):
    words = " ".join(said(sheets["plan"]))
    for told in (
        "Week 14",
        "Slate",
        "seed 1",
        "CHECKED",
        "tolerance 0.01 mm",
        "2 sheaths, 5 parts",
    ):
        assert told in words


@pytest.mark.parametrize(
    ("verdict", "word"),
    [
        (None, "NOT CHECKED"),
        (Verdict(False, 3, 0.01, 1), "REFUSED"),
        (PASSED, "CHECKED"),
    ],
)
def test_the_stamp_says_what_the_checker_said(verdict, word):
    plan = dataclasses.replace(small.plan(), check=verdict)
    assert word in said(page_of(plan))


def test_what_is_left_out_is_said():
    wanted = (*small.WANTED, dataclasses.replace(small.WANTED[0], id="camp-1/body", kit="camp-1"))
    plan = dataclasses.replace(checked(), wanted=wanted, left_out=("camp-1",))
    words = said(page_of(plan))
    assert "Left out: camp-1." in words
    assert "C camp × 0" in words


def test_remnant_and_frontier_are_drawn(sheets, tmp_path):
    ids = ids_of(sheets["plan"].save(tmp_path / "a.svg"))
    assert ids["remnant"] >= 1
    assert ids["frontier"] >= 1
    assert any(words.startswith("kept: ") for words in said(sheets["plan"]))


def test_sheaths_share_a_letter_by_pattern():
    """Number 2 of a pattern keeps its number, whatever lies between."""
    ids = ("heron-1", "pip-1", "heron-2", "barn-owl-1")
    wanted = tuple(Wanted(f"{kit}/body", kit, small.BODY, small.NEED) for kit in ids)
    plan = dataclasses.replace(small.plan(), wanted=wanted, placements=())
    patterns = patterns_of(plan)
    assert [patterns[w.kit].label(w) for w in wanted] == ["A1", "B1", "A2", "C1"]
    assert [patterns[kit].name for kit in ids] == ["heron", "pip", "heron", "barn-owl"]
    assert fill_of(patterns["heron-1"].number) != fill_of(patterns["pip-1"].number)


def test_the_other_hand_and_another_shape_get_their_own_letter_and_name():
    """A left-hand sheath is the right-hand one turned over; the welt of another is another."""
    heron = nest.read_knife(ROOT / "shared/knives/heron.knife.toml")
    right, left = (nest.sheath(heron, hand=hand).parts[0] for hand in ("right", "left"))
    assert told_of(right, left, small.CROSS_LOOP) == [
        "heron",
        "heron, left hand",
        "heron, another shape",
    ]
    assert told_of(left, right) == ["heron", "heron, right hand"]


def told_of(*bodies):
    """What the sheaths of a plan with these bodies are called, whose letters are A, B, C."""
    wanted = tuple(
        Wanted(f"heron-{i}/body", f"heron-{i}", body, small.NEED) for i, body in enumerate(bodies)
    )
    patterns = patterns_of(dataclasses.replace(small.plan(), wanted=wanted, placements=()))
    assert [pattern.letter for pattern in patterns.values()] == list("ABC"[: len(bodies)])
    return [pattern.name for pattern in patterns.values()]


def test_many_patterns_still_fit_the_page():
    """Twenty sheaths, each of its own pattern: the list grows shorter, not off the page."""
    kits = [f"{chr(97 + i)}-1" for i in range(20)]
    wanted = tuple(Wanted(f"{kit}/body", kit, small.BODY, small.NEED) for kit in kits)
    spots = [Placement(w.id, 0.0, 100 + 160 * (i % 5), 60 + 120 * (i // 5)) for i, w in
             enumerate(wanted)]  # fmt: skip
    plan = dataclasses.replace(checked(), wanted=wanted, placements=tuple(spots))
    sheet = page_of(plan)
    assert outside(sheet) == []
    assert overlaps(sheet) == []


def test_more_patterns_than_the_page_holds_are_counted():
    kits = [f"knife{i}-1" for i in range(60)]
    wanted = tuple(Wanted(f"{kit}/body", kit, small.BODY, small.NEED) for kit in kits)
    plan = dataclasses.replace(checked(), wanted=wanted, placements=())
    sheet = page_of(plan)
    shown = sum(words.endswith("× 0") for words in said(sheet))
    assert f"and {60 - shown} more: see the parts list" in said(sheet)
    assert outside(sheet) == []


def test_an_empty_plan_can_be_drawn():
    plan = dataclasses.replace(small.plan(), placements=(), left_out=("hunter-1", "skinner-1"))
    assert "NOT CHECKED" in said(page_of(plan))
    with pytest.raises(ValueError, match="without parts"):
        cut_detail(plan, small.hide(), measure(plan, small.hide()))


def test_the_detail_shows_the_used_leather_larger(sheets):
    """The small plan lies in the left half of the hide, so its detail is drawn larger."""
    sheet = sheets["detail"]
    assert {"A1", "A1W", "A1L", "B1", "B1L"} <= set(said(sheet))
    scale = next(words for words in said(sheet) if words.startswith("scale"))
    whole = next(words for words in said(sheets["plan"]) if words.startswith("scale"))
    assert float(scale.split(":")[1]) < float(whole.split(":")[1])


def test_the_hide_page_tells_areas_and_remarks():
    hide = small.hide(supplier_area=560_000.0)
    words = " ".join(said(hide_sheet(hide)))
    assert "Hide “Slate”" in words
    assert "59.8 dm² (6.43 ft²)" in words  # 1000 × 600 less 50 × 50 mm
    assert "56.0 dm² (6.03 ft²)" in words
    assert "traced is +6.7% off" in words  # 597,500 / 560,000
    assert "60.00 EUR" in words
    assert "Check the scale of the outline" in words


def test_pngs_are_pictures_and_repeat(sheets, tmp_path):
    one = sheets["plan"].save(tmp_path / "one.png", dpi=80)
    two = sheets["plan"].save(tmp_path / "two.png", dpi=80)
    assert one.read_bytes() == two.read_bytes()
    with Image.open(one) as image:
        assert len(image.convert("RGB").getcolors(1_000_000)) > 200


# --- comparison ------------------------------------------------------------------------------


def tried(name="Slate", amount=60.0, currency="EUR", without=()):
    """The small plan on a hide of another name and price, some kits left out."""
    price = dataclasses.replace(small.hide().price, amount=amount, currency=currency)
    hide = small.hide(name=name, price=price)
    plan = small.plan(hide)
    kept = tuple(p for p in plan.placements if plan.by_id[p.id].kit not in without)
    plan = dataclasses.replace(plan, placements=kept, left_out=tuple(without), check=PASSED)
    return Tried(plan, hide, measure(plan, hide))


def test_the_cheapest_hide_that_holds_all_is_recommended():
    """Same plan, so cost goes by the hide's price: 45 of 60 is a quarter less."""
    dear, cheap = tried("Slate", 60.0), tried("Granite", 45.0)
    assert best_of([dear, cheap]) is cheap
    words = Comparison([dear, cheap]).recommended
    assert words.startswith("Cut from Granite: all 2 sheaths for ")
    assert "25 % cheaper than Slate" in words
    assert words.count(".") == words.count(".", 0, -1) + 1


def test_a_hide_that_holds_more_beats_a_cheaper_one():
    whole, half = tried("Slate", 60.0), tried("Granite", 10.0, without=("hunter-1",))
    assert best_of([half, whole]) is whole
    assert "all 2 sheaths" in Comparison([half, whole]).recommended


def test_equal_hides_are_called_equal():
    assert "about the same as" in Comparison([tried("Slate"), tried("Granite")]).recommended


def test_two_currencies_are_compared_by_leather():
    """Without a rate of exchange there is no cheaper hide."""
    words = Comparison([tried("Slate", 60.0, "EUR"), tried("Granite", 1.0, "SEK")]).recommended
    assert "cheaper" not in words


def test_a_hide_without_a_price_is_never_called_cheapest_and_costs_are_not_nothing():
    """By area only, and that is said; the table says that its cost isn't known."""
    dear, free = tried("Slate", 60.0), tried("Granite")
    hide = dataclasses.replace(free.hide, price=None)
    free = Tried(free.plan, hide, measure(free.plan, hide))
    compared = Comparison([dear, free])
    assert "cheaper" not in compared.recommended
    assert "EUR" not in compared.recommended
    assert compared.remarks == ("Compared by the area used, not by cost, as Granite has no price.",)
    told = {row[0]: row[1:] for row in compared.table}
    assert told["Leather cost per sheath"][1] == "not known"


def test_a_hide_of_no_use_is_on_the_page_with_the_reason(sheets):
    """And one that was let count is stamped there by name."""
    words = " ".join(word.text for word in sheets["unknown compared"].words)
    assert "Flint is of no use: nobody has said how thick Flint is." in words
    assert "gauge under each part before you cut (Granite)" in words


def test_one_hide_needs_no_rival():
    words = Comparison([tried()]).recommended
    assert words.startswith("Cut from Slate: all 2 sheaths")
    assert "than" not in words


def test_a_week_that_fits_nowhere_is_said():
    assert Comparison([tried(without=("hunter-1", "skinner-1"))]).recommended.startswith(
        "No hide holds"
    )


def test_nothing_tried_is_refused():
    with pytest.raises(ValueError, match="no plan"):
        compare_sheet(Comparison(()))


def test_the_table_holds_every_hides_figures():
    pair = [tried("Slate", 60.0), tried("Granite", 45.0)]
    rows = Comparison(pair).table
    assert rows[0] == ["", "Slate", "Granite"]
    told = {row[0]: row[1:] for row in rows}
    assert told["Sheaths"] == ["2", "2"]
    assert told["Used area"] == [t.figures.text("used_area") for t in pair]
    assert told["Cost of the hide"] == ["60.00 EUR", "45.00 EUR"]


def test_bars_are_as_long_as_their_figures():
    """Costs of 60 and 45: bars as 4 to 3."""
    sheet = compare_sheet(Comparison([tried("Slate", 60.0), tried("Granite", 45.0)]))
    wide = {
        patch.get_gid(): patch.get_path().get_extents().width
        for patch in sheet.axes.patches
        if str(patch.get_gid()).startswith("bar:Leather cost")
    }
    one, other = (wide[f"bar:Leather cost per sheath:{name}"] for name in ("Slate", "Granite"))
    assert other / one == pytest.approx(0.75)


def test_six_hides_fit_one_page():
    sheet = compare_sheet(Comparison([tried(f"Hide {i}", 40.0 + i) for i in range(6)]))
    assert overlaps(sheet) == []
    assert outside(sheet) == []
