"""Lines that a wrong character would change unseen: rounding, edges of windows, words that count one and many."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from intake.farm.floor import Batch, Hold, Reading, Stay
from intake.library import load
from intake.quarantine import Orders, needs_for, release, temperature_of
from intake.quarantine.case import slotted
from intake.quarantine.daily.settling import settling_for
from intake.quarantine.exposure import meetings, trace
from intake.quarantine.exposure_picture import layout
from intake.quarantine.needs import Delay
from intake.quarantine.protocol import condition_of
from intake.quarantine.quarantine_clock import LOGGED_DAYS
from tests.quarantine.test_exposure import day, stay
from tests.quarantine.test_protocol import work
from tests.timetable.farms import MONDAY, ZONE, floor_of, site_of

LIBRARY = load()


@pytest.mark.parametrize(("minutes", "booked"), [(1, 15), (15, 15), (16, 30), (45, 45), (46, 60)])
def test_people_are_booked_by_whole_quarter_hours(minutes: int, booked: int) -> None:
    """Rounded up: a minute more takes the next quarter hour."""
    assert slotted(minutes) == booked


@pytest.mark.parametrize(("before_s", "counts"), [(0, True), (1, False), (-1, True)])
def test_a_reading_of_exactly_seven_days_ago_still_counts(before_s: float, counts: bool) -> None:
    """Seven days back, that instant included; a second earlier it is forgotten and the planned temperature holds."""
    at = MONDAY - timedelta(days=LOGGED_DAYS, seconds=before_s)
    floor = replace(floor_of([]), readings=(Reading("Q1", "temperature", 24.0, "", at, "ann"),))
    assert temperature_of("Q1", site_of(), floor, MONDAY) == (24.0 if counts else 26.4)


def test_a_reading_at_the_moment_asked_counts_and_one_after_it_does_not() -> None:
    """What is read at noon counts at noon."""
    for after, counts in ((0, True), (1, False)):
        reading = Reading("Q1", "temperature", 24.0, "", MONDAY + timedelta(seconds=after), "ann")
        floor = replace(floor_of([]), readings=(reading,))
        assert (temperature_of("Q1", site_of(), floor, MONDAY) == 24.0) == counts


def test_a_reading_at_a_vat_counts_as_the_ledger_names_it() -> None:
    """The ledger writes ``vat:A1`` where a person types ``A1``; only readings of whole waters had counted."""
    site = site_of()
    [vat, *_] = site.vats_of("Q1")
    reading = Reading(f"vat:{vat.id}", "temperature_c", 24.0, "", MONDAY, "ann")
    assert temperature_of("Q1", site, replace(floor_of([]), readings=(reading,)), MONDAY) == 24.0


@pytest.mark.parametrize(
    ("animals", "words"), [(1, "1 animal waits"), (2, "2 animals wait"), (1200, "1,200 animals wait")]
)
def test_one_animal_waits_and_two_wait(animals: int, words: str) -> None:
    """Said of one in the singular, with thousands set off."""
    delay = Delay(MONDAY, MONDAY + timedelta(days=7), animals, ("T-1",), 7.0)
    assert words in delay.words(ZONE)
    assert delay.animal_days == animals * 7


def test_acclimation_begins_within_two_hours_of_the_end_of_receiving() -> None:
    """Animals do not stand in the bag after they were counted: the lag is the work itself, and two hours at most."""
    batch = Batch("S1-01", "invented clam", "clam_small", 40.0, 50, shipment="S1", line=1)
    floor = replace(floor_of([]), batches={"S1-01": batch})
    due = Stay("S1-01", "Q1a", 50, MONDAY + timedelta(days=3), "quarantine")
    needs = {need.uid: need for need in needs_for((due,), floor, LIBRARY, site_of(), now=MONDAY)}
    acclimation, receive = needs["S1-01/acclimation"], needs["S1-01/receive"]
    assert acclimation.lag_max_days is not None
    assert acclimation.lag_min_days * 1440 == pytest.approx(slotted(receive.minutes))
    assert (acclimation.lag_max_days - acclimation.lag_min_days) * 24 == pytest.approx(2.0)


def test_a_first_inspection_is_late_after_the_last_quarter_hour_of_its_day() -> None:
    """23:45 on the farm's clock, whatever the hour the animals came."""
    needs = work([("T-1", "clam_small", 100, "Q1a", MONDAY)])
    latest = needs["T-1/clam-brushing/Q1a/1"].latest.astimezone(ZONE)
    assert (latest.hour, latest.minute, latest.second) == (23, 45, 0)


@pytest.mark.parametrize(
    ("group", "first", "again"),
    [("stony_branching_acropora", "T-1/coral-egg-scrape/Q1a/1", True), ("clam_small", "T-1/clam-brushing/Q1a/1", True)],
)
def test_a_repeated_bath_says_what_a_late_one_costs(group: str, first: str, again: bool) -> None:
    """From two baths on: one that comes too late begins the series again, and the reason says so."""
    why = work([("T-1", group, 40, "Q1a", MONDAY)])[first].why
    assert (" begins all " in why) == again
    assert LIBRARY.dips["coral-egg-scrape"].baths == 2, "the smallest series there is"


def test_lags_that_broke_are_told_beside_the_orders_given() -> None:
    """A broken lag must not make the answer forget what was asked for."""
    rows = [("T-1", "zoanthid", 50, "Q1a", MONDAY - timedelta(days=60))]
    floor, dip = floor_of(rows), "coral-iodine-dip"
    orders = Orders(asked={"T-1": {dip: "spots seen"}})

    def way(orders: Orders | None) -> set[str]:
        told = release(floor.batches["T-1"], floor, LIBRARY, site_of(), MONDAY, orders=orders, broken=("too late",))
        return set(told.stands_in_the_way)

    assert any("too late" in words for words in way(None))
    assert any("too late" in words for words in way(orders))
    assert way(orders) != way(None)


def test_the_batch_asked_about_is_marked_from_its_first_day() -> None:
    """Its bar is drawn as reached from the left edge on, the others from the day it could have reached them."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q1b", 4, 10), stay("Z", "Q2a", 0, 10)]
    met = meetings(rows, until=day(10))
    picture = layout(
        rows, trace("A", met, since=day(0), direction="forward", until=day(10)), batch="A", start=day(0), end=day(10)
    )
    assert {bar.batch: (bar.mark, bar.mark_from_day) for bar in picture.bars} == {
        "A": ("asked", 0.0),
        "B": ("reached", 4.0),
        "Z": ("", 0.0),
    }


@pytest.mark.parametrize(("interval", "either_side"), [(7.0, 1.0), (2.0, 0.5)])
def test_a_repeat_whose_window_no_one_stated_may_move_a_day_or_half_a_day(interval: float, either_side: float) -> None:
    """A day to either side, half a day where the interval is two days or less (design default)."""
    brushing = LIBRARY.dips["clam-brushing"]
    open_ended = {"interval_days": interval, "interval_min_days": None, "interval_max_days": None}
    library = replace(LIBRARY, dips={**LIBRARY.dips, brushing.id: brushing.model_copy(update=open_ended)})
    floor = floor_of([("T-1", "clam_small", 100, "Q1a", MONDAY)], MONDAY)
    needs = {need.uid: need for need in needs_for(floor.stays, floor, library, site_of(), now=MONDAY)}
    second = needs["T-1/clam-brushing/Q1a/2"]
    assert (second.lag_min_days, second.lag_max_days) == (interval - either_side, interval + either_side)


def test_the_release_check_waits_an_hour_after_the_last_bath() -> None:
    """Not less, and not days."""
    needs = work([("T-1", "clam_small", 100, "Q1a", MONDAY)])
    check = needs["T-1/release-check"]
    assert check.after == "T-1/clam-brushing/Q1a/6"
    assert check.lag_min_days == pytest.approx(1 / 24)


def test_a_hold_makes_only_its_own_lot_sick() -> None:
    """In the order of work: the lot on hold last, others in the same water as before."""
    rows = [("T-1", "clam_small", 100, "Q1a", MONDAY), ("T-2", "clam_small", 50, "Q1b", MONDAY)]
    floor = replace(floor_of(rows, MONDAY), holds=(Hold("T-1", "snails seen", MONDAY),))
    assert condition_of("T-1", floor, MONDAY) == "sick"
    assert condition_of("T-2", floor, MONDAY) == "quarantine"


def test_care_of_new_lots_may_be_done_until_the_last_quarter_hour_of_its_day() -> None:
    """One task for a water and day, from midnight to a quarter to midnight of the farm's own day."""
    floor = floor_of([("T-1", "clam_small", 100, "Q1a", MONDAY)], MONDAY)
    needs = settling_for(
        floor.stays, floor, LIBRARY, site_of(), placed={"T-1": MONDAY}, first=MONDAY, until=MONDAY + timedelta(days=3)
    )
    assert needs
    for need in needs:
        assert need.earliest.astimezone(ZONE).hour == 0
        assert need.latest - need.earliest == timedelta(hours=23, minutes=45)
        assert need.system == "Q1"
