"""Tasks with a deadline after which their series begins again, with what missing it would cost, as the timetable told it.

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


def deadline_of(row: Mapping[str, Any], now: datetime) -> Deadline | None:
    """What a published task says of its deadline; ``None`` without one, once it is closed or once it has passed."""
    if not row.get("if_late") or row.get("state", "open") != "open":
        return None
    found = Deadline(datetime.fromisoformat(str(row["deadline"])), str(row["if_late"]))
    return found if now < found.deadline else None


def deadlines(house: House, rows: Iterable[Mapping[str, Any]] | None = None) -> dict[str, Deadline]:
    """Task uid → its deadline and price, for every open task whose lateness would make someone wait."""
    known = all_tasks(house).values() if rows is None else rows
    return {str(row["uid"]): found for row in known if (found := deadline_of(row, house.now)) is not None}


def deadline_facts(house: House, found: Deadline | None) -> dict[str, object]:
    """Keys a task bears in ``--json``: the deadline as an ISO time and the price in words; empty without one."""
    zone = house.site.farm.zone
    at = found.deadline.astimezone(zone).isoformat() if found else None
    return {"deadline": at, "if_late": found.words if found else ""}
