"""Work done: a task of the timetable ticked off; a tank transfer by the move itself."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.act_recording import Judged, Recorded, judge, refuse_shortage, told_as
from intake.app.queries.biosecurity.treatment_question import treating
from intake.app.queries.planning.published_timetable import find_task
from intake.app.queries.planning.task_closing import of_a_later_day
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Floor
from intake.ledger import standing, vat_place
from intake.rules import Placing, Portion, Transferring
from intake.rules.acts import Act as Proposed

__all__ = ["done"]


def done(  # the facts of work done, all named
    house: House,
    task: str,
    *,
    to: str = "",
    at: datetime | None = None,
    note: str = "",
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record a task of the timetable as done, named by its uid or by the short number it has while it is open.

    Parameters
    ----------
    to
        For a transfer: the vat the whole lot was moved to; the move is recorded with it, and without it the transfer
        is not done.

    Raises
    ------
    UnknownName
        No such task or vat.
    BadInput
        A vat for a task that moves no one.
    Refused
        It was recorded before, or is the round of a later day: what is seen today says nothing of the dead of tomorrow.
    RulesBroken
        A treatment the animals, or others in their water, may not have; a transfer that is no move to a clean dry vat.
    """
    row = find_task(house, task)
    task = str(row["uid"])
    if told_as(house, key, "done", task):
        return Recorded((f"Done before, with this key: {row['title']}",), (key,))
    if to and row["kind"] != "transfer":
        raise BadInput(Finding("--to", to, "a transfer task", f"{task} moves no one."))
    if to:
        house.site.vat(to)
    moment = at or house.now
    _check_day(house, row, moment)
    floor = house.floor(moment)
    with house.act(key) as act:
        if standing(act.entries("done", task)):
            raise Refused(Finding("task", task, "a task not yet recorded as done", "It was recorded before."))
        judged = judge(house, act, *_proposed(house, floor, row, to, moment), despite=despite, key=key)
        keys = [act.note("done", task, _payload(house, row, to, note), at=moment)]
        if to:
            keys += _moved(house, act, floor, str(row["batch"]), to, moment, judged)
        judged.keep(act, at=moment)
    about = row["batch"] or row["vat"]
    where = (f" ({about})" if about else "") + (f" → {to}" if to else "")
    return Recorded((f"Done: {row['title']}{where}", *judged.said), tuple(keys), judged.told)


def _check_day(house: House, row: Mapping[str, Any], moment: datetime) -> None:
    if of_a_later_day(house, row, moment):
        start = datetime.fromisoformat(str(row["start"])).astimezone(house.site.farm.zone)
        name = f"task {row['short']}" if row.get("short") else f"task {row['uid']}"
        met = f"{row['title']} of {start:%a} {start.day} {start:%b}"
        do = "Rounds are recorded on their day; today's is in the list of `vatside`."
        raise Refused(Finding(name, met, "a round of today or before", do))


def _dip(row: Mapping[str, Any]) -> str:
    """The dip a task is of, by its uid; empty for other work."""
    parts = str(row["uid"]).split("/")
    return parts[1] if len(parts) > 1 and row["kind"] in {"dip", "inspection", "transfer"} else ""


def _proposed(house: House, floor: Floor, row: Mapping[str, Any], to: str, at: datetime) -> list[Proposed]:
    dip, batch = _dip(row), floor.batches.get(str(row["batch"]))
    if dip not in house.library.dips or batch is None:
        return []
    vats = tuple(stay.vat for stay in floor.stays if stay.batch == batch.id)
    proposed: list[Proposed] = [treating(house, batch, dip, at, vats=(str(row["vat"]),), work=True)]
    if row["kind"] == "transfer":
        count = floor.headcount(batch.id)
        proposed.append(Transferring(at, batch, vats, to, count))
        if to:
            rows = [
                Portion(batch, to, stay.count, stay.vat, stay.stage) for stay in floor.stays if stay.batch == batch.id
            ]
            proposed.append(Placing(at, tuple(rows), "move"))
    return proposed


def _payload(house: House, row: Mapping[str, Any], to: str, note: str) -> dict[str, object]:
    told: dict[str, object] = {"batch": row["batch"], "kind": row["kind"], "vat": row["vat"], "note": note}
    dip = _dip(row)
    if dip in house.library.dips:
        asked = treating(house, house.floor().batches[str(row["batch"])], dip, house.now, vats=(str(row["vat"]),))
        told |= {"agents": list(asked.agents), "where": asked.where}
    return told | ({"to": to} if to else {})


def _moved(house: House, act: Act, floor: Floor, batch: str, to: str, at: datetime, judged: Judged) -> list[str]:
    """The move that is the transfer: the whole lot, from every vat it is in."""
    keys = []
    for stay in [stay for stay in floor.stays if stay.batch == batch and stay.vat != to]:
        note = "; ".join(part for part in ("tank transfer", judged.note) if part)
        keys.append(act.move(batch, vat_place(stay.vat), vat_place(to), stay.count, at=at, note=note))
        act.note("stage", batch, {"batch": batch, "vat": to, "stage": stay.stage}, at=at)
    refuse_shortage(house, act, batch)
    return keys
