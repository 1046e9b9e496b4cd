"""What is in a calendar for each task: an event a keeper can work from on a phone, in the state the ledger says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from intake.app.board_links import board_line, page_address, task_page
from intake.app.calendars.event_titles import title_of
from intake.app.calendars.reader_languages import told_in_others
from intake.app.queries.biosecurity.release_status import stands_in_the_way
from intake.app.queries.overview.task_states import mark_of, state_words
from intake.app.queries.planning.deadlines import deadline_of
from intake.app.queries.planning.published_timetable import contact_words, disposal_of
from intake.app.session import House
from intake.feed import Event
from intake.feed.event import CANCELLED, CONFIRMED
from intake.language import phrase

__all__ = ["TIMED", "task_events", "waiting_for"]

_Row = Mapping[str, Any]

TIMED = frozenset({"dip", "transfer", "receive", "acclimation"})
"""Kinds of work with a moment that matters; the others stand in the day's list only, unless they are wanted after dark."""

_ALARM_MINUTES = (30,)


def task_events(house: House, rows: Iterable[_Row], home: str) -> list[Event]:
    """The events of these tasks.

    Parameters
    ----------
    home
        The farm's own name in calendar uids.
    """
    return [_task_event(house, row, home) for row in rows]


def waiting_for(rows: Mapping[str, _Row], home: str) -> dict[str, list[tuple[str, int]]]:
    """For each event the events that wait for it, with the least minutes between, as the tasks' protocols say."""
    found: dict[str, list[tuple[str, int]]] = {}
    for uid, row in rows.items():
        first = rows.get(str(row.get("follows") or ""))
        if first is None or row.get("state") == "dropped" or first.get("state") == "dropped":
            continue
        between = _moment(row["start"]) - _moment(first["end"])
        if between.total_seconds() >= 0:  # a time kept within its grace can stand before the end of what was done late
            gap = int(row.get("gap_min") or 0)
            true_gap = gap if between.total_seconds() >= 60 * gap else 0
            found.setdefault(f"{first['uid']}@{home}", []).append((f"{uid}@{home}", true_gap))
    return {uid: sorted(pairs) for uid, pairs in found.items()}


def _task_event(house: House, row: _Row, home: str) -> Event:
    system = _system_of(house, row)
    people = [str(name) for name in row["staff"]]
    roles = {house.site.people[name].role for name in people if name in house.site.people}
    state = str(row.get("state", "open"))
    blocked = _blocked(house, row) if row["kind"] == "release check" and state == "open" else ()
    timed = (row["kind"] in TIMED and not _of_landing_day(row)) or bool(row.get("after_dark"))
    price = deadline_of(row)
    last = price.words if price else ""

    def told(reader: House) -> tuple[str, str]:
        title = _marked(reader, title_of(row, reader.language), state, blocked=bool(blocked))
        return title, _text(reader, row, last, blocked)

    summary, description = told(house)
    return Event(
        uid=f"{row['uid']}@{home}",
        start=_moment(row["start"]),
        end=_moment(row["end"]),
        summary=summary,
        description=description,
        location=house.site.systems[system].name if system in house.site.systems else "",
        categories=("farm", *sorted(roles), *people, *_waters(house, row, system), str(row["kind"])),
        status=CANCELLED if state == "dropped" else CONFIRMED,
        alarms_minutes=_ALARM_MINUTES if _rings(row) else (),
        url=page_address(house, task_page(row)),
        free=state in {"done", "missed"},
        former=_former(house, row),
        timed=timed,
        completed=_moment(row["at"]) if state == "done" and row.get("at") else None,
        told=told_in_others(house, told),
    )


def _text(house: House, row: _Row, last: str, blocked: tuple[str, ...]) -> str:
    language = house.language
    lines = (language.say("In the way: {why}", why=language.retell(why)) for why in blocked)
    return "\n".join(filter(None, [*_states(house, row), language.retell(last), *lines, *_words(house, row)]))


def _of_landing_day(row: _Row) -> bool:
    """A step of a landing day: the landing has one event of its own, and a person's steps are in the day's list."""
    return str(row["uid"]).startswith("land/")


def _moment(text: object) -> datetime:
    return datetime.fromisoformat(str(text))


def _system_of(house: House, row: _Row) -> str:
    vat = str(row["vat"] or "")
    return str(row.get("system") or (house.site.vats[vat].system if vat in house.site.vats else ""))


def _waters(house: House, row: _Row, system: str) -> list[str]:
    """Systems in whose calendar a task stands: its own, or all that a round walks through."""
    walked = [house.site.vats[vat].system for vat in row.get("vats") or () if vat in house.site.vats]
    return list(dict.fromkeys([system, *walked] if system else walked))


def _rings(row: _Row) -> bool:
    """A dip rings, unless it goes on from other work of the same day."""
    return row["kind"] == "dip" and not (row.get("follows") and row.get("same_day"))


def _marked(house: House, title: str, state: str, *, blocked: bool) -> str:
    if state in {"done", "missed"}:
        return f"{mark_of(state, house.language)}{title}"
    return house.language.say("Blocked: {title}", title=title) if blocked else title


def _former(house: House, row: _Row) -> tuple[tuple[str, str], ...]:
    """Who had the task before, and the mark it has in their calendar: to whom it went."""
    people = house.site.people
    now = ", ".join(people[name].name or name if name in people else name for name in row["staff"])
    return tuple((str(name), f"→ {now}:") for name in row.get("former") or ())


def _blocked(house: House, row: _Row) -> tuple[str, ...]:
    """What blocks a release whose day has come."""
    if _moment(row["start"]).astimezone(house.site.farm.zone).date() > house.today:
        return ()
    stays = [stay for stay in house.floor().stays if stay.batch == row["batch"]]
    return tuple(dict.fromkeys(why for s in stays for why in stands_in_the_way(house, house.floor(), s.batch, s.vat)))


def _states(house: House, row: _Row) -> Iterator[str]:
    """What became of it: said first, since it changes what a reader does."""
    if row.get("state", "open") != "open":
        yield state_words(house, row)
    elif row.get("moved_from"):
        was = _moment(row["moved_from"]).astimezone(house.site.farm.zone)
        say, language = house.language.say, house.language
        why = language.retell(str(row.get("moved_why") or "to make room"))
        yield say("Moved from {moment}: {why}", moment=language.day(was, "%a %d %b %H:%M"), why=why)


def _words(house: House, row: _Row) -> Iterator[str]:
    """What to do first, how to record it next, and why last: a phone shows the first lines, and nothing is said twice."""
    batch = house.floor().batches.get(str(row["batch"]))
    say, retell = house.language.say, house.language.retell
    work = retell(str(row["title"]).split(":")[0]) if row["batch"] else ""
    many = int(row.get("of") or 1) > 1
    yield (
        say("{work} ({number} of {total})", work=work, number=row["number"], total=row["of"]) if work and many else work
    )
    yield batch.name if batch else ""
    yield say("Vats in order: {vats}", vats=", ".join(row["vats"])) if row.get("vats") else ""
    yield from _treatment(house, row)
    worn = ", ".join(map(retell, row.get("protection") or ()))
    yield say("Wear: {protection}", protection=worn) if worn else ""
    after = disposal_of(house, str(row.get("dip") or ""))
    yield say("Bath water: {disposal}", disposal=retell(after)) if after else ""
    yield say("Station: {station}", station=row["station"]) if row.get("station") else ""
    if row["staff"]:
        together = phrase("With: {people}") if len(row["staff"]) > 1 else phrase("Who: {people}")
        yield say(together, people=_names(house, row))
    if row.get("state", "open") == "open":
        yield _on_the_way(house, row)
        yield say("Record it: {command}", command=f"vatside done {row['uid']}")
    yield from board_line(house, task_page(row))
    yield say("Why: {why}", why=retell(str(row["why"]))) if row.get("why") else ""


def _names(house: House, row: _Row) -> str:
    people = house.site.people
    return ", ".join(people[name].name or name for name in row["staff"] if name in people)


_BESIDE: Mapping[str, tuple[str, str]] = {
    "death round": (phrase("For each death: {command}"), "vatside count BATCH --vat VAT --dead NUMBER"),
    "receive": (phrase("Losses: {command}"), "vatside count {batch} --vat {vat} --doa NUMBER --missing NUMBER"),
    "inspection": (phrase("If something is found: {command}"), "vatside finding {batch} WHAT --vat {vat}"),
    "transfer": (phrase("Then: {command}"), "vatside move {batch} --from {vat} --to VAT --count NUMBER"),
    "release check": (phrase("Blocking release: {command}"), "vatside release --batch {batch}"),
}
"""Kind of work → what else is written down while it is done, and the command."""


def _on_the_way(house: House, row: _Row) -> str:
    words, command = _BESIDE.get(str(row["kind"]), ("", ""))
    return house.language.say(words, command=command.format(batch=row["batch"], vat=row["vat"])) if words else ""


def _treatment(house: House, row: _Row) -> Iterator[str]:
    """Agent, strength and minutes; handwork has no strength, so its words say how."""
    say, retell = house.language.say, house.language.retell
    unsourced = say("† no published source")
    mark = f" {unsourced}" if row.get("unsourced") else ""
    strength = str(row.get("strength") or "")
    yield say("Agent: {agent}", agent=retell(str(row["agent"]))) if row.get("agent") else ""
    if strength.startswith("none: "):
        yield say("How: {how}", how=f"{retell(strength.removeprefix('none: '))}{mark}")
    elif strength:
        yield say("Strength: {strength}", strength=f"{retell(strength)}{mark}")
    yield say("Contact: {minutes}", minutes=contact_words(row)) if contact_words(row) else ""
