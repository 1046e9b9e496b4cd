"""Release is a check: what stands in the way is named, and no date alone opens the door."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from intake.farm.floor import Dead, Done, Floor, Found, Hold
from intake.library import load
from intake.quarantine import Orders, Release, release
from tests.timetable.farms import MONDAY, Row, floor_of, site_of

LIBRARY = load()


def brushed(floor: Floor, rows: Sequence[Row], times: int = 6) -> Floor:
    """The floor with so many weekly brushings of each lot recorded."""
    done = tuple(
        Done(f"{batch}/clam-brushing/{vat}/{number}", batch, "dip", since + timedelta(days=7 * (number - 1)), "ann")
        for batch, _, _, vat, since in rows
        for number in range(1, times + 1)
    )
    return replace(floor, done=done)


def answer(floor: Floor, batch: str, now: datetime = MONDAY, **more: Any) -> Release:
    """The release answer for one batch of the test farm."""
    return release(floor.batches[batch], floor, LIBRARY, site_of(), now, **more)


def test_a_lot_with_all_work_done_and_its_days_over_is_releasable() -> None:
    """The plain case must be a plain yes."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY - timedelta(days=42))]
    found = answer(brushed(floor_of(rows), rows), "T-1")
    assert found.releasable
    assert found.stands_in_the_way == ()
    assert found.earliest == MONDAY.date()


def test_days_alone_do_not_release() -> None:
    """Sixty days in quarantine and one brushing missing: no."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY - timedelta(days=60))]
    found = answer(brushed(floor_of(rows), rows, times=5), "T-1")
    assert not found.releasable
    assert any("still to do" in words for words in found.stands_in_the_way)


def test_the_last_lot_to_enter_the_shared_water_sets_the_date() -> None:
    """Official requirement for marine fish, industry advice 41-2025 (S73); the other water is not touched."""
    old, new = MONDAY - timedelta(days=42), MONDAY - timedelta(days=10)
    rows = [("T-1", "clam_small", 50, "Q1a", old), ("T-2", "clam_small", 50, "Q1b", new)]
    rows.append(("T-3", "clam_small", 50, "Q2a", old))
    floor = brushed(floor_of(rows), [rows[0], rows[2]])
    floor = replace(floor, done=(*floor.done, *brushed(floor, rows[1:2], times=2).done))
    found = answer(floor, "T-1")
    assert not found.releasable
    assert found.earliest == (new + timedelta(days=42)).date()
    assert any("T-2 shares its water" in words for words in found.stands_in_the_way)
    assert answer(floor, "T-3").releasable


def test_a_newcomer_after_the_end_of_the_first_lot_does_not_delay_it() -> None:
    """A planned lot that enters when the older one may already be gone sets no date."""
    old = MONDAY - timedelta(days=42)
    rows = [("T-1", "clam_small", 50, "Q1a", old), ("T-2", "clam_small", 50, "Q1b", MONDAY + timedelta(days=5))]
    assert answer(brushed(floor_of(rows), rows[:1]), "T-1").releasable


def test_a_finding_must_be_older_than_one_generation() -> None:
    """Flatworm at 26.4 °C: 41 d; the group's own 45 d run again from the finding (husbandry 2.3)."""
    since = MONDAY - timedelta(days=100)
    floor = floor_of([("T-1", "stony_branching_acropora", 20, "Q1a", since)])
    seen = Found("T-1", "Q1a", "acropora-flatworm", MONDAY - timedelta(days=10), "ann")
    found = answer(replace(floor, found=(seen,)), "T-1")
    assert not found.releasable
    assert found.earliest is not None
    assert found.earliest >= (seen.at + timedelta(days=45)).date()
    assert any("flatworm" in words for words in found.why)


def test_one_generation_is_counted_from_the_last_bath_after_a_finding() -> None:
    """The clock starts at the finding or the last bath, whichever is later (husbandry 2.3)."""
    since = MONDAY - timedelta(days=100)
    floor = floor_of([("T-1", "stony_branching_acropora", 20, "Q1a", since)])
    seen = Found("T-1", "Q1a", "acropora-flatworm", MONDAY - timedelta(days=1), "ann")
    found = answer(replace(floor, found=(seen,)), "T-1")
    last_bath = MONDAY + timedelta(days=21)  # freshwater dips 0-7-14-21 from now outlast the flatworm pair 0-20
    generation = 1 / ((0.6 / 3) / 64 + (2.4 / 3) / 38)
    assert found.earliest == (last_bath + timedelta(days=generation)).date()


def test_a_clean_inspection_is_no_finding() -> None:
    """An empty finding is good news."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY - timedelta(days=42))]
    floor = brushed(floor_of(rows), rows)
    floor = replace(floor, found=(Found("T-1", "Q1a", "", MONDAY - timedelta(days=1), "ann"),))
    assert answer(floor, "T-1").releasable


def test_a_hold_forbids_release_until_it_is_lifted_with_a_reason() -> None:
    """Held is held, whatever the date."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY - timedelta(days=50))]
    floor = brushed(floor_of(rows), rows)
    held = replace(floor, holds=(Hold("T-1", "pinched mantle suspected", MONDAY - timedelta(days=3)),))
    found = answer(held, "T-1")
    assert (found.releasable, found.earliest) == (False, None)
    assert any("pinched mantle" in words for words in found.stands_in_the_way)
    lifted = replace(
        floor, holds=(Hold("T-1", "pinched mantle suspected", MONDAY - timedelta(days=3), "histology clear"),)
    )
    assert answer(lifted, "T-1").releasable


def test_unexplained_deaths_hold_the_lot_and_deaths_of_the_first_week_do_not() -> None:
    """Perkinsus lots look healthy until shortly before death (husbandry 10.5); the first week is the journey's."""
    since = MONDAY - timedelta(days=50)
    rows = [("T-1", "clam_small", 50, "Q1a", since)]
    floor = brushed(floor_of(rows), rows)
    early = replace(floor, losses=(Dead("T-1", "Q1a", "dead", 20, since + timedelta(days=3)),))
    assert answer(early, "T-1").releasable
    late = replace(floor, losses=(Dead("T-1", "Q1a", "dead", 6, since + timedelta(days=30)),))
    found = answer(late, "T-1")
    assert (found.releasable, found.earliest) == (False, None)
    tested = replace(late, holds=(Hold("T-1", "6 deaths", since + timedelta(days=31), "histology clear"),))
    assert answer(tested, "T-1").releasable


def test_a_lag_that_was_not_kept_forbids_release() -> None:
    """A broken cycle is not a cycle; the lot is marked and not let go."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY - timedelta(days=50))]
    floor = brushed(floor_of(rows), rows)
    assert not answer(floor, "T-1", orders=Orders(broken={"T-1": ("transfer 2 was 5 h late",)})).releasable
