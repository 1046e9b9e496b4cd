"""The door to CP-SAT: rows and an objective in, an answer with its bound out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import nullcontext
from typing import Any

from intake.plan.model.mip import Rows, Terms
from intake.plan.solvers.interface import Answer, Limits
from intake.plan.tuning import AT_ONCE, BRAKE_BRIEF_SECONDS, BRAKE_FACTOR, BRAKE_LEAST_SECONDS

__all__ = ["Pair", "run"]


_PROVERS = ("core", "reduced_costs", "pseudo_costs")
"""Ways of searching, by turns, where something is to be proved: measured in tests/bench/results/vat-plan-bounds.md."""


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
        Called with value, bound and seconds at each better solution, and every second of a proving run, which may have none
        (the value is then 0); a true answer stops the run.
    """
    from ortools.sat.python import cp_model  # heavy, and not needed where the greedy plan is enough

    model = _emitted(cp_model.CpModel(), rows, objective, hint)
    solver = cp_model.CpSolver()
    _tune(solver.parameters, limits)
    ear = None if report is None else _Ear(solver, report, pulsed=limits.proving)
    watcher = None if ear is None else _listening(cp_model, solver, ear)
    with _Pulse(ear) if ear is not None and limits.proving else nullcontext():
        status = solver.status_name(solver.solve(model, watcher))
    if ear is not None and ear.trouble is not None:
        raise ear.trouble
    found = status in {"OPTIMAL", "FEASIBLE"}
    stopped = ear is not None and ear.stopped
    return Answer(
        status,
        tuple(solver.response_proto.solution) if found else (),
        round(solver.objective_value) if found else 0,
        _rounded_up(solver.best_objective_bound) if status != "INFEASIBLE" else 0,
        limits.seconds_of(solver.deterministic_time),
        solver.wall_time,
        stopped or (status != "OPTIMAL" and solver.wall_time >= _brake(limits) - 0.01),
    )


class Pair:
    """Some runs at a time, for the steps of the search; to be left when done, so that its threads end."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(AT_ONCE)

    def __enter__(self) -> Pair:
        return self

    def __exit__(self, *trouble: object) -> None:
        self._pool.shutdown(cancel_futures=True)

    def start(self, rows: Rows, objective: Terms, limits: Limits, hint: Sequence[int]) -> Callable[[], Answer]:
        """Begin a run; what is given back waits for its answer."""
        return self._pool.submit(run, rows, objective, limits, hint=hint).result


def _rounded_up(bound: float) -> int:
    whole = round(bound)
    return whole if abs(bound - whole) < 1e-6 else int(-(-bound // 1))


def _brake(limits: Limits) -> float:
    return max(BRAKE_BRIEF_SECONDS if limits.brief else BRAKE_LEAST_SECONDS, limits.seconds * BRAKE_FACTOR)


def _tune(parameters: Any, limits: Limits) -> None:
    parameters.random_seed = limits.seed
    parameters.num_workers = limits.workers
    parameters.interleave_search = limits.workers > 1
    parameters.interleave_batch_size = 8
    parameters.max_deterministic_time = limits.work
    parameters.max_time_in_seconds = _brake(limits)
    parameters.cp_model_presolve = limits.presolve
    if limits.proving:
        parameters.subsolvers.extend(_PROVERS)
        parameters.num_workers = len(_PROVERS)
        parameters.use_lns = False
        parameters.use_rins_lns = False
        parameters.use_feasibility_jump = False
    if limits.brief:
        parameters.cp_model_probing_level = 0
        parameters.symmetry_level = 0
        parameters.max_presolve_iterations = 1
        parameters.presolve_inclusion_work_limit = 0
        parameters.find_big_linear_overlap = False
        parameters.linearization_level = 2


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
    """Receives solutions and bounds, reports them, and stops the solver when the caller requests it.

    A stop from inside the first solution callback aborts the whole process in interleaved search (seen with ortools
    9.15), so a requested stop is kept until the next event.
    """

    def __init__(self, solver: Any, report: Callable[[int, int, float], object], *, pulsed: bool) -> None:
        self.solver, self.report = solver, report
        self.heard, self.value, self.seconds, self.stopped = 0, 0, 0.0, False
        self.trouble: Exception | None = None
        self.least, self.pulsed = 0.0, pulsed

    def solution(self, value: float, bound: float, seconds: float) -> None:
        self.value, self.seconds, self.least = round(value), seconds, bound
        self.heard += 1
        if self.pulsed:
            return  # one thread reports, and that is the pulse's
        self._report(bound)
        if self.stopped and self.heard > 1:
            self.solver.stop_search()

    def pulse(self, seconds: float) -> None:
        """Report what is known although nothing is new."""
        self.seconds = seconds
        self._report(self.least)
        if self.stopped:
            self.solver.stop_search()

    def bound(self, bound: float) -> None:
        self.least = bound
        if self.heard and not self.pulsed:
            self._report(bound)
            if self.stopped:
                self.solver.stop_search()

    def _report(self, bound: float) -> None:
        if self.stopped:
            return
        try:
            self.stopped = bool(self.report(self.value, _rounded_up(bound), self.seconds))
        except Exception as trouble:  # noqa: BLE001  # raised again once the solver has returned
            self.trouble, self.stopped = trouble, True


class _Pulse:
    """Lets a run report what it knows once a second, so that whoever waits sees it alive and can stop it."""

    def __init__(self, ear: _Ear) -> None:
        self._ear = ear
        self._over: Future[None] = Future()
        self._pool = ThreadPoolExecutor(1)

    def __enter__(self) -> None:
        self._pool.submit(self._beat)

    def __exit__(self, *trouble: object) -> None:
        self._over.set_result(None)
        self._pool.shutdown()

    def _beat(self) -> None:
        seconds = 0.0
        while not self._over.done():
            try:
                self._over.result(timeout=1.0)
            except NotYet:
                seconds += 1.0
                self._ear.pulse(seconds)


def _listening(cp_model: Any, solver: Any, ear: _Ear) -> Any:
    class Watcher(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
        def on_solution_callback(self) -> None:
            ear.solution(self.objective_value, self.best_objective_bound, self.wall_time)

    solver.best_bound_callback = ear.bound
    return Watcher()
