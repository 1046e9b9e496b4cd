"""One batch in quarantine with everything that is the same for all its work, and what every task shares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil

from intake.farm.floor import Batch, Done, Floor, Stay
from intake.farm.site import Site
from intake.library import Group, Library
from intake.quarantine.needs import Condition, Need
from intake.quarantine.quarantine_clock import Clock

__all__ = [
    "LONGEST_PART_MIN",
    "SET_UP_MIN",
    "Case",
    "blank",
    "done_of",
    "minutes_for",
    "part_number",
    "parts_of",
    "slotted",
]

LONGEST_PART_MIN = 180
"""Work longer than this is cut into parts, so that several people can share it: house rule, no source."""

SET_UP_MIN = 10
"""Minutes to lay out and clear away, in every piece of work: design default, time your own crew."""


@dataclass(frozen=True, slots=True)
class Case:
    """One batch with everything that is the same for all its work."""

    batch: Batch
    group: Group
    library: Library
    site: Site
    floor: Floor
    clock: Clock
    condition: Condition
    began: Mapping[str, str]


def blank(case: Case, stay: Stay, count: int) -> Need:
    """A need of the batch in a vat with nothing said yet of what is to be done."""
    landed = case.clock.entered
    return Need(
        uid="",
        kind="inspection",
        batch=case.batch.id,
        vat=stay.vat,
        system=case.site.vat(stay.vat).system,
        title="",
        earliest=landed,
        nominal=landed,
        latest=landed,
        minutes=15,
        why="",
        evidence="practice",
        source="common practice, no source",
        unsourced=True,
        headcount=count,
        condition=case.condition,
        entered=landed,
    )


def done_of(case: Case, uid: str) -> Done | None:
    """The record that a task was done, if there is one."""
    return next((one for one in case.floor.done if one.task == uid), None)


def minutes_for(count: int, per_hour: float) -> int:
    """Minutes for ``count`` animals at ``per_hour`` by one person, setting up included."""
    return ceil(count / per_hour * 60.0) + SET_UP_MIN


def slotted(minutes: int) -> int:
    """Minutes rounded up to the quarter hours in which people are booked."""
    return ceil(minutes / 15) * 15


def parts_of(need: Need, at_least: int = 1) -> list[Need]:
    """Long work as several shorter pieces; the first keeps the uid, so that it stays when the number of parts falls.

    In a series each part follows the same part of the repeat before: the lag holds for all animals, not for the first.
    ``at_least`` so many: work of which a second part is recorded had two, however few animals are left.
    """
    pieces = max(ceil(need.minutes / LONGEST_PART_MIN), at_least)
    if pieces <= 1:
        return [need]
    repeats = need.after.rpartition("/")[0] == need.uid.rpartition("/")[0]
    return [
        replace(
            need,
            uid=_part_of(need.uid, piece),
            after=_part_of(need.after, piece) if repeats else need.after,
            title=f"{need.title} (part {piece} of {pieces})",
            minutes=ceil(need.minutes / pieces),
            headcount=need.headcount * piece // pieces - need.headcount * (piece - 1) // pieces,
        )
        for piece in range(1, pieces + 1)
    ]


def part_number(uid: str) -> int:
    """Which part of a piece of work a uid names; 1 for the first and for work that was not cut."""
    return int(uid.partition("/part-")[2] or 1)


def _part_of(uid: str, piece: int) -> str:
    return uid if piece == 1 else f"{uid}/part-{piece}"
