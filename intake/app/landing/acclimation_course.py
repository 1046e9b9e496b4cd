"""How each batch is brought from its bag to its vat: what is known of both waters, and the step table that follows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import hours_in_bag, lands_at
from intake.app.session import House
from intake.errors import BadInput, Finding, OutOfRange
from intake.farm.floor import Batch, Reading
from intake.farm.site import System
from intake.language import phrase
from intake.receiving.acclimation import (
    Acclimation,
    BagWater,
    Limits,
    Load,
    Step,
    Tub,
    VatWater,
    choose,
    expected_step,
    expected_water,
    load_of,
    recompute,
)

__all__ = [
    "BAGS_IN_A_BOX",
    "EXPECTED_BAG",
    "MODE_WORDS",
    "READ_AT_BAG",
    "READ_AT_TUB",
    "Course",
    "Logged",
    "acclimation_of",
    "bag_of",
    "bag_readings",
    "course_of",
    "limits_of",
    "log_reading",
    "table_now",
    "tub_of",
    "vat_water",
]

BAGS_IN_A_BOX = 4
"""Bags in one box, where the list does not say (design default, no source)."""

MOST_OPEN_MINUTES = {"fish": 60.0, "clam": 60.0}
"""Kind of animal → longest from opening a tub's first bag to placing its last animal before the table says so; 120 for
the others (A088 of the safety study: common practice, no source)."""

EXPECTED_BAG = {"below_vat_c": 2.0, "salinity_psu": 34.0, "ph": 6.7, "tan_n_mg_per_l": 1.0, "volume_l": 1.5}
"""What a bag is expected to hold before it is read.  pH 6.7 as after a day in simulated coral transit and 1.5 L as in a
clam export trial (read in S40 and S25 of the library's sources); the rest are design defaults.  The sheet says so."""

MODE_WORDS: Mapping[str, str] = {
    "float_then_transfer": phrase("match temperature, transfer"),
    "drip": phrase("drip, the tub fills"),
    "overflow": phrase("drip, the tub overflows"),
    "exchange": phrase("exchange in steps"),
    "damp_direct": phrase("packed damp: rinse, place"),
}
"""Modes in the few words that fit a table."""

READ_AT_TUB = ("temperature_c", "salinity_psu", "ph", "tan_n_mg_per_l", "volume_l", "o2_mg_per_l")
"""What can be read at a tub mid-way."""

READ_AT_BAG = frozenset(
    {
        *("temperature_c", "salinity_psu", "specific_gravity", "ph", "tan_n_mg_per_l", "alkalinity_meq_per_l"),
        *("damp", "bag_water_l", "hours_in_bag", "o2_mg_per_l"),
    }
)
"""What can be read of a bag; anything else noted on a batch or box is no reading of its water."""

_OPENING_HOURS = timedelta(hours=24)
"""A reading on a batch later than this after landing is no reading of its bag (design default)."""


def bag_readings(house: House, batch: Batch) -> dict[str, Reading]:
    """Quantity → last reading of the batch's bags, taken on the batch or one of its boxes around its landing.

    A hydrometer reading is in for a salinity that was not read.

    Raises
    ------
    OutOfRange
        A specific gravity that no sea water of the formula's range has.
    """
    mine = {batch.id, *(f"{batch.shipment}/{box}" for box in batch.boxes)}
    landed = lands_at(house, batch)
    read = {
        reading.quantity: reading
        for reading in house.measured(*mine)
        if reading.quantity in READ_AT_BAG
        and landed - timedelta(days=1) <= reading.at <= min(house.now, landed + _OPENING_HOURS)
    }
    gravity = read.get("specific_gravity")
    if gravity is not None and "salinity_psu" not in read:
        from intake.water.salinity import salinity_from_gravity

        salinity = salinity_from_gravity(gravity.value, gravity.scale)
        read["salinity_psu"] = replace(gravity, quantity="salinity_psu", value=salinity, scale="")
    return read


def bag_of(house: House, batch: Batch, system: System) -> BagWater:
    """The bag's water: read where someone read it (on the batch or one of its boxes), expected otherwise.

    ``damp`` (1 for a pack without water), ``bag_water_l`` and ``hours_in_bag`` may be read as well; the hours are
    otherwise counted from the packing time of the list to the first reading, or to the landing.
    """
    read = bag_readings(house, batch)

    def value(quantity: str, otherwise: float) -> float:
        return read[quantity].value if quantity in read else otherwise

    opened = min((one.at for one in read.values()), default=None)
    counted = hours_in_bag(house, batch, opened)
    if counted is None:
        counted = house.library.group(batch.group).bag_hours.amber
    damp = value("damp", 0.0) > 0
    return BagWater(
        temperature_c=value("temperature_c", system.temperature_c - EXPECTED_BAG["below_vat_c"]),
        salinity_psu=value("salinity_psu", EXPECTED_BAG["salinity_psu"]),
        ph=value("ph", EXPECTED_BAG["ph"]),
        ph_scale=read["ph"].scale if "ph" in read else "nbs",
        tan_n_mg_per_l=value("tan_n_mg_per_l", EXPECTED_BAG["tan_n_mg_per_l"]),
        volume_l=value("bag_water_l", 0.0 if damp else EXPECTED_BAG["volume_l"]),
        hours_in_bag=max(0.0, value("hours_in_bag", counted)),
        damp=damp,
        measured="temperature_c" in read and (damp or "salinity_psu" in read),
        alkalinity_meq_per_l=read["alkalinity_meq_per_l"].value if "alkalinity_meq_per_l" in read else None,
        o2_mg_per_l=read["o2_mg_per_l"].value if "o2_mg_per_l" in read else None,
    )


def vat_water(system: System) -> VatWater:
    """The water of a system as the farm file states it."""
    return VatWater(system.temperature_c, system.salinity_psu, system.ph_nbs, "nbs", system.alkalinity_meq_per_l)


def limits_of(house: House, batch: Batch) -> Limits:
    """What the batch's group bears."""
    group = house.library.group(batch.group)
    mode = group.acclimation.mode
    return Limits(
        max_c_per_h=group.change.max_c_per_h,
        max_psu_per_h=group.change.max_psu_per_h,
        hours_in_bag_amber=group.bag_hours.amber,
        hours_in_bag_red=group.bag_hours.red,
        preferred_mode=None if mode == "damp_direct" else mode,
        most_open_minutes=MOST_OPEN_MINUTES.get(group.kind, 120.0),
    )


def tub_of(house: House) -> Tub:
    """The smallest tub of the farm's acclimation stations, in their coldest room: a table for it goes into every one."""
    places = [station for station in house.site.stations.values() if station.kind == "acclimation"]
    rooms = [station.room_c for station in places if station.room_c is not None]
    return Tub(min(station.litres for station in places), room_c=min(rooms, default=None)) if places else Tub()


def load_in_box(house: House, batch: Batch) -> Load:
    """The animals of a batch in one of its boxes, as announced, in the bags of a box."""
    animals = -(-batch.announced // max(1, len(batch.boxes)))
    return load_of(house.library.group(batch.group), batch.size_mm, animals, BAGS_IN_A_BOX)


def acclimation_of(house: House, batch: Batch) -> Acclimation | None:
    """Mode, tubs and step table of one box of a batch, for its first vat.

    ``None`` while it has no vat, or its water is outside the formulas.
    """
    try:
        return _planned(house, batch)
    except OutOfRange:
        return None


def table_now(house: House, batch: Batch) -> Acclimation | None:
    """The table as it stands now, made again from what was read at the tub; ``None`` as :func:`acclimation_of`."""
    return None if acclimation_of(house, batch) is None else course_of(house, batch).now


def _planned(house: House, batch: Batch) -> Acclimation | None:
    vats = [str(row["vat"]) for row in accepted_rows(house) if row["batch"] == batch.id]
    vats += [stay.vat for stay in house.floor().stays if stay.batch == batch.id]
    if not vats or not batch.shipment:
        return None
    system = house.site.system_of(vats[0])
    facts = bag_of(house, batch, system), vat_water(system), limits_of(house, batch)
    return _chosen(*facts, load_in_box(house, batch), tub_of(house))


@lru_cache(maxsize=512)
def _chosen(bag: BagWater, vat: VatWater, limits: Limits, load: Load, tub: Tub) -> Acclimation:
    # sheets, checklists and run sheet ask for the same table; the carbonate system is solved once
    return choose(bag, vat, limits, load, tub)


@dataclass(frozen=True, slots=True)
class Logged:
    """A reading taken at the tub mid-way, beside what the table of that moment expected.

    Attributes
    ----------
    minute
        Since the table began.
    read
        Quantity (:data:`READ_AT_TUB`) → value.
    ph_scale
        Scale of the pH read, empty without one.
    expected
        The row that stood in the table then.
    """

    minute: int
    at: datetime
    who: str
    read: Mapping[str, float]
    ph_scale: str
    expected: Step


@dataclass(frozen=True, slots=True)
class Course:
    """The acclimation of a batch as planned, what was read on the way, and the table as it stands now."""

    planned: Acclimation
    logged: tuple[Logged, ...]
    now: Acclimation


def course_of(house: House, batch: Batch) -> Course:
    """Planned table, readings and table as made again from each of them.

    Raises
    ------
    BadInput
        The batch has no vat yet, or did not come in a bag.
    OutOfRange
        The water of bag or vat is outside the formulas; the range is named.
    """
    planned = _planned(house, batch)
    if planned is None:
        do = "Run `vatside plan --accept` first." if batch.shipment else "It was not brought in a bag."
        raise BadInput(
            Finding(f"batch {batch.id}", "no step table", "a batch that came with a shipment, and its vat", do)
        )
    course = Course(planned, (), planned)
    for minute, rows in sorted(_log_of(house, batch).items()):
        course = _with_reading(course, minute, rows)
    return course


_Rows = list[tuple[str, float, str, datetime, str]]


def _log_of(house: House, batch: Batch) -> dict[int, _Rows]:
    found: dict[int, _Rows] = {}
    for record in house.readings_of(batch.id):
        told = record.payload
        if record.subject == batch.id and "minute" in told and record.happened_at <= house.now:
            row = (
                str(told["read"]),
                float(str(told["value"])),
                str(told.get("scale") or ""),
                record.happened_at,
                record.who,
            )
            found.setdefault(int(str(told["minute"])), []).append(row)
    return found


def _with_reading(course: Course, minute: int, rows: _Rows) -> Course:
    read = {quantity: value for quantity, value, *_ in rows}
    scale = next((scale for quantity, _, scale, *_ in rows if quantity == "ph"), "")
    expected = expected_step(course.now, minute)
    water = _read_water(course.now, minute, read, scale)
    logged = Logged(minute, rows[-1][3], rows[-1][4], read, scale, expected)
    return Course(course.planned, (*course.logged, logged), recompute(course.now, minute, water))


def _read_water(table: Acclimation, minute: int, read: Mapping[str, float], scale: str) -> BagWater:
    """What was read, and for what was not the water expected at that minute."""
    water = expected_water(table, minute)
    if "ph" in read:
        water = replace(water, ph=read["ph"], ph_scale=scale)
    changed: Any = {name: value for name, value in read.items() if name != "ph"}
    return replace(water, **changed)


def log_reading(
    house: House,
    batch: Batch,
    minute: int,
    read: Mapping[str, float],
    *,
    ph_scale: str = "nbs",
    at: datetime | None = None,
    key: str = "",
) -> Course:
    """Write down what was read at the tub and make the table again from it.

    Parameters
    ----------
    minute
        Since the table began.
    read
        Quantity (:data:`READ_AT_TUB`) → value.

    Raises
    ------
    BadInput
        Nothing read, a minute off the table, a value no water has, or no table at all; nothing is written then.
    OutOfRange
        Outside the formulas; nothing is written then.
    """
    if not read:
        raise BadInput(Finding("--minute", str(minute), "what was read then", "Give --temp, --salinity or --ph."))
    moment = at or house.now
    rows = [(name, value, ph_scale if name == "ph" else "", moment, house.who) for name, value in read.items()]
    # tried before it is written, on the table as it stands
    _with_reading(course_of(house, batch), minute, rows)
    with house.act(key) as act:
        for name, value, scale, *_ in rows:
            told = {"quantity": f"{name} at minute {minute} of acclimation", "read": name, "minute": minute}
            act.note("reading", batch.id, {**told, "value": value, "scale": scale}, at=moment)
    return course_of(house, batch)
