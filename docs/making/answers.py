"""The reference of JSON answers: their keys and kinds, read off real answers on the tutorial's farm."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from making.examples import Session
from making.markdown import page, table

__all__ = ["ASKED", "answers_page", "shape_of"]

NEXT_LIST = """Box,Species,Size mm,Qty,Price USD,Amount,Permit,Packed
1,Tridacna derasa,40-50,120,5.10,612.00,INV-0003,2027-03-21 20:00
2,Tridacna maximus,30-40,90,4.20,378.00,INV-0003,2027-03-21 20:00
3,Sinularia,50-60,15,4.00,60.00,,2027-03-21 20:00
"""
"""A further list on which one question stays open."""

ENTERED = "expect mix.csv --supplier first --lands 2027-05-10T09:00 --answer columns=proposed"

SEASON = """weeks = 12
[kind.maxima]
group = "clam_small"
size_mm = 35
price = 16
sales_per_week = 8
[supplier.first]
every_weeks = 4
freight = 180
[supplier.first.kind.maxima]
cost = 5
box = 20
"""
"""An invented season, small enough to be proved at once."""

MIX = "name,size mm,count\nTridacna derasa,45,900\nTridacna maxima,35,400\n"

ASKED: tuple[tuple[str, str], ...] = (
    ("check", ""),
    ("expect next.csv --supplier first --lands 2027-03-22T09:00 --dry", "with a question left open"),
    ("shipments", ""),
    ("shipments lines S1", ""),
    ("round", ""),
    ("journal --since 2027-03-13", ""),
    ("stocklist", ""),
    ("plan --seconds 2 --what-if mix.csv --lands 2027-05-10", "a mix too large for the farm"),
    ("capacity --mix mix.csv --from 2027-05-10 --to 2027-05-17 --seconds 0.5", ""),
    ("season season.toml --seconds 20 --worth", ""),
    ("day S1 --seconds 1", ""),
    ("timetable --seconds 1", ""),
    ("calendars", "after one address was made"),
    ("feeds", "the older name of calendars"),
    ("claim S1", ""),
    ("trace --batch S1-01", ""),
    ("release", ""),
    ("report losses --shipment S1", ""),
    ("report suppliers", ""),
    ("report vats", ""),
    ("report sales", ""),
    ("report permits", ""),
    ("report alarms --days 14", ""),
    ("report journeys", ""),
    ("report expect-losses --shipment S2", "a shipment entered, and too little known"),
    ("report draw --batch S1-01 --n 30 --seed march", ""),
    ("report reasons", ""),
    ("report money", ""),
    ("report audit", ""),
    ("water oxygen --temp 26 --salinity 35", ""),
    ("water bag --temp 25 --salinity 35 --ph 6.6 --ph-scale nbs --tan-n 2", ""),
    ("water conductivity --temp 25 --ms-per-cm 53.07", ""),
    ("water mix 200,25,30 50,20,38", ""),
    ("water volume --shape cylinder --length-cm 120 --depth-cm 60", ""),
    ("water density --temp 25 --salinity 35", ""),
    ("water gravity --scale 20C/4C --sg 1.0248", ""),
    ("water ammonia --temp 26 --salinity 35 --ph 8.1 --ph-scale nbs --tan-n 0.5", ""),
    ("water salt --litres 1000 --salinity 35 --temp 25", ""),
    ("water dose --litres 250 --mg-per-l 20 --active-percent 80", ""),
    (
        (
            "acclimate --mode drip --volume-l 5 --from-temp 24 --to-temp 26 --from-salinity 32 --to-salinity 35 "
            "--from-ph 6.8 --to-ph 8.2 --tan-n 0.3"
        ),
        "",
    ),
    ("sample --lot 500 --prevalence 0.02 --confidence 0.95", ""),
)
"""What is asked of the tutorial's farm once its reader has finished, and a word on the state of things."""


KEYED = {"raw": "CELL", "value": "CURRENCY", "sha256": "FILE"}
"""Objects whose keys are data: name of the object and what its keys are."""


def shape_of(value: Any, name: str = "") -> list[tuple[str, str]]:
    """(key, kind) pairs of an answer; entries of lists are merged, so a key that any of them has is listed."""
    if isinstance(value, Mapping):
        rows = [(name, "object")] if name else []
        data = KEYED.get(name.rpartition(".")[2], "")
        for key, inner in value.items():
            rows += shape_of(inner, f"{name}.{data or key}" if name else str(key))
        return list(dict.fromkeys(rows))
    if isinstance(value, Sequence) and not isinstance(value, str):
        merged: dict[str, str] = {}
        for inner in value:
            for key, kind in shape_of(inner, f"{name}[]"):
                merged[key] = _either(merged.get(key, "null"), kind)
        rows = [(key, kind) for key, kind in merged.items() if key != f"{name}[]"]
        kinds = merged.get(f"{name}[]", "")
        return [(name or "(the answer)", f"list{' of ' + kinds if kinds else ''}"), *rows]
    plain = {bool: "true or false", int: "whole number", float: "number", str: "text"}
    return [(name, plain.get(type(value), "null"))]


def _either(one: str, other: str) -> str:
    """Two kinds of one key: the wider of two numbers, both if they differ, and null only when nothing else is known."""
    if "null" in (one, other):
        return other if one == "null" else one
    kinds = [*one.split(" or "), *(kind for kind in other.split(" or ") if kind not in one.split(" or "))]
    if "number" in kinds and "whole number" in kinds:
        kinds.remove("whole number")
    return " or ".join(kinds)


def answers_page(session: Session) -> str:
    """The whole page, made in a session that has carried out the tutorial."""
    parts = [
        (
            "Commands that read take `--json`. What they answer is shown here by key: `a.b` is key `b` inside `a`, `a[]` an "
            "entry of list `a`. Kinds are those of real answers on the farm of [the tutorial](../tutorial/first-farm.md); a "
            "number that happened to be whole there may have decimals elsewhere, and `null` means that the value was not known. "
            "Times are ISO 8601 with their offset, dates ISO 8601."
        ),
    ]
    session.write("next.csv", NEXT_LIST)
    session.write("mix.csv", MIX)
    session.write("season.toml", SEASON)
    session.run(["feeds", "--create", "mika"])
    session.run([*ENTERED.split()])
    for words, note in ASKED:
        printed, code = session.run([*words.split(), "--json"])
        start = next(number for number, line in enumerate(printed) if line[:1] in "{[")
        answer = json.loads("\n".join(_json_of(printed[start:])))
        head = f"## vatside {' '.join(word for word in _command(words))}"
        asked = f"`vatside {words} --json`{f' ({note})' if note else ''}, exit {code}"
        parts += [head, asked, table(("key", "kind"), [(f"`{key}`", kind) for key, kind in shape_of(answer)])]
    return page("JSON answers", *parts)


def _json_of(lines: Sequence[str]) -> list[str]:
    closing = "}" if lines[0].startswith("{") else "]"
    end = next((number for number, line in enumerate(lines) if line == closing), 0)
    return list(lines[: end + 1])


def _command(words: str) -> list[str]:
    parts = words.split()
    return parts[:2] if parts[0] in ("report", "water") else parts[:1]
