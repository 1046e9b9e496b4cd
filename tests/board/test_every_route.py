"""Every address of the board, taken from its own table: hostile words in every part of it, by every method and role."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.app.access import devices
from intake.app.farm_folder import check_house
from intake.board.api.openapi import BASE
from intake.board.asgi_app import routes
from intake.board.middleware import SECRET_PATHS
from tests.board.conftest import ORIGIN, entries_of, form_token
from tests.board.test_forms import NAMES, WORDS

OPEN = {"/c", "/robots.txt", "/worker.js", "/s/{build}/{name}", "/sign-in", "/join/{code}"}
"""Addresses that answer strangers: shells without data, and the doors."""

OWN = {
    *("/sign-out", "/people/pin", "/people/devices/{device}/revoke"),
    *("/calendars/create", "/calendars/{feed}/revoke"),
}
"""About one's own device, PIN and calendar; those of others are tried in test_sign_in and test_feed_door."""

LONG = {
    *("/plan/propose", "/plan/timetable", "/plan/what-if", "/capacity", "/season", "/farm/check", "/farm/backup"),
    "/deliveries/{shipment}/day/plan",
}
"""Start a search of many seconds: their refusals are tried, not their work."""

EVERY = [(route.path, method) for route in routes() for method in sorted((route.methods or set()) - {"HEAD"})]
TABLE = [(path, method) for path, method in EVERY if not path.startswith(BASE)]
PROGRAMS = [(path, method) for path, method in EVERY if path.startswith(BASE)]
PARTS = [*WORDS, "..", ".", "%2e%2e", "S1", "sheets", "history", "nonsense", "finding", "move", "lift", "board.css"]
SECRETS = ("farm.db", "farm.toml", "Traceback", "sqlite", "/tests/", "scrypt")
POINTED_AT = "farm.toml"
"""The one file pages name on purpose, to say where something is changed: pages that were shown may, refusals may not."""


@pytest.fixture(scope="module")
def farm(shared: Starlette) -> Starlette:
    """The board with room for the browsers of these tests."""
    shared.state.fuzzed = {}
    return shared


def entered(app: Starlette, person: str) -> TestClient:
    """A browser of this person, or of nobody; the same one again while it is signed in."""
    known: dict[str, TestClient] = app.state.fuzzed
    if person in known and known[person].get("/api/beat").status_code == 200:
        return known[person]
    client = TestClient(app, headers=dict(ORIGIN), raise_server_exceptions=False)
    if person:
        with app.state.farm.writing() as house:
            _, code = devices.invite(house, person)
        assert client.post(f"/join/{code}", data={"label": "fuzz"}, follow_redirects=False).status_code == 303
        known[person] = client
    return client


def filled(path: str, words: Any) -> str:
    """The address with a word in each of its parts; what would be a different address is percent-coded."""
    return re.sub(r"\{[a-z]+\}", lambda _: quote(next(words), safe=""), path)


def leaked(app: Starlette, answer: Any, typed: Iterable[str], *, pointed: bool) -> list[str]:
    """What an answer reveals of the inside, once the very words that were sent are taken out of it wherever they come back."""
    text = html.unescape(answer.text)
    for word in sorted({one for one in typed if any(secret in one for secret in SECRETS)}, key=len, reverse=True):
        text = text.replace(word, "").replace(quote(word, safe=""), "").replace(quote(word), "")
    own = [str(app.state.farm.folder), *SECRETS]
    found = [secret for secret in own if secret in text and not (pointed and secret == POINTED_AT)]
    return found + (["the ledger itself"] if b"SQLite format 3" in answer.content else [])


texts = st.one_of(st.sampled_from(PARTS), st.text(max_size=30))
fields = st.dictionaries(st.sampled_from(NAMES), texts, max_size=8)
modest = settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize(("path", "method"), TABLE)
@modest
@given(parts=st.lists(texts, min_size=4, max_size=4), query=fields, form=fields, how=st.sampled_from("fjx"))
def test_no_words_make_any_address_stumble(
    farm: Starlette, path: str, method: str, parts: list[str], query: dict[str, str], form: dict[str, str], how: str
) -> None:
    """Whatever stands in path, query or body: an answer in words below 500, without a trace of the inside."""
    client = entered(farm, "cleo" if path in LONG else "ada")
    where, sealed = filled(path, iter(parts)), {"form_token": form_token(client)} | form
    heads = {"x-vatside-form": form_token(client)}
    if method == "GET":
        answer = client.get(where, params=query, follow_redirects=False)
    elif how == "j":
        answer = client.post(where, params=query, json=form, headers=heads, follow_redirects=False)
    elif how == "x":
        raw = "".join(form.values()).encode(errors="replace")
        heads |= {"content-type": "multipart/form-data; boundary=x"}
        answer = client.post(where, params=query, content=raw, headers=heads, follow_redirects=False)
    else:
        answer = client.post(where, params=query, data=sealed, follow_redirects=False)
    assert answer.status_code < 500, (method, where, answer.text[:300])
    typed = (*parts, *query.values(), *form.values())
    assert leaked(farm, answer, typed, pointed=answer.status_code < 400) == [], (where, answer.text[:300])


@pytest.mark.parametrize(("path", "method"), PROGRAMS)
@settings(modest, max_examples=1)
@given(parts=st.lists(texts, min_size=4, max_size=4), fields=fields)
def test_no_words_make_an_address_for_programs_stumble(
    farm: Starlette, path: str, method: str, parts: list[str], fields: dict[str, str]
) -> None:
    """The same handlers, asked by a program."""
    client = entered(farm, "cleo" if path.removeprefix(BASE) in LONG else "ada")
    heads = {"x-vatside-form": form_token(client)}
    where, posts = filled(path, iter(parts)), method == "POST"
    answer = client.request(
        method,
        where,
        json=fields if posts else None,
        params=None if posts else fields,
        headers=heads,
        follow_redirects=False,
    )
    assert answer.status_code < 500, (method, path, answer.text[:300])
    assert leaked(farm, answer, (*parts, *fields.values()), pointed=answer.status_code < 400) == [], (
        where,
        answer.text[:300],
    )


@pytest.mark.parametrize(
    ("said", "typed", "pointed", "found"),
    [
        ("no batch ../../farm.db", ["../../farm.db"], False, []),
        ("no batch ../../farm.db: FOLDER/farm.db", ["../../farm.db"], False, ["FOLDER", "farm.db"]),
        ("&#39;../../farm.db&#39; at /b/..%2F..%2Ffarm.db", ["../../farm.db"], False, []),
        ("cannot read /srv/farm.db", ["../../farm.db"], False, ["farm.db"]),
        ("Change farm.toml as well", [], True, []),
        ("Change farm.toml as well", [], False, ["farm.toml"]),
        ("Traceback (most recent call last)", ["Q1"], True, ["Traceback"]),
        ("SQLite format 3", ["../../farm.db"], True, ["the ledger itself"]),
    ],
)
def test_a_leak_is_seen_beside_an_echo(
    farm: Starlette, said: str, typed: list[str], pointed: bool, found: list[str]
) -> None:
    """The words of the request are no leak; the same name reported by the server beside them is."""
    folder = str(farm.state.farm.folder)
    words = said.replace("FOLDER", folder)
    answer = SimpleNamespace(text=words, content=words.encode())
    assert leaked(farm, answer, typed, pointed=pointed) == [one.replace("FOLDER", folder) for one in found]


@pytest.mark.parametrize(("path", "method"), TABLE)
def test_a_stranger_reads_nothing_and_writes_nothing(farm: Starlette, path: str, method: str) -> None:
    """A page that is new is closed until it is named here as open."""
    stranger = entered(farm, "")
    before = entries_of(farm)
    for cookie in ("", "guessed", "x" * 43):
        headers = {"cookie": f"vatside={cookie}"} if cookie else {}
        where = filled(path, iter(["S1-01", "Q1", "sheets", "S1"]))
        answer = stranger.request(method, where, headers=headers, data={"key": "k" * 20} if method == "POST" else None,
                                  follow_redirects=False)  # fmt: skip
        if path not in OPEN:
            assert answer.status_code in {303, 401, 403}, (path, answer.status_code)
            assert answer.headers.get("location", "/sign-in") == "/sign-in"
        assert not re.search(r"S1-01</a>|Tridacna|>100<", answer.text)
    assert entries_of(farm) == before


@pytest.mark.parametrize("path", sorted({path for path, method in TABLE if method == "POST"} - OPEN - OWN))
def test_whoever_may_only_look_writes_nothing(farm: Starlette, path: str) -> None:
    """With a good cookie and a good form: the right is asked for at every address that writes, but for one's own things."""
    dov = entered(farm, "dov")
    for act in ("finding", "move", "cut", "hold", "lift") if "{act}" in path else ("",):
        where = path.replace("{act}", act)
        where = filled(where, iter(["Q1" if "/vats/" in path else "S1" if "{shipment}" in path else "S1-01"]))
        before = entries_of(farm)
        sealed = {"form_token": form_token(dov), "key": "k" * 20, "reason": "x", "what": "clean", "count": "1"}
        answer = dov.post(where, data=sealed, headers={"x-vatside-form": form_token(dov)}, follow_redirects=False)
        assert answer.status_code == 403, (where, answer.status_code)
        assert entries_of(farm) == before


def concrete(path: str) -> str:
    """An address of this pattern that exists."""
    return filled(path, iter(["S1-01", "Q1", "sheets", "S1"]))


def answers(where: str, method: str) -> bool:
    """Whether some address takes this method."""
    return any(route.path_regex.match(where) and method in (route.methods or set()) for route in routes())


@pytest.mark.parametrize(
    ("where", "other"),
    [
        (where, other)
        for where in sorted({concrete(path) for path, _ in TABLE})
        for other in ("PUT", "DELETE", "PATCH", "POST", "GET", "TRACE")
        if not answers(where, other)
    ],
)
def test_a_method_that_is_not_named_is_refused(farm: Starlette, where: str, other: str) -> None:
    """By whoever, signed in or not."""
    assert entered(farm, "").request(other, where).status_code == 405


@modest
@given(token=st.one_of(st.text(max_size=60), st.from_regex(r"[A-Za-z0-9_-]{43}", fullmatch=True)), name=texts)
def test_a_guessed_secret_opens_nothing(farm: Starlette, token: str, name: str) -> None:
    """Calendars and invitations: one answer for every guess, the same for a near miss."""
    stranger = entered(farm, "")
    for first in SECRET_PATHS:
        tail = f"/{quote(name or 'farm.ics', safe='')}" if first == "cal" else ""
        answer = stranger.get(f"/{first}/{quote(token or 'x', safe='')}{tail}", follow_redirects=False)
        assert answer.status_code < 500
        assert "BEGIN:VCALENDAR" not in answer.text
        assert "set-cookie" not in answer.headers


def test_the_books_are_sound_after_all_this(farm: Starlette) -> None:
    """Runs last in this file: everything above went to one farm."""
    assert check_house(farm.state.farm.house()) == []
