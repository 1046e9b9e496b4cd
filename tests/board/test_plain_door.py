"""The plain-http port beside https: it shows how to trust the farm, hands out the certificate, and sends on all else."""

from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from intake.app.access.farm_certificates import secured
from intake.app.board_links import count_address, page_address, remember_board
from intake.app.session import open_house
from intake.board.api.secure_door import OwnTls, plain_door
from tests.conftest import NOON

HOSTS = {"farm.lan", "10.20.0.5", "localhost"}


@pytest.fixture
def door(tmp_path: Path) -> TestClient:
    """The door of a farm with an authority."""
    told = secured(tmp_path, "Invented farm", HOSTS, NOON)
    app = plain_door(tmp_path, "Invented farm", HOSTS, told, 8643)
    return TestClient(app, base_url="http://farm.lan:8642", follow_redirects=False)


def test_the_page_shows_code_fingerprint_and_steps_for_each_phone(door: TestClient, tmp_path: Path) -> None:
    """What a phone needs before it trusts anything; the file is the certificate alone, never a key."""
    page = door.get("/")
    assert page.status_code == 200
    for words in ("Android", "iPhone", "Computer", "SHA-256", "QR code of this page", "https://farm.lan:8643/"):
        assert words in page.text, words
    file = door.get("/authority.crt")
    assert file.headers["content-type"] == "application/x-x509-ca-cert"
    assert b"PRIVATE" not in file.content
    assert secured(tmp_path, "Invented farm", HOSTS, NOON).fingerprint in page.text


@pytest.mark.parametrize(
    "path",
    ["/c", "/work?who=mine", "/cal/token/name.ics", "/tls/authority.key", "/authority.key"],
)
def test_everything_else_goes_on_to_https_of_the_same_host(door: TestClient, path: str) -> None:
    """Printed codes of the old address still lead to the board; nothing of the farm is served here."""
    answer = door.get(path)
    assert answer.status_code == 307
    assert answer.headers["location"].startswith("https://farm.lan:8643/")


def test_counts_of_an_old_page_stay_on_the_phone_and_strangers_hosts_are_refused(door: TestClient) -> None:
    """503 keeps a count in the phone's list with the reason; a host that is not the farm's is not answered."""
    answer = door.post("/api/count", json={})
    assert answer.status_code == 503
    assert "moved to https://farm.lan:8643" in answer.json()["said"][0]
    assert door.get("/", headers={"host": "bank.example"}).status_code == 421
    assert door.post("/plan/accept").status_code == 405


def test_the_port_of_https_is_the_next_one_unless_named() -> None:
    """Any free port beside any free port."""
    assert [OwnTls().beside(8642), OwnTls(443).beside(8642), OwnTls().beside(0)] == [8643, 443, 0]


def test_links_on_paper_and_in_calendars_follow_https_once_it_served(folder: Path) -> None:
    """Before: the bare batch, for the address is not known. After serve with --tls: the count page by https."""
    house = open_house(folder, who="ada", now=NOON + timedelta(hours=5))
    try:
        assert count_address(house, "S1-01") == "S1-01"
        assert remember_board(house, "https://farm.lan:8643")
        assert count_address(house, "S1-01") == "https://farm.lan:8643/c#S1-01"
        assert page_address(house, "/work") == "https://farm.lan:8643/work"
    finally:
        house.books.close()
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    page = 'count_page = "http://{}:8642/c"\n'
    for host, expected in (("farm.lan", "https://farm.lan:8643"), ("other.lan", "http://other.lan:8642")):
        (folder / "farm.toml").write_text(text.replace("[farm]\n", "[farm]\n" + page.format(host), 1), encoding="utf-8")
        house = open_house(folder, who="ada", now=NOON + timedelta(hours=5))
        try:
            assert count_address(house, "S1-01") == f"{expected}/c#S1-01"
            assert page_address(house, "/work") == f"{expected}/work"
        finally:
            house.books.close()
