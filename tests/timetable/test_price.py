"""Lateness is weighed by what it costs: of two tasks of which one must be late, the one that makes fewer wait is."""

from __future__ import annotations

from datetime import timedelta

import pytest

from intake.quarantine.needs import Delay
from intake.timetable import schedule
from tests.timetable.farms import MONDAY, need, site_of

ONE_PERSON = '[person.ann]\nskills = ["inspect"]\nstarts = "08:00"\nends = "12:00"\n'


@pytest.mark.parametrize("dear", ["a", "b"])
def test_the_task_that_makes_more_animals_wait_comes_first(dear: str) -> None:
    """Two inspections of three hours must begin by ten; one person until noon can do one of them today."""
    deadline = MONDAY + timedelta(hours=12)
    price = Delay(deadline, deadline + timedelta(days=30), 2950, ("S1-01",), 30.0)
    cheap = Delay(deadline, deadline + timedelta(days=1), 3, ("S2-01",), 1.0)
    work = [
        need(name, hour=9, minutes=180, slack_h=1.0, deadline=deadline, delays=price if name == dear else cheap)
        for name in ("a", "b")
    ]
    table = schedule(work, site_of(ONE_PERSON), now=MONDAY, seconds=1)
    assert {task.uid: task.start.date() == MONDAY.date() for task in table.tasks} == {
        dear: True,
        ("b" if dear == "a" else "a"): False,
    }
