"""Which kits go to which hide: CP-SAT against trying every assignment there is."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from nest.place.assign import assign
from nest.place.bins import DENSE, Bin, bin_of, rows_of
from nest.place.offer import Counts, Goal, Offer, Row
from nest.place.solve import Placed
from tests import small


def offer(random: np.random.Generator, kinds: int) -> Offer:
    """A hide with two areas, a price, a refused set and whole numbers throughout."""
    rows = tuple(
        Row(tuple(map(float, random.integers(0, 9, kinds))), float(random.integers(10, 30)))
        for _ in range(2)
    )
    refused = tuple(map(int, random.integers(0, 3, kinds)))
    return Offer(
        rows,
        tuple(map(float, random.integers(1, 9, kinds))),
        charge=float(random.integers(1, 5)),
        density=float(random.choice([0.7, 0.9, 1.0])),
        refused=(refused,) if any(refused) else (),
    )


def keeps(n: Counts, one: Offer) -> bool:
    """Whether a hide's limits allow the counts, written down anew."""
    room = all(np.dot(row.wants, n) <= int(row.has * one.density) for row in one.rows)
    return room and not any(all(a >= b for a, b in zip(n, r, strict=True)) for r in one.refused)


def every(counts: Counts, offers: Sequence[Offer], whole: bool) -> Iterator[tuple[Counts, ...]]:
    """All assignments that keep all limits."""
    on_one = list(itertools.product(*(range(n + 1) for n in counts)))
    sets = [[n for n in on_one if keeps(n, one)] for one in offers]
    for found in itertools.product(*sets):
        total = np.sum(found, axis=0)
        if (total == counts).all() if whole else (total <= counts).all():
            yield found


def worth(found: Sequence[Counts], offers: Sequence[Offer], goals: Sequence[Goal]) -> tuple:
    """What is compared: goals, largest first, then cost, then the number of hides."""
    total = np.sum(found, axis=0)
    cost = sum(
        np.dot(one.costs, n) + one.charge * any(n) for one, n in zip(offers, found, strict=True)
    )
    return (*(-int(np.dot(goal, total)) for goal in goals), float(cost), sum(map(any, found)))


@pytest.mark.parametrize("seed", range(40))
def test_no_other_assignment_is_better(seed: int) -> None:
    """Three kinds on two hides, whole and in part: the best of all that brute force finds."""
    random = np.random.default_rng(seed)
    counts = tuple(map(int, random.integers(1, 4, 3)))
    offers = [offer(random, 3) for _ in range(2)]
    values = tuple(map(int, random.integers(1, 20, 3)))
    for whole, goals in ((True, ()), (False, (values, (1, 1, 1)))):
        best = min((worth(f, offers, goals) for f in every(counts, offers, whole)), default=None)
        found = assign(counts, offers, goals, whole=whole)
        assert (found is None) == (best is None)
        if found is not None and best is not None:
            assert all(keeps(n, one) for n, one in zip(found, offers, strict=True))
            assert worth(found, offers, goals) == pytest.approx(best)


def test_a_tie_in_cost_goes_to_the_fewest_hides() -> None:
    """Two hides at one price without a charge: all on one of them."""
    same = Offer((Row((1.0,), 10.0),), (2.0,), charge=0.0)
    found = assign((6,), [same, same])
    assert found is not None
    assert sorted(found) == [(0,), (6,)]


def test_limits_of_pinned_kits_are_kept() -> None:
    """One kit has its place on the dearer hide, another may not go to the cheaper one."""
    cheap = Offer((), (1.0, 1.0), charge=1.0, most=(1, 0))
    dear = Offer((), (9.0, 9.0), charge=1.0, least=(1, 0))
    assert assign((1, 1), [cheap, dear]) == ((0, 0), (1, 1))


def test_the_same_question_has_the_same_answer() -> None:
    """Also where time ends the search: seven kinds, five hides, a knapsack of 70 kits."""
    random = np.random.default_rng(7)
    offers = [
        Offer(
            tuple(Row(tuple(random.uniform(2e4, 9e4, 7)), 6e5) for _ in range(9)),
            tuple(random.uniform(1.0, 9.0, 7)),
            charge=3.0,
            density=0.8,
        )
        for _ in range(5)
    ]
    goals = (tuple(map(int, random.integers(50, 200, 7))),)
    first, second = (assign((10,) * 7, offers, goals, whole=False) for _ in range(2))
    assert first == second
    assert first is not None


# --- what a hide offers ----------------------------------------------------------------------


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
    assert one.offer.density == DENSE
    one.refuse((12,), 0.2)
    bad, low = one.usage((12,)), one.offer.density
    assert low == pytest.approx(bad * 0.9)
    assert one.bad == bad
    one.holds((9,), Placed((), True, 0.0, (), 0, (), np.empty((0, 4))))
    assert one.raise_hopes()
    assert one.offer.density == pytest.approx((max(one.usage((9,)), low) + bad) / 2)
    for _ in range(20):
        one.raise_hopes()
    assert low < one.offer.density < bad
    assert not one.raise_hopes()


def test_of_few_kits_only_the_refused_set_is_cut_off() -> None:
    """Their shapes decide, so areas are taken as they are."""
    job = small.JOB
    limits = {"least": (0, 0), "most": (1, 1)}
    one = bin_of(
        small.hide(), job, job.kits, lambda hide, area: area, taken=(), strap=None, **limits
    )
    one.refuse((1, 1), 0.5)
    assert one.offer.density == 1.0
    assert one.offer.refused == ((1, 1),)
    assert not one.raise_hopes()


def test_what_was_placed_is_the_floor_of_what_is_asked_next() -> None:
    """Until it is freed; a density that has fallen since does not forbid it."""
    one = bin_for_many()
    one.holds((9,), Placed((), True, 0.0, (), 0, (), np.empty((0, 4))))
    one.refuse((10,), 0.3)
    assert one.offer.density < one.usage((10,))
    assert assign((20,), [one.asked()], [(1,)], whole=False) == ((9,),)
    assert one.has_held(0)
    assert one.free()
    assert one.asked().least == (0,)
    assert not one.free()
