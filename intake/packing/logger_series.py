"""A logger's CSV to readings: which column is the time, which are quantities, in which unit; every row that cannot be read."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

from intake.errors import BadInput, Finding
from intake.packing.figures import moment_of
from intake.packing.grid import Cell
from intake.packing.plaintext import decoded, delimiter_of
from intake.units import celsius

__all__ = ["Logged", "Series", "read_logger"]

DateOrder = Literal["dmy", "mdy", "ymd"]

_TIME = re.compile(r"\b(time|date|timestamp|datetime|zeit|datum|fecha|hora|heure)\b", re.IGNORECASE)
_QUANTITY: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("temperature_c", re.compile(r"temp|°\s*[CF]\b|\bdeg[cf]\b", re.IGNORECASE)),
    ("salinity_psu", re.compile(r"salin|\bpsu\b|\bppt\b", re.IGNORECASE)),
    ("oxygen_mg_per_l", re.compile(r"oxygen|\bdo\b|\bo2\b", re.IGNORECASE)),
    ("ph", re.compile(r"\bph\b", re.IGNORECASE)),
)
_FAHRENHEIT = re.compile(r"°?\s*\bF\b|\bdegf\b|fahrenheit", re.IGNORECASE)
_SATURATION = re.compile(r"%|sat", re.IGNORECASE)
MOST_FAULTS = 20


@dataclass(frozen=True, slots=True)
class Logged:
    """One value: when, and how much, in the unit of its quantity."""

    at: datetime
    value: float


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity of a file, in the order of time, and how its column was understood."""

    quantity: str
    column: str
    unit: str
    rows: tuple[Logged, ...]


def read_logger(
    data: bytes, file: str, zone: tzinfo, *, columns: Mapping[str, str] | None = None, dates: str = ""
) -> tuple[Series, ...]:
    """Read a logger's file.

    Parameters
    ----------
    zone
        Zone of times that name none.
    columns
        ``time`` and quantities → heading, where the file's own headings do not say; others are proposed.
    dates
        Order of day and month, ``dmy`` or ``mdy``, where the cells allow both.

    Raises
    ------
    BadInput
        Not a table, no column for time or for any quantity, dates that may be read two ways, or rows that cannot be
        read: each with its row.
    """
    text, _, _ = decoded(data, file)
    mark, _ = delimiter_of(text)
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise BadInput(Finding(file, "no rows", "a heading and a row for each reading"))
    heads = [head.strip() for head in rows[0]]
    when, found = _columns(heads, file, columns or {})
    times = _times([row[when] if when < len(row) else "" for row in rows[1:]], file, zone, dates)
    return tuple(_series(quantity, at, heads, rows[1:], times, file) for quantity, at in found.items())


def _columns(heads: Sequence[str], file: str, told: Mapping[str, str]) -> tuple[int, dict[str, int]]:
    faults = [
        Finding(f"--columns {name}", head, f"one of {', '.join(heads)}")
        for name, head in told.items()
        if head not in heads
    ]
    if faults:
        raise BadInput(faults)
    when = heads.index(told["time"]) if "time" in told else _first(heads, [_TIME])
    found = {name: heads.index(head) for name, head in told.items() if name != "time"}
    for quantity, pattern in _QUANTITY if not found else ():
        at = _first(heads, [pattern], but=when)
        if at is not None and not (quantity == "oxygen_mg_per_l" and _SATURATION.search(heads[at])):
            found[quantity] = at
    if when is None or not found:
        missing = "time" if when is None else "a quantity"
        do = f'Say it: --columns "time={heads[0]};temperature_c={heads[-1]}".'
        raise BadInput(Finding(f"{file}, row 1", ", ".join(heads), f"a heading for {missing}", do))
    return when, found


def _first(heads: Sequence[str], patterns: Iterable[re.Pattern[str]], but: int | None = None) -> int | None:
    return next((at for at, head in enumerate(heads) if at != but and any(one.search(head) for one in patterns)), None)


def _times(cells: Sequence[str], file: str, zone: tzinfo, dates: str) -> list[datetime]:
    found: list[datetime] = []
    faults: list[Finding] = []
    order = _order(cells, file, dates)
    for number, cell in enumerate(cells, start=2):
        moment = _iso(cell) or moment_of(Cell(number, 1, cell.strip(), cell.strip()), order)
        if moment is None:
            faults.append(Finding(f"{file}, row {number}, time", cell[:40], "a date and time"))
            moment = datetime(2000, 1, 1, tzinfo=zone)
        found.append(moment if moment.tzinfo else moment.replace(tzinfo=zone))
    if faults:
        raise BadInput(faults[:MOST_FAULTS])
    return found


def _iso(cell: str) -> datetime | None:
    try:
        return datetime.fromisoformat(cell.strip())
    except ValueError:
        return None


def _order(cells: Sequence[str], file: str, dates: str) -> DateOrder:
    """The order of day and month; asked, never guessed, when the cells allow both."""
    if dates in ("dmy", "mdy", "ymd"):
        return dates  # type: ignore[return-value]
    orders: tuple[DateOrder, ...] = ("ymd", "dmy", "mdy")
    sample = [cell.strip() for cell in cells if cell.strip() and _iso(cell) is None]
    fits = [order for order in orders if all(moment_of(Cell(1, 1, cell, cell), order) is not None for cell in sample)]
    if sample and len(fits) > 1 and {moment_of(Cell(1, 1, sample[0], sample[0]), order) for order in fits} != {None}:
        read = {order: moment_of(Cell(1, 1, sample[-1], sample[-1]), order) for order in fits}
        if len(set(read.values())) > 1:
            shown = " or ".join(f"{moment:%d %B %Y} ({order})" for order, moment in read.items() if moment)
            raise BadInput(Finding(f"{file}, time", sample[-1], shown, "Say --dates dmy or --dates mdy."))
    return fits[0] if fits else "ymd"


def _series(
    quantity: str, at: int, heads: Sequence[str], rows: Sequence[Sequence[str]], times: Sequence[datetime], file: str
) -> Series:
    warm = quantity == "temperature_c" and _FAHRENHEIT.search(heads[at]) is not None
    found: list[Logged] = []
    faults: list[Finding] = []
    for number, (row, when) in enumerate(zip(rows, times, strict=True), start=2):
        cell = row[at].strip() if at < len(row) else ""
        if not cell:
            continue
        try:
            value = float(cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell)
        except ValueError:
            faults.append(Finding(f"{file}, row {number}, {heads[at]}", cell[:40], "a number"))
            continue
        if value != value or abs(value) == float("inf"):
            faults.append(Finding(f"{file}, row {number}, {heads[at]}", cell[:40], "a number"))
            continue
        found.append(Logged(when, celsius(value) if warm else value))
    if faults:
        raise BadInput(faults[:MOST_FAULTS])
    once = {one.at: one for one in found}
    unit = "°F" if warm else ""
    return Series(quantity, heads[at], unit, tuple(once[when] for when in sorted(once)))
