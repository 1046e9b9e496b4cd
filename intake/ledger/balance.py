"""How many animals stand where at any moment, and the present of the whole farm folded out of the entries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from decimal import Decimal, InvalidOperation
from operator import itemgetter
from typing import Any, TypeAlias, TypeVar

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Closure, Dead, Done, Floor, Found, Hold, Ordered, Past, Reading, Stay
from intake.ledger.closures import closures_of, opened_of
from intake.ledger.corrections import netted, standing
from intake.ledger.entries import LOSSES, Entry, Movement, Record, is_vat, vat_id

__all__ = ["Parts", "balances", "batch_from", "batch_payload", "batches", "floor_of", "fold", "parts_of", "readings"]

_FIRST_STAGE = {"opening": "grow-out", "cut-from": "healing"}


def balances(entries: Iterable[Entry], at: datetime | None = None) -> dict[tuple[str, str], int]:
    """Animals by batch and place at a moment, as now known.

    Parameters
    ----------
    entries
        Entries of the ledger, in the order they were recorded.
    at
        Moment, time-zone aware; the end of the ledger when ``None``.  Only what had happened by then counts, and a
        correction counts from the moment of what it corrects.

    Returns
    -------
    dict
        (batch, place) → animals, places at zero left out; sources are negative.  It sums to zero for each batch.
    """
    held: Counter[tuple[str, str]] = Counter()
    for movement in netted(entries):
        if at is None or movement.happened_at <= at:
            held[movement.batch, movement.source] -= movement.count
            held[movement.batch, movement.target] += movement.count
    return {spot: count for spot, count in held.items() if count}


def batch_payload(batch: Batch) -> dict[str, object]:
    """Payload of a ``batch`` record; :func:`batch_from` is its inverse."""
    payload: dict[str, object] = asdict(batch)
    payload["boxes"] = list(batch.boxes)
    payload["unit_price"] = None if batch.unit_price is None else str(batch.unit_price)
    payload["packed_at"] = None if batch.packed_at is None else batch.packed_at.isoformat()
    return payload


def batch_from(payload: Mapping[str, object]) -> Batch:
    """Batch of a ``batch`` record's payload; keys it does not know are left aside.

    Raises
    ------
    BadInput
        When a needed value is missing or cannot be read.
    """
    known = {item.name for item in fields(Batch)}
    values = {name: value for name, value in payload.items() if name in known}
    try:
        values["boxes"] = tuple(str(box) for box in _sequence(values.get("boxes")))
        if values.get("unit_price") is not None:
            values["unit_price"] = Decimal(str(values["unit_price"]))
        if values.get("packed_at") is not None:
            values["packed_at"] = datetime.fromisoformat(str(values["packed_at"]))
        return Batch(**values)  # type: ignore[arg-type]  # JSON values, written by batch_payload
    except (TypeError, ValueError, InvalidOperation) as error:
        where = f"batch record {payload.get('id', '')}".strip()
        raise BadInput(Finding(where, str(error), "the fields of a batch")) from error


def batches(entries: Iterable[Entry], at: datetime | None = None) -> dict[str, Batch]:
    """Batch id → batch, as last recorded by a moment."""
    known: dict[str, Batch] = {}
    for record in standing(entries, "batch"):
        if at is None or record.happened_at <= at:
            known[record.subject] = batch_from({"id": record.subject, **record.payload})
    return known


def fold(entries: Iterable[Entry], at: datetime) -> Floor:
    """Derive the farm as it stood at a moment, as now known.

    Parameters
    ----------
    entries
        Entries of the ledger, in the order they were recorded; give only those recorded by some moment to see what the
        books said then.
    at
        Moment, time-zone aware; only what had happened by then counts.
    """
    return floor_of([parts_of(entries, at)], at)


Order: TypeAlias = tuple[datetime, int]
"""When it happened and its number in the books: puts facts of several batches in the order one reader would find them."""


@dataclass(frozen=True, slots=True)
class Parts:
    """What a set of entries says at a moment, each fact with its place in the order of the ledger.

    The entries of a batch make the parts of that batch; parts of several batches make one floor (:func:`floor_of`).
    """

    batches: tuple[tuple[Order, Batch], ...] = ()
    stays: tuple[Stay, ...] = ()
    received: tuple[tuple[Order, str], ...] = ()
    done: tuple[tuple[Order, Done], ...] = ()
    found: tuple[tuple[Order, Found], ...] = ()
    losses: tuple[tuple[Order, Dead], ...] = ()
    readings: tuple[tuple[Order, Reading], ...] = ()
    holds: tuple[tuple[Order, Hold], ...] = ()
    cleaned: tuple[tuple[Order, str], ...] = ()
    past: tuple[Past, ...] = ()
    orders: tuple[tuple[Order, Ordered], ...] = ()
    closures: tuple[Closure, ...] = ()
    opened: tuple[tuple[str, datetime], ...] = ()


def parts_of(entries: Iterable[Entry], at: datetime) -> Parts:
    """What these entries say at a moment; everything that belongs to a batch must be among them, or nothing of it."""
    kept = tuple(entries)
    moved = [movement for movement in netted(kept) if movement.happened_at <= at]
    by_kind: dict[str, list[Record]] = {}
    for record in standing(kept):
        if record.happened_at <= at:
            by_kind.setdefault(record.kind, []).append(record)
    named: dict[str, tuple[Order, Batch]] = {}
    for record in by_kind.get("batch", ()):
        order = named[record.subject][0] if record.subject in named else _order(record)
        named[record.subject] = order, batch_from({"id": record.subject, **record.payload})
    holds, farm = by_kind.get("hold", []), by_kind.get("farm", ())
    stays, past = _stays(moved, by_kind.get("stage", ()))
    return Parts(
        batches=tuple(named.values()),
        stays=stays,
        past=past,
        received=tuple((_order(record), record.subject) for record in by_kind.get("received", ())),
        done=tuple((_order(record), _done(record)) for record in by_kind.get("done", ())),
        found=tuple((_order(record), _found(record)) for record in by_kind.get("finding", ())),
        losses=tuple(_losses(moved)),
        readings=tuple((_order(record), one) for record in by_kind.get("reading", ()) for one in _readings(record)),
        holds=tuple(zip(map(_order, holds), _holds(holds, by_kind.get("lift", ())), strict=True)),
        cleaned=tuple((_order(r), vat_id(r.subject) or r.subject) for r in by_kind.get("cleaned", ())),
        orders=tuple((_order(record), _ordered(record)) for record in by_kind.get("prescription", ())),
        closures=closures_of(farm),
        opened=tuple(opened_of(farm).items()),
    )


def floor_of(parts: Sequence[Parts], at: datetime, batches: Mapping[str, Batch] | None = None) -> Floor:
    """Put the parts of several batches together.

    Parameters
    ----------
    batches
        Batches by id when more are known than the parts name.
    """
    named = {one.id: one for one in _in_order(part.batches for part in parts)} if batches is None else batches
    received = sorted((pair for part in parts for pair in part.received), key=itemgetter(0))[::-1]
    cleaned = sorted((pair for part in parts for pair in part.cleaned), key=itemgetter(0))
    return Floor(
        at=at,
        batches=named,
        stays=tuple(sorted((s for part in parts for s in part.stays), key=lambda s: (s.since, s.vat, s.batch))),
        received={shipment: order[0] for order, shipment in received},  # the first receipt of each counts
        done=_once(part.done for part in parts),
        found=_once(part.found for part in parts),
        losses=_in_order(part.losses for part in parts),
        readings=_in_order(part.readings for part in parts),
        holds=_in_order(part.holds for part in parts),
        cleaned={vat: order[0] for order, vat in cleaned},
        past=tuple(sorted((one for part in parts for one in part.past), key=_ended)),
        closures=tuple(one for part in parts for one in part.closures),
        opened=dict(pair for part in parts for pair in part.opened),
        orders=_in_order(part.orders for part in parts),
    )


Fact = TypeVar("Fact")


def _in_order(told: Iterable[Sequence[tuple[Order, Fact]]]) -> tuple[Fact, ...]:
    """Facts of several parts in the order of the ledger."""
    return tuple(fact for _, fact in sorted((pair for part in told for pair in part), key=itemgetter(0)))


def _once(told: Iterable[Sequence[tuple[Order, Fact]]]) -> tuple[Fact, ...]:
    """The same, where two parts may hold the same record; records without a number cannot be distinguished."""
    kept: dict[tuple[Order, int], tuple[Order, Fact]] = {}
    for place, pair in enumerate(pair for part in told for pair in part):
        kept.setdefault((pair[0], 0 if pair[0][1] else place), pair)
    return _in_order([tuple(kept.values())])


def _order(entry: Entry) -> Order:
    return entry.happened_at, entry.id or 0


def _sequence(value: object) -> Sequence[object]:
    return value if isinstance(value, list | tuple) else ()


def _text(record: Record, name: str, default: str = "") -> str:
    value = record.payload.get(name)
    return default if value is None else str(value)


class _Standing:
    """Animals, moment of entry and stage by (batch, vat), while the entries are gone through in order."""

    def __init__(self) -> None:
        self.count: Counter[tuple[str, str]] = Counter()
        self.since: dict[tuple[str, str], datetime] = {}
        self.stage: dict[tuple[str, str], str] = {}
        self.past: list[Past] = []

    def move(self, moment: Sequence[Movement]) -> None:
        """Movements of one moment; a stage travels with the animals into a vat where none of their batch stand."""
        for movement in moment:
            self.count[movement.batch, movement.source] -= movement.count
            self.count[movement.batch, movement.target] += movement.count
        for movement in moment:
            spot = (movement.batch, movement.target)
            if is_vat(movement.target) and spot not in self.since:
                default = _FIRST_STAGE.get(movement.source, "quarantine")
                self.since[spot] = movement.happened_at
                self.stage[spot] = self.stage.get((movement.batch, movement.source), default)
        for movement in moment:
            for spot in ((movement.batch, movement.source), (movement.batch, movement.target)):
                if self.count[spot] <= 0:
                    entered = self.since.pop(spot, None)
                    self.stage.pop(spot, None)
                    if entered is not None:
                        self.past.append(Past(spot[0], vat_id(spot[1]), entered, movement.happened_at))

    def enter(self, record: Record) -> None:
        """Note a stage entered by a batch in one vat, or in every vat it is in when the record names none."""
        batch, vat, stage = _text(record, "batch", record.subject), _text(record, "vat"), _text(record, "stage")
        for spot in self.since:
            if spot[0] == batch and vat_id(spot[1]) in (vat_id(vat) or vat or vat_id(spot[1]),):
                self.stage[spot] = stage


def _stays(moved: Sequence[Movement], stages: Sequence[Record]) -> tuple[tuple[Stay, ...], tuple[Past, ...]]:
    state = _Standing()
    waiting = list(stages)
    start = 0
    while start < len(moved):
        at = moved[start].happened_at
        while waiting and waiting[0].happened_at < at:  # at one moment animals move first, then enter their stage
            state.enter(waiting.pop(0))
        end = start
        while end < len(moved) and moved[end].happened_at == at:
            end += 1
        state.move(moved[start:end])
        start = end
    for record in waiting:
        state.enter(record)
    stays = (Stay(b, vat_id(p), state.count[b, p], since, state.stage[b, p]) for (b, p), since in state.since.items())
    return tuple(sorted(stays, key=lambda stay: (stay.since, stay.vat, stay.batch))), tuple(
        sorted(state.past, key=_ended)
    )


def _ended(past: Past) -> tuple[datetime, str, str, datetime]:
    return past.end, past.batch, past.vat, past.start


def _losses(moved: Iterable[Movement]) -> Iterator[tuple[Order, Dead]]:
    for m in moved:
        if m.target in LOSSES:
            yield _order(m), Dead(m.batch, vat_id(m.source), m.target, m.count, m.happened_at)
        if m.source in LOSSES:  # found alive after all, or counted under another head
            yield _order(m), Dead(m.batch, vat_id(m.target), m.source, -m.count, m.happened_at)


def _done(record: Record) -> Done:
    return Done(
        record.subject,
        _text(record, "batch"),
        _text(record, "kind"),
        record.happened_at,
        record.who,
        vat=_text(record, "vat"),
        to=_text(record, "to"),
        agents=tuple(str(agent) for agent in _sequence(record.payload.get("agents"))),
        where=_text(record, "where"),
    )


def _ordered(record: Record) -> Ordered:
    until = _text(record, "until")
    return Ordered(
        _text(record, "batch", record.subject.partition("/")[0]),
        _text(record, "dip", record.subject.partition("/")[2]),
        tuple(str(agent) for agent in _sequence(record.payload.get("agents"))),
        _text(record, "prescriber"),
        _text(record, "reference"),
        _text(record, "strength"),
        record.happened_at,
        datetime.fromisoformat(until) if until else None,
    )


def _found(record: Record) -> Found:
    vat = _text(record, "vat")
    batch = _text(record, "batch", "" if is_vat(record.subject) else record.subject)
    vat = vat_id(vat) or vat or vat_id(record.subject)
    return Found(batch, vat, _text(record, "what"), record.happened_at, record.who, _text(record, "note"))


def _reading(record: Record) -> Reading:
    value = record.payload.get("value")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadInput(Finding(f"reading {record.key}", str(value), "a number"))
    names = (_text(record, "quantity"), float(value), _text(record, "scale"))
    return Reading(record.subject, *names, record.happened_at, record.who)


def _readings(record: Record) -> Iterator[Reading]:
    """The reading of a record; of a logger's day the lowest, the highest and the last, whose rows stay in the record."""
    pairs: Any = record.payload.get("marks")
    if not pairs:
        yield _reading(record)
        return
    for at, value in pairs:
        moment = datetime.fromisoformat(str(at))
        yield Reading(record.subject, _text(record, "quantity"), float(value), "", moment, record.who)


def readings(told: Iterable[Record]) -> tuple[Reading, ...]:
    """What standing records of readings say, in the order it was measured."""
    found = [reading for record in told for reading in _readings(record)]
    return tuple(sorted(found, key=lambda one: one.at))


def _holds(holds: Sequence[Record], lifts: Sequence[Record]) -> tuple[Hold, ...]:
    """Each hold with the first lift after it of the same batch; a lift naming a hold's key lifts only that one."""
    found: list[Hold] = []
    for hold in holds:
        lifted, lifted_at = "", None
        for lift in lifts:
            named = _text(lift, "hold")
            if lift.subject == hold.subject and lift.happened_at >= hold.happened_at and named in ("", hold.key):
                lifted = _text(lift, "reason") or f"lifted {lift.happened_at.isoformat(timespec='minutes')}"
                lifted_at = lift.happened_at
                break
        found.append(Hold(hold.subject, _text(hold, "reason"), hold.happened_at, lifted, lifted_at))
    return tuple(found)
