"""Mutation testing: one small wrong line at a time, a sample of them a room, and whether the room's tests notice.

``python -m tests.mutation ledger --mutants 40 --seed 15``.  The wrong lines are made by cosmic-ray (extra ``mutation``) in a
copy of the tree; each is tried in a process of its own, forked after the heavy libraries are loaded.  A survivor is read:
either a test is missing, or the line does the same as before and is named as equivalent in the results.
"""

from __future__ import annotations

import argparse
import ast
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).parents[1]

ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "rules": (("intake/rules",), ("tests/rules",)),
    "ledger": (("intake/ledger",), ("tests/ledger", "tests/app/test_records.py", "tests/store/test_present.py")),
    "quarantine": (
        ("intake/quarantine",), ("tests/quarantine", "tests/app/test_deadlines.py", "tests/farm/test_recurrence.py"),
    ),
    "report": (("intake/report",), ("tests/report", "tests/app/test_past_history.py", "tests/forms/test_redraw.py")),
    "feed": (("intake/feed",), ("tests/feed",)),
    "water": (("intake/water",), ("tests/water", "tests/receiving/test_acclimation.py")),
    "receiving": (("intake/receiving",), ("tests/receiving",)),
    "packing": (("intake/packing",), ("tests/packing", "tests/app/test_past_history.py", "tests/cli/test_expect_answers.py")),
    "store": (("intake/store",), ("tests/store", "tests/app/test_whole_copies.py")),
    "plan": (
        ("intake/plan/problem.py", "intake/plan/framing.py", "intake/plan/shortage.py", "intake/plan/model/eligibility.py",
         "intake/plan/model/occupancy.py", "intake/plan/model/overlap.py", "intake/plan/answers"),
        ("tests/plan/test_solve.py", "tests/plan/test_spoiled.py", "tests/plan/test_relief_options.py",
         "tests/plan/test_vat_space.py", "tests/plan/test_least_change_replan.py", "tests/plan/test_farm.py",
         "tests/plan/test_open_water.py", "tests/plan/test_gather_strays.py", "tests/plan/test_true_reasons.py",
         "tests/plan/test_proof_files.py", "tests/plan/test_pins_and_worth.py", "tests/plan/test_release_dates.py",
         "tests/plan/test_edges_of_framing.py", "tests/plan/test_hold_policies.py"),
    ),
}  # fmt: skip
"""Room → the files whose lines are made wrong, and the tests that should notice."""

HEAVY = ("numpy", "scipy.stats", "pandas", "pydantic", "sqlalchemy", "ortools.sat.python.cp_model", "pytest",
         "icalendar", "gsw", "openpyxl", "click")  # fmt: skip
"""Loaded once, before the forks: no code of ours is among them."""

SKIPPED = ("VariableInserter", "VariableReplacer", "NumberReplacer_", "ExceptionReplacer")
"""Operators that need settings of their own or whose result no test should pin (the kind of a caught error)."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One wrong line: where, made by which operator, and the text of the file with it."""

    file: str
    line: int
    operator: str
    before: str
    after: str
    text: str


def _quiet_ranges(tree: ast.AST) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Ranges that say nothing when the program runs: annotations and decorators."""
    nodes: list[ast.expr] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign):
            nodes += [node.annotation] if node.annotation else []
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            nodes += [*node.decorator_list, *([node.returns] if node.returns else [])]
        elif isinstance(node, ast.ClassDef):
            nodes += node.decorator_list
    return [((node.lineno, node.col_offset), (node.end_lineno or 0, node.end_col_offset or 0)) for node in nodes]


def positions(file: Path) -> Iterator[tuple[str, int, tuple[int, int]]]:
    """Operator, occurrence and place of every mutant of one file."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator, operator_names

    source = file.read_text(encoding="utf-8")
    quiet = _quiet_ranges(ast.parse(source))
    nodes = list(ast_nodes(get_ast(source)))
    for name in sorted(operator_names()):
        if any(skipped in name for skipped in SKIPPED) or name.endswith("RemoveDecorator"):
            continue
        operator = get_operator(name)()
        occurrence = 0
        for node in nodes:
            for start, _ in operator.mutation_positions(node):
                if not any(first <= start < last for first, last in quiet):
                    yield name, occurrence, start
                occurrence += 1


def sample(top: Path, sources: tuple[str, ...], wanted: int, seed: int) -> list[Mutant]:
    """So many mutants drawn with a fixed seed: first a place in a line, then one of the ways to make it wrong."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    places: dict[tuple[str, tuple[int, int]], list[tuple[str, int]]] = {}
    for source in sources:
        inside = sorted((top / source).rglob("*.py")) if (top / source).is_dir() else [top / source]
        for file in (one for one in inside if one.name != "__init__.py"):
            for name, occurrence, start in positions(file):
                places.setdefault((str(file.relative_to(top)), start), []).append((name, occurrence))
    draw = random.Random(seed)
    found: list[Mutant] = []
    for place in draw.sample(sorted(places), min(wanted, len(places))):
        name, occurrence = draw.choice(places[place])
        source = (top / place[0]).read_text(encoding="utf-8")
        text = mutate_code(source, get_operator(name)(), occurrence)
        if text is None or text == source:
            continue
        pairs = zip(source.splitlines(), text.splitlines(), strict=False)
        number, (before, after) = next((n, pair) for n, pair in enumerate(pairs, 1) if pair[0] != pair[1])
        found.append(Mutant(place[0], number, name.removeprefix("core/"), before.strip(), after.strip(), text))
    return sorted(found, key=lambda one: (one.file, one.line))


def _fork(copy: Path, tests: tuple[str, ...], seconds: float) -> str:
    """Run tests on the copy in a process of its own: ``passed``, ``failed`` or ``timeout``."""
    child = os.fork()
    if child == 0:
        os.setsid()
        os.chdir(copy)
        for name in [name for name in sys.modules if name.split(".")[0] in {"tests", "intake", "forms"}]:
            del sys.modules[name]
        sys.path[:] = [str(copy), *(path for path in sys.path if path not in {"", str(ROOT)})]
        os.environ |= {"CI": "1", "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1", "VATSIDE_TEST_POSTGRES": "0"}
        code = 1
        with open(os.devnull, "w") as nowhere, redirect_stdout(nowhere), redirect_stderr(nowhere):  # noqa: PTH123
            try:
                code = int(import_module("pytest").main(["-x", "-q", "-p", "no:cacheprovider", "--no-header", *tests]))
            finally:
                os._exit(code)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "passed" if os.waitstatus_to_exitcode(status) == 0 else "failed"
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "timeout"


def run(room: str, wanted: int, seed: int, out: io.TextIOBase) -> tuple[int, int]:
    """Try a sample of one room's mutants; gives how many were tried and how many survived."""
    sources, tests = ROOMS[room]
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "tree"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", ".venv*", "*cache*", "dist"))
        mutants = sample(copy, sources, wanted, seed)
        began = time.monotonic()
        if _fork(copy, tests, 1800) != "passed":
            print(f"{room}: the tests do not pass as they are: pytest -x {' '.join(tests)}", file=out, flush=True)
            return 0, 0
        limit = max(60.0, 4 * (time.monotonic() - began))
        survived = []
        for mutant in mutants:
            file = copy / mutant.file
            kept = file.read_text(encoding="utf-8")
            file.write_text(mutant.text, encoding="utf-8")
            if _fork(copy, tests, limit) == "passed":
                survived.append(mutant)
                print(f"  {mutant.file}:{mutant.line} {mutant.operator}\n    - {mutant.before}\n    + {mutant.after}",
                      file=out, flush=True)  # fmt: skip
            file.write_text(kept, encoding="utf-8")
    killed = len(mutants) - len(survived)
    print(f"{room}: {killed} of {len(mutants)} killed ({100 * killed / max(1, len(mutants)):.0f} %), seed {seed}",
          file=out, flush=True)  # fmt: skip
    return len(mutants), len(survived)


def main() -> int:
    """Read the options and run the rooms one after another."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description="Try a sample of small wrong lines.")
    parser.add_argument("rooms", nargs="+", choices=[*ROOMS, "all"], help="Rooms to try.")
    parser.add_argument("--mutants", type=int, default=40, help="Wrong lines a room (default 40).")
    parser.add_argument("--seed", type=int, default=15, help="Fixes the draw (default 15).")
    given = parser.parse_args()
    try:
        import_module("cosmic_ray")
    except ModuleNotFoundError:
        raise SystemExit("cosmic-ray is not installed. Install the extra: pip install -e '.[mutation]'.") from None
    for name in HEAVY:
        import_module(name)
    for room in ROOMS if "all" in given.rooms else given.rooms:
        run(room, given.mutants, given.seed, sys.stdout)  # type: ignore[arg-type]
    return 0


if __name__ == "__main__":
    sys.exit(main())
