"""Shared fixtures: a small invented farm in a folder of its own, and modest property-test settings."""

import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from intake.app.session import House, open_house

settings.register_profile("dev", max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("dev"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "dev")

NOON = datetime(2027, 3, 4, 12, tzinfo=UTC)

FARM = """
[farm]
name = "Invented test farm"
time_zone = "Europe/Lisbon"
[planning]
min_portion = 5
optional_dips = ["coral-iodine-dip"]
[supplier.one]
currency = "EUR"
time_zone = "Pacific/Majuro"
claim_window_h = 24
daa_days = 3
allowance_percent = 3
[supplier.two]
currency = "USD"
time_zone = "Indian/Maldives"
claim_window_h = 8
[person.ada]
role = "owner"
skills = ["dip", "inspect", "fish", "acclimate", "open"]
ends = "20:00"
[person.ben]
skills = ["dip", "inspect", "acclimate", "open"]
[station.tables]
kind = "opening"
places = 2
[station.tubs]
kind = "acclimation"
places = 4
[station.bench]
kind = "dip"
[station.lamp]
kind = "inspection"
[system.quarantine]
role = "quarantine"
temperature_c = 26.4
salinity_psu = 34.5
filter_area_m2 = 40
[system.growout]
role = "grow-out"
temperature_c = 26.4
salinity_psu = 34.5
filter_area_m2 = 60
"""
VAT = """
[vat.{name}]
system = "{system}"
length_m = 2.0
width_m = 1.0
water_depth_mm = 300
volume_l = 600
light_umol = [40, 400]
flow = [1, 4]
divided = true
fallow_days = 3
"""


@pytest.fixture
def farm_folder(tmp_path: Path) -> Path:
    """A folder with a sound small farm: Q1–Q3 in quarantine, G1 and G2 in grow-out."""
    folder = tmp_path / "farm"
    folder.mkdir()
    vats = [("Q1", "quarantine"), ("Q2", "quarantine"), ("Q3", "quarantine"), ("G1", "growout"), ("G2", "growout")]
    text = FARM + "".join(VAT.format(name=name, system=system) for name, system in vats)
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def house_at(farm_folder: Path) -> Iterator[Callable[..., House]]:
    """Open the small farm at a moment of the test's choosing; everything is closed afterwards."""
    opened: list[House] = []

    def at(now: datetime = NOON, who: str = "ada") -> House:
        opened.append(open_house(farm_folder, who=who, now=now))
        return opened[-1]

    yield at
    for house in opened:
        house.books.close()
