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


READS_ALL = {
    "session.py",
    "audit_export.py",
    "supplier_scorecard.py",
    "loss_report.py",
    "journey_forecast.py",
}
"""The session offers it; copies, the export for an auditor and three reports are about every entry, or movement, there is."""


def asks_all(node: ast.AST) -> bool:
    """Whether it asks for all entries, or for all movements, which are a third of them."""
    if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
        return False
    if node.func.attr in ("entries", "movements", "records"):
        return not node.args and (not node.keywords or any(one.arg == "every_site" for one in node.keywords))
    return node.func.attr == "moved" and not node.args


def reads_all(path: Path) -> bool:
    """Whether a module asks the session, its view or an act for all entries."""
    return any(map(asks_all, ast.walk(ast.parse(path.read_text(encoding="utf-8")))))


def test_only_checks_copies_and_reports_read_all_entries() -> None:
    """What a command costs follows what changed and what is alive, not how long the farm has kept its books."""
    package = APP.parent
    rooms = [path for room in ("app", "board", "cli", "demo") for path in sorted((package / room).rglob("*.py"))]
    assert {path.name for path in rooms if reads_all(path)} == READS_ALL  # one that no longer does leaves the list
    assert asks_all(ast.parse("house.books.entries(every_site=True)", mode="eval").body)
    assert not asks_all(ast.parse("act.entries('movement', batch)", mode="eval").body)


ASKED = (
    "journey_forecast.journey_report",
    "journey_forecast.expect_losses",
    "import journey_report",
    "import expect_losses",
)


def test_no_plan_page_or_recording_asks_a_report_that_reads_all() -> None:
    """Of what reads every movement only the reports may be asked: all other doors take the narrow question beside it."""
    package = APP.parent
    outside = [path for room in ("app", "board", "cli") for path in (package / room).rglob("*.py")]
    askers = {
        path.relative_to(package).as_posix()
        for path in outside
        if any(name in path.read_text(encoding="utf-8") for name in ASKED) and path.name != "journey_forecast.py"
    }
    assert askers == {"cli/reporting/report_alarms.py"}
