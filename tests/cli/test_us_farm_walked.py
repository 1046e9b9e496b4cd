"""The US farm walked from ``init`` to its claim: commands, papers, pages and calendars without °C, L, m², mm, kg or PSU.

The farm is invented.  What may still be metric stands in :data:`SAID`, each with its reason.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from intake.app import system_clock as clock
from intake.app.access import devices
from intake.board.asgi_app import board, routes
from intake.board.middleware import Tries
from intake.cli.command_table import vatside
from tests.board.conftest import HOST, ORIGIN, post
from tests.cli.conftest import AT
from tests.cli.test_us_farm import LIST, VATS
from tests.forms.reading import text_of

LANDED = datetime(2027, 3, 5, 15, tzinfo=UTC)
METRIC = re.compile(r"(?<![\w.,])\d[\d.,\u202f]*\s?(?:°C|mm|cm|m²|L/h|L|kg|PSU)(?![\w/²³])|°C|\bPSU\b")
SAID = {
    r"\(\d[\d.,\u202f]*(?:–[\d.,]+)? ?(?:L/h|L|kg|PSU)\)": "SI beside it: water, salt and baths are dosed by it",
    r"\bpsu, ppt\b": "the names of the ways to say salinity",
}
PAPERS = (
    "sheets",
    "checklists",
    "runsheet",
    "labels",
    "boxlabels",
    "water",
    "dips",
    "plan",
    "round",
    "history",
    "suppliers",
)
SHOWN = (
    ("check",), ("round",), ("release",), ("report", "vats"), ("report", "losses"), ("journal",), (), ("timetable",),
    ("claim", "S1"), ("stocklist",), ("acclimate", "--batch", "S1-01"), ("plan",), ("capacity", "--mix", "list.csv"),
    ("day", "S1"), ("acclimate", "--batch", "S1-01", "--minute", "15", "--temp", "75"), ("journal",), ("undo", "--yes"),
    ("readings", "logger.csv", "--vat", "Q2"), ("reading", "Q1", "temperature", "20"), ("reading", "Q1", "salinity", "20 ppt"),
    ("expect", "odd.csv", "--supplier", "lagoon", "--lands", "2027-03-12T09:00"), ("release",), ("trace", "--vat", "Q1"),
    ("water", "salt", "--litres", "100gal", "--salinity", "35", "--temp", "77"), ("report", "suppliers"), ("report", "alarms"),
)  # fmt: skip
LOGGED = "Time,Probe (°F)\n2027-03-05 09:00,79.1\n2027-03-05 09:15,79.3\n2027-03-05 09:30,90\n"
ODD = 'Box,Scientific name,Size,Qty\n1,Tridacna maxima,"30""",55\n2,Tridacna crocea,60 in,5\n3,Acropora sp.,2-3 in,30\n'


def metric_in(text: str) -> list[str]:
    """Metric figures of a text that nobody said may stand there, with what is around them."""
    bare = html.unescape(text)
    for pattern in SAID:
        bare = re.sub(pattern, "", bare)
    return [bare[max(found.start() - 50, 0) : found.end() + 20] for found in METRIC.finditer(bare)]


class Walk:
    """The farm, its commands at a moment, and everything it said."""

    def __init__(self, base: Path, salinity: str) -> None:
        self.base, self.farm, self.now = base, base / "farm", AT
        self.said: dict[str, str] = {}
        (base / "vats.csv").write_text(VATS, encoding="utf-8")
        (base / "list.csv").write_text(LIST, encoding="utf-8")
        (base / "logger.csv").write_text(LOGGED, encoding="utf-8")
        (base / "odd.csv").write_text(ODD, encoding="utf-8")
        words = [
            "init",
            str(self.farm),
            "--vats",
            str(base / "vats.csv"),
            "--units",
            "us",
            "--zone",
            "America/New_York",
        ]
        told = CliRunner().invoke(vatside, [*words, "--supplier", "Lagoon", "--currency", "USD"])
        self.said["init"] = told.output
        text = (self.farm / "farm.toml").read_text(encoding="utf-8")
        chosen = text.replace('units = "us"', f'units = "us"\nsalinity = "{salinity}"')
        assert chosen != text
        (self.farm / "farm.toml").write_text(chosen, encoding="utf-8")

    def give(self, *words: str) -> str:
        """A command on it; what it said is kept."""
        words = tuple(str(self.base / word) if word.endswith(".csv") else word for word in words)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(clock, "now", lambda: self.now)
            told = CliRunner().invoke(vatside, ["--farm", str(self.farm), *words])
        assert told.exception is None or isinstance(told.exception, SystemExit), told.exception
        self.said[" ".join(words) or "vatside"] = told.output
        return told.output

    def print(self, *papers: str) -> None:
        """Papers, read back as text."""
        for name in papers:
            self.give("print", name, "--out", str(self.base / name))
            pdfs = sorted((self.base / name).glob("*.pdf"))
            assert pdfs, (name, self.said[f"print {name} --out {self.base / name}"])
            self.said |= {f"paper {pdf.name}": text_of(pdf.read_bytes()) for pdf in pdfs}


@pytest.fixture(scope="module", params=["ppt", "sg 60F/60F"])
def walk(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Walk:
    """From the first day to the claim."""
    made = Walk(tmp_path_factory.mktemp("us"), request.param)
    made.give("expect", "list.csv", "--supplier", "lagoon", "--lands", "2027-03-05T09:00")
    made.give("plan", "--accept", "--seconds", "2")
    made.give("timetable")
    made.print(*PAPERS[:8])
    made.now = LANDED
    made.give("reading", "S1/1", "temperature", "72F")
    made.give("reading", "S1/1", "salinity", "33.9 ppt")
    made.give("receive", "S1")
    made.give("round", "--temp", "quarantine=79F")
    made.give("reading", "Q4", "temperature", "79.5")
    made.give("reading", "Q4", "temperature", "60")
    made.give("count", "S1-01", "--vat", "Q1", "--dead", "3", "--doa", "2")
    for words in SHOWN:
        made.give(*words)
    made.print(*PAPERS[3:4], *PAPERS[6:])
    made.give("print", "claim", "--shipment", "S1", "--out", str(made.base / "claims"))
    made.said["paper claim"] = text_of(next((made.base / "claims").glob("*.pdf")).read_bytes())
    made.give("feed", "--out", str(made.base / "farm.ics"))
    made.said["calendar"] = (made.base / "farm.ics").read_text(encoding="utf-8").replace("\n ", "")
    return made


@pytest.fixture
def pages(walk: Walk) -> Iterator[TestClient]:
    """A browser signed in on the farm's board."""
    made = board(walk.farm, {HOST}, lambda: walk.now, Tries(clock=lambda: 0.0))
    made.state.pulse.longest_s = 0.0
    with made.state.farm.writing() as house:
        _, code = devices.invite(house, "owner")
    client = TestClient(made, headers=dict(ORIGIN))
    assert client.post(f"/join/{code}", data={"label": "a test"}).status_code == 200
    yield client
    client.close()
    made.state.jobs.wait(30)
    made.state.watch.wait(30)
    made.state.farm.close()


def test_terminal_papers_and_calendars(walk: Walk) -> None:
    """Nothing metric but what is said to be."""
    found = {name: rows for name, text in walk.said.items() if (rows := metric_in(text))}
    assert not found
    every = " ".join(walk.said.values())
    assert "°F" in every
    assert "US gal (" in every
    assert ("SG" if "sg" in (walk.farm / "farm.toml").read_text(encoding="utf-8") else " ppt") in every


def test_pages(walk: Walk, pages: TestClient) -> None:
    """Every page of the board that a person may open."""
    parts = {
        "vat": "Q1",
        "batch": "S1-01",
        "shipment": "S1",
        "system": "quarantine",
        "name": "vats",
        "report": "permits",
    }
    seen = 0
    for route in routes():
        path = re.sub(r"\{(\w+)\}", lambda found: parts.get(found[1], found[0]), route.path)
        if "{" in path or "GET" not in (route.methods or ()) or path.startswith("/api"):
            continue
        answer = pages.get(path)
        if answer.status_code != 200 or "html" not in answer.headers["content-type"]:
            continue
        spoken = " ".join(re.findall(r'(?:aria-label|placeholder|title)="([^"]*)"', answer.text))
        text = re.sub(r"<script\b.*?</script>|<[^>]+>", " ", answer.text, flags=re.DOTALL)
        assert not metric_in(f"{text} {spoken}"), path
        seen += 1
    assert seen > 20


def test_a_reading_typed_on_a_page(walk: Walk, pages: TestClient) -> None:
    """In the farm's unit without one, in its own with one; programs still get SI."""
    page = pages.get("/vats/Q3").text
    quantity = re.search(r'<option value="(\w+)">temperature, °F', page)
    assert quantity
    shown = post(pages, "/vats/Q3/reading", quantity=quantity[1], value="79.2", key="first")
    assert "79.2 °F" in shown.text
    shown = post(pages, "/vats/Q3/reading", quantity=quantity[1], value="26.4 C", key="second")
    assert "79.5 °F" in shown.text
    assert json.loads(walk.give("round", "--json"))[0]["temperature_c"] < 30


def test_a_refusal_in_either_unit(walk: Walk) -> None:
    """The unit typed is the unit of the answer."""
    assert "60.0 °F at" in walk.said["reading Q4 temperature 60"]
    assert "There: 20.0 °F" in walk.said["reading Q1 temperature 20"], "below freezing is a reading, not a difference"
    assert "PSU" not in walk.said["reading Q1 salinity 20 ppt"]
    assert "vat:" not in walk.said["reading Q1 salinity 20 ppt"]
    refused = walk.give("reading", "Q4", "temperature", "40C")
    assert "40 °C at" in refused
    assert "°F" not in refused


def test_the_search_itself_finds_what_is_metric() -> None:
    """And lets pass what stands beside."""
    assert len(metric_in("26.4 °C in 480 L of 34.5 PSU")) == 3
    assert not metric_in("79.5 °F in 127 US gal (480 L), 2 mL, 4 mg/L")


def test_stock_in_inches(walk: Walk, tmp_path: Path) -> None:
    """A size with its unit, or bare in the farm's; kept in mm."""
    rows = "vat,name,group,size,count,since,stage\nG1,Tridacna maxima,clam_small,2,10,2027-03-01,released\n"
    rows += "G2,Tridacna maxima,clam_small,45 mm,10,2027-03-01,released\n"
    (tmp_path / "stock.csv").write_text(rows, encoding="utf-8")
    told = walk.give("stock", str(tmp_path / "stock.csv"), "--json")
    assert [
        row["size_mm"] for row in sorted(json.loads(walk.give("stocklist", "--json")), key=lambda one: one["size_mm"])
    ] == [45.0, 50.8], told
    assert "2.0 in" in walk.give("stocklist")
