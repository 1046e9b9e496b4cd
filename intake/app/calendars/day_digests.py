"""The morning digest: one event at the start of a person's day with the list of its tasks in order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from intake.app.board_links import page_address
from intake.app.calendars.event_titles import title_of
from intake.app.calendars.reader_languages import told_in_others
from intake.app.queries.planning.deadlines import deadline_of
from intake.app.session import House
from intake.feed import Event
from intake.feed.event import CANCELLED, CONFIRMED

__all__ = ["days_of", "digest_events"]

_Row = Mapping[str, Any]
_LONG = timedelta(minutes=15)
_SHOWN = frozenset({"open", "done"})


def days_of(house: House, rows: Iterable[_Row]) -> set[tuple[str, date]]:
    """(person, farm day) of the lists in which these tasks stand."""
    zone = house.site.farm.zone
    return {
        (str(name), datetime.fromisoformat(str(row["start"])).astimezone(zone).date())
        for row in rows
        for name in row["staff"]
    }


def digest_events(
    house: House, rows: Mapping[str, _Row], home: str, days: Iterable[tuple[str, date]] | None = None
) -> list[Event]:
    """The lists of these days and people, or all; one whose tasks have all gone is canceled.

    Parameters
    ----------
    rows
        All tasks by uid.
    """
    zone = house.site.farm.zone
    lists: dict[tuple[str, date], list[_Row]] = {}
    for row in rows.values():
        if row.get("state", "open") in _SHOWN:
            start = datetime.fromisoformat(str(row["start"])).astimezone(zone)
            for name in row["staff"]:
                lists.setdefault((str(name), start.date()), []).append(row)
    asked = set(lists) if days is None else set(days)
    return [_digest(house, person, day, lists.get((person, day), []), home) for person, day in sorted(asked)]


def _digest(house: House, person: str, day: date, rows: list[_Row], home: str) -> Event:
    zone = house.site.farm.zone
    rows = sorted(rows, key=lambda row: (datetime.fromisoformat(str(row["start"])), str(row["uid"])))
    left = sum(row.get("state", "open") == "open" for row in rows)
    someone = house.site.people.get(person)
    begins = datetime.combine(day, someone.starts if someone else datetime.min.time().replace(hour=8), zone)
    role = (someone.role,) if someone else ()

    def told(reader: House) -> tuple[str, str]:
        count = reader.language.say_many("{n} task", "{n} tasks", len(rows))
        title = f"{count}: {title_of(rows[0], reader.language)}" if rows else reader.language.say("No tasks")
        return f"✓ {count}" if rows and not left else title, "\n".join(_line(reader, row) for row in rows)

    summary, description = told(house)
    return Event(
        uid=f"day/{person}/{day.isoformat()}@{home}",
        start=begins,
        end=begins + _LONG,
        summary=summary,
        description=description,
        categories=("farm", *role, person, "digest"),
        status=CONFIRMED if rows else CANCELLED,
        url=page_address(house, "/work"),
        free=True,
        timed=False,
        digest=True,
        told=told_in_others(house, told),
    )


def _line(house: House, row: _Row) -> str:
    start = datetime.fromisoformat(str(row["start"])).astimezone(house.site.farm.zone)
    done, price = "✓ " if row.get("state") == "done" else "", deadline_of(row)
    title = f"{start:%H:%M} {done}{title_of(row, house.language)}"
    return f"{title} · {house.language.retell(price.words)}" if price else title
