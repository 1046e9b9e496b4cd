"""The command line's front door: a group that imports a command only when it is asked for.

Nothing heavier than click is imported here, so that ``vatside --help`` answers at once.
"""

from __future__ import annotations

import json
import os
import sys
from importlib import import_module
from typing import Any, NoReturn

import click

from intake import __version__
from intake.cli.replacing import forcible
from intake.errors import IntakeError

__all__ = ["COMMANDS", "vatside"]


COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("intake.cli.farm.demo:demo", "Create a sample farm and run six weeks on it."),
    "init": ("intake.cli.farm.init_and_check:init", "Create a farm folder with a commented farm.toml."),
    "clock": ("intake.cli.farm.clock:clock", "Date entries made with a clock ahead, and say where the clock stands."),
    "check": ("intake.cli.farm.init_and_check:check", "Check farm file, library and books."),
    "stock": ("intake.cli.planning.expect_shipment:stock", "Enter the stock already in the vats."),
    "expect": ("intake.cli.planning.expect_shipment:expect", "Read a packing list."),
    "shipments": ("intake.cli.planning.expect_shipment:shipments", "List shipments and their status."),
    "plan": ("intake.cli.planning.plan:plan", "Propose or accept a vat plan."),
    "clear": ("intake.cli.planning.plan:clear", "Tell the plan that a vat will be empty by a date."),
    "amend": ("intake.cli.planning.plan:amend", "Change an order's arrival or counts."),
    "capacity": ("intake.cli.planning.plan:capacity", "Largest shipment of a mix that fits, by day."),
    "season": ("intake.cli.planning.season:season", "Plan what to order, how many, landing when."),
    "day": ("intake.cli.planning.run_day:day", "Run the receiving day, box by box."),
    "timetable": ("intake.cli.planning.timetable_and_feeds:timetable", "Schedule dips, inspections and checks."),
    "print": ("intake.cli.reporting.print_forms:print_", "Print sheets, checklists, labels, claims."),
    "calendar": ("intake.cli.planning.timetable_and_feeds:feed", "Write a calendar file."),
    "calendars": ("intake.cli.planning.timetable_and_feeds:feeds", "Calendar addresses: list, create, revoke."),
    "feed": ("intake.cli.planning.timetable_and_feeds:feed", "Same as calendar."),
    "feeds": ("intake.cli.planning.timetable_and_feeds:feeds", "Same as calendars."),
    "serve": ("intake.cli.farm.serve:serve", "Serve board and calendars on the farm's network."),
    "receive": ("intake.cli.recording.record_commands:receive", "Record that a shipment has landed."),
    "count": ("intake.cli.recording.record_commands:count", "Record dead, missing, wrong or found animals."),
    "done": ("intake.cli.recording.record_commands:done", "Record a task as done."),
    "round": ("intake.cli.recording.walk_the_round:round_", "Walk the morning round, vat by vat."),
    "journal": ("intake.cli.recording.journal_and_undo:journal", "List what was recorded, with the keys to undo it."),
    "undo": ("intake.cli.recording.journal_and_undo:undo", "Undo the last act, or one by its key."),
    "finding": ("intake.cli.recording.record_commands:finding", "Record an inspection result."),
    "reading": ("intake.cli.recording.record_commands:reading", "Record a measurement."),
    "scan": ("intake.cli.recording.scan:scan", "Read the values typed into a returned intake sheet."),
    "readings": ("intake.cli.recording.logger_readings:readings", "Read a logger's CSV of readings."),
    "move": ("intake.cli.recording.record_commands:move", "Record animals moved, sold, sampled or discarded."),
    "cut": ("intake.cli.recording.record_commands:cut", "Record fragments cut from a parent."),
    "rebook": ("intake.cli.recording.claim_and_rebook:rebook", "Enter wrong or extra animals under their true name."),
    "clean": ("intake.cli.recording.record_commands:clean", "Record a vat as empty, clean and dry."),
    "close": ("intake.cli.recording.replumb_and_carried:close", "Close a vat to newcomers."),
    "open": ("intake.cli.recording.replumb_and_carried:open_", "Open a vat again."),
    "order": ("intake.cli.recording.order_dip:order", "Add an optional dip for a batch."),
    "hold": ("intake.cli.recording.record_commands:hold", "Put a batch on hold, or lift the hold."),
    "claim": ("intake.cli.recording.claim_and_rebook:claim", "Draft the supplier's DOA claim."),
    "history": ("intake.cli.recording.past_history:history", "Take in past shipments from a table."),
    "replumb": (
        "intake.cli.recording.replumb_and_carried:replumb",
        "Record that a vat was connected to another system.",
    ),
    "carried": (
        "intake.cli.recording.replumb_and_carried:carried",
        "Record a tool used in two vats without disinfection.",
    ),
    "stocklist": ("intake.cli.reporting.stocklist:stocklist", "List what may be sold today, with prices."),
    "trace": ("intake.cli.reporting.report:trace", "Show which lots shared water."),
    "release": ("intake.cli.reporting.report:release", "Show when each lot can be released and what blocks it."),
    "report": ("intake.cli.reporting.report:report", "Report losses, suppliers, vats, permits."),
    "backup": ("intake.cli.farm.backup_and_restore:backup", "Back up the ledger and verify the copy."),
    "restore": ("intake.cli.farm.backup_and_restore:restore", "Restore the ledger from a verified backup."),
    "transfer": ("intake.cli.farm.backup_and_restore:transfer", "Move the ledger between SQLite and PostgreSQL."),
    "water": ("intake.cli.calculators.water_calculators:water", "Seawater calculators."),
    "acclimate": ("intake.cli.calculators.acclimate:acclimate", "Step table for one bag."),
    "sample": ("intake.cli.calculators.sample_size:sample", "How many animals to examine."),
}


GROUPS: dict[str, tuple[str, ...]] = {
    "Before a shipment lands": (
        "expect",
        "shipments",
        "amend",
        "plan",
        "clear",
        "capacity",
        "season",
        "timetable",
        "print",
    ),
    "The day": (
        *(
            "day",
            "receive",
            "count",
            "round",
            "done",
            "finding",
            "reading",
            "readings",
            "scan",
            "move",
            "cut",
            "clean",
            "rebook",
        ),
        *("order", "hold", "close", "open", "carried", "journal", "undo"),
    ),
    "The weeks": ("release", "trace", "report", "stocklist", "calendar", "calendars"),
    "Suppliers": ("claim", "history"),
    "The farm": ("init", "check", "stock", "serve", "backup", "restore", "transfer", "replumb", "clock", "demo"),
    "Calculators": ("water", "acclimate", "sample"),
}
"""Commands by the day's path; what stands in none is listed last."""
_SAME_AS = frozenset({"feed", "feeds"})


COMPLETION = "_VATSIDE_COMPLETE"
"""Set by a shell that asks for the words that may follow."""


class LazyGroup(click.Group):
    """A group whose commands are named in a table and imported on demand."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  # click's signature
        """Names in the order of the path, not of the alphabet."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  # click's signature
        """Import the one command asked for."""
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name][0].split(":")
        command = getattr(import_module(module), name)
        assert isinstance(command, click.Command)  # noqa: S101  # the table names commands only; a test walks it
        command = forcible(command)
        if COMPLETION in os.environ:
            from intake.cli.completing import completed

            return completed(command)
        return command

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """The group's own options, completed from the ledger too."""
        params = super().get_params(ctx)
        if COMPLETION in os.environ:
            from intake.cli.completing import offered

            offered(params)
        return params

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Offer the nearest command where the word is not known."""
        word = args[0] if args else ""
        if word and not word.startswith("-") and word not in COMMANDS:
            import difflib

            close = difflib.get_close_matches(word, COMMANDS, n=3, cutoff=0.5)
            hint = f" Did you mean {', '.join(close)}?" if close else " See vatside --help."
            ctx.fail(f"No such command {word!r}.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them, which click's own listing would do."""
        placed = {name for names in GROUPS.values() for name in names}
        others = tuple(name for name in COMMANDS if name not in placed and name not in _SAME_AS)
        for head, names in {**GROUPS, "Others": others}.items():
            rows = [(name, COMMANDS[name][1]) for name in names if name in COMMANDS]
            if rows:
                with formatter.section(head):
                    formatter.write_dl(rows)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[Any]:
        """Complete from the table, for the same reason."""
        from click.shell_completion import CompletionItem

        del ctx
        return [CompletionItem(name, help=line) for name, (_, line) in COMMANDS.items() if name.startswith(incomplete)]

    def invoke(self, ctx: click.Context) -> Any:
        """Turn refusals into text (or JSON) and exit 2; anything else is a bug and may show itself."""
        words = [*ctx._protected_args, *ctx.args]  # noqa: SLF001  # click keeps a group's words nowhere else
        try:
            return super().invoke(ctx)
        except IntakeError as error:
            if ctx.params.get("debug"):
                raise
            refuse(error, as_json="--json" in words)
        except KeyboardInterrupt:
            # what was kept was kept in one transaction, so nothing is ever half done
            click.echo("Stopped. Nothing was saved by this command beyond what it has reported.", err=True)
            ctx.exit(130)
        except BrokenPipeError:
            # the reader (head, less) has gone: nothing is wrong with us
            sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123
            ctx.exit(0)
        except OSError as error:
            if ctx.params.get("debug") or error.errno is None:
                raise
            click.echo(
                f"✗ {error.filename or 'the disk'}: {error.strerror}. Check the path, permissions and free disk space.",
                err=True,
            )
            ctx.exit(2)


def refuse(error: IntakeError, *, as_json: bool = False) -> NoReturn:
    """Print what must be corrected and leave with the error's exit code."""
    if as_json:
        facts: dict[str, Any] = {"error": str(error), "findings": [one.as_dict() for one in error.findings]}
        if error.rules:
            facts["rules"] = list(error.rules)
        click.echo(json.dumps(facts, ensure_ascii=False, indent=2))
    from intake.cli.farm_units import refusal_units

    units = refusal_units()
    lines = [units.finding(finding, typed=not error.rules) for finding in error.findings] or [str(error)]
    for line in lines[:20]:
        click.echo(_folded(f"✗ {line}"), err=True)
    if len(lines) > 20:
        click.echo(f"✗ and {len(lines) - 20} more", err=True)
    if not any("Nothing was saved." in line for line in lines):
        click.echo("Nothing was saved.", err=True)
    raise SystemExit(error.exit_code)


def _folded(line: str) -> str:
    """Folded for a person who looks on; whole for a program that searches in it."""
    if not sys.stderr.isatty():
        return line
    from intake.cli.terminal import fold

    return fold(line)


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.option(
    "--farm",
    type=click.Path(file_okay=False),
    envvar="VATSIDE_FARM",
    default=".",
    help="Farm folder (default: current folder or VATSIDE_FARM).",
)
@click.option(
    "--who", envvar="VATSIDE_WHO", default="", help="Person making the entry (id in farm.toml; default: the first)."
)
@click.option(
    "--today", default="", metavar="DATE", help="Confirm today's date for the first entry after a long silence."
)
@click.option("--debug", is_flag=True, help="Show tracebacks.")
@click.version_option(__version__, prog_name="vatside", message="%(prog)s %(version)s")
@click.pass_context
def vatside(ctx: click.Context, farm: str, who: str, today: str, debug: bool) -> None:
    """Plan, receive and quarantine shipments of live marine animals.

    Alone it shows today.  Workflow: expect → plan → timetable → receive/count → report.  Try `vatside demo`.
    """
    ctx.obj = {**(ctx.obj or {}), "farm": farm, "who": who, "today": today, "debug": debug}
    if ctx.invoked_subcommand is not None:
        return
    if not os.path.isfile(os.path.join(farm, "farm.toml")):  # noqa: PTH113, PTH118  # pathlib costs a start-up nobody asked for
        click.echo(ctx.get_help())
        return
    from intake.cli.farm.today import show_today

    show_today(ctx)
