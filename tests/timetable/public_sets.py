"""Public scheduling instances put through the core of the timetable's own model, and a checker that shares no code with it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from intake.timetable.core import Core

SETS = Path(__file__).with_name("public_sets.json")


@dataclass(frozen=True)
class Project:
    """One instance: what each job asks of each resource, and lags ``(first, slots, then)`` from start to start."""

    name: str
    kind: str
    durations: list[int]
    capacities: list[int]
    demands: list[list[int]]
    lags: list[tuple[int, int, int]]
    optimum: int | None
    upper_bound: int | None


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
    assert all(one < other for one, other in pairwise(chain)), "a chain, not a cycle"
    back = (chain[-1], 1 - total, chain[0])
    return Project(**{**project.__dict__, "lags": [*project.lags, back], "optimum": None})
