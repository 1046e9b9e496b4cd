"""The undoing of what was reported wrongly: by the right of the act itself, and only while nothing stands on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from intake.app.access.entry_rights import UNDOABLE, right_to
from intake.app.access.roles import may, role_of
from intake.app.act_recording import Judged, Recorded, judge, refuse_shortage
from intake.app.landing.kept_day import move_day, moved_words
from intake.app.session import Act, House
from intake.errors import Finding, Refused, UnknownName
from intake.ledger import Entry, Movement, Record, balances, vat_id
from intake.ledger import counter as counter_of
from intake.rules import Placing, Portion, Undoing
from intake.rules.acts import Act as Proposed

__all__ = ["undo"]


def undo(
    house: House, key: str, *, whole: bool = False, batch: str = "", despite: str = "", own_key: str = ""
) -> Recorded:
    """Take back what was reported wrongly: a movement by a counter movement, a record by its withdrawal.

    The original stays in the ledger.

    Parameters
    ----------
    whole
        Take back everything that was reported in the same act, not this entry alone.
    batch
        Only entries of this batch: the one the page shows.
    despite
        Why animals come back into a vat although a rule needs a reason.
    own_key
        Key of the undoing itself, where a phone may send it twice.

    Raises
    ------
    UnknownName
        Nothing that can be undone has this key.
    Refused
        It was undone before.
    RulesBroken
        The person may not do the act itself, later entries stand on it, or the animals no longer suit their vat.
    """
    found = [one for one in _written(house, key) if _belongs(one, key, whole=whole) and batch in ("", _about(one))]
    if not found:
        raise UnknownName("--undo", key, [], "key of something recorded")
    said = []
    with house.act(own_key) as act:
        gone = {str(entry.corrects) for entry in act.corrections([entry.key for entry in found])}
        left = [entry for entry in found if entry.key not in gone]
        if not left:
            raise Refused(Finding("--undo", key, "an entry not undone yet", "It was already undone."))
        judged = _judged(house, act, left, despite)
        for entry in left:
            said.append(_take_back(house, act, entry))
        for lot in sorted({entry.batch for entry in left if isinstance(entry, Movement)}):
            refuse_shortage(house, act, lot)
        for entry in left:
            if isinstance(entry, Record) and entry.kind == "received":
                said += _announced_again(act, entry)
        judged.keep(act)
    return Recorded((*(f"Undone: {words}" for words in said if words), *judged.said), (key,), judged.told)


def _written(house: House, key: str) -> tuple[Entry, ...]:
    """Entries of the act this key belongs to, be it the act's own key or that of one of its entries."""
    return house.act_of(_act_of(key))


def _about(entry: Entry) -> str:
    return entry.batch if isinstance(entry, Movement) else str(entry.payload.get("batch") or entry.subject)


def _judged(house: House, act: Act, left: Sequence[Entry], despite: str) -> Judged:
    """The undoing before the rules: right, what stands on it, and the animals that come back into vats."""
    person = role_of(house, house.who)
    first = left[0]
    allowed = all(may(person, right_to(entry)) for entry in left)
    depends = tuple(dict.fromkeys(_depends(house, left)))
    proposed: list[Proposed] = [Undoing(house.now, _words(first), depends, allowed, house.who)]
    rows = []
    for entry in left:
        if isinstance(entry, Movement) and vat_id(entry.source) in house.site.vats and not depends:
            lot = house.floor().batches[entry.batch]
            vat, now_in = vat_id(entry.source), vat_id(entry.target)
            stays = [stay for stay in house.floor().stays if stay.batch == lot.id and stay.vat in {vat, now_in}]
            role = house.site.system_of(vat).role  # of a batch that stands nowhere now, what its vat is for
            stage = next((stay.stage for stay in stays), role if role in ("quarantine", "healing") else "grow-out")
            rows.append(Portion(lot, vat, entry.count, now_in or "undone", stage))
    if rows:
        proposed.append(Placing(house.now, tuple(rows), "undo"))
    return judge(house, act, *proposed, despite=despite)


def _depends(house: House, left: Sequence[Entry]) -> Iterator[str]:
    """What was written since on the strength of these entries, in words."""
    mine = {entry.key for entry in left}
    for entry in left:
        if isinstance(entry, Record) and entry.kind == "received":
            yield from _on_receipt(house, entry)
        elif isinstance(entry, Movement):
            stream = house.stream(entry.batch)
            gone = {one.corrects for one in stream if one.corrects}
            held = balances(stream)
            if held.get((entry.batch, entry.target), 0) < entry.count:
                for one in stream:
                    later = isinstance(one, Movement) and not one.corrects and one.key not in gone | mine
                    if later and isinstance(one, Movement) and one.source == entry.target:
                        yield _words(one)


def _on_receipt(house: House, receipt: Record) -> Iterator[str]:
    """Movements of its lines since, and claims: not what the receipt itself wrote."""
    first = receipt.key.partition(".")[0]
    stream = house.shipment_stream(receipt.subject)
    gone = {one.corrects for one in stream if one.corrects}
    for one in stream:
        if one.key.partition(".")[0] == first or one.corrects or one.key in gone:
            continue
        if isinstance(one, Movement) and one.recorded_at >= receipt.recorded_at:
            yield _words(one)
        elif isinstance(one, Record) and one.kind == "claim":
            yield f"claim {one.payload.get('state') or 'drafted'}"


def _announced_again(act: Act, receipt: Record) -> list[str]:
    """The landing as it was announced, where the receipt had moved it, and its day with it; in words."""
    announced = [one for one in act.entries("shipment", receipt.subject) if isinstance(one, Record)]
    if len(announced) < 2 or _act_of(announced[-1].key) != _act_of(receipt.key):
        return []
    before = announced[-2]
    act.note("shipment", receipt.subject, before.payload)
    return [f"the earlier landing of {receipt.subject}", *moved_words(move_day(act, receipt.subject))]


def _words(entry: Entry) -> str:
    if isinstance(entry, Record):
        return f"{entry.kind} of {entry.subject.removeprefix('vat:')}"
    return f"{entry.count} of {entry.batch}: {entry.source.removeprefix('vat:')} → {entry.target.removeprefix('vat:')}"


def _belongs(entry: Entry, key: str, *, whole: bool) -> bool:
    if not isinstance(entry, Movement) and entry.kind not in UNDOABLE:
        return False
    return entry.key == key or (whole and _act_of(entry.key) == _act_of(key))


def _act_of(key: str) -> str:
    """Key of the act, be it given as that or as the key of one of its entries."""
    first, _, number = key.rpartition(".")
    return first if first and number.isdecimal() else key


def _take_back(house: House, act: Act, entry: Entry) -> str:
    if isinstance(entry, Record):
        act.note(
            entry.kind, entry.subject, {**entry.payload, "withdrawn": True}, at=entry.happened_at, corrects=entry.key
        )
        return "" if entry.kind in ("stage", "box", "despite", "sale") else _words(entry)
    fresh = counter_of(entry, at=house.now, who=house.who, key="-")
    act.move(
        fresh.batch, fresh.source, fresh.target, fresh.count, at=fresh.happened_at, note=fresh.note, corrects=entry.key
    )
    return _words(entry)
