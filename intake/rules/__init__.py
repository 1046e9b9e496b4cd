"""One set of rules: what may be done to whom, where, and why not; asked by every door and by the plan.

Pure judgements: a rule is a value with an id, its words, a severity, a source and a function from the scene (farm,
library, floor at a moment) and a proposed act to breaches, each naming the animals, the place, what is needed and what is
there.  :func:`breaches` is what a caller asks; :func:`standing` lists what stands broken now.
"""

from __future__ import annotations

from collections.abc import Iterable

from intake.farm.floor import Floor
from intake.farm.site import Site
from intake.library import Library
from intake.rules import company, dangers, placing, recording, transferring, treating
from intake.rules import standing as standing_now
from intake.rules.acts import (
    Act,
    Amending,
    Cleaning,
    Closing,
    Counting,
    Cutting,
    Joining,
    Leaving,
    Measuring,
    Noticing,
    Placing,
    Portion,
    Rebooking,
    Transferring,
    Treating,
    Undoing,
)
from intake.rules.scene import Scene
from intake.rules.values import SEVERITIES, Breach, Rule

__all__ = [
    "RULES",
    "SEVERITIES",
    "Act",
    "Amending",
    "Breach",
    "Cleaning",
    "Closing",
    "Counting",
    "Cutting",
    "Joining",
    "Leaving",
    "Measuring",
    "Noticing",
    "Placing",
    "Portion",
    "Rebooking",
    "Rule",
    "Scene",
    "Transferring",
    "Treating",
    "Undoing",
    "breaches",
    "reason_enough",
    "standing",
]

RULES: tuple[Rule, ...] = (
    *placing.RULES,
    *company.RULES,
    *treating.RULES,
    *transferring.RULES,
    *recording.RULES,
    *dangers.RULES,
)
"""Every rule of the farm, in the order of the table in the book."""


def breaches(site: Site, library: Library, floor: Floor, acts: Iterable[Act]) -> tuple[Breach, ...]:
    """Every breach of every rule by some acts proposed together, gravest first.

    Parameters
    ----------
    floor
        The farm at the moment of the acts, as now known.
    """
    scene = Scene(site, library, floor)
    found = [one for act in acts for rule in RULES for one in rule.breaches(scene, act)]
    order = list(SEVERITIES)
    return tuple(dict.fromkeys(sorted(found, key=lambda one: order.index(one.severity))))


def standing(site: Site, library: Library, floor: Floor) -> tuple[Breach, ...]:
    """Breaches that stand now, by vat; what the check lists."""
    return standing_now.standing(RULES, site, library, floor)


WORDS_OF_A_REASON = 3


def reason_enough(reason: str) -> bool:
    """Whether a reason has the three words it needs to be one."""
    return len([word for word in reason.split() if any(sign.isalnum() for sign in word)]) >= WORDS_OF_A_REASON
