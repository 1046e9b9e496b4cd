"""When the board's computer fails: clear words, nothing lost, and a phone that keeps its counts until they can be written."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import text
from starlette.applications import Starlette

from intake.app.farm_folder import check_house
from intake.app.queries.planning import packing_list
from intake.board.pages import list_questions
from intake.errors import BadInput, Finding
from intake.ledger import balances
from tests.board.conftest import Clock, Entering, entries_of, post, send

COUNT: dict[str, object] = {"key": "0123456789abcdef", "batch": "S1-01", "vat": "Q1", "dead": 2}


def alive(app: Starlette) -> int:
    """Animals alive by the books."""
    return balances(app.state.farm.house().entries())["S1-01", "vat:Q1"]


@contextmanager
def held_by_another(folder: Path) -> Iterator[None]:
    """Somebody looks into the file with a database tool and leaves a transaction open."""
    raw = sqlite3.connect(folder / "farm.db", isolation_level=None)
    raw.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        raw.execute("ROLLBACK")
        raw.close()


def test_a_locked_database_keeps_the_count_on_the_phone(folder: Path, enter: Entering, app: Starlette) -> None:
    """503 is no verdict: the phone tries again under the same key, and it counts once."""
    ben = enter("ben")
    before = entries_of(app)
    with app.state.farm.house().books._writer.begin() as connection:
        connection.execute(text("PRAGMA busy_timeout = 50"))
    with held_by_another(folder):
        told = send(ben, "/api/count", **COUNT)
        assert told.status_code == 503
        assert "wait a moment" in told.json()["said"][0].lower()
        assert post(ben, "/count", where="S1-01@Q1", dead="1").status_code == 503
        assert ben.get("/").status_code == 200  # reading goes on
    assert entries_of(app) == before
    assert send(ben, "/api/count", **COUNT).status_code == 201
    assert send(ben, "/api/count", **COUNT).status_code == 200
    assert alive(app) == 98


def test_a_full_disk_keeps_the_count_on_the_phone(enter: Entering, app: Starlette) -> None:
    """Nothing is half written; when there is room again the same count goes in once."""
    ben = enter("ben")
    before = entries_of(app)
    writer = app.state.farm.house().books._writer
    with writer.begin() as connection:
        pages = connection.execute(text("PRAGMA page_count")).scalar_one()
        connection.execute(text(f"PRAGMA max_page_count = {pages}"))
    codes = []
    for number in range(300):
        told = send(ben, "/api/count", **COUNT | {"key": f"{number:016d}", "dead": 0, "weak": 1, "note": "x" * 400})
        codes.append(told.status_code)
        if told.status_code != 201:
            break
    assert codes[-1] == 503
    assert "free some space" in told.json()["said"][0].lower()
    assert entries_of(app) == before + len(codes) - 1
    with writer.begin() as connection:
        connection.execute(text("PRAGMA max_page_count = 1000000"))
    again = COUNT | {"key": f"{len(codes) - 1:016d}", "dead": 0, "weak": 1, "note": "x" * 400}
    assert send(ben, "/api/count", **again).status_code == 201
    assert check_house(app.state.farm.house()) == []


def test_a_clock_that_jumped_back_is_told_and_no_verdict_on_a_count(
    enter: Entering, app: Starlette, clock: Clock
) -> None:
    """A dead battery sets the board's computer back three days: the count waits on the phone, every page says why."""
    ben = enter("ben")
    before = entries_of(app)
    clock.turn(days=-3)
    told = send(ben, "/api/count", **COUNT)
    assert told.status_code == 503
    assert "Correct this computer's clock" in told.json()["said"][0]
    assert "clock is wrong" in ben.get("/").text
    for page in (
        "/work",
        "/space",
        "/batches",
        "/deliveries",
        "/plan",
        "/claims",
        "/losses",
        "/contacts",
        "/vats/Q1",
        "/people",
    ):
        assert ben.get(page).status_code == 200, page
    assert "Correct this computer&#39;s clock" in post(ben, "/count", where="S1-01@Q1", dead="1").text
    assert entries_of(app) == before
    clock.turn(days=3)
    assert "clock is wrong" not in ben.get("/").text
    assert send(ben, "/api/count", **COUNT).status_code == 201
    assert alive(app) == 98


def test_a_photo_that_cannot_be_stored_is_not_in_the_books(enter: Entering, app: Starlette, folder: Path) -> None:
    """A folder that cannot be made (a file stands in its place): reported in words, and the books name no picture."""
    import io

    from PIL import Image

    from tests.board.conftest import form_token

    (folder / "photos").write_text("not a folder", encoding="utf-8")
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(out, "JPEG")
    ben = enter("ben")
    before = entries_of(app)
    told = ben.post("/api/photo", data={"key": "0123456789abcdef", "batch": "S1-01"},
                    files={"photo": ("p.jpg", out.getvalue(), "image/jpeg")},
                    headers={"x-vatside-form": form_token(ben)})  # fmt: skip
    assert told.status_code == 503
    assert "Nothing was changed" in told.json()["said"][0]
    assert entries_of(app) == before


def test_an_answer_that_was_typed_counts_more_than_one_chosen(enter: Entering, monkeypatch: pytest.MonkeyPatch) -> None:
    """The form for a packing list offers both; what somebody took the trouble to type must arrive."""
    heard: list[dict[str, str]] = []

    def expect(*_: object, answers: dict[str, str], replaces: str) -> None:
        assert replaces == ""  # a new list corrects no other
        heard.append(answers)
        raise BadInput(Finding("list", "", "nothing more"))

    monkeypatch.setattr(packing_list, "expect", expect)
    monkeypatch.setattr(list_questions, "kept", lambda *_: {})  # there is no file behind the name
    fields = {"staged": "0123456789ab-list.csv", "supplier": "one", "lands": "2027-03-09T08:00"}
    said = {"ask:row 3": "clam", "say:row 3": " snail ", "ask:row 4": "coral", "say:row 4": " ", "say:row 5": "fish"}
    assert post(enter("ada"), "/deliveries/new", **fields | said).status_code == 422
    assert heard == [{"row 3": "snail", "row 4": "coral", "row 5": "fish"}]
