"""One dip recorded late changes the calendar only where it had to: every other event stays as it was, byte for byte."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intake.app.calendars import feed_publication
from intake.app.commands import count_animals, record_observation, schedule_work
from intake.app.queries.planning import published_timetable, timetable_needs
from intake.app.queries.planning.published_timetable import latest_as_before
from intake.app.session import House
from tests.app.deliveries import LANDED, Open, received

DIPS = 'optional_dips = ["coral-iodine-dip", "coral-freshwater-dip", "zoanthid-iodine-dip"]'
LINES = (("clam_small", "Q1", 40), ("stony_branching_acropora", "Q3", 40), ("zoanthid", "Q2", 40))
CORAL, ZOANTHID = "S1-02/coral-freshwater-dip/Q3", "S1-03/zoanthid-iodine-dip/Q2"
TRIED = b"""agent,groups,taxa,verdict,override,reason,source,evidence
fresh-water,stony_branching_acropora,,allowed,,one piece tried,"invented trial of the test farm, no source",practice
"""
SECONDS = 0.5


@pytest.fixture
def scheduled(farm_folder: Path, house_at: Open) -> Open:
    """The farm with weekly dips switched on, its shipment received, its work scheduled and published."""
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace('optional_dips = ["coral-iodine-dip"]', DIPS)
    file.write_text(text, encoding="utf-8")
    (farm_folder / "library").mkdir(exist_ok=True)
    (farm_folder / "library" / "verdicts.csv").write_bytes(TRIED)
    received(house_at, LINES)
    house = house_at(LANDED + timedelta(hours=2))
    schedule_work.reschedule(house, seconds=SECONDS)
    feed_publication.publish(house)
    return house_at


def events(house: House) -> dict[str, str]:
    """Task → its VEVENT as a subscriber reads it, unfolded."""
    found = {}
    for part in feed_publication.bytes_for(house, "farm").replace(b"\r\n ", b"").decode().split("BEGIN:VEVENT")[1:]:
        uid = re.search(r"^UID:(.*)@", part, re.MULTILINE)
        assert uid is not None
        found[uid[1]] = part.split("END:VEVENT")[0]
    return found


def sequence(event: str) -> int:
    """SEQUENCE of an event."""
    found = re.search(r"^SEQUENCE:(\d+)", event, re.MULTILINE)
    assert found is not None
    return int(found[1])


def start(event: str) -> str:
    """DTSTART as it stands."""
    return next(line for line in event.splitlines() if line.startswith("DTSTART"))


def late(at: Open, uid: str, hours: float) -> tuple[dict[str, str], dict[str, str]]:
    """Everything recorded at its end but one dip, and that one ``hours`` late; events before and after."""
    house = at(LANDED + timedelta(hours=2))
    tasks = published_timetable.published_tasks(house)
    end = {str(task["uid"]): datetime.fromisoformat(str(task["end"])) for task in tasks}
    moment = end[uid] + timedelta(hours=hours)
    house = at(moment)
    for other in sorted(end, key=lambda one: end[one]):
        if other != uid and end[other] <= moment:
            record_observation.done(house, other, at=end[other])
    before = events(house)
    record_observation.done(house, uid, at=moment)
    house = at(moment + timedelta(minutes=1))
    schedule_work.reschedule(house, seconds=SECONDS)
    feed_publication.publish(house)
    return before, events(house)


def changed(before: dict[str, str], after: dict[str, str]) -> set[str]:
    """Tasks still to be done whose event differs."""
    return {uid for uid in before if before[uid] != after.get(uid) and "SUMMARY:✓" not in after.get(uid, "")}


def test_work_recorded_at_its_end_moves_nothing(scheduled: Open) -> None:
    """Every task ends after it begins: if that alone moved the next one, every calendar would change every day."""
    before, after = late(scheduled, f"{ZOANTHID}/2", 0)
    assert changed(before, after) == set()


@pytest.mark.parametrize("hours", [3, 10])
@pytest.mark.parametrize("uid", [f"{ZOANTHID}/1", f"{ZOANTHID}/2", f"{CORAL}/2"])
def test_a_dip_late_by_hours_moves_nothing(scheduled: Open, uid: str, hours: int) -> None:
    """A weekly dip in the evening instead of the morning leaves every published time standing: all still counts."""
    before, after = late(scheduled, uid, hours)
    assert changed(before, after) == set()
    assert set(after) == set(before)


def test_a_first_dip_two_and_a_half_days_late_moves_its_repeats_alone(scheduled: Open) -> None:
    """The second may not come before the sixth day after the first; the third may not come before that of the second.

    First due a day after placing (A013), done 60 h after its end, on 8 March; the second stood on 12 March, four days
    after; the third on 19 March.
    """
    before, after = late(scheduled, f"{ZOANTHID}/1", 60)
    assert changed(before, after) == {f"{ZOANTHID}/2", f"{ZOANTHID}/3"}
    assert start(before[f"{ZOANTHID}/2"])[-15:-7] == "20270312"
    day = start(after[f"{ZOANTHID}/2"])[-15:-7]
    assert "20270314" <= day <= "20270315"


def test_a_first_dip_a_day_late_moves_its_next_repeat_alone(scheduled: Open) -> None:
    """30 h late: the second moves by a day, the third stands six days after it and stays."""
    before, after = late(scheduled, f"{ZOANTHID}/1", 30)
    assert changed(before, after) == {f"{ZOANTHID}/2"}


@pytest.mark.parametrize(("uid", "hours"), [(f"{ZOANTHID}/1", 60), (f"{CORAL}/2", 30), (f"{CORAL}/3", 60)])
def test_only_changed_events_get_a_new_revision(scheduled: Open, uid: str, hours: int) -> None:
    """SEQUENCE, DTSTAMP and LAST-MODIFIED rise for the changed and for nobody else; work of other lots is not touched."""
    before, after = late(scheduled, uid, hours)
    moved = changed(before, after)
    assert moved
    assert {sequence(after[one]) - sequence(before[one]) for one in moved} == {1}
    assert all(after[one] == before[one] for one in set(before) - moved - {uid})
    chain = uid.rpartition("/")[0]
    assert all(one.startswith(chain) for one in moved), moved
    assert all(one.startswith(chain) for one in set(after) - set(before))


def test_a_dip_still_open_is_told_anew_and_a_second_look_changes_nothing(scheduled: Open) -> None:
    """Overdue work moves to where it can be done; planning again at the same moment must not move it once more."""
    house = scheduled(LANDED + timedelta(hours=40))
    for task in published_timetable.published_tasks(house):
        end = datetime.fromisoformat(str(task["end"]))
        if end <= house.now and task["uid"] != f"{ZOANTHID}/1":
            record_observation.done(house, str(task["uid"]), at=end)
    before = events(house)
    schedule_work.reschedule(house, seconds=SECONDS)
    feed_publication.publish(house)
    after = events(scheduled(LANDED + timedelta(hours=40)))
    assert {one.rpartition("/")[0] for one in changed(before, after)} == {ZOANTHID}
    assert f"{ZOANTHID}/1" in changed(before, after)
    schedule_work.reschedule(house, seconds=SECONDS)
    assert feed_publication.publish(house) == 0
    assert events(house) == after


def test_a_repeat_that_is_held_at_its_time_counts_when_it_is_done(scheduled: Open) -> None:
    """The published time is kept only where the series counts it: after it, the next number is wanted, not the same."""
    late(scheduled, f"{ZOANTHID}/1", 10)
    house = scheduled(LANDED + timedelta(days=1))
    second = next(t for t in published_timetable.published_tasks(house) if t["uid"] == f"{ZOANTHID}/2")
    begun = datetime.fromisoformat(str(second["start"]))
    house = scheduled(begun + timedelta(hours=1))
    record_observation.done(house, f"{ZOANTHID}/2", at=begun)
    house = scheduled(begun + timedelta(hours=2))
    left = [need.uid for need in timetable_needs.needs(house) if need.uid.startswith(ZOANTHID)]
    assert left == [f"{ZOANTHID}/3"]


def test_deaths_of_a_few_change_no_event(scheduled: Open) -> None:
    """One death in forty is in the books at once, but the crew's calendars are not rewritten for it."""
    house = scheduled(LANDED + timedelta(hours=5))
    before = events(house)
    count_animals.count(house, "S1-01", "Q1", count_animals.Count(dead=1))
    house = scheduled(LANDED + timedelta(hours=6))
    schedule_work.reschedule(house, seconds=SECONDS)
    due = {uid for uid in changed(before, events(house)) if "death-round" not in uid}
    assert due == set()


@pytest.mark.parametrize(
    ("hours", "start", "stands"),
    [(0.5, "09:00", True), (12, "09:00", True), (12.5, "09:00", False), (-1, "09:00", False), (0.5, "10:00", False)],
)
def test_a_last_start_that_only_the_clock_moved_on_is_not_written_again(hours: float, start: str, stands: bool) -> None:
    """A series counted from now would else be written with every count, and never be late; an earlier limit always is."""
    latest = datetime.fromisoformat("2027-03-20T09:15:00+00:00")
    was = {"start": "09:00", "latest": latest.isoformat()}
    row = {"start": start, "latest": (latest + timedelta(hours=hours)).isoformat()}
    kept = latest_as_before(row, was)
    assert kept == (was if stands else row)
