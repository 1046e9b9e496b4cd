"""Empty books on SQLite and on PostgreSQL; the server is started once, thrown away after, and skipped visibly."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from intake.store import Books
from tests.store import server as pg


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Address of a throw-away server, without a database name."""
    programs = pg.programs()
    if os.environ.get("VATSIDE_TEST_POSTGRES") == "0" or programs is None:
        pytest.skip("no PostgreSQL: install it, and do not set VATSIDE_TEST_POSTGRES=0")
    pytest.importorskip("psycopg")
    with pg.running(programs) as server:
        yield server.address


@pytest.fixture
def postgres_only(postgres: str, tmp_path: Path) -> Iterator[str]:
    """Address of an empty database on the server."""
    with pg.database(postgres, f"books_{abs(hash(str(tmp_path))):x}") as made:
        yield made


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a database that holds nothing yet; every store test runs once on each kind."""
    if request.param == "sqlite":
        return str(tmp_path / "farm.db")
    return str(request.getfixturevalue("postgres_only"))


@pytest.fixture
def opened(address: str) -> Iterator[Callable[[], Books]]:
    """Open the books of this test as often as wanted; all are closed afterwards."""
    made: list[Books] = []

    def open_books() -> Books:
        made.append(Books.open(address))
        return made[-1]

    yield open_books
    for books in made:
        books.close()


@pytest.fixture
def books(opened: Callable[[], Books]) -> Books:
    """Empty books."""
    return opened()
