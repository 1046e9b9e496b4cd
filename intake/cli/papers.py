"""The command ``print``: forms as PDF files in a folder."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.show import as_json, house_of, json_option, say

__all__ = ["print_"]


@click.command("print")
@click.argument("what")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--batch", default="", help="Only this batch.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default=None, help="Paper size (default: the farm's).")
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder (default: out/ in the farm).")
@click.option("--fillable", is_flag=True, help="Sheets with form fields.")
@json_option
@click.pass_context
def print_(
    ctx: click.Context,
    what: str,
    shipment: str,
    batch: str,
    paper: str | None,
    out: str,
    fillable: bool,
    json_: bool,
) -> None:
    """Print WHAT: sheets, checklists, runsheet, labels, dips, round, claim, history, plan or suppliers.

    Example: vatside print sheets --shipment S1 --out out
    """
    from intake.desk.papers import print_forms

    house = house_of(ctx)
    folder = Path(out) if out else house.folder / "out"
    paths = print_forms(house, what, folder, shipment=shipment, batch=batch, paper=paper or "", fillable=fillable)
    if json_:
        as_json({"files": [str(path) for path in paths]})
    else:
        say([f"wrote {path}" for path in paths])
