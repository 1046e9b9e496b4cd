"""The command ``print``: forms as PDF files in a folder."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.terminal import as_json, house_of, json_option, say

__all__ = ["print_"]


@click.command("print")
@click.argument("what")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--batch", default="", help="Only this batch.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default=None, help="Paper size (default: the farm's).")
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder (default: out/ in the farm).")
@click.option("--fillable", is_flag=True, help="Sheets, claims and sampling lists with form fields.")
@click.option("--n", "animals", type=click.IntRange(1), default=None, help="sample: animals to examine.")
@click.option("--seed", "words", default="", help="sample: words that fix the draw.")
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
    animals: int | None,
    words: str,
    json_: bool,
) -> None:
    """Print WHAT as PDF.

    WHAT is sheets, checklists, runsheet, labels, boxlabels, water, dips, round, sample, claim, history, plan or
    suppliers.  A sample of unstated size finds a pest carried by 5 % with 95 % confidence.

    Example: vatside print sheets --shipment S1 --out out
    """
    from intake.app.documents.printing import print_forms

    house = house_of(ctx)
    folder = Path(out) if out else house.folder / "out"
    try:
        paths = print_forms(
            house, what, folder, shipment=shipment, batch=batch, paper=paper or "", fillable=fillable,
            animals=animals or 0, words=words,
        )  # fmt: skip
    except KeyboardInterrupt:
        click.echo(f"Stopped. Forms finished before are in {folder}; none is half written. Print again.", err=True)
        ctx.exit(130)
    if json_:
        as_json({"files": [str(path) for path in paths]})
    else:
        say([f"Saved {path}" for path in paths])
