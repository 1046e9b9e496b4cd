"""One model of the landing day: run sheet, timetable, calendar and board give the same minutes, whatever slips."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intake.app.commands import announce_shipment, receive_shipment
from intake.app.commands.records.undo_act import undo
from intake.app.commands.schedule_work import reschedule
from intake.app.documents import landing_papers
from intake.app.documents.run_sheet import runsheet_pdf
from intake.app.landing.day_rerun import going_on
from intake.app.landing.kept_day import DayRun, keep_day, keep_missing_days, kept_day, planned_day
from intake.app.landing.receiving_day import Slip, framed, prepared, water_lacking
from intake.app.queries.planning.landing_work import kept_days, landing_tasks, last_placings
from intake.app.queries.planning.published_timetable import all_tasks, find_task, published_tasks
from intake.app.queries.planning.timetable_needs import needs
from intake.app.queries.planning.timetable_warnings import timetable_warnings
from intake.app.session import House
from intake.errors import Refused, UnknownName
from intake.farm.floor import Batch
from intake.farm.site import Mixing
from intake.ledger import Entry
from intake.quarantine import Need
from intake.receiving import landing_steps, run_day
from tests.app.landing_days import (
    GROUPS,
    LANDS,
    announced,
    another_farm,
    drawn,
    no_bag_closed_past_its_hours_in_silence,
    of_run_sheet,
    of_timetable,
    same_everywhere,
    same_on_the_board,
)
from tests.conftest import NOON
from tests.forms.reading import text_of

Open = Callable[..., House]


@pytest.mark.parametrize("seed", range(200))
def test_run_sheet_timetable_calendar_and_board_give_the_same_minutes(
    house_at: Open, farm_folder: Path, seed: int
) -> None:
    """200 invented farms, a shipment each, planned, slipped and re-run: every place reads one kept day.

    Without news nothing moves, and no bag stays closed past its hours unless that is told with a reason.
    """
    another_farm(farm_folder, seed)
    house = house_at()
    batches = announced(house, seed)
    keep_missing_days(house, seconds=0.0)
    first = same_everywhere(house, batches)
    no_bag_closed_past_its_hours_in_silence(house)
    if seed % 4:
        keep_missing_days(house, seconds=0.0)
        assert same_everywhere(house, batches) == first
    else:
        slip = (
            Slip(lands=LANDS + timedelta(minutes=50)),
            Slip(without=("ben",)),
            Slip(leaking=(batches[-1].boxes[-1],)),
        )
        keep(house, batches, planned_day(house, batches, slip=slip[seed // 4 % 3]))
        same_everywhere(house, batches)
        keep(house, batches, going_on(house, batches, Slip(), LANDS + timedelta(minutes=10)))
        same_everywhere(house, batches)
        no_bag_closed_past_its_hours_in_silence(house)
        third = going_on(house, batches, Slip(), LANDS + timedelta(minutes=10))
        assert third.plan.moved == ("Nothing moved.",)
    sheet = same_everywhere(house, batches)
    same_on_the_board(house, sheet)
    boxes = {(step.split("/")[2]) for step in sheet}
    assert boxes == {box for batch in batches for box in batch.boxes}, "one time per box, also where lines share it"


def keep(house: House, batches: list[Batch], run: DayRun) -> None:
    """Keep a day; one with bags closed past their hours is refused without a reason, and kept with one."""
    if run.refused and not run.despite:
        with pytest.raises(Refused):
            keep_day(house, batches, run)
        run = replace(run, despite="no one else can come")
    keep_day(house, batches, run)


@pytest.mark.parametrize("hours", [30, 60])
def test_bags_past_their_hours_are_told_with_the_day(house_at: Open, hours: int) -> None:
    """A shipment that lands a day or two after it was packed: the check of the 200 farms finds boxes, and all are told."""
    house = house_at()
    announced(house, 3)
    later = LANDS + timedelta(hours=hours)
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": later.isoformat()})
    keep_missing_days(house, seconds=0.0)
    assert no_bag_closed_past_its_hours_in_silence(house) > 0


def test_everything_else_of_a_lot_begins_after_its_last_placing(house_at: Open) -> None:
    """No treatment is published before the animals leave the tub, and receiving is in no second place."""
    for seed in (1, 4, 9):
        house = house_at()
        announced(house, seed, shipment=f"S{seed}")
        keep_missing_days(house, seconds=0.0)
        last = last_placings(house)
        assert last
        for need in needs(house):
            if need.batch in last:
                assert need.kind not in {"receive", "acclimation"}
                assert need.earliest >= last[need.batch], need.uid


def test_the_timetable_publishes_the_landing_day_and_keeps_it(house_at: Open) -> None:
    """``timetable`` plans the day where there is none; asked again without news, the day stands."""
    house = house_at()
    batches = announced(house, 5)
    table = reschedule(house, seconds=0.0)
    landing = [task for task in table.tasks if task.uid.startswith("land/")]
    assert {task.uid for task in landing} == set(of_run_sheet(house, batches))
    before = of_timetable(house)
    reschedule(house, seconds=0.0)
    assert of_timetable(house) == before
    same_everywhere(house, batches)


def test_a_landing_moved_by_its_announcement_leaves_no_work_on_the_old_day(house_at: Open) -> None:
    """A day made for another landing is not read any more; the next one is made for the new landing."""
    house = house_at()
    batches = announced(house, 2)
    keep_missing_days(house, seconds=0.0)
    assert landing_tasks(house)
    later = LANDS + timedelta(days=3)
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": later.isoformat()})
    assert kept_days(house) == {}
    assert landing_tasks(house) == []
    keep_missing_days(house, seconds=0.0)
    assert min(start for start, _, _ in same_everywhere(house, batches).values()) >= later


def act_of(entry: Entry) -> str:
    """The act an entry was written in, what followed it among them."""
    return entry.key.partition("~")[0].partition(".")[0]


def test_an_amended_landing_moves_the_day_in_one_act(house_at: Open) -> None:
    """The courier's call: timetable, calendar and board have the new day at once, nothing of the old, and no gap between."""
    house = house_at()
    batches = announced(house, 2)
    keep_missing_days(house, seconds=0.0)
    steps = set(same_everywhere(house, batches))
    before = {act_of(entry) for entry in house.entries()}
    later = LANDS + timedelta(days=3)
    said = announce_shipment.amend(house, "S1", lands=later)
    assert len({act_of(entry) for entry in house.entries()} - before) == 1
    assert any("landing day is planned again" in line for line in said)
    moved = same_everywhere(house, batches)
    assert set(moved) == steps
    assert min(start for start, _, _ in moved.values()) >= later
    assert kept_days(house)["S1"]["announced_for"] == later.isoformat()


def test_a_truck_hours_before_its_time_brings_its_day_with_it(house_at: Open) -> None:
    """Received half a day early: nothing of the landing is left on the announced day, and every place says the new minutes."""
    house = house_at()
    batches = announced(house, 2)
    keep_missing_days(house, seconds=0.0)
    steps = set(same_everywhere(house, batches))
    came = LANDS - timedelta(hours=12)
    house = house_at(came)
    before = {act_of(entry) for entry in house.entries()}
    said = receive_shipment.receive(house, "S1").said
    assert len({act_of(entry) for entry in house.entries()} - before) == 1
    assert any("S1 landed 2027-" in line for line in said)
    assert kept_days(house)["S1"]["announced_for"] == came.isoformat()
    minutes = of_timetable(house)
    assert set(minutes) == steps
    assert min(start for start, _, _ in minutes.values()) >= came
    assert of_run_sheet(house, batches) == minutes


def test_a_truck_an_hour_early_moves_no_landing(house_at: Open) -> None:
    """The announced hour stands; the day is run again from the board where it matters."""
    house = house_at()
    announced(house, 2)
    keep_missing_days(house, seconds=0.0)
    kept = kept_days(house)["S1"]["announced_for"]
    house = house_at(LANDS - timedelta(hours=1))
    said = receive_shipment.receive(house, "S1").said
    assert not any("landed" in line for line in said)
    assert kept_days(house)["S1"]["announced_for"] == kept


def test_an_amendment_before_any_day_was_kept_makes_none(house_at: Open) -> None:
    """The day is planned with the timetable, not by a change to an order."""
    house = house_at()
    announced(house, 2)
    announce_shipment.amend(house, "S1", lands=LANDS + timedelta(days=1))
    assert kept_days(house) == {}


def test_who_is_at_other_work_is_no_company(house_at: Open) -> None:
    """Two people on the farm, one of them at a published round: no box is opened in that time."""
    house = house_at()
    batches = announced(house, 2)
    start = LANDS + timedelta(minutes=30)
    busy = [("ben", start, start + timedelta(minutes=90))]
    problem = framed(house, batches, Slip(without=()), taken=busy)
    assert len(problem.people) == 2
    plan = run_day(problem, seconds=0.0)
    for step in landing_steps(plan):
        if step.kind == "receive":
            assert step.hands_until <= start or step.start >= start + timedelta(minutes=90), step.uid


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_the_timetable_leaves_the_second_person_at_the_landing(house_at: Open, seed: int) -> None:
    """Rounds and baths of the day go to others: each minute of an opening, two people have work there or are held for it."""
    house = house_at(NOON)
    announced(house, seed)
    keep_missing_days(house)
    reschedule(house, seconds=0.3)
    steps = [step for told in kept_days(house).values() for step in told["steps"]]
    held = [(str(name), _at(start), _at(end)) for step in steps for name, start, end in step["company"]]
    hands = [(str(name), _at(step["start"]), _at(step["hands_until"])) for step in steps for name in step["people"]]
    for step in (step for step in steps if step["kind"] == "receive"):
        at = _at(step["start"])
        while at < _at(step["hands_until"]):
            assert len({name for name, start, end in (*held, *hands) if start <= at < end}) >= 2, (step["uid"], at)
            at += timedelta(minutes=1)
    for task in published_tasks(house):
        for name, start, end in held:
            if task["kind"] not in {"receive", "acclimation", "placing"} and name in task["staff"]:
                assert _at(task["end"]) <= start or _at(task["start"]) >= end, (task["title"], name)


def _at(text: object) -> datetime:
    return datetime.fromisoformat(str(text))


def test_bags_shut_over_night_are_refused_and_kept_only_with_a_reason(house_at: Open) -> None:
    """A landing at eleven at night: refused with reliefs, nothing written; with a reason it is kept."""
    house = house_at()
    batches = announced(house, 3, lands=NOON.replace(hour=23))
    run = planned_day(house, batches, seconds=0.0)
    assert run.refused
    with pytest.raises(Refused, match="delay the flight"):
        keep_day(house, batches, run)
    assert kept_day(house, batches) is None


def test_papers_read_the_kept_day_and_two_shipments_never_share_a_sheet(house_at: Open, tmp_path: Path) -> None:
    """One run sheet a shipment; the sheet prints the kept minutes; a tank too small is reported on the water list."""
    house = house_at()
    one, two = announced(house, 6), announced(house, 7, LANDS + timedelta(days=30), "S2")
    paths = landing_papers.print_runsheet(house, tmp_path, [*one, *two], "a4")
    assert [path.name for path in paths] == ["runsheet-S1.pdf", "runsheet-S2.pdf"]
    sheet = text_of(runsheet_pdf(house, one, "a4"))
    kept = kept_day(house, one)
    assert kept is not None
    for row in kept.plan.order():
        assert f"{row.opens:%H:%M}" in sheet
    assert water_lacking(house, prepared(house, one, kept.plan)) == ()


def test_a_mixing_tank_too_small_says_how_much_lacks(house_at: Open) -> None:
    """What is drawn within one refill against the tank, to the liter, in the farm's own settings; enough says nothing."""
    house = house_at()
    one = announced(house, 6)
    keep_missing_days(house, seconds=0.0)
    kept = kept_day(house, one)
    assert kept is not None
    ready = prepared(house, one, kept.plan)
    whole = sum(litres for _, litres in ready.drawn)
    assert whole > 20

    def told(tank_l: float, refill_minutes: int) -> tuple[str, ...]:
        mixing = Mixing(tank_l=tank_l, refill_minutes=refill_minutes, bath_l=10, animals_a_bath=20)
        return water_lacking(replace(house, site=house.site.model_copy(update={"mixing": mixing})), ready)

    (line,) = told(whole - 10, 10_000)
    assert f"The mixing tank holds {whole - 10:.0f} L" in line
    assert line.endswith("10 L more must stand ready.")
    assert told(whole, 10_000) == ()
    most = max(litres for _, litres in ready.drawn)
    at_once = {at: sum(litres for when, litres in ready.drawn if when == at) for at, _ in ready.drawn}
    assert told(max(at_once.values()), 1) == ()
    assert len(told(most / 2, 1)) >= 1


def test_the_first_weeks_are_work_on_days_and_baths_rest_first(house_at: Open) -> None:
    """Light, food and feet are on the timetable; nothing chemical before the group's hours of rest after placing."""
    house = house_at()
    batches = announced(house, 12)
    assert any(house.library.group(batch.group).light for batch in batches)
    keep_missing_days(house, seconds=0.0)
    last, asked = last_placings(house), needs(house)
    care = [need for need in asked if need.kind == "care"]
    assert care
    assert any("light" in need.strength for need in care)
    assert all(need.source for need in care)
    assert len({need.uid for need in care}) == len(care)
    for need in asked:
        if need.kind == "dip" and need.batch in last:
            group = next(batch.group for batch in batches if batch.id == need.batch)
            rest = house.library.after_arrival.rest_hours(group, house.library.agents(need.dip))
            assert rest is None or need.earliest >= last[need.batch] + timedelta(hours=min(rest[0], 1e4))


def test_no_bath_while_animals_are_marked_weak(house_at: Open) -> None:
    """A count of weak animals holds every bath of that lot back, and no other's, until a count says that none are."""
    house = house_at()
    seed = next(seed for seed in range(40) if len(_bathed(seed)) > 1)
    announced(house, seed)
    keep_missing_days(house, seconds=0.0)

    def baths() -> dict[str, Need]:
        return {need.uid: need for need in needs(house_at(LANDS)) if need.kind == "dip" and need.opens}

    plain = baths()
    weak, *others = sorted({need.batch for need in plain.values()})
    assert others, "a second lot with baths, or the test could not fail"
    count = {"quantity": f"weak {weak}", "value": 3, "scale": ""}
    with house_at(LANDS - timedelta(minutes=1)).act() as act:
        act.note("reading", "Q1", count)
    held = baths()
    for uid, need in held.items():
        if need.batch == weak:
            assert "3 marked weak" in need.why
            assert need.earliest >= max(plain[uid].earliest, LANDS + timedelta(days=1))
        else:
            assert need == plain[uid]
    with house_at(LANDS + timedelta(days=6)).act() as act:
        act.note("reading", "Q1", count)
    late = [need for need in needs(house_at(LANDS + timedelta(days=6))) if need.kind == "dip" and need.batch == weak]
    assert late
    assert all(need.earliest >= LANDS + timedelta(days=7) for need in late)
    with house_at(LANDS + timedelta(days=6)).act() as act:
        act.note("reading", "Q1", count | {"value": 0})
    free = [need for need in needs(house_at(LANDS + timedelta(days=6))) if need.kind == "dip" and need.batch == weak]
    assert free
    assert not any("weak" in need.why for need in free)


def _bathed(seed: int) -> set[str]:
    """Groups of a drawn shipment that get a bath on this farm: stony corals, its optional iodine dip."""
    lines = 1 + drawn(seed, "lines", 5)
    groups = [(line, GROUPS[drawn(seed, f"{line}/group", len(GROUPS))]) for line in range(1, 1 + lines)]
    return {f"{line}" for line, group in groups if group.startswith("stony")}


@pytest.mark.parametrize("by_entry", [False, True])
def test_undoing_the_receipt_of_an_early_truck_brings_the_announced_day_back(house_at: Open, by_entry: bool) -> None:
    """The wrong shipment was tapped: animals, landing, timetable and run sheet are as they were, whichever key is given."""
    house = house_at()
    batches = announced(house, 2)
    keep_missing_days(house, seconds=0.0)
    steps = set(same_everywhere(house, batches))
    house = house_at(LANDS - timedelta(hours=12))
    key = receive_shipment.receive(house, "S1").keys[0]
    house = house_at(LANDS - timedelta(hours=11, minutes=50))
    said = undo(house, f"{key.partition('.')[0]}.1" if by_entry else key, whole=True).said
    assert any("earlier landing of S1" in line for line in said)
    house = house_at(LANDS - timedelta(hours=11, minutes=40))
    assert house.floor().stays == ()
    assert "S1" not in house.floor().received
    assert kept_days(house)["S1"]["announced_for"] == LANDS.isoformat()
    assert not timetable_warnings(house)
    back = same_everywhere(house, batches)
    assert set(back) == steps
    assert min(start for start, _, _ in back.values()) >= LANDS
    assert receive_shipment.receive(house_at(LANDS), "S1").keys


@pytest.mark.parametrize("days", [1, 3, 9])
def test_a_number_off_the_old_table_never_names_another_task(house_at: Open, days: int) -> None:
    """A paper list printed before the landing moved: each number still means its task, or is refused."""
    batches = announced(house_at(), 7)
    keep_missing_days(house_at(), seconds=0.0)
    reschedule(house_at(), seconds=0.1)
    printed = {int(row["short"]): uid for uid, row in all_tasks(house_at()).items() if row.get("short")}
    assert len(printed) >= len(batches)
    announce_shipment.amend(house_at(), "S1", lands=LANDS + timedelta(days=days))
    reschedule(house_at(), seconds=0.1)
    now = house_at()
    moved = 0
    for number, uid in printed.items():
        try:
            row = find_task(now, str(number))
        except (Refused, UnknownName):
            continue
        assert row["uid"] == uid
        moved += bool(row.get("moved_from"))
    assert moved, "some of the printed work stands on another day"
