"""What keeps the ledger appends-only and each site to its own rows, in the database itself."""

from __future__ import annotations

from typing import Final

from sqlalchemy import Connection, text

__all__ = ["guard", "guarded", "unguard"]

_GUARDED: Final = ("movement", "record")
_ACTS: Final = ("update", "delete")
_HOLDINGS_SINCE: Final = 3

_SQLITE_GUARD: Final = """
CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table}
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END
"""

# INSERT OR REPLACE deletes the older row without asking the DELETE trigger (SQLite, "REPLACE" conflict resolution), so
# a used key or number is refused before the conflict arises.
_SQLITE_GUARD_REPLACE: Final = """
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE {same} OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END
"""

_SAME_KEY: Final = {1: "key = NEW.key", 2: "(site = NEW.site AND key = NEW.key)"}

# From version 3 on: what stands where is added up with each movement, whichever program writes it.
_SQLITE_HOLD: Final = """
CREATE TRIGGER movement_holding AFTER INSERT ON movement BEGIN
INSERT INTO holding (site, batch, place, count) VALUES (NEW.site, NEW.batch, NEW.source, -NEW.count)
ON CONFLICT (site, batch, place) DO UPDATE SET count = count + excluded.count;
INSERT INTO holding (site, batch, place, count) VALUES (NEW.site, NEW.batch, NEW.target, NEW.count)
ON CONFLICT (site, batch, place) DO UPDATE SET count = count + excluded.count;
END
"""

# A program of version 2 that was open when the ledger was brought up to date does not say where a record belongs.
_SQLITE_PLACED: Final = """
CREATE TRIGGER record_placed BEFORE INSERT ON record WHEN NEW.batch = '?'
BEGIN SELECT RAISE(ABORT, 'the books are of a newer program'); END
"""

_POSTGRES_ADD_UP: Final = """
CREATE OR REPLACE FUNCTION books_holding() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
INSERT INTO holding AS h (site, batch, place, count)
VALUES (NEW.site, NEW.batch, NEW.source, -NEW.count), (NEW.site, NEW.batch, NEW.target, NEW.count)
ON CONFLICT (site, batch, place) DO UPDATE SET count = h.count + excluded.count;
RETURN NULL; END $$
"""

_POSTGRES_HOLD: Final = """
CREATE TRIGGER movement_holding AFTER INSERT ON movement FOR EACH ROW EXECUTE FUNCTION books_holding()
"""

_POSTGRES_REFUSE: Final = """
CREATE OR REPLACE FUNCTION books_append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the books are append-only'; END $$
"""

_POSTGRES_GUARD: Final = """
CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table} FOR EACH STATEMENT EXECUTE FUNCTION books_append_only()
"""

# FORCE holds the owner of the tables to the policy too; a superuser passes it anyway.
_POSTGRES_SITES: Final = (
    "ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
    "ALTER TABLE {table} FORCE ROW LEVEL SECURITY",
    "DROP POLICY IF EXISTS {table}_site ON {table}",
    """CREATE POLICY {table}_site ON {table} USING (site = current_setting('vatside.site', true)
       OR current_setting('vatside.every_site', true) = 'yes')
       WITH CHECK (site = current_setting('vatside.site', true))""",
)


def _triggers(dialect: str, version: int) -> dict[str, tuple[str, str]]:
    """Trigger name → its table and the statement that makes it, as of a version of the ledger."""
    tables = _GUARDED if version == 1 else (*_GUARDED, "site")
    acts, form = (_ACTS, _SQLITE_GUARD) if dialect == "sqlite" else ((*_ACTS, "truncate"), _POSTGRES_GUARD)
    made = {f"{table}_no_{act}": (table, form.format(table=table, act=act)) for table in tables for act in acts}
    if dialect == "sqlite":
        same = _SAME_KEY[min(version, max(_SAME_KEY))]
        made |= {f"{t}_no_replace": (t, _SQLITE_GUARD_REPLACE.format(table=t, same=same)) for t in _GUARDED}
    if version >= _HOLDINGS_SINCE:
        made["movement_holding"] = ("movement", _SQLITE_HOLD if dialect == "sqlite" else _POSTGRES_HOLD)
        if dialect == "sqlite":
            made["record_placed"] = ("record", _SQLITE_PLACED)
    return made


def _parted(version: int) -> tuple[str, ...]:
    """Tables of which each site sees its own rows."""
    return (*_GUARDED, "holding", "proved") if version >= _HOLDINGS_SINCE else _GUARDED


def guard(connection: Connection, version: int) -> None:
    """Create the triggers which refuse UPDATE, DELETE, REPLACE and TRUNCATE, and the policies that part the sites."""
    dialect = connection.dialect.name
    if dialect == "postgresql":
        connection.execute(text(_POSTGRES_REFUSE))
        if version >= _HOLDINGS_SINCE:
            connection.execute(text(_POSTGRES_ADD_UP))
    for _, statement in _triggers(dialect, version).values():
        connection.execute(text(statement))
    if dialect == "postgresql" and version > 1:
        for table in _parted(version):
            for statement in _POSTGRES_SITES:
                connection.execute(text(statement.format(table=table)))


def unguard(connection: Connection, version: int) -> None:
    """Take the triggers of a version away, inside the one transaction of a step that guards again."""
    for name, (table, _) in _triggers(connection.dialect.name, version).items():
        ending = f" ON {table}" if connection.dialect.name == "postgresql" else ""
        connection.execute(text(f"DROP TRIGGER {name}{ending}"))


def guarded(connection: Connection, version: int) -> set[str]:
    """Names of the triggers and policies that should stand and do not; empty when the ledger is append-only."""
    wanted = _triggers(connection.dialect.name, version)
    if connection.dialect.name == "sqlite":
        query = text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        standing = {str(name): _words(str(sql)) for name, sql in connection.execute(query)}
        return {name for name, (_, sql) in wanted.items() if standing.get(name) != _words(sql)}
    query = text("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
    missing = set(wanted) - {str(name) for name in connection.execute(query).scalars()}
    if version > 1:
        query = text("SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity")
        parted = {str(name) for name in connection.execute(query).scalars()}
        missing |= {f"{table}_site" for table in _parted(version) if table not in parted}
    return missing


def _words(sql: str) -> str:
    return " ".join(sql.split())
