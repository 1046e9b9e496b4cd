"""The page an event of a calendar opens: its task alone, recorded with one tap, and its state in the calendar's words."""

from __future__ import annotations

import json
import re
from datetime import datetime
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner
from starlette.applications import Starlette

from intake.app import system_clock
from intake.app.board_links import remember_board
from intake.app.calendars import feed_publication
from intake.app.commands import move_animals
from intake.app.queries.planning.published_timetable import shown_tasks
from intake.app.session import House
from intake.cli.command_table import vatside
from tests.board.conftest import Clock, Entering, post
from tests.feed import readers


def event_of(house: House, uid: str, who: str = "farm") -> dict[str, object]:
    """The event of a task as a reader has it."""
    found = readers.read_ical(feed_publication.bytes_for(house, who))
    return next(one for name, one in found.items() if name.rpartition("@")[0] == uid)


def page_of(house: House, uid: str) -> str:
    """The page of the board to which the event of a task leads."""
    body = feed_publication.bytes_for(house).replace(b"\r\n ", b"").decode()
    part = next(one for one in body.split("BEGIN:VEVENT") if f"UID:{uid}@" in one)
    found = re.search(r"^URL:(.*)\r$", part, re.MULTILINE)
    assert found
    parts = urlsplit(found[1])
    return f"{parts.path}?{parts.query}"


def first_open(house: House, kind: str) -> str:
    """The next task of a kind."""
    rows = [row for row in shown_tasks(house).values() if row.get("state", "open") == "open" and row["kind"] == kind]
    return str(min(rows, key=lambda row: (row["start"], row["uid"]))["uid"])


def test_an_event_leads_to_its_task_and_one_tap_records_it(enter: Entering, app: Starlette, clock: Clock) -> None:
    """No list to search in: one task, one button; then the page and the calendar say who did it and when."""
    with app.state.farm.writing() as house:
        remember_board(house, "http://testserver")
        feed_publication.publish(house)
    house = app.state.farm.house("ada")
    uid = first_open(house, "inspection")
    where = page_of(house, uid)
    clock.turn(seconds=86_400)  # clams are brushed a day after they were placed, not before
    ben = enter("ben")
    page = ben.get(where).text
    dip = str(shown_tasks(house)[uid]["dip"])
    assert f"Bath water: {house.library.treatments.by_id[dip].disposal}" in page
    assert re.findall(r'name="task" value="([^"]+)"', page) == [uid]
    clock.turn(minutes=1)
    assert post(ben, "/done", task=uid, back=where).status_code == 200
    page = ben.get(where).text
    assert 'name="task"' not in page, "nothing is left to tap"
    words = str(event_of(app.state.farm.house("ada"), uid)["description"]).split("\n")[0]
    assert re.fullmatch(r"Done \w{3} \d\d \w{3} \d\d:\d\d by ben", words)
    assert f"✓ {words}" in page


def test_a_task_nobody_knows_is_told_as_such(enter: Entering) -> None:
    """An old event may outlive its task."""
    answer = enter("ben").get("/work?task=S1-09%2Fnothing")
    assert answer.status_code == 404


def test_what_was_dropped_or_missed_is_told_alike_on_board_and_calendar(
    enter: Entering, app: Starlette, clock: Clock
) -> None:
    """The same sentence with the same reason, in the list of the day and on the task's own page."""
    house = app.state.farm.house("ada")
    gone = first_open(house, "release check")
    round_today = min(uid for uid in shown_tasks(house) if uid.startswith("round/"))
    end = datetime.fromisoformat(shown_tasks(house)[round_today]["end"])
    with app.state.farm.writing() as writing:
        batch = gone.split("/")[0]
        for stay in [stay for stay in writing.floor().stays if stay.batch == batch]:
            move_animals.move(writing, batch, stay.vat, "discarded", stay.count)
    clock.turn(seconds=(end - clock()).total_seconds() + 86_400)
    with app.state.farm.writing() as writing:
        feed_publication.publish(writing)
    house, ada = app.state.farm.house("ada"), enter("ada")
    for uid, word in ((gone, "Dropped"), (round_today, "Missed")):
        words = next(
            line for line in str(event_of(house, uid)["description"]).split("\n") if line.startswith(f"{word}: ")
        )
        assert words in ada.get(f"/work?task={uid.replace('/', '%2F')}").text
    assert "Missed: not recorded on its day" in ada.get("/work?who=all").text


def test_a_deadline_stands_in_one_sentence_at_every_door(
    enter: Entering, app: Starlette, clock: Clock, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Event, morning list, task page, day's list, table, `vatside` alone and `--json`: the same hour and the same cost."""
    first = first_open(app.state.farm.house("ada"), "inspection")
    clock.turn(days=2)
    assert post(enter("ben"), "/done", task=first).status_code == 200
    house, uid = app.state.farm.house("ada"), f"{first.rpartition('/')[0]}/2"
    row = shown_tasks(house)[uid]
    words = str(row["if_late"])
    assert re.fullmatch(
        r"By \w{3} \d\d \w{3} \d\d:\d\d, else \d+ animals wait until \w{3} \d\d \w{3} \(\d+ d longer\)", words
    )
    assert words in str(event_of(house, uid)["description"]).split("\n")
    day = datetime.fromisoformat(row["start"]).date()
    assert words in str(event_of(house, f"day/{row['staff'][0]}/{day}", row["staff"][0])["description"])
    start = datetime.fromisoformat(row["start"])
    clock.turn(seconds=(start - clock()).total_seconds() - 1800)
    ada, house = enter("ada"), app.state.farm.house("ada")
    for page in (f"/work?task={uid.replace('/', '%2F')}", "/work?who=all", f"/vats/{row['vat']}"):
        assert f"! {words}" in ada.get(page).text, page
    monkeypatch.setattr(system_clock, "now", clock)
    alone = CliRunner().invoke(vatside, ["--farm", str(folder)])
    assert re.search(rf"^ *{row['short']} {re.escape(words)}$", alone.stdout, re.MULTILINE)
    for asked in (["timetable", "--days", "2", "--propose"], ["timetable", "--propose", "--json"]):
        assert words in " ".join(CliRunner().invoke(vatside, ["--farm", str(folder), *asked]).stdout.split())
    today = json.loads(CliRunner().invoke(vatside, ["--farm", str(folder), "timetable", "--propose", "--json"]).stdout)
    (told,) = [task for task in today["tasks"] if task["uid"] == uid]
    assert f"{datetime.fromisoformat(told['deadline']):By %a %d %b %H:%M}" == words.partition(",")[0]
