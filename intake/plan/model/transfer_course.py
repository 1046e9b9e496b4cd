"""The second vat of a tank transfer: kept empty in other water for as long as the course of the fish needs it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from intake.farm.floor import Batch, Floor
from intake.farm.site import Site
from intake.library import Dip, Group, Library
from intake.plan.model.eligibility import suited
from intake.plan.problem import BatchNeed, Excluded, Problem, StageNeed, Standing

__all__ = ["Course", "courses_of", "keep_second_vats"]


@dataclass(frozen=True, slots=True)
class Course:
    """The tank transfers of one lot: it goes back and forth between two vats in two waters, each left clean and dry.

    Attributes
    ----------
    lot
        What lands, or stands, together and may meet in the second vat.
    batches
        Its batches among those to be placed; empty for fish that stand on the farm.
    start, end
        Half-open days of the course.
    area_mm2
        Bench area of all its animals.
    vats
        Vats that suit all of them.
    systems
        Waters it stands in; empty for fish to come, whose first vat the plan still chooses.
    """

    lot: str
    batches: tuple[str, ...]
    start: int
    end: int
    area_mm2: int
    vats: tuple[str, ...]
    systems: tuple[str, ...] = ()

    def meets(self, start: int, end: int) -> bool:
        """Whether half-open days share one with the course."""
        return self.start < end and start < self.end


def courses_of(
    site: Site, library: Library, floor: Floor, problem: Problem, batches: Mapping[str, Batch]
) -> tuple[Course, ...]:
    """The courses under way and to come, lot by lot.

    Parameters
    ----------
    batches
        Every batch that stands or is to be placed, by id.
    """
    dips = {name: dip for name, one in batches.items() if (dip := _transfer(site, library, library.group(one.group)))}
    present: dict[str, list[Standing]] = {}
    for one in problem.standing:
        if one.stage == "quarantine" and one.batch in dips and one.from_day <= 0 and _left(dips, floor, one.batch):
            present.setdefault(one.shipment or one.batch, []).append(one)
    coming: dict[str, list[BatchNeed]] = {}
    for batch in problem.batches:
        if batch.id in dips and batch.quarantine >= 0 and not batch.excluded:
            coming.setdefault(batch.shipment or batch.id, []).append(batch)
    return (
        *(_under_way(site, library, floor, lot, stays, batches, dips) for lot, stays in present.items()),
        *(_to_come(lot, some, dips) for lot, some in coming.items()),
    )


def _transfer(site: Site, library: Library, group: Group) -> Dip | None:
    """The tank transfer of a group's protocol, if it is scheduled on this farm."""
    known = [library.dips[name] for name in group.dips]
    on = [
        dip for dip in known if dip.mode == "on" or (dip.mode == "optional" and dip.id in site.planning.optional_dips)
    ]
    return next((dip for dip in on if dip.kind == "transfer"), None)


def _left(dips: Mapping[str, Dip], floor: Floor, batch: str) -> int:
    """Transfers still to be made: those recorded as moves since the last finding on the batch count."""
    since = max((one.at for one in floor.found if one.batch == batch and one.what), default=None)
    done = [one for one in floor.done if one.batch == batch and one.kind == "transfer" and one.to]
    return max(0, dips[batch].baths - sum(since is None or one.at > since for one in done))


def _under_way(  # the facts of a course, all named
    site: Site, library: Library, floor: Floor, lot: str, stays: Sequence[Standing], batches: Mapping[str, Batch],
    dips: Mapping[str, Dip],
) -> Course:  # fmt: skip
    groups = {one.batch: library.group(batches[one.batch].group) for one in stays}
    vats = _in_all(suited(site, group, "quarantine", landing=False)[0] for group in groups.values())
    days = max(ceil(_left(dips, floor, one.batch) * (dips[one.batch].interval_days or 0.0)) for one in stays) + 1
    area = sum(one.footprint_mm2 * one.count for one in stays)
    systems = tuple(dict.fromkeys(site.system_of(one.vat).id for one in stays))
    return Course(lot, (), 0, days, area, vats, systems)


def _to_come(lot: str, some: Sequence[BatchNeed], dips: Mapping[str, Dip]) -> Course:
    stages = [batch.stages[batch.quarantine] for batch in some]
    start = min(stage.start_day for stage in stages)
    days = max(_days(dips[batch.id], batch.own_end - start) for batch in some)
    area = sum(batch.footprint_mm2 * batch.count for batch in some)
    return Course(lot, tuple(batch.id for batch in some), start, start + days, area, _in_all(s.vats for s in stages))


def _days(dip: Dip, whole: int) -> int:
    """Days for which the second vat is needed: after an even number of transfers the fish are back in the first."""
    last = dip.first_day + (dip.baths - 1) * (dip.interval_days or 0.0)
    return whole if dip.baths % 2 else min(whole, ceil(last) + 1)


def _in_all(rows: Iterable[Sequence[str]]) -> tuple[str, ...]:
    """Vats named in every row, in the order of the first."""
    first, *others = list(rows)
    return tuple(vat for vat in first if all(vat in row for row in others))


def keep_second_vats(problem: Problem, courses: Sequence[Course], fish: Collection[str]) -> Problem:
    """The problem with a second vat kept out of everybody's reach for each course, and both waters free of invertebrates.

    A course without a possible pair of waters leaves the problem as it is: the timetable reports that no vat is free.

    Parameters
    ----------
    courses
        Those under way first, then those to come.
    fish
        Ids of all batches that are fish, standing or to come.

    References
    ----------
    A transfer goes to an empty, dry vat in other water, and no invertebrate takes part (S54, S56; ``rules.transferring``).
    """
    for course in courses:
        kept = _second_vats(problem, course, fish)
        if kept:
            problem = _kept(problem, course, kept, fish)
    return problem


def _second_vats(problem: Problem, course: Course, fish: Collection[str]) -> tuple[str, ...]:
    """Vats of one water to keep, in the water with the fewest; none where the lot would have no water left to enter."""
    area = {vat.id: vat.area_mm2 for vat in problem.vats}
    choices: list[tuple[int, int, int, tuple[str, ...]]] = []
    by_water = dict(_free_by_water(problem, course, fish))
    for system, vats in by_water.items():
        others = [vat for other, free in by_water.items() if other != system for vat in free]
        kept: list[str] = []
        for vat in sorted(vats, key=lambda name: -area[name]):
            if sum(area[name] for name in kept) < course.area_mm2:
                kept.append(vat)
        enough = sum(area[name] for name in kept) >= course.area_mm2
        if enough and (course.systems or sum(area[name] for name in others) >= course.area_mm2):
            choices.append((len(vats), len(kept), -len(choices), tuple(kept)))
    return min(choices)[3] if choices else ()


def _free_by_water(problem: Problem, course: Course, fish: Collection[str]) -> Iterator[tuple[str, list[str]]]:
    """Waters a course may use with their vats that are free for all of it, without those the lot stands in."""
    offers = {vat.id: vat for vat in problem.vats}
    for system in dict.fromkeys(offers[vat].system for vat in course.vats):
        standing = [one for one in problem.standing if offers[one.vat].system == system]
        here = [one for one in standing if course.meets(one.from_day, one.until_day)]
        if system in course.systems or any(one.batch not in fish for one in here):
            continue
        taken = {one.vat for one in here}
        free = [
            vat
            for vat in course.vats
            if offers[vat].system == system
            and vat not in taken
            and not any(course.meets(first, last) for first, last in offers[vat].closed)
        ]
        if free:
            yield system, free


def _kept(problem: Problem, course: Course, kept: Sequence[str], fish: Collection[str]) -> Problem:
    """The vats closed for the course; the lot enters another water, and no invertebrate enters either."""
    offers = {vat.id: vat for vat in problem.vats}
    second = {offers[vat].system for vat in kept}
    waters = second | set(course.systems)
    entered = {system for system, _ in _free_by_water(problem, course, fish)} - second
    if not course.systems and len(entered) == 1:
        waters |= entered
    vats = tuple(
        replace(vat, closed=(*vat.closed, (course.start, course.end))) if vat.id in kept else vat
        for vat in problem.vats
    )
    in_waters = {vat.id for vat in problem.vats if vat.system in waters}
    unfit = {vat.id for vat in problem.vats if vat.system not in entered}
    batches = tuple(
        _without(batch, unfit, course)
        if batch.id in course.batches
        else batch
        if batch.id in fish
        else _without(batch, in_waters, course)
        for batch in problem.batches
    )
    return replace(problem, vats=vats, batches=batches)


def _without(batch: BatchNeed, vats: Collection[str], course: Course) -> BatchNeed:
    """A batch that keeps out of some vats in quarantine while a course runs."""
    stages = tuple(
        _elsewhere(stage, vats, course)
        if stage.stage == "quarantine" and course.meets(stage.start_day, stage.end_day)
        else stage
        for stage in batch.stages
    )
    return replace(batch, stages=stages)


def _elsewhere(stage: StageNeed, vats: Collection[str], course: Course) -> StageNeed:
    left = tuple(vat for vat in stage.vats if vat not in vats)
    stage = replace(stage, reserve=tuple(vat for vat in stage.reserve if vat not in vats))
    if left or not stage.vats:
        return replace(stage, vats=left)
    why = Excluded(f"water not kept for the tank transfers of {course.lot}", "quarantine", 1, 0)
    return replace(stage, vats=(), excluded=(*stage.excluded, why))
