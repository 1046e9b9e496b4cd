"""The farm as its owner describes it in ``farm.toml``: systems, vats, stations, people, suppliers and their terms."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from functools import cache
from typing import Annotated, Literal, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, Field, model_validator

from intake.errors import UnknownName
from intake.farm.agreement import Agreed, ClaimAgreement, Mail, terms_on
from intake.farm.mixing_tank import Mixing
from intake.farm.named import US_KEYS, Named
from intake.farm.recurrence import ALL_DAYS, Closed, Leave, Recurs, Weekday, works_on
from intake.farm.routine import Routine
from intake.farm.shown_units import FarmUnits
from intake.farm.working import Working
from intake.library.library_values import Strict

__all__ = [
    "ALL_DAYS",
    "US_KEYS",
    "Agreed",
    "Closed",
    "Farm",
    "Leave",
    "Mail",
    "Mixing",
    "Person",
    "Planning",
    "Receiving",
    "Recurs",
    "Routine",
    "Site",
    "Station",
    "Supplier",
    "System",
    "Vat",
    "Working",
]

Entry = TypeVar("Entry")


@cache
def _zones() -> frozenset[str]:
    """Every zone there is: found by walking the tables on the disk, so once a process."""
    return frozenset(available_timezones())


def _zone(name: str) -> str:
    if name not in _zones():
        msg = "an IANA time zone such as 'Europe/Lisbon' or 'America/New_York'"
        raise ValueError(msg)
    return name


Zone = Annotated[str, AfterValidator(_zone)]


class Farm(Strict):
    """Name, place and habits of the farm."""

    name: str = Field(min_length=1, max_length=120)
    time_zone: Zone
    note: str = ""
    units: Literal["si", "us"] = "si"
    salinity: Literal["", "psu", "ppt", "sg 20C/4C", "sg 20C/20C", "sg 25C/25C", "sg 15C/4C", "sg 60F/60F"] = (
        ""  # empty: PSU, and ppt on a farm of US units
    )
    language: Literal["en", "es", "es-419"] = "en"
    country: str = Field(default="", pattern=r"^([A-Z]{2})?$")
    latitude: float | None = Field(default=None, ge=-66.0, le=66.0)
    longitude: float | None = Field(default=None, ge=-180.0, le=180.0)
    paper: Literal["a4", "letter"] = "a4"
    emergency: str = ""
    count_page: str = ""
    """Address of the board on the farm's network, printed in QR codes; empty: the code holds the batch only."""
    store: str = Field(default="", pattern=r"^(postgresql://.+)?$")  # empty: farm.db in the folder
    site: str = Field(default="", pattern=r"^([A-Za-z0-9][A-Za-z0-9_.-]{0,39})?$")  # whose entries, in a shared store

    @property
    def zone(self) -> ZoneInfo:
        """The farm's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def measures(self) -> FarmUnits:
        """The units the farm reads and writes in."""
        return FarmUnits(self.units, self.salinity or ("ppt" if self.units == "us" else "psu"))


class Receiving(Strict):
    """When and how the receiving team works."""

    opens: time = time(8)
    closes: time = time(18)
    days: tuple[Weekday, ...] = ALL_DAYS
    also: tuple[Recurs, ...] = ()
    closed: tuple[Closed, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> Receiving:
        if self.opens.tzinfo or self.closes.tzinfo or self.opens >= self.closes:
            msg = "opens before closes, on the same day, as '08:00'"
            raise ValueError(msg)
        return self

    def works_on(self, day: date) -> bool:
        """Whether the team receives on ``day``."""
        return works_on(day, self.days, self.also, self.closed)


class Planning(Strict):
    """Defaults of this program of the vat plan.

    Attributes
    ----------
    max_vats_per_batch
        At most so many vats for one batch in one stage.
    min_portion
        Fewest animals of a batch put into one vat (a smaller batch stays together).
    headroom_percent
        Bench area kept free in every vat.
    new_filter_percent
        Share of its ammonia budget that a system may use until its filter has matured.
    optional_dips
        Ids of optional dips this farm has switched on.
    growth
        ``library``: the plan counts animals to grow as their group does; ``none``: at the size they came with.
    count_sales
        ``record``: present stock is counted to get less by sales as its group's on record; ``none``: it is not.
    sales_per_week
        Group → its animals sold a week, for the farm that knows better than its record; counted whatever ``count_sales`` says.
    """

    max_vats_per_batch: int = Field(default=4, ge=1, le=20)
    min_portion: int = Field(default=10, ge=1)
    headroom_percent: float = Field(default=0.0, ge=0.0, lt=100.0)
    new_filter_percent: float = Field(default=40.0, gt=0.0, le=100.0)
    optional_dips: tuple[str, ...] = ()
    growth: Literal["none", "library"] = "none"
    count_sales: Literal["none", "record"] = "none"
    sales_per_week: Mapping[str, Annotated[float, Field(gt=0.0)]] = Field(default_factory=dict)


class Supplier(ClaimAgreement, Named):
    """A supplier and the terms agreed for claims."""

    currency: str = Field(pattern=r"^[A-Z]{3}$")
    time_zone: Zone
    terms: tuple[Agreed, ...] = ()
    contact: str = ""
    email: str = Field(default="", max_length=200, pattern=r"^([^@\s<>,]+@[^@\s<>,]+)?$")

    def agreed_on(self, day: date) -> Supplier:
        """The supplier with the terms that hold for a shipment received on ``day``."""
        return terms_on(self, self.terms, day)


class Person(Named):
    """Someone who works at the vats, with what they may do and when.

    Attributes
    ----------
    until
        Last working day of someone who leaves; their calendar is closed after it.
    time_zone
        Zone in which their calendar is written, where it is not the farm's.
    language
        Language of their calendar and of their round sheet, where it is not the farm's.
    """

    role: Literal["owner", "keeper", "helper", "read-only"] = "keeper"
    skills: tuple[str, ...] = ("dip", "inspect")
    days: tuple[Weekday, ...] = ALL_DAYS
    also: tuple[Recurs, ...] = ()
    starts: time = time(8)
    ends: time = time(17)
    leave: tuple[Leave, ...] = ()
    until: date | None = None
    time_zone: str = Field(default="", pattern=r"^[A-Za-z0-9_+/-]{0,64}$")
    language: Literal["", "en", "es", "es-419"] = ""

    @model_validator(mode="after")
    def _ordered(self) -> Person:
        if self.starts.tzinfo or self.ends.tzinfo or self.starts >= self.ends:
            msg = "starts before ends, on the same day, as '08:00'"
            raise ValueError(msg)
        return self

    def works_on(self, day: date) -> bool:
        """Whether the person has a shift on ``day``: one of their days or a return of ``also``, and no leave."""
        stays = self.until is None or day <= self.until
        return stays and works_on(day, self.days, self.also, self.leave)


class Station(Named):
    """A place where boxes are opened, animals acclimated, dipped or inspected; ``places`` work side by side.

    Attributes
    ----------
    litres
        What one tub of an acclimation station holds; the animals in it are counted by it.
    room_c
        Temperature of the room: what a tub loses to it sizes its heater.
    """

    kind: Literal["opening", "acclimation", "dip", "inspection"]
    places: int = Field(default=1, ge=1, le=100)
    litres: float = Field(default=20.0, ge=10.0, le=2000.0)
    room_c: float | None = Field(default=None, ge=-5.0, le=45.0)


class System(Named):
    """Vats that share water: the unit of exposure.

    Attributes
    ----------
    ph_nbs
        What the system's meter shows; meters are set with NBS buffers.
    filter_area_m2
        Biofilter surface; its ammonia budget is area × 0.28 g N m⁻² d⁻¹ (Nijhof & Bovendeur 1990, abstract: seawater,
        24 °C) unless ``nitrogen_mg_per_h`` states the budget.
    matured
        Date from which the filter carries its full budget; absent: it already does.
    suppliers_share
        Whether lots of different suppliers may share this water in quarantine.  Off unless the farm says so.
    purpose
        What the water is for, in the farm's own words; shown, not calculated with.
    prefers
        Suppliers and husbandry groups the water is meant for in quarantine: the plan puts others elsewhere where it can.
    alarm_low_c, alarm_high_c, alarm_low_psu, alarm_high_psu
        Readings outside raise an alarm at once, beside the limits of the groups that are there; the narrower counts.
    """

    role: Literal["receiving", "quarantine", "healing", "grow-out"]
    temperature_c: float = Field(ge=0.0, le=40.0)
    salinity_psu: float = Field(ge=0.0, le=45.0)
    ph_nbs: float = Field(default=8.2, ge=6.0, le=9.5)
    alkalinity_meq_per_l: float = Field(default=2.8, gt=0.0, le=10.0)
    filter_area_m2: float = Field(default=0.0, ge=0.0)
    nitrogen_mg_per_h: float | None = Field(default=None, ge=0.0)
    matured: date | None = None
    suppliers_share: bool = False
    purpose: str = ""
    prefers: tuple[str, ...] = ()
    alarm_low_c: float | None = Field(default=None, ge=0.0, le=45.0)
    alarm_high_c: float | None = Field(default=None, ge=0.0, le=45.0)
    alarm_low_psu: float | None = Field(default=None, ge=0.0, le=60.0)
    alarm_high_psu: float | None = Field(default=None, ge=0.0, le=60.0)

    @model_validator(mode="after")
    def _alarms_ordered(self) -> System:
        for low, high in ((self.alarm_low_c, self.alarm_high_c), (self.alarm_low_psu, self.alarm_high_psu)):
            if low is not None and high is not None and low >= high:
                msg = "the low alarm below the high one"
                raise ValueError(msg)
        return self

    @property
    def nitrogen_budget_mg_per_h(self) -> float:
        """Ammonia nitrogen the mature filter takes up, in mg N per hour."""
        if self.nitrogen_mg_per_h is not None:
            return self.nitrogen_mg_per_h
        return self.filter_area_m2 * 280.0 / 24.0


class Vat(Named):
    """Anything that holds animals.

    Attributes
    ----------
    length_m, width_m, bench_area_m2
        The area animals stand on: given, or length × width; ``shelves`` multiplies it.
    light_umol
        Lowest and highest light on the bench, µmol m⁻² s⁻¹ (shade cloth or dimming between them).
    flow
        Lowest and highest flow class, 1 to 4.
    turnover_per_h
        Vat volumes of system water through the vat per hour.
    aeration_mg_per_h
        Oxygen added beside the through-flow, mg O₂ per hour.
    fallow_days
        Days empty, cleaned and dry between two quarantine lots.
    divided
        Has dividers or trays, so that groups which may not touch can share it.
    guarded
        Every pump, overflow and return has a guard: an anemone may enter.
    reserve
        Kept empty for trouble; the plan does not use it.
    price_per_week
        What using a vat in reserve costs a week, in the farm's money: with a price it is offered when animals do not fit.
    like
        Another vat, written out in full, that gives every key left out here but its name, ``reserve`` and ``closed``.
    """

    system: str
    like: str = ""
    place: str = ""
    length_m: float | None = Field(default=None, gt=0, le=1000)
    width_m: float | None = Field(default=None, gt=0, le=1000)
    bench_area_m2: float | None = Field(default=None, gt=0)
    shelves: int = Field(default=1, ge=1, le=20)
    water_depth_mm: float = Field(gt=0, le=100_000)
    volume_l: float = Field(gt=0)
    light_umol: tuple[float, float] = (0.0, 200.0)
    flow: tuple[int, int] = (1, 3)
    turnover_per_h: float = Field(default=2.0, ge=0)
    aeration_mg_per_h: float = Field(default=0.0, ge=0)
    fallow_days: int = Field(default=1, ge=0, le=3650)
    divided: bool = False
    guarded: bool = False
    reserve: bool = False
    price_per_week: float | None = Field(default=None, gt=0)
    closed: tuple[Closed, ...] = ()

    @model_validator(mode="after")
    def _whole(self) -> Vat:
        if self.bench_area_m2 is None and (self.length_m is None or self.width_m is None):
            msg = "bench_area_m2, or length_m and width_m"
            raise ValueError(msg)
        if self.light_umol[0] > self.light_umol[1] or self.light_umol[0] < 0:
            msg = "light_umol = [lowest, highest], neither negative"
            raise ValueError(msg)
        if not 1 <= self.flow[0] <= self.flow[1] <= 4:
            msg = "flow = [lowest, highest] of the classes 1 to 4"
            raise ValueError(msg)
        return self

    @property
    def area_m2(self) -> float:
        """Bench area over all shelves, m²."""
        one = self.bench_area_m2
        if one is None:
            assert self.length_m is not None  # noqa: S101  # _whole has checked it
            assert self.width_m is not None  # noqa: S101
            one = self.length_m * self.width_m
        return one * self.shelves

    def open_on(self, day: date) -> bool:
        """Whether the vat may hold animals on ``day``."""
        return not any(gap.holds(day) for gap in self.closed)


class Site(Strict):
    """The whole of ``farm.toml``."""

    farm: Farm
    receiving: Receiving = Receiving()
    planning: Planning = Planning()
    working: Working = Working()
    mixing: Mixing | None = None
    mail: Mail | None = None
    suppliers: dict[str, Supplier] = Field(default_factory=dict, alias="supplier")
    people: dict[str, Person] = Field(default_factory=dict, alias="person")
    stations: dict[str, Station] = Field(default_factory=dict, alias="station")
    systems: dict[str, System] = Field(alias="system", min_length=1)
    vats: dict[str, Vat] = Field(alias="vat", min_length=1)
    routines: dict[str, Routine] = Field(default_factory=dict, alias="routine")

    def language_of(self, who: str) -> str:
        """Code of the language in which a person reads; the farm's for everyone and everything else."""
        person = self.people.get(who)
        return (person.language if person is not None else "") or self.farm.language or "en"

    def supplier(self, identity: str) -> Supplier:
        """The supplier of this id, or :class:`~intake.errors.UnknownName`."""
        return _known(self.suppliers, identity, "supplier")

    def vat(self, identity: str) -> Vat:
        """The vat of this id, or :class:`~intake.errors.UnknownName`."""
        return _known(self.vats, identity, "vat")

    def system(self, identity: str) -> System:
        """The system of this id, or :class:`~intake.errors.UnknownName`."""
        return _known(self.systems, identity, "system")

    def person(self, identity: str) -> Person:
        """The person of this id, or :class:`~intake.errors.UnknownName`."""
        return _known(self.people, identity, "person")

    def system_of(self, vat: str) -> System:
        """The system a vat belongs to."""
        return self.systems[self.vat(vat).system]

    def vats_of(self, system: str) -> tuple[Vat, ...]:
        """Vats of one system, in the order of the file."""
        return tuple(vat for vat in self.vats.values() if vat.system == system)


def _known(entries: Mapping[str, Entry], identity: str, kind: str) -> Entry:
    if identity in entries:
        return entries[identity]
    lower = identity.lower()
    close = sorted(entries, key=lambda key: (not key.lower().startswith(lower[:1]), abs(len(key) - len(identity)), key))
    raise UnknownName(kind, identity, close[:3], kind)
