"""Which vats suit a group in a stage whatever else stands there, and the rule that rules them all out."""

from __future__ import annotations

from collections.abc import Callable

from intake.farm.site import Site, System, Vat
from intake.library import Group
from intake.plan.problem import Excluded

__all__ = ["suited"]

_ROLES = {"quarantine": ("quarantine",), "healing": ("healing", "grow-out"), "grow-out": ("grow-out",)}

_Test = Callable[[Vat, System], bool]
_Rule = tuple[str, float, _Test, Callable[[Vat, System], float]]


def suited(site: Site, group: Group, stage: str, *, landing: bool) -> tuple[tuple[str, ...], tuple[Excluded, ...]]:
    """Vats for a group in a stage, in the order of the farm file; if none, what each rule needs and the farm has.

    Parameters
    ----------
    landing
        Whether this is the batch's first stage, where the vat's light must go down to what is borne on day 1.
    """
    vats = [(vat, site.systems[vat.system]) for vat in site.vats.values()]
    for resource, need, test, offer in _rules(group, stage, landing=landing):
        left = [(vat, system) for vat, system in vats if test(vat, system)]
        if not left:
            have = _nearest(need, [offer(vat, system) for vat, system in vats])
            where = ", ".join(sorted({system.id for _, system in vats})) or "whole farm"
            return (), (Excluded(resource, f"{stage} in {where}", need, have),)
        vats = left
    return tuple(vat.id for vat, _ in vats), ()


def _rules(
    group: Group, stage: str, *, landing: bool
) -> list[tuple[str, float, _Test, Callable[[Vat, System], float]]]:
    """Rules one after the other: name, the figure needed, the test, the figure a vat has."""
    roles = _ROLES[stage]
    light = group.light
    rules: list[_Rule] = [
        (f"vats in systems of role {roles[0]}", 1, lambda _, system: system.role in roles, lambda _v, _s: 0),
        ("vats that are not kept in reserve", 1, lambda vat, _: not vat.reserve, lambda _v, _s: 0),
        (
            f"temperature °C, {group.temperature_c.min:g} to {group.temperature_c.max:g}",
            group.temperature_c.min,
            lambda _, system: group.temperature_c.holds(system.temperature_c),
            lambda _, system: system.temperature_c,
        ),
        (
            f"salinity PSU, {group.salinity_psu.min:g} to {group.salinity_psu.max:g}",
            group.salinity_psu.min,
            lambda _, system: group.salinity_psu.holds(system.salinity_psu),
            lambda _, system: system.salinity_psu,
        ),
        (
            "water depth mm",
            group.depth_min_mm,
            lambda vat, _: vat.water_depth_mm >= group.depth_min_mm,
            lambda vat, _: vat.water_depth_mm,
        ),
        (
            f"flow class, {group.flow.min} to {group.flow.max}",
            group.flow.min,
            lambda vat, _: vat.flow[0] <= group.flow.max and group.flow.min <= vat.flow[1],
            lambda vat, _: vat.flow[1],
        ),
    ]
    if light is not None:
        rules.append(
            (
                f"light µmol m⁻² s⁻¹, {light.target_min:g} to {light.target_max:g}",
                light.target_min,
                lambda vat, _: vat.light_umol[0] <= light.target_max and light.target_min <= vat.light_umol[1],
                lambda vat, _: vat.light_umol[1],
            )
        )
    if light is not None and landing:
        rules.append(
            (
                "light µmol m⁻² s⁻¹ on day 1, at most",
                light.day1_max,
                lambda vat, _: vat.light_umol[0] <= light.day1_max,
                lambda vat, _: vat.light_umol[0],
            )
        )
    return rules


def _nearest(need: float, have: list[float]) -> float:
    return min(have, key=lambda value: (abs(value - need), value), default=0.0)
