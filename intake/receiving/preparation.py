"""What to have ready for a receiving day, hour by hour: mixed water and salt, tubs and buckets, people."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from math import ceil
from typing import Any

from intake.errors import BadInput, Finding
from intake.receiving.solution import DayPlan
from intake.water.dosing import salt_for

__all__ = ["DipBaths", "HourNeed", "Preparation", "WaterNeed", "acclimation_water_l", "prepare", "water_to_prepare_l"]

RINSE_BAGS = 1.0
"""Bag volumes of new water to rinse with (design default, no source)."""
BUCKET_L = 20.0
BATHS_PER_BUCKET = 3
"""A dip bucket and how often it is made up anew in a day (design default, no source)."""


@dataclass(frozen=True, slots=True)
class DipBaths:
    """Dip buckets: how many, how large, and how often each is made up in the day."""

    buckets: int
    litres: float = BUCKET_L
    baths: int = BATHS_PER_BUCKET

    @property
    def water_l(self) -> float:
        """Water of all baths, liters."""
        return self.buckets * self.litres * self.baths


@dataclass(frozen=True, slots=True)
class WaterNeed:
    """Water of one temperature and salinity, with the salt and fresh water it is mixed of."""

    litres: float
    temperature_c: float
    salinity_psu: float
    salt_kg: float
    fresh_water_l: float


@dataclass(frozen=True, slots=True)
class HourNeed:
    """What one hour takes: water drawn in it with its salt, and the most tubs, buckets and people at any one moment.

    ``waters`` are the kinds of water the hour's liters are made of: tubs are filled at the bag's own temperature and
    salinity, dripped into with the vat's.
    """

    starts: datetime
    mixed_water_l: float
    salt_kg: float
    tubs: int
    buckets: int
    people: int
    names: tuple[str, ...]
    waters: tuple[WaterNeed, ...] = ()


@dataclass(frozen=True, slots=True)
class Preparation:
    """The preparation list of a day.

    ``ready_before_l`` is what must stand mixed when the day opens if no more is mixed later; it holds the reserve.
    """

    hours: tuple[HourNeed, ...]
    acclimation_l: float
    dip_l: float
    reserve_l: float
    salinity_psu: float
    temperature_c: float
    salt_kg: float
    fresh_water_l: float
    most_tubs: int
    most_buckets: int
    most_people: int
    drawn: tuple[tuple[datetime, float], ...] = ()

    @property
    def ready_before_l(self) -> float:
        """All mixed water of the day with the reserve, liters."""
        return self.acclimation_l + self.dip_l + self.reserve_l

    def as_dict(self) -> dict[str, Any]:
        """The list as plain data, for ``--json`` and for the printed sheet."""
        rows = asdict(self)
        rows["hours"] = [
            {**asdict(hour), "starts": hour.starts.isoformat(), "names": list(hour.names)} for hour in self.hours
        ]
        rows["ready_before_l"] = self.ready_before_l
        del rows["drawn"]
        return rows

    def lacking(self, tank_l: float, refill_minutes: int) -> tuple[str, ...]:
        """Where a mixing tank that is full again after so many minutes lacks water, in sentences.

        References
        ----------
        Arithmetic: what is drawn within one refill against what the tank holds; the reserve is not drawn.
        """
        said, last = [], None
        for at, _ in self.drawn:
            until = at + timedelta(minutes=refill_minutes)
            whole = sum(litres for when, litres in self.drawn if at <= when < until)
            if whole > tank_l + 1e-6 and (last is None or at >= last):
                last = until
                said.append(
                    f"The mixing tank holds {tank_l:.0f} L; from {at:%H:%M} to {until:%H:%M} {whole:.0f} L are drawn: "
                    f"{whole - tank_l:.0f} L more must stand ready."
                )
        return tuple(said)


def acclimation_water_l(bags: int, bag_water_l: float, bag_volumes: float, rinse_volumes: float = RINSE_BAGS) -> float:
    """Mixed water to acclimate and rinse so many bags, liters: bags × bag water × (k + rinse).

    Parameters
    ----------
    bags, bag_water_l
        Number of bags and liters of water in one.
    bag_volumes
        k, bag volumes of new water added during acclimation, 0 or more.
    rinse_volumes
        Bag volumes of new water to rinse with.

    Raises
    ------
    BadInput
        For negative numbers.

    References
    ----------
    Arithmetic; 1 rinse volume is a design default, no source.

    Examples
    --------
    >>> acclimation_water_l(bags=480, bag_water_l=1.5, bag_volumes=2)
    2160.0
    """
    given = {"bags": bags, "bag water, L": bag_water_l, "bag volumes": bag_volumes, "rinse volumes": rinse_volumes}
    faults = [Finding(name, f"{value:g}", "0 or more") for name, value in given.items() if not value >= 0]
    if faults:
        raise BadInput(faults)
    return float(bags * bag_water_l * (bag_volumes + rinse_volumes))


def water_to_prepare_l(acclimation_l: float, baths: Iterable[DipBaths], reserve_l: float) -> float:
    """Mixed water of a day, liters: acclimation and rinse, dip baths, one vat volume in reserve.

    References
    ----------
    Arithmetic; the reserve of one vat volume is a design default, no source.

    Examples
    --------
    >>> water_to_prepare_l(2160.0, [DipBaths(8)], 1000.0)
    3640.0
    """
    return acclimation_l + sum(bath.water_l for bath in baths) + reserve_l


def prepare(
    plan: DayPlan,
    *,
    salinity_psu: float,
    temperature_c: float,
    reserve_l: float,
    dip_litres: float = BUCKET_L,
    baths_per_bucket: int = BATHS_PER_BUCKET,
    moisture_factor: float = 1.0,
) -> Preparation:
    """The preparation list of a planned day.

    Parameters
    ----------
    plan
        The day; each box draws its ``water_l`` when its acclimation starts.
    salinity_psu, temperature_c
        Of the water to mix, PSU and °C.
    reserve_l
        One vat volume, liters.
    dip_litres, baths_per_bucket
        One bucket stands at each dip place in use and is made up so often in the day, at least once an hour of use.
    moisture_factor
        kg of salt mix per kg of anhydrous salt, as for :func:`intake.water.dosing.salt_for`.

    Raises
    ------
    BadInput, OutOfRange
        From the salt arithmetic, for a salinity or temperature outside its range.

    References
    ----------
    TEOS-10 through :func:`intake.water.dosing.salt_for`; buckets are a design default, no source.
    """
    kind = (round(temperature_c, 1), round(salinity_psu, 1))
    spread = _spread(plan, dip_litres, baths_per_bucket)
    draws = _draws(plan, kind)
    hours = tuple(_hour(plan, start, draws, (spread.get(start, 0.0), kind), moisture_factor) for start in _hours(plan))
    acclimation, dips = sum(draw[1] for draw in draws), sum(spread.values())
    reserve = _mixed(reserve_l, kind, moisture_factor)
    waters = [reserve, *(water for hour in hours for water in hour.waters)]
    return Preparation(
        hours=hours,
        acclimation_l=acclimation,
        dip_l=dips,
        reserve_l=reserve_l,
        salinity_psu=salinity_psu,
        temperature_c=temperature_c,
        salt_kg=sum(water.salt_kg for water in waters),
        fresh_water_l=sum(water.fresh_water_l for water in waters),
        most_tubs=max((hour.tubs for hour in hours), default=0),
        most_buckets=max((hour.buckets for hour in hours), default=0),
        most_people=max((hour.people for hour in hours), default=0),
        drawn=tuple(
            sorted([(at, litres) for at, litres, _ in draws] + [(at, litres) for at, litres in spread.items()])
        ),
    )


_Kind = tuple[float, float]
"""Temperature and salinity, to a tenth."""


def _draws(plan: DayPlan, kind: _Kind) -> list[tuple[datetime, float, _Kind]]:
    """Every draw of acclimation water: when, liters, and what water."""
    starts = {step.box: step.start for step in plan.steps if step.step == "acclimate"}
    rows: list[tuple[datetime, float, _Kind]] = []
    for box in plan.problem.boxes:
        if box.box not in starts:
            continue
        if not box.draws and box.water_l:
            rows.append((starts[box.box], box.water_l, kind))
        for draw in box.draws:
            at = (starts[box.box].astimezone(UTC) + timedelta(minutes=draw.after_minutes)).astimezone(
                starts[box.box].tzinfo
            )
            rows.append((at, draw.litres, (round(draw.temperature_c, 1), round(draw.salinity_psu, 1))))
    return sorted(rows)


def _mixed(litres: float, kind: _Kind, moisture_factor: float) -> WaterNeed:
    """So much of one water, with its salt and fresh water."""
    if litres <= 0:
        return WaterNeed(0.0, *kind, 0.0, 0.0)
    mix = salt_for(litres, kind[1], kind[0], moisture_factor)
    return WaterNeed(litres, *kind, mix.salt_kg, mix.fresh_water_l)


def _hours(plan: DayPlan) -> list[datetime]:
    """Full hours of the farm's clock from the first step to the last, counted in absolute time."""
    if not plan.steps:
        return []
    first = min(plan.steps, key=lambda step: step.start.astimezone(UTC)).start.replace(
        minute=0, second=0, microsecond=0
    )
    last = max(step.end.astimezone(UTC) for step in plan.steps)
    start, zone, rows = first.astimezone(UTC), first.tzinfo, []
    while start < last:
        rows.append(start.astimezone(zone))
        start += timedelta(hours=1)
    return rows


def _within(at: datetime, start: datetime) -> bool:
    since = at.astimezone(UTC) - start.astimezone(UTC)
    return timedelta(0) <= since < timedelta(hours=1)


def _most(spans: Iterable[tuple[datetime, datetime]], start: datetime) -> int:
    """Most spans that overlap at one moment of the hour."""
    begin = start.astimezone(UTC)
    end = begin + timedelta(hours=1)
    rows = [(one.astimezone(UTC), other.astimezone(UTC)) for one, other in spans]
    rows = [row for row in rows if row[0] < end and row[1] > begin]
    return max((sum(one <= max(mark, begin) < other for one, other in rows) for mark, _ in rows), default=0)


def _hour(
    plan: DayPlan,
    start: datetime,
    draws: Iterable[tuple[datetime, float, _Kind]],
    dips: tuple[float, _Kind],
    moisture_factor: float,
) -> HourNeed:
    kinds: dict[_Kind, float] = {}
    for at, litres, kind in draws:
        if _within(at, start):
            kinds[kind] = kinds.get(kind, 0.0) + litres
    if dips[0]:
        kinds[dips[1]] = kinds.get(dips[1], 0.0) + dips[0]
    waters = tuple(_mixed(litres, kind, moisture_factor) for kind, litres in sorted(kinds.items()))
    people = sorted(
        {
            person
            for step in plan.steps
            for person in step.people
            if step.hands_until > step.start and _most([(step.start, step.hands_until)], start)
        }
    )
    return HourNeed(
        starts=start,
        mixed_water_l=sum(water.litres for water in waters),
        salt_kg=sum(water.salt_kg for water in waters),
        tubs=_most(((s.start, s.end) for s in plan.steps if s.step == "acclimate" for _ in s.lanes or ("",)), start),
        buckets=_most(((step.start, step.end) for step in plan.steps if step.step == "dip"), start),
        people=_most(((step.start, step.hands_until) for step in plan.steps if step.people), start),
        names=tuple(people),
        waters=waters,
    )


def _spread(plan: DayPlan, dip_litres: float, baths: int) -> dict[datetime, float]:
    """Dip water by hour: each dip place in use makes its bath up again, spread evenly over the hours it is used in."""
    used: dict[str, list[datetime]] = {}
    for start in _hours(plan):
        for lane in sorted({step.lane for step in plan.steps if step.step == "dip"}):
            if any(step.lane == lane and _most([(step.start, step.end)], start) for step in plan.steps):
                used.setdefault(lane, []).append(start)
    water: dict[datetime, float] = {}
    for hours in used.values():
        made = ceil(max(baths, len(hours)) / len(hours))
        for start in hours:
            water[start] = water.get(start, 0.0) + made * dip_litres
    return water
