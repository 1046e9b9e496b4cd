"""The reference of what is read and refused: packing lists, stocktake, errors and exit codes, decisions on record."""

# ruff: noqa: TID251  # the book's own tools may open files

from __future__ import annotations

from pathlib import Path

from making.docstrings import attributes_of, summary_of
from making.markdown import page, table
from making.settings import default_of, takes, unit_of

__all__ = ["decisions_page", "errors_page", "every_error", "packing_page"]


def packing_page() -> str:
    """Packing-list fields, the headings known for them, and the stocktake's columns."""
    from intake.app.commands.take_stock import StockRow
    from intake.packing.fields import FIELDS, HEADINGS
    from intake.packing.understanding import Understanding

    stock = [
        (f"`{name}`", takes(info), unit_of(name), default_of(info)) for name, info in StockRow.model_fields.items()
    ]
    return page(
        "Packing lists and stocktake",
        summary_of(Understanding),
        "A packing list is a workbook (XLSX, XLSB, XLS, ODS), CSV, text in columns, a web table or a PDF with text, as the "
        "supplier sent it. The header row is "
        "found by the headings below (capitals, accents, punctuation, units and currencies set aside); other columns are "
        "given with `--columns name=B,count=Qty`. What the list leaves open is asked, never guessed, and answers "
        "that hold for all of a supplier's lists are remembered.",
        "## Fields",
        table(
            ("field", "what it holds", "headings known"),
            [(f"`{name}`", text, ", ".join(HEADINGS[name])) for name, text in FIELDS.items()],
        ),
        "`name` and `count` must be there; without `size` the animal's size is asked.",
        "## Stocktake (`vatside stock`)",
        table(("column", "takes", "unit", "default"), stock),
    )


def every_error() -> list[type[Exception]]:
    """The error classes, parents first."""
    from intake import errors

    found = [errors.IntakeError]
    for parent in found:
        found += [
            child for child in parent.__subclasses__() if child not in found and child.__module__ == parent.__module__
        ]
    return list(found)


def errors_page() -> str:
    """Exit codes and the errors behind them."""
    from intake.errors import Finding

    rows = [
        (
            f"`{error.__name__}`",
            ", ".join(f"`{base.__name__}`" for base in error.__bases__),
            str(getattr(error, "exit_code", "")),
            summary_of(error),
        )
        for error in every_error()
    ]
    told = attributes_of(Finding)
    return page(
        "Exit codes and errors",
        table(
            ("exit code", "means"),
            [
                ("0", "done"),
                (
                    "1",
                    "the answer is no: does not fit, a task cannot be scheduled, a lot is not released, the books do not add up",
                ),
                ("2", "bad use or bad input; the message says what to correct; nothing was saved"),
            ],
        ),
        "A refusal goes to the error stream, one finding a line, each beginning with ✗, and ends with “Nothing was saved.” "
        'With `--json` the same stands on the output stream as `{"error": …, "findings": […]}`. A traceback is a bug; '
        "`--debug` shows it.",
        "## What a finding says",
        table(("key", "meaning"), [(f"`{name}`", text) for name, text in told.items()]),
        "## Errors in the code",
        "“It does not fit” is not an error but an answer.",
        table(("error", "is a", "exit code", "what it means"), rows),
    )


def decisions_page(folder: Path) -> str:
    """What is on record under decisions/, by its first heading."""
    rows = []
    for path in sorted(folder.glob("*.md")):
        title = path.read_text(encoding="utf-8").split("\n", 1)[0].lstrip("# ")
        rows.append(f"- [{title}](../decisions/{path.name})")
    return page(
        "Decisions on record", "What was chosen, what was measured, and what would change our mind.", "\n".join(rows)
    )
