"""Commands for what joins waters: ``replumb`` and ``carried``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, at_option, house_of, json_option, key_option, moment, say

if TYPE_CHECKING:
    from intake.app.recording import Recorded

__all__ = ["carried", "replumb"]


def _tell(recorded: Recorded, json_: bool) -> None:
    if json_:
        as_json(recorded.as_dict())
    else:
        say(recorded.said)


@click.command()
@click.argument("vat")
@click.option("--from", "left", required=True, help="System it was part of.")
@click.option("--to", "joined", required=True, help="System it is part of from now on.")
@at_option
@key_option
@json_option
@click.pass_context
def replumb(ctx: click.Context, vat: str, left: str, joined: str, at_: str, key: str, json_: bool) -> None:
    """Record that VAT was joined to another system's water.

    `vatside trace` then knows whose water its animals shared before and after; farm.toml is changed by hand.

    Example: vatside replumb A5 --from quarantine-a --to quarantine-b
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    _tell(maintain_vats.replumb(house, vat, left, joined, at=moment(house, at_), key=key), json_)


@click.command()
@click.argument("tool")
@click.option("--from", "source", required=True, help="Vat it came from.")
@click.option("--to", "target", required=True, help="Vat it went into.")
@at_option
@key_option
@json_option
@click.pass_context
def carried(ctx: click.Context, tool: str, source: str, target: str, at_: str, key: str, json_: bool) -> None:
    """Record that TOOL went from one vat into another without disinfection.

    Gloves and hands count.  `vatside trace` names the lots as met by tool or person only: look at them; they are not
    held.

    Example: vatside carried "net 4" --from A5 --to B1
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    _tell(maintain_vats.carried(house, tool, source, target, at=moment(house, at_), key=key), json_)
