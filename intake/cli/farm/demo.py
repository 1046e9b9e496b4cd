"""The command ``demo``: the invented farm and its story."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from intake.cli.farm.serve import PORT
from intake.cli.terminal import progress

__all__ = ["demo"]


@click.command()
@click.argument("folder", type=click.Path(file_okay=False), default="vatside-demo")
@click.option("--days", default=46, show_default=True, help="Days recorded since the first delivery landed, 1 to 60.")
@click.option("--store", default="", help="Keep its ledger in a PostgreSQL database: postgresql://user@host/database.")
@click.option("--serve", is_flag=True, help="Serve the board on it afterwards.")
@click.pass_context
def demo(ctx: click.Context, folder: str, days: int, store: str, serve: bool) -> None:
    """Write the invented farm into FOLDER and run the whole workflow on it.

    Example: vatside demo my-demo --days 12
    """
    from intake.demo.walkthrough import walk

    def tell(line: str) -> None:
        progress("")
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        click.echo(textwrap.fill(line, 79, subsequent_indent=indent, break_long_words=False) if line else "")

    walk(Path(folder), days=days, tell=tell, working=progress, store=store)
    if serve:
        ctx.obj["run_board"](Path(folder), host="127.0.0.1", port=PORT)
