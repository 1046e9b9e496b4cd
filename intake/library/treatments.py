"""Treatments by what they are made of, and what each agent does to each group: allowed, forbidden, unknown or prescribed.

The rule belongs to the agent, not to the name of a dip: a dip names an agent class, and the class is looked up for the
group (and the genus or family) of every animal that meets it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from intake.errors import BadInput, Finding
from intake.library.library_values import Sourced

__all__ = ["COPPER", "MECHANICAL", "Treatment", "Treatments", "Verdict"]

COPPER = frozenset({"copper-ionic", "copper-chelated"})
"""Agent classes that leave copper in water, pipes and rock."""

MECHANICAL = frozenset({"inspection", "mechanical-brush", "mechanical-shake", "mechanical-removal"})
"""Agent classes without an agent: hands, brushes, eyes."""

_WORD = re.compile(r"[^\W_]+")


class Treatment(Sourced):
    """One way to treat animals or their water.

    Attributes
    ----------
    agent
        The class its verdicts are looked up by.
    where
        ``tub``: a bath beside the vat; ``vat``: in the water of a vat, which is that of its whole system; ``loop``: on
        the water loop, away from the animals; ``none``: a move or a look.
    contact_min, contact_max
        Minutes of contact, ``None`` where no limit is known.
    words
        What people write for the agent; compared word by word.
    """

    id: str
    name: str
    agent: str = Field(min_length=1)
    where: Literal["tub", "vat", "loop", "none"]
    prescription: Literal["yes", "no"]
    contact_min: float | None = Field(default=None, ge=0)
    contact_max: float | None = Field(default=None, ge=0)
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    salinity_min_psu: float | None = None
    salinity_max_psu: float | None = None
    words: tuple[str, ...] = ()
    dose_basis: str = ""
    protection: str = ""
    disposal: str = ""
    does_not_kill: str = ""


class Verdict(Sourced):
    """What one agent class may do to some groups, or to some genera or families of them.

    Attributes
    ----------
    override
        Who may lift it: ``never`` no one; ``veterinarian`` in writing for one batch; ``prescriber`` with a reference;
        ``test piece`` one animal, 24 h, and a reason; empty where nothing is to be lifted.
    """

    agent: str = Field(min_length=1)
    groups: tuple[str, ...] = Field(min_length=1)
    taxa: tuple[str, ...] = ()
    verdict: Literal["allowed", "forbidden", "unknown", "prescriber"]
    override: Literal["", "never", "veterinarian", "prescriber", "test piece"] = ""
    reason: str = ""

    @property
    def strictness(self) -> int:
        """Higher is stricter: allowed, unknown, prescriber, veterinarian only, never."""
        if self.verdict == "forbidden":
            return 3 if self.override == "veterinarian" else 4
        return {"allowed": 0, "unknown": 1, "prescriber": 2}[self.verdict]


@dataclass(frozen=True, slots=True)
class Treatments:
    """All treatments and verdicts of one library; ``own`` are the farm's, which win over what is shipped."""

    by_id: Mapping[str, Treatment]
    shipped: Sequence[Verdict]
    own: Sequence[Verdict] = ()

    @property
    def agents(self) -> tuple[str, ...]:
        """Every agent class, in the order of the table."""
        return tuple(dict.fromkeys(one.agent for one in self.by_id.values()))

    def of_agent(self, agent: str) -> Treatment | None:
        """The first treatment of an agent class; ``None`` for a class no one knows."""
        return next((one for one in self.by_id.values() if one.agent == agent), None)

    def meant(self, *texts: str) -> tuple[str, ...]:
        """Every agent class that free text may mean: ``Cu 0.2`` may be either kind of copper."""
        said = [_words(text) for text in texts]
        found = [
            one.agent
            for one in self.by_id.values()
            if any(_within(_words(word), words) for word in one.words for words in said)
        ]
        copper = any(word.startswith(("copper", "cupr")) for words in said for word in words)
        return tuple(dict.fromkeys([*found, *(sorted(COPPER) if copper else ())]))

    def verdict(self, agent: str, group: str, taxa: Iterable[str] = ()) -> Verdict:
        """The verdict on an agent class for a group; the strictest of group, genus and family counts.

        An agent or a group without a row is unknown where only hands are at work, and forbidden otherwise: an empty
        cell never means allowed.
        """
        names = frozenset(taxa)
        own = [one for one in self.own if _covers(one, agent, group, names)]
        rows = own or [one for one in self.shipped if _covers(one, agent, group, names)]
        if rows:
            return max(rows, key=lambda one: one.strictness)
        mechanical = agent in MECHANICAL
        return Verdict(
            agent=agent,
            groups=(group,),
            verdict="unknown" if mechanical else "forbidden",
            override="test piece" if mechanical else "never",
            reason="no row for this agent and this group: an empty cell never means allowed",
            source="design default",
            evidence="default",
        )

    def check_own(self, file: str) -> None:
        """Refuse farm rows that would lift what no one may lift.

        Raises
        ------
        BadInput
            Naming each row.
        """
        faults = []
        for number, one in enumerate(self.own, start=2):
            for group in one.groups:
                shipped = [row for row in self.shipped if _covers(row, one.agent, group, frozenset(one.taxa))]
                if any(row.override == "never" for row in shipped) and one.strictness < 4:
                    found = f"{one.verdict} for {group}"
                    do = "No farm file lifts this. Remove the row."
                    faults.append(Finding(f"{file}, row {number}, {one.agent}", found, "forbidden", do))
        if faults:
            raise BadInput(faults)


def _covers(one: Verdict, agent: str, group: str, taxa: frozenset[str]) -> bool:
    return one.agent == agent and group in one.groups and (not one.taxa or bool(taxa & set(one.taxa)))


def _words(text: str) -> list[str]:
    return _WORD.findall(text.casefold())


def _within(phrase: list[str], words: list[str]) -> bool:
    return bool(phrase) and any(words[at : at + len(phrase)] == phrase for at in range(len(words) - len(phrase) + 1))
