"""The timetable as published, read from the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.queries.planning.landing_work import landing_tasks
from intake.app.session import House
from intake.timetable import Task

__all__ = ["broken_lags", "contact_words", "published_tasks", "stored_tasks", "task_of"]


def contact_words(task: Mapping[str, Any]) -> str:
    """Minutes of contact as printed."""
    low, high = task.get("contact_min"), task.get("contact_max")
    if low is None and high is None:
        return ""
    if low == high or high is None:
        return f"{low:g} min"
    return f"{low:g}–{high:g} min"


def published_tasks(house: House) -> list[dict[str, object]]:
    """Tasks as published: the landing days' as they are kept, and those of the timetable, as plain data."""
    return [*landing_tasks(house), *stored_tasks(house)]


def stored_tasks(house: House) -> list[dict[str, object]]:
    """Tasks of the timetable as last published, without the landing days', as plain data."""
    record = house.last("timetable", "timetable")
    tasks = record.payload["tasks"] if record is not None else []
    return list(tasks) if isinstance(tasks, list | tuple) else []


def task_of(row: Mapping[str, Any]) -> Task:
    """A published task as the timetable knows it."""
    plain = dict(row)
    plain["start"] = datetime.fromisoformat(plain["start"])
    plain["end"] = datetime.fromisoformat(plain["end"])
    plain["staff"], plain["protection"] = tuple(plain["staff"]), tuple(plain["protection"])
    return Task(**plain)


def broken_lags(house: House) -> dict[str, list[str]]:
    """Batch → lags and limits of its protocol that could not be kept: such a lot may not be released."""
    record = house.last("timetable", "timetable")
    found: dict[str, list[str]] = {}
    if record is not None:
        pairs: Any = record.payload.get("broken") or []
        for batch, words in pairs:
            found.setdefault(str(batch), []).append(str(words))
    return found
