"""Which kits go to which hide: CP-SAT against trying every assignment there is."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pytest

from nest.assign.capacity import Bin, Counts, Row
from nest.assign.proposal import propose
from tests import small


def made(rows: Sequence[Row], costs: Sequence[float], **rules: Any) -> Bin:
    """A hide by what it offers alone."""
    return Bin(small.hide(), None, tuple(rows), tuple(costs), **rules)


def offer(random: np.random.Generator, kinds: int) -> Bin:
    """A hide with two areas, a price, a refused set and whole numbers throughout."""
    rows = tuple(
        Row(tuple(map(float, random.integers(0, 9, kinds))), float(random.integers(10, 30)))
        for _ in range(2)
    )
    refused = tuple(map(int, random.integers(0, 3, kinds)))
    return made(
        rows,
        tuple(map(float, random.integers(1, 9, kinds))),
        charge=float(random.integers(1, 5)),
        density=float(random.choice([0.7, 0.9, 1.0])),
        refused=(refused,) if any(refused) else (),
    )


def keeps(n: Counts, one: Bin) -> bool:
    """Whether a hide's limits allow the counts, written down anew."""
    room = all(np.dot(row.wants, n) <= int(row.has * one.density) for row in one.rows)
    return room and not any(all(a >= b for a, b in zip(n, r, strict=True)) for r in one.refused)


def every(counts: Counts, offers: Sequence[Bin], whole: bool) -> Iterator[tuple[Counts, ...]]:
    """All assignments that keep all limits."""
    on_one = list(itertools.product(*(range(n + 1) for n in counts)))
    sets = [[n for n in on_one if keeps(n, one)] for one in offers]
    for found in itertools.product(*sets):
        total = np.sum(found, axis=0)
        if (total == counts).all() if whole else (total <= counts).all():
            yield found


def worth(found: Sequence[Counts], offers: Sequence[Bin], goals: Sequence[Counts]) -> tuple:
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
        found = propose(counts, offers, goals, whole=whole)
        assert (found is None) == (best is None)
        if found is not None and best is not None:
            assert all(keeps(n, one) for n, one in zip(found, offers, strict=True))
            assert worth(found, offers, goals) == pytest.approx(best)


def test_a_tie_in_cost_goes_to_the_fewest_hides() -> None:
    """Two hides at one price without a charge: all on one of them."""
    same = made((Row((1.0,), 10.0),), (2.0,), charge=0.0)
    found = propose((6,), [same, same])
    assert found is not None
    assert sorted(found) == [(0,), (6,)]


def test_limits_of_pinned_kits_are_kept() -> None:
    """One kit has its place on the dearer hide, another may not go to the cheaper one."""
    cheap = made((), (1.0, 1.0), charge=1.0, most=(1, 0))
    dear = made((), (9.0, 9.0), charge=1.0, least=(1, 0))
    assert propose((1, 1), [cheap, dear]) == ((0, 0), (1, 1))


def test_the_same_question_has_the_same_answer() -> None:
    """Also where time ends the search: seven kinds, five hides, a knapsack of 70 kits."""
    random = np.random.default_rng(7)
    offers = [
        made(
            tuple(Row(tuple(random.uniform(2e4, 9e4, 7)), 6e5) for _ in range(9)),
            tuple(random.uniform(1.0, 9.0, 7)),
            charge=3.0,
            density=0.8,
        )
        for _ in range(5)
    ]
    goals = (tuple(map(int, random.integers(50, 200, 7))),)
    first, second = (propose((10,) * 7, offers, goals, whole=False) for _ in range(2))
    assert first == second
    assert first is not None
