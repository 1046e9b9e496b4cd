"""``vatside report sales``: what was sold, with price and the customer's own reference."""

from __future__ import annotations

from datetime import date

import click

from intake.cli.reporting.table_out import keep_table, table_option
from intake.cli.terminal import as_json, house_of, json_option, say, table
from intake.errors import BadInput, Finding

__all__ = ["sales"]


@click.command()
@click.option("--since", default="", help="First day, such as 2027-03-01.")
@click.option("--until", default="", help="Last day.")
@table_option
@json_option
@click.pass_context
def sales(ctx: click.Context, since: str, until: str, out: str, json_: bool) -> None:
    """Sales after corrections, with price, customer's reference and sums; each currency apart.

    Example: vatside report sales --since 2027-03-01 --out sales.xlsx
    """
    from intake.app.queries.reports import sales_report

    house = house_of(ctx)
    told = sales_report.sales(house, _day("--since", since), _day("--until", until))
    keep_table(house, "sales", told, out, quiet=json_)
    if json_:
        as_json(told)
        return
    rows = [
        (r["day"], r["batch"], r["name"], r["vat"], f"{r['count']:,}", r["price"] or "–", r["amount"] or "–", r["currency"],
         r["reference"])
        for r in told["sales"]
    ]  # fmt: skip
    heads = ("day", "batch", "name", "vat", "count", "price", "amount", "", "reference")
    say(table(heads, rows) if rows else ["No sale is on record in these days."])
    for one in told["totals"]:
        money = f", {one['amount']} {one['currency']}" if one["currency"] else " without a price"
        say([f"{one['animals']:,} animals sold{money}"])


def _day(option: str, text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        raise BadInput(Finding(option, text[:40], "a day such as 2027-03-01")) from error
