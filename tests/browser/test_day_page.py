"""The receiving day on a phone: whose box it is and the button that opens it are in sight without swiping."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from intake.app.landing.kept_day import UNDECIDED, keep_day, landing_batches, planned_day
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.browser.conftest import Open, Server

IN_SIGHT = """() => [...document.querySelectorAll('#order tbody tr')].map((row) =>
  [row.querySelector('[data-label=Who]'), row.querySelector('form button')].map((one) => {
    const box = one.getBoundingClientRect(), inside = box.left >= 0 && box.right <= innerWidth && box.width > 0;
    return { words: one.textContent.trim(), inside, width: box.width, height: box.height };
  }))"""


@pytest.fixture
def day(server: Server) -> str:
    """A shipment of two boxes that lands in two hours, its day planned and kept."""
    house = server.house()
    try:
        with house.act() as act:
            lands = datetime.now(UTC) + timedelta(hours=2)
            act.note("shipment", "S2", {"supplier": "one", "lands": lands.isoformat()})
            for line in (1, 2):
                batch = Batch(
                    f"S2-{line:02d}", "Tridacna maxima", "clam_small", 40.0, 20, "S2", line, "one", ("1", "2")
                )
                act.note("batch", batch.id, batch_payload(batch))
    finally:
        house.books.close()
    house = server.house()
    try:
        batches = landing_batches(house, "S2")
        keep_day(house, batches, replace(planned_day(house, batches, seconds=0.3), despite=UNDECIDED))
    finally:
        house.books.close()
    return f"{server.base}/deliveries/S2/day"


def test_who_and_the_button_are_in_sight(visit: Open, day: str) -> None:
    """At the width of a phone and of a desk, each target at least 44 px, each button in its own row."""
    page = visit("ben")
    for width in (390, 820, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(day)
        rows: list[list[dict[str, Any]]] = page.evaluate(IN_SIGHT)
        assert len(rows) >= 2
        for who, button in rows:
            assert who["words"], width
            assert (button["words"], who["inside"], button["inside"]) == ("Opened", True, True), width
            assert min(button["width"], button["height"]) >= 44, width
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
