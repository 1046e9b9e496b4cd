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


READS_ALL = {"session.py", "ledger_copies.py", "audit_export.py"}
"""The session offers it; the check, copies and the export for an auditor are about every entry there is."""


def reads_all(path: Path) -> bool:
    """Whether a module asks the session, its view or an act for all entries."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return any(
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "entries"
        and not node.args
        and not node.keywords
        for node in ast.walk(tree)
    )


def test_only_checks_and_copies_read_all_entries() -> None:
    """What a command costs follows what changed and what is alive, not how long the farm has kept its books."""
    package = APP.parent
    rooms = [path for room in ("app", "board", "cli", "demo") for path in sorted((package / room).rglob("*.py"))]
    assert {path.name for path in rooms if reads_all(path)} <= READS_ALL
    assert reads_all(APP / "session.py")  # a guard that cannot see guards nothing
