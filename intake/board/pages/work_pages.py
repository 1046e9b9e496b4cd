"""Work due, mine or everybody's, with one tap to record it as done."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any, Final

from starlette.responses import JSONResponse, Response

from intake.app import act_recording
from intake.app.commands import record_observation
from intake.app.commands.phones import sync_phone
from intake.app.queries.overview import due_work
from intake.app.queries.overview.day.walk_round import walk_round
from intake.app.queries.planning.published_timetable import find_task
from intake.board.pages.keys import act_key, acted, own_page
from intake.board.pages.paper import OF_FARM
from intake.board.request import Asked
from intake.errors import BadInput, Finding, Refused

__all__ = ["done", "walk", "work"]

_LONGEST: Final = 60


def work(asked: Asked) -> Response:
    """Work left from earlier days first, then today and the days ahead; or one task alone, as a calendar leads to it."""
    if asked.query("task"):
        return _one(asked, asked.query("task"))
    everybody = asked.query("who") == "all" or (asked.role in {"owner", "read-only"} and asked.query("who") != "mine")
    person = "" if everybody else asked.person
    typed = asked.query("days")
    days = min(_LONGEST, max(1, int(typed))) if typed.isascii() and typed.isdigit() and len(typed) < 4 else 3
    shown = due_work.due_work(asked.house, person=person, batch=asked.query("batch"), vat=asked.query("vat"), days=days)
    return asked.show(
        "work.html", shown=shown, everybody=everybody, days=days, stations=asked.house.site.stations, printed=OF_FARM
    )


def walk(asked: Asked) -> Response:
    """The round, vat by vat: who stands there, a field for each death, the water's temperature, and what is due."""
    stops = walk_round(asked.house)
    firsts = {stop.system: stop.vat for stop in reversed(stops)}
    return asked.show("round.html", stops=stops, firsts=firsts, systems=asked.house.site.systems)


def _one(asked: Asked, uid: str) -> Response:
    """The page an event opens: its task, with the button that records it.

    Raises
    ------
    UnknownName
        No such task: it was forgotten, or never was.
    """
    find_task(asked.house, uid)
    return asked.show("task.html", shown=due_work.due_work(asked.house, task=uid))


def done(asked: Asked) -> Response:
    """Record a task as done."""
    task, note = asked.field("task"), asked.field("note")
    to, despite, at = asked.field("to"), asked.field("despite"), _at(asked)
    where = own_page(asked.field("back"), "/work")

    def act(house: Any, key: str) -> act_recording.Recorded:
        try:
            return record_observation.done(house, task, to=to, at=at, note=note, despite=despite, key=key)
        except act_recording.RulesBroken:
            raise
        except Refused:
            # Two people tapped the same work: the first tap counts, the second is no fault.
            return act_recording.Recorded(("It was recorded before",), ())

    if asked.request.headers.get("accept") == "application/json":
        key = act_key(asked)
        said = ("Recorded before",) if sync_phone.seen(asked.house, key) else act(asked.house, key).said
        return JSONResponse({"said": list(said)})
    return acted(asked, where, act)


def _at(asked: Asked) -> datetime | None:
    """The time of today it was done at; ``None`` for now."""
    typed = asked.field("at")
    if not typed:
        return None
    try:
        told = time.fromisoformat(typed)
    except ValueError as error:
        raise BadInput(Finding("done at", typed[:20], "a time of today such as 08:30")) from error
    return datetime.combine(asked.house.today, told.replace(tzinfo=None), asked.house.site.farm.zone)
