"""Books as an older program left them, on either database: the rows of ``version_1.sql``."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlalchemy import create_engine, text

from intake.store import migrations
from intake.store.engines import address as url_of

FOLDER = Path(__file__).parent


def old_books(address: str, version: int = 1) -> None:
    """Fill an empty database with the books an older program wrote; what it kept beside them is made by its own steps."""
    dump = (FOLDER / f"version_{version}.sql").read_text(encoding="utf-8")
    if "://" not in address:
        raw = sqlite3.connect(address)
        raw.executescript(dump)
        raw.close()
        return
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        migrations.migrate(connection, {one: step for one, step in migrations.STEPS.items() if one <= version})
        for line in dump.splitlines():
            if line.startswith(('INSERT INTO "movement"', 'INSERT INTO "record"', 'INSERT INTO "site"')):
                connection.execute(text(line.replace(":", "\\:")))
        for table in ("movement", "record"):  # the numbers were given, not drawn
            highest = f"(SELECT max(id) FROM {table})"
            connection.execute(text(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), {highest})"))
    engine.dispose()
