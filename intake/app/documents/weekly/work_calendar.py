"""Work of a batch as its papers show it: kinds of work with strength, prescriber and disposal, and each day's with its state."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from intake.app.queries.overview.task_states import state_words
from intake.app.queries.planning.published_timetable import contact_words, disposal_of, shown_tasks, state_at
from intake.app.session import House
from intake.farm.floor import Batch

if TYPE_CHECKING:
    from forms.documents.intake_sheet.sheet_content import DayWork, WorkKind
    from forms.documents.shared_content import WorkRow

__all__ = ["care_tasks", "kind_words", "order_words", "row_of_work", "sheet_calendar", "told_state"]

_KINDS = ("dip", "inspection", "transfer", "release check")
_LETTER = {"dip": "D", "inspection": "I", "transfer": "M", "release check": "R"}
_TO = re.compile(r"^to (\S+), in other water: ?")
_BRIEF_MOST, _WORD_MOST = 9, 7
"""Characters of a strength, and of one word of it, that stand whole in one line of a day."""


def care_tasks(house: House, batches: Iterable[str]) -> list[Mapping[str, Any]]:
    """Dips, inspections, transfers and release checks of these batches by start, whatever became of them."""
    wanted = set(batches)
    rows = [_as_of(house, row) for row in shown_tasks(house).values() if row["batch"] in wanted]
    found = [row for row in rows if row["kind"] in _KINDS]
    return sorted(found, key=lambda row: (datetime.fromisoformat(str(row["start"])), str(row["vat"]), str(row["uid"])))


def told_state(house: House, task: Mapping[str, Any]) -> str:
    """What became of a task until the house's moment, in the words of every table; nothing for what was due then."""
    return state_words(house, _as_of(house, task))


def _as_of(house: House, task: Mapping[str, Any]) -> dict[str, Any]:
    """A task as it stood at the house's moment: what was recorded later was still open then."""
    at = task.get("at")
    later = at and datetime.fromisoformat(str(at)) > house.now
    return {**task, "state": "open"} if later else dict(task)


def order_words(house: House, batch: str, dip: str) -> str:
    """Prescriber, reference and withdrawal of a prescribed bath; empty for any other."""
    record = house.last("prescription", f"{batch}/{dip}") if dip else None
    if record is None or not record.payload.get("prescriber"):
        return ""
    told = record.payload
    say = house.language.say
    parts = [
        say("as prescribed by {prescriber}, {reference}", prescriber=told["prescriber"], reference=told["reference"]),
        say("agent {agent}", agent=house.language.retell(str(told["agent"]))),
    ]
    if told.get("withdrawal"):
        parts.append(say("withdrawal {time}", time=told["withdrawal"]))
    return "; ".join(parts)


def kind_words(task: Mapping[str, Any], name: str) -> tuple[str, str]:
    """What a task is without its species, and its strength without the vat a transfer goes to."""
    title = str(task["title"]).removesuffix(f": {name}")
    title = re.sub(rf": {re.escape(name)}(?= \()", "", title)
    return title, _TO.sub("", str(task.get("strength") or ""))


def sheet_calendar(house: House, batch: Batch) -> tuple[tuple[WorkKind, ...], tuple[DayWork, ...]]:
    """Kinds of work of a batch, each with its code, and the days they fall on; what was dropped is no work."""
    from forms.documents.intake_sheet.sheet_content import DayWork, WorkKind

    zone, retell = house.site.farm.zone, house.language.retell
    stands = ""
    kinds: dict[tuple[str, ...], WorkKind] = {}
    days: dict[tuple[Any, ...], DayWork] = {}
    for task in care_tasks(house, [batch.id]):
        state = state_at(task, house.now)
        if state == "dropped":
            continue
        what, strength = kind_words(task, batch.name)
        what = re.sub(r" \(part \d+ of \d+\)$", "", what)
        dip, protection = str(task.get("dip") or ""), tuple(task.get("protection") or ())
        key = (str(task["kind"]), what, strength, contact_words(task))
        if key not in kinds:
            letter = _LETTER[key[0]]
            number = 1 + sum(kind.code.startswith(letter) for kind in kinds.values())
            kinds[key] = WorkKind(
                f"{letter}{number}", key[0], retell(what), retell(strength), key[3], ", ".join(map(retell, protection)),
                retell(disposal_of(house, dip)),
                order_words(house, batch.id, dip), published=not task.get("unsourced"),
            )  # fmt: skip
        day = datetime.fromisoformat(str(task["start"])).astimezone(zone).date()
        moved = _TO.match(str(task.get("strength") or ""))
        vat = str(task["vat"] or "")
        found = DayWork(
            day, kinds[key].code, _brief(house, task, strength, stands or vat), (vat,) if vat and not moved else (),
            moved[1] if moved else "", "" if state == "due" else house.language.say(state), state == "done",
        )  # fmt: skip
        stands = moved[1] if moved else stands
        same = (day, found.code, found.brief, found.state)
        before = days.get(same)
        vats = tuple(dict.fromkeys((*(before.vats if before else ()), *found.vats)))
        days[same] = DayWork(day, found.code, found.brief, vats, found.to_vat, found.state, found.done)
    return tuple(kinds.values()), tuple(days.values())


def _brief(house: House, task: Mapping[str, Any], strength: str, vat: str) -> str:
    """The few words that fit a day: vat to vat for a transfer, strength and minutes for a dip, the verb for a look."""
    kind, moved = task["kind"], _TO.match(str(task.get("strength") or ""))
    if kind == "transfer":
        return f"{vat}▸{moved[1]}" if moved else house.language.say("move")
    if kind == "dip":
        first = re.split(r"[,;:(]", house.language.retell(strength))[0].strip()
        if len(first) > _BRIEF_MOST:
            first = re.split(r"[\s-]", house.language.retell(str(task.get("agent") or "")))[0]
            first = first if len(first) <= _WORD_MOST else ""  # the code and its line below the calendar say it all
        return f"{first} {contact_words(task)}".strip()
    if kind == "release check":
        return house.language.say("release check")
    return house.language.retell(str(task["title"]).split(": ")[0]).split(" ")[0].lower()


def row_of_work(house: House, task: Mapping[str, Any]) -> WorkRow:
    """A dip, inspection or transfer as a row of a log: when, what with its species, strength, minutes, protection."""
    from forms.documents.shared_content import WorkRow

    start = datetime.fromisoformat(str(task["start"])).astimezone(house.site.farm.zone)
    language, retell = house.language, house.language.retell
    work, _, animals = str(task["title"]).partition(": ")
    return WorkRow(
        date=language.day(start, "%a %d %b %H:%M"),
        kind=str(task["kind"]),
        what=f"{retell(work)}: {retell(animals)}" if animals else retell(work),
        strength=retell(str(task.get("strength") or "")),
        minutes=contact_words(task),
        protection=", ".join(map(retell, task.get("protection") or ())),
        published=not task.get("unsourced"),
    )
