"""Rules on treatments: what may be done to whom, in whose water, by whose word, for how long, and how soon."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from math import isfinite

from intake.farm.floor import Batch
from intake.library import Verdict
from intake.library.treatments import COPPER, MECHANICAL
from intake.rules.acts import Treating
from intake.rules.scene import Scene
from intake.rules.values import Broken, Rule, rule

__all__ = ["RULES", "worst"]

RULES: list[Rule] = []

_MATRIX = "verdicts.csv, each row with its own source"

READ_WITHIN = timedelta(hours=24)
"""A water is as it was read within the last day; without a reading it is as the farm file sets it (design default)."""

TEST_HOURS = 24
TEST_DAYS = 180
"""A test piece speaks after a day, for half a year (the day: study, table of verdicts; the half year: design default)."""


def worst(scene: Scene, agents: tuple[str, ...], batch: Batch) -> tuple[str, Verdict] | None:
    """The strictest verdict on a batch among the agents a treatment may mean."""
    rows = [(agent, scene.library.verdict(agent, batch.group, batch.name)) for agent in agents]
    return max(rows, key=lambda row: row[1].strictness, default=None)


def _others(scene: Scene, act: Treating) -> list[Batch]:
    """Everybody else the agent would touch: no one for a bath in its own tub, all in the system otherwise."""
    if act.where != "vat":
        return []
    stays = [stay for system in scene.waters(act.vats) for stay in scene.in_water(system.id)]
    return [scene.batch(name) for name in sorted({stay.batch for stay in stays} - {act.batch.id})]


def _written(act: Treating) -> bool:
    return bool(act.prescriber.strip() and act.reference.strip())


def _place(act: Treating) -> str:
    return ", ".join(act.vats) or act.batch.id


@rule(
    "unknown-agent",
    "A treatment names an agent the library knows",
    "refuse",
    "study, How to read 1",
    Treating,
    book=RULES,
)
def unknown_agent(_scene: Scene, act: Treating) -> Iterator[Broken]:
    """A farm's own dip without an agent class cannot be judged."""
    if not act.agents:
        what = f"{act.dip} for {act.batch.id}: no one can say what is in it."
        do = "Name its agent_class in library/dips.toml, or name the agent."
        yield Broken(what, act.batch.id, "an agent class", "none", do, (act.batch.id,))


@rule(
    "copper", "No copper where it touches an invertebrate, live rock or algae", "refuse", _MATRIX, Treating, book=RULES
)
def copper(scene: Scene, act: Treating) -> Iterator[Broken]:
    """For the batch itself and for everybody whose water it is; no prescriber and no reason lifts it."""
    agent = next((one for one in act.agents if one in COPPER), "")
    for batch in (act.batch, *_others(scene, act)) if agent else ():
        if scene.group(batch).kind != "fish":
            verdict = scene.library.verdict(agent, batch.group, batch.name)
            what = f"Copper for {act.batch.id} would touch {batch.id} {batch.name}: {verdict.reason}."
            do = "Do not do it. No reason lifts this."
            yield Broken(what, _place(act), "no copper", agent, do, (batch.id,), verdict.source)


@rule("treatment-forbidden", "A forbidden treatment is not given", "refuse", _MATRIX, Treating, book=RULES)
def forbidden(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Never, or not without a veterinarian in writing; copper near invertebrates is reported by its own rule."""
    for agent in act.agents:
        verdict = scene.library.verdict(agent, act.batch.group, act.batch.name)
        if agent in COPPER and scene.group(act.batch).kind != "fish":
            continue
        if verdict.strictness == 4 or (verdict.strictness == 3 and not _written(act)):
            need = "no such treatment" if verdict.strictness == 4 else "a veterinarian in writing, for this batch"
            do = "Do not do it." if verdict.strictness == 4 else "Record --prescriber and --reference, with --despite."
            what = f"{agent} for {act.batch.id} {act.batch.name} ({act.batch.group}): {verdict.reason or 'forbidden'}."
            yield Broken(what, act.batch.id, need, agent, do, (act.batch.id,), verdict.source)


@rule(
    "treatment-veterinarian", "What only a veterinarian may lift is done with a reason", "reason", _MATRIX, Treating,
    book=RULES,
)  # fmt: skip
def veterinarian(scene: Scene, act: Treating) -> Iterator[Broken]:
    """In writing, for one batch: prescriber and reference stand with it."""
    for agent in act.agents:
        verdict = scene.library.verdict(agent, act.batch.group, act.batch.name)
        if verdict.strictness == 3 and _written(act):
            what = f"{agent} for {act.batch.id} {act.batch.name}: forbidden but for a veterinarian: {verdict.reason}."
            do = "Say why, in three words or more."
            yield Broken(what, act.batch.id, "a reason", act.reference, do, (act.batch.id,), verdict.source)


@rule(
    "prescription", "A prescription bath has prescriber, reference, agent, dose and the source of the dose", "refuse",
    "law of the place; FDA CVM 2020 (Z24), Regulation (EU) 2019/6 art. 34 (Z72)", Treating, book=RULES,
)  # fmt: skip
def prescription(scene: Scene, act: Treating) -> Iterator[Broken]:
    """There is no default dose."""
    dip = scene.library.dips.get(act.dip)
    verdicts = [scene.library.verdict(agent, act.batch.group, act.batch.name) for agent in act.agents]
    asked = (dip is not None and dip.prescription) or any(one.verdict == "prescriber" for one in verdicts)
    told = {
        "--prescriber": act.prescriber,
        "--reference": act.reference,
        "--agent": act.agent,
        "--strength": act.strength,
        "--dose-source": act.dose_source,
    }
    missing = [name for name, text in told.items() if not text.strip()]
    if asked and missing:
        what = f"{act.dip} for {act.batch.id} is a prescription bath."
        do = "Prescription baths have no default dose. Enter what the prescriber stated."
        yield Broken(what, act.batch.id, ", ".join(told), f"without {', '.join(missing)}", do, (act.batch.id,))


@rule(
    "treatment-unknown",
    "A treatment no one tried on this group needs a reason",
    "reason",
    _MATRIX,
    Treating,
    book=RULES,
)
def unknown(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Unknown never means allowed."""
    for agent in act.agents:
        verdict = scene.library.verdict(agent, act.batch.group, act.batch.name)
        if verdict.verdict == "unknown":
            what = f"{agent} for {act.batch.id} {act.batch.name} ({act.batch.group}): {verdict.reason or 'not tried'}."
            do = "Say why, in three words or more."
            yield Broken(what, act.batch.id, "a known effect", "unknown", do, (act.batch.id,), verdict.source)


@rule(
    "test-piece", "One piece is tried and watched for 24 h before the lot", "refuse",
    "study, rule 8: tolerance differs inside a genus (Z76)", Treating, book=RULES,
)  # fmt: skip
def test_piece(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Only for what is unknown; the test itself is one animal."""
    if act.test:
        return
    for agent in act.agents:
        if scene.library.verdict(agent, act.batch.group, act.batch.name).verdict != "unknown":
            continue
        tests = [
            one.at
            for one in scene.floor.done
            if one.kind == "test" and one.batch == act.batch.id and agent in one.agents and one.at <= act.at
        ]
        fit = [at for at in tests if timedelta(hours=TEST_HOURS) <= act.at - at <= timedelta(days=TEST_DAYS)]
        if not fit:
            have = f"tested {scene.day_words(max(tests))}" if tests else "no test"
            what = f"{agent} for {act.batch.id}: no test piece has stood {TEST_HOURS} h."
            do = f"Test one: vatside order {act.batch.id} {act.dip} --test-piece, wait 24 h, look, then order."
            yield Broken(what, act.batch.id, f"a test {TEST_HOURS} h old", have, do, (act.batch.id,))


@rule(
    "shared-water-treatment",
    "A medicine in a water is everybody's who shares it",
    "refuse",
    _MATRIX,
    Treating,
    book=RULES,
)
def shared_water(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Forbidden for one of them is forbidden in their water; copper is reported by its own rule."""
    for batch in _others(scene, act):
        for agent in act.agents:
            verdict = scene.library.verdict(agent, batch.group, batch.name)
            if verdict.verdict == "forbidden" and not (agent in COPPER and scene.group(batch).kind != "fish"):
                what = f"{agent} for {act.batch.id} in its water would touch {batch.id} {batch.name}: {verdict.reason}."
                do = "Treat it in a tub or in water of its own."
                yield Broken(what, _place(act), "no one who may not meet it", agent, do, (batch.id,), verdict.source)


@rule(
    "shared-water-unknown", "Others in the water of a medicine are thought of", "reason", _MATRIX, Treating, book=RULES
)
def shared_unknown(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Unknown, or prescribed for the one batch only."""
    for batch in _others(scene, act):
        for agent in act.agents:
            verdict = scene.library.verdict(agent, batch.group, batch.name)
            if verdict.verdict in {"unknown", "prescriber"}:
                what = f"{agent} for {act.batch.id} in its water reaches {batch.id} {batch.name} ({verdict.verdict})."
                do = "Treat it in a tub or in water of its own, or say why."
                yield Broken(what, _place(act), "no one else in the water", agent, do, (batch.id,), verdict.source)


@rule(
    "contact-time",
    "Contact stays inside the minutes of the treatment",
    "refuse",
    "treatments.csv",
    Treating,
    book=RULES,
)
def contact_time(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Minutes given against the limits of the dip's own treatment."""
    limits = scene.library.treatments.by_id.get(act.dip)
    if act.minutes is None or limits is None:
        return
    low, high = limits.contact_min or 0.0, limits.contact_max
    if act.minutes < low or (high is not None and act.minutes > high):
        need = f"{low:g}–{high:g} min" if high is not None else f"{low:g} min or more"
        what = f"{act.dip} for {act.batch.id}: {act.minutes:g} min."
        yield Broken(
            what, act.batch.id, need, f"{act.minutes:g} min", "Keep to the limit.", (act.batch.id,), limits.source
        )


def _read(scene: Scene, act: Treating, system: str, quantity: str) -> float | None:
    """The newest reading of a day of a system or of the vats treated in it: what the water is, not what it is set to."""
    places = {system, *(vat for vat in act.vats if scene.system(vat).id == system)}
    found = [
        one
        for one in scene.floor.readings
        if one.quantity == quantity
        and one.place.removeprefix("vat:") in places
        and act.at - READ_WITHIN <= one.at <= act.at
    ]
    return max(found, key=lambda one: one.at).value if found else None


def _bath(scene: Scene, act: Treating, quantity: str) -> Iterator[Broken]:
    limits = scene.library.treatments.by_id.get(act.dip)
    if limits is None:
        return
    warm = quantity == "temperature"
    low = limits.temperature_min_c if warm else limits.salinity_min_psu
    high = limits.temperature_max_c if warm else limits.salinity_max_psu
    if not warm and act.where != "vat":
        return  # a tub is made up for the bath
    unit = "°C" if warm else "PSU"
    for system in scene.waters(act.vats):
        read = _read(scene, act, system.id, "temperature_c" if warm else "salinity_psu")
        have = read if read is not None else system.temperature_c if warm else system.salinity_psu
        if (low is not None and have < low) or (high is not None and have > high):
            need = f"{low:g}–{high:g}" if low is not None and high is not None else f"{low or high:g}"
            what = f"{act.dip} for {act.batch.id} in water of {have:g} {unit} ({system.id})."
            do = "Bring the water into the range first."
            yield Broken(what, system.id, f"{need} {unit}", f"{have:g} {unit}", do, (act.batch.id,), limits.source)


@rule(
    "treatment-temperature",
    "A treatment is given at its temperatures",
    "refuse",
    "treatments.csv",
    Treating,
    book=RULES,
)
def treatment_temperature(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Of the water the animals come from: a bath is made up with it."""
    yield from _bath(scene, act, "temperature")


@rule(
    "treatment-salinity",
    "A medicine in a water is given at its salinities",
    "refuse",
    "treatments.csv",
    Treating,
    book=RULES,
)
def treatment_salinity(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Copper is never combined with low salinity; a low-salinity bath changes the water itself and is exempt."""
    if "hyposalinity" not in act.agents:
        yield from _bath(scene, act, "salinity")


@rule(
    "rest-after-arrival", "Newcomers rest before anything chemical or osmotic, clams before brushing", "reason",
    "after_arrival.csv, A009 to A015: cortisol back in 6 h to 1 d in fish (Z64, Z65); for invertebrates design defaults",
    Treating, book=RULES,
)  # fmt: skip
def rest(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Hours since the batch entered its first vat, by group and agent; eyes, tweezers and a shake need no rest."""
    agents = set(act.agents) - {"tank-transfer"}
    entered = _placed(scene, act.batch)
    if not act.work or not agents or entered is None or not act.batch.shipment:
        return
    found = scene.library.after_arrival.rest_hours(act.batch.group, sorted(agents))
    if found is None or not isfinite(found[0]):
        return  # where none is allowed at all, the matrix of treatments says so
    need, row = found
    hours = (act.at - entered).total_seconds() / 3600
    if hours < need:
        what = f"{act.dip} for {act.batch.id}, {hours:.0f} h after it was placed."
        do = "Wait. Velvet is the one emergency: the person who decides says so with --despite."
        source = f"{row.id}: {row.source}"
        yield Broken(what, act.batch.id, f"{need:g} h", f"{hours:.0f} h", do, (act.batch.id,), source)


def _placed(scene: Scene, batch: Batch) -> datetime | None:
    """When the batch entered its first vat, wherever it stands now."""
    now = [stay.since for stay in scene.floor.stays if stay.batch == batch.id]
    then = [past.start for past in scene.floor.past if past.batch == batch.id]
    return min((*now, *then), default=None)


@rule(
    "two-agents", "One agent a day, and 48 hours between two different ones", "reason", "A018, A019: design defaults",
    Treating, book=RULES,
)  # fmt: skip
def two_agents(scene: Scene, act: Treating) -> Iterator[Broken]:
    """Treatments done on the batch before, against this one."""
    mine = _chemical(act)
    if not act.work or not mine:
        return
    for done in scene.floor.done:
        agents = set(scene.agents_of(done)) - MECHANICAL - {"tank-transfer"}
        if done.batch != act.batch.id or not agents or done.at > act.at or done.kind == "test":
            continue
        need = 24 if agents == mine else 48
        hours = (act.at - done.at).total_seconds() / 3600
        if hours < need and not done.task.startswith(f"{act.batch.id}/{act.dip}/"):
            what = f"{act.dip} for {act.batch.id}, {hours:.0f} h after {', '.join(sorted(agents))}."
            do = "Wait, or say why it cannot."
            yield Broken(what, act.batch.id, f"{need} h", f"{hours:.0f} h", do, (act.batch.id,))


@rule(
    "weak-lot", "No bath for a lot with animals marked weak", "reason",
    "A022: S20 and common practice; the count that says none are weak lifts it", Treating, book=RULES,
)  # fmt: skip
def weak_lot(scene: Scene, act: Treating) -> Iterator[Broken]:
    """By the last count of weak animals of the batch; hands and eyes are no bath."""
    if not act.work or not _chemical(act):
        return
    rows = [one for one in scene.floor.readings if one.quantity == f"weak {act.batch.id}" and one.at <= act.at]
    last = max(rows, key=lambda one: one.at, default=None)
    if last is not None and last.value > 0:
        what = f"{act.dip} for {act.batch.id}: {last.value:.0f} marked weak on {scene.day_words(last.at)}."
        do = "Wait until a count says that none are weak."
        yield Broken(what, act.batch.id, "0 weak", f"{last.value:.0f} weak", do, (act.batch.id,))


@rule(
    "inspect-first", "Newcomers are looked over before anything chemical or osmotic", "reason",
    "A004, A005, A008: common practice, Z37", Treating, book=RULES,
)  # fmt: skip
def inspect_first(scene: Scene, act: Treating) -> Iterator[Broken]:
    """An inspection done, or a finding, clean ones too, since the batch entered its first vat."""
    entered = _placed(scene, act.batch)
    if not act.work or not _chemical(act) or entered is None or not act.batch.shipment:
        return
    looked = [one.at for one in scene.floor.found if one.batch == act.batch.id]
    looked += [
        one.at
        for one in scene.floor.done
        if one.batch == act.batch.id and (one.kind == "inspection" or set(scene.agents_of(one)) & MECHANICAL)
    ]
    if not any(entered <= at <= act.at for at in looked):
        what = f"{act.dip} for {act.batch.id}: no inspection since it was placed."
        do = f"Look it over first: vatside finding {act.batch.id} clean, or what you see."
        yield Broken(what, act.batch.id, "an inspection before treating", "none on record", do, (act.batch.id,))


def _chemical(act: Treating) -> set[str]:
    """Agents of a treatment that are more than hands and eyes; a transfer to another water is none."""
    return set(act.agents) - MECHANICAL - {"tank-transfer"}
