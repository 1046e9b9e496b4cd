"""The model of partial aggregation must allow every sound plan, and see what counting alone does not."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.plan import Problem
from intake.plan.model.mip import Rows
from intake.plan.relaxations.aggregated_quarantine import sides
from intake.plan.relaxations.lower_bound import counted
from intake.plan.relaxations.partial_aggregation import PartialAggregation, packed, partially_aggregated
from intake.plan.solution import layout_of
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import run
from intake.plan.solvers.interface import Limits
from tests.bench.plan_instances import days_fixed, generated
from tests.strategies import problems


def _every_lot(problem: Problem) -> PartialAggregation:
    return partially_aggregated(problem, {batch.lot for batch in problem.batches})


@given(problem=problems())
@settings(max_examples=80, deadline=None)
def test_every_sound_plan_satisfies_the_rows_with_all_vats_told_apart(problem: Problem) -> None:
    """A relaxation that misses one sound plan proves nothing: plans of the exact model are written into its rows."""
    half = _every_lot(problem)
    plan = layout_of(problem, solve(problem, seconds=1, aims=1))
    values = half.write(plan)
    assert half.rows.broken(values) == []
    left = sum((one.count - plan.placed(owner)) * one.weight for owner, one in enumerate(problem.batches))
    assert sum(weight * values[variable] for variable, weight in half.terms) == left


def test_a_plan_of_a_farm_of_sixty_vats_satisfies_the_rows() -> None:
    """The same where there are stock, fallow days, suppliers and every clash of the generator's groups."""
    problem = days_fixed(generated(60, 40, 2, 0.4))
    half = _every_lot(problem)
    assert half.individual_vats
    plan = layout_of(problem, solve(problem, seconds=2, aims=1))
    assert half.rows.broken(half.write(plan)) == []


@pytest.mark.parametrize(("seed", "load", "left"), [(3, 0.1, 146), (3, 0.4, 2510)])
def test_sides_of_a_lot_need_vats_of_their_own(seed: int, load: float, left: int) -> None:
    """Counting with sides proves what plans reach; with pairs of groups alone it said 140 and 2,469.

    146 was proved by HiGHS on the exact model as well.
    """
    found = counted(days_fixed(generated(60, 40, seed, load)), nodes=5000)
    assert found is not None
    assert found.answer.bound == left


def test_vats_told_apart_prove_what_counting_cannot() -> None:
    """946 by counting; the lots that do not fit their vats one by one make it 948, which a plan reaches."""
    problem = days_fixed(generated(60, 40, 4, 0.2))
    found = counted(problem, nodes=2000)
    assert found is not None
    assert found.answer.bound == 946
    solution = solve(problem, seconds=20, aims=1)
    assert solution.announced - solution.placed == 948
    assert solution.objectives[0].proved


@given(problem=problems())
@settings(max_examples=60, deadline=None)
def test_packing_gives_no_lot_more_vats_than_there_are(problem: Problem) -> None:
    """Lots are packed one after another, also into vats to spare; what one takes the next may not take again."""
    found = counted(problem, nodes=200)
    if found is None or not found.answer.values:
        return
    values, loose = packed(found.model, found.answer.values, run)
    for counting in found.model.counting.values():
        for counts, free in counting.limits:
            assert sum(values[one] for one in counts) <= free
    assert loose <= {batch.lot for batch in problem.batches}


@given(st.sets(st.sampled_from(list(combinations("abcde", 2)))), st.lists(st.integers(0, 3), min_size=5, max_size=5))
@settings(max_examples=200, deadline=None)
def test_sides_are_true_of_any_seating(clashes: set[tuple[str, str]], wanted: list[int]) -> None:
    """However vats are shared by groups that may share, the vats of two sides add up to no more than all."""

    def clash(one: str, other: str) -> bool:
        return (min(one, other), max(one, other)) in clashes

    vats: list[set[str]] = []
    for name, number in zip("abcde", wanted, strict=True):
        fit = [vat for vat in vats if not any(clash(name, other) for other in vat)][:number]
        for vat in fit:
            vat.add(name)
        vats += [{name} for _ in range(number - len(fit))]
    for parted in sides("abcde", clash):
        assert all(clash(one, other) for a, b in combinations(parted, 2) for one in a for other in b)
        assert sum(sum(bool(side & vat) for vat in vats) for side in parted) <= len(vats)


def test_rows_taken_over_keep_their_meaning() -> None:
    """Bounds meet, rows and derived variables are numbered again, and a hint is completed as before."""
    mine, theirs = Rows(), Rows()
    shared = mine.variable(0, 9)
    left, one, other = theirs.variable(2, 12), theirs.variable(0, 1), theirs.variable(0, 1)
    anybody = theirs.any_of((one, other))
    theirs.row([(left, 1), (anybody, 3)], 4, None)
    numbers = mine.graft(theirs, {left: shared})
    assert (mine.low[shared], mine.high[shared]) == (2, 9)
    values = mine.complete({shared: 2, numbers[other]: 1})
    assert values[numbers[anybody]] == 1
    assert mine.broken(values) == []
    answer = run(mine, [(shared, 1), (numbers[anybody], 1)], Limits(1, workers=1))
    assert (answer.status, answer.value) == ("OPTIMAL", 3)


def test_a_proving_run_is_the_same_each_time() -> None:
    """Three ways of searching take turns in a fixed order."""
    half = partially_aggregated(days_fixed(generated(60, 40, 3, 0.1)))
    half.rows.row(half.terms, 146, 290)
    one, other = (run(half.rows, half.terms, Limits(8, proving=True)) for _ in range(2))
    assert (one.status, one.values, one.charged) == (other.status, other.values, other.charged)


def test_a_proving_run_is_heard_and_stopped_within_seconds() -> None:
    """Such a run may find nothing for half a minute: whoever waits is told once a second and may stop it."""
    problem = days_fixed(generated(60, 40, 4, 0.4))
    half = partially_aggregated(problem, {batch.lot for batch in problem.batches})
    half.rows.row(half.terms, 3533, 3550)  # 3,551 are left over at least, which takes long to see
    heard: list[tuple[int, int, float]] = []

    def report(value: int, bound: int, seconds: float) -> bool:
        heard.append((value, bound, seconds))
        return len(heard) > 1

    answer = run(half.rows, half.terms, Limits(60, proving=True), report=report)
    assert answer.cut
    assert answer.seconds < 20
    assert [value for value, _, _ in heard] == [0, 0]
