"""Guards that every tuned constant of a search is in that room's one file of constants, with its words."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

INTAKE = Path(__file__).parents[2] / "intake"
PLAN = INTAKE / "plan"

SEARCHES = {
    "plan": "plan/tuning.py",
    "timetable/search": "timetable/timetable_tuning.py",
    "receiving/solving": "receiving/solving/day_tuning.py",
}
"""Where something is searched for, and the file of its tuned constants."""

NOT_TUNED = {
    "HEALING_DAYS": "a fact of the trade, with its source beside it",
    "CLOSURE_DAYS": "how far rules of the farm file are laid out, not how the search goes",
    "SETTLED_FROM": "a place in the order of the objectives",
    "SATURDAY": "a day of the week",
    "_SCALE": "whole units of the model in a unit people read, m² and mg",
    "GRACE_H": "a default of this program that people meet, not how the search goes",
}
"""Numbers of other modules that no bench could set, and why."""


def constants(source: str) -> Iterator[tuple[str, ast.expr]]:
    """Names and values of what a module assigns at its top level."""
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign):
            targets, values = node.targets[0], node.value
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets, values = node.target, node.value
        else:
            continue
        if isinstance(targets, ast.Tuple) and isinstance(values, ast.Tuple):
            yield from ((ast.unparse(one), value) for one, value in zip(targets.elts, values.elts, strict=True))
        else:
            yield ast.unparse(targets), values


def is_number(value: ast.expr) -> bool:
    """Whether a value is a bare number, or a tuple, list or table with one in it."""
    if isinstance(value, ast.UnaryOp):
        value = value.operand
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int | float) and not isinstance(value.value, bool)
    if isinstance(value, ast.Tuple | ast.List | ast.Set):
        return any(is_number(one) for one in value.elts)
    return isinstance(value, ast.Dict) and any(is_number(one) for one in value.values)


def bare_numbers(source: str) -> list[str]:
    """Names of the numeric constants a module defines."""
    return [name for name, value in constants(source) if is_number(value)]


@pytest.mark.parametrize("room", SEARCHES)
def test_no_other_module_of_a_search_defines_a_tuned_constant(room: str) -> None:
    """A number someone tuned is found in one place, or it is no tuned number and says why here."""
    found = {
        f"{path.relative_to(INTAKE)}: {name}"
        for path in sorted((INTAKE / room).rglob("*.py"))
        if path != INTAKE / SEARCHES[room]
        for name in bare_numbers(path.read_text())
        if name not in NOT_TUNED
    }
    assert found == set()


def test_the_guard_sees_bare_numbers_in_every_form() -> None:
    """Alone, signed, side by side, in a tuple and in a table; powers that stand for infinity are no tuning."""
    source = "A = 3\nB = -0.5\nC, D = 1, 'x'\nE: int = 4\nF = ((1, 2),)\nG = {'x': 1.0}\nH = 2**62\nI = 'x'\n"
    assert bare_numbers(source) == ["A", "B", "C", "E", "F", "G"]


def test_every_tuned_constant_is_said_in_words_and_names_its_bench() -> None:
    """Each group of constants ends in a sentence, and each module's share says which bench set it."""
    source = (PLAN / "tuning.py").read_text()
    body = ast.parse(source).body
    undocumented = [
        ast.unparse(node.targets[0])
        for number, node in enumerate(body)
        if isinstance(node, ast.Assign) and not _words_follow(body, number)
    ]
    assert undocumented == []
    headers = [line for line in source.splitlines() if line.startswith("# ")]
    assert len(headers) > 10
    assert [line for line in headers if "plan " not in line and "no bench" not in line] == []


def _words_follow(body: list[ast.stmt], number: int) -> bool:
    """Whether this constant, or the last of those directly after it, is followed by a sentence."""
    rest = [node for node in body[number:] if not isinstance(node, ast.Assign)]
    return bool(rest) and isinstance(rest[0], ast.Expr)
