"""The command ``serve``: the board and the calendars on the farm's network."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

import click

__all__ = ["run_board", "serve"]

PORT = 8642


@click.command()
@click.option("--host", default="", help="Address to listen on (default: this computer only, 127.0.0.1).")
@click.option("--lan", is_flag=True, help="Listen on the farm's network: all addresses of this computer.")
@click.option("--port", default=PORT, show_default=True, type=click.IntRange(0, 65535), help="0 takes a free one.")
@click.option("--name", "names", multiple=True, help="A further host name it is reached by, such as farm.lan.")
@click.option("--invite", default="", help="Print a sign-in link for this person.")
@click.option("--certificate", default="", help="Certificate file, for https without a proxy.")
@click.option("--key", default="", help="Key file of the certificate.")
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
) -> None:
    """Serve the board, the count page and the calendars.

    Example: vatside serve --lan --name farm.lan
    """
    address = host or ("0.0.0.0" if lan else "127.0.0.1")  # noqa: S104  # only when asked for
    run_board(
        Path(ctx.obj["farm"]), host=address, port=port, names=names, invite=invite, certificate=certificate, key=key
    )


def run_board(  # as serve
    folder: Path,
    *,
    host: str = "127.0.0.1",
    port: int = PORT,
    names: Sequence[str] = (),
    invite: str = "",
    certificate: str = "",
    key: str = "",
) -> None:
    """Serve the board of a farm until the process is told to stop.

    Parameters
    ----------
    folder
        The farm's folder.
    host, port
        Where to listen; port 0 takes a free one.

    Raises
    ------
    IntakeError
        The farm cannot be opened, the port is taken, or nobody of that name is there to be invited.
    """
    # The command line and the board are two faces that do not import each other: the board is named, as commands are.
    server = import_module("intake.board.server")
    pair = server.certificate_of(certificate, key)
    server.run(folder, host=host, port=port, names=names, certificate=pair, say=click.echo, invite=invite)
