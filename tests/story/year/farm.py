"""The invented farm of the year: 31 vats in six waters, four people, three suppliers; nothing in it is real."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "CUTTING",
    "GROWN",
    "KINDS",
    "MOTHERS",
    "QUARANTINES",
    "SUPPLIERS",
    "VATS",
    "Kind",
    "Place",
    "write_farm",
    "write_list",
    "write_stock",
]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind ordered: name and size as on a packing list, and the judge's own figures for one animal.

    Attributes
    ----------
    area_cm2
        Bench area: clams a square of 1.5 shell lengths, corals of 100 mm more than the colony.
    oxygen_mg_per_h
        Uptake.
    days
        Days of quarantine of its group.
    brushed
        Whether its shells are brushed six times, a week apart.
    share
        Its part of an order.
    """

    name: str
    size_mm: float
    area_cm2: float
    oxygen_mg_per_h: float
    days: int
    brushed: bool
    share: int


KINDS = (
    Kind("Tridacna derasa", 45.0, (1.5 * 4.5) ** 2, 0.0215 * 4.5**2, 42, True, 240),
    Kind("Tridacna derasa", 80.0, (1.5 * 8.0) ** 2, 0.0215 * 8.0**2, 42, True, 60),
    Kind("Acropora millepora", 60.0, ((60 + 100) / 10) ** 2, 0.0394 * 6.0**2.148, 45, False, 36),
)


MOTHERS = Kind("Acropora millepora", 120.0, ((120 + 100) / 10) ** 2, 0.0394 * 12.0**2.148, 0, False, 0)
"""Colonies the farm has from the first day, cut now and then."""

CUTTING = Kind("Acropora millepora", 25.4, ((25.4 + 100) / 10) ** 2, 0.0394 * 2.54**2.148, 0, False, 0)
"""One fragment."""


@dataclass(frozen=True, slots=True)
class Place:
    """A vat: its water, its bench and what oxygen its flow brings."""

    vat: str
    system: str
    area_m2: float
    flow_l_per_h: float
    aeration_mg_per_h: float


SUPPLIERS = ("lagoon", "atoll", "reef")
QUARANTINES = ("qa", "qb", "qc")
GROWN = ("greenhouse", "indoor", "racks")
_COUNT = {"qa": 5, "qb": 5, "qc": 4, "greenhouse": 9, "indoor": 4, "racks": 4}
_TEMPERATURE, _SALINITY = 26.2, 34.5

VATS = tuple(
    Place(f"{system[:2].upper()}{number}", system, 3.0, 900 * 3.0, 400.0)
    for system, count in _COUNT.items()
    for number in range(1, count + 1)
)

_HEAD = """# An invented farm for the tests; names, people and figures are made up.
[farm]
name = "Longshore Year (invented farm)"
time_zone = "Europe/Lisbon"
[receiving]
opens = "07:30"
closes = "19:30"
[planning]
min_portion = 10
[station.tables]
kind = "opening"
places = 2
[station.tubs]
kind = "acclimation"
places = 8
[station.bench]
kind = "dip"
places = 2
[station.lamp]
kind = "inspection"
places = 2
"""
_PEOPLE = {
    "nora": ('role = "owner"', ""),
    "sam": ("", ""),
    "lou": ("", 'days = ["mon", "tue", "wed", "thu", "fri"]\n'),
    "kit": ('role = "helper"', 'days = ["thu", "fri", "sat", "sun"]\n'),
}


def write_farm(folder: Path) -> None:
    """Write the farm file."""
    text = _HEAD
    for name in SUPPLIERS:
        text += f'[supplier.{name}]\ncurrency = "EUR"\ntime_zone = "Indian/Maldives"\nclaim_window_h = 24\n'
        text += "daa_days = 3\nallowance_percent = 3\n"
    for name, (role, days) in _PEOPLE.items():
        text += f'[person.{name}]\n{role}\n{days}skills = ["dip", "inspect", "acclimate", "open"]\n'
        text += 'starts = "07:30"\nends = "20:00"\n'
    for system in _COUNT:
        role = "quarantine" if system in QUARANTINES else "grow-out"
        text += f'[system.{system}]\nrole = "{role}"\ntemperature_c = {_TEMPERATURE}\nsalinity_psu = {_SALINITY}\n'
        text += "filter_area_m2 = 120\n"
    for place in VATS:
        text += f'[vat.{place.vat}]\nsystem = "{place.system}"\nbench_area_m2 = {place.area_m2}\nwater_depth_mm = 300\n'
        text += f"volume_l = 900\nturnover_per_h = 3\naeration_mg_per_h = {place.aeration_mg_per_h}\n"
        text += "light_umol = [40, 400]\nflow = [1, 4]\nfallow_days = 3\ndivided = true\n"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "farm.toml").write_text(text, encoding="utf-8")


def write_stock(file: Path, since: str) -> None:
    """Write the first stocktake: twelve colonies in the greenhouse."""
    head = "vat,name,group,size_mm,count,since,stage"
    row = f"GR9,{MOTHERS.name},stony_branching_acropora,{MOTHERS.size_mm:g},12,{since},grow-out"
    file.write_text(f"{head}\n{row}\n", encoding="utf-8")


def write_list(file: Path, counts: dict[Kind, int], packed: str) -> None:
    """Write a packing list of so many animals of each kind; the bags were closed at ``packed``."""
    lines = ["Box,Scientific name,Size (mm),Qty,Unit price EUR,Origin,Source,Packed"]
    for number, (kind, count) in enumerate(counts.items(), start=1):
        lines.append(f"{number},{kind.name},{kind.size_mm:g},{count},4.00,MV,F,{packed}")
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
