"""Lint and strict types are part of the tests, so that a green run means the same everywhere."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=["lint", "format", "types"],
)
def test_the_tree_is_clean(command: list[str]) -> None:
    """What the tool says is printed when it refuses."""
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_source_file_needs_scrolling() -> None:
    """Four hundred lines is the house's limit for a module; data files are not modules."""
    long = {}
    for folder in ("intake", "forms"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            lines = path.read_text(encoding="utf-8").count("\n")
            if lines > 400 and "_demo_files" not in path.parts:
                long[str(path.relative_to(ROOT))] = lines
    assert not long


def test_every_module_opens_with_what_it_is_for() -> None:
    """The first line of a module is the only map that is read when the code is changed."""
    import ast

    silent = [
        str(path.relative_to(ROOT))
        for folder in ("intake", "forms")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not silent
