"""A small invented farm behind the board: one delivery received, work due, four people of four roles."""

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.app.access import devices
from intake.app.commands import receive_shipment, schedule_work
from intake.app.session import House, open_house
from intake.board.asgi_app import board
from intake.board.middleware import Tries
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.conftest import FARM, NOON, VAT

HOST = "testserver"
ORIGIN = {"origin": f"http://{HOST}"}
PEOPLE = """
[person.cleo]
role = "helper"
[person.dov]
role = "read-only"
"""


class Clock:
    """The board's clock, turned by hand."""

    def __init__(self, moment: datetime) -> None:
        self.moment = moment

    def __call__(self) -> datetime:
        """Read it."""
        return self.moment

    def turn(self, **by: float) -> None:
        """Turn it on."""
        self.moment += timedelta(**by)


def announce(house: House, lands: datetime, *counts: int) -> None:
    """Announce S1 with an accepted plan: clams to Q1 for six weeks, then to G1; ten of the last line without a place."""
    first, middle, last = ((house.today + timedelta(days=days)).isoformat() for days in (0, 42, 60))
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": lands.isoformat()})
        rows = []
        for line, number in enumerate(counts, start=1):
            batch = Batch(
                f"S1-{line:02d}", "Tridacna maxima", "clam_small", 40.0, number, "S1", line, "one", ("1", "2")
            )
            act.note("batch", batch.id, batch_payload(batch))
            placed = number - 10 if line == len(counts) else number
            rows += [
                {"batch": batch.id, "vat": vat, "stage": stage, "count": placed, "from": start, "until": until}
                for vat, stage, start, until in (("Q1", "quarantine", first, middle), ("G1", "grow-out", middle, last))
            ]
        plan = {"plan": "P1", "status": "short", "announced": sum(counts), "placed": sum(counts) - 10}
        plan |= {"placements": rows, "placed_bound": sum(counts) - 10, "seconds": 1.0}
        plan |= {"objectives": [], "moves": [], "short": [], "relief": []}
        act.note("plan", "P1", {"state": "accepted", "plan": plan, "facts": {"day_zero": first}})


def write_farm(folder: Path, noon: datetime = NOON) -> Path:
    """Write the farm, take its delivery in and schedule the work; the books end three hours after noon."""
    folder.mkdir(parents=True, exist_ok=True)
    vats = [("Q1", "quarantine"), ("Q2", "quarantine"), ("Q3", "quarantine"), ("G1", "growout"), ("G2", "growout")]
    text = FARM + PEOPLE + "".join(VAT.format(name=name, system=system) for name, system in vats)
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    for hours, act in ((0, "expect"), (3, "receive"), (3, "schedule")):
        house = open_house(folder, who="ada", now=noon + timedelta(hours=hours))
        if act == "expect":
            announce(house, noon + timedelta(hours=2), 100, 50)
        elif act == "receive":
            receive_shipment.receive(house, "S1")
        else:
            schedule_work.reschedule(house, seconds=0)
        house.books.close()
    return folder


@pytest.fixture(scope="session")
def written_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The farm, written once."""
    return write_farm(tmp_path_factory.mktemp("board") / "farm")


@pytest.fixture
def folder(written_farm: Path, tmp_path: Path) -> Path:
    """A copy of the farm for one test."""
    return Path(shutil.copytree(written_farm, tmp_path / "farm"))


@pytest.fixture
def clock() -> Clock:
    """Four hours after noon, when the delivery has been in its vats for an hour."""
    return Clock(NOON + timedelta(hours=4))


@pytest.fixture
def app(folder: Path, clock: Clock) -> Iterator[Starlette]:
    """The board of the farm; its sign-in limit never runs out by time in a test."""
    made = board(folder, {HOST}, clock, Tries(clock=lambda: 0.0))
    made.state.pulse.longest_s = 0.0  # a stream says one beat and ends
    yield made
    made.state.jobs.wait(30)
    made.state.watch.wait(30)
    made.state.farm.close()


@pytest.fixture(scope="module")
def shared(written_farm: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Starlette]:
    """A board of a farm of its own that all examples of a module share, without a limit of tries."""
    clock = Clock(NOON + timedelta(hours=4))
    folder = Path(shutil.copytree(written_farm, tmp_path_factory.mktemp("shared") / "farm"))
    made = board(folder, {HOST}, clock, Tries(each=10**9, person=10**9, together=10**9, clock=lambda: 0.0))
    made.state.pulse.longest_s = 0.0
    yield made
    made.state.jobs.wait(60)
    made.state.watch.wait(60)
    made.state.farm.close()


Entering = Callable[..., TestClient]


@pytest.fixture
def enter(app: Starlette) -> Iterator[Entering]:
    """Sign a person in on a device of their own: gives a browser that sends what browsers send."""
    opened: list[TestClient] = []

    def sign_in(person: str = "ada", *, shared: bool = False) -> TestClient:
        with app.state.farm.writing() as house:
            _, code = devices.invite(house, person, shared=shared)
        client = TestClient(app, headers=dict(ORIGIN))
        opened.append(client)
        answer = client.post(f"/join/{code}", data={"label": "a test"})
        assert answer.status_code == 200
        return client

    yield sign_in
    for client in opened:
        client.close()


def form_token(client: TestClient) -> str:
    """What the forms shown to this browser carry."""
    return devices.form_token(client.cookies["vatside"])


def post(client: TestClient, where: str, /, *, follow: bool | str = True, **fields: str) -> Any:
    """Post a form as the page would."""
    sealed = {"form_token": form_token(client), "key": "the-form-of-this-test"} | fields
    return client.post(where, data=sealed, follow_redirects=bool(follow))


def send(client: TestClient, where: str, /, **body: object) -> Any:
    """Post JSON as the count page would."""
    return client.post(where, json=body, headers={"x-vatside-form": form_token(client)})


def entries_of(app: Starlette) -> int:
    """How many entries the books hold."""
    return len(app.state.farm.house().entries())
