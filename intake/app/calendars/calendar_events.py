"""What stands in a calendar: each piece of work, landing and claim as an event a keeper can work from on a phone."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

from intake.app.board_links import board_line, page_address, task_page
from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.queries.reports import claim_status
from intake.app.session import House
from intake.feed import Event

__all__ = ["wanted_events"]


_ALARM_MINUTES = (30,)


def wanted_events(house: House, home: str) -> list[Event]:
    """Every event of every calendar, as the timetable, the shipments and the claims stand now.

    Parameters
    ----------
    home
        The farm's own name in calendar uids.
    """
    tasks = published_tasks(house)
    known = {str(task["uid"]) for task in tasks}
    events = [_task_event(house, task, home, known) for task in tasks]
    running = set(claim_status.unsettled(house))
    for shipment, facts in live_shipments(house).items():
        if house.floor().received.get(shipment) is None:
            events.append(_landing(house, home, shipment, facts))
            continue
        if shipment not in running:
            continue
        claim = claim_status.current(house, shipment)
        if claim.deadline is not None and claim.state == "drafted" and claim.claimable:
            events.append(_claim(house, home, shipment, claim.claimable, claim.deadline))
    return events


def _landing(house: House, home: str, shipment: str, facts: Mapping[str, Any]) -> Event:
    lands = datetime.fromisoformat(str(facts["lands"]))
    lots = [batch for batch in house.lines_of(shipment) if batch.announced > 0]
    words = [
        f"From: {house.site.supplier(str(facts['supplier'])).name}",
        f"Expected: {sum(batch.announced for batch in lots)} animals in {len(lots)} lots" if lots else "",
        f"Order of the boxes: vatside day {shipment}",
        f"When it has landed: vatside receive {shipment}",
        *board_line(house, f"/deliveries/{quote(shipment)}"),
    ]
    return Event(
        uid=f"lands-{shipment}@{home}",
        start=lands,
        end=lands + timedelta(hours=1),
        summary=f"Shipment {shipment} lands",
        description="\n".join(filter(None, words)),
        categories=("farm", "owner", "landing"),
        alarms_minutes=(120,),
        url=page_address(house, f"/deliveries/{quote(shipment)}"),
    )


def _claim(house: House, home: str, shipment: str, claimable: int, deadline: datetime) -> Event:
    words = [
        f"{claimable} animals can be claimed; what is sent later the supplier need not answer.",
        f"Draft it: vatside claim {shipment}",
        *board_line(house, f"/claims/{quote(shipment)}"),
    ]
    return Event(
        uid=f"claim-{shipment}@{home}",
        start=deadline - timedelta(minutes=30),
        end=deadline,
        summary=f"Claim for {shipment} must be sent",
        description="\n".join(words),
        categories=("farm", "owner", "claim"),
        alarms_minutes=(120, 30),
        url=page_address(house, f"/claims/{quote(shipment)}"),
    )


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
        description="\n".join(filter(None, _words(house, task, system))),
        location=where,
        categories=("farm", *sorted(roles), *people, *([system] if system else ()), str(task["kind"])),
        alarms_minutes=_ALARM_MINUTES,
        follows=((f"{task['follows']}@{home}", 0),) if task.get("follows") in known else (),
        url=page_address(house, task_page(task)),
    )


def _words(house: House, task: Mapping[str, Any], system: str) -> Iterator[str]:
    """What to do first, how to record it next, and why last: a phone shows the first lines."""
    batch = house.floor().batches.get(str(task["batch"]))
    yield f"What: {task['title']}"
    yield f"Repeat: {task['number']} of {task['of']}" if int(task.get("of") or 1) > 1 else ""
    yield f"Vat: {task['vat']}" if task["vat"] else ""
    yield f"Batch: {batch.id} {batch.name}" if batch else ""
    yield f"Headcount: {task['headcount']}" if task.get("headcount") and task["vat"] else ""
    if not task["vat"] and system in house.site.systems:
        # lots and headcounts of a whole system change by the day, and with them every round ahead would
        yield f"Vats: {', '.join(vat.id for vat in house.site.vats_of(system))}"
    yield from _treatment(task)
    yield f"Protection: {', '.join(task['protection'])}" if task.get("protection") else ""
    yield f"At: {task['station']}" if task.get("station") else ""
    names = [house.site.people[name].name for name in task["staff"] if name in house.site.people]
    yield f"Who: {', '.join(names)}" if names else ""
    yield _on_the_way(task)
    yield f"When done: vatside done {task['uid']}"
    yield from board_line(house, task_page(task))
    yield f"Why: {task['why']}" if task.get("why") else ""
    yield "Follow local rules and your veterinarian."


def _on_the_way(task: Mapping[str, Any]) -> str:
    """What else is written down while the work is done."""
    batch, vat = task["batch"], task["vat"]
    told = {
        "death round": "Each loss: vatside count BATCH --vat VAT --dead NUMBER",
        "receive": f"Losses: vatside count {batch} --vat {vat} --doa NUMBER --missing NUMBER",
        "inspection": f"Seen something: vatside finding {batch} WHAT --vat {vat}",
        "transfer": f"Then: vatside move {batch} --from {vat} --to VAT --count NUMBER",
        "release check": f"Blocking release: vatside release --batch {batch}",
    }
    return told.get(str(task["kind"]), "")


def _treatment(task: Mapping[str, Any]) -> Iterator[str]:
    """Agent, strength and minutes; handwork has no strength, so its words say how."""
    from intake.app.queries.planning.published_timetable import contact_words

    mark = " † no published source" if task.get("unsourced") else ""
    strength = str(task.get("strength") or "")
    yield f"With: {task['agent']}" if task.get("agent") else ""
    if strength.startswith("none: "):
        yield f"How: {strength.removeprefix('none: ')}{mark}"
    elif strength:
        yield f"Strength: {strength}{mark}"
    yield f"Contact: {contact_words(task)}" if contact_words(task) else ""
