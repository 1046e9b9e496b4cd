"""The option ``--out`` of reports: a table as FILE.csv, .xlsx or .parquet, or the folder of the pictures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from intake.cli.terminal import say

if TYPE_CHECKING:
    from intake.app.session import House

__all__ = ["folder_or_table_option", "keep_table", "picture_folder", "table_option"]

F = TypeVar("F", bound=Callable[..., Any])
KINDS = "FILE.csv, .xlsx or .parquet"


def table_option(command: F) -> F:
    """Give a report ``--out``: the table as a file."""
    return click.option("--out", default="", help=f"Write the table as {KINDS}.")(command)


def folder_or_table_option(command: F) -> F:
    """Give a report with pictures ``--out``: their folder, or the table as a file."""
    return click.option(
        "--out", default="", help=f"Folder for the pictures (default: out/), or {KINDS} for the table."
    )(command)


def picture_folder(house: House, out: str) -> Path:
    """Where pictures go: the folder named, unless ``--out`` names a table."""
    return Path(out) if out and not _is_table(out) else house.folder / "out"


def keep_table(house: House, report: str, told: Any, out: str, *, quiet: bool, pictures: bool = False) -> None:
    """Write the table if ``--out`` asks for one, and say so unless ``quiet``."""
    if not out or (pictures and not _is_table(out)):
        return
    from intake.app.documents.report_tables import write_report

    path = write_report(house, report, told, Path(out))
    if not quiet:
        say([f"Saved {path}", ""])


def _is_table(out: str) -> bool:
    from intake.app.output_files import TABLE_ENDINGS

    return Path(out).suffix.lower() in TABLE_ENDINGS
