"""Two people at least, several tubs a box, hands already taken, kept plans, refusals with reliefs, and the day as work."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from intake.receiving import closed_too_long, landing_steps, last_placings, reliefs, replay, rerun, run_day
from intake.receiving.problem import DayProblem, Hand, Taken, tub_names
from tests.receiving.day_judge import overlaps
from tests.receiving.test_day import ALL, DRY, box, day, invented, sound


def minute(problem: DayProblem, at: datetime) -> int:
    """Minutes from opening."""
    return problem.minute(at)


def test_no_one_opens_a_box_alone() -> None:
    """Marou is alone until nine: nothing is opened before Teva is in, and after she left nothing either."""
    crew = (Hand("Marou", ALL, 0, 600), Hand("Teva", frozenset(), 90, 300))
    plan = run_day(day([box(n) for n in range(1, 6)], people=crew), seconds=0.2)
    starts = [minute(plan.problem, row.opens) for row in plan.order()]
    assert min(starts) == 90
    sound(plan)


def test_no_one_handles_chemicals_alone() -> None:
    """The second person comes at ten: a box may be open only in company, and is dipped only in company."""
    crew = (Hand("Marou", ALL, 0, 600), Hand("Teva", DRY, 0, 60), Hand("Odo", frozenset(), 200, 600))
    plan = run_day(day([box(1, dip_minutes=10)], people=crew), seconds=0.2)
    dip = next(step for step in plan.steps if step.step == "dip")
    at = minute(plan.problem, dip.start)
    assert not 60 < at + 10 <= 200, "between, Marou is alone"


def test_one_person_alone_is_what_binds_and_is_said() -> None:
    """A farm of one: the plan counts on a second person and says that this binds."""
    plan = run_day(day([box(1)], people=(Hand("Marou", ALL, 0, 600),)), seconds=0.1)
    assert any("second person" in note and "binds" in note for note in plan.notes)


def test_boxes_that_wait_for_a_second_person_say_what_binds() -> None:
    """Marou is alone until nine: note and work say so; with Teva in from the start there is nothing to say."""
    late = (Hand("Marou", ALL, 0, 600), Hand("Teva", frozenset(), 90, 600))
    plan = run_day(day([box(1), box(2)], people=late), seconds=0.1)
    note = next(note for note in plan.notes if "binds" in note)
    assert note.startswith("From 07:30 to 09:00 only Marou is free at the landing")
    assert "2 boxes wait" in note
    told = {step.box: step.binds for step in landing_steps(plan) if step.kind == "receive"}
    assert all("from 07:30 to 09:00 only Marou" in words for words in told.values())
    early = (Hand("Marou", ALL, 0, 600), Hand("Teva", frozenset(), 0, 600))
    plan = run_day(day([box(1), box(2)], people=early), seconds=0.1)
    assert not any("binds" in note for note in plan.notes)
    assert not any(step.binds for step in landing_steps(plan))


def test_animals_that_wait_for_a_second_person_at_the_dip_say_what_binds() -> None:
    """Teva leaves after the opening and comes back as Odo at eleven: the dip waits for that, and it is reported."""
    crew = (Hand("Marou", ALL, 0, 600), Hand("Teva", frozenset(), 0, 40), Hand("Odo", frozenset(), 210, 600))
    plan = run_day(day([box(1, dip_minutes=10, acclimation_minutes=60)], people=crew), seconds=0.1)
    assert any("From 08:45 to 11:00 only Marou" in note and "box S1/1 waits" in note for note in plan.notes)


def test_a_farm_of_one_says_at_every_opening_that_a_second_person_lacks() -> None:
    """The timetable reads the steps: each opening says it."""
    plan = run_day(day([box(1), box(2)], people=(Hand("Marou", ALL, 0, 600),)), seconds=0.1)
    opened = [step for step in landing_steps(plan) if step.kind == "receive"]
    assert all("a second person is to be found" in step.binds for step in opened)


@pytest.mark.parametrize("seed", range(8))
def test_every_opening_and_dip_has_a_second_person_by_name(seed: int) -> None:
    """Each of its minutes someone else works at the landing or is named, is in, and has no other published work."""
    problem = invented(10, seed)
    taken = (Taken("Marou", 30, 75), Taken("Teva", 60, 90), Taken("Odo", 120, 150))
    plan = run_day(replace(problem, taken=taken), seconds=0.1)
    steps = landing_steps(plan)
    here = [(name, minute(problem, s.start), minute(problem, s.hands_until)) for s in steps for name in s.people]
    here += [(name, minute(problem, a), minute(problem, b)) for s in steps for name, a, b in s.company]
    for name, start, end in here:
        assert not any(one.name == name and one.start < end and start < one.end for one in taken)
    alone = [s for s in steps if s.kind == "receive" or s.dip_minutes]
    for step in alone:
        start = minute(problem, step.start)
        end = start + step.dip_minutes if step.dip_minutes else minute(problem, step.hands_until)
        for at in range(start, end):
            assert len({name for name, one, other in here if one <= at < other}) >= 2, (step.uid, at)


def test_who_stays_only_as_the_second_person_is_overtime_too() -> None:
    """Teva may do nothing and goes at noon; Marou opens until one: Teva stays for it, and it is reported."""
    crew = (Hand("Marou", ALL, 0, 600), Hand("Teva", frozenset(), 0, 60))
    plan = run_day(day([box(n) for n in range(1, 6)], people=crew, tables=1), seconds=0.1)
    last = max(minute(plan.problem, step.end) for step in plan.steps if step.step == "count")
    assert last > 60
    assert plan.overtime == {"Teva": last - 60}


def test_a_box_of_three_tubs_takes_three_and_no_others_enter_them() -> None:
    """Three tubs side by side, each in use by one box at a time; a station too small is reported."""
    plan = run_day(day([box(1, tubs=3), box(2, tubs=2), box(3)], tubs=4), seconds=0.3)
    spans: dict[str, list[Any]] = {}
    for step in plan.steps:
        if step.step == "acclimate":
            assert len(step.lanes) == {"S1/1": 3, "S1/2": 2, "S1/3": 1}[step.box]
            assert len(set(step.lanes)) == len(step.lanes)
            for lane in step.lanes:
                spans.setdefault(lane, []).append((step.start, step.end))
    assert not any(overlaps(rows) for rows in spans.values())
    assert {lane for put in plan.placed for lane in tub_names(put.tub)} <= {lane.id for lane in plan.problem.lanes}
    few = run_day(day([box(1, tubs=3)], tubs=1), seconds=0.1)
    assert any("Only 1 acclimation places are left" in note for note in few.notes)


@pytest.mark.parametrize("seed", range(6))
def test_hands_taken_by_published_work_are_left_alone(seed: int) -> None:
    """Rounds and dips already published stand: nobody is at two places at once."""
    problem = invented(10, seed)
    taken = (Taken("Marou", 30, 75), Taken("Teva", 60, 90), Taken("Odo", 120, 150))
    plan = run_day(replace(problem, taken=taken), seconds=0.2)
    sound(plan)
    for step in plan.steps:
        start, end = minute(problem, step.start), minute(problem, step.hands_until)
        for one in taken:
            if one.name in step.people and end > start:
                assert end <= one.start or start >= one.end, (step, one)


@pytest.mark.parametrize("seed", range(8))
def test_a_rerun_without_news_moves_nothing_whenever_it_is_asked(seed: int) -> None:
    """Again and again through the day: not a minute, not a table, not a person moves, and it says so."""
    problem = invented(14, seed)
    plan = run_day(problem, seconds=0.1)
    for at in (0, 20, 47, 90, 160, 333):
        later = rerun(problem, plan, problem.at(at))
        assert later.moved == ("Nothing moved.",)
        assert later.placed == plan.placed
        plan = later


def test_a_small_gain_moves_nobody_and_a_large_one_does() -> None:
    """A box gained by a minute stays; hands or places that gain hours are used, and the moves are named."""
    problem = invented(12, 3)
    plan = run_day(problem, seconds=0.2)
    shorter = replace(
        problem, boxes=tuple(replace(one, place_minutes=max(1, one.place_minutes - 1)) for one in problem.boxes)
    )
    little = rerun(shorter, plan, problem.at(0))
    assert sum("opens" in line for line in little.moved) <= 3
    more = rerun(
        replace(problem, people=(*problem.people, Hand("Nono", ALL, 0, 600), Hand("Rua", ALL, 0, 600))),
        run_day(replace(problem, people=problem.people[:2]), seconds=0.2),
        problem.at(0),
    )
    gained = [line for line in more.moved if "opens" in line]
    assert gained


def test_a_leaking_box_goes_first_and_the_others_keep_their_places_where_they_can() -> None:
    """News of one box moves that box and what it displaces, not the day."""
    problem = invented(20, 1, trucks=1)
    plan = run_day(problem, seconds=0.2)
    closed = [row for row in plan.order() if minute(plan.problem, row.opens) > 60 and not row.urgent]
    leak = closed[-1].box
    boxes = tuple(replace(one, leaking=True) if one.box == leak else one for one in problem.boxes)
    later = rerun(replace(problem, boxes=boxes), plan, problem.at(60))
    opens = {row.box: row.opens for row in later.order()}
    waiting = [box for box in opens if opens[box] >= problem.at(60)]
    assert opens[leak] == min(opens[box] for box in waiting)
    moved = [line for line in later.moved if line.startswith("Box")]
    assert 1 <= len(moved) < len(waiting)


def test_bags_past_their_hours_are_a_refusal_with_what_would_help() -> None:
    """Forty sensitive boxes at 35 hours and two hands: the late ones are refused, and more people leave fewer."""
    boxes = [box(n, hours=34.0, count_minutes=25) for n in range(1, 31)]
    crew = (Hand("Marou", ALL, 0, 480), Hand("Teva", ALL, 0, 480))
    plan = run_day(day(boxes, people=crew), seconds=0.2)
    refused = closed_too_long(plan)
    assert refused
    assert all(one.hours > one.limit_h for one in refused if one.rule == "bag-hours")
    found = reliefs(plan)
    assert [one.left for one in found] == sorted(one.left for one in found)
    assert any("call in" in one.do for one in found)
    assert min(one.left for one in found) < len(refused)
    fresh = run_day(day([box(n) for n in range(1, 4)], people=crew), seconds=0.1)
    assert closed_too_long(fresh) == ()
    assert reliefs(fresh) == ()


def test_boxes_landed_at_night_are_a_refusal_and_a_later_flight_a_relief() -> None:
    """A truck four hours after closing: its bags would stay closed over night or the team called back."""
    problem = day([box(n) for n in range(1, 5)], trucks={"S1": 860})
    plan = run_day(problem, seconds=0.1)
    assert {one.rule for one in closed_too_long(plan)} == {"bags-overnight"}
    assert any("delay the flight" in one.do and one.left == 0 for one in reliefs(plan))


@pytest.mark.parametrize("seed", range(5))
def test_the_day_as_work_says_the_minutes_of_the_run_sheet(seed: int) -> None:
    """Three pieces of work a box under uids for life; minutes, people and places are the plan's; last placings as well."""
    problem = invented(12, seed)
    plan = run_day(problem, seconds=0.1)
    work = landing_steps(plan)
    assert len({one.uid for one in work}) == len(work) == 3 * len(problem.boxes)
    by_uid = {one.uid: one for one in work}
    for step in plan.steps:
        if step.step in {"open", "acclimate"}:
            one = by_uid[f"land/{step.box}/{'open' if step.step == 'open' else 'tub'}"]
            assert (one.start, one.people, one.lanes) == (step.start, step.people, step.lanes)
        if step.step == "place":
            assert by_uid[f"land/{step.box}/place"].hands_until == step.end
    for person in {name for one in work for name in one.people}:
        assert not overlaps([(one.start, one.hands_until) for one in work if person in one.people])
    for batch, at in last_placings(plan).items():
        mine = [one for one in work if one.uid.endswith("place") and one.batches[0].batch == batch]
        assert at == max(one.ends for one in mine)
    later = replay(plan.problem, plan)
    assert [one.uid for one in landing_steps(later)] == [one.uid for one in work]


def test_a_stopped_search_gives_the_best_so_far() -> None:
    """Asked to stop at once: still a complete and sound day, marked as not reproducible."""
    seen: list[Any] = []
    plan = run_day(invented(32, 1), seconds=5.0, progress=seen.append, stop=lambda: True)
    sound(plan)
    assert not plan.reproducible
    assert seen
    assert timedelta(0) <= timedelta(seconds=plan.seconds) < timedelta(seconds=5)
