"""Only invited devices come in, only with their role's rights, and nothing secret is kept in the books."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient

from intake.app.access import devices, pin_sign_in
from intake.app.commands.phones import sync_phone
from intake.app.session import open_house
from intake.board.middleware import Tries
from intake.errors import BadInput, Refused
from tests.board.conftest import ORIGIN, Clock, Entering, entries_of, form_token, post, send
from tests.conftest import NOON


@pytest.fixture
def stranger(app: Starlette) -> TestClient:
    """A browser nobody invited."""
    return TestClient(app, headers=dict(ORIGIN))


def test_a_stranger_sees_no_page(stranger: TestClient) -> None:
    """Every page but the data-free count shell and the sign-in page leads to the sign-in page."""
    for address in (
        "/",
        "/work",
        "/space",
        "/batches/S1-01",
        "/claims/S1/claim.pdf",
        "/calendars",
        "/people",
        "/count",
    ):
        answer = stranger.get(address, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in"), address
    assert stranger.get("/api/facts").status_code == 401
    shell = stranger.get("/c").text
    assert "S1-01" not in shell
    assert "Invented test farm" not in shell


def test_a_stranger_records_nothing(stranger: TestClient, app: Starlette) -> None:
    """Knowing an address is no right."""
    before = entries_of(app)
    for route in (one for one in app.routes if isinstance(one, Route)):
        if "POST" in (route.methods or ()) and not route.path.startswith(("/join", "/sign-in")):
            where = re.sub(r"\{[^}]+\}", "S1-01", route.path)
            assert stranger.post(where, data={"key": "k" * 20}).status_code == 401, where
    assert entries_of(app) == before


def test_an_invitation_works_once(app: Starlette, stranger: TestClient) -> None:
    """A link that is passed on, or found in a history, is worth nothing."""
    with app.state.farm.writing() as house:
        _, code = devices.invite(house, "ben")
    assert stranger.get(f"/join/{code}").status_code == 200  # looked at by a program first: not used up
    assert stranger.post(f"/join/{code}").status_code == 200
    assert stranger.get("/work").text.count("<h1>My tasks</h1>") == 1
    other = TestClient(app, headers=dict(ORIGIN))
    assert other.post(f"/join/{code}").status_code == 422
    assert other.get("/", follow_redirects=False).status_code == 303


def test_an_invitation_grows_old(app: Starlette, stranger: TestClient, clock: Clock) -> None:
    """Three days, then a new one is needed."""
    with app.state.farm.writing() as house:
        _, code = devices.invite(house, "ben")
    clock.turn(hours=73)
    assert stranger.post(f"/join/{code}").status_code == 422


def test_secrets_are_not_in_the_books(app: Starlette, enter: Entering, folder: Path) -> None:
    """Whoever reads the database cannot sign in with what is in it."""
    with app.state.farm.writing() as house:
        _, code = devices.invite(house, "cleo")
        pin_sign_in.set_pin(house, "cleo", "314159")
    token = enter("ben").cookies["vatside"]
    kept = b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())
    for secret in (code, token, "314159"):
        assert secret.encode() not in kept


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(app: Starlette) -> None:
    """HttpOnly and SameSite always, Secure over https; over plain http a Secure cookie would never come back."""
    for scheme in ("http", "https"):
        with app.state.farm.writing() as house:
            _, code = devices.invite(house, "ben")
        base = f"{scheme}://testserver"
        client = TestClient(app, base_url=base, headers={"origin": base})
        cookie = client.post(f"/join/{code}", follow_redirects=False).headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=lax" in cookie
        assert ("secure" in cookie) == (scheme == "https")


def test_a_revoked_device_is_out_at_once(enter: Entering) -> None:
    """A lost phone."""
    owner, ben = enter("ada"), enter("ben")
    device = re.findall(r"<b>(D\d+)</b> ben", owner.get("/people").text)[-1]
    assert ben.get("/work").status_code == 200
    post(owner, f"/people/devices/{device}/revoke")
    assert ben.get("/work", follow_redirects=False).status_code == 303
    assert send(ben, "/api/count", key="k" * 20, batch="S1-01", vat="Q1", dead=1).status_code == 401


def test_who_has_left_the_farm_file_is_out(enter: Entering, folder: Path) -> None:
    """Striking a person from farm.toml is enough; no second list of users is kept."""
    ben = enter("ben")
    file = folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[person.ben]", "[person.eva]"), encoding="utf-8")
    assert ben.get("/work", follow_redirects=False).status_code == 303


ACTS = {
    "/done": {"helper"},
    "/vats/Q2/reading": {"helper"},
    "/batches/S1-01/finding": {"helper"},
    "/batches/S1-01/undo": {"helper"},
    "/count": {"helper"},
    "/photos": {"helper"},
    "/batches/S1-01/move": {"keeper"},
    "/batches/S1-01/cut": {"keeper"},
    "/batches/S1-01/hold": {"keeper"},
    "/batches/S1-01/lift": {"keeper"},
    "/vats/Q2/clean": {"keeper"},
    "/deliveries/S1/receive": {"keeper"},
    "/claims/S1/state": {"owner"},
    "/deliveries/S1/delay": {"keeper"},
    "/deliveries/new": {"owner"},
    "/plan/propose": {"owner"},
    "/plan/accept": {"owner"},
    "/plan/clear": {"owner"},
    "/plan/timetable": {"owner"},
    "/people/invite": {"owner"},
}
RANK = ("read-only", "helper", "keeper", "owner")
WHO = dict(zip(RANK, ("dov", "cleo", "ben", "ada"), strict=True))


def test_each_act_needs_its_role(enter: Entering, app: Starlette) -> None:
    """Too low a role is refused with 403 and nothing is written; the lowest allowed role is not."""
    browsers = {role: enter(person) for role, person in WHO.items()}
    for where, (lowest,) in ACTS.items():
        for role in RANK[: RANK.index(lowest)]:
            before = entries_of(app)
            assert post(browsers[role], where).status_code == 403, (where, role)
            assert entries_of(app) == before
        assert post(browsers[lowest], where).status_code != 403, where


def test_only_an_owner_ends_somebody_elses_device(enter: Entering) -> None:
    """And everybody their own."""
    ada, ben = enter("ada"), enter("ben")
    devices = re.findall(r"<b>(D\d+)</b> (\w+)", ada.get("/people").text)
    hers = next(device for device, who in devices if who == "ada")
    assert post(ben, f"/people/devices/{hers}/revoke").status_code == 403
    assert ada.get("/work").status_code == 200


def test_people_sign_in_on_a_shared_device_by_pin(enter: Entering, app: Starlette) -> None:
    """The tablet at the tubs: each signs with their own name, and out again."""
    with app.state.farm.writing() as house:
        pin_sign_in.set_pin(house, "ben", "271828")
        pin_sign_in.set_pin(house, "cleo", "161803")
    tablet = enter("ada", shared=True)
    assert tablet.get("/", follow_redirects=False).headers["location"] == "/sign-in"
    assert "ben" in tablet.get("/sign-in").text
    assert post(tablet, "/sign-in", person="ben", pin="161803").status_code == 422
    assert post(tablet, "/sign-in", person="ben", pin="271828").status_code == 200
    told = send(tablet, "/api/count", key="k" * 20, batch="S1-01", vat="Q1", dead=1)
    assert told.status_code == 201
    assert {entry.who for entry in sync_phone.seen(app.state.farm.house(), "k" * 20)} == {"ben"}
    post(tablet, "/sign-out")
    assert tablet.get("/work", follow_redirects=False).headers["location"] == "/sign-in"
    post(tablet, "/sign-in", person="cleo", pin="161803")
    late = send(tablet, "/api/count", key="m" * 20, who="ben", batch="S1-01", vat="Q1", dead=2)
    assert late.status_code == 403
    assert "ben" in late.json()["said"][0]


def test_a_pin_does_not_open_a_device_of_ones_own(enter: Entering, app: Starlette, stranger: TestClient) -> None:
    """A PIN is short: it is good only on devices an owner has invited as shared."""
    with app.state.farm.writing() as house:
        pin_sign_in.set_pin(house, "ada", "271828")
    assert stranger.post("/sign-in", data={"person": "ada", "pin": "271828"}).status_code == 422
    ben = enter("ben")
    assert post(ben, "/sign-in", person="ada", pin="271828").status_code == 422


def test_guessing_pins_is_slowed(enter: Entering, app: Starlette) -> None:
    """Eight wrong tries a minute, then even the right one must wait."""
    with app.state.farm.writing() as house:
        pin_sign_in.set_pin(house, "ben", "271828")
    tablet = enter("ada", shared=True)
    codes = [post(tablet, "/sign-in", person="ben", pin=f"00000{number}").status_code for number in range(9)]
    assert codes == [422] * 8 + [429]
    assert post(tablet, "/sign-in", person="ben", pin="271828").status_code == 429


def test_tries_are_forgotten_after_a_minute_and_limited_in_all() -> None:
    """Many addresses guessing together are slowed too, those that have not failed a little later."""
    clock = [0.0]
    tries = Tries(each=3, together=5, reserve=1, clock=lambda: clock[0])
    for _ in range(3):
        tries.failed("one")
    assert not tries.allowed("one")
    assert tries.allowed("two")
    tries.failed("two")
    tries.failed("three")
    assert not tries.allowed("two")
    assert tries.allowed("four")
    tries.failed("five")
    assert not tries.allowed("four")
    clock[0] = 61.0
    assert tries.allowed("one")


@pytest.mark.parametrize("pin", ["", "12345", "111111", "12345a", "١٢٣٤٥٦", "1" * 13])
def test_a_weak_pin_is_refused(folder: Path, pin: str) -> None:
    """Six digits at the least, and not all the same."""
    house = open_house(folder)
    with pytest.raises(BadInput):
        pin_sign_in.set_pin(house, "ben", pin)
    house.books.close()


def test_a_helper_cannot_set_anothers_pin(enter: Entering) -> None:
    """Or they could sign as somebody else."""
    cleo = enter("cleo")
    assert post(cleo, "/people/pin", person="ada", pin="271828", again="271828").status_code == 403
    assert post(cleo, "/people/pin", pin="271828", again="271829").status_code == 422
    assert "PIN of cleo set" in post(cleo, "/people/pin", pin="271828", again="271828").text


def test_redeeming_without_an_invitation_is_one_answer(folder: Path) -> None:
    """Never made, used and revoked look the same to who guesses."""
    house = open_house(folder, now=NOON + timedelta(hours=4))
    identity, revoked = devices.invite(house, "ben")
    devices.revoke(house, identity)
    answers = set()
    for code in ("never-made", revoked):
        with pytest.raises(Refused) as caught:
            devices.redeem(house, code)
        answers.add(str(caught.value))
    assert len(answers) == 1
    house.books.close()


def test_the_token_in_forms_tells_nothing_of_the_cookie(enter: Entering) -> None:
    """It stands in pages, where the cookie must never be."""
    client = enter("ben")
    page = client.get("/people").text
    assert form_token(client) in page
    assert client.cookies["vatside"] not in page
