"""Every figure against a sum done by hand on the small plan, and costs against published ones."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import MultiPolygon, Polygon, box

from hides.flaws import Flaw
from hides.hide import Price
from hides.units import DM2, FT2
from nest.figures import FIGURES, bound_of, measure, text, usable_cost
from nest.plans import Placement, Plan, placed_outline, read, text_of
from tests.small import BODY, JOB, LOOP, PLACEMENTS, WANTED, WELT, hide, outline, part, plan

# By hand: the body is 150 × 110 mm less three triangles; the welt an L; the loop 100 × 30 mm.
BODY_AREA = 150 * 110 - 50 * 30 / 2 - 100 * 20 / 2  # mm²
WELT_AREA = 90 * 14 + 14 * 46
LOOP_AREA = 100 * 30
NET = 2 * BODY_AREA + WELT_AREA + 2 * LOOP_AREA

# The frontier of the small plan, which keeps the neck: the hunter's loop stands upright at
# x = 400, half its width of 30 mm farther. The hole at x = 800 lies beyond it.
FRONTIER = 415.0
USED = FRONTIER * 600
GROSS = 1000 * 600 - 50 * 50


def kept(keep, **changes):
    return Plan.of(replace(JOB, keep=keep), hide(), changes.get("placements", PLACEMENTS))


def test_the_parts_have_the_areas_reckoned_by_hand():
    assert [p.outline.area for p in (BODY, WELT, LOOP)] == pytest.approx(
        [BODY_AREA, WELT_AREA, LOOP_AREA]
    )


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("net_area", NET),
        ("gross_area", GROSS),
        ("usable_area", GROSS),  # scar and stain both leave hidden faces
        ("cut_line", FRONTIER),
        ("used_area", USED),
        ("yield_on_hide", NET / GROSS),
        ("yield_on_used", NET / USED),
        ("remnants", 1),
        ("remnant_area", GROSS - USED),
        ("largest_remnant", GROSS - USED),
        ("hide_cost", 60.0),
        ("leather_cost", 60.0 * USED / GROSS),
        ("parts_cost", 60.0 * NET / GROSS),
    ],
)
def test_figures_are_what_their_definitions_say(key, value):
    assert measure(plan(), hide()).numbers[key] == pytest.approx(value, rel=1e-6)


def test_bound_and_gap_go_together():
    numbers = measure(plan(), hide()).numbers
    least = bound_of(plan(), hide())
    assert numbers["bound_area"] == least.used_area
    assert numbers["bound_gap"] == pytest.approx(USED / least.used_area - 1)
    assert NET < numbers["bound_area"] < USED


def test_a_bound_known_already_is_taken():
    least = replace(bound_of(plan(), hide()), used_area=USED / 2)
    assert measure(plan(), hide(), least).numbers["bound_gap"] == pytest.approx(1.0)


def test_used_area_along_a_slanted_line():
    """Butt: the line through the welt's lower right corner, slope -1/0.35, cuts off a triangle.

    With u = (-1, -0.35) / |u| all parts have u · p <= that of the corner nearest to the butt,
    so the remnant is the triangle between the line, the backbone and the tail end.
    """
    of = kept("butt")
    numbers = measure(of, hide()).numbers
    corners = np.vstack([placed_outline(of, p).points for p in of.placements])
    reach = (corners @ [1.0, 0.35]).min()  # x + 0.35 y on the line
    assert measure(of, hide()).frontier == pytest.approx(-reach / np.hypot(1.0, 0.35))
    assert numbers["cut_line"] == pytest.approx(reach)  # at the backbone
    assert numbers["cut_line_belly"] == pytest.approx(0.0, abs=1e-9)  # it runs out at the tail
    triangle = reach * (reach / 0.35) / 2
    assert numbers["used_area"] == pytest.approx(GROSS - triangle)
    assert numbers["largest_remnant"] == pytest.approx(triangle)


@pytest.mark.parametrize(
    ("keep", "side", "crossing"),
    [
        ("neck", 2, lambda x: box(x, 0, x, 600)),  # the largest x of any part
        ("belly", 3, lambda y: box(0, y, 1000, y)),  # the largest y
        ("tail", 0, lambda x: box(x, 0, x, 600)),  # the smallest x
        ("none", 0, lambda x: box(x, 0, x, 600)),  # as if the tail were kept
    ],
)
def test_the_cut_line_crosses_the_hide_at_the_frontier(keep, side, crossing):
    """A straight line across the whole hide along one side of the parts' bounding box."""
    of = kept(keep)
    ends = MultiPolygon([placed_outline(of, p).polygon for p in of.placements]).bounds
    found = measure(of, hide()).cut_line
    assert len(found.geoms) == 1
    assert found.bounds == pytest.approx(crossing(ends[side]).bounds)


@pytest.mark.parametrize(
    ("keep", "key", "side"),
    [("neck", "cut_line", 2), ("tail", "cut_line", 0), ("none", "cut_line", 0),
     ("belly", "cut_line_across", 3)],
)  # fmt: skip
def test_a_tape_finds_the_cut_line(keep, key, side):
    """Counted from the tail whichever end is kept, or beside the backbone; never along askew."""
    of = kept(keep)
    ends = MultiPolygon([placed_outline(of, p).polygon for p in of.placements]).bounds
    numbers = measure(of, hide()).numbers
    assert numbers[key] == pytest.approx(ends[side])
    assert {name for name in numbers if name.startswith("cut_line")} == {key}


def test_what_stays_usable_behind_the_line_is_no_waste():
    """A strip of 30 mm across the hide at 300 mm leaves a rectangle of 298 × 600 mm behind it, with
    the gap of 2 mm. A disc of 60 mm reaches all of it but the tips of its four corners.
    """
    strip = part("loop", [(0, 0), (30, 0), (30, 600), (0, 600)], {"strap": (0, 0, 30, 600)})
    wanted = (replace(WANTED[4], part=strip),)
    of = replace(plan(), wanted=wanted, placements=(Placement(wanted[0].id, 0.0, 315.0, 300.0),))
    found = measure(of, hide(flaws=()))
    (offcut,) = found.offcuts
    area = 298.0 * 600.0 - (4 - np.pi) * 30.0**2
    assert offcut.polygon.area == pytest.approx(area, rel=1e-4)
    assert offcut.name == "offcut 1"
    assert offcut.cost == pytest.approx(60.0 * area / GROSS, rel=1e-4)
    numbers = found.numbers
    assert (numbers["offcuts"], numbers["offcut_area"]) == (1, pytest.approx(area, rel=1e-4))
    scrap = 330.0 * 600.0 - 30.0 * 600.0 - area
    assert numbers["scrap_cost"] == pytest.approx(60.0 * scrap / GROSS, abs=0.001)
    told = ("parts_cost", "offcut_cost", "scrap_cost")
    assert sum(numbers[key] for key in told) == pytest.approx(numbers["leather_cost"])
    spoilt = box(0, 0, 250, 600)  # 48 mm are left beside it, too narrow for an offcut
    assert measure(of, hide(flaws=(Flaw("brand", "grain", spoilt),))).offcuts == ()


def test_remnants_and_used_leather_make_the_hide():
    found = measure(plan(), hide())
    used = found.numbers["used_area"] + sum(r.polygon.area for r in found.remnants)
    assert used == pytest.approx(GROSS)
    shapes = [placed_outline(plan(), p).polygon for p in plan().placements]
    assert all(r.polygon.intersection(s).area < 1e-9 for r in found.remnants for s in shapes)


def test_the_largest_circle_of_a_plain_remnant():
    """A rectangle of 585 × 600 mm holds a circle of 585 mm."""
    found = measure(plan(), hide(holes=()))
    assert found.numbers["remnant_circle"] == pytest.approx(585.0, abs=1.0)
    assert found.remnants[0].circle[0] == pytest.approx(415 + 292.5, abs=1.0)


def test_the_largest_circle_is_clear_of_what_no_part_may_lie_on():
    """A rotten strip along x = 700 leaves 285 mm before it and 280 mm behind."""
    strip = Flaw("hole", "through", box(700, 0, 720, 600))
    found = measure(plan(), hide(holes=(), flaws=(strip,)))
    assert found.numbers["remnant_circle"] == pytest.approx(285.0, abs=1.0)
    assert found.numbers["largest_remnant"] == pytest.approx(585 * 600)


@pytest.mark.parametrize(
    ("kind", "face", "clean"),
    [("stain", "through", False), ("brand", "grain", False), ("stain", "grain", True)],
)
def test_the_largest_circle_is_clear_of_what_goes_through_and_of_brands(kind, face, clean):
    """A strip along x = 700 leaves 285 mm before it; one that only shows does not matter."""
    strip = Flaw(kind, face, box(700, 0, 720, 600))
    found = measure(plan(), hide(holes=(), flaws=(strip,)))
    assert found.numbers["remnant_circle"] == pytest.approx(585.0 if clean else 285.0, abs=1.0)


def test_scraps_are_no_remnants():
    """A notched neck end: beyond the line lie two tongues, one smaller than 1 dm²."""
    notched = Polygon([(0, 0), (500, 0), (500, 100), (410, 100), (410, 500), (600, 500),
                       (600, 600), (0, 600)])  # fmt: skip
    found = measure(plan(), hide(outline=outline(notched.exterior.coords), holes=()))
    assert found.numbers["remnants"] == 1  # 85 × 100 mm is a scrap, 185 × 100 mm is not
    assert found.numbers["remnant_area"] == pytest.approx(185 * 100)
    assert found.numbers["used_area"] == pytest.approx(notched.area - 85 * 100 - 185 * 100)
    assert len(found.cut_line.geoms) == 2


def test_sheaths_share_the_leather_by_their_area():
    found = measure(plan(), hide())
    hunter, skinner = found.sheaths
    assert (hunter.kit, skinner.kit) == ("hunter-1", "skinner-1")
    assert hunter.net_area == pytest.approx(BODY_AREA + WELT_AREA + LOOP_AREA)
    assert hunter.net_cost == pytest.approx(60.0 * hunter.net_area / GROSS)
    assert hunter.cost / skinner.cost == pytest.approx(hunter.net_area / skinner.net_area)
    assert hunter.cost + skinner.cost == pytest.approx(found.numbers["leather_cost"])


def test_what_cannot_be_told_is_left_out():
    found = measure(plan(), hide(price=None))
    assert not {"hide_cost", "leather_cost", "stamped_area", "usable_cost"} & set(found.numbers)
    assert found.sheaths[0].cost is None
    assert found.text("leather_cost") == ""


def test_an_empty_plan_has_the_hides_figures_only():
    found = measure(replace(plan(), placements=()), hide())
    assert set(found.numbers) == {
        "net_area", "gross_area", "usable_area", "hide_cost", "yield_on_hide"
    }  # fmt: skip
    assert found.numbers["yield_on_hide"] == 0.0


def test_stamped_area_sets_the_price():
    """Bought as 7 ft² at 10 EUR though the outline holds less: 70 EUR for what is there."""
    found = measure(plan(), hide(price=Price(10.0, "EUR", "ft2"), supplier_area=7 * FT2)).numbers
    assert found["hide_cost"] == pytest.approx(70.0)
    assert found["leather_cost"] == pytest.approx(70.0 * USED / GROSS)


def test_figures_are_the_same_from_the_file(tmp_path):
    of = plan()
    found = measure(of, hide())
    path = tmp_path / "week.plan.json"
    path.write_text(text_of(replace(of, figures=found.numbers, remnants=found.remnants)))
    back = read(path)
    assert back.figures == pytest.approx(found.numbers, abs=1e-6)
    assert measure(back, hide()).numbers == pytest.approx(found.numbers, rel=1e-6)


# --- published and textbook values -------------------------------------------------------


def test_usable_cost_of_a_side():
    """A maker's published sum: $250 and $30 freight, 22 ft², 15 % waste: $14.97 per ft².

    The article on pricing leather goods by a maker who buys sides; 18.7 ft² are usable.
    """
    assert usable_cost(280.0, 22 * FT2, 0.15) == pytest.approx(14.97, abs=0.005)
    assert 280.0 / usable_cost(280.0, 22 * FT2, 0.15) == pytest.approx(18.7)


@pytest.mark.parametrize("waste", [-0.1, 1.0, 1.5])
def test_impossible_waste_is_refused(waste):
    with pytest.raises(ValueError, match="waste must lie in 0 to 1"):
        usable_cost(280.0, 22 * FT2, waste)


# --- words -------------------------------------------------------------------------------


def begun_plan():
    """The small plan, of which the hunter's body and loop are cut already."""
    of = plan()
    return replace(of, cut=(of.placements[0], of.placements[2]),
                   placements=(of.placements[1], *of.placements[3:]))  # fmt: skip


def test_what_is_cut_already_is_told_apart_and_its_leather_stays_used():
    """The hunter's loop, which is cut, reaches farthest: the line stays where it was."""
    numbers, whole = measure(begun_plan(), hide()).numbers, measure(plan(), hide()).numbers
    assert numbers["cut_area"] == pytest.approx(BODY_AREA + LOOP_AREA)
    assert "cut_area" not in whole
    for key in ("net_area", "cut_line", "used_area", "remnant_area", "leather_cost"):
        assert numbers[key] == pytest.approx(whole[key]), key


def test_a_part_left_to_cut_alone_has_no_bound_below_what_is_cut():
    """The welt could lie at the very tail, but the cut loop reaches to x = 415."""
    of = plan()
    alone = replace(of, wanted=(of.wanted[1], of.wanted[2]), placements=of.placements[1:2],
                    cut=of.placements[2:3])  # fmt: skip
    assert bound_of(alone, hide()).frontier == pytest.approx(FRONTIER)
    assert bound_of(replace(alone, cut=(), left_out=()), hide()).frontier < FRONTIER


def test_every_figure_says_what_it_is():
    other = [measure(kept(keep), hide()).numbers for keep in ("butt", "belly")]
    numbers = measure(begun_plan(), hide(supplier_area=6 * FT2)).numbers
    assert set(numbers).union(*other) == set(FIGURES)
    for figure in FIGURES.values():
        assert figure.definition.endswith(".")
        assert figure.unit in {"mm", "mm2", "ratio", "count", "money", "money/ft2"}


@pytest.mark.parametrize(
    ("key", "value", "shown"),
    [
        ("used_area", 21.143 * DM2, "21.1 dm² (2.28 ft²)"),
        ("yield_on_used", 0.7123, "71.2 %"),
        ("cut_line", 414.6, "415 mm"),
        ("remnants", 2.0, "2"),
        ("leather_cost", 41.2, "41.20 EUR"),
        ("usable_cost", 14.974, "14.97 EUR/ft²"),
    ],
)
def test_figures_are_shown_as_people_read_them(key, value, shown):
    assert text(key, value, "EUR") == shown
