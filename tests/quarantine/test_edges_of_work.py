"""Edges of the work in quarantine: minutes, the last moment of a deadline, days of rounds and routines, where a lot entered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest
from scipy.stats import poisson

from intake.errors import BadInput
from intake.farm.floor import Batch, Dead, Done, Floor, Found, Hold, Stay
from intake.library import load
from intake.quarantine import Need, Orders, courses_of, needs_for, release, work_for
from intake.quarantine.case import minutes_for
from intake.quarantine.daily.rounds import LONGEST_WALK_MIN, PER_VAT_MIN, rounds_for
from intake.quarantine.daily.routines import routines_for
from intake.quarantine.deaths import CHANCE, USUAL_A_DAY, _fewest, unexplained_deaths
from intake.quarantine.exposure import meetings
from intake.quarantine.lateness import delay_of
from intake.quarantine.quarantine_clock import clock_of, days_after, entered_at
from tests.quarantine.test_exposure import day, stay
from tests.quarantine.test_protocol import work
from tests.timetable.farms import MONDAY, ZONE, floor_of, site_of

LIBRARY = load()
DAY, SECOND = timedelta(days=1), timedelta(seconds=1)
ROUTINE = """
[routine.walk]
kind = "round"
rule = "FREQ=DAILY"
since = 2027-02-01
system = "{system}"
minutes = 20
skill = "inspect"
part_of_day = "{part}"
"""


@pytest.mark.parametrize(("count", "minutes"), [(0, 10), (1, 11), (399, 70), (400, 70), (401, 71), (800, 130)])
def test_minutes_are_animals_by_the_hour_rounded_up_with_ten_to_set_up(count: int, minutes: int) -> None:
    """400 an hour: 400 animals are an hour and ten minutes, one more is a minute more."""
    assert minutes_for(count, 400.0) == minutes


@pytest.mark.parametrize(("late", "asked"), [(timedelta(0), 5), (SECOND, 6)])
def test_at_its_deadline_a_repeat_still_follows_the_one_before(late: timedelta, asked: int) -> None:
    """Brushed once: the second may follow up to 8 d and 12 h later, that instant included; a second later six begin again."""
    first = MONDAY - timedelta(days=8, hours=12)
    floor = replace(
        floor_of([("T-1", "clam_small", 50, "Q1a", first - DAY)], MONDAY + late),
        done=(Done("T-1/clam-brushing/Q1a/1", "T-1", "inspection", first, "ann"),),
    )
    left = [need for need in work([], at=MONDAY + late, floor=floor).values() if need.dip == "clam-brushing"]
    assert len(left) == asked
    assert (left[0].deadline == MONDAY) is (asked == 5)


@pytest.mark.parametrize(("late", "asked"), [(timedelta(0), 2), (SECOND, 4)])
def test_at_its_last_minute_a_transfer_still_follows_the_entry(late: timedelta, asked: int) -> None:
    """72 h with an hour of grace from one move to the next, that instant included; a second later four begin again."""
    entered = MONDAY - timedelta(hours=71 + 73) - late
    done = (
        Done("T-1/fish-tank-transfer/1", "T-1", "transfer", entered + timedelta(hours=71), "ann", to="Q2a"),
        Done("T-1/fish-tank-transfer/2", "T-1", "transfer", MONDAY, "ann", to="Q1a"),
    )
    floor = replace(floor_of([("T-1", "fish_reef_safe", 20, "Q1a", entered)]), done=done)
    left = [need for need in work([], floor=floor).values() if need.dip == "fish-tank-transfer"]
    assert len(left) == asked


def test_a_batch_over_two_vats_is_received_once_at_its_first() -> None:
    """One receipt of all its animals, named after the first vat in the order of vats."""
    batch = Batch("S1-01", "invented clam", "clam_small", 40.0, 50, shipment="S1", line=1)
    floor = replace(floor_of([]), batches={"S1-01": batch})
    lands = MONDAY + 3 * DAY
    due = (Stay("S1-01", "Q1a", 400, lands, "quarantine"), Stay("S1-01", "Q2a", 1, lands, "quarantine"))
    needs = {need.uid: need for need in needs_for(due, floor, LIBRARY, site_of(), now=MONDAY)}
    for uid in ("S1-01/receive", "S1-01/acclimation"):
        assert (needs[uid].vat, needs[uid].system, needs[uid].headcount) == ("Q1a", "Q1", 401)
    assert needs["S1-01/receive"].minutes == 71
    assert needs["S1-01/receive"].latest - lands == timedelta(hours=4)
    assert needs["S1-01/acclimation"].latest - lands == timedelta(hours=6)
    assert needs["S1-01/release-check"].vat == "Q1a"
    assert needs["S1-01/acclimation"].minutes == 30, "design default"


@pytest.mark.parametrize(("wait_d", "said"), [(None, False), (-1.0, False), (0.0, False), (1.0, True)])
def test_the_release_check_names_the_last_lot_only_where_it_waits_for_it(wait_d: float | None, said: bool) -> None:
    """A lot beside it that was free before, or at the same instant, sets nothing."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    group, mine = LIBRARY.groups["clam_small"], floor.batches["T-1"]

    def check(not_before: datetime | None) -> Need:
        needs = work_for(
            mine, floor.stays, group, LIBRARY, site_of(), entered=MONDAY, floor=floor, not_before=not_before
        )
        return next(need for need in needs if need.kind == "release check")

    alone = check(None)
    asked = check(None if wait_d is None else alone.nominal + wait_d * DAY)
    assert ("the last lot to enter the shared water" in asked.why) is said
    assert asked.nominal == alone.nominal + max(0.0, wait_d or 0.0) * DAY
    assert asked.latest - asked.nominal == 3 * DAY


def test_who_enters_the_same_vat_later_entered_the_vat_and_beside_it_the_water() -> None:
    """The place of the meeting is what both stood in: one vat, else one water."""
    same = meetings([stay("A", "Q1a", 0, 10), stay("B", "Q1a", 12, 20)], until=day(30))
    beside = meetings([stay("A", "Q1a", 0, 10), stay("B", "Q1b", 12, 20)], until=day(30))
    assert [(met.place, met.why.split(" entered ")[1].split(" on ")[0]) for met in same] == [("Q1a", "Q1a")]
    assert [(met.place, met.why.split(" entered ")[1].split(" on ")[0]) for met in beside] == [("Q1", "Q1")]
    assert (same[0].start, same[0].end) == (day(12), day(12))


def test_lots_that_shared_a_vat_are_said_to_have_shared_it() -> None:
    """One vat by its name, two vats by their water."""
    both = meetings([stay("A", "Q1a", 0, 10), stay("B", "Q1a", 4, 20)], until=day(30))
    water = meetings([stay("A", "Q1a", 0, 10), stay("B", "Q1b", 4, 20)], until=day(30))
    assert all("shared vat Q1a" in met.why for met in both)
    assert all("shared the water of Q1" in met.why for met in water)
    assert {(met.start, met.end) for met in (*both, *water)} == {(day(4), day(10))}


def routine(
    floor: Floor, *, system: str = "Q1", part: str = "any", first: datetime = MONDAY, days: int = 2
) -> list[Need]:
    """The daily walk of a water from a moment for so many days on."""
    site = site_of(extra=ROUTINE.format(system=system, part=part))
    return list(routines_for(floor.stays, site, floor, first=first, until=MONDAY + days * DAY))


def test_a_routine_falls_on_every_day_to_the_last_until_a_quarter_to_midnight() -> None:
    """First and last day included; the animals of the day, the oldest entry in quarantine."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY), ("T-2", "clam_small", 7, "Q1b", MONDAY + DAY)])
    rows = routine(floor)
    assert [need.nominal.date() for need in rows] == [date(2027, 3, 1), date(2027, 3, 2), date(2027, 3, 3)]
    assert [need.headcount for need in rows] == [50, 57, 57]
    assert {need.latest.astimezone(ZONE).time() for need in rows} == {time(23, 45)}
    assert {(need.condition, need.entered, need.minutes, need.unsourced) for need in rows} == {
        ("quarantine", MONDAY, 20, False)
    }
    assert {need.nominal.time() for need in rows} == {time(0)}
    assert {need.nominal.time() for need in routine(floor, part="after dark")} == {time(15)}


def test_a_routine_that_is_recorded_or_over_is_left_out() -> None:
    """Recorded on Monday: Tuesday's stands; asked after a quarter to midnight: Monday's is over."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    done = Done("Q1/routine/walk/2027-03-01", "", "round", MONDAY, "ann")
    assert [need.nominal.day for need in routine(replace(floor, done=(done,)))] == [2, 3]
    edge = MONDAY.replace(hour=23, minute=45)
    assert [need.nominal.day for need in routine(floor, first=edge)] == [1, 2, 3]
    assert [need.nominal.day for need in routine(floor, first=edge + SECOND)] == [2, 3]


def test_a_routine_of_the_grow_out_is_done_among_the_released() -> None:
    """Its animals are not in quarantine, so it comes first in the order of work."""
    stock = Stay("T-1", "G1", 20, MONDAY - 90 * DAY, "grow-out")
    floor = replace(floor_of([("T-1", "clam_small", 20, "Q1a", MONDAY)]), stays=(stock,))
    assert {(need.condition, need.entered) for need in routine(floor, system="grow")} == {("released", stock.since)}
    assert routine(replace(floor, stays=(replace(stock, count=0),)), system="grow") == []


def walks(
    floor: Floor, *, first: datetime = MONDAY, last: date = date(2027, 3, 1), systems: int = 2
) -> dict[str, Need]:
    """Death rounds up to a day, by uid."""
    site = site_of(systems=systems)
    until = {f"Q{number}": last for number in range(1, systems + 1)}
    return {need.uid: need for need in rounds_for(floor.stays, site, floor, first=first, until=until)}


def test_the_evening_rounds_are_those_of_the_day_of_entry_and_the_next() -> None:
    """Morning rounds begin the day after; both end with the last day asked for."""
    found = walks(floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)]), last=date(2027, 3, 3))
    assert sorted(found) == [
        "round/2027-03-01/evening",
        "round/2027-03-02/evening",
        "round/2027-03-02/morning",
        "round/2027-03-03/morning",
    ]
    one = found["round/2027-03-02/morning"]
    assert (one.minutes, one.vats, one.system, one.headcount, one.unsourced) == (15, ("Q1a",), "Q1", 50, True)
    assert (one.number, one.of, one.people) == (1, 1, 1), "a round is no series, and one person walks it"
    assert one.latest.astimezone(ZONE).time() == time(23, 45)


@pytest.mark.parametrize(("entered_h", "evening_h"), [(9, 15), (13, 15), (14, 16), (17, 19), (18, 20), (21, 20)])
def test_the_first_evening_round_is_two_hours_after_entry_between_three_and_eight(
    entered_h: int, evening_h: int
) -> None:
    """15:00 at the earliest and 20:00 at the latest, so that somebody is still there."""
    since = MONDAY.replace(hour=entered_h)
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", since)], since)
    round_ = walks(floor, first=MONDAY.replace(hour=0))["round/2027-03-01/evening"]
    assert round_.nominal.astimezone(ZONE).time() == time(evening_h)


def test_a_walk_goes_from_the_oldest_entry_to_the_newest_and_sick_waters_walk_apart() -> None:
    """Clean to dirty: Q2 entered first, Q3 is on hold, so it has a walk of its own after the others."""
    rows = [
        ("T-1", "clam_small", 10, "Q1a", MONDAY - 3 * DAY),
        ("T-2", "clam_small", 10, "Q2b", MONDAY - 9 * DAY),
        ("T-4", "clam_small", 10, "Q2a", MONDAY - 8 * DAY),
        ("T-3", "clam_small", 10, "Q3a", MONDAY - 20 * DAY),
    ]
    floor = replace(floor_of(rows), holds=(Hold("T-3", "gaping", MONDAY),))
    found = walks(floor, systems=3)
    assert found["round/2027-03-01/morning"].vats == ("Q2a", "Q2b", "Q1a")
    assert found["round/2027-03-01/morning/2"].vats == ("Q3a",)
    assert found["round/2027-03-01/morning"].condition == "quarantine"
    assert found["round/2027-03-01/morning/2"].condition == "sick"
    assert found["round/2027-03-01/morning"].system == ""
    assert found["round/2027-03-01/morning"].entered == MONDAY - 9 * DAY
    lifted = replace(floor, holds=(), found=(Found("T-1", "Q1a", "", MONDAY, "ann"),))
    assert len(walks(lifted, systems=3)) == 1, "a clean look makes nobody sick"


def test_a_walk_is_cut_where_one_more_water_would_pass_ninety_minutes() -> None:
    """Two vats a water, five minutes a vat: nine waters are one walk of 90 minutes, the tenth begins another."""
    rows = [
        (f"T-{number}{vat}", "clam_small", 10, f"Q{number}{vat}", MONDAY - 9 * DAY)
        for number in range(1, 11)
        for vat in "ab"
    ]
    waters = LONGEST_WALK_MIN // (2 * PER_VAT_MIN)
    whole = walks(floor_of(rows[: 2 * waters]), systems=waters)
    assert [need.minutes for need in whole.values()] == [LONGEST_WALK_MIN]
    cut = walks(floor_of(rows), systems=10)
    assert {uid: need.minutes for uid, need in cut.items()} == {
        "round/2027-03-01/morning": LONGEST_WALK_MIN,
        "round/2027-03-01/morning/2": 15,
    }


@pytest.mark.parametrize("usual", [0.0, 0.01, 0.2, 1.0, 1.5, 3.3, 9.7, 40.0])
def test_the_fewest_deaths_that_hold_a_lot_agree_with_the_poisson_distribution(usual: float) -> None:
    """Oracle: scipy's survival function; the smallest number whose chance is below the one stated."""
    expected = next(number for number in range(200) if poisson.sf(number - 1, usual) < CHANCE)
    assert _fewest(usual) == expected


def dying(*at_d: float, now_d: float = 40.0, batch: str = "A", head: str = "dead", each: int = 1) -> Floor:
    """A lot of 100 that entered 40 days ago, with deaths on days after its entry."""
    entered = MONDAY - 40 * DAY
    floor = floor_of([("A", "clam_small", 100, "Q1a", entered)], entered + now_d * DAY)
    losses = tuple(Dead(batch, "Q1a", head, each, entered + at * DAY) for at in at_d)
    return replace(floor, losses=losses)


def test_deaths_count_from_after_the_seventh_day_to_now() -> None:
    """The seventh day itself is the journey's; a death of this instant counts, one written for later does not yet."""
    entered = MONDAY - 40 * DAY

    def dead(floor: Floor) -> int:
        found = unexplained_deaths("A", entered, floor)
        return 0 if found is None else found.dead

    assert dead(dying(7.0, each=20)) == 0
    assert dead(dying(7.0 + 1 / 86400, each=20)) == 20
    assert dead(dying(40.0, each=20)) == 20
    assert dead(dying(40.0 + 1 / 86400, each=20)) == 0
    assert dead(dying(20.0, batch="B", each=20)) == 0
    assert dead(dying(20.0, head="missing", each=20)) == 0


def test_the_arithmetic_of_deaths_beyond_the_usual_is_the_one_stated() -> None:
    """Ten on day 20 and ten on day 27 of a lot of 100 left: the week to day 20 alone is more than usual."""
    entered = MONDAY - 40 * DAY
    found = unexplained_deaths("A", entered, dying(20.0, 27.0, each=10))
    assert found is not None
    assert (found.dead, found.until) == (10, entered + 20 * DAY)
    assert found.days == pytest.approx(7.0)
    assert found.usual == pytest.approx(USUAL_A_DAY * 7 * (100 + (20 + 10) / 2))
    assert found.fewest == next(number for number in range(99) if poisson.sf(number - 1, found.usual) < CHANCE)


def test_a_week_of_deaths_leaves_out_the_one_seven_days_before() -> None:
    """Five on day 10 and three on day 17: the week to day 17 holds three; a second nearer it holds eight."""
    entered = MONDAY - 40 * DAY
    floor = replace(dying(), losses=(*dying(10.0, each=5).losses, *dying(17.0, each=3).losses))
    found = unexplained_deaths("A", entered, floor)
    apart = replace(floor, losses=(*dying(10.0 + 1 / 86400, each=5).losses, *dying(17.0, each=3).losses))
    near = unexplained_deaths("A", entered, apart)
    assert near is not None
    assert (near.dead, near.fewest) == (8, 8)
    assert found is None, "in ten days 8 of 100 need not be more than usual"


def test_who_is_not_in_quarantine_is_not_released_from_it() -> None:
    """Stock of the grow-out, asked about by mistake: an answer, and no date."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    out = replace(floor, stays=(replace(floor.stays[0], vat="G1", stage="grow-out"),))
    found = release(out.batches["T-1"], out, LIBRARY, site_of(), MONDAY)
    assert (found.releasable, found.earliest, found.stands_in_the_way) == (False, None, ("it is not in quarantine",))
    assert entered_at(out.batches["T-1"], out.stays, out) is None


def test_a_dip_no_library_knows_is_refused_by_its_name() -> None:
    """Asked for a batch: the finding names both."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    orders = Orders(asked={"T-1": {"moon-bath": "spots"}})
    with pytest.raises(BadInput, match="moon-bath"):
        needs_for(floor.stays, floor, LIBRARY, site_of(), now=MONDAY, orders=orders)


@pytest.mark.parametrize(
    ("what", "vat", "words"),
    [
        ("a hole", "Q1a", "'a hole' is not in the pest library"),
        ("acropora-flatworm", "", "one generation of"),
        ("white-spot", "Q1a", "no published generation time"),
    ],
)
def test_a_finding_without_figures_restarts_the_days_of_the_group(what: str, vat: str, words: str) -> None:
    """A pest nobody knows, one without a generation time, and one whose vat was not written: its batch's water counts."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY - 9 * DAY)])
    seen = replace(floor, found=(Found("T-1", vat, what, MONDAY, "ann"),))
    mine, group = floor.batches["T-1"], LIBRARY.groups["clam_small"]
    clock = clock_of(mine, seen.stays, group, LIBRARY, site_of(), floor=seen, entered=MONDAY - 9 * DAY)
    assert any(words in why for why in clock.why)
    assert clock.started == MONDAY
    assert clock.ends >= MONDAY + group.quarantine.days * DAY


def test_a_transfer_ticked_without_a_vat_is_no_move() -> None:
    """What stays in the water stays with it: the tick counts for nothing, the move with its vat does."""
    entered = MONDAY - 3 * DAY
    row = floor_of([("T-1", "fish_reef_safe", 20, "Q1a", entered)])

    def left(to: str) -> int:
        done = Done("T-1/fish-tank-transfer/1", "T-1", "transfer", entered + timedelta(hours=71), "ann", to=to)
        needs = work([], floor=replace(row, done=(done,)))
        return sum(need.dip == "fish-tank-transfer" for need in needs.values())

    assert (left(""), left("Q2a")) == (4, 3)


def test_only_what_has_a_deadline_has_a_price() -> None:
    """A round, and work of a lot no course is known of, delay nobody."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    site = site_of()
    courses = courses_of(floor, LIBRARY, site)
    needs = list(work([], floor=floor).values())
    assert all(delay_of(need, courses, floor.stays, floor, site) is None for need in needs if need.deadline is None)
    dated = replace(next(need for need in needs if need.dip), deadline=MONDAY + 8 * DAY, again_d=35.0)
    assert delay_of(replace(dated, batch="X-9"), courses, floor.stays, floor, site) is None
    delay = delay_of(dated, courses, floor.stays, floor, site)
    assert delay is not None
    assert (delay.animals, delay.lots, delay.deadline) == (50, ("T-1",), MONDAY + 8 * DAY)
    assert delay.until == days_after(MONDAY, 43)
    assert delay.days == pytest.approx(1.0), "its own end is the group's forty-two days"
