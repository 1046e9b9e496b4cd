"""From when every lot is free: one function, on the facts of the moment, for whoever asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.farm.floor import Dead, Done, Floor, Freedom, Hold, Stay
from intake.library import load
from intake.quarantine import Need, courses_of, free_from, needs_for, release
from intake.quarantine.deaths import USUAL_A_DAY, unexplained_deaths
from intake.quarantine.quarantine_clock import days_after
from intake.quarantine.release import shared_end
from tests.timetable.farms import MONDAY, floor_of, site_of

LIBRARY, SITE = load(), site_of()
DAY = timedelta(days=1)
Row = tuple[str, str, int, str, datetime]


def clams(name: str, vat: str, days_ago: float, count: int = 50) -> Row:
    """Small clams that entered a vat so many days before the Monday of the tests: 42 days, six weekly brushings."""
    return (name, "clam_small", count, vat, MONDAY - days_ago * DAY)


def brushed(floor: Floor, rows: list[Row], times: int = 6, *, late_last_d: float = 0.0) -> Floor:
    """Weekly brushings of every lot recorded since its entry, the last of them late."""
    done = [
        Done(f"{lot}/clam-brushing/{vat}/{n}", lot, "inspection", since + (n - 1) * 7 * DAY, "ann")
        for lot, _, _, vat, since in rows
        for n in range(1, times + 1)
    ]
    if late_last_d:
        done = [replace(one, at=one.at + late_last_d * DAY) if one.task.endswith(f"/{times}") else one for one in done]
    return replace(floor, done=(*floor.done, *done))


def told(floor: Floor, stays: tuple[Stay, ...] | None = None) -> Mapping[tuple[str, str], Freedom]:
    """The answer for every lot."""
    return free_from(floor, LIBRARY, SITE, stays=stays)


def days_from_monday(moment: datetime | None) -> float | None:
    """Days after the Monday of the tests."""
    return None if moment is None else (moment.astimezone(UTC) - MONDAY.astimezone(UTC)) / DAY


def test_a_lot_that_overstays_waits_with_who_enters_beside_it() -> None:
    """A was free a week ago and still stands; B came three days ago: A may carry what B brought, so A waits for B."""
    rows = [clams("A", "Q1a", 49), clams("B", "Q1b", 3)]
    floor = brushed(brushed(floor_of(rows), rows[:1]), rows[1:], times=1)
    found = told(floor)["A", "quarantine"]
    assert found.set_by == "B"
    assert days_from_monday(found.free_from) == pytest.approx(39)
    assert not release(floor.batches["A"], floor, LIBRARY, SITE, MONDAY).releasable


def test_a_lot_gone_before_the_newcomer_enters_is_not_held() -> None:
    """A planned lot that enters five days from now does not hold one that is free today."""
    rows = [clams("A", "Q1a", 42)]
    floor = brushed(floor_of(rows), rows)
    floor = replace(floor, batches={**floor.batches, "B": replace(floor.batches["A"], id="B")})
    stays = (*floor.stays, Stay("B", "Q1b", 50, MONDAY + 5 * DAY, "quarantine"))
    assert told(floor, stays)["A", "quarantine"].free_from == MONDAY


@pytest.mark.parametrize("why", ["hold", "deaths"])
def test_a_lot_without_a_day_gives_none_to_those_in_its_water_and_all_to_others(why: str) -> None:
    """What holds A, nobody knows yet; B drinks the same water, C does not."""
    rows = [clams("A", "Q1a", 50), clams("B", "Q1b", 50), clams("C", "Q2a", 50)]
    floor = brushed(floor_of(rows), rows)
    if why == "hold":
        floor = replace(floor, holds=(Hold("A", "snails seen", MONDAY - DAY),))
    else:
        floor = replace(floor, losses=(Dead("A", "Q1a", "dead", 9, MONDAY - DAY),))
    found = told(floor)
    assert found["A", "quarantine"].free_from is None
    assert found["B", "quarantine"].free_from is None
    assert "A shares its water and has no day yet" in found["B", "quarantine"].unknown[0]
    assert found["C", "quarantine"].free_from is not None


def test_who_was_cleared_since_does_not_wait_for_who_is_held() -> None:
    """Clams are no hosts of flatworms: a person lifted their hold after the corals beside them were held."""
    rows = [clams("A", "Q1a", 50), clams("B", "Q1b", 50)]
    held = Hold("A", "flatworms", MONDAY - 2 * DAY)
    floor = replace(brushed(floor_of(rows), rows), holds=(held,))
    before = Hold("B", "met A", MONDAY - 5 * DAY, "another matter", MONDAY - 4 * DAY)
    since = Hold("B", "met A", MONDAY - 2 * DAY, "no host of it", MONDAY - DAY)
    assert told(replace(floor, holds=(held, before)))["B", "quarantine"].free_from is None
    assert told(replace(floor, holds=(held, since)))["B", "quarantine"].free_from is not None


def test_stock_beyond_quarantine_is_free_since_it_entered_unless_it_is_held() -> None:
    """Free is not gone: nothing here says when it leaves."""
    rows = [clams("A", "G1", 20)]
    floor = floor_of(rows)
    floor = replace(floor, stays=tuple(replace(stay, stage="grow-out") for stay in floor.stays))
    assert told(floor)["A", "grow-out"].free_from == MONDAY - 20 * DAY
    held = replace(floor, holds=(Hold("A", "met a finding", MONDAY),))
    assert told(held)["A", "grow-out"].free_from is None


def test_the_last_brushing_8_9_days_after_the_fifth_begins_six_again_and_release_says_so() -> None:
    """8 d and 12 h at the most: the sixth is the first of a new series, five weekly ones follow: 35 days more."""
    rows = [clams("A", "Q1a", 37)]
    floor = brushed(floor_of(rows), rows, late_last_d=1.9)
    found = told(floor)["A", "quarantine"]
    assert days_from_monday(found.free_from) == pytest.approx(-37 + 35 + 1.9 + 35)
    answer = release(floor.batches["A"], floor, LIBRARY, SITE, MONDAY)
    assert any("8.9 d had passed, so the series began again" in words for words in answer.why)
    assert any("sooner" in words for words in answer.sooner)


@pytest.mark.parametrize("after_deadline", [False, True])
def test_the_deadline_told_beforehand_is_the_one_that_counts(after_deadline: bool) -> None:
    """Done a minute before the deadline the lot is free as it was; a minute after, on the day the price named."""
    rows = [clams("A", "Q1a", 30), clams("B", "Q1b", 30, count=70)]
    floor = brushed(brushed(floor_of(rows), rows[:1], times=5), rows[1:])
    need = next(one for one in needs_for(floor.stays, floor, LIBRARY, SITE, now=MONDAY) if one.batch == "A" and one.dip)
    assert need.deadline == days_after(rows[0][4], 28 + 8.5)
    assert need.delays is not None
    assert (need.delays.animals, set(need.delays.lots)) == (120, {"A", "B"})
    at = need.deadline + timedelta(minutes=1 if after_deadline else -1)
    later = replace(floor, done=(*floor.done, Done(need.uid, "A", "inspection", at, "ann")), at=at)
    ends = {told(later)[lot, "quarantine"].free_from for lot in ("A", "B")}
    if after_deadline:
        assert ends == {need.delays.until + timedelta(minutes=1)}
    else:
        assert ends == {days_after(rows[0][4], 42)}


def test_a_missed_deadline_is_told_before_anything_is_recorded() -> None:
    """The sixth was due two days ago at the latest: from now on it opens a new series, and the date says so at once."""
    rows = [clams("A", "Q1a", 28 + 10)]
    floor = brushed(floor_of(rows), rows, times=5)
    found = told(floor)["A", "quarantine"]
    assert days_from_monday(found.free_from) == pytest.approx(35)
    assert any("so the series begins again with it" in words for words in found.why)
    assert all(one.deadline is None for one in courses_of(floor, LIBRARY, SITE)["A"].work)


def test_a_transfer_missed_by_an_hour_counts_as_the_entry_into_a_new_series() -> None:
    """72 h since entry and an hour's grace have passed: the next move begins four again, so five are left."""
    rows: list[Row] = [("A", "fish_reef_safe", 20, "Q1a", MONDAY - timedelta(hours=74))]
    transfers = [one for one in courses_of(floor_of(rows), LIBRARY, SITE)["A"].work if one.kind == "transfer"]
    in_time = courses_of(floor_of([(*rows[0][:4], MONDAY - 2 * DAY)]), LIBRARY, SITE)["A"].work
    assert len(transfers) == 5
    first = next(one for one in in_time if one.kind == "transfer")
    assert first.deadline == MONDAY + DAY + timedelta(hours=1)


def deaths(times: Mapping[float, int], *, alive: int, days: float = 60) -> Floor:
    """A lot that entered so many days ago, with deaths on days after its entry."""
    entered = MONDAY - days * DAY
    floor = floor_of([("A", "clam_small", alive, "Q1a", entered)])
    losses = tuple(Dead("A", "Q1a", "dead", count, entered + day * DAY) for day, count in times.items())
    return replace(floor, losses=losses)


def held_for_deaths(floor: Floor) -> bool:
    """Whether the lot's deaths are more than usual."""
    return unexplained_deaths("A", floor.stays[0].since, floor) is not None


def test_ordinary_deaths_over_a_long_stay_hold_nobody() -> None:
    """4 % a month for half a year is 21 % of the lot: a fixed share of 5 % would hold every lot that stays long."""
    assert not held_for_deaths(deaths({30.0 * month: 4 for month in range(1, 7)}, alive=90, days=190))


def test_a_burst_holds_and_is_not_forgotten_by_quiet_weeks() -> None:
    """Eight of a hundred in two days; six weeks later nobody has said why."""
    assert held_for_deaths(deaths({14.0: 5, 15.5: 3}, alive=92))


def test_a_slow_loss_holds_too() -> None:
    """Four a week of a hundred, never a burst in one of them: 18 in a month where 6 are usual."""
    assert held_for_deaths(deaths({10.0 + 1.7 * number: 1 for number in range(18)}, alive=82))


def test_the_first_week_is_the_journeys() -> None:
    """Thirty deaths on day 5 are reported elsewhere, in the claim."""
    assert not held_for_deaths(deaths({5.0: 30}, alive=100))


def test_a_lifted_hold_explains_what_died_before_it_and_nothing_after() -> None:
    """Tested and lifted on day 20; a second burst on day 40 holds again."""
    floor = deaths({14.0: 9}, alive=90)
    entered = floor.stays[0].since
    hold = Hold("A", "9 deaths", entered + 15 * DAY, "histology clear", entered + 20 * DAY)
    assert not held_for_deaths(replace(floor, holds=(hold,)))
    again = Dead("A", "Q1a", "dead", 9, entered + 40 * DAY)
    assert held_for_deaths(replace(floor, holds=(hold,), losses=(*floor.losses, again)))


def stays_held(rate: float, stays: int = 200) -> int:
    """How many simulated stays of 42 days are held in which a hundred animals die so many times as fast as usual."""
    held = 0
    for seed in range(stays):
        draw, size, times = Random(seed), 100, dict[float, int]()
        for day in range(8, 43):
            lost = sum(draw.random() < rate * USUAL_A_DAY for _ in range(size))
            size -= lost
            if lost:
                times[float(day)] = lost
        held += held_for_deaths(deaths(times, alive=size, days=43))
    return held


def test_lots_that_die_as_usual_are_seldom_held_and_those_that_die_three_times_as_fast_mostly_are() -> None:
    """Of 200 stays at most three for chance alone, and at least three in four at triple the rate."""
    assert stays_held(1.0) <= 3
    assert stays_held(3.0) >= 150


@given(
    st.lists(
        st.tuples(st.integers(-60, 30), st.integers(1, 50), st.sampled_from(["Q1a", "Q1b", "Q2a"])),
        min_size=1,
        max_size=8,
    )
)
def test_the_end_in_shared_water_is_the_least_fix_point(rows: list[tuple[int, int, str]]) -> None:
    """One sorted pass gives what naive repetition gives, for lots that overlap in any way; order does not matter."""
    stays = [Stay(f"L{n}", vat, 5, MONDAY + day * DAY, "quarantine") for n, (day, _, vat) in enumerate(rows)]
    own = {f"L{n}": MONDAY + (day + long) * DAY for n, (day, long, _) in enumerate(rows)}
    for stay in stays:
        beside = [one for one in stays if SITE.vat(one.vat).system == SITE.vat(stay.vat).system]
        end, changed = own[stay.batch], True
        while changed:
            changed = False
            until = max(end, MONDAY) if stay.since <= MONDAY else end
            for one in beside:
                if one.since < until and own[one.batch] > end:
                    end, changed = own[one.batch], True
        assert shared_end(stay.batch, stays, own, SITE, MONDAY)[0] == end
        assert shared_end(stay.batch, stays[::-1], own, SITE, MONDAY)[0] == end


def test_every_need_of_a_series_but_the_open_one_has_no_deadline_yet() -> None:
    """A deadline that depends on work not done would be a guess."""
    rows = [clams("A", "Q1a", 8)]
    needs: list[Need] = [
        one for one in courses_of(brushed(floor_of(rows), rows, 2), LIBRARY, SITE)["A"].work if one.dip
    ]
    assert [one.deadline is not None for one in needs] == [True] + [False] * (len(needs) - 1)


@pytest.mark.parametrize(("entered_d", "met"), [(3, True), (0.001, True), (-1, False)])
def test_a_lot_past_its_end_waits_with_a_newcomer_on_hold(entered_d: float, met: bool) -> None:
    """A ended a week ago and still stands: B, who came since and is held, has no day, so A has none; who comes later: not met."""
    rows = [clams("A", "Q1a", 49), clams("B", "Q1b", entered_d)]
    floor = brushed(floor_of(rows), rows[:1])
    floor = replace(floor, holds=(Hold("B", "gaping", MONDAY - 3 * DAY),))
    found = told(floor)["A", "quarantine"]
    assert any("B shares its water and has no day yet" in words for words in found.unknown) is met
    assert (found.free_from is None) is met


def test_the_days_that_stand_in_the_way_are_named() -> None:
    """Its own end, and that of the lot beside it, by date."""
    rows = [clams("A", "Q1a", 40), clams("B", "Q1b", 3)]
    floor = brushed(brushed(floor_of(rows), rows[:1]), rows[1:], times=1)
    words = release(floor.batches["A"], floor, LIBRARY, SITE, MONDAY).stands_in_the_way
    assert "its own quarantine ends 2027-03-03" in words
    assert any(one.startswith("B shares its water and is in quarantine until 2027-04-09") for one in words), words
