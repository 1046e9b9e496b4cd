"""Reading ``farm.toml``: tables into a checked farm, vats that are like another, and every fault by table and key."""

from __future__ import annotations

from typing import Any

from intake.errors import BadInput, Finding
from intake.farm.site import US_KEYS, Site
from intake.library.reading import model_of, toml_of

__all__ = ["read_site"]

_OWN = frozenset({"id", "name", "like", "reserve", "closed"})
"""What a vat never takes from the vat it is like."""

_FOOTPRINTS = (frozenset({"bench_area_m2"}), frozenset({"length_m", "width_m"}))
"""Two ways to say how large a bench is: who says it one way does not take it the other way too."""


def read_site(data: bytes, file: str = "farm.toml") -> Site:
    """Read and check a farm file.

    Raises
    ------
    BadInput
        With a finding per fault: file, table, key, value, what was expected.
    """
    tables = toml_of(data, file)
    for kind in ("supplier", "person", "station", "system", "vat", "routine"):
        named = tables.get(kind, {})
        if not isinstance(named, dict):
            raise BadInput(Finding(f"{file}, {kind}", str(named), f"tables written [{kind}.id]"))
        for identity, table in named.items():
            if not isinstance(table, dict):
                raise BadInput(
                    Finding(f"{file}, {kind}.{identity}", str(table), f"a table written [{kind}.{identity}]")
                )
            table["id"] = identity
            table.setdefault("name", identity)
    _fill_likenesses(tables.get("vat", {}), file)
    site = model_of(Site, tables, file)
    _cross_check(site, file)
    return site


def _fill_likenesses(vats: dict[str, dict[str, Any]], file: str) -> None:
    """Give every vat that is ``like`` another what it does not say itself."""
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
    if faults:
        raise BadInput(faults)


def _metric(key: str) -> str:
    return US_KEYS[key][0] if key in US_KEYS else key


def _cross_check(site: Site, file: str) -> None:
    faults = [
        Finding(f"{file}, vat.{vat.id}, system", vat.system, f"one of {', '.join(sorted(site.systems))}")
        for vat in site.vats.values()
        if vat.system not in site.systems
    ]
    folded: dict[str, str] = {}
    for identity in site.vats:
        twin = folded.setdefault(identity.casefold(), identity)
        if twin != identity:
            faults.append(
                Finding(f"{file}, vat.{identity}", identity, f"a name that differs from {twin} by more than case")
            )
    for routine in site.routines.values():
        where = f"{file}, routine.{routine.id}"
        if routine.system not in site.systems:
            faults.append(Finding(f"{where}, system", routine.system, f"one of {', '.join(sorted(site.systems))}"))
        elif routine.vat and routine.vat not in {vat.id for vat in site.vats_of(routine.system)}:
            faults.append(Finding(f"{where}, vat", routine.vat, f"a vat of system {routine.system}"))
    if faults:
        raise BadInput(faults)
