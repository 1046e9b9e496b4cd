"""Empty books on SQLite and on PostgreSQL; the server is started once, thrown away after, and skipped visibly."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from intake.store import Books


def _server_programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    return found[-1].parent if found else None


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Address of a throw-away server (no fsync, trust: for tests only), without a database name."""
    programs = _server_programs()
    if os.environ.get("VATSIDE_TEST_POSTGRES") == "0" or programs is None:
        pytest.skip("no PostgreSQL: install it, and do not set VATSIDE_TEST_POSTGRES=0")
    pytest.importorskip("psycopg")
    folder = Path(tempfile.mkdtemp(prefix="books-pg-"))
    as_owner: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, "postgres")
        as_owner = ["runuser", "-u", "postgres", "--"]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    def run(*command: str) -> None:
        subprocess.run([*as_owner, *command], check=True, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    data = str(folder / "data")
    options = f"-c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories={folder} -c fsync=off"
    encoding = ("--encoding=UTF8", "--locale=C.UTF-8", "--no-sync")
    run(str(programs / "initdb"), "-D", data, "-U", "farm", "-A", "trust", *encoding)
    control = (str(programs / "pg_ctl"), "-D", data)
    run(*control, "-w", "-t", "60", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield f"postgresql+psycopg://farm@127.0.0.1:{port}"
    finally:
        run(*control, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a database that holds nothing yet; every store test runs once on each kind."""
    if request.param == "sqlite":
        yield str(tmp_path / "farm.db")
        return
    server = request.getfixturevalue("postgres")
    name = f"books_{abs(hash(str(tmp_path))):x}"
    admin = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    try:
        yield f"{server}/{name}"
    finally:
        with admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        admin.dispose()


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
