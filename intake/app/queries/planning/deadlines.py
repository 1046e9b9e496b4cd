"""Tasks with a deadline after which their series begins again, with what missing it would cost, as the timetable reported it.

The sentence is kept with the task by whatever act changed it, so that lists, pages, papers and calendars say the same hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intake.app.queries.planning.published_timetable import all_tasks
from intake.app.session import House

__all__ = ["Deadline", "deadline_facts", "deadline_of", "deadlines"]


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last moment at which a task still counts, and the sentence that says so with its price."""

    deadline: datetime
    words: str


def deadline_of(row: Mapping[str, Any]) -> Deadline | None:
    """What an open task says of its deadline: a calendar keeps it until an act changes it, whatever the clock says."""
    if not row.get("if_late") or row.get("state", "open") != "open":
        return None
    return Deadline(datetime.fromisoformat(str(row["deadline"])), str(row["if_late"]))


def deadlines(house: House, rows: Iterable[Mapping[str, Any]] | None = None) -> dict[str, Deadline]:
    """Task uid → its deadline and price, for every open task whose lateness would make someone wait: those still ahead."""
    known = all_tasks(house).values() if rows is None else rows
    found = {str(row["uid"]): one for row in known if (one := deadline_of(row)) is not None}
    return {uid: one for uid, one in found.items() if house.now < one.deadline}


def deadline_facts(house: House, found: Deadline | None) -> dict[str, object]:
    """Keys a task bears in ``--json``: the deadline as an ISO time and the price in words; empty without one."""
    zone = house.site.farm.zone
    at = found.deadline.astimezone(zone).isoformat() if found else None
    return {"deadline": at, "if_late": found.words if found else ""}
