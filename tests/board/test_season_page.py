"""The season on the board: file or text in, calculated beside the pages, stopped when asked, printed; prices for owners only."""

from __future__ import annotations

from html import unescape
from threading import Event
from typing import Any

import pytest
from starlette.applications import Starlette

from intake.app.queries.season.season_answer import SeasonAnswer, plan_season
from intake.app.queries.season.season_example import EXAMPLE
from intake.board.pages import season
from tests.board.conftest import Entering, entries_of, form_token


def ask(client: Any, text: str = "", file: bytes = b"", **fields: str) -> Any:
    """Send the form; seconds 2 unless given."""
    data = {"form_token": form_token(client), "key": "k" * 20, "text": text, "seconds": "2"} | fields
    files = {"list": ("mine.toml", file, "application/toml")} if file else None
    return client.post("/season", data=data, files=files, follow_redirects=False)


def test_a_season_is_planned_shown_and_printed_and_nothing_is_kept(enter: Entering, app: Starlette) -> None:
    """As text and as a file; the page has picture, orders and the text to change; a program gets the same figures."""
    ada = enter("ada")
    before = entries_of(app)
    assert "An example to start from" in ada.get("/season").text
    assert ada.get("/season/plan.pdf").status_code == 422, "nothing was planned yet"
    for text, file, worth in ((EXAMPLE, b"", ""), ("", EXAMPLE.encode(), "yes")):
        assert ask(ada, text, file, worth=worth).status_code == 303
        app.state.jobs.wait(60)
        job = app.state.jobs.last("season")
        assert job.wrong == ""
    page = ada.get("/season").text
    assert "<svg" in page
    assert "Quarantine, share of bench area used" in page
    assert "What more room would be worth" in page
    assert "[kind.maxima]" in page.partition("<textarea")[2].partition("</textarea>")[0]
    told = ada.get("/api/v1/season").json()
    assert told["facts"]["margin"] == job.answer.as_dict()["margin"]
    assert ada.get("/season/plan.pdf").content.startswith(b"%PDF")
    assert ada.get("/season/plan.pdf?paper=a3").content != ada.get("/season/plan.pdf").content
    assert ada.get("/season/plan.pdf?paper=a9").status_code == 422
    assert entries_of(app) == before


@pytest.mark.parametrize(
    ("text", "fields", "words"),
    [
        ("", {}, "a file, or its text"),
        ("kind,price\nclams,3\n", {}, "TOML"),
        (EXAMPLE.replace("price = 16", "price = -1"), {}, "price"),
        (EXAMPLE.replace("clam_small", "clam_smal"), {}, "clam_small"),
        (EXAMPLE, {"seconds": "9999"}, "300"),
    ],
)
def test_a_fault_is_told(enter: Entering, app: Starlette, text: str, fields: dict[str, str], words: str) -> None:
    """At once where the file alone shows it, on the page where the farm's library does."""
    ada = enter("ada")
    answer = ask(ada, text, b"", **fields)
    if answer.status_code == 303:
        app.state.jobs.wait(60)
        assert words in ada.get("/season").text
    else:
        assert answer.status_code == 422
        assert words in answer.text
        kept = unescape(answer.text.partition("<textarea")[2].partition("</textarea>")[0])
        assert not text or text.splitlines()[0] in kept, "what was typed is there to correct, line by line"


def test_a_search_is_stopped_and_a_second_is_not_begun(
    enter: Entering, app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search goes on until it is told to stop; another one meanwhile is refused in words; the best is kept."""
    asked = Event()

    def patient(house: Any, terms: Any, *, report: Any, **more: Any) -> SeasonAnswer:
        while not report(1.0, 2.0, "some weeks again"):
            asked.wait(0.01)
        return plan_season(house, terms, report=lambda *_: True, **more)

    monkeypatch.setattr(season, "plan_season", patient)
    ada = enter("ada")
    assert "Nothing is being calculated" in _stop(ada)
    assert ask(ada, EXAMPLE).headers["location"] == "/season"
    assert "Stop and keep the best so far" in ada.get("/season").text
    assert ask(ada, EXAMPLE).status_code == 303
    assert "Something else is being calculated" in ada.get("/season").text
    assert "best plan found so far is kept" in _stop(ada)
    app.state.jobs.wait(60)
    assert "Stopped: this is the best plan found so far." in ada.get("/season").text


def _stop(client: Any) -> str:
    data = {"form_token": form_token(client), "key": "s" * 20}
    return str(client.post("/season/stop", data=data, follow_redirects=True).text)
