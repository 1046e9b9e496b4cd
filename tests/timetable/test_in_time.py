"""Nothing late where nothing need be late: found with names, kept apart from what is impossible, bounded from below."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from ortools.sat.python import cp_model

from intake.timetable.problem import Problem
from intake.timetable.search.cost import tally
from intake.timetable.search.hours import Hours
from intake.timetable.search.in_time import InTime, standing
from intake.timetable.search.serial import serial
from intake.timetable.search.solve import improve
from tests.bench.timetable import generate, planted
from tests.bench.timetable_bound import bench_bound
from tests.timetable import slots


def _asked(problem: Problem, *, named: bool = True) -> tuple[Any, Hours | None]:
    """Status of the solver and the timetable, if one was found."""
    model = InTime(cp_model, standing(Hours(problem)), [-1] * len(problem.jobs), named=named)
    if not model.possible:
        return cp_model.INFEASIBLE, None
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 1.0
    status = solver.solve(model.model)
    return status, model.answer(solver) if status == cp_model.OPTIMAL else None


def test_a_timetable_hidden_among_600_tasks_is_found_and_holds_slot_by_slot() -> None:
    """No hour of the busy days is spare there, and lifting alone left two slots of lateness."""
    problem = planted(600, 1, 1.0)
    found = improve(serial(problem), seconds=20.0, seed=1)
    assert found.proved
    assert slots.faults(problem, found.hours.start, found.hours.who) == []
    assert slots.late(problem, found.hours.start) == 0


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_people_alike_are_counted_together_and_named_afterwards(seed: int) -> None:
    """Two planted farms of ten people in four classes, two of five: names never clash and skills are kept."""
    problem = planted(120 * seed, seed, 1.5)
    _, hours = _asked(problem)
    assert hours is not None
    assert slots.faults(problem, hours.start, hours.who) == []
    assert slots.late(problem, hours.start) == 0


def test_what_may_not_move_stands_and_is_worked_around() -> None:
    """Work that has begun keeps its time and its people, and theirs is a class of its own."""
    problem = planted(120, 1, 1.5)
    _, first = _asked(problem)
    assert first is not None
    fixed = {index for index in range(len(problem.jobs)) if first.start[index] < 10 * 96}
    jobs = tuple(
        replace(job, fixed=index in fixed, pinned=first.start[index], pinned_who=first.who[index])
        for index, job in enumerate(problem.jobs)
    )
    _, again = _asked(replace(problem, jobs=jobs))
    assert again is not None
    assert all((again.start[index], again.who[index]) == (first.start[index], first.who[index]) for index in fixed)
    assert slots.faults(problem, again.start, again.who) == []


def test_where_something_must_be_late_it_is_seen_without_naming_anybody() -> None:
    """Four jobs of an hour for two people within an hour and a half; with a third hour they can be in time."""
    problem = planted(120, 1, 1.5)
    base = problem.days[1].first + 32
    four = tuple(
        replace(problem.jobs[0], uid=str(n), slots=4, earliest=base, latest=base + 2, who=(0, 1)) for n in range(4)
    )
    assert _asked(replace(problem, jobs=four), named=False)[0] == cp_model.INFEASIBLE
    later = tuple(replace(job, latest=base + 4) for job in four)
    status, hours = _asked(replace(problem, jobs=later))
    assert status == cp_model.OPTIMAL
    assert hours is not None
    assert slots.faults(replace(problem, jobs=later), hours.start, hours.who) == []


def test_the_judge_by_slots_sees_what_is_spoiled() -> None:
    """A judge that accepts anything would prove nothing."""
    problem = generate(120, 1)
    hours = serial(problem)
    assert slots.faults(problem, hours.start, hours.who) == []
    assert slots.late(problem, hours.start) == tally(hours).late
    one, other = 2, 12  # two first dips; the farm has one bench
    both = list(hours.start)
    both[other] = both[one]
    words = " ".join(slots.faults(problem, both, hours.who))
    assert "dip" in words
    nobody = [(), *hours.who[1:]]
    assert slots.faults(problem, hours.start, nobody)
    assert slots.faults(problem, [problem.days[0].first, *hours.start[1:]], hours.who)


def test_the_same_question_gets_the_same_answer() -> None:
    """A printed timetable must not change because it was reckoned again."""
    problem = planted(300, 2, 1.0)
    one, other = (improve(serial(problem), seconds=5.0, seed=4).hours for _ in range(2))
    assert (one.start, one.who) == (other.start, other.who)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_timetable_costs_less_than_the_dip_benches_alone_make_unavoidable(seed: int) -> None:
    """The bench's bound lies below what is found, and above nothing where the bench is crowded."""
    problem = generate(90, seed, 0.8)
    found = improve(serial(problem), seconds=2.0, seed=seed).hours
    bound = bench_bound(problem)
    assert slots.faults(problem, found.start, found.who) == []
    assert 0 < bound <= tally(found).cost
