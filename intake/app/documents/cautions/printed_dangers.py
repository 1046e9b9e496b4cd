"""What can kill or hurt a person whose hand goes into a vat: read from the animals there, with the farm's emergency line.

What can kill stands apart, in white on black; what only hurts is a mark and a line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from intake.app.documents.cautions.sheet_cautions import ALWAYS, company_cautions, oxidiser_used
from intake.app.queries.biosecurity.standing_breaches import standing_breaches
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.session import House
from intake.farm.floor import Batch
from intake.language import phrase
from intake.library.groups import Group

if TYPE_CHECKING:
    from forms.documents.shared_content import Danger

__all__ = ["breach_lines", "emergency_of", "hurts_of", "kills_in", "kills_of", "wear_of", "wear_words"]

_LETHAL: dict[str, tuple[str, str, str, str]] = {
    "palytoxin": (
        "poison",
        phrase("PALYTOXIN in the slime."),
        phrase(
            "Gloves, eyes and face covered, keep wet. Never scrub, brush, heat, press or saw. "
            "Fever, metal taste, short breath: leave, get help, say “palytoxin”."
        ),
        phrase("PALYTOXIN: gloves, eyes and face covered"),
    ),
    "cone shell": (
        "cone",
        phrase("CONE SHELLS can kill."),
        phrase("Tongs only, never a hand under a shell."),
        phrase("CONE SHELLS: tongs only"),
    ),
}
"""Word in a group's cautions → mark, head, what to do, words for a label; the sources are those of the group."""
_GAS = (
    "gas",
    phrase("BLEACH + ACID or AMMONIA = POISON GAS."),
    phrase("Never mix. Oxidizer into water, gloves and goggles on."),
    "",
)
_MAINS = ("mains", phrase("MAINS POWER + SALT WATER."), phrase("Pumps and heaters off before hands go in."), "")
_HURTS = (
    ("stings", ("sting", "venom"), phrase("Stings: gloves")),
    ("cuts", ("cut", "spine", "shell edge", "bite"), phrase("Cuts: gloves")),
)
"""Mark, words in a group's cautions, words for a label: what hurts and does not kill."""


def _lethal(group: Group) -> list[str]:
    texts = " ".join(group.cautions.text).lower()
    return [word for word in _LETHAL if word in texts]


def kills_in(house: House, groups: Iterable[str]) -> tuple[Danger, ...]:
    """What can kill that is in the animals of these groups; nothing for most."""
    found = dict.fromkeys(word for group in groups for word in _lethal(house.library.group(group)))
    return tuple(_danger(house, *_LETHAL[word]) for word in found)


def _danger(house: House, mark: str, head: str, words: str, short: str) -> Danger:
    from forms.documents.shared_content import Danger

    say = house.language.say
    return Danger(mark, say(head), say(words), say(short))


def kills_of(house: House, batches: Sequence[Batch], *, most: int = 2) -> tuple[Danger, ...]:
    """What can kill at this work, gravest first: in the animals, in the agents used, and mains power beside the water.

    At most `most`: a list that is always there is not read.  What is left out of the strip stands in the line of
    :func:`wear_words`.
    """
    return _all_kills(house, batches)[:most]


def _all_kills(house: House, batches: Sequence[Batch]) -> tuple[Danger, ...]:
    gas = (_danger(house, *_GAS),) if batches and oxidiser_used(house, batches) else ()
    groups = [*(one.group for one in batches), *_neighbors(house, batches)]
    return (*kills_in(house, groups), _danger(house, *_MAINS), *gas)


def _neighbors(house: House, batches: Sequence[Batch]) -> list[str]:
    """Groups of what stands, or is planned to stand, in the vats of these batches: slime is in the water of all of them."""
    floor, mine = house.floor(), {one.id for one in batches}
    vats = {stay.vat for stay in floor.stays if stay.batch in mine}
    landed = {stay.batch for stay in floor.stays}
    coming = [row for row in accepted_rows(house) if row["stage"] != "grow-out" and str(row["batch"]) not in landed]
    vats |= {str(row["vat"]) for row in coming if row["batch"] in mine}
    beside = {stay.batch for stay in floor.stays if stay.vat in vats}
    if mine - landed:
        beside |= {str(row["batch"]) for row in coming if row["vat"] in vats}
    return [floor.batches[batch].group for batch in sorted(beside - mine) if batch in floor.batches]


def hurts_of(house: House, groups: Iterable[str]) -> tuple[Danger, ...]:
    """What hurts in the animals of these groups, worst first: for a mark in a row or on a label."""
    texts = " ".join(text for group in groups for text in house.library.group(group).cautions.text).lower()
    return tuple(
        _danger(house, mark, short, "", short) for mark, words, short in _HURTS if any(word in texts for word in words)
    )


def wear_of(house: House, batches: Sequence[Batch], protection: Iterable[str] = ()) -> tuple[str, ...]:
    """Marks of what to wear: gloves always, goggles and a face shield where animals or agents ask for them."""
    texts = " ".join(
        [*protection, *(text for one in batches for text in house.library.group(one.group).cautions.text)]
    ).lower()
    marks = ["gloves"]
    if any(word in texts for word in ("eye", "goggle")):
        marks.append("goggles")
    if "face" in texts:
        marks.append("face")
    return tuple(marks)


def wear_words(house: House, batches: Sequence[Batch], *, most: int = 2) -> str:
    """What only hurts, the breaches that stand, and what found no place in the strip, as sentences."""
    retell = house.language.retell
    told: list[str] = [f"{one.head} {one.words}" for one in _all_kills(house, batches)[most:]]
    for batch in batches:
        group = house.library.group(batch.group)
        lethal = bool(_lethal(group))
        told += [f"{retell(text)}." for text in group.cautions.text if not (lethal and _in_strip(text))]
    told += breach_lines(house, batches)
    told += company_cautions(house, batches)
    told += [house.language.say(_GROUND_FAULT if _SWITCHED in line else line) for line in ALWAYS]
    return " ".join(dict.fromkeys(told))


_SWITCHED = "Electricity: switch off pumps and heaters before putting hands in. "
"""What the strip says already."""
_GROUND_FAULT = phrase("Ground-fault protection on every wet circuit.")
"""What is left of it."""


def _in_strip(text: str) -> bool:
    return any(word in text.lower() for word in (*_LETHAL, "metallic taste"))


def breach_lines(house: House, batches: Sequence[Batch]) -> list[str]:
    """Every rule these batches break as things stand: company, water, treatment, placing; each with its rule's name."""
    mine, retell = {one.id for one in batches}, house.language.retell
    return [
        house.language.say("RULE BROKEN ({rule}), {where}: {what}", rule=one.id, where=one.where, what=retell(one.what))
        for one in standing_breaches(house)
        if mine & set(one.animals)
    ]


def emergency_of(house: House) -> str:
    """The farm's emergency line; empty where the farm file still holds words without a number, which are no number."""
    told = house.site.farm.emergency
    return told if any(character.isdigit() for character in told) else ""
