"""A plan can be proved again by another solver from its files alone: HiGHS reads them, and finds what the plan says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.answers.proof_files import mps, proof_files
from intake.plan.model.mip import Rows
from intake.plan.solve import solve
from tests.bench.plan_instances import days_fixed, generated, twelve_by_eight
from tests.strategies import problems

highspy = pytest.importorskip("highspy", reason="the second solver is an extra of the benches")


def _read(folder: Path, text: str) -> Any:
    """HiGHS with a model it has read from a file."""
    path = folder / "model.mps"
    path.write_text(text, encoding="utf-8")
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    assert solver.readModel(str(path)) == highspy.HighsStatus.kOk
    return solver


def _least(folder: Path, text: str) -> float:
    """The least objective, proved."""
    solver = _read(folder, text)
    solver.run()
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return float(solver.getInfo().objective_function_value)


def _with_plan(folder: Path, files: dict[str, str]) -> float:
    """The objective when every variable has the value the solution file gives it; fails when a row is not satisfied."""
    solver = _read(folder, files["model.mps"])
    lines = [line.split() for line in files["plan.sol"].splitlines()]
    values = {name: float(value) for name, value in lines[1:]}
    names = {solver.getColName(number)[1] for number in range(solver.getNumCol())}
    assert set(values) <= names
    for number in range(solver.getNumCol()):
        value = values.get(solver.getColName(number)[1], 0.0)
        solver.changeColBounds(number, value, value)
    solver.run()
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    assert float(lines[0][1]) == solver.getInfo().objective_function_value
    return float(solver.getInfo().objective_function_value)


def test_highs_proves_twelve_vats_and_eight_batches_again(tmp_path: Path) -> None:
    """The exact model by itself: the least it can leave over is what the plan leaves over."""
    problem = twelve_by_eight()
    solution = solve(problem, seconds=8, aims=1)
    files = proof_files(problem, solution)
    left = solution.announced - solution.placed
    assert _with_plan(tmp_path, files) == left
    assert _least(tmp_path, files["model.mps"]) == pytest.approx(left)
    assert _least(tmp_path, files["bound.mps"]) <= left + 1e-6
    told = json.loads(files["proof.json"])
    assert (told["left_over"], told["plan_satisfies_model"]) == (left, True)


def test_highs_proves_sixty_vats_and_forty_batches_again(tmp_path: Path) -> None:
    """The plan satisfies every row of its model, and quarantine counted leaves over no less: together they are the proof."""
    problem = days_fixed(generated(60, 40, 3, 0.1))
    solution = solve(problem, seconds=20, aims=1)
    files = proof_files(problem, solution)
    left = solution.announced - solution.placed
    assert _with_plan(tmp_path, files) == left
    assert _least(tmp_path, files["bound.mps"]) == pytest.approx(left)


@given(problem=problems())
@settings(max_examples=15, deadline=None)
def test_both_models_are_true_of_every_farm(problem: Problem) -> None:
    """On farms small enough: HiGHS finds in the file what the search found, and the relaxation no more."""
    import tempfile

    solution = solve(problem, seconds=2, aims=1)
    files = proof_files(problem, solution)
    with tempfile.TemporaryDirectory() as folder:
        left = _with_plan(Path(folder), files)
        least = _least(Path(folder), files["model.mps"])
        assert left >= least - 1e-6
        if solution.objectives[0].proved:
            assert least == pytest.approx(left)
        assert _least(Path(folder), files["bound.mps"]) <= least + 1e-6


def test_free_mps_tells_every_kind_of_row_and_bound(tmp_path: Path) -> None:
    """Equal, at most, at least, between, and a variable in no row."""
    rows = Rows()
    x, y, z = rows.variable(0, 9), rows.variable(-3, 4), rows.variable(2, 2)
    rows.row([(x, 1), (y, 1)], 2, 5)
    rows.row([(x, 2), (y, -1)], None, 11)
    rows.row([(x, 1), (y, 2)], 1, None)
    rows.row([(x, 1), (y, -1)], 4, 4)
    text = mps(rows, [(x, -1), (z, 1)], {x: "x"}, "small")
    assert " MARKER 'MARKER' 'INTORG'" in text
    assert _least(tmp_path, text) == -2.0  # x 4, y 0, z 2
