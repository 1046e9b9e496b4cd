"""Which vats suit a group in a stage whatever else stands there, and the rule that rules them all out."""

from __future__ import annotations

from intake.farm.site import Site
from intake.library import Group
from intake.plan.problem import Excluded
from intake.rules.suitability import suits

__all__ = ["suited"]


def suited(site: Site, group: Group, stage: str, *, landing: bool) -> tuple[tuple[str, ...], tuple[Excluded, ...]]:
    """Vats for a group in a stage, in the order of the farm file; if none, what each rule needs and the farm has.

    The rules are those every act is held against (``rules.suitability``).

    Parameters
    ----------
    landing
        Whether this is the batch's first stage, where the vat's light must go down to what is borne on day 1.
    """
    vats = [(vat, site.systems[vat.system]) for vat in site.vats.values()]
    for one in suits(group, stage, landing=landing):
        left = [(vat, system) for vat, system in vats if one.test(vat, system)]
        if not left:
            have = _nearest(one.need, [one.offer(vat, system) for vat, system in vats])
            where = ", ".join(sorted({system.id for _, system in vats})) or "whole farm"
            return (), (Excluded(one.resource, f"{stage} in {where}", one.need, have),)
        vats = left
    return tuple(vat.id for vat, _ in vats), ()


def _nearest(need: float, have: list[float]) -> float:
    return min(have, key=lambda value: (abs(value - need), value), default=0.0)
