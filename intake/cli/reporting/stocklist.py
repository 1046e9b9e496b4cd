"""``stocklist``: what may be sold today, on the screen or as a table."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.reporting.table_out import KINDS
from intake.cli.terminal import as_json, house_of, json_option, say, table

__all__ = ["stocklist"]


@click.command()
@click.option("--out", default="", help=f"Write the list as {KINDS}.")
@json_option
@click.pass_context
def stocklist(ctx: click.Context, out: str, json_: bool) -> None:
    """List what may be sold today: animals that nothing keeps back, where they stand and since when.

    Prices of one animal come from library/prices.csv (columns name, price, currency), where the farm keeps one.

    Example: vatside stocklist --out stock.xlsx
    """
    from intake.app.output_files import write_table
    from intake.app.queries.overview.day.stock_list import COLUMNS, stock_list, table_of

    house = house_of(ctx)
    rows, measures = stock_list(house), house.site.farm.measures
    if out:
        write_table(Path(out), COLUMNS, table_of(rows), house.site.farm.zone)
    if json_:
        as_json([one.as_dict() for one in rows])
        return
    if not rows:
        say(["Nothing may be sold today. See what keeps each lot: vatside release"])
        return
    shown = [
        (
            one.batch,
            one.name,
            measures.shown("size_mm", one.size_mm) if measures.system == "us" else f"{one.size_mm:g}",
            f"{one.count:,}",
            one.vat,
            one.released_since,
            one.price or "",
            one.currency,
        )
        for one in rows
    ]
    say(
        table(
            ("batch", "name", "size" if measures.system == "us" else "mm", "count", "vat", "since", "price", ""), shown
        )
    )
    say(["", f"{sum(one.count for one in rows):,} animals in {len(rows)} places."])
    if out:
        say([f"Saved {out}"])
