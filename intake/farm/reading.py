"""Reading ``farm.toml``: tables into a checked farm, vats that are like another, and every fault by table and key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from intake.errors import BadInput, Finding
from intake.farm.site import US_KEYS, Site
from intake.library.library_reading import ADD_THE_KEY, as_written, model_of, toml_of

__all__ = ["read_site"]

_ENTRIES = ("supplier", "person", "station", "system", "vat", "routine")
"""Tables with a name of their own, written ``[vat.Q1]``."""
_FIGURE = re.compile(r"\d[\d,]*(?:\.\d+)?(?=$| )")
_OWN = frozenset({"id", "name", "like", "reserve", "closed"})
"""What a vat never takes from the vat it is like."""

_FOOTPRINTS = (frozenset({"bench_area_m2"}), frozenset({"length_m", "width_m"}))
"""Two ways to say how large a bench is: who says it one way does not take it the other way too."""


def read_site(data: bytes, file: str = "farm.toml") -> Site:
    """Read and check a farm file.

    Raises
    ------
    BadInput
        With a finding per fault, all at once: file, table, key, value, what was expected.
    """
    tables = toml_of(data, file)
    faults = _name_entries(tables, file)
    vats = _tables(tables, "vat")
    own = {name: {_metric(key) for key in table} for name, table in vats.items()}
    likenesses = {name: str(table["like"]) for name, table in vats.items() if "like" in table}
    faults += _fill_likenesses(vats, file)
    told = {fault.where for fault in faults}
    faults += _cross_faults(tables, own, file)
    try:
        site = model_of(Site, tables, file)
    except BadInput as error:
        faults += _told_once(error.findings, likenesses, own, told, file)
        raise BadInput([_headed(fault, tables, file) for fault in faults or error.findings]) from error
    if faults:
        raise BadInput([_headed(fault, tables, file) for fault in faults])
    return site


def _headed(fault: Finding, tables: Mapping[str, Any], file: str) -> Finding:
    """A fault under the heading its table has in the file, ``vat.Q1``, by the key and in the unit typed, with a next step."""
    told = replace(fault, do=fault.do or "Correct the value.")
    kind, _, rest = fault.where.removeprefix(f"{file}, ").partition(", ")
    if not rest or kind not in _ENTRIES:
        return told
    identity, _, key = rest.partition(", ")
    own = f"{file}, {kind}.{identity}"
    other = next((name for name, (metric, _) in US_KEYS.items() if metric == key), "")
    if fault.do == ADD_THE_KEY and other:
        return replace(told, where=f"{own}, {key}", expected=f"a value, or {other} in its place")
    typed = _tables(tables, kind).get(identity, {})
    if other not in typed:
        return replace(told, where=f"{file}, {kind}.{rest}")
    if not fault.expected.startswith("a number "):
        return replace(told, where=f"{own}, {other}", value=as_written(typed[other]))
    bounds = _FIGURE.sub(lambda found: f"{_typed_figure(other, float(found[0].replace(',', ''))):,g}", fault.expected)
    return replace(told, where=f"{own}, {other}", value=as_written(typed[other]), expected=bounds)


def _typed_figure(key: str, metric: float) -> float:
    """A bound in the unit of a US key: each is proportional to the metric one, but for the offset of a temperature."""
    start, slope = US_KEYS[key][1](0.0) if key == "temperature_f" else 0.0, US_KEYS[key][1](2.0) - US_KEYS[key][1](1.0)
    return round((metric - start) / slope, 1)


def _tables(tables: Mapping[str, Any], kind: str) -> dict[str, dict[str, Any]]:
    """The entries of one kind that are tables; others are reported by :func:`_name_entries`."""
    named = tables.get(kind, {})
    return {one: table for one, table in named.items() if isinstance(table, dict)} if isinstance(named, dict) else {}


def _name_entries(tables: Mapping[str, Any], file: str) -> list[Finding]:
    """Give every entry its id and name; a finding for each that is no table."""
    faults: list[Finding] = []
    for kind in _ENTRIES:
        named = tables.get(kind, {})
        if not isinstance(named, dict):
            faults.append(Finding(f"{file}, {kind}", str(named), f"tables written [{kind}.id]"))
            continue
        for identity, table in named.items():
            if isinstance(table, dict):
                table["id"] = identity
                table.setdefault("name", identity)
            else:
                expected = f"a table written [{kind}.{identity}]"
                faults.append(Finding(f"{file}, {kind}.{identity}", str(table), expected))
    return faults


def _told_once(
    found: Iterable[Finding],
    likenesses: Mapping[str, str],
    own: Mapping[str, set[str]],
    told: set[str],
    file: str,
) -> list[Finding]:
    """The model's faults without those of an entry already reported, and without those a vat took over from another.

    Parameters
    ----------
    likenesses
        Vat → the vat it is like.
    own
        Vat → keys it says itself, in their metric spelling.
    told
        Where a fault was reported already: ``farm.toml, vat.Q1, like``.
    """
    kept: list[Finding] = []
    found = tuple(found)
    all_of = {(fault.where, fault.value, fault.expected) for fault in found}
    for fault in found:
        kind, _, rest = fault.where.removeprefix(f"{file}, ").partition(", ")
        identity, _, key = rest.partition(", ")
        if (f"{file}, {kind}" if not rest else f"{file}, {kind}.{identity}") in told:
            continue
        if kind == "vat" and f"{file}, vat.{identity}, like" in told and (not key or fault.do == ADD_THE_KEY):
            continue  # it may well stand in the vat it means
        model = f"{file}, vat, {likenesses.get(identity, '')}{', ' if key else ''}{key}"
        first = _metric(key.partition(", ")[0].partition(" #")[0])
        if (
            kind == "vat"
            and identity in likenesses
            and first not in own.get(identity, set())
            and (model, fault.value, fault.expected) in all_of
        ):
            continue
        kept.append(fault)
    return kept


def _fill_likenesses(vats: Mapping[str, dict[str, Any]], file: str) -> list[Finding]:
    """Give every vat that is ``like`` another what it does not say itself; a finding where there is no such vat."""
    faults: list[Finding] = []
    written = {name: dict(table) for name, table in vats.items() if "like" not in table}
    for name, table in vats.items():
        if "like" not in table:
            continue
        model = written.get(table["like"]) if isinstance(table["like"], str) else None
        if model is None:
            expected = "the id of a vat that is written out itself, without `like`"
            faults.append(Finding(f"{file}, vat.{name}, like", str(table["like"]), expected))
            continue
        said = {_metric(key) for key in table}
        for one, other in (_FOOTPRINTS, _FOOTPRINTS[::-1]):
            said |= other if said & one else set()
        for key, value in model.items():
            if key not in _OWN and _metric(key) not in said:
                table[key] = value
    return faults


def _metric(key: str) -> str:
    return US_KEYS[key][0] if key in US_KEYS else key


def _cross_faults(tables: Mapping[str, Any], own: Mapping[str, set[str]], file: str) -> list[Finding]:
    """Names in one table that another does not know, found in the raw tables so that other faults hide none."""
    systems, vats = _tables(tables, "system"), _tables(tables, "vat")
    known = f"one of {', '.join(sorted(systems))}"
    faults = [
        Finding(f"{file}, vat.{name}, system", str(table["system"]), known)
        for name, table in vats.items()
        if "system" in own[name] and isinstance(table["system"], str) and table["system"] not in systems
    ]
    folded: dict[str, str] = {}
    for identity in vats:
        twin = folded.setdefault(identity.casefold(), identity)
        if twin != identity:
            faults.append(
                Finding(f"{file}, vat.{identity}", identity, f"a name that differs from {twin} by more than case")
            )
    for name, routine in _tables(tables, "routine").items():
        where, system, vat = f"{file}, routine.{name}", routine.get("system"), routine.get("vat")
        if not isinstance(system, str):
            continue
        if system not in systems:
            faults.append(Finding(f"{where}, system", system, known))
        elif isinstance(vat, str) and vat and vats.get(vat, {}).get("system") != system:
            faults.append(Finding(f"{where}, vat", vat, f"a vat of system {system}"))
    return faults
