"""Commands for vats and their water: ``replumb``, ``carried``, ``close`` and ``open``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, at_option, despite_option, house_of, json_option, key_option, moment, say

if TYPE_CHECKING:
    from intake.app.act_recording import Recorded

__all__ = ["carried", "close", "open_", "replumb"]


def _tell(recorded: Recorded, json_: bool) -> None:
    if json_:
        as_json(recorded.as_dict())
    else:
        say(recorded.said)


@click.command()
@click.argument("vat")
@click.option("--from", "left", required=True, help="System it was part of.")
@click.option("--to", "joined", required=True, help="System it is part of from now on.")
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def replumb(
    ctx: click.Context, vat: str, left: str, joined: str, despite: str, at_: str, key: str, json_: bool
) -> None:
    """Record that VAT was joined to another system's water.

    `vatside trace` then knows whose water its animals shared before and after; farm.toml is changed by hand.

    Example: vatside replumb A5 --from quarantine-a --to quarantine-b
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    _tell(maintain_vats.replumb(house, vat, left, joined, at=moment(house, at_), despite=despite, key=key), json_)


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


@click.command("close")
@click.argument("vat")
@click.option("--reason", required=True, help="Why, in words.")
@click.option("--until", default="", help="Open again from then on, farm time: 2027-03-04 or 2027-03-04T08:30.")
@at_option
@key_option
@json_option
@click.pass_context
def close(ctx: click.Context, vat: str, reason: str, until: str, at_: str, key: str, json_: bool) -> None:
    """Close VAT to newcomers; those that are there may stay.

    Example: vatside close B2 --reason "crack in the glass" --until 2027-03-12
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    ends = moment(house, f"{until}T00:00" if len(until) == len("2027-03-04") else until, "--until")
    _tell(maintain_vats.close_vat(house, vat, reason, until=ends, at=moment(house, at_), key=key), json_)


@click.command("open")
@click.argument("vat")
@at_option
@key_option
@json_option
@click.pass_context
def open_(ctx: click.Context, vat: str, at_: str, key: str, json_: bool) -> None:
    """Open VAT again, whoever or whatever closed it.

    Example: vatside open B2
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    _tell(maintain_vats.open_vat(house, vat, at=moment(house, at_), key=key), json_)
