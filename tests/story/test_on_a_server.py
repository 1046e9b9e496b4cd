"""The invented farm with its ledger in PostgreSQL: the first days say the same as from a file."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from intake.app.farm_folder import check_house
from intake.app.session import open_house
from intake.demo.walkthrough import walk
from intake.ledger import balances
from tests.store import server as pg

NOW = datetime(2027, 3, 6, 18, 0, tzinfo=UTC)


@pytest.fixture
def address() -> Iterator[str]:
    """An empty database on a server that is thrown away."""
    programs = pg.programs()
    if programs is None:
        pytest.skip("no PostgreSQL server is installed")
    pytest.importorskip("psycopg")
    with pg.running(programs) as server, pg.database(server.address, "demo") as made:
        yield made.replace("+psycopg", "")


@pytest.mark.slow
def test_the_demo_runs_on_a_server(address: str, tmp_path: Path) -> None:
    """Two days: the same animals stand in the same vats, and the check proves every entry."""
    for name, store in (("file", ""), ("server", address)):
        walk(tmp_path / name, days=2, tell=lambda _: None, working=lambda _: None, now=NOW, store=store)
    told = []
    for name in ("file", "server"):
        house = open_house(tmp_path / name, now=NOW)
        assert check_house(house) == []
        told.append(balances(house.books.entries()))
        house.books.close()
    assert not (tmp_path / "server" / "farm.db").exists()
    assert told[0] == told[1]
