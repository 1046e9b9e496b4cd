"""The floor today: systems and their vats, who is in them, how full, what is due, and when lots are released."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.overview.due_work import due_counts
from intake.app.session import House
from intake.farm.floor import Floor, Stay
from intake.farm.site import System, Vat

__all__ = ["DockFact", "FloorFacts", "ReleaseFact", "StayFact", "SystemFact", "VatFact", "floor_facts", "releases"]


@dataclass(frozen=True, slots=True)
class ReleaseFact:
    """When a lot in quarantine is free at the earliest; ``days`` from today, ``None`` while a person must decide."""

    batch: str
    earliest: date | None
    days: int | None
    releasable: bool
    in_the_way: tuple[str, ...]
    why: tuple[str, ...]
    sooner: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StayFact:
    """Animals of one batch in one vat."""

    batch: str
    name: str
    count: int
    stage: str
    since: date
    held: str
    release: ReleaseFact | None


@dataclass(frozen=True, slots=True)
class VatFact:
    """One vat today.

    Attributes
    ----------
    full_percent
        Bench area its animals take, in percent of the vat's.
    late, due
        Pieces of work whose time has passed, and still to do today.
    empty_words
        What is known of an empty vat: never used, cleaned when, closed, kept in reserve.
    """

    vat: str
    name: str
    full_percent: float
    alive: int
    stays: tuple[StayFact, ...]
    late: int
    due: int
    empty_words: str


@dataclass(frozen=True, slots=True)
class SystemFact:
    """Vats that share water, with the water's last temperature (set point when none was read)."""

    system: str
    name: str
    role: str
    temperature_c: float
    read_on: date | None
    salinity_psu: float
    alive: int
    late: int
    due: int
    vats: tuple[VatFact, ...]


@dataclass(frozen=True, slots=True)
class DockFact:
    """Animals that came and are in no vat yet."""

    batch: str
    name: str
    count: int


@dataclass(frozen=True, slots=True)
class FloorFacts:
    """The whole floor, and its sums."""

    systems: tuple[SystemFact, ...]
    dock: tuple[DockFact, ...]
    alive: int
    in_quarantine: int
    late: int
    due: int


def releases(house: House) -> dict[str, ReleaseFact]:
    """Batch → when it is free, for every lot in quarantine or healing."""
    found = {}
    for row in release_rows(house):
        earliest = date.fromisoformat(row["earliest"]) if row["earliest"] else None
        days = None if earliest is None else (earliest - house.today).days
        in_the_way, why = tuple(row["stands_in_the_way"]), tuple(row["why"])
        found[row["batch"]] = ReleaseFact(
            row["batch"], earliest, days, row["releasable"], in_the_way, why, tuple(row["sooner"])
        )
    return found


def floor_facts(house: House) -> FloorFacts:
    """Everything the floor page shows."""
    floor = house.floor()
    free = releases(house)
    due = due_counts(house)
    held = {hold.batch: hold.reason for hold in floor.holds if not hold.lifted}
    systems = tuple(_system(house, floor, system, free, due, held) for system in house.site.systems.values())
    dock = tuple(
        DockFact(batch, floor.batches[batch].name, count)
        for (batch, place), count in house.alive().items()
        if place == "dock" and count > 0
    )
    return FloorFacts(
        systems=systems,
        dock=dock,
        alive=sum(one.alive for one in systems) + sum(one.count for one in dock),
        in_quarantine=sum(stay.count for stay in floor.stays if stay.stage == "quarantine"),
        late=sum(counts["late"] for counts in due.values()),
        due=sum(counts["due"] + counts["running"] for counts in due.values()),
    )


def _system(  # facts gathered once for all systems
    house: House,
    floor: Floor,
    system: System,
    free: Mapping[str, ReleaseFact],
    due: Mapping[str, Counter[str]],
    held: Mapping[str, str],
) -> SystemFact:
    vats = tuple(_vat(house, floor, vat, free, due, held) for vat in house.site.vats_of(system.id))
    own = due.get(system.id, Counter())
    read = [one for one in floor.readings if one.place == system.id and one.quantity == "temperature_c"]
    last = read[-1] if read else None
    return SystemFact(
        system=system.id,
        name=system.name,
        role=system.role,
        temperature_c=last.value if last else system.temperature_c,
        read_on=last.at.astimezone(house.site.farm.zone).date() if last else None,
        salinity_psu=system.salinity_psu,
        alive=sum(vat.alive for vat in vats),
        late=own["late"] + sum(vat.late for vat in vats),
        due=own["due"] + own["running"] + sum(vat.due for vat in vats),
        vats=vats,
    )


def _vat(  # as above
    house: House,
    floor: Floor,
    vat: Vat,
    free: Mapping[str, ReleaseFact],
    due: Mapping[str, Counter[str]],
    held: Mapping[str, str],
) -> VatFact:
    inside = floor.in_vat(vat.id)
    counts = due.get(vat.id, Counter())
    return VatFact(
        vat=vat.id,
        name=vat.name,
        full_percent=round(100.0 * sum(_bench_cm2(house, floor, stay) for stay in inside) / (vat.area_m2 * 1e4), 1),
        alive=sum(stay.count for stay in inside),
        stays=tuple(
            StayFact(
                batch=stay.batch,
                name=floor.batches[stay.batch].name,
                count=stay.count,
                stage=stay.stage,
                since=stay.since.astimezone(house.site.farm.zone).date(),
                held=held.get(stay.batch, ""),
                release=free.get(stay.batch) if stay.stage in {"quarantine", "healing"} else None,
            )
            for stay in inside
        ),
        late=counts["late"],
        due=counts["due"] + counts["running"],
        empty_words="" if inside else _empty_words(house, floor, vat),
    )


def _bench_cm2(house: House, floor: Floor, stay: Stay) -> float:
    batch = floor.batches[stay.batch]
    return house.library.group(batch.group).footprint.of(batch.size_mm) * stay.count


def _empty_words(house: House, floor: Floor, vat: Vat) -> str:
    if not vat.open_on(house.today):
        return "closed"
    if vat.reserve:
        return "kept in reserve"
    cleaned = floor.cleaned.get(vat.id)
    if cleaned is None:
        return "empty"
    day = cleaned.astimezone(house.site.farm.zone).date()
    ready = day + timedelta(days=vat.fallow_days)
    return (
        f"dry since {day:%d %b}, ready"
        if ready <= house.today
        else f"dry since {day:%d %b}, fallow until {ready:%d %b}"
    )
