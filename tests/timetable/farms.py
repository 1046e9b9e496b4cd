"""Invented farms, floors and needs for the tests of the timetable; nobody in them is real."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from intake.farm.floor import Batch, Floor, Stay
from intake.farm.reading import read_site
from intake.farm.site import Site
from intake.quarantine import Need

ZONE = ZoneInfo("Europe/Lisbon")
MONDAY = datetime(2027, 3, 1, 9, 0, tzinfo=ZONE)

Row = tuple[str, str, int, str, datetime]
"""Batch, group, count, vat and since, as the farms of the tests take them."""

PEOPLE = """
[person.ann]
role = "owner"
skills = ["dip", "inspect", "fish", "acclimate", "open"]
starts = "08:00"
ends = "18:00"
[person.bo]
skills = ["dip", "inspect", "acclimate", "open"]
days = ["mon", "tue", "wed", "thu", "fri"]
starts = "08:00"
ends = "17:00"
[person.cy]
role = "helper"
skills = ["inspect", "fish", "open"]
days = ["wed", "thu", "fri", "sat", "sun"]
starts = "10:00"
ends = "18:00"
[person.dee]
role = "read-only"
"""


UNPAUSED = """[working]
lunch_minutes = 0
pause_minutes = 0
days_in_a_row = 0
changeover_minutes = 0
recovery_h = 0
lights_on = "00:00"
lights_off = "23:45"
"""


def site_of(
    people: str = PEOPLE, *, dip_places: int = 1, systems: int = 2, extra: str = "", working: str = UNPAUSED
) -> Site:
    """A farm with two vats in each quarantine system and one in grow-out; its people work without a pause unless one is set."""
    text = f"""
[farm]
name = "Invented test farm"
time_zone = "Europe/Lisbon"
[planning]
optional_dips = ["coral-freshwater-dip"]
{working}
[station.table]
kind = "opening"
[station.tubs]
kind = "acclimation"
places = 3
[station.bench]
kind = "dip"
places = {dip_places}
[station.lamp]
kind = "inspection"
{people}
[system.grow]
role = "grow-out"
temperature_c = 26.4
salinity_psu = 34.5
[vat.G1]
system = "grow"
bench_area_m2 = 2.0
water_depth_mm = 300
volume_l = 600
{extra}
"""
    for number in range(1, systems + 1):
        text += f'[system.Q{number}]\nrole = "quarantine"\ntemperature_c = 26.4\nsalinity_psu = 34.5\n'
        for vat in "ab":
            text += f'[vat.Q{number}{vat}]\nsystem = "Q{number}"\nbench_area_m2 = 2.0\n'
            text += "water_depth_mm = 300\nvolume_l = 600\n"
    return read_site(text.encode())


def floor_of(rows: Sequence[Row], at: datetime = MONDAY) -> Floor:
    """A floor of (batch, group, count, vat, since) in quarantine; a batch may have several rows."""
    batches: dict[str, Batch] = {}
    stays = []
    for batch, group, count, vat, since in rows:
        batches[batch] = Batch(batch, f"{group} of the tests", group, 40.0, count)
        stays.append(Stay(batch, vat, count, since, "quarantine"))
    return Floor(at=at, batches=batches, stays=tuple(stays))


def need(uid: str, *, day: int = 0, hour: int = 8, minutes: int = 60, slack_h: float = 24.0, **more: object) -> Need:
    """A plain inspection of nobody in particular, wanted ``day`` days after the Monday of the tests."""
    start = MONDAY.replace(hour=hour) + timedelta(days=day)
    facts: dict[str, object] = {
        "kind": "inspection",
        "batch": "",
        "vat": "",
        "system": "Q1",
        "title": uid,
        "earliest": start,
        "nominal": start,
        "latest": start + timedelta(hours=slack_h),
        "minutes": minutes,
        "why": "for the test",
        "evidence": "practice",
        "source": "common practice, no source",
        "unsourced": True,
        "skill": "inspect",
    }
    return Need(uid=uid, **{**facts, **more})  # type: ignore[arg-type]
