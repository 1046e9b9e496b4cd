"""Steps solved two at a time must never break a rule, lose an animal, or depend on which of the two ends first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.model.exact_model import build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.model.release_dates import candidate_ends
from intake.plan.search.candidates import offered
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.first_fit import first_plan
from intake.plan.search.neighbourhoods import Chooser, improve, possible
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import Pair, run
from intake.plan.solvers.interface import Answer, Limits
from tests.bench.plan_instances import generated
from tests.strategies import problems


class OneByOne:
    """A crew that makes each run at once, before the next is begun."""

    def start(self, rows: Rows, objective: Terms, limits: Limits, hint: Sequence[int]) -> Callable[[], Answer]:
        """Make the run now and hand its answer over later."""
        answer = run(rows, objective, limits, hint=hint)
        return lambda: answer


def left_over(problem: Problem, layout: Layout) -> int:
    """Weighted animals without a place, counted afresh."""
    return sum(one.weight * (one.count - layout.placed(owner)) for owner, one in enumerate(problem.batches))


def keeps_every_rule(problem: Problem, layout: Layout) -> bool:
    """Whether the rows of the whole exact model hold, dates of release among them."""
    ends = dict(enumerate(candidate_ends(problem)))
    model = build(Occupancy(problem, loose=True), range(len(problem.batches)), ends=ends)
    return model.rows.broken(model.write(layout)) == []


def improved(problem: Problem, crew: object, seconds: float) -> Steps:
    """Steps from the greedy plan for so many charged seconds."""
    steps = Steps(problem, crew, "1", first_plan(Occupancy(problem)))  # type: ignore[arg-type]
    improve(steps, lambda _: False, seconds=seconds)
    return steps


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_steps_keep_every_rule_and_their_account_of_who_is_left(problem: Problem) -> None:
    """What the steps say is left over is what their plan leaves over, and never more than before."""
    steps = improved(problem, OneByOne(), 0.6)
    assert keeps_every_rule(problem, steps.plan())
    assert steps.left_over() == left_over(problem, steps.plan())
    assert steps.left_over() <= left_over(problem, first_plan(Occupancy(problem)))


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_scene_of_the_steps_is_the_scene_of_their_plan(problem: Problem) -> None:
    """Animals put in and taken out again and again leave nothing behind."""
    steps = improved(problem, OneByOne(), 0.4)
    fresh = Occupancy(problem, homes=steps.plan().homes)
    fresh.fill(steps.plan())
    for mine, other in zip(steps.occupancy.inside, fresh.inside, strict=True):
        assert sorted(map(repr, mine)) == sorted(map(repr, other))


def test_plan_does_not_depend_on_which_of_two_runs_ends_first() -> None:
    """Two threads and none give the same plan, so a loaded machine cannot change it."""
    problem = generated(60, 40, 3, 0.2)
    with Pair() as pair:
        one = improved(problem, pair, 0.6)
    other = improved(problem, OneByOne(), 0.6)
    assert one.plan() == other.plan()
    assert one.charged == other.charged


def test_step_is_refused_when_its_places_are_taken_meanwhile(tiny: Problem) -> None:
    """Of two steps that want the same room the second must not be taken over on top of the first."""
    problem = tiny
    empty = Layout({}, first_plan(Occupancy(problem)).homes)
    steps = Steps(problem, OneByOne(), "1", empty)
    steps.begin([0], (), 1.0, partial(offered, key="a"))
    steps.begin([2], (), 1.0, partial(offered, key="b"))
    first, second = steps.end(), steps.end()
    assert first.gained > 0
    assert keeps_every_rule(problem, steps.plan())
    assert steps.left_over() == left_over(problem, empty) - first.gained - second.gained


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_plan_come_back_to_is_the_plan_that_was_left(problem: Problem) -> None:
    """After lots were ejected in vain the best plan stands again, in the occupancy as well."""
    steps = Steps(problem, OneByOne(), "1", first_plan(Occupancy(problem)))
    best = steps.plan()
    chooser = Chooser(steps)
    chooser.eject()
    while steps.queue:
        steps.end()
    assert keeps_every_rule(problem, steps.plan())
    steps.adopt(best)
    assert steps.plan() == best
    fresh = Occupancy(problem, homes=best.homes)
    fresh.fill(best)
    for mine, other in zip(steps.occupancy.inside, fresh.inside, strict=True):
        assert sorted(map(repr, mine)) == sorted(map(repr, other))


@given(problem=problems(most_batches=3))
@settings(max_examples=40, deadline=None)
def test_no_plan_places_more_of_a_batch_than_is_possible_alone(problem: Problem) -> None:
    """What a batch could have if there were no other is a ceiling, or the bound built on it would be wrong."""
    plan = solve(problem, seconds=1, aims=1)
    alone = possible(problem)
    for short in plan.short:
        owner = next(n for n, batch in enumerate(problem.batches) if batch.id == short.batch)
        assert problem.batches[owner].count - short.count <= alone[owner]


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_rows_added_for_the_solver_cost_no_plan(problem: Problem) -> None:
    """The tight model has the optimum of the plain one."""
    values = []
    for tight in (False, True):
        model = build(Occupancy(problem, loose=True), range(len(problem.batches)), tight=tight)
        answer = run(model.rows, objective_terms(model, NAMES[0]).terms, Limits(3))
        assert answer.status == "OPTIMAL"
        values.append(answer.value)
    assert values[0] == values[1]
