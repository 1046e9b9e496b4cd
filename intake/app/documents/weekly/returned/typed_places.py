"""Where the animals of a returned sheet are: which vat each loss leaves, and the counted cards, to the animal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intake.app.documents.weekly.returned.typed_sheet import LOST, Line, TypedSheet
from intake.errors import Finding
from intake.ledger import Movement, balances, vat_id

__all__ = ["card", "placed_lines"]

_FIRST = "Count again, and correct the sheet."


def card(sheet: TypedSheet, vat: str, number: int) -> Line:
    """The count of one vat as a line; a clash with what was recorded from this card before is noted."""
    told = f"place.{vat}.counted"
    key, entries = sheet.key(told)
    before = [one.count if isinstance(one, Movement) else int(str(one.payload.get("value", 0))) for one in entries[:1]]
    if before and before[0] != number:
        sheet.clash(told, str(before[0]), key)
    return Line(sheet.name(told), "alive", sheet.batch.id, vat, key, value=number, before=bool(before))


def placed_lines(sheet: TypedSheet, counts: Sequence[Line], cards: Mapping[str, int]) -> list[Line]:
    """Counts with the vats their animals leave, then the counts of the cards; what does not add up is noted."""
    stands = _stands(sheet)
    if "vat" in cards and len(stands) == 1 and "dock" not in stands:  # a sheet printed before there was a plan
        cards = {next(iter(stands)): cards["vat"]}
    placed = [card(sheet, vat, number) for vat, number in cards.items()]
    old = [replace(line, place="") for line in counts if line.before]
    new = [line for line in counts if not line.before]
    fresh = [line for line in placed if not line.before]
    if (new or fresh) and not stands:
        do = f"Record its receipt first: vatside receive {sheet.batch.shipment}."
        sheet.faults.append(Finding(sheet.batch.id, "no animals on record", "a batch that was received", do))
    elif set(stands) == {"dock"}:
        new, moved = _from_dock(sheet, new, fresh, stands["dock"])
        return [*old, *new, *(line for line in placed if line.before), *moved]
    elif new or fresh:
        new = _in_vats(sheet, new, fresh, stands)
    return [*old, *new, *placed]


def _stands(sheet: TypedSheet) -> dict[str, int]:
    """Vat, or ``dock`` → animals of the batch alive there on record."""
    on_record = balances(sheet.house.stream(sheet.batch.id)).items()
    return {vat_id(place) or place: n for (_, place), n in on_record if n > 0 and (place == "dock" or vat_id(place))}


def _lost(lines: Sequence[Line]) -> int:
    return sum(getattr(line.tally, head) for line in lines for head in LOST)


def _from_dock(
    sheet: TypedSheet, new: Sequence[Line], fresh: Sequence[Line], stand: int
) -> tuple[list[Line], list[Line]]:
    """Animals that wait on the dock: losses leave it, and the cards say which vats the others enter."""
    owed = stand - _lost(new)
    for line in fresh:
        if line.place not in sheet.house.site.vats:
            sheet.fault(f"place.{line.place}.counted", "the name of a vat", "Print the sheet again after the plan.")
        elif sum(int(one.value) for one in fresh) != owed:
            sheet.fault(f"place.{line.place}.counted", f"{owed} on all cards: {stand} on record, less losses", _FIRST)
    moved = [replace(line, kind="move") for line in fresh]
    return [replace(line, place="dock") for line in new], moved


def _in_vats(sheet: TypedSheet, new: Sequence[Line], fresh: Sequence[Line], stands: Mapping[str, int]) -> list[Line]:
    """Animals that stand in vats: each vat has lost what is on record there less what its card says."""
    lost, gaps = _lost(new), {}
    for line in fresh:
        if line.place in stands:
            gaps[line.place] = stands[line.place] - int(line.value)
        else:
            expected = f"a card of a vat in which {sheet.batch.id} stands: {', '.join(stands)}"
            sheet.fault(f"place.{line.place}.counted", expected)
    if len(stands) == 1:
        vat, stand = next(iter(stands.items()))
        if gaps.get(vat, lost) != lost:
            sheet.fault(f"place.{vat}.counted", f"{stand - lost}: {stand} on record, less losses", _FIRST)
        return [replace(line, place=vat) for line in new]
    if lost and set(gaps) != set(stands):
        for vat in sorted(set(stands) - set(gaps)):
            sheet.fault(f"place.{vat}.counted", "the count of each vat", "It says which vat the animals are gone from.")
        return list(new)
    if gaps and (sum(gaps.values()) != lost or min(gaps.values()) < 0):
        for vat in gaps:
            sheet.fault(f"place.{vat}.counted", f"{stands[vat]} on record, less its share of {lost} lost", _FIRST)
        return list(new)
    return _shared(new, gaps)


def _shared(new: Sequence[Line], gaps: Mapping[str, int]) -> list[Line]:
    """Losses of each box taken from the vats in order, until each vat has lost what its card says."""
    room, found = dict(gaps), []
    for line in new:
        owed = {head: getattr(line.tally, head) for head in LOST}
        part = 0
        for vat in room:
            taken = {}
            for head in LOST:
                taken[head] = min(owed[head], room[vat])
                owed[head] -= taken[head]
                room[vat] -= taken[head]
            if any(taken.values()):
                part += 1
                key = line.key if part == 1 else f"{line.key}-{part}"
                found.append(replace(line, place=vat, key=key, tally=replace(line.tally, **taken)))
    return found
