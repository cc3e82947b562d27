"""The compiled exchanges, against lists cut and joined in plain Python."""

import itertools
import math

import numpy as np
import pytest

from nest.cutter.exchange import kept, put, shorten

NONE = np.zeros((0, 2), dtype=np.int64)


def turned(run):
    """The same rows the other way round."""
    return [way ^ 1 for way in reversed(run)]


def exchanges(row):
    """Every run turned round in place, or put elsewhere as it is or turned."""
    for i, j in itertools.combinations(range(1, len(row)), 2):
        rest, run = row[:i] + row[j:], row[i:j]
        yield row[:i] + turned(run) + row[j:]
        for k in range(1, len(rest)):
            yield rest[:k] + run + rest[k:]
            yield rest[:k] + turned(run) + rest[k:]


def travel(row, begin, end, inside):
    hops = sum(math.dist(end[a], begin[b]) for a, b in itertools.pairwise(row))
    return hops + inside[row].sum()


def test_a_run_is_put_where_it_is_asked():
    row = list(range(0, 20, 2))
    for i, j in itertools.combinations_with_replacement(range(1, 9), 2):
        for k in (*range(1, i + 1), *range(j + 1, 10)):
            rest, run = row[:i] + row[j + 1 :], row[i : j + 1]
            at = k if k <= i else k - len(run)
            for round_, whole in ((False, run), (True, turned(run))):
                found = np.array(row)
                put(found, i, j, k, round_)
                assert found.tolist() == rest[:at] + whole + rest[at:]


@pytest.mark.parametrize("seed", range(4))
def test_nothing_more_is_saved_when_it_ends(seed):
    """Rows that are longer one way than the other, of which each begins and ends anywhere."""
    random = np.random.default_rng(seed)
    begin, end = random.uniform(0, 100, (2, 18, 2))
    inside = random.uniform(0, 40, 18)
    row = np.arange(0, 18, 2)
    before = travel(row, begin, end, inside)
    shorten(begin, end, inside, row, NONE)
    assert (row[0], row[-1]) == (0, 16)
    assert sorted(row >> 1) == list(range(9))
    least = travel(row, begin, end, inside)
    assert least < before
    for other in exchanges(row.tolist()):
        assert travel(np.array(other), begin, end, inside) > least - 1e-5


@pytest.mark.parametrize("seed", range(4))
def test_rules_are_kept(seed):
    random = np.random.default_rng(seed)
    begin, end = random.uniform(0, 100, (2, 18, 2))
    rules = np.array([[1, 5], [2, 5], [5, 7], [3, 4]])
    row = np.arange(0, 18, 2)
    assert kept(row, rules)
    assert not kept(row[::-1].copy(), rules)
    before = travel(row, begin, end, np.zeros(18))
    shorten(begin, end, np.zeros(18), row, rules)
    at = np.argsort(row >> 1)
    assert all(at[first] < at[then] for first, then in rules)
    assert travel(row, begin, end, np.zeros(18)) < before
