"""The readings of a logger's file, kept by day: what was read before is not read twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from intake.app.act_recording import Recorded, judge
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.ledger import vat_place
from intake.packing.logger_series import Logged, Series, read_logger
from intake.rules import Measuring
from intake.rules.limits import READINGS

__all__ = ["Imported", "import_readings"]

_SAME_VALUE = 0.001
"""Two values of one moment closer than this are one reading, rounded twice."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What was read: rows in the file, rows new to the ledger, and how each column was understood."""

    recorded: Recorded
    rows: int
    fresh: int
    columns: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return self.recorded.as_dict() | {"rows": self.rows, "new": self.fresh, "columns": list(self.columns)}


def import_readings(  # the facts of a file, all named
    house: House,
    data: bytes,
    file: str,
    place: str,
    *,
    columns: Mapping[str, str] | None = None,
    dates: str = "",
    despite: str = "",
    key: str = "",
) -> Imported:
    """Read a logger's file into the ledger, a record for each day and quantity; the extremes go before the rules.

    Parameters
    ----------
    place
        Vat or system the logger hangs in.

    Raises
    ------
    BadInput
        As :func:`~intake.packing.logger_series.read_logger`; a quantity or value no instrument of ours shows; a
        reading of the future.
    RulesBroken
        Values of another unit, or too far from the setting to be true without a reason.
    """
    where = vat_place(house.site.vat(place).id) if place in house.site.vats else place
    found = read_logger(data, file, house.site.farm.zone, columns=columns, dates=dates)
    _check(found, file, house.now)
    known = _known(house, where)
    fresh = {one.quantity: [row for row in one.rows if row.at not in known.get(one.quantity, ())] for one in found}
    new = sum(len(rows) for rows in fresh.values())
    said: list[str] = []
    with house.act(key) as act:
        judged = judge(house, act, *_extremes(where, fresh), despite=despite, key=key)
        keys = []
        for quantity, rows in fresh.items():
            days = list(_by_day(house, rows))
            keys += [act.note("reading", where, _day(quantity, lot, file), at=lot[-1].at) for _, lot in days]
            said.append(f"{place}: {len(rows)} new of {quantity} on {len(days)} days")
        said += _contradicted(place, known, found)
        judged.keep(act)
    told = Recorded((*said, *judged.said), tuple(keys), judged.told)
    shown = tuple(f"{one.column} → {one.quantity}{f' ({one.unit})' if one.unit else ''}" for one in found)
    return Imported(told, sum(len(one.rows) for one in found), new, shown)


def _check(found: Sequence[Series], file: str, now: datetime) -> None:
    faults = []
    for one in found:
        if one.quantity not in READINGS:
            faults.append(Finding("--columns", one.quantity, f"one of {', '.join(READINGS)}"))
            continue
        low, high = READINGS[one.quantity]
        odd = [row for row in one.rows if not low <= row.value <= high and one.quantity != "temperature_c"]
        faults += [
            Finding(f"{file}, {one.column}", f"{row.value:g} at {row.at}", f"{low:g} to {high:g}") for row in odd[:5]
        ]
        late = [row for row in one.rows if row.at > now]
        faults += [Finding(f"{file}, {one.column}", f"{row.at}", f"a time not after now, {now}") for row in late[:1]]
    if faults:
        raise BadInput(faults)


def _known(house: House, where: str) -> dict[str, dict[datetime, float]]:
    """Quantity → moment → value of every row of a logger on record there."""
    found: dict[str, dict[datetime, float]] = {}
    for record in house.standing("reading", where):
        rows: Any = record.payload.get("rows") or []
        found.setdefault(str(record.payload.get("quantity")), {}).update(
            (datetime.fromtimestamp(row[0], tz=house.site.farm.zone), row[1]) for row in rows
        )
    return found


def _contradicted(place: str, known: Mapping[str, Mapping[datetime, float]], found: Sequence[Series]) -> Iterable[str]:
    """Rows of a moment already on record that say something else: what was read first stands, and the row is reported."""
    for one in found:
        old = known.get(one.quantity, {})
        other = [row for row in one.rows if row.at in old and abs(old[row.at] - row.value) > _SAME_VALUE]
        if other:
            yield (
                f"{place}: {len(other)} of {one.quantity} are another value than on record at the same moment, "
                f"first {other[0].value:g} against {old[other[0].at]:g} at {other[0].at:%Y-%m-%d %H:%M}; not saved"
            )


def _by_day(house: House, rows: Sequence[Logged]) -> Iterable[tuple[date, list[Logged]]]:
    zone = house.site.farm.zone
    for day, lot in groupby(rows, key=lambda row: row.at.astimezone(zone).date()):
        yield day, list(lot)


def _day(quantity: str, lot: Sequence[Logged], file: str) -> dict[str, object]:
    """A day of one quantity: every row, and the extremes that alarms and clocks ask for."""
    low, high = min(lot, key=lambda row: row.value), max(lot, key=lambda row: row.value)
    marks = {id(row): row for row in (low, high, lot[-1])}
    return {
        "quantity": quantity,
        "value": round(lot[-1].value, 4),
        "scale": "",
        "file": file,
        "rows": [[row.at.timestamp(), round(row.value, 4)] for row in lot],
        "marks": [[row.at.isoformat(), round(row.value, 4)] for row in sorted(marks.values(), key=lambda row: row.at)],
    }


def _extremes(where: str, fresh: Mapping[str, Sequence[Logged]]) -> list[Measuring]:
    """The lowest, the highest and the last new value of each quantity, as the rules see them."""
    found = []
    for quantity, rows in fresh.items():
        if rows:
            ends = {id(one): one for one in (min(rows, key=_value), max(rows, key=_value), rows[-1])}
            found += [Measuring(one.at, where, quantity, round(one.value, 3)) for one in ends.values()]
    return found


def _value(row: Logged) -> float:
    return row.value
