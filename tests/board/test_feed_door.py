"""Calendar addresses over http: conditional, private, revocable, and never a broken answer."""

import logging
import re
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient

from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import count_animals
from intake.app.session import House
from intake.board.middleware import SecretFilter
from intake.errors import StoreTrouble
from intake.feed import is_whole
from tests.board.conftest import Clock, Entering, post


@pytest.fixture
def reader(app: Starlette) -> TestClient:
    """A calendar program: no cookie, no Origin."""
    return TestClient(app, headers={"user-agent": "a calendar program", "accept-encoding": "identity"})


def address(app: Starlette, who: str = "farm") -> str:
    """A new address, as its path."""
    with app.state.farm.writing() as house:
        _, token = feed_addresses.create(house, who)
    return f"/cal/{token}/{who}.ics"


def test_headers_are_those_a_subscriber_needs(app: Starlette, reader: TestClient) -> None:
    """Type, tags, privacy; HEAD as GET."""
    where = address(app)
    got, head = reader.get(where), reader.head(where)
    assert got.status_code == head.status_code == 200
    assert is_whole(got.content)
    assert head.content == b""
    assert got.headers == head.headers
    wanted = {
        "content-type": "text/calendar; charset=utf-8",
        "cache-control": "private, no-cache",
        "referrer-policy": "no-referrer",
        "x-robots-tag": "noindex",
        "x-content-type-options": "nosniff",
        "content-disposition": 'inline; filename="farm.ics"',
    }
    assert {name: got.headers[name] for name in wanted} == wanted
    assert got.headers["content-length"] == str(len(got.content))
    assert got.headers["last-modified"].endswith(" GMT")
    assert "set-cookie" not in got.headers


def test_conditional_requests(app: Starlette, reader: TestClient) -> None:
    """The tag decides alone when it is there, weak, in a list or as a star; a date only without it."""
    where = address(app)
    got = reader.get(where)
    tag, date = got.headers["etag"], got.headers["last-modified"]
    for held in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        answer = reader.get(where, headers={"if-none-match": held})
        assert (answer.status_code, answer.content, answer.headers["etag"]) == (304, b"", tag), held
    fresh = {"if-none-match": '"other"', "if-modified-since": date}
    assert reader.get(where, headers=fresh).status_code == 200
    assert reader.get(where, headers={"if-modified-since": date}).status_code == 304
    assert reader.get(where, headers={"if-modified-since": "yesterday"}).status_code == 200


def test_the_tag_moves_only_with_what_a_reader_sees(app: Starlette, reader: TestClient, clock: Clock) -> None:
    """A count changes nothing in a calendar; another landing changes it."""
    where = address(app)
    tag = reader.get(where).headers["etag"]
    clock.turn(minutes=5)
    with app.state.farm.writing() as house:
        count_animals.count(house, "S1-01", "Q1", count_animals.Count(weak=3))
    assert reader.get(where).headers["etag"] == tag
    with app.state.farm.writing() as house:
        lands = (clock() + timedelta(days=3)).isoformat()
        with house.act() as act:
            act.note("shipment", "S2", {"supplier": "two", "lands": lands})
    later = reader.get(where)
    assert later.headers["etag"] != tag
    assert b"S2 lands" in later.content.replace(b"\r\n ", b"")


def test_a_token_opens_one_calendar_only(app: Starlette, reader: TestClient) -> None:
    """43 characters; on another calendar's name, or by another name of its own, it finds nothing."""
    where = address(app, "ben")
    token = where.split("/")[2]
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", token)
    assert reader.get(where).status_code == 200
    for name in ("farm.ics", "ada.ics", "ben", "BEN.ics", "ben.ics.ics", "..%2fben.ics"):
        assert reader.get(f"/cal/{token}/{name}").status_code == 404, name


@pytest.mark.parametrize("token", ["x", "a" * 43, "A" * 5000, "%00", "..", "é", "%ff%fe", "*"])
def test_a_guessed_address_finds_nothing(app: Starlette, reader: TestClient, token: str) -> None:
    """The same plain 404 for every guess."""
    address(app)
    answer = reader.get(f"/cal/{token}/farm.ics")
    assert answer.status_code == 404


def test_a_revoked_address_is_gone_and_others_stay(app: Starlette, reader: TestClient, enter: Entering) -> None:
    """410 with the body of 404; a new address works at once."""
    ada = enter("ada")
    page = post(ada, "/calendars/create", who="farm").text
    first = re.search(r"http://testserver(/cal/[^\"]+)", page)
    identity = re.search(r"Calendar link (F\d+): copy it now, it is shown only once", page)
    assert first
    assert identity
    other = address(app, "ben")
    assert reader.get(first[1]).status_code == 200
    assert first[1] not in ada.get("/calendars").text
    assert "a calendar program" in ada.get("/calendars").text
    post(ada, f"/calendars/{identity[1]}/revoke")
    gone, unknown = reader.get(first[1]), reader.get(f"/cal/{'a' * 43}/farm.ics")
    assert (gone.status_code, unknown.status_code) == (410, 404)
    assert gone.content == unknown.content
    assert reader.get(other).status_code == 200
    assert reader.get(address(app)).status_code == 200


def test_people_make_and_revoke_only_their_own(enter: Entering, app: Starlette) -> None:
    """A keeper's calendar is theirs; the owner's farm calendar is not."""
    ben, ada = enter("ben"), enter("ada")
    assert post(ben, "/calendars/create", who="farm").status_code == 422
    assert post(ben, "/calendars/create", who="ben").status_code == 200
    post(ada, "/calendars/create", who="farm")
    assert "F2" not in ben.get("/calendars").text
    assert post(ben, "/calendars/F2/revoke").status_code == 422
    assert "F1 (ben) revoked" in post(ben, "/calendars/F1/revoke").text


@pytest.mark.parametrize("method", ["PROPFIND", "PUT", "OPTIONS", "POST", "DELETE"])
def test_other_methods_are_told_what_is_allowed(app: Starlette, reader: TestClient, method: str) -> None:
    """A well-known calendar program really tries PUT."""
    answer = reader.request(method, address(app))
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD")


def test_odd_readers_are_answered(app: Starlette, reader: TestClient) -> None:
    """No Accept header, an empty name, a wish for gzip, another host name: the calendar all the same."""
    where = address(app)
    plain = reader.get(where).content
    for headers in ({"accept": ""}, {"user-agent": ""}, {"accept-encoding": "gzip"}, {"accept-encoding": "identity"}):
        assert reader.get(where, headers=headers).content == plain


def broken(*args: object, **kwargs: object) -> bytes:
    """Stands for a calendar that cannot be made."""
    raise RuntimeError("the disk is full")


def locked(*args: object, **kwargs: object) -> int:
    """Stands for a database that is locked."""
    raise StoreTrouble("the books are locked")


def test_a_farm_without_subscribers_publishes_nothing_by_the_clock(
    app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its ledger grows by what people do, not by the hours a server runs."""
    gone_through: list[House] = []
    monkeypatch.setattr(feed_publication, "publish", gone_through.append)
    app.state.feed_door.bring_up()
    with app.state.farm.writing() as house:
        feed_addresses.revoke(house, feed_addresses.create(house, "ben")[0])
    app.state.feed_door.bring_up()
    assert not gone_through
    address(app)
    app.state.feed_door.bring_up()
    assert len(gone_through) == 1


def test_no_subscriber_waits_for_what_the_clock_changes(
    app: Starlette, folder: Path, reader: TestClient, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each quarter hour is gone through beside the requests where the server does that; a changed farm file at once."""
    where, whole, gone_through = address(app), feed_publication.publish, []

    def publish(house: House) -> int:
        gone_through.append(house.now)
        return whole(house)

    monkeypatch.setattr(feed_publication, "publish", publish)
    reader.get(where)
    clock.turn(minutes=20)
    address(app, "ben")  # other books, so that the calendar is looked at anew
    reader.get(where)
    assert len(gone_through) == 2
    app.state.feed_door.bring_up()
    assert len(gone_through) == 2  # this quarter hour has been
    clock.turn(minutes=20)
    address(app, "ben")
    reader.get(where)
    assert len(gone_through) == 2
    app.state.feed_door.bring_up()
    assert len(gone_through) == 3
    file = folder / "farm.toml"
    file.write_text(file.read_text(encoding="utf-8") + "\n# looked through\n", encoding="utf-8")
    reader.get(where)
    assert len(gone_through) == 4


@pytest.mark.parametrize(
    ("what", "fails"), [("bytes_for", broken), ("snapshot", broken), ("publish", locked), ("save", broken)]
)
def test_the_last_good_calendar_is_served_whatever_fails(
    app: Starlette, reader: TestClient, clock: Clock, monkeypatch: pytest.MonkeyPatch, what: str, fails: object
) -> None:
    """A short, empty or html 200 empties calendars, an error code can switch them off for good."""
    where = address(app)
    good = reader.get(where)
    monkeypatch.setattr(feed_publication, what, fails)
    with app.state.farm.writing() as house, house.act() as act:
        act.note("shipment", "S2", {"supplier": "two", "lands": (clock() + timedelta(days=3)).isoformat()})
    answer = reader.get(where)
    assert answer.status_code == 200
    assert is_whole(answer.content)
    if what != "publish":
        assert answer.content == good.content
    held = reader.get(where, headers={"if-none-match": answer.headers["etag"]})
    assert held.status_code == 304
    monkeypatch.undo()
    assert b"S2 lands" in reader.get(where).content.replace(b"\r\n ", b"")


def test_a_half_calendar_is_never_served(app: Starlette, reader: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not even by a renderer that believes it succeeded."""
    where = address(app)
    good = reader.get(where).content
    half = good[: len(good) // 2]
    monkeypatch.setattr(feed_publication, "snapshot", lambda house, who, rows: half)
    with app.state.farm.writing() as house, house.act() as act:
        act.note("shipment", "S2", {"supplier": "two", "lands": house.now.isoformat()})
    assert reader.get(where).content == good


def test_after_a_restart_the_last_good_file_serves(
    app: Starlette, folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server comes up while something is wrong: subscribers keep what was good before."""
    from intake.board.asgi_app import board

    where = address(app)
    good = TestClient(app).get(where).content
    monkeypatch.setattr(feed_publication, "bytes_for", broken)
    again = board(folder, {"testserver"}, clock)
    answer = TestClient(again).get(where)
    assert (answer.status_code, answer.content) == (200, good)
    again.state.farm.close()


def test_a_calendar_never_made_is_not_found_rather_than_broken(
    app: Starlette, reader: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """404 is the one refusal on which subscribers keep what they have and go on asking."""
    where = address(app)
    monkeypatch.setattr(feed_publication, "snapshot", broken)
    assert reader.get(where).status_code == 404


def test_the_token_is_in_no_log(
    app: Starlette, reader: TestClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """After 200, 304, 404, 405, 410 and a failure with its traceback."""
    handler = logging.FileHandler(tmp_path / "log")
    handler.addFilter(SecretFilter())
    root = logging.getLogger()
    root.addHandler(handler)
    for name in ("vatside.access", "vatside.board"):
        logging.getLogger(name).setLevel(logging.INFO)
    try:
        where = address(app)
        token = where.split("/")[2]
        tag = reader.get(where).headers["etag"]
        reader.get(where, headers={"if-none-match": tag})
        reader.get(f"/cal/{token}/other.ics")
        reader.put(where)
        monkeypatch.setattr(feed_publication, "snapshot", lambda house, who, rows: broken_with(where))
        with app.state.farm.writing() as house:
            feed_addresses.revoke(house, "F1")
            _, second = feed_addresses.create(house, "ben")
        reader.get(f"/cal/{second}/ben.ics")
        reader.get(where)
    finally:
        root.removeHandler(handler)
        handler.close()
        for name in ("vatside.access", "vatside.board"):
            logging.getLogger(name).setLevel(logging.NOTSET)
    written = (tmp_path / "log").read_text()
    for code in (200, 304, 404, 405, 410):
        assert f" {code} " in written
    assert "the address was" in written
    assert token not in written
    assert second not in written


def broken_with(where: str) -> bytes:
    """A failure whose words carry the address."""
    raise RuntimeError(f"the address was {where}")


def test_an_unchanged_calendar_is_cheap_and_guessing_leaves_nothing(app: Starlette, reader: TestClient) -> None:
    """600 requests each: only 304 and 404; the times are printed, not judged."""
    where = address(app)
    tag = reader.get(where).headers["etag"]
    began = time.process_time()
    codes = {reader.get(where, headers={"if-none-match": tag}).status_code for _ in range(600)}
    took = 1000 * (time.process_time() - began) / 600
    assert codes == {304}
    assert {reader.get(f"/cal/{number:043d}/farm.ics").status_code for number in range(600)} == {404}
    print(f"304 in {took:.2f} ms of processor time, test client included")
    routes = (route for route in app.routes if isinstance(route, Route))
    door: Any = next(route for route in routes if route.path.startswith("/cal")).endpoint
    assert len(door._kept) == 1
    assert len(door._subscribers(door._stamp())) == 1
