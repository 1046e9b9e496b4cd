"""The command ``readings``: a logger's CSV read into the ledger."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, say
from intake.errors import BadInput, Finding

__all__ = ["readings"]


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--vat", default="", help="Vat the logger hangs in.")
@click.option("--system", default="", help="System the logger hangs in.")
@click.option("--columns", default="", help='Headings: "time=Date;temperature_c=Probe 1" (default: as the file says).')
@click.option("--dates", type=click.Choice(["dmy", "mdy", "ymd"]), default=None, help="Order of day and month.")
@despite_option
@key_option
@json_option
@click.pass_context
def readings(  # one parameter for each thing a person can say
    ctx: click.Context,
    file: str,
    vat: str,
    system: str,
    columns: str,
    dates: str | None,
    despite: str,
    key: str,
    json_: bool,
) -> None:
    """Read the readings of a logger from FILE (CSV); rows read before are left out.

    Example: vatside readings probe-a.csv --system quarantine-a
    """
    from intake.app.commands.records.read_logger import import_readings
    from intake.app.input_files import read_file

    house = house_of(ctx)
    if bool(vat) == bool(system):
        raise BadInput(Finding("--vat, --system", vat or system, "one of the two", "Say where the logger hangs."))
    if vat:
        house.site.vat(vat)
    elif system not in house.site.systems:
        raise BadInput(Finding("--system", system, f"one of {', '.join(sorted(house.site.systems))}"))
    told = dict(part.split("=", 1) for part in columns.split(";") if "=" in part)
    named = {name.strip(): head.strip() for name, head in told.items()}
    found = import_readings(
        house, read_file(Path(file), "a table of readings"), Path(file).name, vat or system,
        columns=named, dates=dates or "", despite=despite, key=key,
    )  # fmt: skip
    if json_:
        as_json(found.as_dict())
        return
    say([*found.columns, *found.recorded.said, f"{found.fresh} of {found.rows} rows are new."])
