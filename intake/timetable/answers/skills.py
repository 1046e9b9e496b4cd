"""Skills no one has, or too few: one line for each treatment with who could learn it and what it would place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from intake.farm.site import Site
from intake.timetable.problem import Unplaced

__all__ = ["Lacking", "lacking"]


@dataclass(frozen=True, slots=True)
class Lacking:
    """A treatment that waits for a skill.

    Attributes
    ----------
    name
        The treatment.
    could_learn
        Ids of people who work at the vats and do not have the skill.
    places
        Number of tasks that would be placed.
    """

    skill: str
    name: str
    could_learn: tuple[str, ...]
    places: int


def lacking(unplaced: Iterable[Unplaced], site: Site) -> tuple[Lacking, ...]:
    """What could not be placed for want of a skill, by treatment."""
    counts: dict[tuple[str, str], int] = {}
    for one in unplaced:
        if one.skill:
            key = one.skill, one.title.split(":")[0] or one.kind
            counts[key] = counts.get(key, 0) + 1
    return tuple(
        Lacking(skill, name, _could_learn(site, skill), number) for (skill, name), number in sorted(counts.items())
    )


def _could_learn(site: Site, skill: str) -> tuple[str, ...]:
    people = [person for person in site.people.values() if person.role != "read-only" and skill not in person.skills]
    return tuple(person.id for person in sorted(people, key=lambda person: (-len(person.skills), person.id)))
