"""A published timetable after news: what holds stays, the rest moves least, and the root of each move is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from random import Random

import pytest

from intake.farm.site import Leave, Site
from intake.library import load
from intake.quarantine import Need, needs_for
from intake.timetable import Task, Timetable, lacking, not_holding, repair, schedule
from tests.timetable.farms import MONDAY, floor_of, need, site_of
from tests.timetable.judge import faults

LIBRARY = load()
ROWS = [
    ("T-1", "clam_small", 200, "Q1a", MONDAY),
    ("T-2", "stony_montipora", 60, "Q1b", MONDAY),
    ("T-3", "fish_reef_safe", 20, "Q2a", MONDAY),
    ("T-4", "zoanthid", 50, "Q2b", MONDAY),
]


@cache
def published() -> tuple[Site, tuple[Need, ...], Timetable]:
    """A farm, its needs and the timetable people have."""
    site, floor = site_of(dip_places=2), floor_of(ROWS)
    needs = needs_for(floor.stays, floor, LIBRARY, site, now=MONDAY)
    return site, needs, schedule(needs, site, now=MONDAY, seconds=0.3)


def away(site: Site, person: str, day: date) -> Site:
    """The farm with somebody on leave for a day."""
    gone = site.people[person].model_copy(update={"leave": (Leave(first=day, last=day),)})
    return site.model_copy(update={"people": {**site.people, person: gone}})


def test_without_news_nothing_moves_and_everything_holds() -> None:
    """The look that spares the repair, and the repair itself, agree."""
    site, needs, table = published()
    assert not_holding(needs, table.by_uid(), site, MONDAY) == []
    again = repair(needs, site, now=MONDAY, published=table.by_uid())
    assert (again.changes, again.tasks, again.fewest) == ((), table.tasks, True)


@pytest.mark.parametrize("seed", range(8))
def test_only_what_cannot_hold_moves(seed: int) -> None:
    """Somebody away for a day: tasks of others on other days keep minute and people; the answer is sound."""
    site, needs, table = published()
    dice = Random(seed)  # a test, not a lock
    person = dice.choice(["ann", "bo"])
    day = dice.choice(sorted({task.start.date() for task in table.tasks if person in task.staff})[1:])
    sick = away(site, person, day)
    again = repair(needs, sick, now=MONDAY, published=table.by_uid())
    his = {task.uid for task in table.tasks if person in task.staff and task.start.date() == day}
    forced = {change.uid for change in again.changes if change.forced}
    assert his <= {change.uid for change in again.changes}
    assert forced <= his | {task.uid for task in table.tasks if task.follows in his}
    assert all("off on" in change.why for change in again.changes if change.uid in his)
    assert faults(needs, again.tasks, sick, MONDAY, late={task.uid: task.late_minutes for task in again.tasks}) == []
    far = {change.uid for change in again.changes if change.was and abs((change.was.start.date() - day).days) > 9}
    assert not far


def test_a_further_move_names_the_fact_that_began_it() -> None:
    """The dip gives way to one that itself had to leave its day: the leave is said, not only the bench."""
    site = site_of()
    needs = (
        need("a", station="dip", skill="dip", minutes=240, hour=9, day=1, slack_h=1),
        need("b", station="dip", skill="dip", minutes=240, hour=9, day=2, slack_h=48),
    )
    table = schedule(needs, site, now=MONDAY, seconds=0)
    later = (
        replace(needs[0], earliest=needs[0].earliest + timedelta(days=1), latest=needs[0].latest + timedelta(days=1)),
        needs[1],
    )
    again = repair(later, site, now=MONDAY, published=table.by_uid())
    moved = {change.uid: change for change in again.moved}
    assert moved["a"].forced
    assert "not before" in moved["a"].why
    if "b" in moved:
        assert not moved["b"].forced
        assert "not before" in moved["b"].why, "the root, not the first rule met"
    assert again.late_minutes == 0


def test_one_slot_of_lateness_outweighs_any_number_of_moves() -> None:
    """Strict order: an urgent new task takes the only place on a day full of published tasks that can wait."""
    site = site_of()
    row = [need(f"n{n}", station="dip", skill="dip", minutes=60, hour=8, day=1, slack_h=24 * 9) for n in range(8)]
    table = schedule(row, site, now=MONDAY, seconds=0)
    urgent = need("urgent", station="dip", skill="dip", minutes=180, hour=9, day=1, slack_h=2)
    again = repair((*row, urgent), site, now=MONDAY, published=table.by_uid())
    assert again.late_minutes == 0
    assert 0 < len(again.moved) <= 4
    assert not any(change.forced for change in again.moved)


def test_what_nobody_can_do_is_one_line_for_each_treatment() -> None:
    """With its name, who could learn it, and how many tasks that would place."""
    site = site_of('[person.bo]\nskills = ["dip", "inspect", "open", "acclimate"]\n[person.cy]\nskills = ["open"]\n')
    floor = floor_of([("T-3", "fish_reef_safe", 20, "Q2a", MONDAY)])
    needs = needs_for(floor.stays, floor, LIBRARY, site, now=MONDAY)
    table = schedule(needs, site, now=MONDAY, seconds=0)
    (line,) = lacking(table.unplaced, site)
    assert (line.skill, line.name) == ("fish", "Move fish to a dry-disinfected vat")
    assert line.could_learn == ("bo", "cy")
    assert line.places == sum(need.skill == "fish" for need in needs)


def test_a_late_task_says_what_kept_it() -> None:
    """The window falls on days no one with the skill works: that is said, with the hours."""
    site = site_of('[person.bo]\nskills = ["dip"]\ndays = ["thu"]\n')
    table = schedule((need("a", skill="dip", hour=9, slack_h=3),), site, now=MONDAY, seconds=0)
    (task,) = table.tasks
    assert isinstance(task, Task)
    assert task.late_minutes > 0
    assert "no one with the skill 'dip' is at work between Mon 01 Mar" in task.why
