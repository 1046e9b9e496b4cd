"""The morning round, vat by vat: who stands there, what is due there today, and the last reading of its water."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intake.app.queries.overview.due_work import Due, due_work
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.queries.planning.task_closing import ROUNDS
from intake.app.session import House
from intake.farm.site import Vat

__all__ = ["Stop", "walk_round"]


@dataclass(frozen=True, slots=True)
class Stop:
    """One vat with animals.

    Attributes
    ----------
    stands
        Batch, name and headcount of what stands there.
    work
        Tasks open there today, and those of its system at the system's first vat.
    temperature_c, read_at
        Last temperature of its water; ``None`` when none was read.
    """

    vat: str
    system: str
    stands: tuple[tuple[str, str, int], ...]
    work: tuple[Due, ...]
    temperature_c: float | None
    read_at: datetime | None

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "vat": self.vat,
            "system": self.system,
            "stands": [{"batch": batch, "name": name, "count": count} for batch, name, count in self.stands],
            "tasks": [
                {"uid": one.uid, "number": one.number, "title": one.title, "state": one.state} for one in self.work
            ],
            "temperature_c": self.temperature_c,
            "read_at": self.read_at.isoformat() if self.read_at else None,
        }


def walk_round(house: House) -> tuple[Stop, ...]:
    """The vats with animals, in the order today's rounds walk them, clean water first; the others as farm.toml lists them."""
    floor = house.floor()
    open_work = [one for day in due_work(house, days=1) for one in day.work if one.open]
    stops: list[Stop] = []
    seen: set[str] = set()
    for vat in _in_order(house):
        inside = [stay for stay in floor.in_vat(vat.id) if stay.count]
        if not inside:
            continue
        of_system = vat.system not in seen
        seen.add(vat.system)
        work = [
            one for one in open_work
            if one.vat == vat.id or (of_system and one.system == vat.system and not one.vat)
        ]  # fmt: skip
        read = [
            one
            for one in floor.readings
            if one.quantity == "temperature_c" and one.place in (vat.id, f"vat:{vat.id}", vat.system)
        ]
        last = max(read, key=lambda one: one.at, default=None)
        stands = tuple((stay.batch, floor.batches[stay.batch].name, stay.count) for stay in inside)
        reading = (last.value, last.at) if last else (None, None)
        stops.append(Stop(vat.id, vat.system, stands, tuple(work), *reading))
    return tuple(stops)


def _in_order(house: House) -> list[Vat]:
    """All vats: those of today's rounds as they are walked, then system by system as farm.toml lists them."""
    walked = {vat: place for place, vat in enumerate(_walked_today(house))}
    by_system = [vat for system in house.site.systems for vat in house.site.vats.values() if vat.system == system]
    return sorted(by_system, key=lambda vat: walked.get(vat.id, len(walked)))


def _walked_today(house: House) -> list[str]:
    """Vats of today's rounds, each once."""
    zone = house.site.farm.zone
    rows = (row for row in stored_tasks(house) if row["kind"] in ROUNDS)
    today = [row for row in rows if datetime.fromisoformat(str(row["start"])).astimezone(zone).date() == house.today]
    return list(dict.fromkeys(str(vat) for row in today for vat in row.get("vats") or ()))
