"""Waters assigned must be waters there are, a plan made of them must keep every rule, and a full farm must profit."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.model.occupancy import Occupancy
from intake.plan.relaxations.aggregated_quarantine import rooms_in
from intake.plan.relaxations.disaggregation import disaggregated
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.first_fit import first_plan
from intake.plan.search.lot_placement import planned
from intake.plan.search.neighbourhoods import possible
from intake.plan.search.water_assignment import Party, WaterAssignment, claims_assigned, water_assignment
from intake.plan.search.water_assignment_lns import AssignmentLns, assigned_waters, matched
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import Pair
from tests.bench.plan_instances import days_fixed, generated, planted
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.plan.test_destroy_and_repair import OneByOne, keeps_every_rule, left_over
from tests.strategies import problems


def begun(problem: Problem) -> WaterAssignment:
    """A water assignment in which nobody has anything."""
    occupancy = Occupancy(problem, loose=True)
    most = possible(problem)
    return water_assignment(
        occupancy, rooms_in(occupancy), {owner: one.count - most[owner] for owner, one in enumerate(problem.batches)}
    )


def meet(one: Party, other: Party, gap: int = 0) -> bool:
    """Whether two parties are there on one day, each stay lengthened by the fallow days."""
    return one.start < other.end + gap and other.start < one.end + gap


def wrongs(assignment: WaterAssignment) -> list[str]:
    """What is wrong with a water assignment, counted day by day without the rows that made it."""
    found = []
    batches = assignment.occupancy.problem.batches
    for number, kind in enumerate(assignment.kinds):
        holders = [party for party in assignment.parties if assignment.held[party.number].get(number)]
        for day in sorted({party.start for party in holders}):
            active = [one for one in holders if one.start <= day < one.end + kind.fallow]
            if sum(assignment.held[one.number][number] for one in active) > len(kind.vats):
                found.append(f"more vats of kind {number} on day {day} than there are")
        for one, other in combinations(holders, 2):
            if assignment.occupancy.separate[kind.system] and meet(one, other) and one.supplier != other.supplier:
                found.append(f"suppliers {one.supplier} and {other.supplier} meet in one water")
    for party in assignment.parties:
        held = assignment.held[party.number]
        placed = {owner: batches[owner].count - assignment.left[owner] for owner in party.owners}
        area = sum(assignment.kinds[kind].area * count for kind, count in held.items())
        oxygen = sum(assignment.kinds[kind].oxygen * count for kind, count in held.items())
        if sum(batches[owner].footprint_mm2 * count for owner, count in placed.items()) > area:
            found.append(f"party {party.number} has too little bench area")
        if sum(batches[owner].oxygen_ug_per_h * count for owner, count in placed.items()) > oxygen:
            found.append(f"party {party.number} has too little oxygen")
        if any(held.get(kind, 0) > most for kind, most in party.doors.items()) or set(held) - set(party.doors):
            found.append(f"party {party.number} has vats that do not suit it")
    return found


@given(problem=problems())
@settings(max_examples=60, deadline=None)
def test_matching_and_steps_deal_out_only_what_there_is(problem: Problem) -> None:
    """No vat is counted twice on a day, no water held by two suppliers, nobody placed without room; and it never gets worse."""
    assignment = begun(problem)
    matched(assignment)
    assert wrongs(assignment) == []
    before = sum(assignment.lacking(party.number) for party in assignment.parties)
    AssignmentLns(assignment, OneByOne(), "1").improve(0.3)
    assert wrongs(assignment) == []
    assert sum(assignment.lacking(party.number) for party in assignment.parties) <= before


@pytest.mark.parametrize("seed", [1, 2])
def test_a_farm_of_sixty_vats_is_dealt_out_soundly(seed: int) -> None:
    """The same on a farm with stock, fallow days, and suppliers who want the same waters."""
    problem = days_fixed(generated(60, 40, seed, 0.4))
    assignment = begun(problem)
    matched(assignment)
    first = sum(assignment.lacking(party.number) for party in assignment.parties)
    assert wrongs(assignment) == []
    AssignmentLns(assignment, OneByOne(), "1").improve(0.5)
    assert wrongs(assignment) == []
    assert sum(assignment.lacking(party.number) for party in assignment.parties) < first


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_a_plan_made_of_an_allotment_keeps_every_rule(problem: Problem) -> None:
    """The water assignment forgets rules; the plan made of it may not, and it knows who has no place."""
    lns = assigned_waters(problem, OneByOne(), "1", possible(problem), 0.3)
    steps = Steps(problem, OneByOne(), "1", first_plan(Occupancy(problem)))
    planned(steps, disaggregated(lns.assignment.occupancy, claims_assigned(lns.assignment)), 1.0)
    assert keeps_every_rule(problem, steps.plan())
    assert steps.left_over() == left_over(problem, steps.plan())


def test_lots_that_no_time_is_left_for_are_placed_by_first_fit() -> None:
    """A plan cut short is still a whole plan: whoever was not reached is placed where there is room."""
    problem = days_fixed(generated(60, 40, 1, 0.1))
    lns = assigned_waters(problem, OneByOne(), "1", possible(problem), 0.1)
    steps = Steps(problem, OneByOne(), "1", first_plan(Occupancy(problem)))
    planned(steps, disaggregated(lns.assignment.occupancy, claims_assigned(lns.assignment)), 0.0)
    assert keeps_every_rule(problem, steps.plan())
    assert steps.left_over() == left_over(problem, steps.plan())
    assert 0 < steps.left_over() < sum(batch.count for batch in problem.batches)


def test_dealing_does_not_depend_on_which_of_two_runs_ends_first() -> None:
    """Two threads and none deal out the same."""
    problem = days_fixed(generated(60, 40, 3, 0.4))
    with Pair() as pair:
        one = assigned_waters(problem, pair, "1", possible(problem), 0.6)
    other = assigned_waters(problem, OneByOne(), "1", possible(problem), 0.6)
    assert (one.assignment.held, one.assignment.left, one.charged) == (
        other.assignment.held,
        other.assignment.left,
        other.charged,
    )


def test_a_planted_farm_is_filled_to_the_last_animal() -> None:
    """Three suppliers in three waters that are just large enough: only if each gets the right one does everybody fit."""
    problem = planted(36, 1)
    solution = solve(problem, seconds=12, aims=1)
    assert solution.placed == solution.announced
    assert judge(facts_of_problem(problem), solution.as_dict(problem.day_zero)) == []
