"""A receiving day framed from farm file, library and batches, and the water, salt, tubs and people it asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch
from intake.farm.reading import read_site
from intake.library import load
from intake.receiving.framing import BoxFacts, Pace, frame_day
from intake.receiving.preparation import DipBaths, acclimation_water_l, prepare, water_to_prepare_l
from intake.receiving.problem import DayProblem
from intake.receiving.solving.solve import run_day
from tests.receiving.day_judge import faults, queue_faults
from tests.receiving.test_day import plain

FARM = b"""
[farm]
name = "Test farm (invented)"
time_zone = "Europe/Lisbon"
[receiving]
opens = "07:30"
closes = "19:30"
[supplier.lagoon]
currency = "USD"
time_zone = "Pacific/Majuro"
claim_window_h = 24
[person.marou]
skills = ["dip", "inspect", "fish", "acclimate", "open"]
starts = "07:30"
ends = "19:30"
[person.ilse]
skills = ["dip", "inspect", "acclimate", "open"]
days = ["mon", "tue", "wed", "thu", "fri"]
starts = "09:30"
ends = "19:30"
[[person.ilse.leave]]
first = 2026-03-12
last = 2026-03-12
[station.opening]
name = "Opening table"
kind = "opening"
places = 2
[station.tubs]
name = "Tub"
kind = "acclimation"
places = 4
[station.dipping]
name = "Dip bench"
kind = "dip"
[station.lamp]
name = "Lamp"
kind = "inspection"
[system.a]
role = "quarantine"
temperature_c = 26
salinity_psu = 35
[vat.v1]
system = "a"
length_m = 2
width_m = 1
water_depth_mm = 300
volume_l = 600
"""
LIBRARY = load()
LISBON = ZoneInfo("Europe/Lisbon")
LANDS = datetime(2026, 3, 10, 8, 30, tzinfo=LISBON)
PACKED = datetime(2026, 3, 9, 9, 30, tzinfo=ZoneInfo("Pacific/Majuro"))


def batch(line: int, group: str = "clam_small", boxes: tuple[str, ...] = ("1", "2", "3"), **facts: Any) -> Batch:
    """An invented batch of shipment S1."""
    rows: dict[str, Any] = {"announced": 100, "packed_at": PACKED, "supplier": "lagoon", "shipment": "S1"} | facts
    return Batch(f"S1-{line:02d}", "an animal", group, 30.0, line=line, boxes=boxes, **rows)


def framed(batches: Sequence[Batch], **facts: Any) -> DayProblem:
    """The day of some batches."""
    rows: dict[str, Any] = {"lands": {"S1": LANDS}} | facts
    return frame_day(read_site(FARM), LIBRARY, batches, **rows)


def test_a_batch_is_shared_out_over_its_boxes() -> None:
    """100 animals in three boxes: 34, 33 and 33, none lost; and a box counted apart leaves the rest to the others."""
    day = framed([batch(1)])
    assert [one.animals for one in day.boxes] == [34, 33, 33]
    day = framed([batch(1)], boxes={"S1/2": BoxFacts(counts={"S1-01": 10})})
    assert [one.animals for one in day.boxes] == [45, 10, 45]


def test_hours_opening_and_people_come_out_in_absolute_minutes() -> None:
    """Packed 09:30 in Majuro (UTC+12) is 21:30 UTC two evenings before; at 07:30 in Lisbon that is 34 hours."""
    day = framed([batch(1)])
    assert day.origin == datetime(2026, 3, 10, 7, 30, tzinfo=UTC)
    assert day.age["S1/1"] == 34 * 60
    assert day.trucks == {"S1": 60}
    assert day.closes == 720
    assert {hand.id: (hand.starts, hand.ends) for hand in day.people} == {"marou": (0, 720), "ilse": (120, 720)}


def test_people_on_leave_and_off_duty_are_not_in() -> None:
    """Ilse is on leave on the 12th and off on Saturdays."""
    for date in (12, 14):
        day = framed([batch(1)], lands={"S1": datetime(2026, 3, date, 8, tzinfo=LISBON)})
        assert [hand.id for hand in day.people] == ["marou"]


def test_a_box_takes_the_most_pressing_of_its_animals() -> None:
    """A box shared by clams and fish: shortest hours, highest sensitivity, hands that may handle fish."""
    fish = next(group for group in LIBRARY.groups.values() if group.kind == "fish")
    clam = LIBRARY.group("clam_medium")
    day = framed([batch(1, "clam_medium", ("1",)), batch(2, fish.id, ("1", "2"))])
    mixed = day.boxes[0]
    assert mixed.fish
    assert mixed.red_h == min(fish.bag_hours.red, clam.bag_hours.red)
    assert mixed.amber_h == min(fish.bag_hours.amber, clam.bag_hours.amber)
    assert mixed.sensitivity == max(fish.handling.sensitivity, clam.handling.sensitivity)


def test_acclimation_minutes_and_water_come_from_the_step_tables() -> None:
    """Minutes by batch, the longest in the box; litres shared by animals."""
    day = framed(
        [batch(1, boxes=("1",)), batch(2, boxes=("1", "2"))],
        acclimation_minutes={"S1-01": 30, "S1-02": 74.2},
        water_l={"S1-01": 60.0, "S1-02": 100.0},
    )
    assert [one.acclimation_minutes for one in day.boxes] == [75, 75]
    assert [one.water_l for one in day.boxes] == pytest.approx([110.0, 50.0])


def test_unknown_packing_time_is_assumed_and_said() -> None:
    """Nothing known: amber on landing; something known of the shipment: its earliest; both are noted."""
    day = framed([batch(1, packed_at=None)])
    assert day.age["S1/1"] + 60 == 24 * 60
    assert "24 h before landing" in day.notes[0]
    day = framed([batch(1, packed_at=None), batch(2, boxes=("9",))])
    assert day.age["S1/1"] == 34 * 60
    assert "earliest of its shipment" in day.notes[0]


def test_faults_are_told_together() -> None:
    """A batch without a landing, one of no animals, a naive landing: three findings; packed after landing: one."""
    with pytest.raises(BadInput) as caught:
        framed(
            [batch(1, announced=0), batch(2, shipment="S9")],
            lands={"S1": datetime(2026, 3, 10, 8)},  # noqa: DTZ001
        )
    assert len(caught.value.findings) == 3
    with pytest.raises(BadInput, match="before landing"):
        framed([batch(1, packed_at=LANDS + timedelta(hours=1))])
    with pytest.raises(UnknownName):
        framed([batch(1, "no_such_group")])
    with pytest.raises(BadInput):
        framed([])


def test_a_framed_day_is_planned_and_sound() -> None:
    """From farm file to plan: the judge finds nothing, on a day of 24 boxes with a leaking one."""
    rows = [
        batch(n, group, tuple(str(4 * n + k) for k in range(4)))
        for n, group in enumerate(list(LIBRARY.groups)[:6], start=1)
    ]
    day = framed(rows, boxes={"S1/10": BoxFacts(leaking=True)})
    plan = run_day(day, seconds=0.3)
    told = plain(plan.problem, plan)
    assert faults(*told) == []
    assert queue_faults(*told) == []
    assert plan.order()[0].box == "S1/10"


def test_landing_after_closing_is_said() -> None:
    """A truck at eight in the evening: planned, late, and in words."""
    day = framed([batch(1)], lands={"S1": datetime(2026, 3, 10, 20, tzinfo=LISBON)})
    plan = run_day(day)
    assert plan.late_minutes > 0
    assert "S1 lands after closing time." in plan.notes


# ── water, salt, tubs, people ───────────────────────────────────────────────────────────────────────────────────────


def test_worked_example_of_water_to_prepare() -> None:
    """40 boxes × 12 bags × 1.5 L × (2 + 1) = 2,160 L, 8 buckets × 20 L × 3 = 480 L, 1,000 L reserve (design default)."""
    acclimation = acclimation_water_l(40 * 12, 1.5, 2.0)
    baths = DipBaths(8, 20.0, 3)
    assert (acclimation, baths.water_l) == (2160.0, 480.0)
    assert water_to_prepare_l(acclimation, [baths], 1000.0) == 3640.0


def test_water_and_salt_by_hour_add_up_to_the_day() -> None:
    """Every litre of the boxes is drawn in some hour; salt is 35.99 g/L at 35 and 25 °C (TEOS-10) with the reserve."""
    day = framed(
        [batch(n, boxes=(str(n), str(n + 10))) for n in range(1, 7)], water_l={f"S1-0{n}": 40.0 for n in range(1, 7)}
    )
    plan = run_day(day, seconds=0.2)
    made = prepare(plan, salinity_psu=35.0, temperature_c=25.0, reserve_l=600.0)
    assert made.acclimation_l == pytest.approx(240.0)
    assert sum(hour.mixed_water_l for hour in made.hours) == pytest.approx(made.acclimation_l + made.dip_l)
    assert made.salt_kg == pytest.approx(made.ready_before_l * 0.035986, rel=1e-4)
    assert sum(hour.salt_kg for hour in made.hours) == pytest.approx((made.ready_before_l - 600) * 0.035986, rel=1e-4)
    assert made.as_dict()["ready_before_l"] == made.ready_before_l


def test_tubs_and_people_by_hour_are_what_the_steps_hold_at_once() -> None:
    """Counted again minute by minute from the steps."""
    plan = run_day(framed([batch(n, boxes=(str(n), str(n + 10))) for n in range(1, 7)]), seconds=0.2)
    made = prepare(plan, salinity_psu=35.0, temperature_c=25.0, reserve_l=0.0)
    for hour in made.hours:
        marks = [hour.starts.astimezone(UTC) + timedelta(minutes=n) for n in range(60)]
        tubs = max(sum(s.step == "acclimate" and s.start <= mark < s.end for s in plan.steps) for mark in marks)
        hands = [{p for s in plan.steps if s.start <= mark < s.hands_until for p in s.people} for mark in marks]
        assert hour.tubs == tubs
        assert hour.people == max(map(len, hands))
        assert set(hour.names) == set().union(*hands)


def test_dip_water_is_drawn_in_the_hours_of_the_dips() -> None:
    """Two boxes dipped for 20 min and no acclimation water: mixed water is drawn where a bucket is in use, only there."""
    day = framed([batch(1, boxes=("1", "2"))])
    plan = run_day(replace(day, boxes=tuple(replace(one, dip_minutes=20) for one in day.boxes)), seconds=0.2)
    made = prepare(plan, salinity_psu=35.0, temperature_c=25.0, reserve_l=0.0)
    used = [hour.buckets > 0 for hour in made.hours]
    assert True in used
    assert False in used
    assert [hour.mixed_water_l > 0 for hour in made.hours] == used


def test_an_empty_day_needs_only_the_reserve() -> None:
    """No boxes: no hours, the reserve alone with its salt."""
    plan = run_day(replace(framed([batch(1)]), boxes=()))
    made = prepare(plan, salinity_psu=35.0, temperature_c=25.0, reserve_l=1000.0)
    assert (made.hours, made.ready_before_l) == ((), 1000.0)
    assert made.salt_kg == pytest.approx(35.986, rel=1e-4)


def test_pace_says_how_long_the_count_takes() -> None:
    """250 animals at 500 an hour: half an hour on the table beside the opening."""
    day = framed([batch(1, boxes=("1",), announced=250)], pace=Pace(count_per_hour=500, open_minutes=6))
    assert (day.boxes[0].open_minutes, day.boxes[0].count_minutes) == (6, 30)
