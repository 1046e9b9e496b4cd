"""A round that was not made is missed: no search in the evening puts it into the next morning, beside that day's own."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from intake.app.commands.record_observation import done
from intake.app.commands.schedule_work import reschedule
from intake.app.queries.overview.due_work import due_work
from intake.app.queries.overview.journal import journal
from intake.app.queries.planning.published_timetable import all_tasks
from intake.errors import Refused
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


def test_tomorrows_round_cannot_be_ticked_off_today(house_at: Open) -> None:
    """Nobody has looked for tomorrow's dead: refused with its day, nothing kept; today's is recorded under its usual name."""
    reschedule(received(house_at), seconds=0.1)
    morning = LANDED.replace(hour=6) + timedelta(days=3)
    reschedule(house_at(morning), seconds=0.1)
    evening = house_at(morning + timedelta(hours=12))
    rounds = {uid: row for uid, row in all_tasks(evening).items() if row["kind"] == "death round"}
    days = {uid: datetime.fromisoformat(row["start"]).date() for uid, row in rounds.items() if row["state"] == "open"}
    today = next(uid for uid, day in days.items() if day == morning.date())
    tomorrow = next(uid for uid, day in days.items() if day == morning.date() + timedelta(days=1))
    shown = {one.uid: one.open for day in due_work(evening, days=3) for one in day.work}
    assert (shown[today], shown[tomorrow]) == (True, False), "no button for what would be refused"
    before = evening.view.count()
    with pytest.raises(Refused) as refused:
        done(evening, tomorrow)
    assert f"{days[tomorrow]:%a} {days[tomorrow].day} {days[tomorrow]:%b}" in str(refused.value)
    assert house_at(evening.now).view.count() == before
    done(evening, today)
    words = [line for act in journal(house_at(evening.now), morning) for line in act.words]
    assert [line for line in words if line.startswith("done: round")]
    assert not [line for line in words if "death round" in line]
