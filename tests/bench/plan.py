"""The vat plan against a plain greedy, the straightforward CP-SAT model and the same model in HiGHS, on one clock.

Run by hand: ``python -m tests.bench.plan --sizes 60/40 --loads .1 .2 --seeds 1 2 --seconds 10 60 --raw cp highs``.  Every
plan is judged; ratios are ours to greedy, plain CP-SAT, HiGHS, with median and worst at the end of each number of seconds.
The others get the seconds asked for, or what ours took if that was more.
Seconds are those of the clock; another job on the machine changes them, so the processor seconds of all threads are given
beside them, and plain CP-SAT is stopped once it has used as many as ours did (or, where that is more, both cores for the
seconds asked for).
"""

from __future__ import annotations

import argparse
import math
import os
import resource
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from intake.plan import Problem
from intake.plan.model.exact_model import build
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.model.program import Model
from intake.plan.model.release_dates import candidate_ends
from intake.plan.search.first_fit import first_plan
from intake.plan.solve import solve
from tests.bench.plan_instances import generated, planted, twelve_by_eight
from tests.checker import judge
from tests.plan.facts import facts_of_problem


def left_over(problem: Problem, layout: Layout) -> int:
    """Animals of a problem that a layout does not place."""
    return problem.announced - sum(layout.placed(owner) for owner in range(len(problem.batches)))


def plain_model(problem: Problem) -> tuple[Model, Sequence[tuple[int, int]], list[int]]:
    """The one-shot exact model with the greedy as complete hint."""
    ends = dict(enumerate(candidate_ends(problem)))
    model = build(Occupancy(problem, loose=True), range(len(problem.batches)), tight=False, ends=ends)
    return model, objective_terms(model, NAMES[0]).terms, model.write(first_plan(Occupancy(problem)))


def cp_sat(problem: Problem, seconds: float, cores: float, workers: int = 2) -> tuple[int, int]:
    """Left over and bound of plain CP-SAT, free-running, hint given, stopped after so many processor seconds."""
    from ortools.sat.python import cp_model

    from intake.plan.solvers.cpsat import _emitted

    model, terms, hint = plain_model(problem)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.max_time_in_seconds = workers, 60.0 * seconds
    emitted = _emitted(cp_model.CpModel(), model.rows, terms, hint)
    over, until = threading.Event(), time.process_time() + cores

    def brake() -> None:
        while not over.wait(0.1):
            if time.process_time() > until:
                solver.stop_search()

    watch = threading.Thread(target=brake, daemon=True)
    watch.start()
    status = solver.solve(emitted)
    over.set()
    watch.join()
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return sum(price * hint[variable] for variable, price in terms), round(solver.best_objective_bound)
    return round(solver.objective_value), round(solver.best_objective_bound)


def highs(problem: Problem, seconds: float, cores: float) -> tuple[int, int]:
    """Left over and bound of HiGHS on the same rows; the greedy's value where it finds nothing."""
    import numpy as np

    try:
        import highspy
    except ModuleNotFoundError:
        raise SystemExit(
            "plan bench: highspy is not installed. Install the extra: pip install -e '.[bench]'."
        ) from None

    model, terms, hint = plain_model(problem)
    rows = model.rows
    library: Any = highspy
    solver = library.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("time_limit", float(max(seconds, cores / 2)))
    solver.setOptionValue("threads", 2)
    price = dict(terms)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(rows.low), len(rows.row_vars)
    lp.col_cost_ = np.array([price.get(variable, 0) for variable in range(len(rows.low))], dtype=float)
    lp.col_lower_, lp.col_upper_ = np.array(rows.low, dtype=float), np.array(rows.high, dtype=float)
    lp.row_lower_ = np.array([-highspy.kHighsInf if low is None else low for low in rows.row_low], dtype=float)
    lp.row_upper_ = np.array([highspy.kHighsInf if high is None else high for high in rows.row_high], dtype=float)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(rows.low)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(members) for members in rows.row_vars)])
    lp.a_matrix_.index_ = np.array([variable for members in rows.row_vars for variable in members])
    lp.a_matrix_.value_ = np.array([coef for coefs in rows.row_coefs for coef in coefs], dtype=float)
    solver.passModel(lp)
    solver.run()
    info = solver.getInfo()
    worst = sum(cost * hint[variable] for variable, cost in terms)
    bound = info.mip_dual_bound if math.isfinite(info.mip_dual_bound) else 0.0
    return round(min(info.objective_function_value, worst)), max(0, round(bound))


@dataclass(frozen=True)
class Figures:
    """What one instance came to: animals left over by each method at each number of seconds."""

    name: str
    greedy: int
    ours: int
    others: tuple[int, ...]

    def ratios(self) -> tuple[float, ...]:
        """Ours to greedy, to plain CP-SAT and to HiGHS; 1 where both leave nobody over."""
        return tuple(1.0 if self.ours == other else self.ours / max(other, 1) for other in (self.greedy, *self.others))


def measure(name: str, problem: Problem, seconds: float, *, raw: Sequence[str], aims: int = 1) -> Figures:
    """Print one line for one instance."""
    began = time.perf_counter()
    greedy = left_over(problem, first_plan(Occupancy(problem)))
    first = time.perf_counter() - began
    began, used = time.perf_counter(), time.process_time()
    solution = solve(problem, seconds=seconds, aims=aims)
    wall, cores = time.perf_counter() - began, time.process_time() - used
    faults = judge(facts_of_problem(problem), solution.as_dict(problem.day_zero))
    left, bound = solution.announced - solution.placed, solution.announced - solution.placed_bound
    plain = {"cp": cp_sat, "highs": highs}
    found = []
    for one in raw:
        used = time.process_time()
        value, least = plain[one](problem, max(wall, seconds), max(cores, 2 * seconds))
        found.append((value, least, time.process_time() - used))
    figures = Figures(name, greedy, left, tuple(value for value, *_ in found))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    others = "".join(
        f"  {one} {value} bound {least} (cpu {took:.0f} s)"
        for one, (value, least, took) in zip(raw, found, strict=True)
    )
    ratios = " ".join(f"{ratio:.3f}" for ratio in figures.ratios())
    sys.stdout.write(
        f"{name:20} of {problem.announced:6}  greedy {greedy:6} ({first:.2f} s)  ours {left:6} bound {bound:6} "
        f"({wall:.1f} s of {seconds:g}, cpu {cores:.1f} s, {memory} MB){others}  ratios {ratios}  load {os.getloadavg()[0]:.1f}"
        f"  {'proved' if left == bound else 'open'}  {'sound' if not faults else faults[:2]}\n"
    )
    sys.stdout.flush()
    return figures


def summary(figures: Sequence[Figures], raw: Sequence[str]) -> None:
    """Print median and worst of the ratios over all instances."""
    for number, other in enumerate(("greedy", *raw)):
        ratios = [one.ratios()[number] for one in figures]
        sys.stdout.write(f"ours / {other:6}  median {median(ratios):.3f}  worst {max(ratios):.3f}  of {len(ratios)}\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the instances asked for."""
    parser: Any = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", nargs="*", default=["12/8", "60/40"])
    parser.add_argument("--loads", nargs="*", type=float, default=[0.1, 0.2, 0.4])
    parser.add_argument("--seeds", nargs="*", type=int, default=[1])
    parser.add_argument("--planted", nargs="*", type=int, default=[])
    parser.add_argument("--seconds", nargs="*", type=float, default=[10.0])
    parser.add_argument("--aims", type=int, default=1, help="how many of the aims to pursue")
    parser.add_argument("--raw", nargs="*", choices=["cp", "highs"], default=[], help="plain models, same wall time")
    chosen = parser.parse_args(arguments)
    cases: list[tuple[str, Problem]] = []
    for seed in chosen.seeds:
        for size in chosen.sizes:
            vats, batches = (int(part) for part in size.split("/"))
            if vats == 12:
                cases.append((f"12/8 #{seed}", twelve_by_eight(seed)))
                continue
            cases += [(f"{size} {load:g} #{seed}", generated(vats, batches, seed, load)) for load in chosen.loads]
        cases += [(f"planted {vats} #{seed}", planted(vats, seed)) for vats in chosen.planted]
    for seconds in chosen.seconds:
        summary([measure(n, p, seconds, raw=chosen.raw, aims=chosen.aims) for n, p in cases], chosen.raw)


if __name__ == "__main__":
    main()
