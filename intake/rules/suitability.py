"""Which vats suit a group in a stage, whoever else is there: asked by the plan for all vats, by an act for one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from intake.farm.site import System, Vat
from intake.library import Group

__all__ = ["ROLES", "Suit", "one_setting", "suits"]

ROLES = {
    "quarantine": ("quarantine",),
    "healing": ("healing", "grow-out"),
    "grow-out": ("grow-out",),
    "released": ("grow-out", "healing", "quarantine"),
}
"""Stage → roles of system it may be in."""


@dataclass(frozen=True, slots=True)
class Suit:
    """One thing a vat must offer: rule id, name with unit and range, figure needed, test, figure there and its unit."""

    id: str
    resource: str
    need: float
    test: Callable[[Vat, System], bool]
    offer: Callable[[Vat, System], float]
    unit: str = ""


def suits(group: Group, stage: str, *, landing: bool) -> tuple[Suit, ...]:
    """What a vat must offer a group, in the order in which vats are ruled out.

    Parameters
    ----------
    landing
        Whether this is the batch's first stage, where the vat's light must go down to what is borne on day 1.
    """
    return (*_house(stage), *_guards(group), *_water(group), *_light(group, landing=landing))


def _house(stage: str) -> Iterator[Suit]:
    roles = ROLES[stage]
    yield Suit(
        "stage-role", f"vats in systems of role {roles[0]}", 1, lambda _, system: system.role in roles, lambda _v, _s: 0
    )
    yield Suit("reserve", "vats that are not kept in reserve", 1, lambda vat, _: not vat.reserve, lambda _v, _s: 0)


def _guards(group: Group) -> Iterator[Suit]:
    if group.kind == "anemone":
        yield Suit("anemone-intakes", "vats with every intake guarded", 1, lambda vat, _: vat.guarded, lambda _v, _s: 0)


def _water(group: Group) -> Iterator[Suit]:
    warm, salt = group.temperature_c, group.salinity_psu
    yield Suit(
        "temperature",
        f"temperature °C, {warm.min:g} to {warm.max:g}",
        warm.min,
        lambda _, system: warm.holds(system.temperature_c),
        lambda _, system: system.temperature_c,
        "°C",
    )
    yield Suit(
        "salinity",
        f"salinity PSU, {salt.min:g} to {salt.max:g}",
        salt.min,
        lambda _, system: salt.holds(system.salinity_psu),
        lambda _, system: system.salinity_psu,
        "PSU",
    )
    yield Suit(
        "depth",
        "water depth mm",
        group.depth_min_mm,
        lambda vat, _: vat.water_depth_mm >= group.depth_min_mm,
        lambda vat, _: vat.water_depth_mm,
        "mm",
    )
    yield Suit(
        "flow",
        f"flow class, {group.flow.min} to {group.flow.max}",
        group.flow.min,
        lambda vat, _: vat.flow[0] <= group.flow.max and group.flow.min <= vat.flow[1],
        lambda vat, _: vat.flow[1],
    )


def _light(group: Group, *, landing: bool) -> Iterator[Suit]:
    light = group.light
    if light is None:
        return
    yield Suit(
        "light",
        f"light µmol m⁻² s⁻¹, {light.target_min:g} to {light.target_max:g}",
        light.target_min,
        lambda vat, _: vat.light_umol[0] <= light.target_max and light.target_min <= vat.light_umol[1],
        lambda vat, _: vat.light_umol[1],
    )
    if landing:
        yield Suit(
            "light-day-one",
            "light µmol m⁻² s⁻¹ on day 1, at most",
            light.day1_max,
            lambda vat, _: vat.light_umol[0] <= light.day1_max,
            lambda vat, _: vat.light_umol[0],
        )


def one_setting(one: Group, other: Group) -> bool:
    """Whether one light and one flow can suit two groups that would be in one vat."""
    flow = one.flow.min <= other.flow.max and other.flow.min <= one.flow.max
    if one.light is None or other.light is None:
        return flow
    return flow and one.light.target_min <= other.light.target_max and other.light.target_min <= one.light.target_max
