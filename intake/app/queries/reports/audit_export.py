"""The ledger for an auditor: every movement and record as CSV, and as Parquet where the library for it is there."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from intake import __version__
from intake.app.output_files import Cell, has_parquet, save, write_table
from intake.app.session import House
from intake.ledger import Entry, Record, balances, movements, records
from intake.ledger.entries import canonical

__all__ = ["COLUMNS", "export", "table_of"]

COLUMNS: Final = {
    "movements": (
        "number", "batch", "source", "target", "count", "happened_at", "recorded_at", "who", "key", "corrects", "note",
    ),
    "records": (
        "number", "kind", "subject", "payload", "happened_at", "recorded_at", "who", "key", "corrects",
    ),
    "balances": ("batch", "place", "animals"),
}  # fmt: skip
"""Columns of each table; times are UTC, payloads JSON."""


def table_of(entries: Iterable[Entry], name: str) -> list[tuple[Cell, ...]]:
    """Rows of one table, in the order the ledger was written.

    Parameters
    ----------
    name
        One of :data:`COLUMNS`.
    """
    kept = tuple(entries)
    if name == "balances":
        return [(batch, place, count) for (batch, place), count in sorted(balances(kept).items())]
    if name == "movements":
        return [
            (m.id, m.batch, m.source, m.target, m.count, _utc(m.happened_at), _utc(m.recorded_at), m.who, m.key,
             m.corrects or "", m.note)
            for m in movements(kept)
        ]  # fmt: skip
    return [
        (r.id, r.kind, r.subject, canonical(_without_secrets(r)), _utc(r.happened_at), _utc(r.recorded_at), r.who, r.key,
         r.corrects or "")
        for r in records(kept)
    ]  # fmt: skip


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


_SECRETS: Final = {"person": ("pin",), "device": ("hash",), "feed": ("hash",)}
"""Values that let somebody in, or help to guess what does: an auditor needs that they were set, not what they are."""


def _without_secrets(record: Record) -> dict[str, object]:
    hidden = _SECRETS.get(record.kind, ())
    return {name: "(not exported)" if name in hidden and value else value for name, value in record.payload.items()}


def export(house: House, out: Path) -> dict[str, Any]:
    """Write all movements, records and balances, and a list of the files with their hashes.

    Returns
    -------
    dict
        Files written, rows in each, what the check of the ledger found, and why there is no Parquet when there is none.

    Notes
    -----
    A text that a spreadsheet would take for a formula has an apostrophe put before it in the CSV; Parquet and the hashes
    of the ledger holds it as it is.
    """
    entries = house.entries()
    paths: list[Path] = []
    rows: dict[str, int] = {}
    endings = (".csv", ".parquet") if has_parquet() else (".csv",)
    for name, columns in COLUMNS.items():
        table = table_of(entries, name)
        rows[name] = len(table)
        paths += [write_table(out / f"{name}{ending}", columns, table, UTC) for ending in endings]
    told = {
        "farm": house.site.farm.name,
        "exported_at": _utc(house.now),
        "rows": rows,
        "head": str(house.books.head()),
        "findings": [str(finding) for finding in house.books.prove(house.now, program=__version__).faults],
        "sha256": {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths},
    }
    paths.append(save(out / "audit.json", (json.dumps(told, ensure_ascii=False, indent=2) + "\n").encode()))
    why = "" if has_parquet() else "no Parquet: the package pyarrow is not installed"
    return {**told, "parquet": why or "written", "files": [str(path) for path in paths]}
