"""What every sheet warns of: groups' own cautions, rules broken, company, agents in use, and what always applies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from intake.app.act_recording import asked
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House
from intake.farm.floor import Batch
from intake.language import phrase
from intake.receiving import arrival_dip
from intake.rules import Placing, Portion, Scene
from intake.rules.scene import portions

__all__ = ["ALWAYS", "OXIDISER", "cautions_of", "company_cautions", "gravest_of", "oxidiser_used", "rule_cautions"]

ALWAYS = (
    phrase("Cover cuts. Wear long gloves."),
    phrase(
        "A bump that does not heal, or a wound red and painful within a day: see a doctor. "
        "Mention seawater and aquarium animals."
    ),
    phrase(
        "Electricity: switch off pumps and heaters before putting hands in. "
        "Ground-fault protection on every wet circuit."
    ),
    phrase("Two people for anything above 20 kg; no one alone during opening or chemical dips."),
)
OXIDISER = phrase("Never mix bleach with acid or ammonia; dilute oxidizers into water, goggles and gloves on.")

_OXIDISERS = (
    "iodine",
    "peroxide",
    "hypochlor",
    "chlorine",
    "chlorite",
    "bleach",
    "permanganate",
    "persulf",
    "peroxymono",
)
"""Words in an agent's name by which it is an oxidiser."""


def oxidiser_used(house: House, batches: Sequence[Batch]) -> bool:
    """Whether a dip of the timetable, or of the day of arrival, is an oxidizer."""
    mine = {batch.id for batch in batches}
    agents = [str(task.get("agent") or "") for task in published_tasks(house) if task["batch"] in mine]
    for batch in batches:
        dip = arrival_dip(house.site, house.library, house.library.group(batch.group)) if batch.shipment else None
        if dip is not None:
            agents.append(f"{dip.id} {dip.agent}")
    return any(word in agent.lower() for agent in agents for word in _OXIDISERS)


def cautions_of(house: House, batches: Sequence[Batch]) -> tuple[str, ...]:
    """Cautions of the groups, of the agents in use, and those printed on every sheet."""
    lines: list[str] = []
    for batch in batches:
        lines += [f"{house.language.retell(text)}." for text in house.library.group(batch.group).cautions.text]
    lines += rule_cautions(house, batches)
    lines += company_cautions(house, batches)
    if oxidiser_used(house, batches):
        lines.append(house.language.say(OXIDISER))
    return tuple(dict.fromkeys([*lines, *map(house.language.say, ALWAYS)]))


_MOST_COMPANY = 3
"""Cautions on company a sheet has room for."""


def rule_cautions(house: House, batches: Sequence[Batch]) -> list[str]:
    """Every rule broken where these batches stand now, or would stand by the accepted plan; gravest first.

    What lands with them is placed with them: company and room are judged for the whole shipment.
    """
    mine, floor = {batch.id for batch in batches}, house.floor()
    vats = dict.fromkeys(stay.vat for stay in floor.stays if stay.batch in mine and stay.vat in house.site.vats)
    proposed = [Placing(floor.at, portions(floor.in_vat(vat), floor), "check") for vat in vats]
    landing = {batch.shipment for batch in batches if batch.shipment} - set(floor.received)
    with_them = {one.id: one for one in floor.batches.values() if one.shipment in landing}
    new = {one.id: one for one in batches if one.shipment not in floor.received}
    coming = tuple(_planned(house, {**with_them, **new}))
    for shipment in dict.fromkeys(portion.batch.shipment for portion in coming):
        together = tuple(portion for portion in coming if portion.batch.shipment == shipment)
        proposed.append(Placing(_placed_at(house, shipment), together, "plan"))
    found = [one for one in asked(house, *proposed) if mine & set(one.animals) and one.id != "company-caution"]
    retell = house.language.retell
    return list(dict.fromkeys(f"{retell(one.what)} {retell(one.do)}" for one in found if one.severity != "warn"))


def _placed_at(house: House, shipment: str) -> datetime:
    """When a shipment still to come is placed at the earliest: what is fallow today may be ready on its day."""
    facts = live_shipments(house).get(shipment)
    lands = datetime.fromisoformat(str(facts["lands"])) if facts is not None else house.now
    return max(house.now, lands)


def _planned(house: House, batches: Mapping[str, Batch]) -> Iterator[Portion]:
    """First places of batches still to land, by the accepted plan."""
    for row in accepted_rows(house):
        batch, vat = batches.get(str(row["batch"])), str(row["vat"])
        if batch is not None and vat in house.site.vats and row["stage"] == "quarantine":
            yield Portion(batch, vat, int(str(row["count"])), "", "quarantine")


def company_cautions(house: House, batches: Sequence[Batch]) -> list[str]:
    """What the rules bear but watch: company of these batches in their water that is a caution and no breach."""
    scene = Scene(house.site, house.library, house.floor())
    lines: dict[str, None] = {}
    for batch in batches:
        vats = [stay.vat for stay in scene.floor.stays if stay.batch == batch.id and stay.vat in house.site.vats]
        for system in scene.waters(vats):
            for stay in scene.in_water(system.id):
                other = scene.batch(stay.batch)
                for pair in house.library.pairs(scene.kin(batch), scene.kin(other)):
                    near = pair.kind == "water" or stay.vat in vats
                    if pair.caution and near and (other.name == batch.name) is pair.same_name:
                        why = house.language.retell(pair.why)
                        lines[_together(house, batch.name, other.name, why)] = None
    return list(lines)[:_MOST_COMPANY]


def _together(house: House, one: str, other: str, why: str) -> str:
    return house.language.say("{one} with {other}: {why}.", one=one, other=other, why=why)


_DEADLY = ("palytoxin", "cone", "venom", "sting", "toxin")
"""Words by which a caution is kept on the run sheet, which has room for what can kill or maim only."""


def gravest_of(house: House, batches: Sequence[Batch]) -> tuple[str, ...]:
    """The gravest of :func:`cautions_of`, each with the batches it is about, every broken rule, and those that always apply."""
    about: dict[str, list[str]] = {}
    for batch in batches:
        for text in house.library.group(batch.group).cautions.text:
            if any(word in text.lower() for word in _DEADLY):
                about.setdefault(f"{house.language.retell(text)}.", []).append(batch.id)
    used = (house.language.say(OXIDISER),) if oxidiser_used(house, batches) else ()
    return (
        *(f"{', '.join(ids)}: {text}" for text, ids in about.items()),
        *rule_cautions(house, batches),
        *used,
        *map(house.language.say, ALWAYS),
    )
