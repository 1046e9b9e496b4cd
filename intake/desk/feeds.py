"""Calendars: what each person, role, system or the whole farm subscribes to, its revisions, and the secret addresses."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from intake.desk import claims, clock
from intake.desk.house import House, save
from intake.desk.plans import shipment_facts
from intake.desk.records import published_tasks
from intake.errors import Finding, Refused, UnknownName
from intake.feed import CalendarInfo, Event, Published, is_whole, render, revise
from intake.ledger import Entry, latest

__all__ = [
    "Address",
    "addresses",
    "bytes_for",
    "create",
    "farm_id",
    "known_reader",
    "publish",
    "revoke",
    "snapshot",
    "subscriber_of",
    "who_may",
]

ROLES = ("owner", "keeper", "helper")
_ALARM_MINUTES = (30,)


def farm_id(house: House) -> str:
    """The farm's own name in calendar uids, made once and kept in the books."""
    known = latest(house.entries(), "farm")
    if "id" in known:
        return str(known["id"].payload["id"])
    with house.act() as act:
        # asked again under the lock: a second id would rename every event
        told = latest(act.entries("farm"), "farm").get("id")
        fresh = clock.fresh_key()[:16] if told is None else str(told.payload["id"])
        if told is None:
            act.note("farm", "id", {"id": fresh})
    return fresh


def who_may(house: House) -> list[str]:
    """Words a feed can be made for: the farm, roles, people, systems."""
    return ["farm", *ROLES, *house.site.people, *house.site.systems]


def known_reader(house: House, who: str) -> None:
    """Refuse a word that no feed can be made for.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    """
    if who not in who_may(house):
        raise UnknownName("--for", who, who_may(house), "person, role, system or farm")


def publish(house: House) -> int:
    """Bring the published revisions up to the timetable; gives the number of events that changed for a reader.

    Running it again without a change in between changes nothing.
    """
    home = farm_id(house)
    events = _events(house, home)
    rows = revise(revisions(house), events, house.now)
    if rows:
        with house.act() as act:
            # under the lock, from the revisions as they are then: a sequence number is given once
            rows = revise(revisions(house, act.entries("published")), events, house.now)
            for row in rows:
                payload = {
                    "sequence": row.sequence,
                    "stamp": row.stamp.isoformat(),
                    "fingerprint": row.fingerprint,
                    "fields": dict(row.fields),
                }
                act.note("published", row.uid, payload)
    return len(rows)


def revisions(house: House, entries: Iterable[Entry] | None = None) -> dict[str, Published]:
    """Latest revision of every event ever published, by uid."""
    return {
        uid: Published(
            uid,
            int(str(record.payload["sequence"])),
            datetime.fromisoformat(str(record.payload["stamp"])),
            str(record.payload["fingerprint"]),
            _fields(record.payload["fields"]),
        )
        for uid, record in latest(house.entries() if entries is None else entries, "published").items()
    }


def _fields(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _events(house: House, home: str) -> list[Event]:
    tasks = published_tasks(house)
    known = {str(task["uid"]) for task in tasks}
    events = [_task_event(house, task, home, known) for task in tasks]
    for shipment, facts in shipment_facts(house).items():
        lands = datetime.fromisoformat(str(facts["lands"]))
        received = house.floor().received.get(shipment)
        if received is None:
            events.append(
                Event(
                    f"lands-{shipment}@{home}", lands, lands + timedelta(hours=1), f"Shipment {shipment} lands",
                    f"From {house.site.supplier(str(facts['supplier'])).name}.", "", ("farm", "owner", "landing"),
                    alarms_minutes=(120,),
                )
            )  # fmt: skip
            continue
        claim = claims.current(house, shipment)
        if claim.deadline is not None and claim.state == "drafted" and claim.claimable:
            events.append(
                Event(
                    f"claim-{shipment}@{home}", claim.deadline - timedelta(minutes=30), claim.deadline,
                    f"Claim for {shipment} must be sent", f"{claim.claimable} animals claimable. vatside claim {shipment}",
                    "", ("farm", "owner", "claim"), alarms_minutes=(120, 30),
                )
            )  # fmt: skip
    return events


def _task_event(house: House, task: Mapping[str, Any], home: str, known: Collection[str]) -> Event:
    vat = str(task["vat"] or "")
    system = str(task.get("system") or (house.site.vats[vat].system if vat in house.site.vats else ""))
    people = [str(name) for name in task["staff"]]
    roles = {house.site.people[name].role for name in people if name in house.site.people}
    where = " · ".join(
        part for part in (vat, house.site.systems[system].name if system in house.site.systems else "") if part
    )
    summary = " · ".join(part for part in (str(task["title"]), vat or system, str(task["batch"] or "")) if part)
    return Event(
        uid=f"{task['uid']}@{home}",
        start=datetime.fromisoformat(str(task["start"])),
        end=datetime.fromisoformat(str(task["end"])),
        summary=summary,
        description=_description(house, task, people),
        location=where,
        categories=("farm", *sorted(roles), *people, *([system] if system else ()), str(task["kind"])),
        alarms_minutes=_ALARM_MINUTES,
        follows=((f"{task['follows']}@{home}", 0),) if task.get("follows") in known else (),
    )


def _description(house: House, task: Mapping[str, Any], people: Sequence[str]) -> str:
    from intake.desk.papers.sheets import contact_words

    floor = house.floor()
    batch = floor.batches.get(str(task["batch"]))
    mark = " † no published source" if task.get("unsourced") else ""
    lines = [
        f"What: {task['title']}",
        f"Vat: {task['vat']}" if task["vat"] else "",
        f"Batch: {batch.id} {batch.name}" if batch else "",
        f"Headcount: {task['headcount']}" if task.get("headcount") else "",
        f"With: {task['agent']}" if task.get("agent") else "",
        f"Strength: {task['strength']}{mark}" if task.get("strength") else "",
        f"Contact: {contact_words(task)}" if contact_words(task) else "",
        f"Protection: {', '.join(task['protection'])}" if task.get("protection") else "",
        f"At: {task['station']}" if task.get("station") else "",
        f"Who: {', '.join(house.site.people[name].name for name in people if name in house.site.people)}"
        if people
        else "",
        f"Why: {task['why']}" if task.get("why") else "",
        f"When done: vatside done {task['uid']}",
        "Follow local rules and your veterinarian.",
    ]
    return "\n".join(line for line in lines if line)


def bytes_for(house: House, who: str = "farm", *, omit_cancelled: bool = False) -> bytes:
    """The calendar of one subscriber, from the published revisions.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    """
    known_reader(house, who)
    chosen = [row for row in revisions(house).values() if who in row.fields.get("categories", ())]
    info = CalendarInfo(
        name=f"{house.site.farm.name} {_title(house, who)}".strip(),
        time_zone=house.site.farm.time_zone,
        description="Dips, inspections and checks; record what is done.",
        omit_cancelled=omit_cancelled,
    )
    return render(chosen, info, now=house.now)


def _title(house: House, who: str) -> str:
    if who in house.site.people:
        return house.site.people[who].name
    if who in house.site.systems:
        return house.site.systems[who].name
    return "" if who == "farm" else who


def write(house: House, who: str, out: Path) -> Path:
    """Publish, render and write one calendar file; a calendar that is not whole is never written.

    Raises
    ------
    Refused
        What was rendered does not hold together; the file before it stays.
    """
    known_reader(house, who)
    publish(house)
    data = bytes_for(house, who)
    if not is_whole(data):
        raise Refused(Finding(str(out), "an incomplete calendar", "a whole one", "The last good file was kept."))
    return save(out, data)


def snapshot(house: House, who: str) -> bytes:
    """The last good bytes for a subscriber, made anew when they can be and served as they were when not."""
    file = house.folder / "out" / "feeds" / f"{who}.ics"
    data = bytes_for(house, who)
    if is_whole(data):
        if not file.is_file() or file.read_bytes() != data:
            save(file, data)
        return data
    return file.read_bytes()


@dataclass(frozen=True, slots=True)
class Address:
    """One subscriber's secret address; only its hash is kept."""

    id: str
    who: str
    created: datetime
    revoked: datetime | None


def create(house: House, who: str, *, key: str = "") -> tuple[str, str]:
    """Make an address: gives its id and the secret token, which is shown once and never stored.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    """
    known_reader(house, who)
    token = secrets.token_urlsafe(32)
    with house.act(key) as act:
        identity = f"F{1 + len(latest(act.entries('feed'), 'feed'))}"
        act.note("feed", identity, {"who": who, "hash": _hash(token), "revoked": False})
    return identity, token


def revoke(house: House, identity: str, *, key: str = "") -> str:
    """Revoke an address for good.

    Raises
    ------
    UnknownName
        No such address.
    """
    known = latest(house.entries(), "feed")
    if identity not in known:
        raise UnknownName("address", identity, sorted(known), "address")
    with house.act(key) as act:
        act.note("feed", identity, {**known[identity].payload, "revoked": True})
    return f"{identity} ({known[identity].payload['who']}) revoked"


def addresses(house: House) -> list[Address]:
    """Every address ever made."""
    made: dict[str, datetime] = {}
    for entry in house.books.records("feed"):
        made.setdefault(entry.subject, entry.happened_at)
    return [
        Address(
            identity,
            str(record.payload["who"]),
            made[identity],
            record.happened_at if record.payload.get("revoked") else None,
        )
        for identity, record in latest(house.entries(), "feed").items()
    ]


def subscriber_of(house: House, token: str) -> Address | None:
    """Whose address a token is, revoked or not; ``None`` for a token never made."""
    hashed = _hash(token)
    for address in addresses(house):
        stored = str(latest(house.entries(), "feed")[address.id].payload["hash"])
        if secrets.compare_digest(stored, hashed):
            return address
    return None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
