"""The command ``order``: a dip that is off by default, wanted for one batch."""

from __future__ import annotations

import click

from intake.cli.terminal import as_json, house_of, json_option, key_option, say

__all__ = ["order"]


@click.command()
@click.argument("batch")
@click.argument("dip")
@click.option("--reason", required=True, help="Why, in words.")
@click.option("--prescriber", default="", help="Who prescribed it (needed for a prescription bath).")
@click.option("--reference", default="", help="Number of the prescription or product label.")
@click.option("--agent", default="", help="As prescribed.")
@click.option("--strength", default="", help="As prescribed, with its unit.")
@click.option("--minutes", type=click.FloatRange(0, 14_400), default=None, help="Minutes of contact, as prescribed.")
@key_option
@json_option
@click.pass_context
def order(  # one parameter for each thing a person can say
    ctx: click.Context,
    batch: str,
    dip: str,
    reason: str,
    prescriber: str,
    reference: str,
    agent: str,
    strength: str,
    minutes: float | None,
    key: str,
    json_: bool,
) -> None:
    """Order DIP for BATCH; the timetable places it from then on.

    A prescription bath is refused without prescriber, reference, agent and strength: nothing has a default dose.

    Example: vatside order S1-06 coral-egg-scrape --reason "eggs seen on two bases"
    """
    from intake.app.commands import order_treatment

    told = order_treatment.Order(reason, prescriber, reference, agent, strength, minutes)
    recorded = order_treatment.order(house_of(ctx), batch, dip, told, key=key)
    if json_:
        as_json(recorded.as_dict())
    else:
        say(recorded.said)
