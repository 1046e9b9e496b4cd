"""The parts of one repeat may be done a day apart; the next repeat counts from each of them, not from the later one."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from intake.farm.floor import Done
from intake.quarantine.needs import Need
from tests.quarantine.test_protocol import work
from tests.timetable.farms import MONDAY, floor_of

FIRST = "T-1/clam-brushing/Q1a/1"
COUNTS = timedelta(days=8, hours=12)
"""204 h: eight days, and the half day by which a record may miss them."""


def after(parts: dict[str, datetime], animals: int = 900) -> dict[str, Need]:
    """What is still to be done after some parts of the first brushing, the last of them just now."""
    now = max(parts.values())
    floor = floor_of([("T-1", "clam_small", animals, "Q1a", min(parts.values()) - timedelta(hours=5))], now)
    done = tuple(Done(uid, "T-1", "inspection", at, "ann") for uid, at in parts.items())
    return work([], at=now, floor=replace(floor, done=done))


def test_a_part_done_a_day_before_the_others_is_due_a_day_before_them() -> None:
    """Counted from the last part, the part done first could be planned 8.99 d after itself: the series began again."""
    early = MONDAY - timedelta(days=0.99)
    needs = after({FIRST: MONDAY, f"{FIRST}/part-2": early, f"{FIRST}/part-3": MONDAY})
    second = "T-1/clam-brushing/Q1a/2"
    for uid, at in ((second, MONDAY), (f"{second}/part-2", early), (f"{second}/part-3", MONDAY)):
        need = needs[uid]
        assert need.earliest - at == timedelta(days=6)
        assert need.nominal - at == timedelta(days=7)
        assert need.latest - at == timedelta(days=8)
        assert need.deadline == at + COUNTS


def test_a_part_still_open_is_waited_for_by_the_same_part_of_the_next_repeat() -> None:
    """Its day is not known yet: the lag to it holds instead."""
    needs = after({FIRST: MONDAY})
    second = needs["T-1/clam-brushing/Q1a/2/part-2"]
    assert f"{FIRST}/part-2" in needs
    assert (second.after, second.lag_min_days, second.lag_max_days) == (f"{FIRST}/part-2", 6.0, 8.0)
    assert needs["T-1/clam-brushing/Q1a/2"].after == ""


def test_fewer_parts_hold_the_animals_of_those_before() -> None:
    """Two parts became one piece of work: not before the later allows, not after the earlier does."""
    early = MONDAY - timedelta(days=0.8)
    needs = after({FIRST: MONDAY, f"{FIRST}/part-2": early}, animals=100)
    need = needs["T-1/clam-brushing/Q1a/2"]
    assert need.earliest == MONDAY + timedelta(days=6)
    assert need.latest == early + timedelta(days=8)
    assert need.deadline == early + COUNTS


def test_a_later_part_recorded_first_leaves_the_first_part_due() -> None:
    """So many died or left that one part would do now: the animals of the first part are still to be brushed."""
    needs = after({f"{FIRST}/part-2": MONDAY}, animals=100)
    assert needs[FIRST].headcount == 50
    second = needs["T-1/clam-brushing/Q1a/2"]
    assert second.after == FIRST
