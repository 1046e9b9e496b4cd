"""Which vats suit a group in a stage whatever else is there, and the rule that rules them all out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from intake.farm.floor import Batch
from intake.farm.site import Site
from intake.library import Group
from intake.plan.problem import Excluded, Opening
from intake.rules import Scene
from intake.rules.suitability import suits
from intake.rules.water import closed_by, standing_findings

__all__ = ["open_to", "open_vats", "openings", "reserved", "strays_go_to", "suited"]


def suited(site: Site, group: Group, stage: str, *, landing: bool) -> tuple[tuple[str, ...], tuple[Excluded, ...]]:
    """Vats for a group in a stage, in the order of the farm file; if none, the fewest rules one vat breaks.

    The rules are those every act is held against (``rules.suitability``).

    Parameters
    ----------
    landing
        Whether this is the batch's first stage, where the vat's light must go down to what is borne on day 1.
    """
    every = [(vat, site.systems[vat.system]) for vat in site.vats.values()]
    tests = suits(group, stage, landing=landing)
    failed = {vat.id: tuple(one for one in tests if not one.test(vat, system)) for vat, system in every}
    found = tuple(name for name, wrong in failed.items() if not wrong)
    if found:
        return found, ()
    roles = [name for name, wrong in failed.items() if all(one.id != "stage-role" for one in wrong)]
    least = min(roles or failed, key=lambda name: len(failed[name]), default="")
    told = failed.get(least, tests[:1])
    excluded = []
    for one in told:
        lacking = [(vat, system) for vat, system in every if one in failed[vat.id] and (vat.id in roles or not roles)]
        have = _nearest(one.need, [one.offer(vat, system) for vat, system in lacking])
        where = ", ".join(sorted({system.id for _, system in lacking})) or "whole farm"
        excluded.append(Excluded(one.resource, f"{stage} in {where}", one.need, have))
    return (), tuple(excluded)


def reserved(site: Site, group: Group, stage: str, *, landing: bool) -> tuple[str, ...]:
    """Vats that would suit a group in a stage, were they not kept in reserve, and that have a price a week."""
    tests = [one for one in suits(group, stage, landing=landing) if one.id != "reserve"]
    return tuple(
        vat.id
        for vat in site.vats.values()
        if vat.reserve and vat.price_per_week and all(one.test(vat, site.systems[vat.system]) for one in tests)
    )


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
    when = "; ".join(_free_words(scene, water, moment) for moment, water in sorted(free))
    why = "water without a standing finding" if found else "water that never held copper"
    where = f"{stage} in {', '.join(sorted(waters))}" + (f" ({when})" if when else "")
    return (), (Excluded(why, where, 1, 0),)


def open_vats(scene: Scene, batch: Batch, stage: str, at: datetime) -> tuple[str, ...]:
    """Vats that suit a batch in a stage, in water that no finding and no copper closes to it at a moment."""
    return open_to(scene, batch, suited(scene.site, scene.group(batch), stage, landing=False)[0], at, stage)[0]


def strays_go_to(scene: Scene, batch: Batch, vat: str, at: datetime) -> tuple[str, ...]:
    """Quarantine vats in other water than that of a vat that take a lot; none while it carries a finding."""
    if standing_findings(scene, batch, at):
        return ()
    return tuple(one for one in open_vats(scene, batch, "quarantine", at) if scene.system(one) != scene.system(vat))


def openings(scene: Scene, batch: Batch, vats: Sequence[str], noon: datetime, day: int) -> tuple[Opening, ...]:
    """Waters with a finding that are closed at noon of a day of the plan and open by waiting, each with its first open noon."""
    soft, by_water = scene.group(batch).kind != "fish", dict[str, list[str]]()
    for vat in vats:
        by_water.setdefault(scene.system(vat).id, []).append(vat)
    rows = []
    for water, inside in by_water.items():
        found = closed_by(scene, water, batch, noon)
        free = [one.free for one in found if one.free is not None]
        if found and len(free) == len(found) and not (soft and scene.copper(water, noon) is not None):
            wait = (scene.day(max(free)) - scene.day(noon)).days
            late = max(free) > noon + timedelta(days=wait)  # on the farm's clock, as noon is
            rows.append(Opening(day + wait + late, tuple(inside), _free_words(scene, water, max(free))))
    return tuple(sorted(rows, key=lambda one: (one.day, one.words)))


def _free_words(scene: Scene, water: str, moment: datetime) -> str:
    return f"{water} is free of hosts from {scene.day_words(moment)}"
