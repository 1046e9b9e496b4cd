"""What the wall screen shows: a tile for each vat, the oldest tasks due, what is released next, the boxes of a landing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from intake.app.queries.overview.due_work import Due, due_work
from intake.app.queries.overview.floor_today import FloorFacts, floor_facts
from intake.app.queries.planning.announced_shipments import shipment_facts, waiting
from intake.app.queries.planning.landing_work import kept_days
from intake.app.session import House

__all__ = ["BoxOnWall", "Landing", "WallFacts", "wall_facts"]

_ROWS = 3


@dataclass(frozen=True, slots=True)
class BoxOnWall:
    """One box of the landing day: its number, when it opens, where, and whether it is ``open``, ``placed`` or ``closed``."""

    box: str
    opens: datetime
    table: str
    state: str


@dataclass(frozen=True, slots=True)
class Landing:
    """The landing day of one shipment in the order of opening; ``ends`` is when the last animal is placed."""

    shipment: str
    boxes: tuple[BoxOnWall, ...]
    ends: datetime | None

    @property
    def next(self) -> str:
        """The box to open next; empty when all are open."""
        return next((one.box for one in self.boxes if one.state == "closed"), "")


@dataclass(frozen=True, slots=True)
class WallFacts:
    """Everything on the wall; ``late`` and ``due`` count today's tasks, ``rows`` are the oldest of them."""

    floor: FloorFacts
    rows: tuple[Due, ...]
    late: int
    due: int
    done: int
    next_free: tuple[str, date] | None
    next_in: tuple[str, datetime] | None
    landing: Landing | None


def wall_facts(house: House) -> WallFacts:
    """What is read from four metres, of this moment."""
    floor = floor_facts(house)
    work = [one for day in due_work(house, days=1) for one in day.work]
    waits = sorted((one for one in work if one.state not in ("done", "dropped", "missed")), key=lambda one: one.start)
    frees = sorted(
        (stay.release.earliest, stay.batch)
        for system in floor.systems
        for vat in system.vats
        for stay in vat.stays
        if stay.release and stay.release.earliest
    )
    coming = sorted((datetime.fromisoformat(str(shipment_facts(house)[one]["lands"])), one) for one in waiting(house))
    return WallFacts(
        floor=floor,
        rows=tuple(waits[:_ROWS]),
        late=floor.late,
        due=floor.due,
        done=sum(1 for one in work if one.state == "done"),
        next_free=(frees[0][1], frees[0][0]) if frees else None,
        next_in=(coming[0][1], coming[0][0]) if coming else None,
        landing=_landing(house),
    )


def _landing(house: House) -> Landing | None:
    """The landing that is on today, as kept; nothing is planned for a screen."""
    for shipment, told in kept_days(house).items():
        rows: Any = sorted(told.get("placed") or (), key=lambda row: str(row["open_at"]))
        if not rows:
            continue
        first = datetime.fromisoformat(str(rows[0]["open_at"]))
        if first.astimezone(house.site.farm.zone).date() != house.today:
            continue
        read = {one.place for one in house.floor().readings if one.place.startswith(f"{shipment}/")}
        read |= set(told.get("opened") or ())
        boxes = tuple(_box(house, row, read) for row in rows)
        if all(one.state == "placed" for one in boxes):
            continue
        return Landing(shipment, boxes, max(datetime.fromisoformat(str(row["placed_at"])) for row in rows))
    return None


def _box(house: House, row: Any, read: set[str]) -> BoxOnWall:
    box, placed = str(row["box"]), datetime.fromisoformat(str(row["placed_at"]))
    state = "closed" if box not in read else "placed" if placed <= house.now else "open"
    return BoxOnWall(box.rpartition("/")[2], datetime.fromisoformat(str(row["open_at"])), str(row["table"]), state)
