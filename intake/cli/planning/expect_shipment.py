"""Commands about what is to come: ``expect``, ``shipments`` and the first ``stock``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, moment, say, table

if TYPE_CHECKING:
    from intake.packing import Understanding

__all__ = ["expect", "shipments", "stock"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--supplier", required=True, help="Supplier of farm.toml.")
@click.option("--lands", required=True, help="When it lands, farm time: 2027-03-04T09:00.")
@click.option("--columns", default="", help="Columns by letter or heading: name=B,count=Qty.  Note=- drops one.")
@click.option("--answer", "answers", multiple=True, help="KEY=VALUE: answer to a question; may be repeated.")
@click.option("--shipment", default="", help="Id for the shipment (default: the next S…).")
@click.option("--dry", is_flag=True, help="Only show how it is understood.")
@key_option
@json_option
@click.pass_context
def expect(
    ctx: click.Context,
    file: str,
    supplier: str,
    lands: str,
    columns: str,
    answers: tuple[str, ...],
    shipment: str,
    dry: bool,
    key: str,
    json_: bool,
) -> None:
    """Read the packing list FILE (CSV, XLSX or ODS) and enter it as a shipment.

    What cannot be distinguished from the list is asked, never guessed; answers are remembered by supplier.  Exit 2 while a
    question is open, and nothing is written.

    Example: vatside expect list.csv --supplier lagoon --lands 2027-03-04T09:00
    """
    from intake.app.commands import announce_shipment
    from intake.app.queries.planning import packing_list
    from intake.errors import BadInput, Finding

    house = house_of(ctx)
    when = moment(house, lands, "--lands")
    if when is None:
        raise BadInput(Finding("--lands", "", "a time such as 2027-03-04T09:00"))
    told: dict[str, str] = {"columns": columns} if columns else {}
    for text in answers:
        name, mark, value = text.partition("=")
        if not mark:
            raise BadInput(Finding("--answer", text, "KEY=VALUE as the question shows it"))
        told[name.strip()] = value.strip()
    before = announce_shipment.entered_as(house, key)
    if before:
        _tell_before(before, json_)
        return
    found = packing_list.expect(house, Path(file), supplier, when, shipment=shipment, answers=told)
    if json_:
        as_json(found.as_dict())
    else:
        _show(found)
    if not found.ready:
        ctx.exit(2)
    if dry:
        return
    batches = announce_shipment.enter(house, found, when, answers=told, source=Path(file), key=key)
    if not json_:
        say(["", f"Entered as {found.shipment}: {len(batches)} batches, {batches[0].id} to {batches[-1].id}."])


def _tell_before(shipment: str, json_: bool) -> None:
    """The same list posted again with its key: answered, not entered."""
    if json_:
        as_json({"shipment": shipment, "recorded": []})
    else:
        say([f"Entered before as {shipment}, with this key; nothing was written."])


def _show(found: Understanding) -> None:
    say(found.table())
    for problem in found.problems:
        click.echo(f"✗ {problem}", err=True)
    for question in found.questions:
        where = f" ({question.where})" if question.where else ""
        click.echo(f"? {question.what}{where}", err=True)
        if question.choices:
            click.echo(f"    choices: {', '.join(question.choices[:6])}", err=True)
        if question.free:
            click.echo(f"    {'or' if question.choices else 'VALUE'}: {question.free}", err=True)
        click.echo(f"    answer:  {question.how}", err=True)
    if not found.ready:
        click.echo("Nothing was saved. Answer the questions or correct the list, then run this again.", err=True)


@click.group(invoke_without_command=True)
@json_option
@click.pass_context
def shipments(ctx: click.Context, json_: bool) -> None:
    """List shipments and where each stands.

    One that is late is asked about: landed, later, or never.

    Example: vatside shipments
    """
    if ctx.invoked_subcommand is not None:
        return
    from intake.app.queries.planning.announced_shipments import overdue_words, shipment_rows

    house = house_of(ctx)
    rows = shipment_rows(house)
    if json_:
        as_json(rows)
        return
    shown = [
        (
            r["shipment"],
            r["supplier"],
            (r["received"] or r["lands"])[:16],
            r["state"],
            r["lines"],
            r["announced"],
            r["alive"],
        )
        for r in rows
    ]
    heads = ("shipment", "supplier", "lands", "", "lines", "announced", "alive")
    say(table(heads, shown) if shown else ["No packing list was read yet: vatside expect FILE …"])
    asked = overdue_words(house)
    say(["", *asked] if asked else [])


@shipments.command()
@click.argument("shipment")
@click.option("--reason", required=True, help="Why it will never come, in words.")
@key_option
@json_option
@click.pass_context
def cancel(ctx: click.Context, shipment: str, reason: str, key: str, json_: bool) -> None:
    """Record that SHIPMENT will never come.

    It stays on record and is gone from plan, timetable, calendars and permits.

    Example: vatside shipments cancel S4 --reason "supplier has no stock"
    """
    from intake.app.commands.announce_shipment import cancel as record

    said = record(house_of(ctx), shipment, reason, key=key)
    if json_:
        as_json({"recorded": said})
    else:
        say(said)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, exists=True))
@despite_option
@key_option
@json_option
@click.pass_context
def stock(ctx: click.Context, file: str, despite: str, key: str, json_: bool) -> None:
    """Enter what already is in the vats, once, when the ledger is opened.

    FILE is CSV with the columns vat, name, group, size_mm, count, since, stage and, if you like, supplier, movable
    (yes or no) and leaves (a date).

    Example: vatside stock stock.csv
    """
    from intake.app.commands.take_stock import take_stock

    house = house_of(ctx)
    batches = take_stock(house, Path(file).read_bytes(), file, despite=despite, key=key)
    if json_:
        as_json({"batches": [batch.id for batch in batches]})
    else:
        say([f"{batch.id}: {batch.announced} × {batch.name}" for batch in batches])
