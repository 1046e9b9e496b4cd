"""The command ``print``: forms as PDF files in a folder."""

from __future__ import annotations

import re
from pathlib import Path

import click

from intake.cli.terminal import as_json, house_of, json_option, moment, say

__all__ = ["print_"]


@click.command("print")
@click.argument("what")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--batch", default="", help="Only this batch.")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter", "a3"]),
    default=None,
    help="Paper size (default: the farm's); a3 for plan.",
)
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder (default: out/ in the farm).")
@click.option("--fillable", is_flag=True, help="Sheets, claims and sampling lists with form fields.")
@click.option("--n", "animals", type=click.IntRange(1), default=None, help="sample: animals to examine.")
@click.option("--seed", "words", default="", help="sample: words that fix the draw.")
@click.option("--at", default=None, help="Labels, round, dips, history: as the ledger was at this moment.")
@click.option("--language", default="", help="Language of the paper: en, es, es-419 (default: the farm's).")
@click.option("--label", default=None, metavar="WxH", help="Labels: size of one, mm, such as 99x68.")
@click.option("--across-down", default=None, metavar="NxN", help="Labels across and down (default: as many as fit).")
@click.option("--gap", default=None, metavar="WxH", help="Labels: gaps between them, mm (default 0x0).")
@click.option("--margin", default=None, metavar="WxH", help="Labels: left and upper edge, mm (default: centered).")
@click.option("--offset", default=None, metavar="WxH", help="Labels: how far this printer must be shifted, mm.")
@click.option(
    "--first", type=click.IntRange(1), default=1, show_default=True, help="Labels: first free one on the sheet."
)
@click.option("--cut-marks", is_flag=True, help="Labels: marks to cut plain paper by.")
@click.option("--calibrate", is_flag=True, help="Labels: outlines to hold against the stock.")
@click.option("--reproducible", is_flag=True, help="Date the files on one fixed day: same content, same bytes.")
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
    at: str | None,
    language: str,
    label: str | None,
    across_down: str | None,
    gap: str | None,
    margin: str | None,
    offset: str | None,
    first: int,
    cut_marks: bool,
    calibrate: bool,
    reproducible: bool,
    json_: bool,
) -> None:
    """Print WHAT as PDF.

    WHAT is sheets, checklists, runsheet, labels, boxlabels, water, dips, round, sample, claim, history, plan or
    suppliers.  A sample of unstated size finds a pest carried by 5 % with 95 % confidence.

    Example: vatside print sheets --shipment S1 --out out
    """
    from intake.app.documents.printing import print_forms
    from intake.app.documents.weekly.vat_label_paper import LabelStock

    house = house_of(ctx)
    rows = _two(across_down, "--across-down") or (0.0, 0.0)
    stock = LabelStock(
        _two(label, "--label"), (int(rows[0]), int(rows[1])), _two(gap, "--gap") or (0.0, 0.0), _two(margin, "--margin"),
        _two(offset, "--offset") or (0.0, 0.0), first, cut_marks, calibrate,
    )  # fmt: skip
    folder = Path(out) if out else house.folder / "out"
    try:
        paths = print_forms(
            house, what, folder, shipment=shipment, batch=batch, paper=paper or "", fillable=fillable,
            animals=animals or 0, words=words, stock=stock, at=moment(house, at) if at else None,
            language=language, reproducible=reproducible,
        )  # fmt: skip
    except KeyboardInterrupt:
        click.echo(f"Stopped. Forms finished before are in {folder}; none is half written. Print again.", err=True)
        ctx.exit(130)
    if json_:
        as_json({"files": [str(path) for path in paths]})
    else:
        say([f"Saved {path}" for path in paths])


def _two(told: str | None, option: str) -> tuple[float, float] | None:
    """Two numbers as in ``99x68``; None where nothing was given.

    Raises
    ------
    BadInput
        Anything else.
    """
    from intake.errors import BadInput, Finding

    if told is None:
        return None
    found = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*[x×]\s*(-?\d+(?:\.\d+)?)", told.strip())
    if found is None:
        raise BadInput(Finding(option, told, "two numbers, such as 99x68", "Give both in mm."))
    return float(found[1]), float(found[2])
