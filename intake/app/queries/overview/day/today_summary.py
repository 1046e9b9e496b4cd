"""Today at a glance: what is late, what is due, what lands next, what alarms."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intake.app.queries.biosecurity.reading_alarms import alarm_lines
from intake.app.queries.overview.due_work import Due, due_work
from intake.app.queries.planning.announced_shipments import live_shipments, overdue_words, waiting
from intake.app.queries.planning.timetable_warnings import lapse_words, lapses_now
from intake.app.queries.reports.loss_alarms import alarms
from intake.app.session import House

__all__ = ["Landing", "TodaySummary", "today_summary"]


@dataclass(frozen=True, slots=True)
class Landing:
    """A shipment still to come."""

    shipment: str
    supplier: str
    lands: datetime
    announced: int


@dataclass(frozen=True, slots=True)
class TodaySummary:
    """The day as a person starts it; work by start, landings by time, alarms in words."""

    at: datetime
    late: tuple[Due, ...]
    due: tuple[Due, ...]
    landings: tuple[Landing, ...]
    alarms: tuple[str, ...]
    asked: tuple[str, ...]
    alive: int

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "at": self.at.isoformat(),
            "alive": self.alive,
            "late": [_task(one) for one in self.late],
            "due": [_task(one) for one in self.due],
            "landings": [
                {
                    "shipment": one.shipment,
                    "supplier": one.supplier,
                    "lands": one.lands.isoformat(),
                    "announced": one.announced,
                }
                for one in self.landings
            ],
            "alarms": list(self.alarms),
            "asked": list(self.asked),
        }


def _task(one: Due) -> dict[str, Any]:
    return {
        "uid": one.uid,
        "number": one.number,
        "title": one.title,
        "batch": one.batch,
        "vat": one.vat,
        "start": one.start.isoformat(),
        "state": one.state,
        "if_late": one.if_late,
    }


def today_summary(house: House) -> TodaySummary:
    """What a person asks first; the board shows the same."""
    days = due_work(house, days=1)
    work = [one for day in days for one in day.work if one.open]
    facts = live_shipments(house)
    landings = [
        Landing(
            name,
            str(facts[name]["supplier"]),
            datetime.fromisoformat(str(facts[name]["lands"])).astimezone(house.site.farm.zone),
            sum(batch.announced for batch in house.lines_of(name)),
        )
        for name in waiting(house)
    ]
    told = [lapse_words(row) for row in lapses_now(house)]
    told += [str(one["words"]) for one in alarms(house)["alarms"] if not one["over"]]
    told += alarm_lines(house)
    return TodaySummary(
        at=house.now.astimezone(house.site.farm.zone),
        late=tuple(one for one in work if one.state == "late"),
        due=tuple(one for one in work if one.state != "late"),
        landings=tuple(sorted(landings, key=lambda one: one.lands)),
        alarms=tuple(told),
        asked=tuple(overdue_words(house)),
        alive=sum(house.alive().values()),
    )
