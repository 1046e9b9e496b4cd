"""Books as an older program left them, on either database: the rows of ``version_1.sql``."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlalchemy import create_engine, text

from intake.store import migrations
from intake.store.engines import address as url_of

DUMP = Path(__file__).with_name("version_1.sql")


def old_books(address: str) -> None:
    """Fill an empty database with the books of version 1."""
    if "://" not in address:
        raw = sqlite3.connect(address)
        raw.executescript(DUMP.read_text(encoding="utf-8"))
        raw.close()
        return
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        migrations.migrate(connection, {1: migrations.STEPS[1]})
        for line in DUMP.read_text(encoding="utf-8").splitlines():
            if line.startswith(('INSERT INTO "movement"', 'INSERT INTO "record"')):
                connection.execute(text(line.replace(":", "\\:")))
        for table in ("movement", "record"):  # the numbers were given, not drawn
            highest = f"(SELECT max(id) FROM {table})"
            connection.execute(text(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), {highest})"))
    engine.dispose()
