"""What a hide offers, and what trials teach of it."""

from __future__ import annotations

import pytest

from nest.assign.capacity import DENSE, Bin, bin_of, rows_of
from nest.assign.proposal import propose
from nest.place.solve import NOTHING, Filled
from tests import small


def test_rows_tell_what_ground_there_is_and_what_a_kit_takes_of_it() -> None:
    """By hand: thick leather is 600 × 600 mm less the margins; the loop takes 102 × 32 mm."""
    kit = small.JOB.kits[1]
    rows = rows_of(small.hide(), [kit], small.JOB, ())
    wants = [row.wants[0] for row in rows]
    loop = next(row for row in rows if row.wants[0] == pytest.approx(102 * 32, rel=0.002))
    assert loop.has == pytest.approx(595 * 590 - 60 * 60, rel=0.02)  # the scar bars straps
    assert max(wants) == pytest.approx(rows[-1].wants[0])
    assert rows[-1].has == max(row.has for row in rows)


def test_taken_ground_is_no_longer_there() -> None:
    """A pinned body takes its area and the gap around it."""
    body = small.BODY.outline.placed(0.0, 200.0, 200.0).polygon
    kit = small.JOB.kits[1]
    free, less = (rows_of(small.hide(), [kit], small.JOB, t)[-1].has for t in ((), (body,)))
    assert free - less == pytest.approx(body.buffer(small.JOB.gap).area, rel=0.01)


NINE = Filled(small.JOB, small.hide(), (), NOTHING)  # a layout; nobody looks at it


def bin_for_many() -> Bin:
    kits = tuple(small.JOB.kits[1:] * 20)
    job = small.JOB.of(kits)
    limits = {"least": (0,), "most": (20,)}
    return bin_of(
        small.hide(), job, kits[:1], lambda hide, area: area, taken=(), strap=None, **limits
    )


def test_hopes_fall_with_a_refusal_and_rise_half_way_after_a_success() -> None:
    """Never above what was refused, never below what was placed."""
    one = bin_for_many()
    assert one.density == DENSE
    one.refuse((12,), 0.2)
    bad, low = one.usage((12,)), one.density
    assert low == pytest.approx(bad * 0.9)
    assert one.bad == bad
    one.holds((9,), NINE)
    assert one.raise_hopes()
    assert one.density == pytest.approx((max(one.usage((9,)), low) + bad) / 2)
    for _ in range(20):
        one.raise_hopes()
    assert low < one.density < bad
    assert not one.raise_hopes()


def test_of_few_kits_only_the_refused_set_is_cut_off() -> None:
    """Their shapes decide, so areas are taken as they are."""
    job = small.JOB
    limits = {"least": (0, 0), "most": (1, 1)}
    one = bin_of(
        small.hide(), job, job.kits, lambda hide, area: area, taken=(), strap=None, **limits
    )
    one.refuse((1, 1), 0.5)
    assert one.density == 1.0
    assert one.refused == ((1, 1),)
    assert not one.raise_hopes()


def test_what_was_placed_is_the_floor_of_what_is_asked_next() -> None:
    """Until it is freed; a density that has fallen since does not forbid it."""
    one = bin_for_many()
    one.holds((9,), NINE)
    one.refuse((10,), 0.3)
    assert one.density < one.usage((10,))
    assert propose((20,), [one], [(1,)], whole=False) == ((9,),)
    assert one.has_held(0)
    assert one.free()
    assert one.asked()[0] == (0,)
    assert not one.free()
