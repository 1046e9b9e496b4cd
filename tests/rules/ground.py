"""A small invented farm on which each rule can be broken alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from intake.farm.floor import Batch, Done, Floor, Found, Reading, Stay
from intake.farm.reading import read_site
from intake.farm.site import Site
from intake.library import Library, load
from intake.rules import Act, Breach, breaches

NOW = datetime(2026, 11, 30, 12, tzinfo=UTC)
OWN_DIP = b"""
[own-potion]
name = "Our potion"
kind = "dip"
target = "everything"
agent = "secret"
strength = "a cup"
baths = 1
why = "always did"
kills_eggs = "unknown"
mode = "off"
source = "own"
evidence = "practice"
"""
"""A dip of the farm's own whose agent the library does not know."""

LIBRARY = load(
    {
        "groups.toml": b"""
[clam_small]
depth_min_mm = 100
""",
        "dips.toml": OWN_DIP,
    }
)
FARM = b"""
[farm]
name = "Test farm (invented)"
time_zone = "UTC"

[planning]
new_filter_percent = 40

[supplier.one]
name = "One (invented)"
currency = "EUR"
time_zone = "UTC"
claim_window_h = 24

[supplier.two]
name = "Two (invented)"
currency = "EUR"
time_zone = "UTC"
claim_window_h = 24

[system.qa]
role = "quarantine"
temperature_c = 26
salinity_psu = 34.5
filter_area_m2 = 20

[system.qb]
role = "quarantine"
temperature_c = 26
salinity_psu = 34.5
filter_area_m2 = 20

[system.warm]
role = "quarantine"
temperature_c = 28.5
salinity_psu = 34.5
filter_area_m2 = 20

[system.salty]
role = "quarantine"
temperature_c = 26
salinity_psu = 37
filter_area_m2 = 20

[system.young]
role = "quarantine"
temperature_c = 26
salinity_psu = 34.5
filter_area_m2 = 10
matured = 2026-12-01

[system.gr]
role = "grow-out"
temperature_c = 26
salinity_psu = 34.5
filter_area_m2 = 50
alarm_high_c = 27.5
alarm_low_psu = 33.5

[system.hall]
role = "grow-out"
temperature_c = 26
salinity_psu = 34.5
filter_area_m2 = 50

[vat.A1]
system = "qa"
bench_area_m2 = 1.0
water_depth_mm = 300
volume_l = 400
light_umol = [20, 400]
flow = [1, 4]
turnover_per_h = 4
aeration_mg_per_h = 400
fallow_days = 3
guarded = true

[vat.A2]
like = "A1"

[vat.A3]
like = "A1"
divided = true

[vat.AR]
like = "A1"
reserve = true

[vat.AC]
like = "A1"
closed = [{ first = 2026-11-29, last = 2026-12-05, why = "pump" }]

[vat.B1]
like = "A1"
system = "qb"

[vat.B2]
like = "A1"
system = "qb"
guarded = false

[vat.W1]
like = "A1"
system = "warm"

[vat.S1]
like = "A1"
system = "salty"

[vat.Y1]
like = "A1"
system = "young"

[vat.G1]
like = "A1"
system = "gr"

[vat.G2]
like = "A1"
system = "gr"

[vat.H1]
like = "A1"
system = "hall"

[vat.SHALLOW]
like = "A1"
system = "qb"
water_depth_mm = 90

[vat.STILL]
like = "A1"
system = "qb"
flow = [4, 4]

[vat.DIM]
like = "A1"
system = "qb"
light_umol = [0, 30]

[vat.BRIGHT]
like = "A1"
system = "qb"
light_umol = [130, 400]

[vat.AIRLESS]
like = "A1"
system = "qb"
turnover_per_h = 0
aeration_mg_per_h = 10
"""
SITE = read_site(FARM)


def hours(number: float) -> timedelta:
    """A span of hours."""
    return timedelta(hours=number)


def days(number: float) -> timedelta:
    """A span of days."""
    return timedelta(days=number)


def batch(
    identity: str,
    group: str = "clam_small",
    name: str = "",
    *,
    shipment: str = "S1",
    supplier: str = "one",
    **other: object,
) -> Batch:
    """A batch of sixty animals of 30 mm."""
    known = {"clam_small": "Tridacna maxima", "fish_reef_safe": "Pseudanthias squamipinnis"}
    told = {"size_mm": 30.0, "announced": 60, **other}
    return Batch(identity, name or known.get(group, group), group, shipment=shipment, supplier=supplier, **told)  # type: ignore[arg-type]


def floor(*rows: tuple[Batch, str, int], at: datetime = NOW, **other: object) -> Floor:
    """Batches standing in vats for ten days."""
    stays = tuple(Stay(one.id, vat, count, at - days(10), "quarantine") for one, vat, count in rows)
    batches: Mapping[str, Batch] = {one.id: one for one, _, _ in rows}
    more = other.pop("batches", {})
    assert isinstance(more, dict)
    return Floor(at=at, batches={**batches, **more}, stays=stays, **other)  # type: ignore[arg-type]


def done(one: Batch, dip: str, vat: str, at: datetime, **other: object) -> Done:
    """A treatment recorded as done."""
    told: dict[str, object] = {"vat": vat, **other}
    return Done(f"{one.id}/{dip}/{vat}/1", one.id, str(told.pop("kind", "dip")), at, "marou", **told)  # type: ignore[arg-type]


def found(one: Batch, what: str, vat: str, at: datetime) -> Found:
    """A finding."""
    return Found(one.id, vat, what, at, "marou")


def read(place: str, quantity: str, value: float, at: datetime) -> Reading:
    """A reading."""
    return Reading(place, quantity, value, "", at, "marou")


def asked(here: Floor, *acts: Act, site: Site = SITE, library: Library = LIBRARY) -> tuple[Breach, ...]:
    """Breaches of some acts."""
    return breaches(site, library, here, acts)


def ids(here: Floor, *acts: Act, site: Site = SITE, library: Library = LIBRARY) -> set[str]:
    """Rules broken by some acts."""
    return {one.id for one in asked(here, *acts, site=site, library=library)}


def staged(here: Floor, stage: str) -> Floor:
    """The same floor with everybody in one stage."""
    return replace(here, stays=tuple(replace(stay, stage=stage) for stay in here.stays))
