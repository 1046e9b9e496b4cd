"""Tasks with a deadline after which their series begins again, with what missing it would cost."""

from __future__ import annotations

from datetime import datetime

from intake.app.queries.planning.timetable_needs import orders_of, stays_ahead
from intake.app.session import House
from intake.quarantine import courses_of
from intake.quarantine.lateness import priced
from intake.quarantine.needs import Delay

__all__ = ["deadline_facts", "deadlines"]


def deadlines(house: House) -> dict[str, Delay]:
    """Task uid → its deadline and price, for every open task whose lateness would make someone wait."""
    floor, stays = house.floor(), stays_ahead(house)
    courses = courses_of(floor, house.library, house.site, stays=stays, orders=orders_of(house))
    work = [need for course in courses.values() for need in course.work if need.deadline]
    return {need.uid: need.delays for need in priced(work, courses, stays, floor, house.site) if need.delays}


def deadline_facts(house: House, delay: Delay | None) -> dict[str, object]:
    """Keys a task bears in ``--json``: the deadline as an ISO time and the price in words; empty without one."""
    zone = house.site.farm.zone
    at: datetime | None = delay.deadline.astimezone(zone) if delay else None
    return {"deadline": at.isoformat() if at else None, "if_late": delay.words(zone) if delay else ""}
