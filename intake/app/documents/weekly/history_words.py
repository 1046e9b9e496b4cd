"""What each record of a batch says on its history: care, findings, readings, photos, claims, holds, orders, in words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from intake.app.queries.planning.published_timetable import all_tasks
from intake.app.session import House
from intake.farm.floor import Batch
from intake.farm.shown_units import reading_words
from intake.ledger import Entry, Record, movements, records, vat_id

if TYPE_CHECKING:
    from forms import HistoryEvent

__all__ = ["record_events"]

_Timed = tuple[datetime, datetime, "HistoryEvent"]


def record_events(house: House, batch: Batch, story: Iterable[Entry]) -> list[_Timed]:
    """Every record of a batch, its shipment's claims and receipt, and readings of its water while it stood there.

    Until the house's moment: what happened or was recorded later is left out, so that the same moment gives the same
    paper.
    """
    story = tuple(story)
    found = [*records(story), *_of_shipment(house, batch), *_readings(house, batch, story)]
    titles = {uid: str(row["title"]) for uid, row in all_tasks(house).items()}
    seen: dict[tuple[str, str], Record] = {}
    for record in found:
        if record.happened_at <= house.now and record.recorded_at <= house.now:
            seen[record.kind, record.key] = record
    told = []
    for record in seen.values():
        words = _words(record, titles)
        if words:
            told.append((record.happened_at, record.recorded_at, _event(house, record, *words)))
    return told


def _of_shipment(house: House, batch: Batch) -> list[Record]:
    if not batch.shipment:
        return []
    wanted = {"received", "claim", "photo", "shipment"}
    return [
        one for one in records(house.shipment_stream(batch.shipment)) if one.kind in wanted and _concerns(one, batch)
    ]


def _concerns(record: Record, batch: Batch) -> bool:
    """Whether a record of the shipment is of all its lines, or of this one."""
    return record.subject in {batch.shipment, batch.id} or record.payload.get("batch") == batch.id


def _readings(house: House, batch: Batch, story: tuple[Entry, ...]) -> list[Record]:
    """Readings of the batch, its boxes, and each vat and system while animals of the batch stood in it."""
    spans: dict[str, tuple[datetime, datetime]] = {}
    held: dict[str, int] = {}
    for one in sorted(movements(story), key=lambda move: (move.happened_at, move.recorded_at)):
        for place, sign in ((one.source, -1), (one.target, 1)):
            vat = vat_id(place)
            if vat:
                held[vat] = held.get(vat, 0) + sign * one.count
                start, _ = spans.get(vat, (one.happened_at, one.happened_at))
                spans[vat] = (start, house.now if held[vat] > 0 else one.happened_at)
    bags = (batch.id, *(f"{batch.shipment}/{box}" for box in batch.boxes))
    found = list(house.readings_of(*bags))
    for vat, (start, end) in spans.items():
        system = house.site.vat(vat).system if vat in house.site.vats else ""
        places = (vat, f"vat:{vat}", system, f"system:{system}")
        found += [one for one in house.readings_of(*places) if start <= one.happened_at <= end]
    return found


def _event(house: House, record: Record, what: str, where: str, note: str) -> HistoryEvent:
    import forms as page

    when = record.happened_at.astimezone(house.site.farm.zone)
    who = house.site.people[record.who].name if record.who in house.site.people else record.who
    told = _MOMENT.sub(lambda found: _on_the_farm(house, found[0]), note)
    return page.HistoryEvent(
        f"{when:%Y-%m-%d %H:%M}", what, who, None, "", where, told, record.corrects or "",
    )  # fmt: skip


_MOMENT = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)")


def _on_the_farm(house: House, moment: str) -> str:
    """A moment as the ledger keeps it, by the farm's clock; as it stands where it is none."""
    try:
        return f"{datetime.fromisoformat(moment).astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}"
    except ValueError:
        return moment


def _words(record: Record, titles: Mapping[str, str]) -> tuple[str, str, str] | None:
    """What, where and note of a record; None for what is no event of the batch."""
    if record.payload.get("withdrawn"):
        return f"{record.kind} withdrawn", "", ""
    if record.kind in {"task", "plan", "timetable", "published", "columns", "names", "feed", "farm"}:
        return _missed(record, titles)
    maker = _MAKERS.get(record.kind, _plain)
    return maker(record, titles)


def _missed(record: Record, titles: Mapping[str, str]) -> tuple[str, str, str] | None:
    state = str(record.payload.get("state") or "")
    if record.kind != "task" or state not in {"missed", "dropped"}:
        return None
    what = str(record.payload.get("title") or titles.get(record.subject, record.subject))
    return f"{state}: {what}", str(record.payload.get("vat") or ""), str(record.payload.get("reason") or "")


def _get(record: Record, name: str) -> str:
    value: Any = record.payload.get(name)
    return "" if value is None else str(value)


def _batch(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    return f"on the packing list: {_get(record, 'announced')} announced", "", _get(record, "name")


def _stage(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    return f"stage: {_get(record, 'stage')}", _get(record, "vat"), ""


def _finding(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    what = _get(record, "what")
    return (f"found: {what}" if what else "inspected, nothing found"), _get(record, "vat"), _get(record, "note")


def _done(record: Record, titles: Mapping[str, str]) -> tuple[str, str, str]:
    return f"done: {titles.get(record.subject, _get(record, 'kind'))}", _get(record, "vat"), _get(record, "note")


def _reading(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    place = record.subject.removeprefix("vat:").removeprefix("system:")
    scale = f" ({_get(record, 'scale')})" if _get(record, "scale") else ""
    quantity, value = _get(record, "quantity"), record.payload.get("value")
    return f"reading: {reading_words(quantity, value)}{scale}", place, ""


def _hold(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    return ("on hold" if record.kind == "hold" else "hold lifted"), "", _get(record, "reason") or _get(record, "note")


def _photo(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    return f"photo: {_get(record, 'what') or _get(record, 'name')}", "", _get(record, "sha256")[:16]


def _claim(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    state = _get(record, "state") or _get(record, "step") or "claim"
    count = _get(record, "animals")
    return f"claim: {state}", "", f"{count} animals" if count else ""


def _order(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    who = (
        f"prescribed by {_get(record, 'prescriber')}, {_get(record, 'reference')}" if _get(record, "prescriber") else ""
    )
    note = "; ".join(
        part for part in (_get(record, "agent"), _get(record, "strength"), who, _get(record, "reason")) if part
    )
    return f"ordered: {_get(record, 'dip')}", "", note


def _despite(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    rules: Any = record.payload.get("rules") or []
    return "done despite a rule", "", f"{', '.join(str(one['id']) for one in rules)}: {_get(record, 'reason')}"


def _received(_: Record, __: Mapping[str, str]) -> tuple[str, str, str]:
    return "shipment received", "", ""


def _shipment(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    return "shipment announced or changed", "", f"lands {_get(record, 'lands')}" if _get(record, "lands") else ""


def _plain(record: Record, _: Mapping[str, str]) -> tuple[str, str, str]:
    """A kind without words of its own: its plain values, so that nothing recorded is left out."""
    told = {
        name: value for name, value in record.payload.items() if isinstance(value, str | int | float) and value != ""
    }
    return record.kind, _get(record, "vat"), "; ".join(f"{name} {value}" for name, value in sorted(told.items()))


_MAKERS: Mapping[str, Callable[[Record, Mapping[str, str]], tuple[str, str, str]]] = {
    "batch": _batch, "stage": _stage, "finding": _finding, "done": _done, "reading": _reading, "hold": _hold,
    "lift": _hold, "photo": _photo, "claim": _claim, "prescription": _order, "despite": _despite, "received": _received,
    "shipment": _shipment,
}  # fmt: skip
