"""Rules on animals that endanger those around them: dying ones that foul a water, acoels under a bath, what is reportable."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from intake.farm.floor import Batch, Found
from intake.library.treatments import MECHANICAL
from intake.rules.acts import Counting, Cutting, Noticing, Treating
from intake.rules.scene import Scene
from intake.rules.values import Broken, Rule, rule
from intake.rules.water import found_in_water

__all__ = ["RULES"]

RULES: list[Rule] = []


@dataclass(frozen=True, slots=True)
class _Danger:
    """What a group does to a water when it is hurt or dies: to which kinds or groups, and what to do."""

    to: tuple[str, ...]
    words: str
    do: str
    source: str


_DYING = {
    "zoanthid": _Danger(
        ("fish", "decapod_crustacean"),
        "palytoxin in the water",
        "Gloves and eye protection. Take out what is sick or cut. Run carbon.",
        "derived from S89 (K28)",
    ),
    "anemone_host": _Danger(
        (),
        "a dying anemone fouls a whole vat within hours",
        "Take it out at a gaping mouth. Run carbon.",
        "common practice, no source (K26)",
    ),
}


def _hurt(act: Counting | Cutting | Noticing) -> Batch | None:
    """The batch an act says was hurt, is sick or died; ``None`` for a clean finding or a count without dead."""
    if isinstance(act, Cutting):
        return act.parent
    if isinstance(act, Noticing):
        return act.batch if act.what else None
    return act.batch if act.lost.get("dead", 0) else None


@rule(
    "dying-in-water", "Hurt, sick or dying animals that poison a water are taken out of it", "warn",
    "K26, K28; each with its own source", Counting, Cutting, Noticing, book=RULES,
)  # fmt: skip
def dying(scene: Scene, act: Counting | Cutting | Noticing) -> Iterator[Broken]:
    """Shown where others whom it strikes share the water."""
    batch = _hurt(act)
    danger = _DYING.get(batch.group) if batch is not None else None
    if batch is None or danger is None:
        return
    vats = [stay.vat for stay in scene.floor.stays if stay.batch == batch.id]
    for system in scene.waters(vats):
        met = sorted(
            other.id
            for other in {stay.batch: scene.batch(stay.batch) for stay in scene.in_water(system.id)}.values()
            if other.id != batch.id and (not danger.to or {other.group, scene.group(other).kind} & set(danger.to))
        )
        if met:
            what = f"{batch.id} {batch.name} in {system.id} beside {', '.join(met)}: {danger.words}."
            yield Broken(
                what, system.id, "water of its own", "shared water", danger.do, (batch.id, *met), danger.source
            )


@rule(
    "acoel-bath", "A water with acoel flatworms is not treated while animals stand in it", "reason",
    "read in Z36 (K29)", Treating, book=RULES,
)  # fmt: skip
def acoel_bath(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Dying acoels release poison that kills corals and fish: they are sucked off, and dipped outside in single-use water."""
    if act.where != "vat" or not set(act.agents) - MECHANICAL - {"tank-transfer"}:
        return
    for system in scene.waters(act.vats):
        seen = _newest(found_in_water(scene, system.id, "acoel", act.at))
        if seen is not None:
            animals = tuple(sorted({stay.batch for stay in scene.in_water(system.id)}))
            what = f"{act.dip} in the water of {system.id}, with acoels on {seen.batch} ({scene.day_words(seen.at)})."
            do = "Suck them off first. Dip outside, in single-use water."
            yield Broken(what, system.id, "no acoels in the water", "acoels", do, animals)


def _newest(found: tuple[Found, ...]) -> Found | None:
    return max(found, key=lambda one: one.at, default=None)


REPORTABLE = frozenset({"perkinsus"})
"""Hazards that are internationally reportable (K66; read in Z48)."""


@rule(
    "reportable", "Water and carcasses of a reportable disease go nowhere alive", "warn", "read in Z48 (K66)",
    Noticing, Counting, book=RULES,
)  # fmt: skip
def reportable(scene: Scene, act: Noticing | Counting) -> Iterator[Broken]:
    """On the finding, and with every death in a batch that has it."""
    if isinstance(act, Counting):
        mine = {one.what for one in scene.floor.found if one.batch == act.batch.id and one.at <= act.at}
        named = mine & REPORTABLE if act.lost.get("dead", 0) else set()
    else:
        named = {act.what} & REPORTABLE
    for what in sorted(named):
        words = f"{act.batch.id}: {scene.library.hazards[what].name} is internationally reportable."
        do = "Tell the authority. Disinfect the water, burn the carcasses. Nothing to the drain, the sea or other bivalves."
        yield Broken(words, act.vat or act.batch.id, "no water or carcass that leaves alive", what, do, (act.batch.id,))
