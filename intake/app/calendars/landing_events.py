"""What is in a calendar for a shipment: its landing, expected, landed or canceled, and the deadline of its claim."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

from intake.app.board_links import board_line, page_address
from intake.app.calendars.reader_languages import told_in_others
from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.queries.reports import claim_status
from intake.app.session import House
from intake.feed import Event

__all__ = ["shipment_events"]

_KEPT_DAYS = 45
"""Days after the receipt in which the landing and the claim are looked at again."""


def shipment_events(
    house: House, rows: Mapping[str, Mapping[str, Any]], home: str, only: Iterable[str] | None = None
) -> list[Event]:
    """The events of these shipments, or of all that are expected or were received lately.

    Parameters
    ----------
    rows
        All tasks by uid: who is named for a shipment's work sees its landing.
    """
    asked = None if only is None else set(only)
    events = []
    for shipment, facts in live_shipments(house).items():
        if asked is not None and shipment not in asked:
            continue
        received = house.floor().received.get(shipment)
        if received is not None and house.now - received > timedelta(days=_KEPT_DAYS):
            continue
        events.append(_landing(house, rows, home, shipment, facts, received))
        if received is not None:
            events += _claim(house, home, shipment)
    return events


def _landing(
    house: House,
    rows: Mapping[str, Mapping[str, Any]],
    home: str,
    shipment: str,
    facts: Mapping[str, Any],
    received: datetime | None,
) -> Event:
    lands = received or datetime.fromisoformat(str(facts["lands"]))
    lots = [batch for batch in house.lines_of(shipment) if batch.announced > 0]
    count = sum(batch.announced for batch in lots)
    names = {batch.id for batch in lots}
    crew = sorted(
        {str(name) for row in rows.values() if row["batch"] in names and _of_the_day(row) for name in row["staff"]}
    )
    page = f"/deliveries/{quote(shipment)}"
    clock = f"{lands.astimezone(house.site.farm.zone):%H:%M}"

    def told(reader: House) -> tuple[str, str]:
        say, say_many = reader.language.say, reader.language.say_many
        lines = say_many("{n} line", "{n} lines", len(lots))
        animals = say_many("{n} animal announced", "{n} animals announced", count)
        words = [
            say("From: {supplier}", supplier=house.site.supplier(str(facts["supplier"])).name),
            say("{animals} in {lines}", animals=animals, lines=lines) if lots else "",
            "" if received else say("Order of the boxes: {command}", command=f"vatside day {shipment}"),
            "" if received else say("On arrival: {command}", command=f"vatside receive {shipment}"),
            *board_line(reader, page),
        ]
        if received:
            title = say("Landed {clock} · {lines} · {shipment}", clock=clock, lines=lines, shipment=shipment)
        else:
            lands_words = say("{shipment} lands", shipment=shipment)
            title = f"{lands_words} ×{count}" if count else lands_words
        return title, "\n".join(filter(None, words))

    summary, description = told(house)
    return Event(
        uid=f"lands-{shipment}@{home}",
        start=lands,
        end=lands + timedelta(hours=1),
        summary=summary,
        description=description,
        categories=("farm", "owner", "keeper", *crew, "landing"),
        alarms_minutes=(120,),
        url=page_address(house, page),
        free=received is not None,
        completed=received,
        told=told_in_others(house, told),
    )


def _of_the_day(row: Mapping[str, Any]) -> bool:
    """Work that begins with the landing."""
    return row["kind"] in {"receive", "acclimation"} or int(row.get("number") or 1) == 1


def _claim(house: House, home: str, shipment: str) -> list[Event]:
    """The deadline of a claim not sent yet; nothing when none is due."""
    claim = claim_status.current(house, shipment)
    if claim.deadline is None or not claim.claimable:
        return []
    sent = claim.state != "drafted"
    page = f"/claims/{quote(shipment)}"

    def told(reader: House) -> tuple[str, str]:
        say = reader.language.say
        can = reader.language.say_many(
            "{n} animal can be claimed; the supplier need not answer what is sent later.",
            "{n} animals can be claimed; the supplier need not answer what is sent later.",
            claim.claimable,
        )
        draft = say("Draft it: {command}", command=f"vatside claim {shipment}")
        state = say("Claim {state}", state=reader.language.retell(claim.state))
        words = [state] if sent else [can, draft]
        title = (
            say("Claim deadline: {shipment}", shipment=shipment)
            if not sent
            else say("✓ Claim {shipment}", shipment=shipment)
        )
        return title, "\n".join(filter(None, [*words, *board_line(reader, page)]))

    summary, description = told(house)
    return [
        Event(
            uid=f"claim-{shipment}@{home}",
            start=claim.deadline - timedelta(minutes=30),
            end=claim.deadline,
            summary=summary,
            description=description,
            categories=("farm", "owner", "claim"),
            alarms_minutes=(120, 30),
            url=page_address(house, page),
            free=sent,
            told=told_in_others(house, told),
        )
    ]
