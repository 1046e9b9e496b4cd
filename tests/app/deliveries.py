"""A delivery for the small invented farm, planned and received, for tests that need animals in vats."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from intake.app.commands import receive_shipment
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.conftest import NOON

__all__ = ["LINES", "Open", "announced", "received"]

Open = Callable[..., House]

LINES = (("clam_small", "Q1", 40), ("stony_lps_fleshy", "Q1", 40), ("zoanthid", "Q2", 40))
"""Group, quarantine vat and count of each line of the shipment S1."""

LANDED = NOON + timedelta(hours=2)


def announced(house: House, lines: tuple[tuple[str, str, int], ...] = LINES, lands: datetime = LANDED) -> None:
    """Announce the shipment S1 with an accepted plan for it."""
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": lands.isoformat()})
        rows = []
        for line, (group, vat, number) in enumerate(lines, start=1):
            batch = Batch(f"S1-{line:02d}", group.replace("_", " "), group, 40.0, number, "S1", line, "one", ("7",))
            act.note("batch", batch.id, batch_payload(batch))
            stay = {"batch": batch.id, "count": number}
            rows.append({**stay, "vat": vat, "stage": "quarantine", "from": "2027-03-04", "until": "2027-04-18"})
            rows.append({**stay, "vat": "G1", "stage": "grow-out", "from": "2027-04-18", "until": "2027-05-02"})
        plan = {"plan": "P1", "placements": rows, "moves": []}
        act.note("plan", "P1", {"state": "accepted", "plan": plan})


def received(at: Open, lines: tuple[tuple[str, str, int], ...] = LINES) -> House:
    """The farm with S1 in its quarantine vats, an hour after it landed."""
    announced(at(), lines)
    house = at(LANDED + timedelta(hours=1))
    receive_shipment.receive(house, "S1")
    return at(LANDED + timedelta(hours=1))
