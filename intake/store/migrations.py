"""Bringing books of an older program up to date: numbered steps, one place, each run once in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from sqlalchemy import Connection, func, insert, inspect, select

from intake.errors import Finding, StoreTrouble
from intake.store.tables import METADATA, SCHEMA, guard

__all__ = ["STEPS", "migrate", "version"]


def _first(connection: Connection) -> None:
    """Tables ``movement``, ``record`` and ``schema_version``, and their triggers."""
    METADATA.create_all(connection)
    guard(connection)


STEPS: Final[Mapping[int, Callable[[Connection], None]]] = {1: _first}
"""Version → step that leads to it; a step that rebuilds a table on SQLite loses its triggers and must guard again."""


def version(connection: Connection) -> int:
    """Read the version of the books a connection sees; 0 for an empty database.

    Raises
    ------
    StoreTrouble
        When the database holds tables of something else.
    """
    names = set(inspect(connection).get_table_names())
    if SCHEMA.name in names:
        return int(connection.execute(select(func.coalesce(func.max(SCHEMA.c.version), 0))).scalar_one())
    if names:
        found = ", ".join(sorted(names)[:5])
        raise StoreTrouble(Finding("books", f"tables {found}", "an empty database or books", "Choose another file."))
    return 0


def migrate(connection: Connection, steps: Mapping[int, Callable[[Connection], None]] | None = None) -> tuple[int, ...]:
    """Run the steps the books still lack, inside the caller's transaction.

    Returns
    -------
    tuple
        Versions reached, in order; empty when nothing was to do.

    Raises
    ------
    StoreTrouble
        When the books were written by a newer program.
    """
    steps = STEPS if steps is None else steps
    have = version(connection)
    newest = max(steps)
    if have > newest:
        raise StoreTrouble(
            Finding("books, schema version", str(have), f"at most {newest}", "Use the newer program that wrote them.")
        )
    missing = tuple(number for number in sorted(steps) if number > have)
    for number in missing:
        steps[number](connection)
        connection.execute(insert(SCHEMA).values(version=number))
    return missing
