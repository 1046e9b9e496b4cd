"""Make the book: the generated reference and the printed output of its examples renewed, or the whole as HTML.

::

    python docs/build.py                 renew everything that is generated; exit 1 if a person must look at something
    python docs/build.py --check         change nothing; exit 1 if anything would change
    python docs/build.py --html FOLDER   write the book as HTML; exit 1 on any warning
"""

# ruff: noqa: TID251  # the book's own tools may open files and speak

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

DOCS = Path(__file__).resolve().parent
sys.path[:0] = [str(DOCS), str(DOCS.parent)]

from making import (  # noqa: E402
    answers,
    board_pages,
    commands,
    examples,
    intake_pages,
    library_pages,
    pages,
    rule_pages,
    settings,
    terminal,
)

TUTORIAL = "tutorial/first-farm.md"

FIXED: dict[str, Callable[[], str]] = {
    "reference/commands.md": commands.command_page,
    "reference/board.md": board_pages.board_page,
    "reference/farm-file.md": settings.farm_page,
    "reference/packing-list.md": intake_pages.packing_page,
    "reference/groups.md": library_pages.groups_page,
    "reference/dips.md": library_pages.dips_page,
    "reference/pests.md": library_pages.pests_page,
    "reference/kept-apart.md": library_pages.apart_page,
    "reference/names.md": library_pages.names_page,
    "reference/rules.md": rule_pages.rules_page,
    "reference/treatments.md": library_pages.treatments_page,
    "reference/hazards.md": library_pages.hazards_page,
    "reference/taxa.md": library_pages.taxa_page,
    "reference/sources.md": library_pages.sources_page,
    "reference/errors.md": intake_pages.errors_page,
    "explanation/decisions.md": lambda: intake_pages.decisions_page(DOCS / "decisions"),
}
"""Pages made from the code alone."""

RECORDED: dict[str, Callable[[], str]] = {
    "pictures/terminal.svg": terminal.picture,
    "pictures/terminal.cast": terminal.cast,
}
"""The terminal session, made of the tutorial once its examples are renewed."""

ANSWERS = "reference/answers.md"


def example_pages() -> list[Path]:
    """Pages with commands that are run, the tutorial first."""
    found = [path for path in sorted(DOCS.rglob("*.md")) if "\n```console\n" in path.read_text(encoding="utf-8")]
    return sorted(found, key=lambda path: (path != DOCS / TUTORIAL, path))


def made_pages(tutorial: examples.Session, folder: Path) -> dict[str, str]:
    """All generated pages as they should stand; the JSON answers are those of the tutorial's farm."""
    made = {name: make() for name, make in FIXED.items()}
    made |= {name: make() for name, make in RECORDED.items()}
    made[ANSWERS] = answers.answers_page(tutorial.copied("answers", folder))
    return made


def _run_all(folder: Path) -> dict[Path, examples.Session]:
    """Every page with examples carried out, each in a folder of its own; the tutorial first."""
    ran: dict[Path, examples.Session] = {}
    for number, path in enumerate(example_pages()):
        here = folder / str(number)
        here.mkdir()
        ran[path] = examples.run_page(path, here, ran.get(DOCS / TUTORIAL))
    return ran


def renew(folder: Path) -> list[str]:
    """Renew examples and generated pages; gives what a person must look at."""
    ran = _run_all(folder)
    left = [str(one) for path, session in ran.items() for one in examples.renew(path, session)]
    for name, text in made_pages(ran[DOCS / TUTORIAL], folder).items():
        path = DOCS / name
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(f"renewed {name}")
    return left


def stale(folder: Path) -> list[str]:
    """Generated pages and examples that no longer say what the code does."""
    ran = _run_all(folder)
    found = [str(one) for session in ran.values() for one in session.mismatches]
    found += [
        f"{name} is not what the code says"
        for name, text in made_pages(ran[DOCS / TUTORIAL], folder).items()
        if not (DOCS / name).is_file() or (DOCS / name).read_text(encoding="utf-8") != text
    ]
    return found


def main() -> int:
    """Read the options and do it."""
    parser = argparse.ArgumentParser(description="Make the book.")
    parser.add_argument("--check", action="store_true", help="change nothing; exit 1 if anything would change")
    parser.add_argument("--html", type=Path, help="write the book as HTML into this folder")
    asked = parser.parse_args()
    if asked.html is not None:
        book = pages.read_book(DOCS)
        pages.write_html(book, asked.html)
        faults = book.warnings
    else:
        with tempfile.TemporaryDirectory() as folder:
            faults = stale(Path(folder)) if asked.check else renew(Path(folder))
    for fault in faults:
        print(fault, file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
