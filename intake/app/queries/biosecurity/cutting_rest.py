"""Healing after a cut and rest before the next, read from the ledger."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.session import House
from intake.ledger import movements
from intake.plan.framing import HEALING_DAYS

__all__ = ["cut_not_before", "healed_at", "healing_words"]


def healed_at(since: datetime) -> datetime:
    """When cuttings made at a moment have healed."""
    return since + timedelta(days=HEALING_DAYS)


def healing_words(house: House, since: datetime) -> tuple[str, ...]:
    """That cuttings made at a moment still heal, in words; empty once they have."""
    until = healed_at(since)
    words = f"fresh cuttings heal until {until.astimezone(house.site.farm.zone):%Y-%m-%d}"
    return (words,) if house.now < until else ()


_CUT_REST_DAYS = 60  # design default: days before the same parent is cut again


def cut_not_before(house: House, parent: str) -> datetime | None:
    """Date before which a parent should not be cut again; ``None`` if it never was."""
    children = {record.subject for record in house.about("batch", parent)}
    cuts = [m.happened_at for m in movements(house.stream(*children)) if m.source == "cut-from"]
    return max(cuts) + timedelta(days=_CUT_REST_DAYS) if cuts else None
