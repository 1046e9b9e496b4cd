"""What must not get through: foreign forms, foreign names, too much, and anything that would make the server stumble."""

import random
import re

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.board.middleware import masked
from tests.board.conftest import Entering, entries_of, form_token, post

FORMS = [
    "/count",
    "/done",
    "/batches/S1-01/move",
    "/batches/S1-01/finding",
    "/batches/S1-01/hold",
    "/batches/S1-01/cut",
    "/batches/S1-01/undo",
    "/batches/S1-01/nonsense",
    "/vats/Q2/clean",
    "/vats/Q1/reading",
    "/deliveries/S1/receive",
    "/deliveries/new",
    "/claims/S1/state",
    "/plan/accept",
    "/plan/clear",
    "/calendars/create",
    "/calendars/F1/revoke",
    "/people/invite",
    "/people/pin",
    "/people/devices/D99/revoke",
    "/photos",
    "/api/count",
    "/api/undo",
    "/api/photo",
    "/sign-in",
    "/join/guess",
]


@pytest.mark.parametrize(
    "origin",
    [{}, {"origin": "http://elsewhere.example"}, {"origin": "null"}, {"origin": "http://testserver.elsewhere.example"},
     {"referer": "http://elsewhere.example/testserver"}, {"origin": "http://[bad"}],
)  # fmt: skip
def test_a_form_of_another_site_is_refused(enter: Entering, app: Starlette, origin: dict[str, str]) -> None:
    """Even with the cookie and the right token: over plain http only Origin says whence a form came."""
    ben = enter("ben")
    foreign = TestClient(app, headers=origin, cookies=dict(ben.cookies))
    before = entries_of(app)
    answer = foreign.post(
        "/count", data={"form_token": form_token(ben), "where": "S1-01@Q1", "dead": "1", "key": "k" * 20}
    )
    assert answer.status_code == 403
    assert entries_of(app) == before


def test_a_form_without_this_devices_token_is_refused(enter: Entering, app: Starlette) -> None:
    """The token of another device is none."""
    ben, cleo = enter("ben"), enter("cleo")
    before = entries_of(app)
    for token in ("", "x", form_token(cleo), "é"):
        answer = post(ben, "/count", where="S1-01@Q1", dead="1", form_token=token)
        assert answer.status_code == 403
    assert entries_of(app) == before


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "testserver.elsewhere.example", "testserver@elsewhere.example", "127.0.0.1"]
)
def test_an_unknown_host_name_is_not_answered(app: Starlette, host: str) -> None:
    """A foreign page whose name points here (DNS rebinding) must learn nothing."""
    answer = TestClient(app).get("/c", headers={"host": host})
    assert answer.status_code == 421
    assert "vat" not in answer.text.lower()


def test_every_page_has_its_headers_and_no_inline_script_or_style(enter: Entering) -> None:
    """The policy forbids them, so a page that needed one would be broken; and nothing is loaded from elsewhere."""
    ada = enter("ada")
    for address in (
        "/",
        "/space",
        "/work",
        "/batches/S1-01",
        "/claims/S1",
        "/people",
        "/calendars",
        "/plan",
        "/c",
        "/count",
        "/sign-in",
    ):
        answer = ada.get(address)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert not re.search(r"<script(?![^>]*\ssrc=)|\son\w+=|\sstyle=|<style", answer.text), address
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", answer.text), address


def test_what_people_type_is_shown_as_text(enter: Entering) -> None:
    """Words from a form never become markup."""
    ben = enter("ben")
    post(ben, "/batches/S1-01/hold", reason='<script>alert(1)</script>"onload="x')
    page = ben.get("/batches/S1-01").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


@pytest.mark.parametrize("where", ["/count", "/join/x", "/sign-in", "/people/pin"])
def test_an_oversized_form_is_stopped(enter: Entering, where: str) -> None:
    """Forms are small; whoever sends more is not read to the end."""
    ben = enter("ben")
    assert ben.post(where, data={"note": "x" * 200_000}).status_code == 413
    chunked = (b"note=" + b"x" * 50_000 for _ in range(4))
    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert ben.post(where, content=chunked, headers=headers).status_code == 413


@pytest.mark.parametrize(
    "path",
    ["/s/x/../../app.py", "/s/x/..%2f..%2fapp.py", "/s/x/%2e%2e%2fapp.py", "/../../etc/passwd", "/batches/..%2f..%2fetc", "/%00",
     "/vats/%ff", "/deliveries/%0d%0aset-cookie:x", "/claims/../farm.db", "/photos/..%5cfarm.db.jpg"],
)  # fmt: skip
def test_path_tricks_find_nothing(enter: Entering, path: str) -> None:
    """No page, no file, no header of the sender's making."""
    answer = enter("ada").get(path, follow_redirects=False)
    assert answer.status_code in {303, 307, 404, 421, 422}
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "PROPFIND", "TRACE", "OPTIONS"])
def test_other_methods_are_refused(enter: Entering, method: str) -> None:
    """With the methods that are allowed."""
    answer = enter("ada").request(method, "/count")
    assert answer.status_code == 405
    assert set(answer.headers["allow"].split(", ")) >= {"GET"} or answer.headers["allow"] == "POST"


WORDS = [
    *(
        "",
        "0",
        "1",
        "-1",
        "9" * 21,
        "1e9",
        "NaN",
        "S1-01",
        "Q1",
        "S1-01@Q1",
        "S1-01@Z9",
        "clean",
        "ada",
        "farm",
        "F1",
        "D1",
    ),
    *(
        "sent",
        "2027-03-04",
        "2027-13-99",
        "9999-12-31T23:59",
        "0001-01-01",
        "\x00",
        "\r\nx: y",
        "\ufffd",
        "💧" * 50,
        "a" * 3000,
    ),
    *("'; drop table movement;--", "{{7*7}}", "../../farm.db", "temperature_c", "ph", "nbs", "P1", "yes", "١٢"),
]
NAMES = [
    *(
        "key",
        "where",
        "batch",
        "vat",
        "dead",
        "doa",
        "missing",
        "weak",
        "found",
        "count",
        "source",
        "target",
        "what",
        "other",
    ),
    *(
        "reason",
        "note",
        "task",
        "back",
        "entry",
        "quantity",
        "value",
        "scale",
        "state",
        "amount",
        "plan",
        "short",
        "by",
        "who",
    ),
    *(
        "person",
        "shared",
        "label",
        "pin",
        "again",
        "supplier",
        "lands",
        "staged",
        "enter",
        "ask:columns",
        "evidence",
        "pieces",
    ),
    *("undoes", "tapped_ms"),
]


def test_no_form_makes_the_server_stumble(enter: Entering, app: Starlette) -> None:
    """Two hundred and sixty posts of the wrong things in the wrong places: an answer each, and sound books after."""
    from intake.app.farm_folder import check_house

    chance = random.Random(20270304)
    ada = enter("ada")
    codes: dict[int, int] = {}
    for where in FORMS * 10:
        fields = {chance.choice(NAMES): chance.choice(WORDS) for _ in range(chance.randrange(9))}
        sealed = {"form_token": form_token(ada)} | fields
        if chance.random() < 0.3:
            files = {
                chance.choice(["photo", "list"]): (
                    "x\r\n.csv",
                    chance.choice(WORDS).encode(errors="replace"),
                    "text/csv",
                )
            }
            answer = ada.post(where, data=sealed, files=files, follow_redirects=False)
        elif where.startswith("/api") and chance.random() < 0.7:
            answer = ada.post(where, json=fields, headers={"x-vatside-form": form_token(ada)})
        else:
            answer = ada.post(where, data=sealed, follow_redirects=False)
        codes[answer.status_code] = codes.get(answer.status_code, 0) + 1
        assert answer.status_code < 500, (where, fields, answer.text)
        if not ada.cookies.get("vatside") or ada.get("/work", follow_redirects=False).status_code == 303:
            ada = enter("ada")  # it ended its own device
    assert codes.get(422, 0) > 50, codes
    assert check_house(app.state.farm.house()) == []


@pytest.mark.parametrize(
    "query", ["who=%00", "days=-1", "days=99999999999", "days=abc", "vat=%ff", "batch=%F0%9F%92%A7&vat=%22%3E"]
)
def test_no_query_makes_the_server_stumble(enter: Entering, query: str) -> None:
    """Addresses are typed, mangled and guessed."""
    ada = enter("ada")
    for page in ("/work", "/contacts", "/count"):
        assert ada.get(f"{page}?{query}").status_code in {200, 404, 422}


def test_secrets_in_addresses_are_masked_wherever_they_stand() -> None:
    """One list of secret addresses serves routes and logs; a short hash is left to find a subscriber by."""
    token = "Zk3" * 14
    for text in (
        f"GET /cal/{token}/farm.ics",
        f"failed: http://farm.lan:8642/join/{token}",
        f'"/cal/{token}/x"',
        f"/cal/{token}",
    ):
        assert token not in masked(text)
        assert re.search(r"/(cal|join)/#[0-9a-f]{8}", masked(text))
    assert masked("/calendars/F1/revoke /joinery/x") == "/calendars/F1/revoke /joinery/x"


def test_a_broken_farm_file_does_not_stop_the_board(enter: Entering, folder, app: Starlette) -> None:  # type: ignore[no-untyped-def]
    """Whoever edits farm.toml while people count: the last good one stays in use and every page says so."""
    ada = enter("ada")
    file = folder / "farm.toml"
    good = file.read_text(encoding="utf-8")
    file.write_text(good + "\n[vat.Q4\n", encoding="utf-8")
    page = ada.get("/").text
    assert "farm.toml has an error" in page
    assert "Q1" in page
    file.write_text(good.replace("Invented test farm", "Invented farm, renamed"), encoding="utf-8")
    page = ada.get("/").text
    assert "Invented farm, renamed" in page
    assert "has a fault" not in page


def test_what_another_program_records_is_seen_at_once(enter: Entering, folder) -> None:  # type: ignore[no-untyped-def]
    """The command line and the board work on the same books at the same time."""
    from datetime import timedelta

    from intake.app.commands import move_animals
    from intake.app.session import open_house
    from tests.conftest import NOON

    ada = enter("ada")
    assert "<b>100</b>" in ada.get("/").text
    house = open_house(folder, who="ben", now=NOON + timedelta(hours=4))
    move_animals.move(house, "S1-01", "Q1", "sample", 30)
    house.books.close()
    assert "<b>70</b>" in ada.get("/").text


def test_only_what_holds_no_secret_is_compressed(enter: Entering) -> None:
    """A compressed page with a form's token beside words of the address would give the token away by its length."""
    from intake.board.rendering import BUILD

    ada = enter("ada")
    for open_to_all in ("/c", f"/s/{BUILD}/board.css", f"/s/{BUILD}/count.js"):
        answer = ada.get(open_to_all)
        assert answer.headers["content-encoding"] == "gzip", open_to_all
        assert "accept-encoding" in answer.headers["vary"].lower()
        assert form_token(ada) not in answer.text
    for closed in ("/", "/work", "/contacts?batch=S1-01", "/people", "/api/facts", "/count"):
        answer = ada.get(closed)
        assert "content-encoding" not in answer.headers, closed
