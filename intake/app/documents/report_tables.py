"""Every report as one flat table for a spreadsheet: which rows of its answer, in which columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from intake.app.output_files import Cell, write_table
from intake.app.session import House

__all__ = ["REPORTS", "ReportTable", "write_report"]

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ReportTable:
    """Columns of a report's table, as keys of its ``--json`` answer (``a.b`` is key ``b`` inside ``a``), and its rows."""

    columns: tuple[str, ...]
    rows: Callable[[Any], Iterable[Row]]


def _shares(told: Row) -> Iterator[Row]:
    for one in told["suppliers"]:
        for name, share in one["shares"].items():
            yield {**one, "rate": name, **share}


def _places(told: Sequence[Row]) -> Iterator[Row]:
    for vat in told:
        yield from ({**vat, **stay} for stay in vat["stands"] or [{}])


def _by_head(told: Row) -> Iterator[Row]:
    for head, rows in told["heads"].items():
        yield from ({"rate": head, **row} for row in (rows if isinstance(rows, list) else rows["lines"]))


def _money(told: Row) -> Iterator[Row]:
    """Amounts as numbers, so that a spreadsheet adds them up."""
    words = {"shipment", "supplier", "currency", "unpriced_animals"}
    for row in told["shipments"]:
        yield {name: value if name in words or value is None else float(value) for name, value in row.items()}


def _sales(told: Row) -> Iterator[Row]:
    """Prices as numbers, so that a spreadsheet adds them up."""
    for row in told["sales"]:
        yield {**row, **{name: float(row[name]) if row[name] else None for name in ("price", "amount")}}


def _drawn(told: Row) -> Iterator[Row]:
    for place in told["take"]:
        yield from ({**told, **place, "number": number} for number in place["numbers"])


REPORTS: dict[str, ReportTable] = {
    "losses": ReportTable(
        ("batch", "name", "came", "doa", "dead_first_7_days", "dead_later", "missing", "wrong", "sold", "alive",
         "survival.day", "survival.survival", "survival.low", "survival.high"),
        lambda told: told["batches"],
    ),
    "losses by": ReportTable(
        ("key", "came", "doa", "dead_first_7_days", "dead_later", "deaths_per_animal_day.estimate",
         "deaths_per_animal_day.low", "deaths_per_animal_day.high", "alive_day_7.survival", "alive_day_30.survival"),
        lambda told: told["rows"],
    ),
    "suppliers": ReportTable(
        ("supplier", "shipments", "batches", "came", "rate", "lost", "of", "raw", "estimate", "low", "high", "interval"),
        _shares,
    ),
    "vats": ReportTable(
        ("system", "vat", "full_percent", "batch", "name", "count", "stage", "since", "not_cut_before", "cleaned"), _places
    ),
    "permits": ReportTable(
        ("shipment", "lands", "still_to_come", "permit", "kind", "valid_until", "name", "written_as", "listed", "source_code",
         "origin", "waybill", "batches", "boxes", "permitted", "unit", "announced", "came", "missing", "doa", "dead", "sold",
         "on_hand", "left_on_permit", "keep_until", "lacks"),
        lambda told: told,
    ),
    "money": ReportTable(
        ("shipment", "supplier", "currency", "bought", "doa", "dead_first_week", "dead_later", "missing", "wrong", "lost",
         "lost_landed", "credited", "net", "unpriced_animals"),
        _money,
    ),
    "sales": ReportTable(
        ("day", "batch", "name", "vat", "count", "price", "amount", "currency", "reference", "who"), _sales
    ),
    "alarms": ReportTable(
        ("unit", "id", "name", "first_day", "from", "until", "days", "deaths", "expected", "chance", "do_first",
         "look_first_at"),
        lambda told: told["alarms"],
    ),
    "journeys": ReportTable(
        ("rate", "supplier", "group", "hours_in_bag", "season", "shipments", "lost", "of", "estimate", "low", "high"), _by_head
    ),
    "expect-losses": ReportTable(
        ("rate", "batch", "name", "animals", "hours_in_bag", "expected", "low", "high", "basis"), _by_head
    ),
    "draw": ReportTable(("batch", "name", "seed", "place", "standing", "number"), _drawn),
    "trace": ReportTable(
        ("of", "direction", "batch", "name", "where", "how", "steps", "through", "weak", "from", "until", "why"),
        lambda told: told,
    ),
    "release": ReportTable(
        ("batch", "name", "earliest", "releasable", "stands_in_the_way", "why"), lambda told: told
    ),
}  # fmt: skip
"""The reports that can be written as a table, by their command."""


def write_report(house: House, report: str, told: Any, path: Path) -> Path:
    """Write the answer of a report as CSV, XLSX or Parquet, by the ending of ``path``.

    Raises
    ------
    BadInput, StoreTrouble
        As :func:`~intake.app.output_files.write_table`.
    """
    table = REPORTS[report]
    rows = [[_cell(row, key) for key in table.columns] for row in table.rows(told)]
    for at in range(len(table.columns)):
        _as_dates(rows, at)
    return write_table(path, table.columns, rows, house.site.farm.zone)


def _cell(row: Row, key: str) -> Cell:
    value: Any = row
    for part in key.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    return "; ".join(map(str, value)) if isinstance(value, list) else value


_DAY, _MOMENT = re.compile(r"\d{4}-\d\d-\d\d"), re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d.*[+-]\d\d:\d\d")


def _as_dates(rows: list[list[Cell]], at: int) -> None:
    """Turn a column of ISO days, or of moments with their offset, from text into what it says."""
    texts = [row[at] for row in rows if row[at] is not None]
    for form, read in ((_DAY, date.fromisoformat), (_MOMENT, datetime.fromisoformat)):
        if texts and all(isinstance(text, str) and form.fullmatch(text) for text in texts):
            for row in rows:
                row[at] = None if row[at] is None else read(str(row[at]))
