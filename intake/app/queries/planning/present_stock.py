"""The present as the plan is reported it: who stands where, until when by the ledger, and which promise no longer holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from typing import Any, Final

from intake.app.queries.planning.accepted_plan import accepted_rows, last_accepted
from intake.app.queries.planning.timetable_needs import orders_of, stays_ahead
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Freedom, Stay
from intake.ledger import Movement, netted
from intake.plan.framing import Commitment
from intake.quarantine import free_from

__all__ = [
    "LEAST_WEEKS",
    "LOOK_BACK_WEEKS",
    "BrokenPromise",
    "Rate",
    "broken_promises",
    "commitments",
    "freedoms",
    "leaving",
    "sales_by_group",
    "sales_counted",
    "standing_facts",
    "to_clear",
    "weeks_of",
]

Free = Mapping[tuple[str, str], Freedom]
"""(batch, stage) → from when it is free."""

_PASSING = ("quarantine", "healing")
"""Stages a batch leaves for a place its plan keeps for it."""


LOOK_BACK_WEEKS: Final = 26
LEAST_WEEKS: Final = 4
"""Weeks over which sales are counted, and of sales on record that are enough for a rate (design defaults)."""

_ONE_IN_TWENTY: Final = 1.645


@dataclass(frozen=True, slots=True)
class BrokenPromise:
    """What an accepted plan, or a promise to clear a vat, said of a present lot, and what the ledger says now.

    Attributes
    ----------
    by
        Plan id, or ``clear`` for a promise to clear the vat.
    said
        Day the vat was to be free of the batch.
    free
        Day it is free at the earliest; ``None`` while no one can say.
    why
        Why there is no day, or which lot sets it.
    released
        Whether it is free already and is there still.
    """

    by: str
    batch: str
    vat: str
    count: int
    said: date
    free: date | None
    why: str
    released: bool = False

    def __str__(self) -> str:
        start = f"{self.by} said {self.vat} empty of {self.batch} on {self.said}; "
        if self.by == "clear":
            start = f"{self.vat} was to be cleared of {self.batch} by {self.said}; "
        if self.free is None:
            return f"{start}no day yet: {self.why}: plan again"
        if self.released or self.free <= self.said:
            return f"{start}{self.count} are still there: move them, or plan again"
        return f"{start}free on {self.free} at the earliest: plan again"

    def as_dict(self) -> dict[str, object]:
        """The same for ``--json``, with the sentence."""
        free = self.free.isoformat() if self.free else None
        told = {"by": self.by, "batch": self.batch, "vat": self.vat, "count": self.count, "said": self.said.isoformat()}
        return {**told, "free": free, "why": self.why, "words": str(self)}


def freedoms(house: House, *, ahead: bool = True) -> Free:
    """From when every lot is released, by (batch, stage).

    Parameters
    ----------
    ahead
        Whether lots of accepted plans count that are still to come: they prolong those whose water they enter, and have an
        end of their own.  Without them: what is there now.
    """
    stays = stays_ahead(house) if ahead else None
    return free_from(house.floor(), house.library, house.site, stays=stays, orders=orders_of(house))


def standing_facts(house: House) -> dict[str, Any]:
    """What the plan must know of current stock: places saved for it, when it leaves or is free, what may move or be sold."""
    free = freedoms(house, ahead=False)
    movable = {batch for batch, record in house.latest("standing").items() if record.payload.get("movable")}
    sales = {group: rate.a_week for group, rate in sales_counted(house).items()}
    return {
        "commitments": commitments(house, free),
        "leave": leaving(house, free),
        "free": free,
        "movable": movable,
        "sales": sales,
    }


def leaving(house: House, free: Free) -> dict[tuple[str, str], date]:
    """(batch, vat) → the farm day on which what is there now will be gone; left out where nothing says so.

    A lot in quarantine leaves when it is free.  Stock beyond stays until a promise to clear its vat, or the days its plan
    saved for it; a day that has passed says nothing, for the animals still are there.
    """
    found = {}
    for stay, said, _ in _said(house):
        free_on = _free_on(house, free, stay)
        if free_on is not None and said is not None:
            found[stay.batch, stay.vat] = max(free_on, said)
        elif free_on is not None and stay.stage == "quarantine":
            found[stay.batch, stay.vat] = free_on
    return {spot: day for spot, day in found.items() if day > house.today or _in_quarantine(house, spot)}


def commitments(house: House, free: Free) -> tuple[Commitment, ...]:
    """Places accepted plans keep for present lots after quarantine or healing, moved along with the day they are free.

    A lot without a day keeps its place from the day planned, tomorrow at the earliest.
    """
    floor = house.floor()
    left: dict[str, int] = {}
    for stay in floor.stays:
        if stay.stage in _PASSING:
            left[stay.batch] = left.get(stay.batch, 0) + stay.count
    found = []
    for row in accepted_rows(house):
        batch = str(row["batch"])
        if row["stage"] in _PASSING or not left.get(batch):
            continue
        count = min(int(row["count"]), left[batch])
        left[batch] -= count
        days = _until(row) - _from(row)
        told = [free[batch, stage] for stage in _PASSING if (batch, stage) in free]
        free_on = [one.day(house.site.farm.zone, house.today) for one in told]
        start = max([house.today + timedelta(days=1), *(day if day else _from(row) for day in free_on)])
        found.append(Commitment(batch, str(row["vat"]), str(row["stage"]), count, start, start + days))
    return tuple(found)


def broken_promises(house: House) -> tuple[BrokenPromise, ...]:
    """Promises of accepted plans, and to clear vats, that what is there now no longer keeps.

    A promise whose day had passed when the last plan was accepted is none any more: that plan was made with the animals
    where they still were.
    """
    free = freedoms(house)
    agreed = last_accepted(house)
    found = []
    for stay, said, by in _said(house, quarantine=True):
        if said is None or (agreed is not None and said < agreed):
            continue
        told = free.get((stay.batch, stay.stage))
        free_on = _free_on(house, free, stay)
        if free_on is not None and free_on <= said and house.today <= said:
            continue
        why = "" if told is None else "; ".join(told.unknown) or f"{told.set_by} sets the day"
        out = told is not None and told.free_from is not None and told.free_from <= house.now
        found.append(BrokenPromise(by, stay.batch, stay.vat, stay.count, said, free_on, why, out))
    return tuple(found)


def _free_on(house: House, free: Free, stay: Stay) -> date | None:
    told = free.get((stay.batch, stay.stage))
    return None if told is None else told.day(house.site.farm.zone, house.today)


def _in_quarantine(house: House, spot: tuple[str, str]) -> bool:
    return any((stay.batch, stay.vat) == spot and stay.stage == "quarantine" for stay in house.floor().stays)


def _said(house: House, *, quarantine: bool = False) -> Iterator[tuple[Stay, date | None, str]]:
    """Each present stay with the day it was promised to end and by whom; ``quarantine``: what plans say of it counts too."""
    rows: dict[str, list[Mapping[str, Any]]] = {}
    for row in accepted_rows(house):
        rows.setdefault(str(row["batch"]), []).append(row)
    cleared = house.latest("standing")
    for stay in house.floor().stays:
        leaves = _cleared(cleared[stay.batch].payload, stay.vat) if stay.batch in cleared else None
        planned = _planned_end(stay, rows.get(stay.batch, ()), house)
        if leaves:
            yield stay, date.fromisoformat(str(leaves)), "clear"
        elif planned is None or (stay.stage == "quarantine" and not quarantine):
            yield stay, None, ""
        else:
            yield stay, planned[0], planned[1]


def to_clear(house: House) -> set[tuple[str, str]]:
    """(batch, vat) of the present stock that someone promised to clear away."""
    return {(stay.batch, stay.vat) for stay, _, by in _said(house) if by == "clear"}


def _cleared(payload: Mapping[str, Any], vat: str) -> str | None:
    """Day by which a vat was promised to be clear of a batch; a stocktake names one for the batch, whatever its vat."""
    day = payload["vats"].get(vat) if payload.get("vats") else payload.get("leaves")
    return str(day) if day else None


def _planned_end(stay: Stay, rows: Sequence[Mapping[str, Any]], house: House) -> tuple[date, str] | None:
    """The day its plan ends a stay: beyond quarantine, its days counted from when the animals really came."""
    passing = stay.stage in _PASSING
    mine = [row for row in rows if (row["stage"] in _PASSING) == passing]
    mine = [row for row in mine if row["vat"] == stay.vat] or ([] if passing else mine)
    if not mine:
        return None
    since = stay.since.astimezone(house.site.farm.zone).date()
    ends = [(_until(row) if passing else max(_until(row), since + (_until(row) - _from(row)))) for row in mine]
    return max(ends), str(mine[0].get("plan") or "the plan")


def _from(row: Mapping[str, Any]) -> date:
    return date.fromisoformat(str(row["from"]))


def _until(row: Mapping[str, Any]) -> date:
    return date.fromisoformat(str(row["until"]))


@dataclass(frozen=True, slots=True)
class Rate:
    """Animals of a group sold a week that a plan counts on, and where the figure is from, in words."""

    a_week: float
    source: str


def sales_by_group(house: House) -> Mapping[str, list[Movement]]:
    """Group → its sales on record; a sale taken back is none, as in the report of sales."""
    sold: defaultdict[str, list[Movement]] = defaultdict(list)
    group_of = {batch.id: batch.group for batch in house.floor().batches.values()}
    for one in netted(house.stream(*house.view.ended_in("sold"))):
        if one.target == "sold" and one.batch in group_of and one.happened_at <= house.now:
            sold[group_of[one.batch]].append(one)
    return sold


def weeks_of(house: House, sales: list[Movement]) -> tuple[float, int]:
    """Weeks since the first of these sales, or those looked back on if they are fewer, and the animals sold in them."""
    begun = house.now - timedelta(weeks=LOOK_BACK_WEEKS)
    first = min((one.happened_at for one in sales), default=house.now)
    weeks = (house.now - max(first, begun)) / timedelta(weeks=1)
    return weeks, sum(one.count for one in sales if one.happened_at >= begun)


def sales_counted(house: House) -> dict[str, Rate]:
    """Group → what a plan may count on to be sold of its present stock: what the farm file says, else the record where asked for.

    From the record it is the rate that one in twenty such records would fall below: the square root of a count varies by about
    a half (variance-stabilising transformation of the Poisson distribution; Anscombe 1948, from memory).

    Raises
    ------
    BadInput
        The farm file gives sales of a group that is not in the library.
    """
    planning = house.site.planning
    unknown = [group for group in planning.sales_per_week if group not in house.library.groups]
    if unknown:
        where = [f"farm.toml, planning, sales_per_week, {group}" for group in unknown]
        raise BadInput([Finding(at, group, "a group of the library") for at, group in zip(where, unknown, strict=True)])
    found = {group: Rate(rate, "farm.toml") for group, rate in planning.sales_per_week.items()}
    if planning.count_sales == "record":
        for group, sales in sorted(sales_by_group(house).items()):
            weeks, count = weeks_of(house, sales)
            rate = max(0.0, sqrt(count) - _ONE_IN_TWENTY / 2) ** 2 / weeks if weeks >= LEAST_WEEKS else 0.0
            if group not in found and rate > 0:
                found[group] = Rate(round(rate, 2), f"{count} sold in {weeks:.0f} weeks, counted low")
    return found
