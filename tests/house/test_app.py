"""The app keeps its two halves apart: queries write nothing, and every command writes."""

import ast
from pathlib import Path

APP = Path(__file__).parents[2] / "intake" / "app"


def acts(path: Path) -> bool:
    """Whether a module opens a transaction."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return any(
        isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "act"
        for node in ast.walk(tree)
    )


def test_no_query_writes() -> None:
    """A page that is only looked at must not change the ledger."""
    assert not [path.name for path in sorted((APP / "queries").rglob("*.py")) if acts(path)]


def test_every_command_writes() -> None:
    """What only reads belongs under queries."""
    quiet = [
        path.name for path in sorted((APP / "commands").glob("*.py")) if path.name != "__init__.py" and not acts(path)
    ]
    assert not quiet
