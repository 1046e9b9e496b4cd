"""Role by address by method: who may do what on the board, stated once more here without looking at the board's own table."""

from __future__ import annotations

import re

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.app.access import devices
from intake.app.access.roles import RIGHTS, roles_with
from intake.board.api.openapi import BASE, address, for_programs
from intake.board.asgi_app import routes
from intake.board.route_table import WAYS
from intake.ledger import Record
from tests.board.conftest import ORIGIN, Entering, entries_of, form_token, post, send

PEOPLE = {"owner": "ada", "keeper": "ben", "helper": "cleo", "read-only": "dov"}
ROLES = (*PEOPLE, "wall", "nobody")

ALL = {*PEOPLE, "wall"}
LOOKERS = set(PEOPLE)
HANDS = {"owner", "keeper", "helper"}
KEEPERS = {"owner", "keeper"}
MONEY = {"owner", "keeper", "read-only"}
OWNERS = {"owner"}
ANYBODY = {*ALL, "nobody"}

WHO: dict[str, set[str]] = {
    "GET /api/beat": ALL,
    "GET /": LOOKERS,
    "GET /vats/{vat}": LOOKERS,
    "POST /vats/{vat}/clean": KEEPERS,
    "POST /vats/{vat}/reading": HANDS,
    "GET /space": LOOKERS,
    "GET /work": LOOKERS,
    "POST /done": HANDS,
    "GET /batches": LOOKERS,
    "GET /batches/{batch}": LOOKERS,
    "GET /batches/{batch}/acclimation": LOOKERS,
    "GET /batches/{batch}/print/{what}.pdf": LOOKERS,
    "POST /batches/{batch}/undo": HANDS,
    "POST /batches/{batch}/finding": HANDS,
    "POST /batches/{batch}/move": KEEPERS,
    "POST /batches/{batch}/cut": KEEPERS,
    "POST /batches/{batch}/hold": KEEPERS,
    "POST /batches/{batch}/lift": KEEPERS,
    "GET /deliveries": LOOKERS,
    "GET /deliveries/new": OWNERS,
    "POST /deliveries/new": OWNERS,
    "GET /deliveries/{shipment}": LOOKERS,
    "GET /deliveries/{shipment}/day": LOOKERS,
    "POST /deliveries/{shipment}/delay": KEEPERS,
    "GET /deliveries/{shipment}/print/{what}.pdf": LOOKERS,
    "POST /deliveries/{shipment}/receive": KEEPERS,
    "GET /plan": LOOKERS,
    "POST /plan/propose": OWNERS,
    "POST /plan/pin": OWNERS,
    "POST /plan/accept": OWNERS,
    "POST /plan/clear": OWNERS,
    "POST /plan/timetable": OWNERS,
    "GET /claims": MONEY,
    "GET /claims/{shipment}": MONEY,
    "GET /claims/{shipment}/claim.pdf": MONEY,
    "GET /claims/{shipment}/claim.csv": MONEY,
    "POST /claims/{shipment}/state": OWNERS,
    "GET /print/suppliers.pdf": MONEY,
    "GET /print/{what}.pdf": LOOKERS,
    "GET /losses": LOOKERS,
    "GET /losses/common": LOOKERS,
    "GET /contacts": LOOKERS,
    "GET /calendars": LOOKERS,
    "POST /calendars/create": LOOKERS,
    "POST /calendars/{feed}/revoke": LOOKERS,
    "GET /people": LOOKERS,
    "POST /people/invite": OWNERS,
    "POST /people/pin": LOOKERS,
    "POST /people/devices/{device}/revoke": LOOKERS,
    "GET /join/{code}": ANYBODY,
    "POST /join/{code}": ANYBODY,
    "GET /sign-in": ANYBODY,
    "POST /sign-in": ANYBODY,
    "POST /sign-out": LOOKERS,
    "GET /api/facts": LOOKERS,
    "POST /api/count": HANDS,
    "POST /api/undo": HANDS,
    "POST /api/photo": HANDS,
    "GET /count": HANDS,
    "GET /round": HANDS,
    "POST /count": HANDS,
    "POST /photos": HANDS,
    "GET /photos/{name}.jpg": LOOKERS,
    "GET /api/live": ALL,
    "GET /api/openapi.json": LOOKERS,
    "POST /vats/{vat}/close": KEEPERS,
    "POST /vats/{vat}/open": KEEPERS,
    "POST /vats/{vat}/replumb": KEEPERS,
    "POST /vats/{vat}/carried": KEEPERS,
    "GET /readings": LOOKERS,
    "POST /readings/file": HANDS,
    "GET /release": LOOKERS,
    "GET /more": LOOKERS,
    "GET /search": LOOKERS,
    "GET /journal": LOOKERS,
    "POST /journal/undo": HANDS,
    "GET /wall": ALL,
    "GET /batches/{batch}/order": KEEPERS,
    "POST /batches/{batch}/order": KEEPERS,
    "POST /batches/{batch}/rebook": KEEPERS,
    "POST /deliveries/{shipment}/amend": OWNERS,
    "POST /deliveries/{shipment}/cancel": OWNERS,
    "POST /deliveries/{shipment}/day/plan": KEEPERS,
    "POST /deliveries/{shipment}/day/opened": KEEPERS,
    "POST /deliveries/{shipment}/day/slipped": KEEPERS,
    "GET /plan/what-if": OWNERS,
    "POST /plan/what-if": OWNERS,
    "GET /capacity": OWNERS,
    "POST /capacity": OWNERS,
    "GET /capacity/curve.pdf": OWNERS,
    "GET /season": OWNERS,
    "POST /season": OWNERS,
    "POST /season/stop": OWNERS,
    "GET /season/plan.pdf": OWNERS,
    "GET /reports/{report}": LOOKERS,
    "GET /sample": LOOKERS,
    "GET /farm": OWNERS,
    "POST /farm/check": OWNERS,
    "POST /farm/backup": OWNERS,
    "GET /farm/backup.zip": OWNERS,
    "POST /farm/stock": OWNERS,
    "POST /farm/history": OWNERS,
    "POST /people/new": OWNERS,
    "POST /people/scripts": OWNERS,
    "GET /c": ANYBODY,
    "GET /s/{build}/{name}": ANYBODY,
    "GET /robots.txt": ANYBODY,
    "GET /worker.js": ANYBODY,
}
"""Method and address → roles that are let in."""

OWN = {
    "POST /people/pin",
    "POST /people/devices/{device}/revoke",
    "POST /calendars/create",
    "POST /calendars/{feed}/revoke",
}
"""Open to all for their own things; what is somebody else's is refused inside, which other tests try."""
SEARCH = {
    *("POST /plan/propose", "POST /plan/timetable", "POST /plan/what-if", "POST /capacity", "POST /season"),
    *("POST /farm/check", "POST /farm/backup", "POST /deliveries/{shipment}/day/plan"),
}
"""Searches of many seconds: only their refusals are tried."""
METHODS = ("GET", "POST", "PUT", "DELETE", "PATCH")
NAMES = {
    "vat": "Q2",
    "batch": "S1-01",
    "shipment": "S1",
    "what": "sheets",
    "feed": "F9",
    "report": "reasons",
    "device": "D99",
    "code": "x",
}


def where(path: str) -> str:
    """An address of this pattern."""
    return re.sub(r"\{(\w+)\}", lambda name: NAMES.get(name[1], "x"), path)


@pytest.fixture(scope="module")
def farm(shared: Starlette) -> Starlette:
    """The board that all rows share."""
    return shared


def entered(app: Starlette, role: str) -> TestClient:
    """A browser of somebody of this role."""
    client = TestClient(app, headers=dict(ORIGIN), raise_server_exceptions=False)
    if role != "nobody":
        with app.state.farm.writing() as house:
            _, code = devices.invite(house, PEOPLE.get(role, "ada"), kind="wall" if role == "wall" else "")
        assert client.post(f"/join/{code}", data={"label": role}, follow_redirects=False).status_code == 303
    return client


def ask(client: TestClient, method: str, path: str, *, signed: bool) -> int:
    """Status of one request, as a page of this browser would send it."""
    token = form_token(client) if signed else ""
    data = {"form_token": token, "key": "k" * 20} if method != "GET" else None
    answer = client.request(method, where(path), data=data, headers={"x-vatside-form": token}, follow_redirects=False)
    if answer.status_code == 303 and answer.headers["location"] in ("/sign-in", "/wall") and method == "GET":
        return 403
    return answer.status_code


def test_the_table_here_names_every_address() -> None:
    """A new page is closed to everybody until it is named above."""
    told = {f"{method} {route.path}" for route in routes() for method in (route.methods or set()) - {"HEAD"}}
    assert {one for one in told if BASE not in one} == set(WHO)


def test_each_page_has_the_same_address_for_programs(farm: Starlette) -> None:
    """As JSON, under the same right; doors and the phones' own script have none."""
    told = {f"{method} {route.path}" for route in routes() for method in (route.methods or set()) - {"HEAD"}}
    programs = {f"{way.method} {address(way.path)}" for way in WAYS if for_programs(way)}
    assert {one for one in told if BASE in one} == programs
    helper, stranger, wrong = entered(farm, "helper"), entered(farm, "nobody"), []
    for way in WAYS:
        if not for_programs(way) or way.method != "GET":
            continue
        path = where(address(way.path))
        answer = helper.get(path, follow_redirects=False)
        allowed = "helper" in WHO[f"GET {way.path}"]
        if (answer.status_code in (401, 403)) is allowed or stranger.get(path).status_code != 401:
            wrong.append((path, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("role", ROLES)
def test_role_by_route_by_method(farm: Starlette, role: str) -> None:
    """Let in where the table says so, else 401 or 403 with nothing written; a method no address has is 405."""
    client, wrong = entered(farm, role), []
    for path in sorted({named.partition(" ")[2] for named in WHO}):
        for method in METHODS:
            named = f"{method} {path}"
            if named in ("POST /sign-out", "POST /join/{code}", "POST /sign-in") or (
                named in SEARCH and role == "owner"
            ):
                continue
            before = entries_of(farm)
            status = ask(client, method, path, signed=role != "nobody")
            allowed = role in WHO.get(named, ALL)
            if named not in WHO:
                # /deliveries/new is also a word in the place of a shipment: what counts is that nothing is served
                ok = status == 405
            elif allowed:
                ok = status not in (401, 403) or (named in OWN and role != "owner")
            else:
                ok = status in (401, 403) and entries_of(farm) == before
            wrong += [] if ok else [(named, role, status)]
    assert wrong == []


def test_the_rights_of_the_board_are_those_of_the_table_here() -> None:
    """The board's own table gives each address to the same roles as the one written down here."""
    for way in WAYS:
        roles = ANYBODY if way.right == "open" else set(roles_with(way.right))
        assert roles == WHO[f"{way.method} {way.path}"], (way.method, way.path)
        assert way.right == "open" or way.right in RIGHTS


ACTS: dict[str, tuple[str, dict[str, str], set[str]]] = {
    "hold": ("/batches/S1-01/hold", {"reason": "white spots seen"}, KEEPERS),
    "move": ("/batches/S1-01/move", {"count": "5", "source": "Q1", "target": "Q2"}, KEEPERS),
    "vat closed": ("/vats/Q3/close", {"reason": "crack in the glass"}, KEEPERS),
    "finding": ("/batches/S1-01/finding", {"what": "clean", "vat": "Q1"}, HANDS),
    "reading": ("/vats/Q1/reading", {"quantity": "temperature_c", "value": "26.1"}, HANDS),
    "cleaned": ("/vats/Q3/clean", {}, KEEPERS),
    "count": ("/count", {"where": "S1-01@Q1", "dead": "1"}, HANDS),
}
"""Kind of act → its address and form, and who may do and undo it."""


@pytest.mark.parametrize("kind", [*ACTS, "received"])
@pytest.mark.parametrize("role", [*PEOPLE])
def test_an_act_is_undone_only_by_the_right_of_the_act(enter: Entering, app: Starlette, kind: str, role: str) -> None:
    """Through no door: not the batch's page, not the count page's script, not with a batch it is not about."""
    client, allowed = enter(PEOPLE[role]), {"receive": KEEPERS}.get(kind, KEEPERS)
    if kind == "received":
        key = next(one.key for one in app.state.farm.house().entries() if isinstance(one, Record) and one.kind == kind)
    else:
        address, form, allowed = ACTS[kind]
        assert post(enter("ada"), address, **form).status_code == 200
        key = next(
            one.key
            for one in reversed(app.state.farm.house().entries())
            if one.who == "ada"
            and not (isinstance(one, Record) and one.kind in ("feed", "timetable", "device", "despite"))
        )
    first, before = key.partition(".")[0], entries_of(app)
    other = post(client, "/batches/S1-02/undo", entry=key)
    assert other.status_code in (403, 422)
    scripted = send(client, "/api/undo", key="u" * 20, undoes=first)
    if kind == "count" and role in allowed:
        assert scripted.status_code == 201
        return
    assert scripted.status_code in (403, 422)
    assert entries_of(app) == before
    mine = post(client, "/batches/S1-01/undo", entry=key)
    if role not in allowed:
        assert mine.status_code in (403, 422)
        assert entries_of(app) == before


def test_a_helper_reads_no_prices(enter: Entering) -> None:
    """Neither on the pages of money, nor a link or a clock of a claim on others."""
    cleo, ben = enter("cleo"), enter("ben")
    for path in ("/", "/deliveries/S1", "/batches/S1-01", "/work"):
        page = cleo.get(path)
        assert page.status_code == 200
        assert "/claims" not in page.text, path
        assert not re.search(r"\d\s?(EUR|USD)", page.text), path
    assert "/claims/S1" in ben.get("/deliveries/S1").text
