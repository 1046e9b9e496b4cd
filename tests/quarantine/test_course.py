"""A medicine prescribed for weeks in the water: a visit a day, not weeks of hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from intake.farm.floor import Done
from intake.library import load
from intake.quarantine import Need, Orders, Prescription, needs_for
from tests.timetable.farms import MONDAY, floor_of, site_of

LIBRARY = load()

DAYS = 21
ORDER = Prescription("Dr Invented", "RX-1", "copper", "as told", DAYS * 1440.0, DAYS * 1440.0)
ORDERS = Orders(asked={"T-1": {"fish-copper-bath": "spots"}}, prescriptions={("T-1", "fish-copper-bath"): ORDER})


def visits(done: Sequence[int] = (), day: int = 0) -> list[Need]:
    """What is due of the course on a day of it, with some of its days recorded."""
    at = MONDAY + timedelta(days=1 + day)
    begun = floor_of([("T-1", "fish_reef_safe", 20, "Q1a", MONDAY)], at)
    told = tuple(
        Done(f"T-1/fish-copper-bath/Q1a/{one + 1}", "T-1", "dip", MONDAY + timedelta(days=1 + one), "ann", vat="Q1a")
        for one in done
    )
    needs = needs_for(begun.stays, replace(begun, done=told), LIBRARY, site_of(), now=at, orders=ORDERS)
    return sorted((need for need in needs if need.dip == "fish-copper-bath"), key=lambda need: need.number)


def test_a_course_of_three_weeks_is_a_visit_a_day() -> None:
    """Twenty-one short visits a day apart, in one piece each; the agent and its words are the prescriber's."""
    rows = visits()
    assert [one.uid for one in rows] == [f"T-1/fish-copper-bath/Q1a/{day}" for day in range(1, DAYS + 1)]
    assert max(one.minutes for one in rows) <= 60
    assert {(one.lag_min_days, one.lag_max_days) for one in rows[1:]} == {(0.5, 1.5)}
    assert (rows[-1].nominal - rows[0].nominal).days == DAYS - 1
    assert {one.strength for one in rows} == {"as told (as prescribed: Dr Invented, RX-1)"}
    assert rows[0].title.startswith("Copper bath for fish, 21 d: measure and dose")
    assert "begins all" not in rows[0].why


def test_days_missed_never_make_a_course_longer() -> None:
    """Who gives a medicine longer than prescribed asks the prescriber: what was missed is not given again."""
    rows = visits(done=(0, 1, 2), day=7)
    assert len(rows) == DAYS - 3
    assert rows[0].number == 4
    assert rows[0].deadline is None
    assert "begins again" not in rows[0].why
