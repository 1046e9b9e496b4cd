"""Mutants of one room, killed by the room's own tests: a sample of small changes, each run in a forked child.

::

    python -m tests.bench.rule_mutants --room rules --most 200 --seed 0

A mutant is held against the room's tests; what these do not notice, against an eighth of the histories and, for treatments,
the whole matrix.  A mutant changes one comparison, number, boolean word, ``not``, arithmetic sign or ``min``/``max``; it is
killed when a test fails.  What survives is printed with its line, to be read: a test is written, or the change is named in
:data:`SAME` with the reason why nothing it does is different.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import FunctionType, ModuleType
from typing import NamedTuple

import pytest

from intake.rules.values import Rule

ROOT = Path(__file__).parents[2]
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
SIGNS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
_NEVER_SO_CLOSE = "need and supply never lie a millionth of a milligram apart, but for the rounding meant"
SAME: dict[tuple[str, str, str], str] = {
    ("placing", "need > have + 1e-06", "compare"): _NEVER_SO_CLOSE,
    ("placing", "have + 1e-06", "sign"): _NEVER_SO_CLOSE,
    ("placing", "1000000.0", "number"): "a millionth of a bench, or of a figure told to the thousandth",
    (
        "water",
        "past.end > found.at",
        "compare",
    ): "who left at that minute left no later than the finding, which counts too",
    ("company", "number + 1", "sign"): "pairs looked at twice are told once, and an animal suits its own setting",
    ("last_lot", "stands_until < end", "compare"): "where both are one moment it does not matter which is taken",
}
"""(module, expression, change) → why the changed line does what the line did."""


def mutants(tree: ast.Module) -> Iterator[tuple[int, ast.AST, str]]:
    """(number of the node in the tree, the node, what would be changed) of every mutant."""
    headings = {
        id(part) for node in ast.walk(tree) for head in getattr(node, "decorator_list", []) for part in ast.walk(head)
    }  # dataclass(frozen=True): how a value is kept, not what is judged
    for number, node in enumerate(ast.walk(tree)):
        for what in _changes(node) if id(node) not in headings else ():
            yield number, node, what


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


def _changed(module: ModuleType, tree: ast.Module) -> None:
    """Make a loaded module do what a changed tree says, in place: other modules hold its functions, rules and constants."""
    fresh = ModuleType(module.__name__)
    fresh.__file__, fresh.__path__ = module.__file__, getattr(module, "__path__", [])
    sys.modules[module.__name__] = fresh  # while it is carried out: its classes look for their module
    exec(compile(tree, str(module.__file__), "exec"), fresh.__dict__)
    sys.modules[module.__name__] = module
    for name, old in list(vars(module).items()):
        new = fresh.__dict__.get(name)
        if isinstance(old, FunctionType) and isinstance(new, FunctionType):
            _same_code(old, new)
        elif isinstance(old, type) and isinstance(new, type) and old.__module__ == module.__name__:
            _same_class(old, new)
        elif name == "RULES" and isinstance(old, list):
            _same_rules(old, new or [])
        elif isinstance(old, int | float | str | tuple | frozenset) and old != new:
            for other in [one for one in sys.modules.values() if one.__name__.startswith(("intake.", "tests."))]:
                if other.__dict__.get(name, fresh) is old:
                    setattr(other, name, new)
        elif type(old) is type(new) is dict and new is not old and not name.startswith("__"):
            old.clear()
            old.update(new)


def _same_rules(old: Sequence[Rule], new: Sequence[Rule]) -> None:
    for was, now in zip(old, new, strict=True):
        assert isinstance(was.judge, FunctionType)
        assert isinstance(now.judge, FunctionType)
        _same_code(was.judge, now.judge)
        for told in ("words", "severity", "source"):
            object.__setattr__(was, told, getattr(now, told))


def _same_code(old: FunctionType, new: FunctionType) -> None:
    if old.__code__ != new.__code__:
        old.__code__ = new.__code__
    old.__defaults__, old.__kwdefaults__ = new.__defaults__, new.__kwdefaults__


def _same_class(old: type, new: type) -> None:
    for name, was in list(vars(old).items()):
        now = vars(new).get(name)
        if isinstance(was, FunctionType) and isinstance(now, FunctionType) and len(_free(was)) == len(_free(now)):
            _same_code(was, now)
        elif isinstance(was, property) and isinstance(now, property):
            assert isinstance(was.fget, FunctionType)
            assert isinstance(now.fget, FunctionType)
            _same_code(was.fget, now.fget)


def _free(function: FunctionType) -> tuple[str, ...]:
    return function.__code__.co_freevars


class _Runner:
    """Collects the room's tests once, and tries each mutant on them in a forked child."""

    def __init__(self, room: str, most: int, seed: int, seconds: int, lines: Sequence[str] = ()) -> None:
        self.room, self.most, self.seed, self.seconds, self.lines = room, most, seed, seconds, lines

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Instead of the tests: the mutants."""
        slow = ("matrix", "test_last_lot", "standing[", "sees_what")
        quick = [one for one in session.items if not any(word in one.nodeid for word in slow)]
        rest = [one for one in session.items if "whole_matrix" in one.nodeid]
        lived = [one for one in session.items if "standing[0]" in one.nodeid or "sees_what" in one.nodeid]
        lots = [one for one in session.items if "test_last_lot" in one.nodeid]
        found = _all_of(self.room)
        for one in {mutant.name: mutant for mutant in found}.values():
            if self._fails(session, one._replace(what=""), quick):
                raise SystemExit(f"the tests fail on {one.name} as it stands: nothing can be said of its mutants")
        asked = [one for one in found if one.line in self.lines] if self.lines else found
        chosen = random.Random(self.seed).sample(asked, min(self.most, len(asked)))
        killed, same, begun = 0, 0, time.monotonic()
        for number, one in enumerate(chosen, start=1):
            path, words = one.path, ast.unparse(one.node)
            own = rest if path.stem == "treating" else lots if path.stem == "last_lot" else []
            if self._fails(session, one, (*quick, *lived, *own)):
                killed += 1
            elif (path.stem, words, one.what) in SAME:
                same += 1
            else:
                where = f"{path.relative_to(ROOT)}:{getattr(one.node, 'lineno', 0)}"
                print(f"survived: {where} {one.what}: {words}   ({number} tried, {killed} killed)", flush=True)
        tried = len(chosen) - same
        print(
            f"seed {self.seed}: {len(chosen)} of {len(found)} mutants drawn, {same} do the same as before; of the other "
            f"{tried} {killed} killed, {tried - killed} survived ({100 * killed / tried:.1f} % killed); "
            f"{time.monotonic() - begun:.0f} s",
            flush=True,
        )
        return True

    def _fails(self, session: pytest.Session, mutant: Mutant, items: Sequence[pytest.Item]) -> bool:
        child = os.fork()
        if child == 0:
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            signal.alarm(self.seconds)  # a mutant that never ends is killed too
            try:
                _changed(sys.modules[mutant.name], mutant.tree())
                for one, after in zip(items, (*items[1:], None), strict=True):
                    one.config.hook.pytest_runtest_protocol(item=one, nextitem=after)
                    if session.testsfailed:
                        os._exit(1)
            except Exception:  # noqa: BLE001  # a module that no longer loads is noticed by everybody
                os._exit(1)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        return status != 0


class Mutant(NamedTuple):
    """A changed module: its name and file, the place and kind of the change; none where nothing is changed."""

    name: str
    path: Path
    number: int
    node: ast.AST
    what: str

    @property
    def line(self) -> str:
        """Where it is: ``placing:105``."""
        return f"{self.path.stem}:{getattr(self.node, 'lineno', 0)}"

    def tree(self) -> ast.Module:
        """The module as it would be."""
        whole = ast.parse(self.path.read_text(encoding="utf-8"))
        if self.what:
            _change(next(one for at, one in enumerate(ast.walk(whole)) if at == self.number), self.what)
        return ast.fix_missing_locations(whole)


def _all_of(room: str) -> list[Mutant]:
    found: list[Mutant] = []
    for path in sorted((ROOT / "intake" / room).rglob("*.py")):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        rows = mutants(ast.parse(path.read_text(encoding="utf-8")))
        found += [Mutant(name, path, number, node, what) for number, node, what in rows]
    return found


def main() -> None:
    """Run the sample and print how many were killed, how many survived and how many do the same as before."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--room", default="rules")
    asked.add_argument("--most", type=int, default=200)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--seconds", type=int, default=120)
    asked.add_argument("--lines", nargs="*", default=(), help="only mutants of these lines, as placing:105")
    told = asked.parse_args()
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    quick = (
        "--noconftest",
        "-p",
        "no:cacheprovider",
        "--import-mode=importlib",
        "-s",
    )  # the rules' tests need no fixture
    runner = _Runner(told.room, told.most, told.seed, told.seconds, told.lines)
    raise SystemExit(pytest.main(["-q", *quick, str(ROOT / "tests" / told.room)], plugins=[runner]))


if __name__ == "__main__":
    main()
