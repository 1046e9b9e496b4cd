"""Accepted plans held against the ledger: what of them no longer holds, for lots present and for shipments still to come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from intake.app.queries.planning.accepted_plan import accepted_rows, promised
from intake.app.queries.planning.plan_question import framed
from intake.app.queries.planning.present_stock import broken_promises, freedoms, leaving
from intake.app.session import House
from intake.farm.floor import Stay
from intake.plan.answers.least_change_replan import lost_places

__all__ = ["LostPlace", "lost_placements", "no_longer_holds"]


@dataclass(frozen=True, slots=True)
class LostPlace:
    """A place an accepted plan gives a batch still to come, which it can no longer have.

    Attributes
    ----------
    start
        Day it was to be taken.
    because
        Who is in the vat or its water and until when, as far as that is what prevents it.
    """

    plan: str
    batch: str
    vat: str
    count: int
    start: date
    because: str

    def __str__(self) -> str:
        because = self.because or "the plan no longer fits the farm as it stands"
        return f"{self.plan} places {self.count} of {self.batch} in {self.vat} from {self.start}; {because}: plan again"

    def as_dict(self) -> dict[str, object]:
        """The same for ``--json``, with the sentence."""
        told = {"by": self.plan, "batch": self.batch, "vat": self.vat, "count": self.count}
        return {**told, "said": self.start.isoformat(), "free": None, "why": self.because, "words": str(self)}


def no_longer_holds(house: House) -> list[dict[str, object]]:
    """Every promise that no longer holds: lots that stay longer than was said, and places that shipments have lost."""
    return [*(one.as_dict() for one in broken_promises(house)), *(one.as_dict() for one in lost_placements(house))]


def lost_placements(house: House) -> tuple[LostPlace, ...]:
    """Places of batches still to come that current stock, rules or closures now forbid."""
    rows = accepted_rows(house)
    if not rows:
        return ()
    problem = framed(house)
    lost = set(lost_places(problem, promised(house, problem)))
    if not lost:
        return ()
    leave = leaving(house, freedoms(house, ahead=False))
    found: list[LostPlace] = []
    for batch in sorted(lost):
        mine = [_lost(row, _because(house, row, leave)) for row in rows if row["batch"] == batch]
        first = [_lost(row, "") for row in rows if row["batch"] == batch and row["stage"] != "grow-out"]
        found += [one for one in mine if one.because] or first
    return tuple(found)


def _lost(row: Mapping[str, Any], because: str) -> LostPlace:
    start = date.fromisoformat(str(row["from"]))
    return LostPlace(str(row["plan"]), str(row["batch"]), str(row["vat"]), int(row["count"]), start, because)


def _because(house: House, row: Mapping[str, Any], leave: Mapping[tuple[str, str], date]) -> str:
    """The lot that stands longest in the vat, or in its water for another supplier, past the day."""
    start = max(date.fromisoformat(str(row["from"])), house.today)
    far = date.max
    standing = [
        (leave.get((stay.batch, stay.vat), far), stay)
        for stay in house.floor().stays
        if _in_the_way(house, row, stay) and leave.get((stay.batch, stay.vat), far) > start
    ]
    if not standing:
        return ""
    until, stay = max(standing, key=lambda one: (one[0], one[1].batch))
    words = "with no day yet" if until == far else f"until {until} at the earliest"
    return f"{stay.vat} holds {stay.count} of {stay.batch} {words}"


def _in_the_way(house: House, row: Mapping[str, Any], stay: Stay) -> bool:
    vat = str(row["vat"])
    if stay.vat not in house.site.vats or vat not in house.site.vats:
        return False
    if stay.vat == vat:
        return True
    water, batches = house.site.vat(vat).system, house.floor().batches
    other = batches[stay.batch].supplier != batches[str(row["batch"])].supplier
    shared = house.site.systems[water].suppliers_share
    return stay.stage == "quarantine" and house.site.vat(stay.vat).system == water and other and not shared
