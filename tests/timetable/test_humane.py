"""Hours people can stand, judged from the tasks alone: pauses, days off, changes of water, rest of the animals, company."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

import pytest

from intake.farm.site import Site
from intake.library import load
from intake.quarantine import Need, needs_for
from intake.timetable import Task, Timetable, schedule
from intake.timetable.build import build
from intake.timetable.search.hours import Hours
from intake.timetable.search.order import in_turn
from intake.timetable.search.serial import serial
from tests.timetable.farms import MONDAY, floor_of, site_of

LIBRARY = load()
CREW = """
[person.ann]
role = "owner"
skills = ["dip", "inspect", "fish", "acclimate", "open"]
starts = "07:30"
ends = "19:30"
[person.bo]
skills = ["dip", "inspect", "fish", "acclimate", "open"]
starts = "07:30"
ends = "17:30"
[person.cy]
skills = ["dip", "inspect", "acclimate", "open"]
starts = "09:00"
ends = "18:00"
[person.di]
role = "helper"
skills = ["inspect", "open"]
days = ["wed", "thu", "fri", "sat", "sun"]
starts = "09:00"
ends = "18:00"
"""
ROWS = [
    ("T-1", "clam_small", 200, "Q1a", MONDAY),
    ("T-2", "stony_montipora", 60, "Q1b", MONDAY),
    ("T-3", "fish_reef_safe", 20, "Q2a", MONDAY),
    ("T-4", "zoanthid", 50, "Q3b", MONDAY - timedelta(days=9)),
    ("T-5", "stony_branching_acropora", 80, "Q3a", MONDAY - timedelta(days=9)),
]
PAUSE = timedelta(minutes=15)


def bathing(site: Site) -> Site:
    """The farm with baths in iodine switched on."""
    dips = ("coral-freshwater-dip", "coral-iodine-dip", "zoanthid-iodine-dip")
    return site.model_copy(update={"planning": site.planning.model_copy(update={"optional_dips": dips})})


@cache
def crew_at_work() -> tuple[Site, tuple[Need, ...], Timetable]:
    """A crew of four with three quarantine waters, on the rules a farm has when it sets none."""
    site, floor = bathing(site_of(CREW, dip_places=2, systems=3, working="")), floor_of(ROWS)
    needs = needs_for(floor.stays, floor, LIBRARY, site, now=MONDAY)
    return site, needs, schedule(needs, site, now=MONDAY, seconds=0.5)


def days_of(table: Timetable) -> dict[tuple[str, date], list[Task]]:
    """Each person's tasks of each day, in order."""
    rows: dict[tuple[str, date], list[Task]] = defaultdict(list)
    for task in sorted(table.tasks, key=lambda task: task.start):
        for name in task.staff:
            rows[name, task.start.date()].append(task)
    return rows


def test_everybody_has_lunch_and_nobody_works_five_hours_on_end() -> None:
    """Half an hour free between twelve and two, and no run of tasks without a pause longer than five hours."""
    _, _, table = crew_at_work()
    for (name, day), row in days_of(table).items():
        noon = row[0].start.replace(hour=12, minute=0)
        free = [noon + n * PAUSE for n in range(7)]
        assert any(all(task.end <= at or task.start >= at + 2 * PAUSE for task in row) for at in free), (
            f"{name} has no lunch on {day}"
        )
        run = row[0].start
        for task, after in pairwise(row):
            assert task.end - run <= timedelta(hours=5), f"{name} on {day}"
            run = after.start if after.start - task.end >= PAUSE else run


def test_nobody_works_more_than_a_week_on_end() -> None:
    """A day off in each row of six; one day more where others were missing."""
    _, _, table = crew_at_work()
    worked: dict[str, set[date]] = defaultdict(set)
    for name, day in days_of(table):
        worked[name].add(day)
    for name, days in worked.items():
        row = longest = 0
        for number in range((max(days) - min(days)).days + 1):
            row = row + 1 if min(days) + timedelta(days=number) in days else 0
            longest = max(longest, row)
        assert longest <= 7, f"{name}: {longest} days on end"


def test_another_water_takes_a_changeover_unless_it_is_the_dirtier() -> None:
    """Hands, boots and tools are cleaned: 15 min from one quarantine water into another, none from cleaner to dirtier."""
    _, needs, table = crew_at_work()
    entered = {need.uid: need.entered for need in needs}
    changes = 0
    for (name, day), row in days_of(table).items():
        for task, after in pairwise(row):
            if task.system == after.system or not task.system or not after.system:
                continue
            first, then = entered[task.uid], entered[after.uid]
            assert first is not None
            assert then is not None
            changes += 1
            if first.date() >= then.date():
                assert after.start - task.end >= PAUSE, f"{name} on {day}: {task.uid} to {after.uid}"
    assert changes > 3


@cache
def names_before_and_after() -> tuple[Hours, Hours]:
    """The crew's first timetable, and the same times after names are given again."""
    site, needs, _ = crew_at_work()
    first = serial(build(needs, site, now=MONDAY))
    return first, in_turn(first)


def free_instead(hours: Hours, row: list[int], person: int) -> bool:
    """Whether someone could do these jobs at their times beside all else they have that day."""
    twin, starts = hours.copy(), [hours.start[job] for job in row]
    for job in row:
        twin.take(job)
    for index, start in zip(row, starts, strict=True):
        if person not in twin.available(twin.problem.jobs[index], start):
            return False
        twin.put(index, start, (person,))
    return True


def weekend_days(hours: Hours, person: int) -> list[int]:
    """Saturdays and Sundays someone has work on."""
    days = enumerate(hours.problem.days)
    return [day for day, whole in days if whole.date.weekday() >= 5 and hours.with_person(day, person)]


def test_names_are_given_again_without_moving_anything() -> None:
    """Same starts, as many people to each job, everyone able and no one in two places or without time to change over."""
    first, after = names_before_and_after()
    assert after.start == first.start
    assert after.who != first.who
    for index, job in enumerate(after.problem.jobs):
        assert len(after.who[index]) == len(first.who[index])
        assert set(after.who[index]) <= set(job.who)
    for day in range(len(after.problem.days)):
        for person in range(len(after.problem.people)):
            for before, then in pairwise(after.with_person(day, person)):
                assert after.start[before] + after.problem.jobs[before].slots <= after.start[then]
    every = range(len(after.problem.jobs))
    assert after.breaches(every) <= first.breaches(every)


def test_weekend_days_fall_to_people_in_turn() -> None:
    """Nobody has two weekend days more than another who could have had one of them whole; before, someone had."""

    def unfair(hours: Hours) -> int:
        days = [weekend_days(hours, person) for person in range(len(hours.problem.people))]
        found = 0
        for person, mine in enumerate(days):
            for other, theirs in enumerate(days):
                if len(theirs) + 1 < len(mine):
                    rows = [hours.with_person(day, person) for day in mine if day not in theirs]
                    found += any(free_instead(hours, row, other) for row in rows)
        return found

    first, after = names_before_and_after()
    assert unfair(first)
    assert not unfair(after)


def shared_vats(hours: Hours) -> list[tuple[int, str]]:
    """Days of vats with work of two people, though one of them is free for all of it."""
    found = []
    for day in range(len(hours.problem.days)):
        vats: dict[str, list[int]] = defaultdict(list)
        for job in hours.jobs_on(day):
            if hours.problem.jobs[job].need.vat and hours.problem.jobs[job].people == 1:
                vats[hours.problem.jobs[job].need.vat].append(job)
        for vat, row in vats.items():
            hands = {person for job in row for person in hours.who[job]}
            if len(hands) > 1 and any(free_instead(hours, row, person) for person in hands):
                found.append((day, vat))
    return found


def test_work_in_a_vat_is_in_one_pair_of_hands_where_that_can_be() -> None:
    """A vat's day has two people only where neither is free for all of it, also when names began as they fell."""
    _, after = names_before_and_after()
    assert not shared_vats(after)
    mixed = after.copy()
    for index, job in enumerate(mixed.problem.jobs):
        others = [one for one in mixed.available(job, mixed.start[index]) if one not in mixed.who[index]]
        if job.people == 1 and job.need.vat and index % 2 and others:
            start = mixed.start[index]
            mixed.take(index)
            mixed.put(index, start, (others[0],))
    assert shared_vats(mixed)
    assert not shared_vats(in_turn(mixed))


def test_published_names_stay_when_names_are_given_again() -> None:
    """A name people have is kept, also where two of them share a vat, and the search for better ones ends."""
    _, after = names_before_and_after()
    jobs = after.problem.jobs
    held = tuple(
        replace(
            job, pinned=after.start[n], pinned_who=tuple(reversed(after.available(job, after.start[n])))[: job.people]
        )
        if n % 3 and job.people == 1 and after.available(job, after.start[n])
        else job
        for n, job in enumerate(jobs)
    )
    hours = Hours(replace(after.problem, jobs=held))
    for n, job in enumerate(held):
        hours.put(n, after.start[n], job.pinned_who or after.who[n])
    again = in_turn(hours)
    assert any(job.pinned_who not in ((), after.who[n]) for n, job in enumerate(held))
    assert all(again.who[n] == job.pinned_who for n, job in enumerate(held) if job.pinned >= 0)


def test_animals_rest_between_two_handlings() -> None:
    """Four hours, unless the protocol wants both in one session."""
    _, needs, table = crew_at_work()
    after = {need.uid: need.after for need in needs}
    lots: dict[tuple[str, str, str], list[Task]] = defaultdict(list)
    for task in sorted(table.tasks, key=lambda task: task.start):
        if task.kind in {"dip", "inspection", "transfer"} and task.batch:
            lots[task.batch, task.vat, task.uid.partition("/part-")[2]].append(task)
    pairs = 0
    for row in lots.values():
        for task, then in pairwise(row):
            if after[then.uid] != task.uid and after[task.uid] != then.uid:
                pairs += 1
                assert then.start - task.end >= timedelta(hours=4), f"{task.uid} and {then.uid}"
    assert pairs > 3


def test_no_one_dips_in_chemicals_alone_where_there_are_two() -> None:
    """Two names on every bath with a chemical; one, and the reason, on a farm of one."""
    _, needs, table = crew_at_work()
    chemical = {need.uid for need in needs if need.company}
    assert chemical
    assert all(len(task.staff) == 2 for task in table.tasks if task.uid in chemical)
    one = '[person.ann]\nskills = ["dip", "inspect", "fish", "acclimate", "open"]\n'
    alone = bathing(site_of(one, working=""))
    floor = floor_of([("T-4", "zoanthid", 50, "Q1b", MONDAY)])
    wanted = needs_for(floor.stays, floor, LIBRARY, alone, now=MONDAY)
    answer = schedule(wanted, alone, now=MONDAY, seconds=0)
    baths = [task for task in answer.tasks if task.uid in {need.uid for need in wanted if need.company}]
    assert baths
    assert all(task.staff == ("ann",) and "alone" in task.why for task in baths)


def test_a_round_is_one_task_for_each_walk() -> None:
    """One in the morning past all vats, the oldest entry first; not one for each water."""
    _, _, table = crew_at_work()
    mornings: dict[date, list[Task]] = defaultdict(list)
    for task in table.tasks:
        if task.kind == "death round" and task.uid.endswith("/morning"):
            mornings[task.start.date()].append(task)
    assert mornings
    assert all(len(row) == 1 for row in mornings.values())
    assert any(task.vats == ("Q3a", "Q3b", "Q1a", "Q1b", "Q2a") for row in mornings.values() for task in row)


@pytest.mark.parametrize("minutes", [0, 30])
def test_what_is_wanted_after_dark_and_stands_in_daylight_is_counted(minutes: int) -> None:
    """Nobody is there after dusk: the day's end is not called dark, and one evening a week is offered."""
    site, needs, _ = crew_at_work()
    dusk = {MONDAY.date() + timedelta(days=n): MONDAY.replace(hour=20, minute=minutes).time() for n in range(120)}
    table = schedule(needs, site, now=MONDAY, seconds=0, dusk=dusk)
    dark = [task for task in table.tasks if task.after_dark]
    assert dark
    assert f"{len(dark)} of {len(dark)} tasks wanted after dark are in daylight" in table.evening
    assert "one evening shift a week" in table.evening
