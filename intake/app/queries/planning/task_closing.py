"""Which published tasks are over: done, missed or dropped, and why; work in hand stays until its end or its record."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from intake.app.session import House
from intake.farm.floor import Done, Floor

__all__ = ["ROUNDS", "closed_rows", "is_released", "of_a_later_day"]

_Row = dict[str, Any]

ROUNDS = frozenset({"death round", "round"})
_LANDING = frozenset({"receive", "acclimation"})


def of_a_later_day(house: House, row: Mapping[str, Any], moment: datetime) -> bool:
    """Whether a task is a round of a day still to come: what is seen before says nothing of that day's dead."""
    zone = house.site.farm.zone
    day = datetime.fromisoformat(str(row["start"])).astimezone(zone).date()
    return row["kind"] in ROUNDS and moment.astimezone(zone).date() < day


def closed_rows(
    house: House, rows: Mapping[str, _Row], wanted: Collection[str], done: Collection[str]
) -> dict[str, _Row]:
    """Rows whose state changed by what the ledger says now.

    Parameters
    ----------
    rows
        Uid → row as published.
    wanted, done
        Uids of what must still be done and of what is recorded as done.
    """
    floor = house.floor()
    by_task = {one.task: one for one in floor.done}
    found = {}
    for uid, row in rows.items():
        state = row.get("state", "open")
        if state == "open":
            closed = _closed(house, floor, row, by_task.get(uid), needed=uid in wanted)
            if closed is not None:
                found[uid] = closed
        elif state == "done" and row.get("by_record") and uid not in done:
            found[uid] = _reopened(row)
        elif state in {"missed", "dropped"} and uid in done:
            found[uid] = _recorded(house, row, by_task[uid])
    return found


def _closed(house: House, floor: Floor, row: _Row, record: Done | None, *, needed: bool) -> _Row | None:
    """The row of an open task that is over; ``None`` while it is not."""
    now = house.now
    start, end = datetime.fromisoformat(str(row["start"])), datetime.fromisoformat(str(row["end"]))
    if record is not None:
        return _recorded(house, row, record)
    if row["kind"] in ROUNDS:
        last = datetime.fromisoformat(str(row["latest"])) if row.get("latest") else end
        if max(last, end) < now:
            return row | {"state": "missed", "reason": "not recorded on its day"}
    if needed or start <= now < end:
        return None
    if row["kind"] in _LANDING:
        return _landed(house, floor, row, end)
    if end <= now:
        if row["kind"] == "release check" and is_released(floor, str(row["batch"])):
            return row | {"state": "done", "at": end.isoformat(), "by": "", "reason": "with the release"}
        return row | {"state": "missed", "reason": "not recorded, and no longer needed"}
    return row | {"state": "dropped", "reason": _why_dropped(floor, row)}


def _landed(house: House, floor: Floor, row: _Row, end: datetime) -> _Row | None:
    """Receiving is done with the receipt; acclimation with its end on the day, since the animals were placed."""
    batch = floor.batches.get(str(row["batch"]))
    received = floor.received.get(batch.shipment) if batch is not None else None
    if received is None:
        return row | {"state": "dropped", "reason": _why_dropped(floor, row)}
    if row["kind"] == "receive":
        return row | {"state": "done", "at": received.isoformat(), "by": "", "reason": "with the receipt"}
    if end <= house.now:
        return row | {"state": "done", "at": end.isoformat(), "by": "", "reason": "with the receipt"}
    return None


def _recorded(house: House, row: _Row, record: Done) -> _Row:
    told = house.last("done", record.task)
    note = str(told.payload.get("note") or "") if told is not None else ""
    closed = row | {"state": "done", "by": record.who, "at": record.at.isoformat(), "note": note, "by_record": True}
    return closed | {"reason": ""}


def _reopened(row: _Row) -> _Row:
    return {name: value for name, value in row.items() if name not in {"by", "at", "note", "by_record"}} | {
        "state": "open"
    }


def is_released(floor: Floor, batch: str) -> bool:
    """Whether animals of a batch are left and none is in quarantine or healing: moving them out asked what a check asks."""
    stages = {stay.stage for stay in floor.stays if stay.batch == batch}
    return bool(stages) and not stages & {"quarantine", "healing"}


def _why_dropped(floor: Floor, row: _Row) -> str:
    batch, vat = str(row["batch"]), str(row["vat"])
    if not batch:
        return "no animals in quarantine on that day"
    here = [stay for stay in floor.stays if stay.batch == batch]
    if not here:
        return f"no animals of {batch} are left" if batch in floor.batches else f"{batch} is not expected"
    if is_released(floor, batch):
        return f"{batch} is released"
    if vat and all(stay.vat != vat for stay in here):
        return f"{batch} is no longer in {vat}"
    return "no longer needed"
