"""Commands about copies of the books: ``backup``, ``restore`` and ``transfer``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, json_option, say, table

if TYPE_CHECKING:
    from intake.app.backups.ledger_copies import Copy

__all__ = ["backup", "restore", "transfer"]


@click.command()
@click.option("--out", type=click.Path(dir_okay=False), help="File to write (default: backups/ in the farm's folder).")
@click.option("--rotate", is_flag=True, help="Keep 24 hourly, 14 daily and 8 weekly backups; delete the rest.")
@json_option
@click.pass_context
def backup(ctx: click.Context, out: str | None, rotate: bool, json_: bool) -> None:
    """Copy the books to one file while others go on writing; the copy is read again and checked.

    Exit 1 when the books lack entries that the copy before has; then nothing is deleted.

    Examples: vatside backup --out /media/stick/books.db · every hour: vatside backup --rotate
    """
    from intake.app import system_clock
    from intake.app.backups.ledger_copies import back_up

    made = back_up(Path(ctx.obj["farm"]), system_clock.now(), out=Path(out) if out else None, rotate=rotate)
    facts = {
        **_facts(made.copy),
        "deleted": [str(file) for file in made.deleted],
        "warnings": [warning.as_dict() for warning in made.warnings],
    }
    if json_:
        as_json(facts)
    else:
        say(
            [
                f"{made.copy.file}: {made.copy.entries} entries, {made.copy.alive} animals alive; read again and sound",
                *([f"deleted {len(made.deleted)} older copies"] if made.deleted else []),
                *(f"✗ {warning}" for warning in made.warnings),
            ]
        )
    if made.warnings:
        ctx.exit(1)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False), required=False)
@click.option("--last", is_flag=True, help="The newest sound copy in backups/.")
@click.option("--replace", is_flag=True, help="Keep the current ledger as ….before-restore and replace it.")
@json_option
@click.pass_context
def restore(ctx: click.Context, file: str | None, last: bool, replace: bool, json_: bool) -> None:
    """Put a copy in the place of the books; without FILE or --last, list the copies there are.

    Stop the server first.  What was recorded after the copy was made must be recorded again.

    Example: vatside restore --last --replace
    """
    from intake.app.backups.ledger_copies import copies, put_back

    folder = Path(ctx.obj["farm"])
    if file and last:
        raise click.UsageError("Name a FILE or say --last, not both.")
    if not file and not last:
        _list(copies(folder), json_)
        return
    done = put_back(folder, Path(file) if file else None, replace=replace)
    if json_:
        as_json({**_facts(done.copy), "where": done.where, "kept": None if done.kept is None else str(done.kept)})
        return
    until = "" if done.copy.last is None else f", the last recorded {done.copy.last.isoformat(timespec='minutes')}"
    say(
        [
            f"{done.where}: {done.copy.entries} entries of {done.copy.file}{until}",
            f"{done.copy.alive} animals alive.  Record again what happened after that.",
            *([f"The books that stood there: {done.kept}"] if done.kept else []),
        ]
    )


@click.command()
@click.option("--to", required=True, help="Where to: a file, or postgresql://user@host/database.")
@click.option("--from", "source", default="", help="Books to copy (default: those of farm.toml).")
@click.option("--site", default="", help="Name of this farm in a store that several share (default: as in farm.toml).")
@json_option
@click.pass_context
def transfer(ctx: click.Context, to: str, source: str, site: str, json_: bool) -> None:
    """Copy the books from a file to PostgreSQL or back: same entries, order and balances, or nothing.

    Stop the server first. Change farm.toml as shown before restarting it.

    Example: vatside transfer --to postgresql://farm@127.0.0.1/farm --site north
    """
    from intake.app.backups.ledger_copies import move_to

    done = move_to(Path(ctx.obj["farm"]), to, source=source, site=site)
    if json_:
        as_json(done)
        return
    lines = done["farm_toml"]
    assert isinstance(lines, list)  # noqa: S101  # as backups.py says
    say(
        [
            f"{done['where']}: {done['entries']} entries, {done['alive']} animals alive; compared one by one",
            "Now write in farm.toml, under [farm]:",
            *(f"  {line}" for line in lines),
            "A copy in a file is used where it is named farm.db in the farm's folder.",
        ]
    )


def _list(found: tuple[Copy, ...], json_: bool) -> None:
    if json_:
        as_json({"copies": [_facts(copy) for copy in found]})
        return
    rows = [
        (c.made_at.strftime("%Y-%m-%d %H:%M"), c.entries, c.alive, c.trouble or "sound", c.file.name) for c in found
    ]
    heads = ("made (UTC)", "entries", "alive", "state", "file")
    say(table(heads, rows) if rows else ["There is no copy in backups/; make one with: vatside backup"])


def _facts(copy: Copy) -> dict[str, object]:
    return {
        "file": str(copy.file),
        "made_at": copy.made_at.isoformat(),
        "entries": copy.entries,
        "alive": copy.alive,
        "last_recorded": None if copy.last is None else copy.last.isoformat(),
        "trouble": copy.trouble,
    }
