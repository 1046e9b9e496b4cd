"""The command ``order``: a dip that is off by default, wanted for one batch."""

from __future__ import annotations

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, say

__all__ = ["order"]


@click.command()
@click.argument("batch")
@click.argument("dip")
@click.option("--reason", required=True, help="Why, in words.")
@click.option("--prescriber", default="", help="Who prescribed it (needed for a prescription bath).")
@click.option("--reference", default="", help="Number of the prescription or product label.")
@click.option("--agent", default="", help="As prescribed.")
@click.option("--strength", default="", help="As prescribed, with its unit.")
@click.option("--dose-source", default="", help="Where the dose is from: the prescription, a label, a paper.")
@click.option("--withdrawal", default="", help="Withdrawal time, as prescribed.")
@click.option("--minutes", type=click.FloatRange(0, 14_400), default=None, help="Minutes of contact, as prescribed.")
@click.option("--days", type=click.FloatRange(0, 120), default=None, help="Length of a course in the water, d.")
@click.option("--where", type=click.Choice(["tub", "vat"]), default=None, help="Beside the vat, or in its water.")
@click.option("--test-piece", is_flag=True, help="Record a test on one animal; look at it after 24 h, then order.")
@despite_option
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
    dose_source: str,
    withdrawal: str,
    minutes: float | None,
    days: float | None,
    where: str | None,
    test_piece: bool,
    despite: str,
    key: str,
    json_: bool,
) -> None:
    """Order DIP for BATCH; the timetable places it from then on.

    A prescription bath is refused without prescriber, reference, agent, strength and the source of the dose: nothing
    has a default dose.  What no one tried on this group needs a test piece first, and --despite with a reason.

    Example: vatside order S1-06 coral-egg-scrape --reason "eggs seen on two bases"
    """
    from intake.app.commands import order_treatment

    told = order_treatment.Order(
        reason, prescriber, reference, agent, strength, minutes, dose_source, days, where or "", despite, withdrawal
    )
    house = house_of(ctx)
    act = order_treatment.try_piece if test_piece else order_treatment.order
    recorded = act(house, batch, dip, told, key=key)
    if json_:
        as_json(recorded.as_dict())
    else:
        say(recorded.said)
