"""Re-planning: published times stay unless they cannot, the reason is said, and the past does not move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.farm.floor import Done, Floor, Found
from intake.farm.site import Leave, Site
from intake.library import load
from intake.quarantine import Need, needs_for, release
from intake.timetable import Task, Timetable, schedule
from tests.timetable.farms import MONDAY, floor_of, need, site_of
from tests.timetable.judge import faults, lateness, not_told, ways_back

LIBRARY = load()
ROWS = [
    ("T-1", "clam_small", 200, "Q1a", MONDAY),
    ("T-2", "stony_montipora", 60, "Q1b", MONDAY),
    ("T-3", "fish_reef_safe", 20, "Q2a", MONDAY),
    ("T-4", "zoanthid", 50, "Q2b", MONDAY),
]


def off(site: Site, person: str, first: date, last: date) -> Site:
    """The farm with somebody away."""
    away = site.people[person].model_copy(update={"leave": (Leave(first=first, last=last),)})
    return site.model_copy(update={"people": {**site.people, person: away}})


def done_as(tasks: Sequence[Task], shift: timedelta = timedelta(0)) -> tuple[Done, ...]:
    """The tasks recorded as done at their time, or so much later."""
    return tuple(Done(task.uid, task.batch, task.kind, task.start + shift, "ann") for task in tasks)


@cache
def first_plan() -> tuple[Site, Floor, tuple[Need, ...], Timetable]:
    """A farm, its floor and its first timetable."""
    site, floor = site_of(dip_places=2), floor_of(ROWS)
    needs = needs_for(floor.stays, floor, LIBRARY, site, now=MONDAY)
    return site, floor, needs, schedule(needs, site, now=MONDAY, seconds=0.3)


def test_nothing_moves_and_no_sequence_rises_when_nothing_happened() -> None:
    """A re-plan without news is the plan, so calendars stay quiet."""
    site, _, needs, plan = first_plan()
    again = schedule(needs, site, now=MONDAY, published=plan.by_uid(), seconds=0.3, seed=9)
    assert again.tasks == plan.tasks
    assert again.changes == ()


def test_a_sick_keeper_moves_only_what_was_his_and_the_reason_is_said() -> None:
    """Bo is off on one day: tasks of others and of other days keep their time and people."""
    site, _, needs, plan = first_plan()
    day = min(task.start.date() for task in plan.tasks if "bo" in task.staff and task.start.date() > MONDAY.date())
    sick = off(site, "bo", day, day)
    again = schedule(needs, sick, now=MONDAY, published=plan.by_uid(), seconds=0.5)
    his = {task.uid for task in plan.tasks if "bo" in task.staff and task.start.date() == day}
    assert {change.uid for change in again.changes} == his
    assert all("bo is off" in change.why and change.forced for change in again.changes)
    assert faults(needs, again.tasks, sick, MONDAY, late={task.uid: task.late_minutes for task in again.tasks}) == []


def test_a_dip_done_late_pushes_the_next_one_and_says_so() -> None:
    """Montipora removal 1 done 2 days late: removal 2 may not stand where it was, with the least lag between."""
    site, floor, _, plan = first_plan()
    uid = "T-2/coral-nudibranch-series/Q1b/1"
    by_uid = plan.by_uid()
    now = by_uid[uid].start + timedelta(days=2, hours=2)
    passed = [task for task in plan.tasks if task.end < now and task.uid != uid]
    done = (*done_as(passed), Done(uid, "T-2", "dip", now - timedelta(hours=1), "ann"))
    floor = replace(floor, at=now, done=done)
    needs = needs_for(floor.stays, floor, LIBRARY, site, now=now)
    again = schedule(needs, site, now=now, published=by_uid, done={one.task for one in done}, seconds=0.3)
    moved = {change.uid: change for change in again.changes if change.was is not None and change.now is not None}
    following = moved["T-2/coral-nudibranch-series/Q1b/2"]
    assert "not before" in following.why
    assert following.now is not None
    assert following.was is not None
    assert following.now.sequence == following.was.sequence + 1
    kept = [task for task in again.tasks if task.uid in by_uid and task.uid not in moved]
    assert len(kept) > len(moved)


def test_work_not_recorded_moves_to_the_future_and_says_so() -> None:
    """What did not happen cannot stay in the past; what may still be recorded waits there for twelve hours."""
    site = site_of()
    plan = schedule((need("a"), need("b", day=3)), site, now=MONDAY, seconds=0)
    soon, later = MONDAY + timedelta(hours=5), MONDAY + timedelta(days=1)
    waiting = schedule((need("a"), need("b", day=3)), site, now=soon, published=plan.by_uid(), seconds=0)
    assert waiting.changes == ()
    again = schedule((need("a"), need("b", day=3)), site, now=later, published=plan.by_uid(), seconds=0)
    (change,) = again.changes
    assert change.uid == "a"
    assert "not recorded as done" in change.why
    assert change.now is not None
    assert change.now.start >= later


def test_work_no_longer_needed_and_new_work_are_both_said() -> None:
    """A calendar must be able to show what was cancelled."""
    site = site_of()
    plan = schedule((need("a", day=1), need("b", day=1)), site, now=MONDAY, seconds=0)
    again = schedule((need("b", day=1), need("c", day=1)), site, now=MONDAY, published=plan.by_uid(), seconds=0)
    assert {(change.uid, change.why) for change in again.changes} == {
        ("a", "no longer needed"),
        ("c", "new task"),
    }


def test_the_next_hours_can_be_frozen() -> None:
    """Nobody wants to be told at ten that the dip at eleven is off."""
    site = site_of()
    plan = schedule((need("a", hour=11), need("b", day=1)), site, now=MONDAY, seconds=0)
    who = plan.tasks[0].staff[0]
    sick = off(site, who, MONDAY.date(), MONDAY.date())
    free = schedule((need("a", hour=11), need("b", day=1)), sick, now=MONDAY, published=plan.by_uid(), seconds=0)
    frozen = schedule(
        (need("a", hour=11), need("b", day=1)), sick, now=MONDAY, published=plan.by_uid(), seconds=0, frozen_hours=4
    )
    assert free.by_uid()["a"].staff != (who,)
    assert frozen.by_uid()["a"].staff == (who,)


def test_a_published_time_gives_way_to_spare_other_work_much_lateness() -> None:
    """One move is worth five slots of lateness: a new urgent job with a narrow window takes the only dip bench."""
    site = site_of()
    plan = schedule((need("a", station="dip", skill="dip", minutes=300, hour=9),), site, now=MONDAY, seconds=0)
    urgent = need("b", station="dip", skill="dip", minutes=60, hour=9, slack_h=1)
    again = schedule((plan_need(plan, "a"), urgent), site, now=MONDAY, published=plan.by_uid(), seconds=1.0)
    assert again.late_minutes == 0
    assert [change.uid for change in again.changes if change.was is not None] == ["a"]


def plan_need(plan: Timetable, uid: str) -> Need:
    """The need behind the long dip of the test above."""
    task = plan.by_uid()[uid]
    return need(uid, station="dip", skill="dip", minutes=int((task.end - task.start).total_seconds() // 60), hour=9)


@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_whatever_moved_could_not_stay(data: st.DataObject) -> None:
    """Put a moved task back where it was published: the judge finds a fault, or something is later than it is now."""
    site, _, needs, plan = first_plan()
    person = data.draw(st.sampled_from(["ann", "bo", "cy"]))
    first = MONDAY.date() + timedelta(days=data.draw(st.integers(0, 10)))
    sick = off(site, person, first, first + timedelta(days=data.draw(st.integers(0, 2))))
    again = schedule(needs, sick, now=MONDAY, published=plan.by_uid(), seconds=0.1)
    assert faults(needs, again.tasks, sick, MONDAY, late={task.uid: task.late_minutes for task in again.tasks}) == []
    wanted = {one.uid: one for one in needs}
    placed = again.by_uid()
    for change in again.changes:
        if change.was is None or change.now is None or change.was.start == change.now.start:
            continue
        back = {
            **placed,
            change.uid: replace(change.now, start=change.was.start, end=change.was.end, staff=change.was.staff),
        }
        late = {uid: int(lateness(wanted[uid], task, back).total_seconds() // 60) for uid, task in back.items()}
        worse = sum(late.values()) > sum(task.late_minutes for task in again.tasks)
        assert worse or faults(needs, back.values(), sick, MONDAY, late=late), change


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_a_month_of_disturbances_keeps_every_lag_or_forbids_release(seed: int) -> None:
    """Late dips, forgotten dips, sick keepers and findings, day by day: judged each morning and at the end."""
    dice = Random(seed)
    site, floor, _, plan = first_plan()
    for day in range(1, 31):
        now = MONDAY.replace(hour=7) + timedelta(days=day)
        floor = happened(floor, plan, now, dice)
        if dice.random() < 0.2:
            who = dice.choice(["ann", "bo", "cy"])
            site = off(site_of(dip_places=2), who, now.date(), now.date() + timedelta(days=dice.randrange(3)))
        recorded = {one.task for one in floor.done}
        needs = needs_for(floor.stays, floor, LIBRARY, site, now=now)
        before = {uid: task for uid, task in plan.by_uid().items() if uid not in recorded}
        again = schedule(needs, site, now=now, published=before, done=recorded, seconds=0.05, seed=seed)
        still = {uid for uid, task in before.items() if task.start < now and task.end > now - timedelta(hours=12)}
        for uid in still & set(again.by_uid()):
            assert again.by_uid()[uid].start == before[uid].start, "the past moved"
        late = {task.uid: task.late_minutes for task in again.tasks}
        left = again.unplaced
        assert faults(needs, again.tasks, site, now, unplaced=left, standing=still, late=late) == []
        assert not recorded & set(again.by_uid())
        assert len(ways_back(needs, again.tasks)) == again.ways_back, "each way back from dirty to clean is counted"
        assert not_told(needs, [task for task in again.tasks if task.uid not in still], again.broken) == []
        plan = again
    the_end_is_lawful(floor, site)


def happened(floor: Floor, plan: Timetable, now: datetime, dice: Random) -> Floor:
    """A day goes by: most work is done in time, some late, some not at all; now and then a snail is seen."""
    done, found = list(floor.done), list(floor.found)
    recorded = {one.task for one in done}
    for task in plan.tasks:
        if task.end <= now and task.uid not in recorded and dice.random() < 0.85:
            at = min(now, task.start + timedelta(hours=dice.choice([0, 0, 0, 1, 6])))
            to = "Q2c" if task.kind == "transfer" else ""  # a transfer counts only by the move it was
            done.append(Done(task.uid, task.batch, task.kind, at, "ann", to=to))
    if dice.random() < 0.05:
        found.append(Found("T-1", "Q1a", "pyramidellid-snail", now - timedelta(hours=3), "bo"))
    return replace(floor, at=now, done=tuple(done), found=tuple(found))


def the_end_is_lawful(floor: Floor, site: Site) -> None:
    """Sixty days later, all open work done as needed: whoever ready for release has an unbroken last series.

    The series are those of the first day's needs that break a pest's cycle; half a day of grace, one hour in a transfer.
    """
    now = floor.at + timedelta(days=60)
    series: dict[tuple[str, str], tuple[int, float]] = {}
    for one in first_plan()[2]:
        if one.strict and one.dip and one.lag_max_days is not None:
            grace = 1.0 if one.kind == "transfer" else 12.0
            series[one.batch, one.dip] = (one.of, one.lag_max_days * 24.0 + grace)
    assert {batch for batch, _ in series} >= {"T-2", "T-3"}
    for (batch, dip), (repeats, most_h) in series.items():
        times = sorted(one.at.astimezone(UTC) for one in floor.done if one.task.startswith(f"{batch}/{dip}/"))
        gaps = [(b - a).total_seconds() / 3600 for a, b in pairwise(times)]
        whole = any(
            all(gap <= most_h for gap in gaps[first : first + repeats - 1]) for first in range(len(times) - repeats + 1)
        )
        answer = release(floor.batches[batch], replace(floor, at=now), LIBRARY, site, now)
        if not whole:
            assert not answer.releasable, (batch, dip, times)


def test_the_judge_sees_a_way_back_and_a_broken_cycle_that_is_not_told() -> None:
    """A judge that accepts anything would prove nothing."""
    _, _, needs, plan = first_plan()
    strict = next(one for one in needs if one.strict and one.dip and one.uid in plan.by_uid())
    late = [replace(task, start=task.start + timedelta(days=90), end=task.end + timedelta(days=90))
            if task.uid == strict.uid else task for task in plan.tasks]  # fmt: skip
    assert any("not told" in word for word in not_told(needs, late, ()))
    assert not_told(needs, plan.tasks, [("T-9", "for nothing")])
    one = replace(need("a", hour=9), condition="sick", system="")
    other = replace(need("b", hour=11), condition="released", system="")
    table = schedule((one, other), site_of(), now=MONDAY, seconds=0)
    same = [replace(task, staff=("ann",), start=MONDAY + timedelta(hours=2 * number))
            for number, task in enumerate(sorted(table.tasks, key=lambda task: task.uid))]  # fmt: skip
    assert len(ways_back((one, other), same)) == 1
