"""A round that was not made is missed: no search in the evening puts it into the next morning, beside that day's own."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.commands.schedule_work import reschedule
from intake.app.queries.planning.published_timetable import all_tasks
from tests.app.deliveries import LANDED, Open, received


def test_a_round_not_made_stays_on_its_day_and_is_then_missed(house_at: Open) -> None:
    """Two hours after the last shift the timetable is searched; the rounds of today stay where they were."""
    reschedule(received(house_at), seconds=0.1)
    morning = LANDED.replace(hour=6) + timedelta(days=3)
    reschedule(house_at(morning), seconds=0.1)
    before = {uid: row for uid, row in all_tasks(house_at(morning)).items() if row["kind"] == "death round"}
    today = {uid for uid, row in before.items() if datetime.fromisoformat(row["start"]).date() == morning.date()}
    assert today
    ends = max(datetime.fromisoformat(before[uid]["end"]) for uid in today)
    evening = ends + timedelta(hours=13)
    assert evening.date() == morning.date()
    reschedule(house_at(evening), seconds=0.1)
    after = all_tasks(house_at(evening))
    kept = {uid: (after[uid]["start"], after[uid].get("state", "open")) for uid in today}
    assert kept == {uid: (before[uid]["start"], "open") for uid in today}
    night = house_at(evening + timedelta(hours=12))
    reschedule(night, seconds=0.1)
    assert {all_tasks(night)[uid]["state"] for uid in today} == {"missed"}
