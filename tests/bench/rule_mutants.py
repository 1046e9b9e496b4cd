"""Mutants of one room, killed by the room's own tests: a sample of small changes, each run in a forked child.

::

    python -m tests.bench.rule_mutants --room rules --most 200 --seed 0

Each module is held by the tests named for it in :data:`TESTS`; what these do not notice is asked again of all tests of the
room.  A mutant changes one comparison, number, boolean word, ``not``, arithmetic sign or ``min``/``max``; it is killed when a
test fails.  What survives is printed with its line, to be read: a test is written, or the change is named in :data:`SAME` with
the reason why nothing it does is different.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import sys
import time
from collections.abc import Iterator
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import CodeType, ModuleType

ROOT = Path(__file__).parents[2]
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
SIGNS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip
_FAST = ("test_placing.py", "test_company.py", "test_recording.py", "test_standing.py", "test_treating.py")
_NO_MATRIX = "not matrix"
TESTS = {
    "placing": ("test_placing.py", "test_standing.py", "test_edges.py"),
    "suitability": ("test_edges.py", "test_placing.py", "test_company.py"),
    "water": ("test_placing.py", "test_edges.py"),
    "scene": ("test_edges.py", "test_placing.py", "test_standing.py", "test_treating.py", "test_company.py"),
    "company": ("test_company.py", "test_standing.py"),
    "treating": ("test_treating.py", "test_edges.py"),
    "transferring": ("test_treating.py", "test_edges.py"),
    "recording": ("test_recording.py", "test_edges.py"),
    "dangers": ("test_dangers.py",),
    "limits": ("test_edges.py", "test_recording.py"),
    "standing": ("test_standing.py",),
}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
SAME: dict[tuple[str, str, str], str] = {}
"""(module, expression, change) → why the changed line does what the line did."""


def mutants(tree: ast.Module) -> Iterator[tuple[ast.AST, str, ast.Module]]:
    """(place, what changed, changed tree) of every mutant."""
    headings = {
        id(part) for node in ast.walk(tree) for head in getattr(node, "decorator_list", []) for part in ast.walk(head)
    }  # dataclass(frozen=True): how a value is kept, not what is judged
    for number, node in enumerate(ast.walk(tree)):
        for what in _changes(node) if id(node) not in headings else ():
            twin = copy.deepcopy(tree)
            target = next(one for at, one in enumerate(ast.walk(twin)) if at == number)
            _change(target, what)
            yield node, what, ast.fix_missing_locations(twin)


def _changes(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in COMPARED:
        yield "compare"
    elif isinstance(node, ast.BoolOp):
        yield "and/or"
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not"
    elif isinstance(node, ast.BinOp) and type(node.op) in SIGNS and not _text(node):
        yield "sign"
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield "number"
    elif isinstance(node, ast.Constant) and type(node.value) is bool:
        yield "flag"
    elif isinstance(node, ast.Name) and node.id in NAMES:
        yield "name"


def _text(node: ast.BinOp) -> bool:
    return any(isinstance(side, ast.JoinedStr | ast.Constant) and not isinstance(getattr(side, "value", 0), int | float)
               for side in (node.left, node.right))  # fmt: skip


def _change(node: ast.AST, what: str) -> None:
    if isinstance(node, ast.Compare):
        node.ops = [COMPARED[type(node.ops[0])]()]
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    elif isinstance(node, ast.BinOp):
        node.op = SIGNS[type(node.op)]()
    elif isinstance(node, ast.Constant) and what == "flag":
        node.value = not node.value
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        node.value = node.value + 1
    elif isinstance(node, ast.Name):
        node.id = NAMES[node.id]


class _Loader(MetaPathFinder, Loader):
    def __init__(self, name: str, path: Path, code: CodeType) -> None:
        self.name, self.path, self.code = name, path, code

    def find_spec(self, fullname: str, _path: object = None, _target: object = None) -> ModuleSpec | None:
        return spec_from_loader(fullname, self, origin=str(self.path)) if fullname == self.name else None

    def exec_module(self, module: ModuleType) -> None:
        exec(self.code, module.__dict__)


def _fails(name: str, path: Path, tree: ast.Module, tests: list[str], seconds: int) -> bool:
    child = os.fork()
    if child == 0:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        sys.meta_path.insert(0, _Loader(name, path, compile(tree, str(path), "exec")))
        import signal

        import pytest

        signal.alarm(seconds)  # a mutant that never ends is killed too
        quick = (
            "--noconftest",
            "-p",
            "no:cacheprovider",
            "--import-mode=importlib",
        )  # the rules' tests need no fixture
        code = pytest.main(["-x", "-q", *quick, *tests])
        os._exit(0 if code == 0 else 1)
    _, status = os.waitpid(child, 0)
    return status != 0


def _killed(name: str, path: Path, tree: ast.Module, folder: Path, seconds: int) -> bool:
    """By the module's own tests, else by all of the room."""
    own = [str(folder / one) for one in TESTS.get(path.stem, (*_FAST, "test_edges.py"))]
    return _fails(name, path, tree, ["-k", _NO_MATRIX, *own], seconds) or _fails(
        name, path, tree, [str(folder)], seconds
    )


Mutant = tuple[str, Path, ast.AST, str, ast.Module]


def _all_of(room: str) -> list[Mutant]:
    found: list[Mutant] = []
    for path in sorted((ROOT / "intake" / room).rglob("*.py")):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        rows = mutants(ast.parse(path.read_text(encoding="utf-8")))
        found += [(name, path, node, what, tree) for node, what, tree in rows]
    return found


def main() -> None:
    """Run the sample and print how many were killed, how many survived and how many do the same as before."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--room", default="rules")
    asked.add_argument("--most", type=int, default=200)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--seconds", type=int, default=120)
    told = asked.parse_args()
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    import hypothesis  # noqa: F401  # before the fork, as all that knows no rule
    import pytest  # noqa: F401

    import intake.farm.reading
    import intake.library

    intake.library.load()  # shared by every child
    found = _all_of(told.room)
    chosen = random.Random(told.seed).sample(found, min(told.most, len(found)))
    name, path, _, _, _ = chosen[0]
    if _killed(name, path, ast.parse(path.read_text(encoding="utf-8")), ROOT / "tests" / told.room, told.seconds):
        raise SystemExit("the tests fail on the room as it stands: nothing can be said of its mutants")
    killed, same, begun = 0, 0, time.monotonic()
    for number, (name, path, node, what, tree) in enumerate(chosen, start=1):
        words = ast.unparse(node)
        if _killed(name, path, tree, ROOT / "tests" / told.room, told.seconds):
            killed += 1
        elif (path.stem, words, what) in SAME:
            same += 1
        else:
            where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
            print(f"survived: {where} {what}: {words}   ({number} tried, {killed} killed)", flush=True)
    tried = len(chosen) - same
    print(
        f"seed {told.seed}: {len(chosen)} of {len(found)} mutants drawn, {same} do the same as before; of the other {tried}"
        f" {killed} killed, {tried - killed} survived ({100 * killed / tried:.1f} % killed); {time.monotonic() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
