"""A repeat placed after the moment at which its series begins again is seen by the repair, moved at once, or reported."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from intake.quarantine.needs import Delay, Need
from intake.timetable import Task, not_holding, repair, schedule
from intake.timetable.answers.lapses import lapses_told
from tests.timetable.farms import MONDAY, need, site_of

ANN = '[person.ann]\nskills = ["inspect", "dip"]\nstarts = "08:00"\nends = "12:00"\n'
BOTH = ANN + '[person.bo]\nskills = ["dip"]\nstarts = "08:00"\nends = "12:00"\n'
LAST = MONDAY.replace(hour=10) - timedelta(days=7)
"""When the repeat before the one asked for was done."""


def brushing(number: int, *, done: datetime = LAST, minutes: int = 120, animals: int = 400, part: str = "") -> Need:
    """The next of a series of six: 6 to 8 days after the last, and within 8.5 days, else 3,000 animals wait 27 days."""
    deadline = done + timedelta(days=8.5)
    return need(
        f"L/brush/Q1a/{number}{part}",
        minutes=minutes,
        batch="L",
        vat="Q1a",
        dip="brush",
        skill="inspect",
        number=number,
        of=6,
        headcount=animals,
        earliest=done + timedelta(days=6),
        nominal=done + timedelta(days=7),
        latest=done + timedelta(days=8),
        deadline=deadline,
        delays=Delay(deadline, deadline + timedelta(days=35), 3000, ("L",), 27.0),
    )


def later(before: Need, number: int) -> Need:
    """The one after an open repeat."""
    return replace(
        brushing(number),
        earliest=before.earliest + timedelta(days=6),
        nominal=before.nominal + timedelta(days=7),
        latest=before.latest + timedelta(days=8),
        after=before.uid,
        lag_min_days=6.0,
        lag_max_days=8.0,
        deadline=None,
        delays=None,
    )


def at(task: Task, start: datetime, *, who: tuple[str, ...] = ("ann",)) -> Task:
    """A published task at another time."""
    return replace(task, start=start, end=start + (task.end - task.start), staff=who)


def test_a_repeat_published_past_its_deadline_is_moved_at_once() -> None:
    """The part before it was done a day sooner than planned, so its published time no longer counts: hands are free."""
    asked = brushing(6)
    site = site_of(ANN)
    published = schedule([asked], site, now=MONDAY, seconds=0).by_uid()
    past = at(published[asked.uid], MONDAY.replace(hour=8) + timedelta(days=2))
    late = replace(past, late_minutes=24 * 60, latest=asked.latest)
    for was in (past, late):  # also where it was published as late already
        assert not_holding([asked], {asked.uid: was}, site, MONDAY) == [asked.uid]
        table = repair([asked], site, now=MONDAY, published={asked.uid: was})
        (task,) = table.tasks
        assert task.start < asked.latest
        assert lapses_told([asked], table.by_uid(), site) == []


def test_cheaper_work_makes_room_for_a_repeat_that_would_lapse() -> None:
    """Two full mornings of work that may wait, published and in time: as much of it moves as the repeat needs."""
    asked = brushing(6, done=MONDAY.replace(hour=8) - timedelta(days=7))
    waits = [
        need(f"look-{day}-{turn}", day=day, hour=8 + 2 * turn, minutes=120, slack_h=2.0, skill="inspect")
        for day in range(2)
        for turn in range(2)
    ]
    site = site_of(ANN)
    published = schedule(waits, site, now=MONDAY.replace(hour=7), seconds=0).by_uid()
    table = repair([*waits, asked], site, now=MONDAY.replace(hour=7), published=published)
    task = table.by_uid()[asked.uid]
    assert task.end <= asked.deadline  # type: ignore[operator]
    assert 1 <= len(table.moved) <= 2
    assert lapses_told([asked, *waits], table.by_uid(), site) == []


def test_a_link_further_on_is_held_to_its_series_too() -> None:
    """The next but one of a series, published nine days after the next: the repair closes the gap before it is recorded."""
    first = brushing(5)
    second = later(first, 6)
    site = site_of(ANN)
    published = schedule([first, second], site, now=MONDAY, seconds=0).by_uid()
    far = at(published[second.uid], published[first.uid].start + timedelta(days=9))
    assert not_holding([first, second], {**published, second.uid: far}, site, MONDAY) == [second.uid]
    table = repair([first, second], site, now=MONDAY, published={**published, second.uid: far})
    gap = table.by_uid()[second.uid].start - table.by_uid()[first.uid].start
    assert gap <= timedelta(days=8)


@pytest.mark.parametrize("people", [ANN, BOTH])
def test_a_repeat_that_cannot_be_placed_in_time_is_told_with_its_price_and_the_way_out(people: str) -> None:
    """Everybody with the skill is on another lapse as dear: reported with deadline, price and the overtime that would do."""
    site = site_of(people)
    now = MONDAY.replace(hour=7)
    first = brushing(6, done=now - timedelta(days=8), minutes=240)
    other = replace(first, uid="K/brush/Q1b/6", batch="K", vat="Q1b", headcount=500)
    table = repair([first, other], site, now=now, published={})
    (told,) = lapses_told([first, other], table.by_uid(), site)
    assert told.uid in {first.uid, other.uid}
    assert told.why.startswith("planned for")
    assert "3,000 animals wait until" in told.why
    assert "Mon 01 Mar 19:00" in told.why
    assert told.cheapest.startswith("let ann work up to")


def test_a_lapse_that_cannot_be_helped_is_not_tried_with_every_act() -> None:
    """No one can do three hours before the deadline any more: it is reported, and the timetable is left as it was repaired."""
    site = site_of(ANN)
    now = MONDAY.replace(hour=11)
    asked = brushing(6, done=now - timedelta(days=8, hours=11), minutes=180)
    waits = [need(f"look-{day}", day=day, hour=8, minutes=60, slack_h=6, skill="inspect") for day in range(1, 4)]
    published = schedule(waits, site, now=now, seconds=0).by_uid()
    table = repair([*waits, asked], site, now=now, published=published)
    assert not_holding([asked, *waits], table.by_uid(), site, now) == []
    assert [one.uid for one in lapses_told([asked, *waits], table.by_uid(), site)] == [asked.uid]
