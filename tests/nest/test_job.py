"""The job and its budget: what belongs together, and what is left to spend."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hides.errors import InputError
from nest.job import WORK, Budget, Job, Pin
from nest.place import search
from tests import small

PINNED = replace(small.JOB, pins=(Pin("hunter-1/welt", 300.0, 100.0, 0.0),))


def test_pinned_and_loose_parts_are_the_whole_job() -> None:
    """One pinned welt, four loose parts; the kits stay as they are named."""
    assert [part.id for part in PINNED.pinned.parts] == ["hunter-1/welt"]
    assert PINNED.pinned.pins == PINNED.pins
    assert PINNED.loose.pins == ()
    ids = [part.id for part in PINNED.parts]
    assert [part.id for part in PINNED.loose.parts] == [i for i in ids if i != "hunter-1/welt"]
    assert [kit.id for kit in PINNED.loose.kits] == ["hunter-1", "skinner-1"]
    assert small.JOB.loose == small.JOB


def test_parts_are_alike_whatever_they_are_named() -> None:
    """Two bodies of one shape; a loop whose axis is turned is another thing."""
    alike = {part.id: part.likeness for part in small.JOB.parts}
    assert alike["hunter-1/body"] == alike["skinner-1/body"]
    assert alike["hunter-1/loop"] != alike["skinner-1/loop"]
    thin = replace(small.WANTED[0], need=replace(small.NEED, low=2.0))
    assert thin.likeness != small.WANTED[0].likeness


@pytest.mark.parametrize(
    ("job", "words", "says"),
    [
        (Job("", ()), {}, "20 s"),
        (Job("", (), effort=0.5), {}, "effort 0.5"),  # the job's effort before its seconds
        (Job("", (), effort=0.5), {"seconds": 3.0}, "3 s"),
        (Job("", ()), {"effort": 2.0}, "effort 2"),
    ],
)
def test_words_come_before_the_job_s_own_budget(job: Job, words: dict, says: str) -> None:
    assert str(job.budget(**words)) == says


def test_an_effort_is_used_up_by_work_alone() -> None:
    """A quarter of what an effort of 2 stands for, put down or looked at; then half of it."""
    budget = Budget(effort=2.0, began=-1e9)
    budget.work = WORK // 2
    assert budget.used == budget.used_after(WORK // 2) == 0.25
    half = budget.share(0.5)
    assert (half.effort, half.work, half.by_work) == (1.0, 0, True)


def test_seconds_are_used_up_by_the_clock_alone() -> None:
    """Opened 5 s ago."""
    budget = Budget(20.0)
    budget.began -= 5.0
    budget.work = 10**12
    assert budget.used == pytest.approx(0.25, abs=0.05)
    assert budget.share(0.1).passed < 1.0
    assert not budget.by_work


def test_an_effort_is_shared_by_all_workers() -> None:
    """A search that can't end early looks at that many poses, or a few rounds more."""
    square = small.BODY.outline.points
    shape = search.shapes.Shape(square, (0.0,))
    world = search.shapes.build([shape], [0, 0, 0], box=(0, 0, 200, 200), exact=True)
    work = search.run(world, Budget(effort=0.1)).work
    assert 0.1 * WORK * 0.9 < work < 0.1 * WORK + 4 * search.WORKERS * search.ROUND


@pytest.mark.parametrize(
    "given", [{}, {"seconds": 0.0}, {"effort": -1.0}, {"seconds": float("nan")}]
)
def test_a_budget_without_limit_or_amount_is_refused(given: dict) -> None:
    with pytest.raises(InputError, match="seconds or effort above 0"):
        Budget(**given)
