"""The invented farm with its ledger in PostgreSQL: the first days say the same as from a file."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from intake.app.farm_folder import check_house
from intake.app.session import open_house
from intake.demo.walkthrough import walk
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
    """A day of it: every command of the story records on the server, and the check proves every entry.

    Counts are not compared with a farm kept in a file: plans end with their time, so two walks may place differently.
    """
    farm = tmp_path / "farm"
    walk(farm, days=1, tell=lambda _: None, working=lambda _: None, now=NOW, store=address)
    house = open_house(farm, now=NOW)
    try:
        assert check_house(house) == []
        assert len(house.books.entries()) > 300
        assert house.floor().stays
    finally:
        house.books.close()
    assert not (farm / "farm.db").exists()
