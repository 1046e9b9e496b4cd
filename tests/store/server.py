"""A throw-away PostgreSQL server for tests and benches: no fsync, no password, its own folder and port."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import create_engine, text


def programs() -> Path | None:
    """Folder of the newest server's programs; ``None`` when none is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    return found[-1].parent if found else None


class Server:
    """One server; ``address`` lacks the name of a database."""

    def __init__(self, bin_folder: Path) -> None:
        self._bin = bin_folder
        self.folder = Path(tempfile.mkdtemp(prefix="books-pg-"))
        self._as_owner: list[str] = []
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(self.folder, "postgres")
            self._as_owner = ["runuser", "-u", "postgres", "--"]
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"postgresql+psycopg://farm@127.0.0.1:{self.port}"
        encoding = ("--encoding=UTF8", "--locale=C.UTF-8", "--no-sync")
        self._run("initdb", "-D", str(self.folder / "data"), "-U", "farm", "-A", "trust", *encoding)

    def _run(self, program: str, *arguments: str) -> None:
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run([*self._as_owner, str(self._bin / program), *arguments], check=True, cwd="/", **quiet)  # type: ignore[call-overload]

    def start(self) -> None:
        """Start, or start again after a crash, and wait until it answers."""
        options = f"-c listen_addresses=127.0.0.1 -c port={self.port} -c unix_socket_directories={self.folder}"
        log = str(self.folder / "log")
        self._run(
            "pg_ctl",
            "-D",
            str(self.folder / "data"),
            "-w",
            "-t",
            "60",
            "-l",
            log,
            "-o",
            f"{options} -c fsync=off",
            "start",
        )

    def crash(self) -> None:
        """Stop at once: no checkpoint, sessions cut in the middle; the next start recovers from the log."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")

    def remove(self) -> None:
        """Take its folder away."""
        shutil.rmtree(self.folder)


@contextmanager
def running(bin_folder: Path) -> Iterator[Server]:
    """Start a server, and throw it away afterwards."""
    server = Server(bin_folder)
    server.start()
    try:
        yield server
    finally:
        server.crash()
        server.remove()


@contextmanager
def database(server: str, name: str) -> Iterator[str]:
    """Make an empty database on a server and drop it afterwards."""
    admin = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    try:
        yield f"{server}/{name}"
    finally:
        with admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        admin.dispose()
