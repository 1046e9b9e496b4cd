"""Public scheduling instances put through the core of the timetable's own model, and a checker that shares no code with it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import combinations, permutations
from pathlib import Path
from typing import Any

from intake.timetable.search.core import Core

SETS = Path(__file__).with_name("public_sets.json")


@dataclass(frozen=True)
class Project:
    """One instance: what each job asks of each resource, and lags ``(first, slots, then)`` from start to start.

    ``infeasible``: the source says that no schedule exists.
    """

    name: str
    kind: str
    durations: list[int]
    capacities: list[int]
    demands: list[list[int]]
    lags: list[tuple[int, int, int]]
    optimum: int | None
    upper_bound: int | None
    infeasible: bool = False


@dataclass(frozen=True)
class Answer:
    """``status`` is ``optimal``, ``feasible``, ``infeasible`` or ``unknown``."""

    status: str
    value: int | None
    bound: int
    starts: list[int]


def projects(*kinds: str) -> list[Project]:
    """The instances of some sets, in the order of the file."""
    rows = json.loads(SETS.read_text(encoding="utf-8"))["instances"]
    return [_project(row) for row in rows if row["set"] in kinds]


def _project(row: dict[str, Any]) -> Project:
    machines = range(len(row["capacities"]))
    demands = row.get("demands") or [[int(own == machine) for own in row["machines"]] for machine in machines]
    lags = [(first, slots, then) for first, slots, then in row["lags"]]
    return Project(
        name=row["name"],
        kind=row["set"],
        durations=row["durations"],
        capacities=row["capacities"],
        demands=demands,
        lags=lags,
        optimum=row["optimum"],
        upper_bound=row.get("upper_bound"),
        infeasible=row.get("infeasible", False),
    )


def solve(
    project: Project,
    *,
    seconds: float,
    workers: int = 1,
    deadline: int | None = None,
    presolve: bool = True,
    clock: bool = False,
) -> Answer:
    """The shortest schedule by the builder the timetable uses.

    ``seconds`` are the solver's deterministic ones, or with ``clock`` those on the wall; no job may end after
    ``deadline``.
    """
    from ortools.sat.python import cp_model

    horizon = _horizon(project) if deadline is None else deadline
    core = Core(cp_model)
    for key, slots in enumerate(project.durations):
        core.job(key, slots, [[0, horizon - slots]])
    for first, slots, then in project.lags:
        core.lag(core.start[first], slots, core.start[then])
    for has, row in zip(project.capacities, project.demands, strict=True):
        core.room({key: asked for key, asked in enumerate(row) if asked}, has)
    core.model.minimize(core.finish(horizon))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = workers
    if clock:
        solver.parameters.max_time_in_seconds = seconds
    else:
        solver.parameters.max_deterministic_time = seconds
    solver.parameters.cp_model_presolve = presolve
    return _answer(cp_model, solver, solver.solve(core.model), core)


def _answer(library: Any, solver: Any, status: Any, core: Core) -> Answer:
    names = {library.OPTIMAL: "optimal", library.FEASIBLE: "feasible", library.INFEASIBLE: "infeasible"}
    name = names.get(status, "unknown")
    if name not in {"optimal", "feasible"}:
        return Answer(name, None, 0, [])
    starts = [int(solver.value(core.start[key])) for key in sorted(core.start)]
    return Answer(name, round(solver.objective_value), round(solver.best_objective_bound), starts)


def _horizon(project: Project) -> int:
    """Every job, or the longest lag it begins, one after another."""
    longest = list(project.durations)
    for first, slots, _ in project.lags:
        longest[first] = max(longest[first], slots)
    return sum(longest)


def faults(project: Project, starts: list[int], value: int) -> list[str]:
    """Everything wrong with a schedule, counted slot by slot."""
    ends = [start + slots for start, slots in zip(starts, project.durations, strict=True)]
    words = [f"{then} starts {starts[then] - starts[first]} after {first}, not {slots}"
             for first, slots, then in project.lags if starts[then] - starts[first] < slots]  # fmt: skip
    if max(ends) != value or min(starts) < 0:
        words.append(f"ends at {max(ends)}, said to end at {value}")
    for number, (has, row) in enumerate(zip(project.capacities, project.demands, strict=True)):
        for slot in range(max(ends)):
            used = sum(asked for asked, start, end in zip(row, starts, ends, strict=True) if start <= slot < end)
            if used > has:
                words.append(f"resource {number}: {used} of {has} in slot {slot}")
                break
    return words


def any_schedule(project: Project) -> list[int] | None:
    """A schedule that keeps everything, or ``None`` when none exists: a full search without the solver, for small ones.

    Of two jobs that never go together one comes first; of jobs that are too many at once one waits for the end of
    another (Bartusch, Möhring & Radermacher 1988, branching on what is too many at once; cited from memory).
    """
    jobs = len(project.durations)
    never = -(10**9)
    longest = [[0 if one == other else never for other in range(jobs + 1)] for one in range(jobs + 1)]
    for job in range(jobs):
        _lengthen(longest, jobs, 0, job)
    kept = all(_lengthen(longest, *lag) for lag in project.lags)
    return _search(project, longest) if kept else None


def _lengthen(longest: list[list[int]], first: int, slots: int, then: int) -> bool:
    """Add a lag to the longest lags between all jobs; false when it can not be kept."""
    if longest[then][first] + slots > 0:
        return False
    if slots > longest[first][then]:
        tail = longest[then]
        for row in longest:
            reach = row[first] + slots
            for job, further in enumerate(tail):
                if reach + further > row[job]:
                    row[job] = reach + further
    return True


def _search(project: Project, longest: list[list[int]]) -> list[int] | None:
    if not _one_after_another(project, longest):
        return None
    starts = longest[-1][:-1]
    crowd = _crowd(project, starts)
    if crowd is None:
        return starts
    for first, then in permutations(crowd, 2):
        trial = [row[:] for row in longest]
        if _lengthen(trial, first, project.durations[first], then):
            found = _search(project, trial)
            if found is not None:
                return found
    return None


def _one_after_another(project: Project, longest: list[list[int]]) -> bool:
    """Order every two jobs that never go together and have only one order left; false when they have none."""
    rooms = list(zip(project.capacities, project.demands, strict=True))
    pairs = [(one, other) for one, other in combinations(range(len(project.durations)), 2)
             if any(row[one] + row[other] > has for has, row in rooms)]  # fmt: skip
    again = True
    while again:
        again = False
        for one, other in pairs:
            for first, then in ((one, other), (other, one)):
                slots = project.durations[first]
                if longest[then][first] + slots <= 0 or longest[then][first] >= project.durations[then]:
                    continue
                if not _lengthen(longest, then, project.durations[then], first):
                    return False
                again = True
    return True


def _crowd(project: Project, starts: list[int]) -> list[int] | None:
    """The fewest jobs found that are too many at once, each needed for it; nothing when there are none."""
    crowds: list[list[int]] = []
    for has, row in zip(project.capacities, project.demands, strict=True):
        for slot in starts:
            there = [job for job, asked in enumerate(row)
                     if asked and starts[job] <= slot < starts[job] + project.durations[job]]  # fmt: skip
            there.sort(key=lambda job: row[job])
            while sum(row[job] for job in there[1:]) > has:
                there.pop(0)
            if sum(row[job] for job in there) > has:
                crowds.append(there)
    return min(crowds, key=len, default=None)


def unkeepable(project: Project) -> Project:
    """The instance with a greatest lag one shorter than a chain of least lags: no schedule exists, by addition."""
    after: dict[int, list[tuple[int, int]]] = {}
    for first, slots, then in project.lags:
        if slots > 0:
            after.setdefault(first, []).append((slots, then))
    chain = [min(after)]
    total = 0
    while chain[-1] in after and len(chain) < 4:
        slots, then = max(after[chain[-1]])
        total += slots
        chain.append(then)
    assert len(set(chain)) == len(chain), "a chain, not a cycle"
    back = (chain[-1], 1 - total, chain[0])
    return Project(**{**project.__dict__, "lags": [*project.lags, back], "optimum": None})
