"""The command ``history``: past shipments from the owner's own table."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from intake.cli.terminal import as_json, house_of, json_option, key_option, say

__all__ = ["history"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--supplier", default="", help="Supplier of rows that name none.")
@click.option("--dates", default="", help="Order of dates, if the list does not show it: dmy, mdy or ymd.")
@key_option
@json_option
@click.pass_context
def history(ctx: click.Context, file: str, supplier: str, dates: str, key: str, json_: bool) -> None:
    """Take in past shipments from FILE (CSV, XLSX, ODS) for scorecards and expected losses.

    Columns: supplier, date, group or name, announced, missing, DOA, dead by day 7, hours in the bag. They stand apart
    from the farm's own batches.

    Example: vatside history past.csv --supplier lagoon
    """
    from intake.app.commands.records.take_history import take_history

    told = take_history(house_of(ctx), Path(file), supplier=supplier, dates=dates, key=key)
    if json_:
        as_json(asdict(told))
    else:
        say(told.said)
