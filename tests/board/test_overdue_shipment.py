"""A shipment that should have landed is asked about on its page: landed, later, or never, each one form."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from intake.app.queries.planning.announced_shipments import overdue, shipment_facts, waiting
from intake.app.session import open_house
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.board.conftest import Clock, Entering, post
from tests.conftest import NOON

QUESTION = "Landed: mark it as received. Later: save its new landing. Never: cancel it."


def expected(folder: Path, lands: datetime) -> None:
    """Announce S2, still to come."""
    house = open_house(folder, who="ada", now=NOON + timedelta(hours=4))
    with house.act() as act:
        act.note("shipment", "S2", {"supplier": "one", "lands": lands.isoformat()})
        batch = Batch("S2-01", "Tridacna maxima", "clam_small", 40.0, 20, "S2", 1, "one", ("1",))
        act.note("batch", batch.id, batch_payload(batch))
    house.books.close()


def test_an_overdue_shipment_is_asked_about_and_never_takes_it_from_the_plan(
    folder: Path, clock: Clock, enter: Entering
) -> None:
    """Asked only once it is late; canceled with the reason, it is on record and waited for no more."""
    expected(folder, NOON + timedelta(days=1))
    ada = enter("ada")
    assert QUESTION not in ada.get("/deliveries/S2").text
    clock.turn(days=4)
    page = ada.get("/deliveries/S2").text
    assert QUESTION in page
    assert 'action="/deliveries/S2/delay"' in page
    assert "Cancel the shipment" in page
    assert post(ada, "/deliveries/S2/cancel", reason="never left the port").status_code == 200
    house = open_house(folder, now=clock())
    assert shipment_facts(house)["S2"]["cancelled"] == "never left the port"
    assert "S2" not in waiting(house)
    house.books.close()
    assert "Cancel the shipment" not in ada.get("/deliveries/S2").text


def test_later_moves_its_landing_and_ends_the_question(folder: Path, clock: Clock, enter: Entering) -> None:
    """The landing typed in the farm's own time."""
    expected(folder, NOON + timedelta(days=1))
    clock.turn(days=4)
    ada = enter("ada")
    lands = (clock() + timedelta(days=2)).strftime("%Y-%m-%dT%H:%M")
    assert post(ada, "/deliveries/S2/delay", lands=lands).status_code == 200
    house = open_house(folder, now=clock())
    assert overdue(house) == {}
    house.books.close()
    assert QUESTION not in ada.get("/deliveries/S2").text


def test_without_a_reason_nothing_is_saved(folder: Path, clock: Clock, enter: Entering) -> None:
    """The supplier's answer will be looked for."""
    expected(folder, NOON + timedelta(days=1))
    clock.turn(days=4)
    post(enter("ada"), "/deliveries/S2/cancel", reason="")
    house = open_house(folder, now=clock())
    assert "S2" in waiting(house)
    house.books.close()
