"""An invented farm as text, stock and arrivals for the tests that go through farm file and library."""

from __future__ import annotations

from datetime import UTC, date, datetime

from intake.farm.floor import Batch, Floor, Stay
from intake.farm.reading import read_site
from intake.farm.site import Site
from intake.plan import Arrival

TODAY = date(2030, 3, 1)

FARM = """
[farm]
name = "Invented farm of the plan tests"
time_zone = "Europe/Lisbon"
[planning]
min_portion = 5
headroom_percent = 10
[system.Q1]
role = "quarantine"
temperature_c = 26
salinity_psu = 35
filter_area_m2 = 30
[system.Q2]
role = "quarantine"
temperature_c = 26
salinity_psu = 35
filter_area_m2 = 30
matured = 2030-05-01
[system.G]
role = "grow-out"
temperature_c = 26
salinity_psu = 35
filter_area_m2 = 60
[system.cool]
role = "grow-out"
temperature_c = 22
salinity_psu = 35
filter_area_m2 = 60
"""

VAT = """
[vat.{id}]
system = "{system}"
bench_area_m2 = {area}
water_depth_mm = 300
volume_l = 500
light_umol = [50, 250]
flow = [1, 4]
fallow_days = 3
{more}
"""


def site(more: str = "") -> Site:
    """Seven vats in four systems; ``more`` is added to the farm file."""
    vats = [
        ("Q1a", "Q1", 1.2, ""),
        ("Q1b", "Q1", 1.2, "divided = true"),
        ("Q2a", "Q2", 1.5, ""),
        ("Ga", "G", 3.0, "divided = true"),
        ("Gb", "G", 2.0, "closed = [{ first = 2030-04-20, last = 2030-04-25, why = 'liner' }]"),
        ("Gc", "G", 2.0, "reserve = true"),
        ("Ca", "cool", 5.0, ""),
    ]
    text = FARM + "".join(VAT.format(id=name, system=of, area=area, more=extra) for name, of, area, extra in vats)
    return read_site((text + more).encode())


def batch(name: str, group: str, size_mm: float, count: int) -> Batch:
    """A batch with the shipment in its name (``S1-01``)."""
    return Batch(name, group, group, size_mm, count, shipment=name.split("-")[0], supplier="one")


def arrivals() -> list[Arrival]:
    """Two shipments of two suppliers, and a house cutting."""
    first = (
        batch("S1-01", "clam_small", 40, 150),
        batch("S1-02", "clam_medium", 70, 60),
        batch("S1-03", "stony_lps_long_tentacle", 60, 25),
        batch("S1-04", "fish_reef_safe", 60, 6),
    )
    second = (batch("S2-01", "zoanthid", 40, 80), batch("S2-02", "soft_leathery", 70, 20))
    cutting = (Batch("C1", "zoanthid", "zoanthid", 25, 40),)
    return [
        Arrival("S1", "one", date(2030, 3, 10), first),
        Arrival("S2", "two", date(2030, 3, 20), second),
        Arrival("", "", date(2030, 3, 5), cutting),
    ]


def floor() -> Floor:
    """Clams in quarantine and corals in grow-out."""
    batches = {
        "S0-01": Batch("S0-01", "clam_small", "clam_small", 45, 30, shipment="S0", supplier="one"),
        "H1": Batch("H1", "zoanthid", "zoanthid", 40, 60),
    }
    stays = (
        Stay("S0-01", "Q1a", 30, datetime(2030, 2, 10, 12, tzinfo=UTC), "quarantine"),
        Stay("H1", "Ga", 60, datetime(2029, 6, 1, 12, tzinfo=UTC), "grow-out"),
    )
    return Floor(datetime(2030, 3, 1, 8, tzinfo=UTC), batches, stays, received={"S0": stays[0].since})
