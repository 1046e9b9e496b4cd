"""Which vats suit a group in a stage whatever else is there, and the rule that rules them all out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from intake.farm.floor import Batch
from intake.farm.site import Site
from intake.library import Group
from intake.plan.problem import Excluded
from intake.rules import Scene
from intake.rules.suitability import suits
from intake.rules.water import closed_by

__all__ = ["open_to", "suited"]


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


def open_to(
    scene: Scene, batch: Batch, vats: Sequence[str], at: datetime, stage: str
) -> tuple[tuple[str, ...], tuple[Excluded, ...]]:
    """Of some vats those whose water takes a batch at a moment: no finding it can catch, no copper for invertebrates.

    The rules are those every act is held against; if no vat is left, what would free one.
    """
    waters = {scene.system(vat).id for vat in vats}
    soft = scene.group(batch).kind != "fish"
    copper = {water for water in waters if soft and scene.copper(water, at) is not None}
    found = {water: closed_by(scene, water, batch, at) for water in waters - copper}
    left = tuple(vat for vat in vats if scene.system(vat).id not in copper and not found[scene.system(vat).id])
    if left or not vats:
        return left, ()
    free = [
        (max(one.free for one in rows if one.free is not None), water)
        for water, rows in found.items()
        if rows and all(one.free is not None for one in rows)
    ]
    when = "; ".join(f"{water} is free of hosts from {scene.day_words(moment)}" for moment, water in sorted(free))
    why = "water without a standing finding" if found else "water that never held copper"
    where = f"{stage} in {', '.join(sorted(waters))}" + (f" ({when})" if when else "")
    return (), (Excluded(why, where, 1, 0),)
