"""Entries of a site that were read before and need not be read again: the ledger only grow."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, select

from intake.ledger.entries import Entry
from intake.store.entry_reading import entry_of, merged, rows_of
from intake.store.ledger_tables import MOVEMENT, RECORD

__all__ = ["NOTHING", "Remembered", "caught_up"]


@dataclass(frozen=True, slots=True)
class _Series:
    """One table as far as it was read: its entries, and number and seal of the last, by which it is known again."""

    entries: tuple[Entry, ...] = ()
    number: int = 0
    seal: str = ""
    reached: datetime | None = None


@dataclass(frozen=True, slots=True)
class Remembered:
    """Everything read so far.

    Attributes
    ----------
    entries
        Movements and records in the order they were recorded.
    """

    entries: tuple[Entry, ...] = ()
    movements: _Series = _Series()
    records: _Series = _Series()


NOTHING = Remembered()


def caught_up(connection: Connection, site: str, before: Remembered) -> Remembered:
    """What is remembered, and what has come since.

    The last entry known is read once more: if its seal, which stands for all entries before it, is not the one
    remembered, these are other books (a copy was put back), and everything is read.

    Raises
    ------
    StoreTrouble
        An entry that cannot be read.
    """
    movements, moved = _grown(connection, MOVEMENT, site, before.movements)
    records, noted = _grown(connection, RECORD, site, before.records)
    if moved is None or noted is None:
        return Remembered(_in_order(movements.entries, records.entries), movements, records)
    if not moved and not noted:
        return before
    since = max((one for one in (before.movements.reached, before.records.reached) if one), default=None)
    first = min(entry.recorded_at for entry in (*moved[:1], *noted[:1]))
    if since is not None and first > since:
        entries = (*before.entries, *_in_order(moved, noted))
    else:
        entries = _in_order(movements.entries, records.entries)
    return Remembered(entries, movements, records)


def _grown(
    connection: Connection, table: Table, site: str, before: _Series
) -> tuple[_Series, tuple[Entry, ...] | None]:
    """One table as it is now, and its new entries; ``None`` for those when the table is not the one remembered."""
    query = select(table).where(table.c.site == site, table.c.id >= before.number).order_by(table.c.id)
    rows = list(rows_of(connection, query))
    if before.number:
        if not rows or rows[0]["id"] != before.number or rows[0]["seal"] != before.seal:
            return _grown(connection, table, site, _Series())[0], None
        rows = rows[1:]
    if not rows:
        return before, ()
    new = tuple(entry_of(row) for row in rows)
    reached = max(entry.recorded_at for entry in new)
    if before.reached is not None:
        reached = max(reached, before.reached)
    return _Series((*before.entries, *new), int(rows[-1]["id"]), str(rows[-1]["seal"]), reached), new


def _in_order(movements: tuple[Entry, ...], records: tuple[Entry, ...]) -> tuple[Entry, ...]:
    return tuple(entry for _, entry in merged(("", entry) for entry in (*movements, *records)))
