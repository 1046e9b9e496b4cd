"""Ways out for work that is unplaced or late, each shown to help by scheduling again."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from intake.library import load
from intake.quarantine import needs_for
from intake.timetable import schedule
from intake.timetable.relief import reliefs, with_reliefs
from tests.timetable.farms import MONDAY, PEOPLE, floor_of, need, site_of

ONE = PEOPLE.split("[person.bo]")[0]


def test_a_late_dip_is_answered_with_an_hour_of_overtime_before_a_second_bench() -> None:
    """Ten and a half hours of dips in one day of ten: an hour longer is cheaper than another bench, which needs a hand."""
    site = site_of(ONE)
    needs = tuple(need(f"d-{n}", minutes=90, skill="dip", station="dip", slack_h=13) for n in range(7))
    now = MONDAY.replace(hour=8)
    table = schedule(needs, site, now=now, seconds=0.5)
    assert table.late_minutes > 0
    best = reliefs(needs, site, table, now=now)[0]
    assert "ann" in best.do
    assert "1 h longer" in best.do
    assert best.saves_late_minutes == table.late_minutes
    assert best.extra_minutes <= 60


def test_a_crowded_bench_with_idle_hands_asks_for_a_second_place() -> None:
    """Two people, one dip bench, four hours of dips within two: no overtime helps, a second place does."""
    site = site_of()
    needs = tuple(need(f"d-{n}", minutes=60, hour=9, skill="dip", station="dip", slack_h=1) for n in range(4))
    table = schedule(needs, site, now=MONDAY, seconds=0.5)
    assert table.late_minutes > 0
    found = reliefs(needs, site, table, now=MONDAY)
    assert len(found) == 1
    assert "one more place" in found[0].do


def test_a_missing_skill_names_who_could_learn_it_and_the_answer_is_told_beside_the_work() -> None:
    """Unplaced work comes with its cheapest way."""
    site = site_of()
    needs = (need("a", skill="laser"),)
    table = schedule(needs, site, now=MONDAY, seconds=0)
    told = with_reliefs(table, reliefs(needs, site, table, now=MONDAY))
    assert "teach" in told.unplaced[0].cheapest
    assert "laser" in told.unplaced[0].cheapest


def test_work_longer_than_any_shift_is_placed_by_overtime() -> None:
    """Eleven hours at one go in a farm whose longest shift is ten."""
    site = site_of()
    needs = (need("a", minutes=11 * 60, slack_h=14),)
    now = MONDAY - timedelta(hours=2)
    table = schedule(needs, site, now=now, seconds=0)
    assert [one.uid for one in table.unplaced] == ["a"]
    found = reliefs(needs, site, table, now=now)
    assert found[0].places == ("a",)
    assert "ann" in found[0].do


def test_no_relief_is_offered_where_nothing_is_wrong_or_nothing_helps() -> None:
    """An offer that does not help would be a lie."""
    site = site_of()
    fine = (need("a"),)
    assert reliefs(fine, site, schedule(fine, site, now=MONDAY, seconds=0), now=MONDAY) == ()
    overdue = (need("a", hour=6, slack_h=0.25),)
    table = schedule(overdue, site, now=MONDAY, seconds=0)
    assert table.late_minutes > 0
    assert reliefs(overdue, site, table, now=MONDAY) == ()


def test_an_understaffed_month_is_answered_with_hours_that_a_new_timetable_confirms() -> None:
    """One keeper for 1,900 animals: what is promised is what scheduling again with those hours gives."""
    site = site_of(ONE)
    floor = floor_of([("T-1", "clam_small", 1500, "Q1a", MONDAY), ("T-2", "stony_montipora", 400, "Q1b", MONDAY)])
    needs = needs_for(floor.stays, floor, load(), site, now=MONDAY)
    table = schedule(needs, site, now=MONDAY, seconds=0.5)
    assert table.late_minutes > 0
    found = reliefs(needs, site, table, now=MONDAY, seconds=0.05)
    hour = next(one for one in found if "ann work up to 1 h longer" in one.do)
    before: dict[str, Any] = {"now": MONDAY, "published": table.by_uid(), "seconds": 0.05}
    base = schedule(needs, site, **before)
    longer = schedule(needs, site, **before, overtime={"ann": 60})
    assert base.late_minutes - longer.late_minutes == hour.saves_late_minutes
    assert f"{hour.saves_late_minutes // 60} h {hour.saves_late_minutes % 60:02d} of lateness" in hour.do
    assert " 1 more days" not in hour.do


def test_work_that_no_single_change_places_says_so() -> None:
    """An empty answer would read as if nobody had looked."""
    site = site_of()
    needs = (need("a", minutes=14 * 60, slack_h=14),)
    table = schedule(needs, site, now=MONDAY - timedelta(hours=2), seconds=0)
    told = with_reliefs(replace(table, unplaced=(replace(table.unplaced[0], cheapest=""),)), ())
    assert "no single change" in told.unplaced[0].cheapest
