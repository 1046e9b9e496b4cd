"""``scan``: values typed into a returned form, proposed as records and saved once confirmed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, say, table

if TYPE_CHECKING:
    from datetime import datetime

    from intake.app.documents.weekly.returned.scan_sheet import Proposed
    from intake.app.session import House

__all__ = ["scan"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--yes", is_flag=True, help="Record without asking.")
@despite_option
@json_option
@click.pass_context
def scan(ctx: click.Context, file: str, yes: bool, despite: str, json_: bool) -> None:
    """Read the values typed into a fillable form FILE (PDF), and record them once confirmed.

    Intake sheet: DOA, missing, wrong and readings of each box, and the counted animals of each vat.  Acclimation checklist:
    readings at the tub.  Round: dead, weak and left of each lot, the water of each system, work ticked off.  Dip log: work
    ticked off, with its time and what was found.  Sampling list: clean, or the pest found.  Handwriting is not read.  The
    same line of a form is recorded once, however often it is scanned; what others recorded since it was printed is
    recorded again only with a reason.  Without --yes and without a terminal to ask in, nothing is recorded.

    Example: vatside scan sheet-S1-01.pdf
    """
    from intake.app.documents.weekly.returned.scan_sheet import book, propose
    from intake.app.input_files import read_file

    house = house_of(ctx)
    found = propose(house, read_file(Path(file), "a fillable form"), Path(file).name)
    if not json_:
        _show(house, found)
    asking = not yes and not json_ and sys.stdin.isatty() and sys.stdout.isatty()
    agreed = yes or (asking and bool(found.fresh) and click.confirm("Record these?", default=False))
    if agreed and asking and not despite and any(line.since for line in found.fresh):
        agreed = click.confirm("The same was recorded since it was printed. Record it again?", default=False)
        despite = "recorded again from the form, asked in the terminal" if agreed else ""
    told = book(house, found, despite=despite) if agreed else None
    if json_:
        as_json(found.as_dict() | (told.as_dict() if told else {"recorded": [], "keys": []}))
    elif told is not None and told.said:
        say(told.said)
    elif not found.fresh:
        say(["Nothing new on this form."])
    else:
        say(["Nothing was saved." if asking else "Nothing was saved. Record it with --yes."])


def _show(house: House, found: Proposed) -> None:
    """The proposal as a table, and what is left for a person."""
    rows = [
        (
            line.batch,
            line.place
            if line.kind == "reading"
            else f"box {line.tally.box}, {line.place}"
            if line.tally.box
            else line.place,
            line.words,
            _at(house, line.at),
            "recorded before" if line.before else f"recorded since: {line.since}" if line.since else "new",
        )
        for line in found.lines
    ]
    if rows:
        say(table(("batch", "where", "says", "at", "state"), rows))
    if found.left:
        say(["", "Typed, but not recorded by scan:", *(f"  {name}: {value}" for name, value in found.left)])


def _at(house: House, at: datetime | None) -> str:
    """Time of day, with its day where that is not today."""
    if at is None:
        return "now"
    here = at.astimezone(house.site.farm.zone)
    return f"{here:%H:%M}" if here.date() == house.today else f"{here:%Y-%m-%d %H:%M}"
