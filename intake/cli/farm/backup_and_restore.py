"""Commands about copies of the ledger: ``backup``, ``restore`` and ``transfer``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from intake.cli.terminal import as_json, json_option, say, table

if TYPE_CHECKING:
    from intake.app.backups.farm_archive import Archived
    from intake.app.backups.ledger_copies import Copy

__all__ = ["backup", "restore", "transfer"]

F = TypeVar("F", bound=Callable[..., Any])

_ASK = "?"


def passphrase_option(command: F) -> F:
    """Give a command ``--passphrase``: asked without echo when the option has no value."""
    words = "Passphrase of the archive; also VATSIDE_PASSPHRASE. Without a value it is asked for."
    return click.option(
        "--passphrase", envvar="VATSIDE_PASSPHRASE", default="", flag_value=_ASK, is_flag=False, help=words
    )(command)


def _asked(passphrase: str, *, twice: bool) -> str:
    if passphrase != _ASK:
        return passphrase
    return str(click.prompt("Passphrase", hide_input=True, confirmation_prompt=twice))


@click.command()
@click.option("--out", type=click.Path(dir_okay=False), help="File to write (default: backups/ in the farm's folder).")
@click.option("--books-only", is_flag=True, help="The ledger alone, as one SQLite file.")
@click.option(
    "--since",
    type=click.Path(dir_okay=False),
    help="Earlier archive, or `last`: unchanged photos and files stay there.",
)
@click.option("--rotate", is_flag=True, help="Keep 24 hourly, 14 daily and 8 weekly backups; delete the rest.")
@passphrase_option
@json_option
@click.pass_context
def backup(
    ctx: click.Context, out: str | None, books_only: bool, since: str | None, rotate: bool, passphrase: str, json_: bool
) -> None:
    """Copy the whole farm to one verified archive while others go on recording.

    Ledger, farm.toml, library, permits, photos, frozen claims and inbox; every entry is proved, every file read again.
    Exit 1 when the ledger does not go on from the copy before; then nothing is deleted.

    Examples: vatside backup --out /media/stick/farm.zip · every night: vatside backup --since last --rotate
    """
    from intake.app import system_clock
    from intake.app.backups.farm_archive import pack
    from intake.app.backups.ledger_copies import back_up

    folder, now = Path(ctx.obj["farm"]), system_clock.now()
    if not books_only:
        made_farm = pack(
            folder,
            now,
            out=Path(out) if out else None,
            passphrase=_asked(passphrase, twice=True),
            since=_earlier(folder, since),
            rotate=rotate,
        )
        _say_archive(made_farm, json_)
        if made_farm.warnings:
            ctx.exit(1)
        return
    if since or ctx.get_parameter_source("passphrase") is click.core.ParameterSource.COMMANDLINE:
        raise click.UsageError("--since and --passphrase are for the whole farm: omit --books-only.")
    made = back_up(folder, now, out=Path(out) if out else None, rotate=rotate)
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
                f"{made.copy.file}: {made.copy.entries} entries, {made.copy.alive} animals alive; verified",
                *([f"deleted {len(made.deleted)} older copies"] if made.deleted else []),
                *(f"✗ {warning}" for warning in made.warnings),
            ]
        )
    if made.warnings:
        ctx.exit(1)


def _earlier(folder: Path, since: str | None) -> Path | None:
    """The archive named, or the newest there is."""
    from intake.app.backups.farm_archive import archives

    if since != "last":
        return Path(since) if since else None
    found = archives(folder)
    return found[max(found)] if found else None


def _say_archive(made: Archived, json_: bool) -> None:
    facts = {
        "file": str(made.file),
        **made.manifest.facts,
        "files": len(made.manifest.files),
        "elsewhere": made.elsewhere,
        "deleted": [str(file) for file in made.deleted],
        "warnings": [warning.as_dict() for warning in made.warnings],
    }
    if json_:
        as_json(facts)
        return
    earlier = f", {made.elsewhere} of them in earlier archives beside it" if made.elsewhere else ""
    say(
        [
            f"{made.file}: {facts['entries']} entries and {facts['files']} files{earlier}; verified",
            f"Ledger head {facts['head']}",
            *([f"Deleted {len(made.deleted)} older archives"] if made.deleted else []),
            *(f"✗ {warning}" for warning in made.warnings),
        ]
    )


@click.command()
@click.argument("file", type=click.Path(dir_okay=False), required=False)
@click.option("--last", is_flag=True, help="The newest sound copy in backups/.")
@click.option("--replace", is_flag=True, help="Keep the current ledger as ….before-restore and replace it.")
@click.option("--leave-open", is_flag=True, help="Do not revoke again addresses and devices revoked after the copy.")
@passphrase_option
@json_option
@click.pass_context
def restore(
    ctx: click.Context, file: str | None, last: bool, replace: bool, leave_open: bool, passphrase: str, json_: bool
) -> None:
    """Restore a backup: a whole farm from its archive, or the ledger alone; without FILE or --last, list the copies.

    Stop the server first.  What was recorded after the copy was made must be recorded again.

    Examples: vatside --farm new-farm restore farm.zip · vatside restore --last --replace
    """
    from intake.app.backups.after_restore import known_before, made_ready
    from intake.app.backups.farm_archive import is_archive, unpack_farm
    from intake.app.backups.ledger_copies import copies, put_back

    folder = Path(ctx.obj["farm"])
    if file and last:
        raise click.UsageError("Name a FILE or say --last, not both.")
    if not file and not last:
        _list(copies(folder), json_)
        return
    before = known_before(folder)

    def ready(farm: Path, books: Path) -> tuple[str, ...]:
        given = ctx.obj
        return made_ready(
            farm, books, before, who=given["who"], confirmed=given.get("today", ""), leave_open=leave_open
        )

    if file and Path(file).is_file() and is_archive(Path(file)):
        facts = unpack_farm(
            Path(file), folder, passphrase=_asked(passphrase, twice=False), replace=replace, ready=ready
        )
        said = facts.pop("said")
        lines = [
            f"{facts['where']}: {facts['entries']} entries and {facts['files']} files of {file}",
            f"{facts['alive']} animals alive. Enter again everything recorded after {facts['made_at']}.",
            *(f"What stood there: {path}" for path in facts["kept"]),  # type: ignore[attr-defined]
        ]
    else:
        done = put_back(folder, Path(file) if file else None, replace=replace, ready=ready)
        said = done.said
        until = "" if done.copy.last is None else f", the last recorded {done.copy.last.isoformat(timespec='minutes')}"
        facts = {**_facts(done.copy), "where": done.where, "kept": None if done.kept is None else str(done.kept)}
        lines = [
            f"{done.where}: {done.copy.entries} entries of {done.copy.file}{until}",
            f"{done.copy.alive} animals alive. Enter again everything recorded after this backup.",
            *([f"The ledger that stood there: {done.kept}"] if done.kept else []),
        ]
    assert isinstance(said, tuple)  # noqa: S101  # unpack_farm gives plain facts
    if json_:
        as_json({**facts, "revoked": list(said)})
        return
    say([*lines, *(f"! {words}" for words in said)])


@click.command()
@click.option("--to", required=True, help="Where to: a file, or postgresql://user@host/database.")
@click.option("--from", "source", default="", help="Books to copy (default: those of farm.toml).")
@click.option("--site", default="", help="Name of this farm in a store that several share (default: as in farm.toml).")
@json_option
@click.pass_context
def transfer(ctx: click.Context, to: str, source: str, site: str, json_: bool) -> None:
    """Copy the ledger from a file to PostgreSQL or back: same entries, order and balances, or nothing.

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
