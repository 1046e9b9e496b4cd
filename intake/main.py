"""Entry point: the one place that knows both the command line and the board."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import click

from intake.cli.command_table import vatside
from intake.errors import BadInput, Finding

__all__ = ["main", "run_board"]


os.environ.setdefault(
    "PYDANTIC_DISABLE_PLUGINS", "__all__"
)  # looking for plugins reads every installed package's metadata


def main() -> None:
    """Entry point of the command ``vatside``: the command line is handed the function that serves the board."""
    os.umask(0o077)  # whatever is written is its owner's alone: ledger, farm file, photos, copies
    vatside(prog_name="vatside", obj={"run_board": run_board})


def run_board(  # as serve
    folder: Path,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    names: Sequence[str] = (),
    invite: str = "",
    certificate: str = "",
    key: str = "",
    tls: bool = False,
    tls_port: int = 0,
    new_authority: bool = False,
    backup: bool = False,
    passphrase: str = "",
) -> None:
    """Serve the board of a farm until the process is stopped.

    Parameters
    ----------
    folder
        The farm's folder.
    host, port
        Where to listen; port 0 takes any free port.
    names
        Further host names it is reached by.
    invite
        Person to print a sign-in link for.
    certificate, key
        PEM files for https without a proxy.
    tls, tls_port, new_authority
        Https with the farm's own certificate authority on a port beside (0: the next one), the authority made anew.
    backup, passphrase
        Whether the server makes backups by itself, and what archives of the farm are sealed with.

    Raises
    ------
    IntakeError
        The farm cannot be opened, the port is taken, or no one of that name is there to be invited.
    """
    # imported here: no command but `serve` and `demo --serve` should pay for the web server
    from intake.board import server
    from intake.board.api import secure_door

    pair = server.certificate_of(certificate, key)
    if pair and tls:
        raise BadInput(Finding("--tls", "with --certificate", "one of them"))
    server.run(
        folder,
        host=host,
        port=port,
        names=names,
        certificate=pair,
        own=secure_door.OwnTls(tls_port, new_authority) if tls else None,
        say=click.echo,
        invite=invite,
        backup=backup,
        passphrase=passphrase,
    )
