"""Which whole kits go to which hide: areas decide here, shapes later.

CP-SAT finds the counts by what :class:`nest.assign.capacity.Bin` says of the hides: areas of
ground, what leather costs, and sets of kits that were tried there and did not fit.
"""

from __future__ import annotations

from collections.abc import Sequence

from ortools.sat.python import cp_model

from nest.assign.capacity import Bin, Counts

WORK = 0.5  # of CP-SAT per aim, by its own count, about seconds; small jobs are proved in it
FINE = 10_000_000  # costs are told in this many steps


def propose(
    counts: Counts, bins: Sequence[Bin], goals: Sequence[Counts] = (), *, whole: bool = True
) -> tuple[Counts, ...] | None:
    """Give kits to hides: by the goals one after the other, then least cost, then fewest hides.

    Parameters
    ----------
    counts : kits wanted of each kind.
    goals : what one kit of each kind is worth (a whole number), to be as large as can be over
        the kits given out; the first goal first.
    whole : every kit must find its hide.

    Returns the counts for each hide, or None where no assignment keeps the limits. The same
    input gives the same answer on every run.
    """
    model = cp_model.CpModel()
    used = [model.new_bool_var("") for _ in bins]
    given = [_counts_on(model, counts, one, used[h]) for h, one in enumerate(bins)]
    kits = [cp_model.LinearExpr.sum(on_hides) for on_hides in zip(*given, strict=True)]
    for total, most in zip(kits, counts, strict=True):
        model.add(total == most if whole else total <= most)
    aims = [-_weighed(goal, kits) for goal in goals if any(goal)]
    aims += [_cost(counts, bins, given, used), cp_model.LinearExpr.sum(used)]
    found = _least(model, aims, [*used, *(n for on_hide in given for n in on_hide)])
    if found is None:
        return None
    return tuple(tuple(found.value(n) for n in on_hide) for on_hide in given)


def _counts_on(
    model: cp_model.CpModel, counts: Counts, one: Bin, used: cp_model.IntVar
) -> list[cp_model.IntVar]:
    """The counts on one hide, held to its limits."""
    least, most, density = one.asked()
    n = [
        model.new_int_var(low, min(high, wanted), "")
        for low, high, wanted in zip(least, most or counts, counts, strict=True)
    ]
    model.add(cp_model.LinearExpr.sum(n) <= sum(counts) * used)
    for row in one.rows:
        model.add(_weighed([round(want) for want in row.wants], n) <= int(row.has * density))
    for refused in one.refused:
        fewer = {kind: model.new_bool_var("") for kind, m in enumerate(refused) if m}
        for kind, is_fewer in fewer.items():
            model.add(n[kind] < refused[kind]).only_enforce_if(is_fewer)
        model.add_bool_or(list(fewer.values()))
    return n


def _weighed(weights: Sequence[int], n: Sequence[cp_model.LinearExprT]) -> cp_model.LinearExpr:
    return cp_model.LinearExpr.weighted_sum(n, weights)


def _cost(
    counts: Counts,
    bins: Sequence[Bin],
    given: Sequence[Sequence[cp_model.IntVar]],
    used: Sequence[cp_model.IntVar],
) -> cp_model.LinearExpr:
    """Cost of an assignment, in whole steps."""
    largest = max(
        one.charge + sum(c * n for c, n in zip(one.costs, counts, strict=True)) for one in bins
    )
    step = max(largest, 1e-9) / FINE
    costs = [round(cost / step) for one in bins for cost in (*one.costs, one.charge)]
    of = [n for on_hide, cut in zip(given, used, strict=True) for n in (*on_hide, cut)]
    return _weighed(costs, of)


def _least(
    model: cp_model.CpModel,
    aims: Sequence[cp_model.LinearExpr],
    variables: Sequence[cp_model.IntVar],
) -> cp_model.CpSolver | None:
    """Make one aim after the other as small as can be, each held when the next one's turn is."""
    found = None
    for aim in aims:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = WORK
        model.minimize(aim)
        if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return found
        found = solver
        model.add(aim <= round(solver.objective_value))
        model.clear_hints()  # type: ignore[no-untyped-call]
        for variable in variables:
            model.add_hint(variable, solver.value(variable))
    return found
