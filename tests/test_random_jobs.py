"""Random small jobs: no plan ever fails the checker.

The jobs are those of the bench (:mod:`tests.bench.jobs`), which runs ten thousand of them.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from shapely import affinity

from nest.errors import NoPlan
from nest.planning import plan_week
from nest.plans import TOLERANCE
from tests.bench import jobs

JOBS = 120
result_of = cache(jobs.run)


@pytest.mark.parametrize("number", range(JOBS))
def test_what_comes_back_passes_the_checker_or_nothing_comes_back(number: int) -> None:
    """A plan without findings, or a plain NoPlan that isn't a layout refused to the end."""
    result = result_of(number)
    assert result.outcome != "failed", result.says


def test_most_random_jobs_end_with_a_plan() -> None:
    """Jobs that nobody could plan would test nothing."""
    outcomes = [result_of(number).outcome for number in range(40)]
    assert outcomes.count("planned") >= 20


@pytest.mark.parametrize("number", range(6))
def test_plans_of_random_jobs_keep_gap_and_margin_by_shapely_alone(number: int) -> None:
    """The checker's verdict on gap and margin, said again without the checker."""
    job, hide = jobs.drawn(number)
    try:
        plan = plan_week(job, hide, effort=jobs.EFFORT, partial=True).plan
    except NoPlan:
        pytest.skip("this job has no plan")
    by_id = {wanted.id: wanted.part.outline.polygon for wanted in job.parts}
    laid = [
        affinity.translate(affinity.rotate(by_id[p.id], p.angle, (0, 0)), p.x, p.y)
        for p in plan.placements
    ]
    assert laid
    near = [shapely.distance(a, b) for i, a in enumerate(laid) for b in laid[:i]]
    assert np.min(near, initial=np.inf) >= job.gap - TOLERANCE
    assert all(hide.polygon.buffer(TOLERANCE).covers(part) for part in laid)
    edge = [part.distance(hide.polygon.boundary) for part in laid]
    assert min(edge) >= job.edge_margin - TOLERANCE


@pytest.mark.parametrize("number", range(3))
def test_the_same_number_draws_the_same_job(number: int) -> None:
    """A failure can be looked at again from its number alone."""
    (job, hide), (again, same) = jobs.drawn(number), jobs.drawn(number)
    assert [w.id for w in job.parts] == [w.id for w in again.parts]
    assert hide.polygon.equals(same.polygon)
    assert (job.gap, job.keep, job.edge_margin) == (again.gap, again.keep, again.edge_margin)
