"""The core of the timetable's model against public instances with published optima, and against the impossible."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import pytest

from tests.timetable.public_sets import SETS, Answer, Project, any_schedule, faults, projects, solve, unkeepable

EFFORT = 4.0
"""Deterministic seconds; the instances below are proved within a third of it."""

SLOW = {"la16", "la21", "J30_9_2", "J30_13_1", "J30_45_6", "psp_j20_34", "psp_j20_35", "psp_j30_33", "ft10", "orb01"}
"""Left to ``tests/bench/project_sets.py``: each takes more than two seconds."""

QUICK = [one for one in projects("PSPLIB j30", "RCPSP/max", "RCPSP/max j10", "job shop") if one.name not in SLOW]

NONE = projects("RCPSP/max without a schedule")


@cache
def solved(name: str) -> Answer:
    """The answer to one of the quick instances."""
    return solve(next(one for one in QUICK if one.name == name), seconds=EFFORT)


@pytest.mark.parametrize("project", QUICK, ids=lambda one: one.name)
def test_the_published_optimum_is_reached_and_proved(project: Project) -> None:
    """A builder that lost a lag or a resource would end sooner than the published optimum, one too tight later."""
    answer = solved(project.name)
    assert (answer.status, answer.value, answer.bound) == ("optimal", project.optimum, project.optimum)
    assert answer.value is not None
    assert faults(project, answer.starts, answer.value) == []


@pytest.mark.parametrize("project", QUICK, ids=lambda one: one.name)
def test_one_slot_less_than_the_published_optimum_is_called_impossible_twice(project: Project) -> None:
    """Known to be impossible by the published proof; an INFEASIBLE is believed only after a run with other settings."""
    assert project.optimum is not None
    runs = [
        solve(project, seconds=EFFORT, deadline=project.optimum - 1, presolve=presolve) for presolve in (True, False)
    ]
    assert [run.status for run in runs] == ["infeasible", "infeasible"]


@pytest.mark.parametrize("project", NONE, ids=lambda one: one.name)
def test_what_is_published_as_having_no_schedule_is_called_impossible_twice(project: Project) -> None:
    """By the core in two ways, and by a search that shares no code with it: so the instance was not mistyped into it."""
    assert project.infeasible
    runs = [solve(project, seconds=EFFORT, presolve=presolve) for presolve in (True, False)]
    assert [run.status for run in runs] == ["infeasible", "infeasible"]
    assert any_schedule(project) is None


@pytest.mark.parametrize("project", NONE, ids=lambda one: one.name)
def test_what_has_no_schedule_has_one_without_its_greatest_lags_or_with_room_for_all(project: Project) -> None:
    """Neither the lags nor the rooms alone forbid it; a core that calls everything impossible would fail here."""
    least = [lag for lag in project.lags if lag[1] > 0]
    room = [sum(row) for row in project.demands]
    for eased in (replace(project, lags=least), replace(project, capacities=room)):
        answer = solve(eased, seconds=0.02)
        assert answer.value is not None
        assert faults(eased, answer.starts, answer.value) == []


@pytest.mark.parametrize("project", projects("RCPSP/max j10"), ids=lambda one: one.name)
def test_the_search_without_the_solver_finds_a_schedule_where_one_is_published(project: Project) -> None:
    """A search that finds nothing anywhere would confirm nothing."""
    starts = any_schedule(project)
    assert starts is not None
    ends = [start + slots for start, slots in zip(starts, project.durations, strict=True)]
    assert faults(project, starts, max(ends)) == []


@pytest.mark.parametrize("project", QUICK, ids=lambda one: one.name)
def test_a_greatest_lag_shorter_than_a_chain_of_least_lags_is_called_impossible_twice(project: Project) -> None:
    """Known to be impossible by adding up the chain, whatever room there is."""
    spoiled = unkeepable(project)
    runs = [solve(spoiled, seconds=EFFORT, presolve=presolve) for presolve in (True, False)]
    assert [run.status for run in runs] == ["infeasible", "infeasible"]


def test_the_checker_sees_a_job_moved_and_an_end_misreported() -> None:
    """A checker that accepts anything would prove nothing."""
    project = QUICK[0]
    answer = solved(project.name)
    assert answer.value is not None
    assert faults(project, answer.starts, answer.value - 1)
    assert faults(project, [0] * len(answer.starts), max(project.durations))
    free = replace(project, lags=[])
    assert any("resource" in word for word in faults(free, [0] * len(answer.starts), max(project.durations)))


def test_every_instance_carries_its_source_and_every_set_its_licence() -> None:
    """Data of others travels only with where it is from."""
    held = json.loads(SETS.read_text(encoding="utf-8"))
    assert {row["set"] for row in held["instances"]} == set(held["sources"])
    licences = ("MIT licence", "Apache-2.0 licence", "as PSPLIB j30")
    assert all(any(licence in words for licence in licences) for words in held["sources"].values())
    assert SETS.stat().st_size < 100_000
