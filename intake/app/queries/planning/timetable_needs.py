"""The work that must be done and by when: the timetable's question, gathered from farm and ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.queries.planning.landing_work import after_landing, hands_taken, settling_needs
from intake.app.queries.planning.published_timetable import broken_lags
from intake.app.session import House
from intake.farm.floor import Done, Stay
from intake.ledger import movements, vat_id
from intake.quarantine import Need, Orders, Prescription, needs_for
from intake.timetable import Conditions, PreparedWater, litres_by_count

__all__ = ["conditions_of", "needs", "orders_of", "stays_ahead"]


def stays_ahead(house: House) -> tuple[Stay, ...]:
    """Stays present and, for accepted plans whose shipment is still to come, those planned for quarantine and healing."""
    floor, facts = house.floor(), live_shipments(house)
    here, planned = {stay.batch for stay in floor.stays}, []
    for row in accepted_rows(house):
        batch = floor.batches.get(str(row["batch"]))
        if batch is None or batch.shipment in floor.received or batch.shipment not in facts:
            continue
        if batch.id in here:  # its receipt alone was taken back: the work on what stands there is not asked for twice
            continue
        if row["stage"] in {"quarantine", "healing"}:
            lands = datetime.fromisoformat(str(facts[batch.shipment]["lands"]))
            since = max(lands, house.now)
            planned.append(Stay(batch.id, str(row["vat"]), int(row["count"]), since, str(row["stage"])))
    return (*floor.stays, *planned)


def needs(house: House, stays: Sequence[Stay] | None = None, *, assumed: Sequence[Done] = ()) -> tuple[Need, ...]:
    """Everything the timetable must place from now on, for the stays present and planned unless others are given.

    Parameters
    ----------
    assumed
        Work taken as done though it is not recorded yet.
    """
    floor = house.floor()
    if assumed:
        recorded = {one.task for one in floor.done}
        floor = replace(floor, done=(*floor.done, *(one for one in assumed if one.task not in recorded)))
    standing = stays_ahead(house) if stays is None else stays
    found = needs_for(
        standing,
        floor,
        house.library,
        house.site,
        now=house.now,
        orders=orders_of(house),
    )
    return (*after_landing(house, found), *settling_needs(house, standing))


def orders_of(house: House) -> Orders:
    """What people ordered for lots, where their portions began, and which lags could not be kept."""
    return Orders(_asked(house), _prescriptions(house), _began(house), broken_lags(house))


def _prescriptions(house: House) -> dict[tuple[str, str], Prescription]:
    found = {}
    for record in house.latest("prescription").values():
        told: Mapping[str, Any] = record.payload
        if (told.get("prescriber") and told.get("reference")) or told.get("strength"):
            found[str(told["batch"]), str(told["dip"])] = Prescription(
                prescriber=str(told.get("prescriber") or ""),
                reference=str(told.get("reference") or ""),
                agent=str(told.get("agent") or ""),
                strength=str(told.get("strength") or ""),
                contact_min=told.get("contact_min"),
                contact_max=told.get("contact_max"),
            )
    return found


def _asked(house: House) -> dict[str, dict[str, str]]:
    asked: dict[str, dict[str, str]] = {}
    for record in house.latest("prescription").values():
        told = record.payload
        asked.setdefault(str(told["batch"]), {})[str(told["dip"])] = str(told.get("reason") or "ordered")
    return asked


def _began(house: House) -> dict[tuple[str, str], str]:
    """Vat a portion is in now → vat it was first placed in, so that its work keeps its name through moves."""
    began: dict[tuple[str, str], str] = {}
    for movement in movements(house.lately()):
        source, target = vat_id(movement.source), vat_id(movement.target)
        if source and target:
            began[movement.batch, target] = began.get((movement.batch, source), source)
    return began


def holidays_of(house: House, years: range) -> frozenset[date]:
    """Public holidays of the farm's country; empty when the farm names none."""
    return _holidays(house.site.farm.country, years.start, years.stop) if house.site.farm.country else frozenset()


@lru_cache(maxsize=64)
def _holidays(country: str, first: int, after: int) -> frozenset[date]:
    import holidays

    try:
        return frozenset(holidays.country_holidays(country, years=range(first, after)))
    except NotImplementedError:
        return frozenset()


def conditions_of(house: House, wanted: Sequence[Need]) -> Conditions:
    """What holds on the farm beside its file: holidays, dusk, mixed water."""
    return Conditions(
        holidays=holidays_of(house, range(house.today.year, house.today.year + 2)),
        dusk=dusk_of(house),
        prepared_water=mixed_water(house, wanted),
        taken={name: rows for name, rows in hands_taken(house).items() if name in house.site.people},
    )


def dusk_of(house: House) -> dict[date, time] | None:
    """When it is dark at the farm on each of the next hundred days; ``None`` when the farm does not say where it lies."""
    farm = house.site.farm
    if farm.latitude is None or farm.longitude is None:
        return None
    return {
        day: moment
        for offset in range(100)
        if (moment := _dusk(farm.latitude, farm.longitude, farm.zone, day := house.today + timedelta(days=offset)))
    }


@lru_cache(maxsize=4096)
def _dusk(latitude: float, longitude: float, zone: ZoneInfo, day: date) -> time | None:
    from intake.timetable.sun import dusk_times

    return dusk_times(latitude, longitude, zone, [day]).get(day)


def mixed_water(house: House, wanted: Sequence[Need]) -> PreparedWater | None:
    """What the mixing tank holds and what the work draws from it; ``None`` where the farm does not say."""
    mixing = house.site.mixing
    if mixing is None:
        return None
    drawn = litres_by_count(wanted, bath_l=mixing.bath_l, animals_a_bath=mixing.animals_a_bath)
    return PreparedWater(mixing.tank_l, mixing.refill_minutes, drawn)
