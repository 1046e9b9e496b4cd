"""The step tables the board shows, each row compared with the table the tests judge."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from starlette.testclient import TestClient

from intake.app.access import devices
from intake.app.landing.acclimation_course import table_now
from intake.board.asgi_app import board
from intake.board.middleware import Tries
from intake.receiving.acclimation import Acclimation
from tests.story.conftest import NOW

__all__ = ["tables_on_the_board"]

ROWS = re.compile(r"<tr><td.*?</tr>", re.DOTALL)
CELL = re.compile(r"<td[^>]*>(.*?)</td>", re.DOTALL)


def _page_of_board(client: TestClient, batch: str, table: Acclimation) -> bool:
    """Whether the board shows a table, after looking that its rows are those of the one judged."""
    page = client.get(f"/batches/{batch}/acclimation")
    assert page.status_code == 200
    shown = [CELL.findall(row) for row in ROWS.findall(page.text)]
    refused = table.first_breach is not None and not table.bag.measured
    assert [(row[0], row[-2], row[-1]) for row in shown] == [
        (f"{step.minute}", f"{step.nh3_n_mg_per_l:.4f}", "–" if step.o2_mg_per_l is None else f"{step.o2_mg_per_l:.1f}")
        for step in table.steps
        if not refused
    ]
    assert shown or "No safe table" in page.text
    return bool(shown)


def tables_on_the_board(folder: Path) -> list[Acclimation]:
    """Every table the board shows today."""
    now = datetime.fromisoformat(NOW)
    farm = board(folder, {"testserver"}, lambda: now, Tries(clock=lambda: 0.0))
    try:
        with farm.state.farm.writing() as house:
            _, code = devices.invite(house, next(iter(house.site.people)))
            batches = [batch for batch in house.floor().batches.values() if batch.shipment]
            tables = [(batch.id, table) for batch in batches if (table := table_now(house, batch)) is not None]
        client = TestClient(farm, headers={"origin": "http://testserver"})
        assert client.post(f"/join/{code}", data={"label": "a test"}).status_code == 200
        return [table for batch, table in tables if _page_of_board(client, batch, table)]
    finally:
        farm.state.jobs.wait(30)
        farm.state.watch.wait(30)
        farm.state.farm.close()
