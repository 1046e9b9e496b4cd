"""Files from which anyone may prove a plan again: its model as free MPS, the plan as a solution, and a relaxation for the bound.

Free MPS as CPLEX and HiGHS read it; the solution in the form of MIPLIB (a name and a value a line).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence

from intake.plan.model.exact_model import build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.model.program import Model
from intake.plan.model.release_dates import candidate_ends, relaxed_days
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import quarantined, rooms_in
from intake.plan.solution import Solution, layout_of

__all__ = ["mps", "proof_files"]


def proof_files(problem: Problem, solution: Solution) -> dict[str, str]:
    """File names with their text: ``model.mps``, ``plan.sol``, ``bound.mps`` and ``proof.json``.

    The objective of both models is what is left over, each animal times its worth: the least of ``bound.mps`` is a bound for
    every plan (it is a relaxation: rules are left out, none is added), the plan satisfies ``model.mps`` and leaves over what it
    says.  Where the two meet, the plan is proved best from the files alone.  ``proof.json`` says how the bound was found.
    """
    layout = layout_of(problem, solution)
    model = build(
        Occupancy(problem, loose=True), range(len(problem.batches)), ends=dict(enumerate(candidate_ends(problem)))
    )
    terms = objective_terms(model, NAMES[0]).terms
    names = _names(model)
    values = model.write(layout)
    relaxed = Occupancy(relaxed_days(problem), loose=True)
    counted = quarantined(relaxed, range(len(problem.batches)), rooms_in(relaxed))
    left = {
        f"u[{batch.id}]": counted.left[owner] for owner, batch in enumerate(problem.batches) if owner in counted.left
    }
    return {
        "model.mps": mps(model.rows, terms, names, "vat_plan"),
        "plan.sol": _solution(values, terms, names),
        "bound.mps": mps(counted.rows, counted.terms(), {one: _word(name) for name, one in left.items()}, "quarantine_counted"),
        "proof.json": json.dumps(_proof(problem, solution, layout, broken=bool(model.rows.broken(values))), indent=1) + "\n",
    }  # fmt: skip


def _proof(problem: Problem, solution: Solution, layout: Layout, *, broken: bool) -> dict[str, object]:
    first = solution.objectives[0] if solution.objectives else None
    whole = sum(batch.weight * batch.count for batch in problem.batches)
    placed = sum(layout.placed(owner) * batch.weight for owner, batch in enumerate(problem.batches))
    return {
        "left_over": whole - placed,
        "left_over_at_least": whole - (first.bound if first else whole),
        "proved": bool(first and first.proved),
        "plan_satisfies_model": not broken,
        "model": "model.mps: every rule, vat by vat; minimize what is left over",
        "bound": "bound.mps: quarantine counted by vat class and supplier; its least value bounds every plan",
        "found_by": "the greatest of: counting quarantine (HiGHS), supplier curves, stages vat by vat, the model itself (CP-SAT)",
    }


def _word(name: str) -> str:
    """A name without blanks, which free MPS does not allow."""
    return "".join("_" if letter.isspace() else letter for letter in name)


def _names(model: Model) -> dict[int, str]:
    """What a variable means: animals, whether any, left over, and where stock stands."""
    problem = model.occupancy.problem
    names: dict[int, str] = {}
    for (owner, stage, vat, end), variable in model.animals.items():
        batch = problem.batches[owner]
        where = f"{batch.id},{batch.stages[stage].stage},{problem.vats[vat].id},{end}"
        names[variable] = f"x[{where}]"
        names.setdefault(model.present[owner, stage, vat, end], f"y[{where}]")
    for owner, variable in model.left.items():
        names[variable] = f"u[{problem.batches[owner].id}]"
    for number, choices in model.homes.items():
        for vat, variable in choices.items():
            names[variable] = (
                f"z[{problem.standing[number].batch},{problem.standing[number].vat},{problem.vats[vat].id}]"
            )
    return {variable: _word(name) for variable, name in names.items()}


def mps(rows: Rows, objective: Terms, names: Mapping[int, str], title: str) -> str:
    """Rows with whole bounded variables as free MPS, to be minimized; variables without a name are called v and a number."""
    return "\n".join(_lines(rows, objective, names, title)) + "\n"


def _lines(rows: Rows, objective: Terms, names: Mapping[int, str], title: str) -> Iterator[str]:
    kinds = [_kind(low, high) for low, high in zip(rows.row_low, rows.row_high, strict=True)]
    yield f"NAME {title}"
    yield "ROWS"
    yield " N left_over"
    yield from (f" {kind} r{number}" for number, kind in enumerate(kinds) if kind)
    columns: list[dict[str, int]] = [{} for _ in rows.low]
    for variable, price in objective:
        columns[variable]["left_over"] = columns[variable].get("left_over", 0) + price
    for number, (members, entries) in enumerate(zip(rows.row_vars, rows.row_coefs, strict=True)):
        for variable, entry in zip(members, entries, strict=True) if kinds[number] else ():
            columns[variable][f"r{number}"] = columns[variable].get(f"r{number}", 0) + entry
    yield "COLUMNS"
    yield " MARKER 'MARKER' 'INTORG'"
    for variable, entries_of in enumerate(columns):
        name = names.get(variable, f"v{variable}")
        yield from (f" {name} {row} {entry}" for row, entry in (entries_of or {"left_over": 0}).items())
    yield " MARKER 'MARKER' 'INTEND'"
    yield from _sides(rows, kinds)
    yield "BOUNDS"
    for variable, (low, high) in enumerate(zip(rows.low, rows.high, strict=True)):
        name = names.get(variable, f"v{variable}")
        yield f" LO b {name} {low}"
        yield f" UP b {name} {high}"
    yield "ENDATA"


def _kind(low: int | None, high: int | None) -> str:
    if low is not None and low == high:
        return "E"
    return "" if low is None and high is None else "L" if low is None else "G"


def _sides(rows: Rows, kinds: Sequence[str]) -> Iterator[str]:
    yield "RHS"
    ranges = []
    for number, kind in enumerate(kinds):
        low, high = rows.row_low[number], rows.row_high[number]
        side = high if kind == "L" else low
        if kind and side:
            yield f" rhs r{number} {side}"
        if kind == "G" and low is not None and high is not None:
            ranges.append(f" range r{number} {high - low}")
    if ranges:
        yield "RANGES"
        yield from ranges


def _solution(values: Sequence[int], objective: Terms, names: Mapping[int, str]) -> str:
    reached = sum(price * values[variable] for variable, price in objective)
    lines = [f"{names.get(variable, f'v{variable}')} {value}" for variable, value in enumerate(values) if value]
    return "\n".join([f"=obj= {reached}", *lines]) + "\n"
