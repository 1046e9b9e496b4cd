"""The first days after landing: order of acts, rest before treatment, light ramps, first food, clams' feet, handling."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache

from intake.library.library_tables import rows_of
from intake.library.library_values import Sourced

__all__ = ["AfterArrival", "ArrivalRule", "LightRamp", "read_after_arrival"]

_DAYS = re.compile(r"over (\d+) d")
_HOLD = re.compile(r"hold (\d+) d")


class ArrivalRule(Sourced):
    """One row of the table.

    Attributes
    ----------
    topic
        What it is about: ``order``, ``rest-before-treatment``, ``max-treatments``, ``light-ramp``, ``feeding-start``,
        ``clam-orientation``, ``clam-foot``, ``clam-response``, ``air-exposure`` and others.
    groups
        Patterns of group ids; ``all`` for every group.
    applies_to
        Agents, moment or circumstance.
    value, unit
        The figure, as text where it is a word.
    """

    id: str
    topic: str
    groups: tuple[str, ...]
    applies_to: str = ""
    value: str = ""
    unit: str = ""
    rule: str = ""
    note: str = ""

    def covers(self, group: str) -> bool:
        """Whether the row speaks of this husbandry group."""
        return any(pattern.startswith("all") or fnmatchcase(group, pattern) for pattern in self.groups)


@dataclass(frozen=True, slots=True)
class LightRamp:
    """Light from landing to target: a share of the target's minimum on day 1, in a straight line to it over so many days.

    ``hold_days`` at the start share where the lot is pale.
    """

    start_share: float
    days: int
    hold_days: int
    source: str
    unsourced: bool

    def steps(self) -> tuple[tuple[int, float], ...]:
        """(Day after placing, share of target) of every step, each of a tenth of the target at most.

        References
        ----------
        A025–A039 of the table: steps of at most 10 % of the target a day.
        """
        count = max(1, round((1.0 - self.start_share) / 0.1 - 1e-9)) if self.start_share < 1 else 0
        rows = [(0, self.start_share)]
        for number in range(1, count + 1):
            share = self.start_share + (1.0 - self.start_share) * number / count
            rows.append((round(self.days * number / count), round(share, 3)))
        return tuple(rows)


@dataclass(frozen=True)
class AfterArrival:
    """The whole table."""

    rows: tuple[ArrivalRule, ...]

    def of(self, topic: str, group: str) -> tuple[ArrivalRule, ...]:
        """Rows of a topic that speak of a group."""
        return tuple(row for row in self.rows if row.topic == topic and row.covers(group))

    def light(self, group: str) -> LightRamp | None:
        """The light ramp of a group; ``None`` for groups that need none or stay low."""
        for row in self.of("light-ramp", group):
            days, hold = _DAYS.search(row.rule), _HOLD.search(row.rule)
            if days is not None:
                return LightRamp(float(row.value), int(days[1]), int(hold[1]) if hold else 0, row.source, row.unsourced)
        return None

    def first_food(self, group: str) -> tuple[float, ArrivalRule] | None:
        """Hours after placing before the first food, and the row; ``None`` where light is the food or nothing is said."""
        for row in self.of("feeding-start", group):
            if row.value.replace(".", "", 1).isdigit():
                return float(row.value), row
        return None

    def rest_hours(self, group: str, agents: Sequence[str]) -> tuple[float, ArrivalRule] | None:
        """Hours after placing before a treatment with these agents, and the row that says so; the longest that applies.

        Infinite where none is allowed.
        """
        found: list[tuple[float, ArrivalRule]] = []
        for row in self.of("rest-before-treatment", group):
            hours = float(row.value) if row.value.replace(".", "", 1).isdigit() else float("inf")
            if any(_means(row.applies_to, agent) for agent in agents):
                found.append((hours, row))
        return max(found, key=lambda pair: pair[0], default=None)


_WORDS: Mapping[str, tuple[str, ...]] = {
    "iodine": ("iodine", "povidone"),
    "fresh-water": ("fresh-water",),
    "brushing": ("mechanical-brush",),
    "copper": ("copper",),
    "formalin": ("formalin",),
    "chloroquine": ("chloroquine",),
    "peroxide": ("peroxide",),
    "hyposalinity": ("hyposal",),
}
_MECHANICAL = ("mechanical", "inspection")
_WITHOUT_PRESCRIBER = ("iodine", "povidone", "fresh-water", "hyposal")


def _means(applies_to: str, agent: str) -> bool:
    """Whether an agent class falls under the words of a row."""
    named = any(word in applies_to and agent.startswith(starts) for word, starts in _WORDS.items())
    chemical = not agent.startswith(_MECHANICAL)
    ordered = chemical and not agent.startswith(_WITHOUT_PRESCRIBER)
    general = chemical and any(word in applies_to for word in ("any ", "anything else"))
    return named or general or (ordered and "prescriber baths" in applies_to)


@lru_cache(maxsize=4)
def read_after_arrival(data: bytes) -> AfterArrival:
    """The table from its file.

    Raises
    ------
    BadInput
        A row that cannot be used.
    """
    return AfterArrival(rows_of(ArrivalRule, data, "after_arrival.csv", {"groups": ";"}))
