"""A farm file written from a few answers and a table of vats, in the units the farm measures in."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from intake.errors import BadInput, Finding
from intake.farm.reading import read_site
from intake.packing import Cell, Sheet, read
from intake.packing.figures import number_of

__all__ = ["Answers", "VatRow", "farm_file", "vats_in"]

_HEADS: Final[Mapping[str, re.Pattern[str]]] = {
    "vat": re.compile(r"^(vat|tank|name|id|number|no\.?)\b", re.IGNORECASE),
    "system": re.compile(r"system|water|loop", re.IGNORECASE),
    "role": re.compile(r"role|use|purpose", re.IGNORECASE),
    "length": re.compile(r"length|long", re.IGNORECASE),
    "width": re.compile(r"width|wide", re.IGNORECASE),
    "depth": re.compile(r"depth|deep", re.IGNORECASE),
    "volume": re.compile(r"volume|litres?|liters?|gallons?|\bgal\b", re.IGNORECASE),
}
_NEEDED: Final = ("vat", "system", "length", "width", "depth")
_ROLES: Final = ("receiving", "quarantine", "healing", "grow-out")
_ID: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}")
_MOST_VATS: Final = 500
_KEYS: Final = {
    "si": ("length_m", "width_m", "water_depth_mm", "volume_l"),
    "us": ("length_in", "width_in", "water_depth_in", "volume_gal"),
}
_L_PER_M3 = Decimal(1000)
_GAL_PER_IN3 = 1 / Decimal(231)
"""A US gallon is 231 cubic inches (NIST Handbook 44, appendix C, from memory)."""


@dataclass(frozen=True, slots=True)
class VatRow:
    """One vat: lengths in m and depth in mm, or all in inches; volume in L or US gal, as the farm measures."""

    vat: str
    system: str
    role: str
    length: Decimal
    width: Decimal
    depth: Decimal
    volume: Decimal


@dataclass(frozen=True, slots=True)
class Answers:
    """What a new farm was asked; people and suppliers by name."""

    name: str
    time_zone: str
    units: str
    vats: tuple[VatRow, ...]
    people: tuple[str, ...] = ("Owner",)
    suppliers: tuple[str, ...] = ()
    currency: str = "EUR"
    paper: str = "a4"


def vats_in(data: bytes, file: str, units: str) -> tuple[VatRow, ...]:
    """Vats of a table with the columns vat, system, role, length, width, depth and, where measured, volume.

    Parameters
    ----------
    data
        A workbook or CSV; metric farms give m, m, mm and L, US farms inches and gallons.

    Raises
    ------
    BadInput
        A column is missing, or rows cannot be read: every fault with its row.
    """
    for sheet in read(data, file).sheets:
        for head in list(sheet.numbers())[:20]:
            columns = _columns(sheet.filled(head))
            if all(name in columns for name in _NEEDED):
                return _rows(sheet, head, columns, (file, units))
    words = "Name the columns vat, system, role, length, width, depth, volume."
    raise BadInput(Finding(file, "no row of headings for vats", "a table of vats", words))


def _columns(cells: Sequence[Cell]) -> dict[str, int]:
    found: dict[str, int] = {}
    for name, pattern in _HEADS.items():
        cell = next((one for one in cells if one.column not in found.values() and pattern.search(one.text)), None)
        if cell is not None:
            found[name] = cell.column
    return found


def _rows(sheet: Sheet, head: int, columns: Mapping[str, int], told: tuple[str, str]) -> tuple[VatRow, ...]:
    file, units = told
    rows: list[VatRow] = []
    faults: list[Finding] = []
    for number in sheet.numbers():
        if number <= head or not sheet.filled(number):
            continue
        before = len(faults)
        texts = {name: sheet.cell(number, column).text for name, column in columns.items()}
        where = f"{file}, row {number}"
        for name in ("vat", "system"):
            if not _ID.fullmatch(texts[name]):
                faults.append(Finding(f"{where}, {name}", texts[name], "letters, digits, - or _, at most 20"))
        role = texts.get("role", "").lower() or "quarantine"
        if role not in _ROLES:
            faults.append(Finding(f"{where}, role", texts["role"], f"one of {', '.join(_ROLES)}"))
        sizes = {
            name: _size(sheet.cell(number, columns[name]), f"{where}, {name}", faults)
            for name in ("length", "width", "depth")
        }
        volume = (
            _size(sheet.cell(number, columns["volume"]), f"{where}, volume", faults)
            if texts.get("volume")
            else Decimal(0)
        )
        if len(faults) == before:
            whole = volume or _volume(sizes["length"], sizes["width"], sizes["depth"], units)
            rows.append(
                VatRow(texts["vat"], texts["system"], role, sizes["length"], sizes["width"], sizes["depth"], whole)
            )
    names = [row.vat.casefold() for row in rows]
    faults += [
        Finding(f"{file}, vat", row.vat, "each name once") for row in rows if names.count(row.vat.casefold()) > 1
    ]
    if not rows or len(rows) > _MOST_VATS:
        faults.append(Finding(file, f"{len(rows)} vats", f"1 to {_MOST_VATS} vats"))
    if faults:
        raise BadInput(faults)
    return tuple(rows)


def _size(cell: Cell, where: str, faults: list[Finding]) -> Decimal:
    number = number_of(cell, ".")
    if number is None or not 0 < number < _L_PER_M3 * _L_PER_M3:
        faults.append(Finding(where, cell.text, "a number above zero"))
        return Decimal(0)
    return number


def _volume(length: Decimal, width: Decimal, depth: Decimal, units: str) -> Decimal:
    """Water a vat holds at its depth, in L or US gal."""
    if units == "us":
        return (length * width * depth * _GAL_PER_IN3).quantize(Decimal("0.1"))
    return (length * width * depth / 1000 * _L_PER_M3).quantize(Decimal(1))


def farm_file(answers: Answers) -> bytes:
    """The commented farm file.

    Raises
    ------
    BadInput
        What was answered makes no sound farm: every fault.
    """
    us = answers.units == "us"
    lines = [
        "# Written by `vatside init` from your answers. Change the values; `vatside check` lists what is wrong.",
        "# Filter area, light and flow are placeholders (common practice, no source): put in your own.",
        "[farm]", f"name = {_text(answers.name)}", f"time_zone = {_text(answers.time_zone)}",
        f"units = {_text(answers.units)}", f"paper = {_text('letter' if us else answers.paper)}",
    ]  # fmt: skip
    for number, name in enumerate(answers.people):
        skills = '["dip", "inspect", "fish", "acclimate", "open"]'
        role = "owner" if number == 0 else "keeper"
        lines += ["", f"[person.{_slug(name)}]", f"name = {_text(name)}", f"role = {_text(role)}", f"skills = {skills}"]
    for name in answers.suppliers:
        lines += ["", f"[supplier.{_slug(name)}]", f"name = {_text(name)}", f"currency = {_text(answers.currency)}",
                  f"time_zone = {_text(answers.time_zone)}  # of the packing times on their lists",
                  "claim_window_h = 24  # hours from receipt; put in what you agreed"]  # fmt: skip
    for kind, identity, places in (
        ("opening", "tables", 2),
        ("acclimation", "tubs", 4),
        ("dip", "bench", 1),
        ("inspection", "lamp", 1),
    ):
        lines += ["", f"[station.{identity}]", f"kind = {_text(kind)}", f"places = {places}"]
    for system in dict.fromkeys(vat.system for vat in answers.vats):
        role = next(vat.role for vat in answers.vats if vat.system == system)
        lines += ["", f"[system.{system}]", f"role = {_text(role)}", "temperature_f = 79" if us else "temperature_c = 26",
                  "salinity_psu = 34.5", "filter_area_m2 = 25"]  # fmt: skip
    length, width, depth, volume = _KEYS[answers.units]
    for vat in answers.vats:
        lines += ["", f"[vat.{vat.vat}]", f"system = {_text(vat.system)}", f"{length} = {vat.length}", f"{width} = {vat.width}",
                  f"{depth} = {vat.depth}", f"{volume} = {vat.volume}", "light_umol = [40, 250]", "flow = [1, 3]",
                  "turnover_per_h = 3", "divided = true", "fallow_days = 3"]  # fmt: skip
    data = "\n".join([*lines, ""]).encode()
    read_site(data)
    return data


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _slug(name: str) -> str:
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:20].strip("-")
    if not slug:
        raise BadInput(Finding("name", name, "a name with a letter from a to z or a digit"))
    return slug
