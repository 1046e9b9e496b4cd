"""Commands about what is to come: ``expect``, ``shipments`` and the first ``stock``."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.planning.ask_questions import ask_columns, ask_questions, show_open, show_understanding
from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, moment, progress, say, table

if TYPE_CHECKING:
    from intake.app.session import House
    from intake.packing import Understanding

__all__ = ["expect", "shipments", "stock"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--supplier", required=True, help="Supplier of farm.toml.")
@click.option("--lands", default="", help="When it lands, farm time: 2027-03-04T09:00.")
@click.option("--columns", default="", help="Columns by letter or heading: name=B,count=Qty.  Note=- drops one.")
@click.option("--answer", "answers", multiple=True, help="KEY=VALUE: answer to a question. Repeatable.")
@click.option(
    "--answers", "answers_file", default="", help="File of answers (TOML); open questions are written into it."
)
@click.option(
    "--ask/--no-ask", default=None, help="Ask the open questions in the terminal (default: where there is one)."
)
@click.option("--replaces", default="", help="Shipment whose list this corrects; the difference is shown first.")
@click.option("--yes", is_flag=True, help="Accept the difference of --replaces.")
@click.option("--shipment", default="", help="Id for the shipment (default: the next S…).")
@click.option("--dry", is_flag=True, help="Only show how it is understood.")
@key_option
@json_option
@click.pass_context
def expect(ctx: click.Context, /, file: str, json_: bool, **options: Any) -> None:
    """Read the packing list FILE and enter it as a shipment.

    FILE is a workbook (XLSX, XLSB, XLS, ODS), CSV, a table in a web page, text in columns, or a PDF with
    text; at most 50,000 rows.

    What the list leaves open is asked, never guessed; answers are remembered by supplier.  Exit 2 while a
    question is open, and nothing is written.

    Example: vatside expect list.csv --supplier lagoon --lands 2027-03-04T09:00

    Example: vatside expect list.xlsx --supplier lagoon --lands 2027-03-04T09:00 --answers answers.toml

    Example: vatside expect corrected.xlsx --supplier lagoon --replaces S3
    """
    from intake.app.commands import announce_shipment

    house = house_of(ctx)
    before = announce_shipment.entered_as(house, options["key"])
    if before:
        _tell_before(before, json_)
        return
    reading = _Reading(house, Path(file), options, json_)
    found = reading.understood()
    if json_:
        as_json(found.as_dict())
    elif not reading.asked:
        show_understanding(found)
    if not found.ready:
        if not json_:
            show_open(found, reading.write_questions(found))
        ctx.exit(2)
    if options["replaces"]:
        _replace(ctx, reading, found, json_)
        return
    if options["dry"]:
        return
    batches = announce_shipment.enter(
        house, found, reading.lands, answers=reading.told, source=Path(file), key=options["key"]
    )
    reading.forget()
    if not json_:
        say(["", f"Entered as {found.shipment}: {len(batches)} batches, {batches[0].id} to {batches[-1].id}."])


class _Reading:
    """One list read, with the answers of the command line, of a file, and of the terminal."""

    def __init__(self, house: House, file: Path, options: Mapping[str, Any], json_: bool) -> None:
        from intake.app.queries.planning import packing_list
        from intake.errors import BadInput, Finding

        self.house, self.file, self.options = house, file, options
        self.asked = False
        when = moment(house, options["lands"], "--lands")
        if when is None and options["replaces"]:
            when = packing_list.lands_of(house, options["replaces"])
        if when is None:
            raise BadInput(Finding("--lands", "", "a time such as 2027-03-04T09:00"))
        self.lands = when
        asking = options["ask"]
        self.interactive = not json_ and (asking if asking is not None else _in_a_terminal())
        named = str(options["answers_file"])
        self.kept: Path | None = Path(named) if named else None
        self.own = self.interactive and not named
        if self.own:  # answered in the terminal: kept on the farm until the list is entered
            self.kept = packing_list.kept_file(house, options["supplier"], file)
        told = packing_list.kept_answers(self.kept) if self.kept else {}
        if told and self.own:
            click.echo(f"Taken from an earlier run: {len(told)} answers ({self.kept}; delete it to be asked again).")
        if options["columns"]:
            told["columns"] = options["columns"]
        for text in options["answers"]:
            name, mark, value = text.partition("=")
            if not mark:
                raise BadInput(Finding("--answer", text, "KEY=VALUE as the question shows it"))
            told[name.strip()] = value.strip()
        self.told = told

    def understood(self) -> Understanding:
        """The list as it is understood; asked about in the terminal until nothing is open or nothing more is answered."""
        found = self._read()
        if not self.interactive:
            return found
        self.asked = True
        show_understanding(found)
        if not any("remembered for this supplier" in sentence for sentence in found.evidence):
            columns = ask_columns(found)
            if columns:
                self.told["columns"] = columns
                found = self._read()
                self._keep(found)
        while found.questions:
            told = ask_questions(found, partial(self._answered, found))
            if not told:
                break
            self.told.update(told)
            found = self._read()
        show_understanding(found)
        return found

    def _read(self) -> Understanding:
        from intake.app.queries.planning import packing_list

        options = self.options
        found = packing_list.expect(
            self.house, self.file, options["supplier"], self.lands, shipment=options["shipment"], answers=self.told,
            replaces=options["replaces"], told=lambda read, of: progress(f"{read:,} of {of:,} lines read"),
        )  # fmt: skip
        progress("")
        return found

    def _answered(self, found: Understanding, key: str, value: str) -> None:
        """Keep one answer as soon as it is given: what interrupts the next question takes none of them away."""
        self.told[key] = value
        self._keep(found)

    def _keep(self, found: Understanding) -> None:
        from intake.app.queries.planning import packing_list

        if self.own and self.kept:
            packing_list.keep_answers(self.kept, found, self.told, own=True)

    def forget(self) -> None:
        """The list is entered: what was answered for it in the terminal is no longer needed."""
        if self.own and self.kept:
            self.kept.unlink(missing_ok=True)

    def write_questions(self, found: Understanding) -> str:
        """Write answers and open questions into the file of --answers; gives its name, empty without one."""
        from intake.app.queries.planning import packing_list

        name = str(self.options["answers_file"])
        if name:
            packing_list.keep_answers(Path(name), found, self.told)
        return name


def _in_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _replace(ctx: click.Context, reading: _Reading, found: Understanding, json_: bool) -> None:
    """Show what a corrected list changes, and enter it once that is accepted."""
    from intake.app.commands.records.replace_list import difference, replace_list

    options = reading.options
    rows = difference(reading.house, options["replaces"], found)
    if not json_:
        say(
            [
                "",
                f"Against {options['replaces']}:",
                *(rows or ["no difference in names, sizes, counts, boxes, prices or permits"]),
            ]
        )
    if options["dry"]:
        return
    accepted = options["yes"] or (reading.interactive and click.confirm("Enter the corrected list?", default=False))
    if not accepted:
        click.echo("Nothing was saved. Run it again with --yes to enter the corrected list.", err=True)
        ctx.exit(2)
    batches = replace_list(
        reading.house, options["replaces"], found, reading.lands, answers=reading.told, source=reading.file,
        key=options["key"],
    )  # fmt: skip
    reading.forget()
    if not json_:
        say([f"{options['replaces']} now has {len(batches)} batches, {batches[0].id} to {batches[-1].id}."])


def _tell_before(shipment: str, json_: bool) -> None:
    """The same list posted again under its key: answered, not entered."""
    if json_:
        as_json({"shipment": shipment, "recorded": []})
    else:
        say([f"Entered before as {shipment}, with this key; nothing was written."])


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
@click.option("--reason", required=True, help="Reason it will not arrive.")
@key_option
@json_option
@click.pass_context
def cancel(ctx: click.Context, shipment: str, reason: str, key: str, json_: bool) -> None:
    """Record that SHIPMENT will not arrive.

    It stays on record and is gone from plan, timetable, calendars and permits.

    Example: vatside shipments cancel S4 --reason "supplier has no stock"
    """
    from intake.app.commands.announce_shipment import cancel as record

    said = record(house_of(ctx), shipment, reason, key=key)
    if json_:
        as_json({"recorded": said})
    else:
        say(said)


@shipments.command()
@click.argument("shipment")
@json_option
@click.pass_context
def lines(ctx: click.Context, shipment: str, json_: bool) -> None:
    """Show each line of SHIPMENT as first entered, as listed now, and as it arrived.

    Ordered is what was entered first: enter the order with `expect`, the packing list later with `expect --replaces`.

    Example: vatside shipments lines S1
    """
    from intake.app.queries.reports.arrived_lines import arrived_lines

    rows = arrived_lines(house_of(ctx), shipment)
    if json_:
        as_json([row.as_dict() for row in rows])
        return
    shown = [
        (
            *(row.batch, row.name, row.ordered, row.listed, "–" if row.arrived is None else row.arrived),
            *(row.missing, row.wrong, row.doa, row.alive),
        )
        for row in rows
    ]
    say(table(("batch", "name", "ordered", "listed", "arrived", "missing", "wrong", "DOA", "alive"), shown))
    differs = sum(row.ordered != row.listed or row.arrived not in (None, row.listed) for row in rows)
    say(["", f"{differs} of {len(rows)} lines differ."])


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, exists=True))
@despite_option
@key_option
@json_option
@click.pass_context
def stock(ctx: click.Context, file: str, despite: str, key: str, json_: bool) -> None:
    """Enter the animals already in the vats, once, when the ledger is opened.

    FILE is CSV with the columns vat, name, group, size_mm, count, since, stage and, if you like, supplier, movable
    (yes or no) and leaves (a date). A column size instead of size_mm takes 2in or 45 mm; without a unit it
    is in the farm's.

    Example: vatside stock stock.csv
    """
    from intake.app.commands.take_stock import take_stock
    from intake.app.input_files import read_file

    house = house_of(ctx)
    batches = take_stock(house, read_file(Path(file), "a table of stock"), file, despite=despite, key=key)
    if json_:
        as_json({"batches": [batch.id for batch in batches]})
    else:
        say([f"{batch.id}: {batch.announced} × {batch.name}" for batch in batches])
