"""Hours people can stand, judged from the tasks alone: pauses, days off, changes of water, rest of the animals, company."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

import pytest

from intake.farm.site import Site
from intake.library import load
from intake.quarantine import Need, needs_for
from intake.timetable import Task, Timetable, schedule
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
