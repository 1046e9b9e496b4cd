"""Judge of a floor: reads plain facts and names every vat and water that breaks a rule; it shares no code with the rules.

Facts: ``vats`` {id: {system, area_mm2, air (mg O2/h), divided, guarded, since closed or None}}, ``systems`` {id: {role, load
(mg N/h), copper: bool}}, ``animals`` rows {who, vat, number, area_mm2, air, load, group, genus, lot, sender, entered,
bone: bool}, ``apart`` rows (pattern, genera, pattern, genera, kind).
"""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import combinations
from typing import Any

__all__ = ["judged"]

Row = dict[str, Any]


def judged(facts: dict[str, Any]) -> set[str]:
    """Every fault, as ``rule: place``."""
    faults: set[str] = set()
    by_vat: dict[str, list[Row]] = defaultdict(list)
    by_water: dict[str, list[Row]] = defaultdict(list)
    for row in facts["animals"]:
        by_vat[row["vat"]].append(row)
        by_water[facts["vats"][row["vat"]]["system"]].append(row)
    for vat, rows in by_vat.items():
        faults |= _vat(facts, vat, rows)
    for water, rows in by_water.items():
        faults |= _water(facts, water, rows)
    return faults


def _vat(facts: dict[str, Any], vat: str, rows: list[Row]) -> set[str]:
    told = facts["vats"][vat]
    faults = set()
    if sum(row["number"] * row["area_mm2"] for row in rows) > told["area_mm2"]:
        faults.add(f"area: {vat}")
    if sum(row["number"] * row["air"] for row in rows) > told["air"] + 1e-3:
        faults.add(f"air: {vat}")
    if told["closed"] is not None and any(row["entered"] >= told["closed"] for row in rows):
        faults.add(f"closed: {vat}")
    if facts["systems"][told["system"]]["role"] == "quarantine" and len({row["lot"] for row in rows}) > 1:
        faults.add(f"lots: {vat}")
    faults |= {f"guards: {vat}" for row in rows if row["group"] == "anemone_host" and not told["guarded"]}
    for one, other in combinations(rows, 2):
        for kind in _kept_apart(facts, one, other):
            if kind == "vat" or (kind == "touch" and not told["divided"]):
                faults.add(f"company: {vat}")
    for row in rows:
        if row["number"] > 1 and any(kind != "touch" or not told["divided"] for kind in _kept_apart(facts, row, row)):
            faults.add(f"singly: {vat}")
    return faults


def _water(facts: dict[str, Any], water: str, rows: list[Row]) -> set[str]:
    told = facts["systems"][water]
    faults = set()
    load = sum(row["number"] * row["load"] for row in rows)
    if load > told["load"] + 1e-3 and load > 0:
        faults.add(f"load: {water}")
    if told["copper"] and not all(row["bone"] for row in rows):
        faults.add(f"copper: {water}")
    if told["role"] == "quarantine" and len({row["sender"] for row in rows}) > 1:
        faults.add(f"senders: {water}")
    for one, other in combinations(rows, 2):
        if one["who"] != other["who"] and "water" in _kept_apart(facts, one, other):
            faults.add(f"shared: {water}")
    return faults


def _kept_apart(facts: dict[str, Any], one: Row, other: Row) -> set[str]:
    found = set()
    for pattern, genera, but, second, second_genera, second_but, kind in facts["apart"]:
        for left, right in ((one, other), (other, one)):
            if _is(left, pattern, genera, but) and _is(right, second, second_genera, second_but):
                found.add(kind)
    return found


def _is(row: Row, pattern: str, genera: list[str], but: list[str]) -> bool:
    plain = re.fullmatch(pattern.replace("*", ".*"), row["group"]) is not None
    return plain and (not genera or row["genus"] in genera) and row["genus"] not in but
