"""Solving the vat plan aim by aim; this room's only door to the solver, which is imported when first needed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from intake.errors import BadInput, Finding
from intake.plan.aims import NAMES, SETTLED_FROM, aim, settle
from intake.plan.binding import shortages
from intake.plan.exact import Model, build
from intake.plan.greedy import first_plan
from intake.plan.problem import Problem
from intake.plan.rows import Rows, Terms
from intake.plan.scene import Layout, Scene
from intake.plan.solution import Objective, Progress, Solution, layout_of, placements_of

__all__ = ["Answer", "Limits", "run", "solve"]

Report = Callable[[Progress], object]

_SHARES = (0.5, 0.15, 0.2, 0.1, 0.05)
"""Each aim's share of the time; what an aim leaves unused goes to the next."""

_DETERMINISTIC_PER_SECOND = 0.25
"""Deterministic seconds asked for per second: interleaved search used 3.7 times what it was given (ortools 9.15)."""

_BRAKE = 3.0
"""A run that takes this many times its seconds is cut by the wall clock, and is then not reproducible."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How long and how a run may search."""

    seconds: float
    seed: int = 1
    workers: int = 8
    presolve: bool = True


@dataclass(frozen=True, slots=True)
class Answer:
    """What a run found: no values when it found none."""

    status: str
    values: tuple[int, ...]
    value: int
    bound: int
    seconds: float
    cut: bool

    @property
    def proved(self) -> bool:
        """Whether no better value exists."""
        return self.status == "OPTIMAL"


def run(
    rows: Rows,
    objective: Terms,
    limits: Limits,
    *,
    hint: Sequence[int] = (),
    report: Callable[[int, int, float], object] | None = None,
) -> Answer:
    """Make an objective over rows as small as it gets, deterministically unless the wall-clock brake cuts in.

    Parameters
    ----------
    hint
        Values of all variables that satisfy the rows, where known.
    report
        Called with value, bound and seconds at each better solution; a true answer stops the run.
    """
    from ortools.sat.python import cp_model  # heavy, and not needed where the greedy plan is enough

    model = _emitted(cp_model.CpModel(), rows, objective, hint)
    solver = cp_model.CpSolver()
    _tune(solver.parameters, limits)
    ear = None if report is None else _Ear(solver, report)
    status = solver.status_name(solver.solve(model, None if ear is None else _listening(cp_model, solver, ear)))
    if ear is not None and ear.trouble is not None:
        raise ear.trouble
    found = status in {"OPTIMAL", "FEASIBLE"}
    stopped = ear is not None and ear.stopped
    return Answer(
        status,
        tuple(solver.response_proto.solution) if found else (),
        round(solver.objective_value) if found else 0,
        _rounded_up(solver.best_objective_bound) if status != "INFEASIBLE" else 0,
        solver.wall_time,
        stopped or (status != "OPTIMAL" and solver.wall_time >= _BRAKE * limits.seconds - 0.01),
    )


def _rounded_up(bound: float) -> int:
    whole = round(bound)
    return whole if abs(bound - whole) < 1e-6 else int(-(-bound // 1))


def _tune(parameters: Any, limits: Limits) -> None:
    parameters.random_seed = limits.seed
    parameters.num_workers = limits.workers
    parameters.interleave_search = limits.workers > 1
    parameters.interleave_batch_size = 8
    parameters.max_deterministic_time = max(0.01, limits.seconds * _DETERMINISTIC_PER_SECOND)
    parameters.max_time_in_seconds = max(0.05, limits.seconds * _BRAKE)
    parameters.cp_model_presolve = limits.presolve


def _emitted(model: Any, rows: Rows, objective: Terms, hint: Sequence[int]) -> Any:
    proto = model.proto
    for low, high in zip(rows.low, rows.high, strict=True):
        proto.variables.add().domain.extend((low, high))
    least, most = -(2**62), 2**62
    for number, members in enumerate(rows.row_vars):
        linear = proto.constraints.add().linear
        linear.vars.extend(members)
        linear.coeffs.extend(rows.row_coefs[number])
        floor, roof = rows.row_low[number], rows.row_high[number]
        linear.domain.extend((least if floor is None else floor, most if roof is None else roof))
    proto.objective.vars.extend([variable for variable, _ in objective])
    proto.objective.coeffs.extend([coefficient for _, coefficient in objective])
    if hint:
        proto.solution_hint.vars.extend(range(len(hint)))
        proto.solution_hint.values.extend(hint)
    return model


class _Ear:
    """Hears of solutions and bounds, tells the caller, and stops the solver when the caller wishes.

    A stop from inside the first solution callback aborts the whole process in interleaved search (seen with ortools
    9.15), so a wish to stop is kept until the next event.
    """

    def __init__(self, solver: Any, report: Callable[[int, int, float], object]) -> None:
        self.solver, self.report = solver, report
        self.heard, self.value, self.seconds, self.stopped = 0, 0, 0.0, False
        self.trouble: Exception | None = None

    def solution(self, value: float, bound: float, seconds: float) -> None:
        self.value, self.seconds = round(value), seconds
        self._tell(bound)
        self.heard += 1
        if self.stopped and self.heard > 1:
            self.solver.stop_search()

    def bound(self, bound: float) -> None:
        if self.heard:
            self._tell(bound)
            if self.stopped:
                self.solver.stop_search()

    def _tell(self, bound: float) -> None:
        if self.stopped:
            return
        try:
            self.stopped = bool(self.report(self.value, _rounded_up(bound), self.seconds))
        except Exception as trouble:  # noqa: BLE001  # raised again once the solver has returned
            self.trouble, self.stopped = trouble, True


def _listening(cp_model: Any, solver: Any, ear: _Ear) -> Any:
    class Watcher(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
        def on_solution_callback(self) -> None:
            ear.solution(self.objective_value, self.best_objective_bound, self.wall_time)

    solver.best_bound_callback = ear.bound
    return Watcher()


def solve(
    problem: Problem,
    *,
    seconds: float = 20.0,
    seed: int = 1,
    progress: Report | None = None,
    aims: int = len(NAMES),
    start: Solution | None = None,
) -> Solution:
    """Plan: most animals placed, then fewest moves of present stock, then fewest vats and splits, room, balance.

    Parameters
    ----------
    seconds
        Time to search in all, as seconds of an ordinary machine; counted by the solver's own deterministic clock, so
        that the same problem and seed give the same plan.
    progress
        Called with every better plan; a true answer stops the search and the best plan so far is returned.
    aims
        How many of the aims to pursue; 1 asks only how many animals can be placed.
    start
        A plan of a similar problem to start from, used where it is sound here and better than the greedy's.

    Raises
    ------
    BadInput
        ``seconds`` is not positive.
    """
    if seconds <= 0:
        raise BadInput(Finding("seconds", str(seconds), "a positive number of seconds"))
    search = _Search(problem, seconds, seed, progress)
    search.begin(start)
    for number, name in enumerate(NAMES[:aims]):
        if number == SETTLED_FROM:
            settle(search.model, search.values)
        search.pursue(name, _SHARES[number])
    return search.solution()


class _Search:
    """The best plan so far, and the aims reached on the way."""

    def __init__(self, problem: Problem, seconds: float, seed: int, progress: Report | None) -> None:
        self.problem, self.seed, self.progress = problem, seed, progress
        self.left = self.total = seconds
        self.spent = 0.0
        self.objectives: list[Objective] = []
        self.left_bound = 0
        self.cut = self.stopped = False

    def begin(self, start: Solution | None) -> None:
        """Publish the greedy plan, then build the model around it, or around a better plan known before."""
        self.layout = first_plan(Scene(self.problem))
        self._tell(Progress(NAMES[0], self._left(self.layout), 0, 0.0, "greedy"))
        self.model: Model = build(Scene(self.problem, loose=True), range(len(self.problem.batches)))
        self.values: list[int] = self.model.write(self.layout)
        if start is not None:
            known = layout_of(self.problem, start)
            values = self.model.write(known)
            if self._left(known) < self._left(self.layout) and not self.model.rows.broken(values):
                self.layout, self.values = known, values

    def _left(self, layout: Layout) -> int:
        batches = enumerate(self.problem.batches)
        return sum(batch.weight * (batch.count - layout.placed(owner)) for owner, batch in batches)

    def pursue(self, name: str, share: float) -> None:
        """Reach one aim as far as its share of time allows, then hold it."""
        rows = self.model.rows
        terms = aim(self.model, name).terms
        self.values = rows.complete(dict(enumerate(self.values)))
        value = sum(coefficient * self.values[variable] for variable, coefficient in terms)
        least = sum(coefficient * rows.low[variable] for variable, coefficient in terms)
        if value > least and not self.stopped:
            answer = self._run(name, terms, share)
            if answer.values:
                better = sum(coefficient * answer.values[variable] for variable, coefficient in terms)
                if better <= value:
                    value, self.values = better, list(answer.values)
                    self.layout = self.model.read(self.values)
            least = max(least, min(answer.bound, value)) if answer.status != "INFEASIBLE" else least
        self.objectives.append(self._reached(name, value, least))
        if terms:
            rows.row(terms, None, value)

    def _reached(self, name: str, value: int, least: int) -> Objective:
        """The first aim is pursued as animals left over and told as animals placed, each times its weight."""
        if name != NAMES[0]:
            return Objective(name, value, least, value == least)
        self.left_bound = least
        whole = sum(batch.weight * batch.count for batch in self.problem.batches)
        return Objective(name, whole - value, whole - least, value == least)

    def _run(self, name: str, terms: Terms, share: float) -> Answer:
        ahead = sum(_SHARES[NAMES.index(name) :])
        limits = Limits(max(0.05, self.left * share / ahead), self.seed)

        def report(value: int, bound: int, seconds: float) -> object:
            return self._tell(Progress(name, value, bound, self.spent + seconds, "search"))

        answer = run(self.model.rows, terms, limits, hint=self.values, report=report if self.progress else None)
        self._account(answer)
        if answer.status in {"INFEASIBLE", "MODEL_INVALID"}:
            # The plan in hand satisfies every row, so this is the solver's error; ask it once more another way.
            plain = Limits(limits.seconds, self.seed, workers=1, presolve=False)
            answer = run(self.model.rows, terms, plain, hint=self.values)
            self._account(answer)
        return answer

    def _account(self, answer: Answer) -> None:
        self.left = max(0.0, self.left - answer.seconds)
        self.spent += answer.seconds
        self.cut = self.cut or answer.cut

    def _tell(self, progress: Progress) -> bool:
        if self.progress is not None:
            self.stopped = bool(self.progress(progress)) or self.stopped
        return self.stopped

    def solution(self) -> Solution:
        """The answer from the best plan and the aims reached."""
        scene = Scene(self.problem)
        layout: Layout = self.layout
        placements, moves = placements_of(scene, layout)
        placed = sum(layout.placed(owner) for owner in range(len(self.problem.batches)))
        heaviest = max((batch.weight for batch in self.problem.batches), default=1)
        announced = self.problem.announced
        all_proved = len(self.objectives) >= 3 and all(objective.proved for objective in self.objectives[:3])
        return Solution(
            status="short" if placed < announced else ("optimal" if all_proved else "bounded"),
            announced=announced,
            placed=placed,
            placed_bound=min(announced, max(placed, announced - -(-self.left_bound // heaviest))),
            objectives=tuple(self.objectives),
            placements=placements,
            moves=moves,
            short=shortages(self.problem, layout),
            seconds=self.spent,
            seed=self.seed,
            reproducible=not self.cut,
        )
