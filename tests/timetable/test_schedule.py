"""What every timetable must be: complete, within hours, skills and places, lags kept, lateness admitted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.library import load
from intake.quarantine import Need, needs_for
from intake.timetable import Timetable, as_dict, schedule
from intake.timetable.search.cost import tally
from intake.timetable.search.serial import serial
from intake.timetable.search.solve import improve
from tests.bench.timetable import generate, plain_serial, planted
from tests.timetable.farms import MONDAY, PEOPLE, Row, floor_of, need, site_of
from tests.timetable.judge import faults

GROUPS = ("clam_small", "stony_branching_acropora", "stony_montipora", "zoanthid", "fish_reef_safe", "grazing_snail")
VATS = ("Q1a", "Q1b", "Q2a", "Q2b")


def judged(needs: tuple[Need, ...], timetable: Timetable, site: object) -> list[str]:
    """Faults the judge finds."""
    late = {task.uid: task.late_minutes for task in timetable.tasks}
    return faults(needs, timetable.tasks, site, MONDAY, unplaced=timetable.unplaced, late=late)


@st.composite
def floors(draw: st.DrawFn) -> list[Row]:
    """Up to six lots that entered lately or are about to."""
    rows = []
    for number in range(draw(st.integers(1, 6))):
        since = MONDAY - timedelta(days=draw(st.integers(-5, 10)), hours=draw(st.integers(0, 8)))
        count = draw(st.sampled_from([3, 40, 150, 420, 900]))
        rows.append((f"T-{number}", draw(st.sampled_from(GROUPS)), count, draw(st.sampled_from(VATS)), since))
    return rows


@settings(max_examples=12, deadline=None)
@given(rows=floors(), seconds=st.sampled_from([0.0, 0.05]))
def test_every_timetable_of_a_random_floor_satisfies_the_judge(rows: list[Row], seconds: float) -> None:
    """Whatever stands in quarantine: nobody in two places, shifts, skills, stations, lags, admitted lateness."""
    site, floor = site_of(), floor_of(rows)
    needs = needs_for(floor.stays, floor, load(), site, now=MONDAY)
    timetable = schedule(needs, site, now=MONDAY, seconds=seconds, seed=3)
    assert judged(needs, timetable, site) == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda task: replace(task, start=task.start - timedelta(days=1), end=task.end - timedelta(days=1)),
        lambda task: replace(task, start=task.start.replace(hour=5), end=task.start.replace(hour=6)),
        lambda task: replace(task, end=task.end + timedelta(hours=1)),
        lambda task: replace(task, staff=()),
        lambda task: replace(task, staff=("dee",)),
        lambda task: replace(task, start=task.start + timedelta(days=60), end=task.end + timedelta(days=60)),
    ],
)
def test_the_judge_sees_a_spoiled_task(spoil: Callable[[Any], Any]) -> None:
    """A judge that accepts anything would prove nothing."""
    site, needs = site_of(), (need("a"), need("b", day=1))
    timetable = schedule(needs, site, now=MONDAY, seconds=0)
    assert judged(needs, timetable, site) == []
    spoiled = replace(timetable, tasks=(spoil(timetable.tasks[0]), *timetable.tasks[1:]))
    assert judged(needs, spoiled, site)


def test_the_judge_sees_two_tasks_of_one_person_at_once_and_a_full_station() -> None:
    """Overlaps are the commonest fault of a scheduler."""
    site, needs = site_of(), tuple(need(uid, station="inspection") for uid in "ab")
    timetable = schedule(needs, site, now=MONDAY, seconds=0)
    one, other = timetable.tasks
    spoiled = replace(timetable, tasks=(one, replace(other, start=one.start, end=one.end, staff=one.staff)))
    words = judged(needs, spoiled, site)
    assert any("ann" in word or "bo" in word for word in words)
    assert any("lamp" in word for word in words)


def test_equal_input_gives_an_equal_timetable() -> None:
    """A printed plan must not change because it was computed again; the order of the needs does not matter either."""
    site = site_of()
    floor = floor_of([("T-1", "clam_small", 420, "Q1a", MONDAY), ("T-2", "stony_montipora", 80, "Q1b", MONDAY)])
    needs = needs_for(floor.stays, floor, load(), site, now=MONDAY)
    one = schedule(needs, site, now=MONDAY, seconds=0.5, seed=5)
    other = schedule(tuple(reversed(needs)), site, now=MONDAY, seconds=0.5, seed=5)
    assert one == other


def test_effort_never_makes_a_timetable_dearer_than_the_first() -> None:
    """The timetable in hand is kept whatever the solver says; other budgets take other ways, each from the same start."""
    site = site_of()
    floor = floor_of([(f"T-{n}", GROUPS[n % 6], 300, VATS[n % 4], MONDAY) for n in range(6)])
    needs = needs_for(floor.stays, floor, load(), site, now=MONDAY)
    costs = [schedule(needs, site, now=MONDAY, seconds=seconds).cost for seconds in (0.0, 0.1, 0.4)]
    assert max(costs[1:]) < costs[0]


def test_work_nobody_has_the_skill_for_is_unplaced_with_the_way_out() -> None:
    """Silence would leave animals undipped; the answer names the skill."""
    site = site_of()
    timetable = schedule((need("a", skill="laser"),), site, now=MONDAY, seconds=0)
    assert timetable.tasks == ()
    assert "laser" in timetable.unplaced[0].why
    assert "laser" in timetable.unplaced[0].cheapest


def test_a_window_that_cannot_be_kept_gives_lateness_and_not_silence() -> None:
    """Three hours of inspection at one lamp within two hours: all are placed and the lateness is said."""
    site = site_of()
    needs = tuple(need(uid, station="inspection", minutes=60, hour=9, slack_h=0.5) for uid in "abc")
    timetable = schedule(needs, site, now=MONDAY, seconds=0.5)
    assert len(timetable.tasks) == 3
    assert timetable.late_minutes == (60 - 30) + (120 - 30)
    assert timetable.status == "proved"
    assert all("late by" in task.why for task in timetable.tasks if task.late_minutes)


def test_leave_and_days_off_are_respected() -> None:
    """Sunday work falls to those who work on Sundays and are not away."""
    site = site_of(
        PEOPLE.replace("[person.cy]\nrole", "[person.cy]\nleave = [{first = 2027-03-07, last = 2027-03-07}]\nrole")
    )
    timetable = schedule((need("a", day=6),), site, now=MONDAY, seconds=0)
    assert timetable.tasks[0].staff == ("ann",)


def test_after_dark_work_stands_at_the_end_of_the_day_or_after_dusk() -> None:
    """Snails come out at night (S19, S20); without a dusk the last working hour counts."""
    site = site_of()
    wanted = (need("a", part_of_day="after dark", minutes=30),)
    assert schedule(wanted, site, now=MONDAY, seconds=0).tasks[0].start.time() == time(17)
    dusk = {date(2027, 3, 1): time(16, 15)}
    assert schedule(wanted, site, now=MONDAY, seconds=0, dusk=dusk).tasks[0].start.time() == time(16, 15)


def test_ordinary_work_leaves_public_holidays_free_and_rounds_do_not() -> None:
    """Animals are looked after every day; the rest can wait where its window allows."""
    site = site_of()
    needs = (need("a", slack_h=48), replace(need("round"), kind="death round"))
    timetable = schedule(needs, site, now=MONDAY, seconds=0, holidays=frozenset({date(2027, 3, 1)})).by_uid()
    assert timetable["a"].start.date() == date(2027, 3, 2)
    assert timetable["round"].start.date() == date(2027, 3, 1)


def test_a_day_goes_from_clean_to_dirty() -> None:
    """Released first, then the oldest quarantine lot, the newest, then the sick: common practice, husbandry 5."""
    old, new = MONDAY - timedelta(days=30), MONDAY - timedelta(days=2)
    needs = (
        need("a-sick", condition="sick", skill="fish"),
        need("b-new", entered=new, skill="fish"),
        need("c-old", entered=old, skill="fish"),
        need("d-released", condition="released", skill="fish"),
    )
    timetable = schedule(needs, site_of(), now=MONDAY, seconds=0)
    assert [task.uid for task in timetable.tasks] == ["d-released", "c-old", "b-new", "a-sick"]
    assert timetable.ways_back == 0


def test_the_answer_has_the_keys_of_the_contract() -> None:
    """`timetable --json` is relied on by other programs."""
    answer = as_dict(schedule((need("a"), need("b", skill="laser")), site_of(), now=MONDAY, seconds=0))
    assert set(answer["tasks"][0]) >= {
        *("uid", "kind", "batch", "vat", "start", "end", "staff", "station", "sequence", "why"),
    }
    assert set(answer["unplaced"][0]) >= {"kind", "batch", "why"}


def test_change_of_clocks_neither_loses_nor_doubles_work() -> None:
    """Lisbon skips an hour on 28 March 2027: lags are absolute time, shifts are clock time."""
    site = site_of()
    needs = (
        need("a", day=24, slack_h=4),
        need("b", day=27, after="a", lag_min_days=2.5, lag_max_days=3.0, slack_h=400, strict=True),
    )
    timetable = schedule(needs, site, now=MONDAY, seconds=0.3)
    assert judged(needs, timetable, site) == []
    assert timetable.late_minutes == 0


@pytest.mark.parametrize("people", [1, 2, 3])
def test_work_for_several_people_names_that_many(people: int) -> None:
    """Carrying a large clam takes two; three can inspect only on days when all three work."""
    timetable = schedule((need("a", people=people),), site_of(), now=MONDAY, seconds=0)
    assert len(timetable.tasks[0].staff) == people
    assert timetable.tasks[0].start.date() == (date(2027, 3, 3) if people == 3 else date(2027, 3, 1))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_hidden_timetable_without_lateness_is_found(seed: int) -> None:
    """Windows drawn round a timetable that exists: lateness 0 is known to be possible, and serial order misses it."""
    problem = planted(120, seed, 1.5)
    assert improve(serial(problem), seconds=4.0, seed=seed).proved


def test_the_pace_of_improvement_against_plain_serial_generation() -> None:
    """120 generated tasks: at most 0.65 of the cost of a plain serial timetable (engine study, section 8)."""
    problem = generate(120, 1)
    found = improve(serial(problem), seconds=1.0, seed=1).hours
    assert tally(found).cost <= 0.65 * tally(plain_serial(problem)).cost
    assert tally(found).late == 0
