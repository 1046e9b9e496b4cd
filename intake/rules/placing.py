"""Rules on animals entering a vat: room, air, filter, light and water, what the vat is for, and who stood there before."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from math import ceil

from intake.farm.floor import Stay
from intake.farm.site import Vat
from intake.rules.acts import Placing, Portion
from intake.rules.scene import Scene
from intake.rules.suitability import suits
from intake.rules.values import Broken, Rule, Severity, rule
from intake.rules.water import carried, closed_by
from intake.water import oxygen as water_oxygen

__all__ = ["RULES"]

RULES: list[Rule] = []
"""In the order in which they are shown."""

_PRACTICE = "common practice, no source"
_LIBRARY = "the group's value in the husbandry library"


def _fresh(act: Placing) -> list[Portion]:
    """Rows that come into a water they did not be in: not those that stand, nor those moved within one system."""
    return [] if act.door == "check" else list(act.rows)


def _new_to_water(scene: Scene, act: Placing) -> list[Portion]:
    def other(row: Portion) -> bool:
        if act.door == "undo" and any(stay.batch == row.batch.id for stay in scene.in_water(scene.system(row.vat).id)):
            return False  # they were counted out by mistake and never left
        return row.source not in scene.site.vats or scene.system(row.source).id != scene.system(row.vat).id

    return [row for row in _fresh(act) if other(row)]


def _vats(scene: Scene, act: Placing) -> list[Vat]:
    return [scene.site.vat(name) for name in dict.fromkeys(row.vat for row in act.rows)]


def _ids(act: Placing, vat: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.batch.id for row in act.rows if row.vat == vat))


def _who(row: Portion) -> str:
    return f"{row.count} of {row.batch.id} {row.batch.name}"


@rule("vat-closed", "A closed vat takes no animals", "refuse", "farm file, or `vatside close`", Placing, book=RULES)
def vat_closed(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Closed by the farm file or by a person; those that stood there before may stay."""
    for vat in _vats(scene, act):
        rows = [row for row in act.rows if row.vat == vat.id]
        entered = None
        if act.door == "check":
            entered = max(stay.since for stay in scene.floor.in_vat(vat.id))
        words = scene.closed_words(vat.id, act.at, entered)
        if words:
            names = ", ".join(_who(row) for row in rows)
            do = f"Choose another vat, or open it first: vatside open {vat.id}."
            yield Broken(f"{names}: {vat.id} is {words}.", vat.id, "an open vat", words, do, _ids(act, vat.id))


@rule("bench-area", "Animals need the bench area of their group", "reason", _LIBRARY, Placing, book=RULES)
def bench_area(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Footprints of all who would be in the vat against its bench, in mm² rounded against the animals' crowding."""
    after = scene.after(act)
    for vat in _vats(scene, act):
        used = sum(
            ceil(after.group(after.batch(one.batch)).footprint.of(after.batch(one.batch).size_mm) * 100 - 1e-6)
            * one.count
            for one in after.floor.in_vat(vat.id)
        )
        have = int(vat.area_m2 * 1e6 + 1e-6)
        if used > have:
            percent = 100 * used / have
            what = (
                f"{vat.id} would be {percent:.0f} % full."
                if act.door != "check"
                else f"{vat.id} is {percent:.0f} % full."
            )
            do = "Place fewer, or use another vat."
            yield Broken(what, vat.id, f"{used / 1e6:.3f} m²", f"{have / 1e6:.3f} m²", do, _ids(act, vat.id))


@rule(
    "oxygen", "Animals need more oxygen than reaches the vat at its alarm level", "reason",
    "saturation after Garcia & Gordon 1992, flow through the vat and aeration of the farm file; uptake: library",
    Placing, book=RULES,
)  # fmt: skip
def oxygen(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Uptake of all in the vat against through-flow above the alarm level and aeration, in mg O₂ per hour."""
    after = scene.after(act)
    for vat in _vats(scene, act):
        here = after.floor.in_vat(vat.id)
        need = sum(_uptake(after, one) for one in here)
        system = scene.system(vat.id)
        alarm = max((after.group(after.batch(one.batch)).oxygen.alarm_mg_per_l for one in here), default=0.0)
        saturation = water_oxygen.oxygen_mg_per_l(system.temperature_c, system.salinity_psu)
        have = vat.turnover_per_h * vat.volume_l * max(0.0, saturation - alarm) + vat.aeration_mg_per_h
        if need > have + 1e-6:
            what = f"{vat.id}: the animals take up more oxygen than the vat is given."
            do = "Place fewer, or aerate more and say so in farm.toml."
            yield Broken(what, vat.id, f"{need:.0f} mg/h", f"{have:.0f} mg/h", do, _ids(act, vat.id))


def _uptake(scene: Scene, stay: Stay) -> float:
    batch = scene.batch(stay.batch)
    return scene.group(batch).oxygen.mg_per_h(batch.size_mm) * stay.count


@rule(
    "filter", "A system's filter takes up only so much ammonia", "reason",
    "0.28 g N per m² and day, Nijhof & Bovendeur 1990 (abstract), or the farm's own figure; excretion: library",
    Placing, book=RULES,
)  # fmt: skip
def filter_load(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Excretion of everybody in the water against the filter's budget, in mg N per hour."""
    after = scene.after(act)
    for system in scene.waters(row.vat for row in act.rows):
        need = 0.0
        for stay in after.in_water(system.id):
            need += _uptake(after, stay) * after.group(after.batch(stay.batch)).ammonia.mg_n_per_mg_o2
        have = system.nitrogen_budget_mg_per_h
        if system.matured is not None and scene.day(act.at) < system.matured:
            have *= scene.site.planning.new_filter_percent / 100.0
        if need > have + 1e-6 and any(
            after.group(row.batch).ammonia.mg_n_per_mg_o2 > 0
            for row in act.rows
            if scene.system(row.vat).id == system.id
        ):
            animals = tuple(row.batch.id for row in act.rows if scene.system(row.vat).id == system.id)
            what = f"The filter of {system.id} cannot take up what the animals give off."
            yield Broken(
                what, system.id, f"{need:.0f} mg N/h", f"{have:.0f} mg N/h", "Place fewer in this water.", animals
            )


_SUIT_WORDS = {
    "stage-role": "A vat is used for its role: newcomers in quarantine, cuttings to heal",
    "reserve": "A vat kept in reserve is for trouble",
    "anemone-intakes": "Every intake is guarded where an anemone stands: it walks into pumps, is shredded and fouls the water",
    "temperature": "The water of the system is within the group's temperatures",
    "salinity": "The water of the system is within the group's salinities",
    "depth": "The vat is as deep as the group needs",
    "flow": "The flow of the vat can be set to what the group bears",
    "light": "The light of the vat can be set to the group's target",
    "light-day-one": "The light of the vat goes down to what newcomers bear on day 1",
}


_SUIT_SOURCES = {"stage-role": _PRACTICE, "reserve": _PRACTICE, "anemone-intakes": f"{_PRACTICE} (K48)"}
_SUIT_DO = {"anemone-intakes": "Guard every intake, set guarded = true for the vat in farm.toml, and watch it for 5 d."}


def _suit_rule(identity: str) -> None:
    severity: Severity = "warn" if identity == "reserve" else "reason"
    source = _SUIT_SOURCES.get(identity, _LIBRARY)

    @rule(identity, _SUIT_WORDS[identity], severity, source, Placing, book=RULES)
    def suit(scene: Scene, act: Placing) -> Iterator[Broken]:
        for row in act.rows:
            if act.door == "check" and identity in {"light-day-one", "reserve", "stage-role"}:
                continue
            if act.door == "stock" and identity in {"light-day-one", "stage-role"}:
                continue
            vat, system = scene.site.vat(row.vat), scene.system(row.vat)
            if identity == "stage-role" and _beside_parent(scene, row):
                continue
            landing = row.source in {"", "dock"} and act.door != "stock"
            for one in suits(scene.group(row.batch), row.stage, landing=landing):
                if one.id == identity and not one.test(vat, system):
                    need = f"{one.resource}" if identity not in {"depth"} else f"{one.need:g} mm"
                    said = {"stage-role": system.role, "anemone-intakes": "no guards on record"}
                    have = said.get(identity, f"{one.offer(vat, system):g} {one.unit}".rstrip())
                    what = f"{_who(row)} in {row.vat}: {one.resource}."
                    do = _SUIT_DO.get(identity, "Choose another vat.")
                    yield Broken(what, row.vat, need, have, do, (row.batch.id,))


def _beside_parent(scene: Scene, row: Portion) -> bool:
    """Whether cuttings heal in the water their parent is in: in quarantine they stay in it."""
    water = {stay.batch for stay in scene.in_water(scene.system(row.vat).id)}
    return row.stage == "healing" and row.batch.parent in water


for _name in _SUIT_WORDS:
    _suit_rule(_name)


@rule(
    "fallow", "A quarantine vat stands empty, clean and dry between two lots", "reason",
    "fallow_days of the vat in farm.toml", Placing, book=RULES,
)  # fmt: skip
def fallow(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Days from the last animal of another lot to the first of this one."""
    if act.door == "stock":
        return
    for row in _fresh(act):
        vat = scene.site.vat(row.vat)
        if scene.system(row.vat).role != "quarantine" or scene.floor.in_vat(row.vat):
            continue
        left = scene.last_left(row.vat, act.at)
        if left is None or left[1] not in scene.floor.batches or _same_lot(scene, row, left[1]):
            continue
        have = (scene.day(act.at) - scene.day(left[0])).days
        if have < vat.fallow_days:
            free = left[0] + timedelta(days=vat.fallow_days)
            what = f"{_who(row)}: {row.vat} was left by {left[1]} only {have} day{'s' if have != 1 else ''} ago."
            do = f"Wait until {scene.day_words(free)}, or use another vat."
            yield Broken(what, row.vat, f"{vat.fallow_days} days", f"{have} days", do, (row.batch.id,))


def _same_lot(scene: Scene, row: Portion, other: str) -> bool:
    mine, theirs = scene.origin(row.batch), scene.origin(scene.batch(other))
    return mine.id == other or bool(mine.shipment and mine.shipment == theirs.shipment)


@rule("other-lot", "Lots in quarantine vats go all in, all out", "reason", "S73; common practice", Placing, book=RULES)
def other_lot(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Two lots in one quarantine vat: the newcomer restarts the clock of the lot that is there."""
    after = scene.after(act)
    for vat in _vats(scene, act):
        if scene.system(vat.id).role != "quarantine":
            continue
        here = after.floor.in_vat(vat.id)
        lots: dict[str, list[str]] = {}
        for stay in here:
            lots.setdefault(after.lot(after.batch(stay.batch), stay.since), []).append(stay.batch)
        mine = {row.batch.id for row in act.rows if row.vat == vat.id}
        if len(lots) > 1 and any(mine & set(batches) for batches in lots.values()):
            told = "; ".join(f"{lot}: {', '.join(batches)}" for lot, batches in lots.items())
            what = f"{vat.id} would hold {len(lots)} lots: {told}."
            do = "Use an empty vat: the last lot in sets the release date of all."
            yield Broken(what, vat.id, "1 lot", f"{len(lots)} lots", do, tuple(sorted(mine)))


@rule(
    "other-supplier", "Lots of different suppliers do not share quarantine water", "reason",
    "S73; common practice; `suppliers_share` of the system lifts it", Placing, book=RULES,
)  # fmt: skip
def other_supplier(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Suppliers in one quarantine water, the house being one of them."""
    after = scene.after(act)
    for system in scene.waters(row.vat for row in act.rows):
        if system.role != "quarantine" or system.suppliers_share:
            continue
        by = {stay.batch: after.supplier(after.batch(stay.batch)) for stay in after.in_water(system.id)}
        mine = {row.batch.id for row in act.rows if scene.system(row.vat).id == system.id}
        if len(set(by.values())) > 1:
            names = ", ".join(sorted(set(by.values())))
            what = f"{system.id} would hold lots of {len(set(by.values()))} suppliers: {names}."
            yield Broken(
                what,
                system.id,
                "1 supplier",
                f"{len(set(by.values()))} suppliers",
                "Use other water.",
                tuple(sorted(mine)),
            )


@rule(
    "water-finding", "Water with a standing finding takes no newcomers that can catch it", "reason",
    "host-free days of hazards.csv", Placing, book=RULES,
)  # fmt: skip
def water_finding(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Positive water is closed to susceptible newcomers until it has stood without hosts, or was emptied and dried."""
    for row in _new_to_water(scene, act):
        system = scene.system(row.vat).id
        for one in closed_by(scene, system, row.batch, act.at):
            free = f"free of hosts from {scene.day_words(one.free)}" if one.free else "hosts are in it"
            seen = f"{one.name} on {one.found.batch}, {scene.day_words(one.found.at)}"
            what = f"{_who(row)}: the water of {row.vat} ({system}) has a finding: {seen}."
            do = (
                f"Wait: {row.vat} is {free}."
                if one.free
                else "Use other water, or empty, clean and dry every vat of it."
            )
            yield Broken(what, row.vat, one.words, free, do, (row.batch.id,), one.source)


@rule(
    "carries-finding", "A batch with a standing finding does not go among animals that can catch it", "reason",
    "pests carried between groups: hazards.csv", Placing, book=RULES,
)  # fmt: skip
def carries_finding(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Snails carry pyramidellids to clams, whatever the group they were found on."""
    for row in _new_to_water(scene, act):
        system = scene.system(row.vat).id
        for found, struck in carried(scene, row.batch, system, act.at):
            what = (
                f"{row.batch.id} carries {found.what} ({scene.day_words(found.at)}) to {', '.join(struck)} in {system}."
            )
            do = "Leave it in its own water until it has been found clean."
            yield Broken(what, row.vat, "a clean inspection after its quarantine", found.what, do, (row.batch.id,))


@rule(
    "copper-water", "No invertebrate enters water that has held copper", "refuse",
    "Z02, Z77; cleared by cleaning and two days under 5 µg/L (default)", Placing, book=RULES,
)  # fmt: skip
def copper_water(scene: Scene, act: Placing) -> Iterator[Broken]:
    """Copper stays in pipes, filters and rock; no reason lifts this."""
    rows = list(act.rows) if act.door == "check" else _fresh(act)
    for row in rows:
        system = scene.system(row.vat)
        since = scene.copper(system.id, act.at)
        if since is not None and scene.group(row.batch).kind != "fish":
            what = f"{_who(row)}: the water of {row.vat} ({system.id}) held copper on {scene.day_words(since)}."
            do = "Use other water. Clear it by cleaning every vat, then copper under 5 µg/L on two days."
            yield Broken(what, row.vat, "water without copper", f"copper on {scene.day(since)}", do, (row.batch.id,))


@rule(
    "medicated-water", "Newcomers do not enter water with a medicine they may not meet", "reason",
    "K04 and verdicts.csv; gone after cleaning every vat or 30 days (default)", Placing, book=RULES,
)  # fmt: skip
def medicated_water(scene: Scene, act: Placing) -> Iterator[Broken]:
    """A medicine in a system's water is everybody's, also of those who come after."""
    for row in _fresh(act):
        system = scene.system(row.vat).id
        for agent, at in scene.medicines(system, act.at):
            verdict = scene.library.verdict(agent, row.batch.group, row.batch.name)
            if verdict.verdict != "allowed":
                what = f"{_who(row)}: {agent} went into the water of {system} on {scene.day_words(at)}."
                do = "Wait for the prescriber's word and a test animal, or use other water."
                yield Broken(
                    what, row.vat, "water without it", verdict.reason or agent, do, (row.batch.id,), verdict.source
                )
