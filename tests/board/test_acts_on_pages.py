"""What the command line does is done on the board too: each act by its form, and what it leaves in the ledger."""

from __future__ import annotations

import asyncio
import itertools
import re
import threading
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.board.api import live_events
from intake.board.api.live_events import Pulse
from intake.board.background_jobs import Watch
from intake.board.pages import desk, floor_pages
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.board.conftest import Clock, Entering, entries_of, form_token, post
from tests.conftest import NOON


def house(app: Starlette) -> Any:
    """The farm as it is now."""
    return app.state.farm.house()


def expect_s2(app: Starlette, clock: Clock) -> None:
    """A second shipment to come, of two lines."""
    with app.state.farm.writing("ada") as found, found.act() as act:
        act.note("shipment", "S2", {"supplier": "one", "lands": (clock.moment + timedelta(days=9)).isoformat()})
        for line in (1, 2):
            batch = Batch(f"S2-{line:02d}", "Tridacna maxima", "clam_small", 40.0, 20, "S2", line, "one", ("1", "2"))
            act.note("batch", batch.id, batch_payload(batch))


def test_a_vat_is_closed_and_opened(enter: Entering, app: Starlette) -> None:
    """With its reason, which the vat's page then shows."""
    ben = enter("ben")
    assert post(ben, "/vats/Q2/close", reason="crack in the glass").status_code == 200
    assert [(one.vat, one.reason) for one in house(app).floor().closures] == [("Q2", "crack in the glass")]
    assert "crack in the glass" in ben.get("/vats/Q2").text
    post(ben, "/vats/Q2/open")
    assert not house(app).floor().closures[-1].holds(house(app).now)


def test_tools_and_pipes_are_told_to_the_trace(enter: Entering, app: Starlette) -> None:
    """A net that went wet, and a vat joined to other water."""
    ben = enter("ben")
    assert "net 4: carried from Q1 to Q2" in post(ben, "/vats/Q1/carried", tool="net 4", target="Q2").text
    assert post(ben, "/vats/Q3/replumb", joined="growout").status_code == 200
    kinds = [one.payload.get("what") for one in house(app).standing("farm")]
    assert kinds[-2:] == ["carried", "replumbed"]


def test_a_shipment_is_amended_and_cancelled(enter: Entering, app: Starlette, clock: Clock) -> None:
    """Fewer of a line, another landing, and never: each stays on record."""
    expect_s2(app, clock)
    ada = enter("ada")
    assert post(ada, "/deliveries/S2/amend", batch="S2-01", count="12").status_code == 200
    assert house(app).lines_of("S2")[0].announced == 12
    assert post(ada, "/deliveries/S2/amend").status_code == 422, "nothing to change is no change"
    assert post(ada, "/deliveries/S2/cancel", reason="supplier has no stock").status_code == 200
    assert "cancelled: supplier has no stock" in ada.get("/deliveries/S2").text


def test_animals_are_booked_as_what_they_are(enter: Entering, app: Starlette) -> None:
    """More than announced, in the vat they are in."""
    before = house(app).floor().headcount("S1-01")
    assert post(enter("ben"), "/batches/S1-01/rebook", count="2", vat="Q1").status_code == 200
    assert house(app).floor().headcount("S1-01") == before + 2


def test_an_order_without_its_prescriber_is_refused_with_the_rule(enter: Entering, app: Starlette) -> None:
    """A prescription bath has no default dose; what was typed comes back with the refusal."""
    library = house(app).library
    bath = next(name for name, dip in library.dips.items() if dip.prescription)
    ben, before = enter("ben"), entries_of(app)
    answer = post(ben, "/batches/S1-01/order", dip=bath, reason="white spots seen")
    assert answer.status_code == 422
    assert entries_of(app) == before
    assert 'value="white spots seen"' in answer.text


def test_the_round_is_walked_on_one_page(enter: Entering, app: Starlette) -> None:
    """A death, the temperature and the round itself from the page of the round, and each answer leads back to its vat."""
    ben = enter("ben")
    page = ben.get("/round").text
    back = re.search(r'name="back" value="([^"]+#v-Q1)"', page)
    task = re.search(r'name="task" value="([^"]*round[^"]*)"', page)
    assert back
    assert task, "the round of today stands on its page"
    assert 'name="where" value="S1-01@Q1"' in page
    told = post(ben, "/count", follow=False, where="S1-01@Q1", dead="2", back=back[1])
    assert (told.status_code, told.headers["location"]) == (303, "/round#v-Q1")
    assert house(app).floor().headcount("S1-01") == 98
    told = post(ben, "/vats/Q1/reading", follow=False, quantity="temperature_c", value="25.8", back=back[1])
    assert (told.status_code, told.headers["location"]) == (303, "/round#v-Q1")
    assert [one.value for one in house(app).floor().readings if one.quantity == "temperature_c"] == [25.8]
    assert post(ben, "/done", task=task[1], back="/round").status_code == 200
    assert task[1] in [one.task for one in house(app).floor().done]
    after = ben.get("/round").text
    assert "<b>98</b>" in after
    assert f'name="task" value="{task[1]}"' not in after
    away = post(
        ben, "/count", follow=False, where="S1-01@Q1", dead="1", key="another-form-of-this-test", back="//elsewhere"
    )
    assert away.headers["location"] == "/batches/S1-01"


def test_the_round_follows_the_order_of_its_task(enter: Entering, app: Starlette) -> None:
    """Page and command walk the vats as today's round does, clean water first."""
    from intake.app.queries.overview.day.walk_round import walk_round
    from intake.app.queries.planning.published_timetable import all_tasks

    rows = [row for row in all_tasks(house(app)).values() if row.get("vats")]
    assert rows
    walked = list(dict.fromkeys(vat for row in sorted(rows, key=lambda row: row["start"]) for vat in row["vats"]))
    shown = [stop.vat for stop in walk_round(house(app))]
    assert [vat for vat in walked if vat in shown] == [vat for vat in shown if vat in walked]
    page = enter("ben").get("/round").text
    assert re.findall(r'<section id="v-([^"]+)"', page) == shown


def test_a_whole_act_is_undone_from_the_journal_once(enter: Entering, app: Starlette) -> None:
    """By the button beside its words; the second tap does no harm, the original stays."""
    ben = enter("ben")
    post(ben, "/count", where="S1-01@Q1", dead="3", weak="2")
    page = ben.get("/journal").text
    key = re.search(r'name="entry" value="([^"]+)"', page)
    assert key
    assert "3: Q1 → dead" in page
    assert post(ben, "/journal/undo", entry=key[1]).status_code == 200
    assert house(app).floor().headcount("S1-01") == 100
    once = entries_of(app)
    assert post(ben, "/journal/undo", entry=key[1], key="another form of this test").status_code in (200, 422)
    assert entries_of(app) == once
    assert "undone" in ben.get("/journal").text


def test_done_is_undone_from_the_same_row(enter: Entering, app: Starlette) -> None:
    """All day: the row says who did it and gives it back."""
    ben = enter("ben")
    task = re.search(r'name="task" value="([^"]+)"', ben.get("/work?who=all&days=60").text)
    assert task
    post(ben, "/done", task=task[1], note="by the old pump", at="15:30")
    told = house(app).last("done", task[1])
    assert told is not None
    assert told.payload["note"] == "by the old pump"
    assert f"{told.happened_at.astimezone(house(app).site.farm.zone):%H:%M}" == "15:30"
    page = ben.get(f"/work?task={task[1]}").text
    undo = re.search(r'name="entry" value="([^"]+)"', page)
    assert undo
    assert post(ben, "/journal/undo", entry=undo[1], back="/work").status_code == 200
    assert task[1] not in [one.task for one in house(app).floor().done]


def test_search_finds_by_part_of_any_name(enter: Entering) -> None:
    """Batch, vat, species, shipment and task; nothing is said plainly."""
    ben = enter("ben")
    assert "/batches/S1-01" in ben.get("/search?q=s1-01").text
    assert "/vats/Q2" in ben.get("/search?q=q2").text
    assert "/deliveries/S1" in ben.get("/search?q=s1").text
    assert "/batches/S1-02" in ben.get("/search?q=maxima").text
    assert "Nothing on the farm" in ben.get("/search?q=whale").text


def test_release_readings_and_sample_show_their_facts(enter: Entering) -> None:
    """The list of what can leave, the water over time, and how many to examine."""
    ben = enter("ben")
    post(ben, "/vats/Q1/reading", quantity="temperature_c", value="26.1")
    post(ben, "/vats/Q1/reading", quantity="temperature_c", value="26.4", key="another form of this test")
    page = ben.get("/readings?place=Q1").text
    assert "temperature, °C" in page
    assert "2 readings from 26.1 to 26.4" in page
    assert "S1-01" in ben.get("/release").text
    assert "Examine <b>" in ben.get("/sample?lot=500&prevalence=2").text
    assert ben.get("/sample?lot=many").status_code == 422


def test_a_logger_is_read_once(enter: Entering, app: Starlette) -> None:
    """The same file twice brings nothing new."""
    ben = enter("ben")
    noon = house(app).now - timedelta(hours=1)
    rows = f"time,temperature_c\n{noon:%Y-%m-%d %H:%M},26.1\n".encode()
    data = {"form_token": form_token(ben), "key": "k" * 20, "place": "quarantine", "dates": "ymd"}
    answer = ben.post("/readings/file", data=data, files={"file": ("probe.csv", rows, "text/csv")})
    assert answer.status_code == 200, answer.text[:400]
    assert "1 of 1 rows are new" in answer.text


def test_a_person_is_added_to_the_farm_file_and_the_rest_stays(enter: Entering, folder: Path) -> None:
    """Appended, read again, invited next; what would spoil the file is refused."""
    ada, before = enter("ada"), (folder / "farm.toml").read_text(encoding="utf-8")
    assert post(ada, "/people/new", id="eva", name='Eva "E" Q', role="keeper").status_code == 200
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    assert text.startswith(before.rstrip("\n"))
    assert "Eva" in ada.get("/people").text
    for identity, role in (("ada", "owner"), ("x]", "owner"), ("z", "king")):
        assert post(ada, "/people/new", id=identity, name="A", role=role).status_code == 422
    assert (folder / "farm.toml").read_text(encoding="utf-8") == text


def test_check_and_backup_run_beside_the_pages(enter: Entering, app: Starlette) -> None:
    """The page shows what they found; the archive can be downloaded."""
    ada = enter("ada")
    post(ada, "/farm/check")
    app.state.jobs.wait(60)
    assert "Sound:" in ada.get("/farm").text
    assert ada.get("/farm/backup.zip").status_code == 404
    post(ada, "/farm/backup")
    app.state.jobs.wait(60)
    answer = ada.get("/farm/backup.zip")
    assert answer.content.startswith(b"PK")
    assert answer.headers["content-disposition"].startswith("attachment")


def test_what_if_and_capacity_are_asked_and_nothing_is_kept(
    enter: Entering, app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mix more, other aims first; the answer is shown, the ledger stays as it was."""
    monkeypatch.setattr(desk, "_SECONDS", 0.5)
    monkeypatch.setattr(desk, "_DAY_SECONDS", 0.2)
    ada = enter("ada")
    mix = b"Scientific name,Size (mm),Qty\nTridacna maxima,40,30\n"
    before = entries_of(app)
    for where, job in (("/plan/what-if", "what-if"), ("/capacity", "capacity")):
        data = {"form_token": form_token(ada), "key": "k" * 20, "aims": "moves,vats,held", "every": "14"}
        files = {"list": ("mix.csv", mix, "text/csv")}
        assert ada.post(where, data=data, files=files, follow_redirects=False).status_code == 303
        app.state.jobs.wait(60)
        assert app.state.jobs.last(job).wrong == ""
        assert "<svg" in ada.get(where).text
    assert ada.get("/capacity/curve.pdf").content.startswith(b"%PDF")
    assert entries_of(app) == before


def test_a_what_if_that_does_not_fit_is_answered_as_in_the_terminal(
    enter: Entering, app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How sure it is, what would help, and that ordering fewer makes no room for more."""
    monkeypatch.setattr(desk, "_SECONDS", 0.5)
    ada = enter("ada")
    files = {"list": ("mix.csv", b"Scientific name,Size (mm),Qty\nTridacna maxima,40,3000\n", "text/csv")}
    ada.post("/plan/what-if", data={"form_token": form_token(ada), "key": "k" * 20, "aims": ""}, files=files)
    app.state.jobs.wait(60)
    page = ada.get("/plan/what-if").text
    assert "No plan can fit more than" in page
    assert "Not proved best" not in page
    assert "Ways to make room" in page
    assert re.search(r"<b>−[^<]*000</b> <span>[^<]*</span> <small>fewer to place, about", page)


def test_the_receiving_day_is_planned_run_and_planned_again(enter: Entering, app: Starlette, clock: Clock) -> None:
    """Planned once beside the page; a box opened and one that leaks are reported and the rest moves."""
    expect_s2(app, clock)
    clock.turn(days=9)
    ben = enter("ben")
    assert "Not planned yet" in ben.get("/deliveries/S2/day").text
    post(ben, "/deliveries/S2/day/plan", despite="the truck comes late today")
    app.state.jobs.wait(60)
    assert app.state.jobs.last("day").wrong == ""
    assert "Not planned yet" not in ben.get("/deliveries/S2/day").text
    assert post(ben, "/deliveries/S2/day/opened", box="2", temperature_c="24.5").status_code == 200
    answer = post(ben, "/deliveries/S2/day/slipped", leaking="1", despite="the truck comes late today")
    assert answer.status_code == 200, answer.text[-1500:]
    assert post(ben, "/deliveries/S2/day/slipped", leaking="99").status_code == 422


def test_a_script_reads_and_posts_by_its_token_until_it_is_revoked(enter: Entering, app: Starlette) -> None:
    """With its person's rights and no others; a token opens no page, a key sent twice records once."""
    ada = enter("ada")
    page = post(ada, "/people/scripts", person="cleo", label="temperature logger").text
    token = re.search(r'value="([\w-]{43})" aria-label="Token"', page)
    assert token
    script = TestClient(app, headers={"authorization": f"Bearer {token[1]}"})
    assert script.get("/api/v1/vats/Q1").json()["fact"]["alive"] == 140
    assert script.get("/api/v1/floor").json()["facts"]["alive"] == 150
    assert script.get("/", follow_redirects=False).status_code == 303
    told = {"quantity": "temperature_c", "value": 26.2, "key": "logger-2026-11-30-a"}
    assert script.post("/api/v1/vats/Q1/reading", json=told).json()["said"]
    once = entries_of(app)
    assert script.post("/api/v1/vats/Q1/reading", json=told).json()["said"] == ["Recorded before."]
    assert entries_of(app) == once
    assert script.get("/api/v1/claims").status_code == 403
    refused = script.post("/api/v1/vats/Q1/reading", json={"quantity": "temperature_c", "value": 78.4})
    assert (refused.status_code, refused.json()["rules"][0]["id"]) == (422, "reading-unit")
    assert {entry.who for entry in house(app).entries()[-1:]} == {"cleo"}
    device = re.findall(r"<b>(D\d+)</b> script", ada.get("/people").text)[-1]
    post(ada, f"/people/devices/{device}/revoke")
    assert script.get("/api/v1/floor").status_code == 401


def test_no_page_tells_a_program_a_secret(enter: Entering, app: Starlette) -> None:
    """Hashes of tokens and PINs stand in the facts of no page."""
    ada = enter("ada")
    hashed = [one.hash for one in app.state.farm._read().devices.values()]
    for path in ("/api/v1/people", "/api/v1/calendars", "/api/v1/floor"):
        answer = ada.get(path)
        assert answer.status_code == 200
        assert not any(one in answer.text for one in hashed)


def test_the_description_names_every_address_for_programs(enter: Entering) -> None:
    """OpenAPI made from the table: right, roles, fields."""
    told = enter("cleo").get("/api/openapi.json").json()
    reading = told["paths"]["/api/v1/vats/{vat}/reading"]["post"]
    assert reading["x-roles"] == ["owner", "keeper", "helper"]
    fields = reading["requestBody"]["content"]["application/json"]["schema"]["properties"]
    assert {"quantity", "value", "scale", "despite", "back", "key"} == set(fields)


def settled(app: Starlette, client: TestClient) -> str:
    """The beat once the alarms of the present ledger have been found."""
    for _ in range(300):
        beat = str(client.get("/api/beat").json()["beat"])
        app.state.watch.wait(60)
        if (
            app.state.watch.knows(floor_pages.alarm_state(app.state.farm))
            and client.get("/api/beat").json()["beat"] == beat
        ):
            return beat
        time.sleep(0.1)
    pytest.fail("the beat does not come to rest")


def test_an_act_changes_the_beat_and_the_stream_says_so(enter: Entering, app: Starlette) -> None:
    """Pages that stay open follow it: the stream sends the very beat of after the act, once, and nothing else."""
    ben = enter("ben")
    before = settled(app, ben)
    post(ben, "/count", where="S1-01@Q1", dead="2")
    after = settled(app, ben)
    assert after != before
    stream = ben.get("/api/live")
    assert stream.headers["content-type"].startswith("text/event-stream")
    assert stream.text == f"retry: 2000\n\ndata: {after}\n\n"


def test_the_stream_tells_each_change_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A word as it is, the next one when it has changed, and no word twice."""
    monkeypatch.setattr(live_events, "_LOOK_S", 0.0)
    words = iter(["one", "one", "two", "two"])
    pulse = Pulse(lambda: next(words, "three"))

    async def heard() -> list[str]:
        told: list[str] = []
        async for said in pulse.events():
            told.append(said)
            if "three" in said:
                break
        return told

    assert asyncio.run(heard()) == ["retry: 2000\n\n", "data: one\n\n", "data: two\n\n", "data: three\n\n"]


def test_deaths_raise_the_alarm_without_the_long_rest(
    enter: Entering, app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a search of many seconds a reading waits its minute, but an act that changes deaths is looked at in a beat."""
    ben = enter("ben")
    settled(app, ben)
    watch, now = app.state.watch, time.monotonic()
    monkeypatch.setattr(watch, "_took_s", 8.0)  # as on a farm of many years: rests of 8 s, and of a minute
    monkeypatch.setattr(watch, "_found_at", now - 9.0)
    post(ben, "/vats/Q2/reading", quantity="temperature_c", value="25.1")
    ben.get("/api/beat")
    assert not watch.knows(floor_pages.alarm_state(app.state.farm)), "a reading is looked at when the rest is over"
    post(ben, "/count", where="S1-01@Q1", dead="20")
    quiet = ben.get("/api/beat").json()["beat"]
    watch.wait(60)
    assert watch.knows(floor_pages.alarm_state(app.state.farm))
    told = [str(one["words"]) for one in watch.ask(floor_pages.alarm_state(app.state.farm), list, 0.0)]
    assert any("20 dead" in one for one in told), told
    assert ben.get("/api/beat").json()["beat"] != quiet
    assert any(one.split(";")[0] in ben.get("/").text for one in told)


def test_searching_for_alarms_is_bounded() -> None:
    """However many deaths are recorded: one search at a time, and between two at least as long as the last one took."""
    watch, spans = Watch(), []
    lock = threading.Lock()

    def search() -> int:
        began = time.monotonic()
        assert lock.acquire(blocking=False), "two searches at once"
        time.sleep(0.1)
        lock.release()
        spans.append((began, time.monotonic()))
        return len(spans)

    for state in range(60):
        watch.ask(state, search, 0.0, now=NOON, presses=lambda since: since == NOON)
        time.sleep(0.02)
    watch.wait(5)
    assert 3 <= len(spans) <= 7, "at most half of the time"
    assert all(after[0] - before[1] >= 0.09 for before, after in itertools.pairwise(spans))


def test_a_form_sent_beside_the_page_is_answered_in_place(enter: Entering, app: Starlette) -> None:
    """The page's script is told where to go or what is wrong; what was typed is still in the form."""
    ben = enter("ben")
    heads = {"x-vatside-inline": "1", "x-vatside-form": form_token(ben)}
    wrong = ben.post("/batches/S1-01/move", data={"count": "a few", "key": "k" * 20}, headers=heads)
    assert (wrong.status_code, wrong.json()["said"][0][:5]) == (422, "count")
    good = ben.post("/vats/Q3/clean", data={"key": "k" * 20}, headers=heads, follow_redirects=False)
    assert good.json()["next"] == "/vats/Q3"
    assert "Q3 cleaned and dry" in ben.get("/vats/Q3").text


def test_a_wall_screen_shows_its_page_and_no_other(enter: Entering, app: Starlette) -> None:
    """A device of no one: every other page leads back to the wall, nothing is recorded."""
    from intake.app.access import devices

    with app.state.farm.writing() as found:
        _, code = devices.invite(found, "ada", kind="wall")
    wall = TestClient(app, headers={"origin": "http://testserver"})
    assert wall.post(f"/join/{code}", data={"label": "hall"}).url.path == "/wall"
    page = wall.get("/wall").text
    assert "Q1" in page
    assert "Nothing wrong" in page or "band alarm" in page
    assert wall.get("/batches", follow_redirects=False).headers["location"] == "/wall"
    before = entries_of(app)
    assert post(wall, "/vats/Q3/clean").status_code == 403
    assert entries_of(app) == before
