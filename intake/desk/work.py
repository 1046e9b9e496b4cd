"""The timetable at the desk: needs gathered from stays present and planned, times kept where they were published."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from intake.desk.house import House
from intake.desk.plans import accepted_rows, shipment_facts
from intake.desk.records import published_tasks
from intake.farm.floor import Stay
from intake.ledger import latest, movements, standing, vat_id
from intake.quarantine import Need, Prescription, needs_for
from intake.quarantine.repeats import COUNTS_WITHIN_H
from intake.timetable import PreparedWater, Progress, Task, Timetable, litres_by_count, schedule
from intake.timetable.relief import reliefs, with_reliefs

__all__ = ["broken_lags", "holidays_of", "needs", "reschedule", "stays_ahead", "task_of"]


def stays_ahead(house: House) -> tuple[Stay, ...]:
    """Stays present and, for accepted plans whose shipment is still to come, those planned for quarantine and healing."""
    floor, facts = house.floor(), shipment_facts(house)
    planned = []
    for row in accepted_rows(house):
        batch = floor.batches.get(str(row["batch"]))
        if batch is None or batch.shipment in floor.received or batch.shipment not in facts:
            continue
        if row["stage"] in {"quarantine", "healing"}:
            lands = datetime.fromisoformat(str(facts[batch.shipment]["lands"]))
            since = max(lands, house.now)
            planned.append(Stay(batch.id, str(row["vat"]), int(row["count"]), since, str(row["stage"])))
    return (*floor.stays, *planned)


def needs(house: House, stays: Sequence[Stay] | None = None) -> tuple[Need, ...]:
    """Everything the timetable must place from now on, for the stays present and planned unless others are given."""
    return needs_for(
        stays_ahead(house) if stays is None else stays,
        house.floor(),
        house.library,
        house.site,
        now=house.now,
        prescriptions=_prescriptions(house),
        asked=_asked(house),
        began=_began(house),
    )


def _prescriptions(house: House) -> dict[tuple[str, str], Prescription]:
    found = {}
    for record in latest(house.entries(), "prescription").values():
        told: Mapping[str, Any] = record.payload
        if told.get("prescriber") and told.get("reference"):
            found[str(told["batch"]), str(told["dip"])] = Prescription(
                prescriber=str(told["prescriber"]),
                reference=str(told["reference"]),
                agent=str(told.get("agent") or ""),
                strength=str(told.get("strength") or ""),
                contact_min=told.get("contact_min"),
                contact_max=told.get("contact_max"),
            )
    return found


def _asked(house: House) -> dict[str, dict[str, str]]:
    asked: dict[str, dict[str, str]] = {}
    for record in latest(house.entries(), "prescription").values():
        told = record.payload
        asked.setdefault(str(told["batch"]), {})[str(told["dip"])] = str(told.get("reason") or "ordered")
    return asked


def _began(house: House) -> dict[tuple[str, str], str]:
    """Vat a portion stands in now → vat it was first placed in, so that its work keeps its name through moves."""
    began: dict[tuple[str, str], str] = {}
    for movement in movements(house.entries()):
        source, target = vat_id(movement.source), vat_id(movement.target)
        if source and target:
            began[movement.batch, target] = began.get((movement.batch, source), source)
    return began


def holidays_of(house: House, years: range) -> frozenset[date]:
    """Public holidays of the farm's country; empty when the farm names none."""
    if not house.site.farm.country:
        return frozenset()
    import holidays

    try:
        return frozenset(holidays.country_holidays(house.site.farm.country, years=years))
    except NotImplementedError:
        return frozenset()


def dusk_of(house: House) -> dict[date, time] | None:
    """When it is dark at the farm on each of the next hundred days; ``None`` when the farm does not say where it lies."""
    farm = house.site.farm
    if farm.latitude is None or farm.longitude is None:
        return None
    from intake.timetable.sun import dusk_times

    days = [house.today + timedelta(days=offset) for offset in range(100)]
    return dusk_times(farm.latitude, farm.longitude, farm.zone, days)


def reschedule(
    house: House,
    *,
    seconds: float = 8.0,
    seed: int = 0,
    afresh: bool = False,
    progress: Callable[[Progress], None] | None = None,
) -> Timetable:
    """Place all work, keep it as published and give the answer.

    Parameters
    ----------
    afresh
        Forget the published times of what has not been done, instead of moving as little as can be.
    """
    before = {str(row["uid"]): task_of(row) for row in published_tasks(house)}
    finished = {record.subject for record in standing(house.entries(), "done")}
    past = {uid for uid, task in before.items() if uid in finished}
    stays, counts = _steady(house)
    asked = needs(house, stays)
    wanted = asked if afresh else tuple(_held(need, before.get(need.uid)) for need in asked)
    water = mixed_water(house, wanted)
    off, dusk = holidays_of(house, range(house.today.year, house.today.year + 2)), dusk_of(house)
    table = schedule(
        wanted,
        house.site,
        now=house.now,
        published=None if afresh else {uid: task for uid, task in before.items() if uid not in past},
        done=finished,
        seconds=seconds,
        seed=seed,
        progress=progress,
        holidays=off,
        dusk=dusk,
        prepared_water=water,
    )
    if table.unplaced:
        found = reliefs(
            wanted, house.site, table, now=house.now, done=finished, holidays=off, dusk=dusk, prepared_water=water
        )
        table = with_reliefs(table, found)
    ahead = {task.uid for task in table.tasks}
    kept = [row for row in published_tasks(house) if row["uid"] in past and row["uid"] not in ahead]
    tasks = [*kept, *(_kept_chain(_payload(task), before.get(task.uid), table) for task in table.tasks)]
    if tasks != published_tasks(house):
        told = {"tasks": tasks, "broken": [list(pair) for pair in table.broken], "counts": counts}
        with house.act() as act:
            act.note("timetable", "timetable", told)
    return table


def mixed_water(house: House, wanted: Sequence[Need]) -> PreparedWater | None:
    """What the mixing tank holds and what the work draws from it; ``None`` where the farm does not say."""
    mixing = house.site.mixing
    if mixing is None:
        return None
    drawn = litres_by_count(wanted, bath_l=mixing.bath_l, animals_a_bath=mixing.animals_a_bath)
    return PreparedWater(mixing.tank_l, mixing.refill_minutes, drawn)


_DRIFT = 0.05
"""Share by which a headcount may drift before the work on it is told anew: a death a day would otherwise change every event
of a lot in every calendar (house rule, no source)."""


def _steady(house: House) -> tuple[tuple[Stay, ...], dict[str, int]]:
    """Stays with the counts last scheduled for, where they drifted little since; and those counts, to be kept."""
    record = latest(house.entries(), "timetable").get("timetable")
    told: Any = record.payload.get("counts") if record else None
    before: dict[str, int] = dict(told or {})
    stays, counts = [], {}
    for stay in stays_ahead(house):
        name = f"{stay.batch}/{stay.vat}"
        was = before.get(name, stay.count)
        count = was if abs(stay.count - was) <= _DRIFT * was else stay.count
        counts[name] = count
        stays.append(replace(stay, count=count))
    return tuple(stays), counts


def _held(need: Need, was: Task | None) -> Need:
    """A need that may begin when it was published, if it would still count then.

    Work is recorded at its end, an hour after it began; without this every repeat would move on by a day for that hour.
    """
    if was is None or need.kind not in COUNTS_WITHIN_H or was.start >= need.earliest:
        return need
    held = was.start >= need.earliest - timedelta(hours=COUNTS_WITHIN_H[need.kind])
    return replace(need, earliest=was.start) if held else need


def _kept_chain(row: dict[str, Any], was: Task | None, table: Timetable) -> dict[str, Any]:
    """Keep naming the work it follows: a reader should see no change where nothing changed.

    That is so once the work before it is done, and for a release check, which follows every bath and names one of them.
    """
    if was is None or not was.follows or row["follows"] == was.follows:
        return row
    still = any(task.uid == was.follows for task in table.tasks) and row["kind"] == "release check"
    return {**row, "follows": was.follows} if still or not row["follows"] else row


def broken_lags(house: House) -> dict[str, list[str]]:
    """Batch → lags and limits of its protocol that could not be kept: such a lot may not be released."""
    record = latest(house.entries(), "timetable").get("timetable")
    found: dict[str, list[str]] = {}
    if record is not None:
        pairs: Any = record.payload.get("broken") or []
        for batch, words in pairs:
            found.setdefault(str(batch), []).append(str(words))
    return found


def _payload(task: Task) -> dict[str, Any]:
    plain = asdict(task)
    plain["start"], plain["end"] = task.start.isoformat(), task.end.isoformat()
    plain["staff"], plain["protection"] = list(task.staff), list(task.protection)
    return plain


def task_of(row: Mapping[str, Any]) -> Task:
    """A published task as the timetable knows it."""
    plain = dict(row)
    plain["start"] = datetime.fromisoformat(plain["start"])
    plain["end"] = datetime.fromisoformat(plain["end"])
    plain["staff"], plain["protection"] = tuple(plain["staff"]), tuple(plain["protection"])
    return Task(**plain)
