"""A receiving day laid out by hand: its steps, notes, overtime, water by the hour and refusals, each at its edge."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from intake.errors import BadInput
from intake.receiving.box import BoxDraw, BoxNeed
from intake.receiving.framing import Pace
from intake.receiving.landing import landing_steps, last_placings
from intake.receiving.never_alone import company_of
from intake.receiving.placed import Placed
from intake.receiving.preparation import acclimation_water_l, prepare
from intake.receiving.problem import DayProblem, Hand, Lane
from intake.receiving.refusal import _later_flight, _sensitive_only, closed_too_long
from intake.receiving.solution import DayPlan, moved, plan_of
from intake.water.dosing import salt_for
from tests.receiving.test_day import ALL, DRY, OPENS, box, day
from tests.receiving.test_day_framing import LANDS, LISBON, batch, framed

CREW = (Hand("marou", ALL, 0, 600, "Marou"), Hand("teva", DRY, 0, 540, "Teva"))
FIRST = Placed("S1/1", 30, 45, 50, 85, 100, "table 1", "marou", "tub 1", "teva", "dip bench", "marou")
LATE = Placed("S1/2", 590, 605, 605, 635, 640, "table 2", "teva", "tub 2 + tub 3", "teva", "", "teva")


def laid(*rows: tuple[BoxNeed, Placed], problem: DayProblem | None = None) -> DayPlan:
    """The day in which these boxes are placed so."""
    there = problem or day([need for need, _ in rows], people=CREW)
    return plan_of(there, [put for _, put in rows], aims=(), rule="", seconds=0.0, reproducible=True)


def whole() -> DayPlan:
    """A leaking box that is dipped in the morning, and one that is opened ten minutes before closing."""
    return laid((box(1, dip_minutes=10, leaking=True), FIRST), (box(2), LATE))


def clock(at: datetime) -> str:
    """Hours and minutes on the farm."""
    return f"{at.astimezone(LISBON):%H:%M}"


def test_every_step_stands_at_its_minutes_with_its_note() -> None:
    """Opened, counted, soaked, dipped, placed; a step of no minutes is none; who is past closing time says so."""
    rows = [
        (step.box, step.step, clock(step.start), clock(step.end), clock(step.hands_until), step.people, step.note)
        for step in whole().steps
    ]
    assert rows == [
        ("S1/1", "open", "08:00", "08:05", "08:05", ("marou",), "leaking"),
        ("S1/1", "count", "08:05", "08:15", "08:15", ("marou",), ""),
        (
            "S1/1",
            "acclimate",
            "08:20",
            "08:55",
            "08:25",
            ("teva",),
            "waited 5 min after the count, stays 5 min longer than needed",
        ),
        ("S1/1", "dip", "08:55", "09:05", "09:05", ("marou",), ""),
        ("S1/1", "place", "09:05", "09:10", "09:10", ("marou",), ""),
        ("S1/2", "open", "17:20", "17:25", "17:25", ("teva",), ""),
        ("S1/2", "count", "17:25", "17:35", "17:35", ("teva",), "after closing time"),
        ("S1/2", "acclimate", "17:35", "18:05", "17:40", ("teva",), "after closing time"),
        ("S1/2", "place", "18:05", "18:10", "18:10", ("teva",), "after closing time"),
    ]
    assert [step.hours_in_bag_at_start for step in whole().steps if step.step == "open"] == pytest.approx(
        [20.5, 20 + 590 / 60]
    )


def test_a_day_past_closing_says_by_how_much_and_who_stays() -> None:
    """Placed 40 minutes after closing, opened before it; Teva's day ended at 16:30, Marou stays as the second person."""
    plan = whole()
    assert plan.late_minutes == 40
    assert plan.worst_hours_in_bag is not None
    assert plan.worst_hours_in_bag[0] == "S1/2"
    assert plan.worst_hours_in_bag[1] == pytest.approx(20 + 590 / 60)
    assert plan.finish is not None
    assert clock(plan.finish) == "18:10"
    assert plan.overtime == {"marou": 5, "teva": 100}
    assert plan.notes[-3:] == (
        (
            "The day does not end by 17:30: the last animals are placed 40 min later. 1 box is finished after it, "
            "0 of them opened after it."
        ),
        "Marou stays 5 min past the end of the day.",
        "Teva stays 100 min past the end of the day.",
    )
    at_closing = laid((box(2), replace(LATE, open_at=600, counted_at=615, tub_at=615, finish_at=645, placed_at=650)))
    assert any("1 of them opened after it" in note for note in at_closing.notes)
    in_time = laid((box(2), replace(LATE, open_at=540, counted_at=555, tub_at=555, finish_at=595, placed_at=600)))
    assert in_time.late_minutes == 0
    assert not any("closing" in step.note for step in in_time.steps)


def test_the_second_person_is_whoever_is_free_and_only_where_nobody_works_beside() -> None:
    """Teva beside Marou's opening and dip, Marou beside Teva's; what is over at ``now`` needs no one any more."""
    plan = whole()
    rows = {(one.box, one.part): (one.person, one.start, one.end) for one in company_of(plan.problem, plan.placed)}
    assert rows == {
        ("S1/1", "open"): ("teva", 30, 45),
        ("S1/1", "place"): ("teva", 85, 95),
        ("S1/2", "open"): ("marou", 590, 605),
    }
    for now, left in ((44, 3), (45, 2), (95, 1), (604, 1), (605, 0)):
        assert len(list(company_of(replace(plan.problem, now=now), plan.placed))) == left
    beside = replace(FIRST, box="S1/2", opener="teva", table="table 2", open_at=35, counted_at=50)
    both = laid((box(1), FIRST), (box(2), beside))
    found = [
        (one.box, one.part, one.person, one.start, one.end)
        for one in company_of(both.problem, both.placed)
        if one.part == "open"
    ]
    assert found == [("S1/1", "open", "teva", 30, 35), ("S1/2", "open", "marou", 45, 50)]


def test_the_day_as_work_has_three_pieces_a_box_with_places_and_overtime() -> None:
    """Overtime counts from the end of each person's own day; without a dip place the animals are placed nowhere else."""
    work = {step.uid: step for step in landing_steps(whole())}
    assert {uid: step.overtime_minutes for uid, step in work.items()} == {
        "land/S1/1/open": 0,
        "land/S1/1/tub": 0,
        "land/S1/1/place": 0,
        "land/S1/2/open": 65,
        "land/S1/2/tub": 70,
        "land/S1/2/place": 100,
    }
    tub = work["land/S1/2/tub"]
    assert (tub.station, tub.lanes, clock(tub.hands_until), clock(tub.ends)) == (
        "acclimation",
        ("tub 2", "tub 3"),
        "17:40",
        "18:05",
    )
    assert (work["land/S1/2/place"].station, work["land/S1/2/place"].lanes) == ("", ())
    assert (work["land/S1/1/place"].station, work["land/S1/1/place"].dip_minutes) == ("dip", 10)
    assert work["land/S1/1/open"].dip_minutes == 0
    assert work["land/S1/1/open"].hours_in_bag == pytest.approx(20.5)
    (company,) = work["land/S1/1/place"].company
    assert (company[0], clock(company[1]), clock(company[2])) == ("teva", "08:55", "09:05")
    short = laid((box(1, setup_minutes=50), FIRST))
    assert clock(next(one for one in landing_steps(short) if one.uid.endswith("tub")).hands_until) == "08:55"
    assert {name: clock(at) for name, at in last_placings(whole()).items()} == {"S1-01": "18:10"}


def test_of_boxes_opened_at_once_the_urgent_one_is_first() -> None:
    """Same minute: leaking before sound, then by table; the number is the order."""
    same = replace(FIRST, box="S1/2", table="table 0", opener="teva")
    plan = laid((box(1, leaking=True), FIRST), (box(2), same))
    assert [(row.number, row.box, row.urgent) for row in plan.order()] == [(1, "S1/1", True), (2, "S1/2", False)]
    calm = laid((box(1), FIRST), (box(2), same))
    assert [row.box for row in calm.order()] == ["S1/2", "S1/1"]


def test_what_moved_is_said_in_minutes_and_hours() -> None:
    """Later, earlier, another table, new, gone, and the end of the day."""
    before = laid((box(1), FIRST), (box(2), LATE))
    later = laid((box(1), replace(FIRST, open_at=45, counted_at=50)), (box(2), replace(LATE, placed_at=641)))
    assert moved(before, later) == (
        "Box S1/1 opens 15 min later, from 08:00 to 08:15, 20.8 h in the bag.",
        "The last animals are placed at 18:11 instead of 18:10.",
    )
    assert moved(later, before)[0].startswith("Box S1/1 opens 15 min earlier, from 08:15 to 08:00, 20.5 h")
    table = laid((box(1), replace(FIRST, table="table 2")), (box(2), LATE))
    assert moved(before, table) == ("Box S1/1 opens at the same time at table 2 instead of table 1.",)
    assert moved(before, before) == ("Nothing moved.",)
    one = laid((box(2), LATE))
    assert moved(before, one) == ("Box S1/1 is no longer in the day.",)
    assert moved(one, before) == ("Box S1/1 is new and opens at 08:00.",)


# ── water and salt by the hour ──────────────────────────────────────────────────────────────────────────────────────


def drawn_day() -> DayPlan:
    """Box 1 draws 30 L at 08:20 and is dipped over the hour; box 2 draws 10 L and, 70 minutes later, 5 L of other water."""
    draws = (BoxDraw(0, 10.0, 24.04, 33.0), BoxDraw(70, 5.0, 26.44, 34.96))
    second = replace(LATE, open_at=80, counted_at=95, tub_at=100, finish_at=180, placed_at=185)
    return laid((box(1, dip_minutes=10, water_l=30.0), FIRST), (box(2, water_l=15.0, draws=draws), second))


def test_water_is_counted_in_the_hour_it_is_drawn_in() -> None:
    """One dip place over two hours: its three baths are two each hour of 20 L; tubs, buckets and people of each hour."""
    made = prepare(drawn_day(), salinity_psu=35.0, temperature_c=25.0, reserve_l=100.0)
    rows = [
        (clock(hour.starts), hour.mixed_water_l, hour.tubs, hour.buckets, hour.people, hour.names)
        for hour in made.hours
    ]
    assert rows == [
        ("08:00", 70.0, 1, 1, 2, ("marou", "teva")),
        ("09:00", 50.0, 2, 1, 2, ("marou", "teva")),
        ("10:00", 5.0, 2, 0, 1, ("teva",)),
    ]
    kinds = [[(one.litres, one.temperature_c, one.salinity_psu) for one in hour.waters] for hour in made.hours]
    assert kinds == [[(70.0, 25.0, 35.0)], [(10.0, 24.0, 33.0), (40.0, 25.0, 35.0)], [(5.0, 26.4, 35.0)]]
    assert (made.acclimation_l, made.dip_l, made.reserve_l, made.ready_before_l) == (45.0, 80.0, 100.0, 225.0)
    assert (made.most_tubs, made.most_buckets, made.most_people) == (2, 1, 2)
    salt = salt_for(210.0, 35.0, 25.0, 1.0), salt_for(10.0, 33.0, 24.0, 1.0), salt_for(5.0, 35.0, 26.4, 1.0)
    assert made.salt_kg == pytest.approx(sum(one.salt_kg for one in salt))
    assert made.fresh_water_l == pytest.approx(sum(one.fresh_water_l for one in salt))


@pytest.mark.parametrize(
    ("tank_l", "said"),
    [
        (80.0, []),
        (79.0, [("08:20", "09:20", "80", "1")]),
        (70.0, [("08:20", "09:20", "80", "10")]),
        (69.0, [("08:00", "09:00", "70", "1")]),
        (49.0, [("08:00", "09:00", "70", "21"), ("09:00", "10:00", "50", "1")]),
    ],
)
def test_a_tank_lacks_what_is_drawn_within_one_refill(tank_l: float, said: list[tuple[str, str, str, str]]) -> None:
    """40 L at 08:00, 30 at 08:20, 40 at 09:00, 10 at 09:10, 5 at 10:20: an hour's refill, its end left out; each lack once."""
    made = prepare(drawn_day(), salinity_psu=35.0, temperature_c=25.0, reserve_l=100.0)
    assert [(clock(at), litres) for at, litres in made.drawn] == [
        ("08:00", 40.0),
        ("08:20", 30.0),
        ("09:00", 40.0),
        ("09:10", 10.0),
        ("10:20", 5.0),
    ]
    assert list(made.lacking(tank_l, 60)) == [
        f"The mixing tank holds {tank_l:.0f} L; from {start} to {end} {drawn} L are drawn: {more} L more must stand ready."
        for start, end, drawn, more in said
    ]


@pytest.mark.parametrize("wrong", range(4))
def test_no_negative_water_is_counted(wrong: int) -> None:
    """Nothing is accepted as nothing; below it each figure is refused by its name."""
    zero: list[float] = [0, 0.0, 0.0, 0.0]
    assert acclimation_water_l(*zero) == 0.0  # type: ignore[arg-type]
    zero[wrong] = -1
    with pytest.raises(BadInput, match=("bags", "bag water", "bag volumes", "rinse volumes")[wrong]):
        acclimation_water_l(*zero)  # type: ignore[arg-type]


# ── bags closed too long ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("hours", "open_at", "rule"),
    [(35.5, 30, ""), (35.5, 31, "bag-hours"), (10.0, 720, ""), (10.0, 721, "bags-overnight"), (35.5, 721, "bag-hours")],
)
def test_a_box_is_refused_past_its_red_hours_or_two_hours_after_closing(hours: float, open_at: int, rule: str) -> None:
    """36 h to the minute are borne, and opening two hours after closing; a minute more is not."""
    put = replace(LATE, open_at=open_at, counted_at=open_at + 15, tub_at=800, finish_at=830, placed_at=840)
    found = closed_too_long(laid((box(2, hours=hours), put)))
    assert [one.rule for one in found] == ([rule] if rule else [])
    if rule:
        assert found[0].hours == pytest.approx(hours + open_at / 60)
        assert found[0].opens == f"{OPENS + timedelta(minutes=open_at):%a %H:%M}"


def test_the_box_longest_in_its_bag_is_refused_first_and_sound_ones_are_not() -> None:
    """By hours, then by name."""
    rows = [
        (box(number, hours=hours), replace(FIRST, box=f"S1/{number}")) for number, hours in ((3, 40), (1, 41), (2, 40))
    ]
    assert [one.box for one in closed_too_long(laid(*rows))] == ["S1/1", "S1/2", "S1/3"]


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (11.99, "open all of them, S1/1, S1/2, at opening time tomorrow, within their hours"),
        (12.0, "open only the 1 sensitive boxes today and S1/2 at opening time tomorrow, within their hours"),
    ],
)
def test_a_box_waits_for_tomorrow_only_within_its_red_hours(hours: float, words: str) -> None:
    """36 h are red: closed for twelve at opening time today, it is red at opening time tomorrow."""
    assert _sensitive_only(day([box(1, hours=hours), box(2, hours=5.0)], people=CREW)).do == words


@pytest.mark.parametrize(("lands", "words"), [(359, []), (360, ["18 h"]), (860, ["10 h"]), (1440, [])])
def test_a_later_flight_lands_when_the_team_comes_in(lands: int, words: list[str]) -> None:
    """From four hours before closing on: so many hours later, packed as much later, it stands there at opening time."""
    problem = day([box(1)], people=CREW, trucks={"S1": lands})
    assert [one.do for one in _later_flight(problem)] == [
        f"delay the flight by {one}, packed as much later" for one in words
    ]


# ── what a box may say ──────────────────────────────────────────────────────────────────────────────────────────────

EDGES: tuple[tuple[str, Any, Any], ...] = (
    ("sensitivity", 0.01, 0.0),
    ("sensitivity", 100.0, 100.01),
    ("amber_h", 36.0, 36.01),
    ("amber_h", 0.01, 0.0),
    ("open_minutes", 1, 0),
    ("setup_minutes", 1, 0),
    ("place_minutes", 1, 0),
    ("count_minutes", 0, -1),
    ("dip_minutes", 0, -1),
    ("acclimation_minutes", 0, -1),
    ("open_minutes", 2880, 2881),
    ("acclimation_minutes", 2880, 2881),
    ("water_l", 0.0, -0.01),
    ("water_l", 999_999.0, 1e6),
    ("drip_lines", 0, -1),
    ("tubs", 1, 0),
    ("tubs", 100, 101),
)


@pytest.mark.parametrize(("name", "good", "bad"), EDGES)
def test_a_box_is_refused_beyond_each_limit_and_not_at_it(name: str, good: Any, bad: Any) -> None:
    """The limits its refusals name."""
    assert getattr(replace(box(1), **{name: good}), name) == good
    with pytest.raises(BadInput) as caught:
        replace(box(1), **{name: bad})
    assert len(caught.value.findings) == 1


def test_what_a_box_takes_is_added_up_from_its_parts() -> None:
    """Minutes on the table, in the tub and at the dip; liters rounded up; weights in whole hundredths; who may do what."""
    one = replace(box(1), dip_minutes=7, acclimation_minutes=3, water_l=10.01, sensitivity=1.26, fish=True)
    assert (one.opening_minutes, one.tub_minutes, one.finishing_minutes) == (15, 5, 12)
    assert (one.whole_litres, one.weight, one.animals) == (11, 126, 20)
    assert replace(one, sensitivity=0.001).weight == 1
    assert one.finishing_skills == {"dip", "fish"}
    assert replace(one, dip_minutes=0, fish=False).finishing_skills == {"acclimate"}
    assert one.opening_skills == {"open", "fish"}
    assert one.setup_skills == {"acclimate", "fish"}
    assert [
        replace(one, leaking=a, off_temperature=b).urgent for a, b in ((False, False), (True, False), (False, True))
    ] == [
        False,
        True,
        True,
    ]


@pytest.mark.parametrize(("animals", "minutes"), [(0, 2), (20, 2), (21, 3), (30, 3), (600, 60)])
def test_a_pace_gives_whole_minutes_and_two_at_least(animals: int, minutes: int) -> None:
    """Rounded up at 600 an hour."""
    assert Pace().minutes(animals, 600.0) == minutes


# ── a day framed at its edges ───────────────────────────────────────────────────────────────────────────────────────


def test_packed_at_the_moment_of_landing_is_accepted_and_a_minute_later_is_not() -> None:
    """A box packed at the farm's own door has been closed for no time."""
    assert framed([batch(1, packed_at=LANDS)]).age["S1/1"] == -60
    with pytest.raises(BadInput, match="before landing"):
        framed([batch(1, packed_at=LANDS + timedelta(minutes=1))])


@pytest.mark.parametrize(("minute", "said"), [(29, False), (30, True)])
def test_landing_at_closing_time_is_after_it(minute: int, said: bool) -> None:
    """The team closes at 19:30."""
    problem = framed([batch(1)], lands={"S1": datetime(2026, 3, 10, 19, minute, tzinfo=LISBON)})
    assert ("S1 lands after closing time." in problem.notes) is said


def test_animals_left_over_go_one_each_to_the_first_boxes() -> None:
    """11 in three boxes: 4, 4 and 3; what was counted in one box is taken off first, never below nothing."""
    assert [one.animals for one in framed([batch(1, announced=11)]).boxes] == [4, 4, 3]
    assert framed([batch(1, announced=11)]).boxes[0].count_minutes == 2
    assert [one.box for one in framed([batch(7, boxes=())]).boxes] == ["S1/line 7"]


def test_a_place_to_find_is_named_once_for_each_that_lacks() -> None:
    """Two tubs a box and one there: one more is counted on; without a dip no dip place is looked for."""
    lanes = (Lane("table", "opening"), Lane("tub", "acclimation", until=300), Lane("other tub", "acclimation"))
    problem = replace(day([box(1, tubs=3)], people=CREW), lanes=lanes).completed()
    assert [lane.id for lane in problem.lanes[3:]] == ["acclimation place to find 2", "acclimation place to find 3"]
    assert problem.notes == (
        "Only 1 acclimation places are left to the end of the day: the plan counts on 2 to be found.",
    )
    bare = replace(day([box(1, dip_minutes=5)], people=CREW), lanes=lanes).completed()
    assert [lane.id for lane in bare.lanes[3:]] == ["dip place to find"]


@pytest.mark.parametrize(("drip", "litres", "notes"), [(2, 40.0, 0), (1, 40.0, 1), (2, 39.9, 1), (0, 0.0, 2)])
def test_what_a_box_asks_beyond_the_farms_own_is_cut_to_it(drip: int, litres: float, notes: int) -> None:
    """Two drip lines and 40 L: as many as there are is enough; ready water counts in whole liters, rounded down."""
    problem = day([box(1, drip_lines=2, water_l=40.0)], people=CREW, drip_lines=drip, mixed_water_l=litres)
    done = problem.completed()
    assert len(done.notes) == notes
    assert (done.boxes[0].drip_lines, done.boxes[0].water_l) == (min(2, drip), float(min(40, int(litres))))
