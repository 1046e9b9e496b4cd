"""Rules on company: who may not touch, share a vat or share water with whom, and whom one setting of a vat cannot suit."""

from __future__ import annotations

from collections.abc import Iterator

from intake.farm.floor import Batch, Stay
from intake.library.company_rows import Incompatible
from intake.rules.acts import Joining, Placing
from intake.rules.scene import Scene
from intake.rules.suitability import one_setting
from intake.rules.values import Broken, Rule, rule
from intake.rules.water import closed_by

__all__ = ["RULES"]

RULES: list[Rule] = []

_SOURCE = "pairs of incompatible.toml, each with its own source"

_Pair = tuple[Stay, Stay, Incompatible]


def _met(scene: Scene, act: Placing) -> Iterator[_Pair]:
    """Every pair of stays of one water, one of them proposed, with each pair of the library they fall under."""
    after = scene.after(act)
    mine = {(row.batch.id, row.vat) for row in act.rows}
    told: set[tuple[str, ...]] = set()
    for system in after.waters(row.vat for row in act.rows):
        here = after.in_water(system.id)
        for number, one in enumerate(here):
            for other in here[number:]:
                fresh = (one.batch, one.vat) in mine or (other.batch, other.vat) in mine
                alone = one is other and one.count < 2
                if not fresh or alone:
                    continue
                for pair in scene.library.pairs(after.kin(after.batch(one.batch)), after.kin(after.batch(other.batch))):
                    key = (*sorted((f"{one.batch} {one.vat}", f"{other.batch} {other.vat}")), pair.kind, pair.why)
                    if key not in told:
                        told.add(key)
                        yield one, other, pair


def _meets(scene: Scene, one: Stay, other: Stay, pair: Incompatible) -> bool:
    """Whether two stays meet in the way the pair forbids; a caution is given for animals of one name only where it is theirs."""
    alike = scene.batch(one.batch).name == scene.batch(other.batch).name
    if alike is not pair.same_name and (pair.caution or pair.same_name):
        return False
    if one is other:  # a kind that may not meet its own, kept singly
        return pair.kind != "touch" or not scene.site.vat(one.vat).divided
    if pair.kind == "water":
        return True
    return one.vat == other.vat and (pair.kind == "vat" or not scene.site.vat(one.vat).divided)


_NEED = {
    "touch": "a divider between them, or another vat",
    "vat": "vats of their own",
    "water": "water of their own",
}


def _company(scene: Scene, act: Placing, kind: str, *, caution: bool) -> Iterator[Broken]:
    after = scene.after(act)
    for one, other, pair in _met(scene, act):
        if pair.kind != kind or pair.caution is not caution or not _meets(after, one, other, pair):
            continue
        here, there = after.batch(one.batch), after.batch(other.batch)
        where = one.vat if one.vat == other.vat else after.system(one.vat).id
        animals = tuple(dict.fromkeys((here.id, there.id)))
        if one is other:
            kept = pair.why if caution else f"kept singly, {pair.why}"
            do = "Give them hiding places and watch them." if caution else "Place one alone."
            what = f"{one.count} of {here.id} {here.name} in {one.vat}: {kept}."
            yield Broken(what, where, "1 animal", f"{one.count} animals", do, animals, pair.source)
            continue
        what = f"{_name(here)} with {_name(there)} in {where}: {pair.why}."
        have = "one vat" if one.vat == other.vat else "one water"
        do = "Mind it." if caution else f"Give them {_NEED[pair.kind]}."
        yield Broken(what, where, _NEED[pair.kind], have, do, animals, pair.source)


def _name(batch: Batch) -> str:
    return f"{batch.id} {batch.name}"


@rule("company-touch", "Animals that harm each other by touch are divided", "reason", _SOURCE, Placing, book=RULES)
def company_touch(scene: Scene, act: Placing) -> Iterator[Broken]:
    """In one vat without dividers."""
    yield from _company(scene, act, "touch", caution=False)


@rule("company-vat", "Animals that eat or crowd each other do not share a vat", "reason", _SOURCE, Placing, book=RULES)
def company_vat(scene: Scene, act: Placing) -> Iterator[Broken]:
    """In one vat, whatever divides it."""
    yield from _company(scene, act, "vat", caution=False)


@rule(
    "company-water",
    "Animals that poison or infect each other do not share water",
    "reason",
    _SOURCE,
    Placing,
    book=RULES,
)
def company_water(scene: Scene, act: Placing) -> Iterator[Broken]:
    """In one system."""
    yield from _company(scene, act, "water", caution=False)


@rule("company-caution", "Company that is borne but watched", "warn", _SOURCE, Placing, book=RULES)
def company_caution(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Shown beside the act, never in its way; what stands is not shown again."""
    if act.door != "check":
        for kind in ("touch", "vat", "water"):
            yield from _company(scene, act, kind, caution=True)


@rule(
    "one-setting", "One light and one flow of a vat suit everybody in it", "reason",
    "light and flow of the groups in the husbandry library", Placing, book=RULES,
)  # fmt: skip
def setting(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Two groups in one vat whose targets of light, or classes of flow, do not meet."""
    after = scene.after(act)
    mine = {(row.batch.id, row.vat) for row in act.rows}
    for vat in dict.fromkeys(row.vat for row in act.rows):
        here = after.floor.in_vat(vat)
        told: set[frozenset[str]] = set()
        for number, one in enumerate(here):
            for other in here[number + 1 :]:
                pair = frozenset((after.batch(one.batch).group, after.batch(other.batch).group))
                fresh = (one.batch, vat) in mine or (other.batch, vat) in mine
                alike = one_setting(after.group(after.batch(one.batch)), after.group(after.batch(other.batch)))
                if not fresh or pair in told or alike:
                    continue
                told.add(pair)
                names = f"{_name(after.batch(one.batch))} and {_name(after.batch(other.batch))}"
                what = f"{names} in {vat} need different light or flow."
                animals = (one.batch, other.batch)
                yield Broken(what, vat, "ranges that meet", "ranges apart", "Give them vats of their own.", animals)


@rule(
    "joined-water", "A vat joins only water its animals may share", "reason",
    "company, findings and copper of both waters", Joining, book=RULES,
)  # fmt: skip
def joined_water(scene: Scene, act: Joining) -> Iterator[Broken]:
    """Company of the water kind between those in the vat and those in the system."""
    inside = scene.floor.in_vat(act.vat)
    for one in inside:
        for other in scene.in_water(act.system):
            if other.vat == act.vat:
                continue
            here, there = scene.batch(one.batch), scene.batch(other.batch)
            for pair in scene.library.pairs(scene.kin(here), scene.kin(there)):
                if pair.kind == "water" and not pair.caution:
                    what = (
                        f"{_name(here)} in {act.vat} would share water with {_name(there)} in {other.vat}: {pair.why}."
                    )
                    do = "Move them first."
                    yield Broken(what, act.system, _NEED["water"], "one water", do, (here.id, there.id), pair.source)


def _strangers(scene: Scene, act: Joining) -> Iterator[tuple[Batch, str]]:
    """Each batch with the water that would be new to it: those in the vat, and those in the system it joins."""
    old = scene.system(act.vat).id
    inside = [one.batch for one in scene.floor.in_vat(act.vat)]
    there = [one.batch for one in scene.in_water(act.system) if one.vat != act.vat and old != act.system]
    for names, water in ((inside, act.system), (there, old)):
        for name in dict.fromkeys(names):
            yield scene.batch(name), water


@rule(
    "joined-finding", "A vat joins no water with a standing finding, and brings none, for animals that can catch it", "reason",
    "host-free days of hazards.csv", Joining, book=RULES,
)  # fmt: skip
def joined_finding(scene: Scene, act: Joining) -> Iterator[Broken]:
    """Either way: what closes the water to newcomers closes it to a vat, and a vat that was cleaned and dry brings nothing."""
    clean = scene.floor.cleaned.get(act.vat) if not scene.floor.in_vat(act.vat) else None
    for batch, water in _strangers(scene, act):
        for one in closed_by(scene, water, batch, act.at):
            if water != act.system and clean is not None and clean >= one.found.at:
                continue
            seen = f"{one.name} on {one.found.batch}, {scene.day_words(one.found.at)}"
            what = f"{_name(batch)} would share water with {water}, which has a finding: {seen}."
            yield Broken(what, act.vat, one.words, "a standing finding", "Do not join them.", (batch.id,), one.source)


@rule(
    "joined-supplier", "A vat joins no quarantine water with lots of another supplier", "reason",
    "S73; common practice; `suppliers_share` of the system lifts it", Joining, book=RULES,
)  # fmt: skip
def joined_supplier(scene: Scene, act: Joining) -> Iterator[Broken]:
    """The house is one of them; an empty vat joins any water."""
    system = scene.site.systems[act.system]
    inside = {one.batch for one in scene.floor.in_vat(act.vat)}
    both = inside | {one.batch for one in scene.in_water(act.system)}
    names = sorted({scene.supplier(scene.batch(one)) for one in both})
    if inside and system.role == "quarantine" and not system.suppliers_share and len(names) > 1:
        what = f"{act.system} would hold lots of {len(names)} suppliers: {', '.join(names)}."
        have = f"{len(names)} suppliers"
        yield Broken(what, act.system, "1 supplier", have, "Do not join them.", tuple(sorted(inside)))


@rule(
    "joined-medicine", "A vat joins no water with a medicine its animals may not meet, and brings none", "reason",
    "K04 and verdicts.csv; gone after cleaning every vat or 30 days (default)", Joining, book=RULES,
)  # fmt: skip
def joined_medicine(scene: Scene, act: Joining) -> Iterator[Broken]:
    """Either way; copper has its own rule."""
    for batch, water in _strangers(scene, act):
        for agent, at in scene.medicines(water, act.at):
            verdict = scene.library.verdict(agent, batch.group, batch.name)
            if verdict.verdict != "allowed":
                what = f"{agent} went into the water of {water} on {scene.day_words(at)}; {_name(batch)} would meet it."
                have = verdict.reason or agent
                yield Broken(what, act.vat, "water without it", have, "Do not join them.", (batch.id,), verdict.source)


@rule(
    "joined-copper", "No invertebrate is joined to water that has held copper", "refuse",
    "Z02, Z77; cleared by cleaning and two days under 5 µg/L (default)", Joining, book=RULES,
)  # fmt: skip
def joined_copper(scene: Scene, act: Joining) -> Iterator[Broken]:
    """Either way: copper in the vat's old water comes with its pipes, copper in the new one flows in."""
    for system, others in (
        (act.system, scene.floor.in_vat(act.vat)),
        (scene.system(act.vat).id, scene.in_water(act.system)),
    ):
        since = scene.copper(system, act.at)
        soft = sorted({one.batch for one in others if scene.group(scene.batch(one.batch)).kind != "fish"})
        if since is not None and soft:
            what = f"{system} held copper on {scene.day_words(since)}; {', '.join(soft)} would meet it."
            yield Broken(
                what, act.vat, "water without copper", f"copper on {scene.day(since)}", "Do not join them.", tuple(soft)
            )
