"""``vatside report money``: what losses cost and what suppliers credited."""

from __future__ import annotations

import click

from intake.cli.reporting.table_out import keep_table, table_option
from intake.cli.terminal import as_json, house_of, json_option, say, table

__all__ = ["money"]


@click.command()
@click.option("--shipment", default="", help="Only this shipment.")
@table_option
@json_option
@click.pass_context
def money(ctx: click.Context, shipment: str, out: str, json_: bool) -> None:
    """Value of losses at the price paid and with freight, credits received, and the rest; each currency apart.

    Example: vatside report money
    """
    from intake.app.queries.reports.loss_money import loss_money

    house = house_of(ctx)
    told = loss_money(house, shipment)
    keep_table(house, "money", told, out, quiet=json_)
    if json_:
        as_json(told)
        return
    rows = [
        (r["shipment"], r["supplier"], r["currency"], r["bought"], r["doa"], r["dead_first_week"], r["dead_later"],
         r["lost"], r["lost_landed"] or "–", r["credited"], r["net"])
        for r in told["shipments"]
    ]  # fmt: skip
    heads = ("ship", "supplier", "", "bought", "DOA", "7 d", "later", "lost", "landed", "credit", "net")
    say(table(heads, rows) if rows else ["No shipment has been received yet."])
    for one in told["totals"]:
        say([f"{one['currency']}: lost {one['lost']} of {one['bought']}, credited {one['credited']}, net {one['net']}"])
    silent = sum(r["unpriced_animals"] for r in told["shipments"])
    if silent:
        say([f"{silent} lost animals have no price and are in no sum."])
    if told["shipments"]:
        say(
            [
                "lost: DOA, dead, missing and wrong at the price paid; landed: with their share of the freight, if recorded."
            ]
        )
