"""Orders of the year as large as the tool says fits, and what becomes of them: landed, a day late, or never."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from tests.story.year.farm import KINDS, SUPPLIERS, write_list
from tests.story.year.truth import Coming

if TYPE_CHECKING:
    from tests.story.year.simulator import Year

__all__ = ["land", "order"]


def order(year: Year, day: date) -> None:
    """Every 10–14 days an order as large as the tool says fits, from the supplier with most room, or none."""
    if day < year.next_order or any(one.fate != "never" for one in year.coming.values()):
        return
    year.next_order = day + timedelta(days=year.random.randint(10, 14))
    lands = day + timedelta(days=4)
    mix = year.folder / "mix.csv"
    write_list(mix, {kind: kind.share for kind in KINDS}, _packed(lands))
    turn = len(year.truth.diary) % len(SUPPLIERS)
    best, supplier = 0, ""
    for name in (*SUPPLIERS[turn:], *SUPPLIERS[:turn]):
        words = ["--mix", str(mix), "--supplier", name, "--seconds", "0.25"]
        _, rows = year.give("capacity", *words, "--from", str(lands), "--to", str(lands))
        fits = min(sum(kind.share for kind in KINDS), rows[0]["fits"])
        best, supplier = max((best, supplier), (fits, name), key=lambda one: one[0])
    year.figures["orders asked"] += 1
    if best < 60:
        year.figures["no room for an order"] += 1
        return
    _enter(year, supplier, lands, best)


def _enter(year: Year, supplier: str, lands: date, animals: int) -> None:
    whole = sum(kind.share for kind in KINDS)
    counts = {kind: max(10, kind.share * animals // whole) for kind in KINDS}
    file = year.folder / f"list-{lands}.csv"
    write_list(file, counts, _packed(lands))
    code, told = year.give(
        "expect", str(file), "--supplier", supplier, "--lands", f"{lands}T09:00", "--answer", "columns=proposed",
    )  # fmt: skip
    if code:
        return
    shipment = str(told["shipment"])
    fate = year.random.choices(("lands", "slips", "never"), (85, 10, 5))[0]
    one = year.coming[shipment] = Coming(supplier, lands, fate)
    for line, (kind, count) in enumerate(counts.items(), start=1):
        batch = f"{shipment}-{line:02d}"
        one.lines[batch], year.truth.kind[batch] = count, kind
        year.truth.supplier[batch] = supplier
    _accept(year, shipment)


def _packed(lands: date) -> str:
    return f"{lands - timedelta(days=1)} 12:00"


def _accept(year: Year, shipment: str) -> None:
    """Plan and accept; what finds no place is taken off the order, and the rest planned again."""
    for _ in range(3):
        code, plan = year.give("plan", "--accept", "--seconds", "1", quiet=True)
        if code == 0:
            _keep(year, plan)
            return
        short = plan.get("short", ()) if isinstance(plan, dict) else ()
        if not short:
            _, plan = year.give("plan", "--seconds", "1")
            short = plan["short"]
        lines = year.coming[shipment].lines
        for row in short:
            lines[row["batch"]] -= row["count"]
            if lines[row["batch"]] < 10:
                lines[row["batch"]] = 0
            year.give("amend", shipment, "--line", f"{row['batch']}={lines[row['batch']]}")
    year.give("shipments", "cancel", shipment, "--reason", "no room after all")
    del year.coming[shipment]
    year.figures["orders given up"] += 1


def _keep(year: Year, plan: dict[str, Any]) -> None:
    for batch in {row["batch"] for row in plan["placements"]}:
        year.accepted[batch] = [row for row in plan["placements"] if row["batch"] == batch]


def land(year: Year, day: date) -> list[str]:
    """What lands today is received; a flight slips a day, or the shipment never comes and is cancelled two days later."""
    landed = []
    for shipment, one in list(year.coming.items()):
        if one.fate == "slips" and day == one.lands:
            one.fate, one.lands = "lands", day + timedelta(days=1)
            year.give("amend", shipment, "--lands", f"{one.lands}T09:00")
            _accept(year, shipment)
        elif one.fate == "never" and day == one.lands + timedelta(days=2):
            late = [row["state"] for row in year.give("shipments")[1] if row["shipment"] == shipment]
            if late != ["late"]:
                year.breaches.append(f"{day}: {shipment} never came and is {late}, not asked about")
            year.give("shipments", "cancel", shipment, "--reason", "lost by the airline")
            del year.coming[shipment]
        elif one.fate == "lands" and day == one.lands:
            _receive(year, shipment, one)
            landed.append(shipment)
    return landed


def _receive(year: Year, shipment: str, one: Coming) -> None:
    year.clock(one.lands, 10)
    code, _ = year.give("receive", shipment)
    del year.coming[shipment]
    if code:
        year.give("shipments", "cancel", shipment, "--reason", "refused at the door")
        year.figures["refused at the door"] += 1
        return
    year.figures["received"] += 1
    for batch, count in one.lines.items():
        rows = [row for row in year.accepted.get(batch, ()) if row["stage"] == "quarantine"]
        year.landed_today.setdefault(shipment, []).extend(rows)
        year.truth.entered[batch] = year.now
        for row in rows:
            year.truth.alive[batch, row["vat"]] += row["count"]
        if sum(row["count"] for row in rows) != count:
            year.breaches.append(f"{one.lands}: {batch}: {count} ordered, accepted {rows}")
    year.clock(one.lands, 15)
    for batch, vat in [spot for spot in year.truth.standing() if spot[0] in one.lines]:
        dead = sum(year.random.random() < 0.02 for _ in range(year.truth.alive[batch, vat]))
        if dead:
            year.give("count", batch, "--vat", vat, "--doa", str(dead))
            year.truth.lose(batch, vat, "doa", dead)
            year.doa_today[batch] = year.doa_today.get(batch, 0) + dead
    if year.doa_today:
        _, claim = year.give("claim", shipment)
        if claim["claimable"]:  # the allowance may cover all
            year.give("claim", shipment, "--state", "sent", "--out", str(year.folder / "out"))
        told = {row["batch"]: row["doa"] for row in claim["lines"] if row["doa"]}
        if told != year.doa_today:
            year.breaches.append(f"{one.lands}: claim of {shipment} says {told}, {year.doa_today} in truth")
        year.figures["claims"] += 1
