"""The command ``serve``: the board and the calendars on the farm's network."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import click

__all__ = ["serve"]


PORT = 8642


@click.command()
@click.option("--host", default="", help="Address to listen on (default: this computer only, 127.0.0.1).")
@click.option("--lan", is_flag=True, help="Listen on the farm's network: all addresses of this computer.")
@click.option("--port", default=PORT, show_default=True, type=click.IntRange(0, 65535), help="Port (0: any free port).")
@click.option("--name", "names", multiple=True, help="Additional host name, such as farm.lan.")
@click.option("--invite", default="", help="Print a sign-in link for this person.")
@click.option("--certificate", default="", help="Certificate file, for https without a proxy.")
@click.option("--key", default="", help="Key file of the certificate.")
@click.option("--tls", is_flag=True, help="https with the farm's own certificate authority, made at the first start.")
@click.option(
    "--tls-port", default=0, type=click.IntRange(0, 65535), help="Port of https with --tls (0: the next one)."
)
@click.option("--new-authority", is_flag=True, help="With --tls: make another authority; phones must install it.")
@click.option("--backup", is_flag=True, help="Make backups by itself: ledger hourly, farm daily, rotated, in backups/.")
@click.pass_context
def serve(  # one parameter for each option
    ctx: click.Context,
    host: str,
    lan: bool,
    port: int,
    names: Sequence[str],
    invite: str,
    certificate: str,
    key: str,
    tls: bool,
    tls_port: int,
    new_authority: bool,
    backup: bool,
) -> None:
    """Serve the board, the count page and the calendars.

    With --backup, archives are sealed if VATSIDE_PASSPHRASE is set.

    With --tls, the board is on the next port by https; --port shows how to install the authority on a phone. Send
    all counts that wait on phones before the first start with --tls: they are kept for the old address.

    Example: vatside serve --lan --name farm.lan --backup

    Example: vatside serve --lan --name farm.lan --tls
    """
    address = host or ("0.0.0.0" if lan else "127.0.0.1")  # noqa: S104  # only when asked for
    ctx.obj["run_board"](
        Path(ctx.obj["farm"]),
        host=address,
        port=port,
        names=names,
        invite=invite,
        certificate=certificate,
        key=key,
        tls=tls,
        tls_port=tls_port,
        new_authority=new_authority,
        backup=backup,
        passphrase=os.environ.get("VATSIDE_PASSPHRASE", ""),
    )
