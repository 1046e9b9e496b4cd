"""Commands that tell what the books say: ``report`` on losses, suppliers and vats, ``trace`` and ``release``."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.show import as_json, house_of, json_option, moment, say, table
from intake.errors import BadInput, Finding

__all__ = ["release", "report", "trace"]


class _Report(click.Group):
    """Sub-commands that live in modules of their own are imported when asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Those of this module and of the others."""
        return [*super().list_commands(ctx), *_ELSEWHERE]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Look here first."""
        if cmd_name in _ELSEWHERE:
            from importlib import import_module

            module, name = _ELSEWHERE[cmd_name].split(":")
            command: click.Command = getattr(import_module(module), name)
            return command
        return super().get_command(ctx, cmd_name)


_ELSEWHERE = {
    "alarms": "intake.cli.watch:alarms",
    "journeys": "intake.cli.watch:journeys",
    "expect-losses": "intake.cli.watch:expect_losses",
    "permits": "intake.cli.audits:permits",
    "draw": "intake.cli.audits:draw",
    "audit": "intake.cli.audits:audit",
}


@click.group(cls=_Report)
def report() -> None:
    """Tell losses, alarms, suppliers, journeys, vats, permits; draw a sample; export the books.

    Example: vatside report losses --batch S1-01
    """


BY = ("batch", "vat", "system", "box", "supplier", "group")


@report.command()
@click.option("--batch", default="", help="Only this batch.")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--by", type=click.Choice(BY), default=None, help="Tell losses apart by this.")
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder for the pictures (default: out/).")
@json_option
@click.pass_context
def losses(ctx: click.Context, batch: str, shipment: str, by: str | None, out: str | None, json_: bool) -> None:
    """Losses by day with survival; pictures as SVG.

    Example: vatside report losses --shipment S1; vatside report losses --by vat
    """
    from intake.desk import reports

    house = house_of(ctx)
    folder = Path(out) if out else house.folder / "out"
    if by:
        _told_apart(reports.losses_told_apart(house, by, batch=batch, shipment=shipment, out=folder), json_)
        return
    told = reports.losses(house, batch=batch, shipment=shipment, out=folder)
    if json_:
        as_json(told)
        return
    rows = [
        (r["batch"], r["name"], r["came"], r["doa"], r["dead_first_7_days"], r["dead_later"], r["alive"], _alive(r))
        for r in told["batches"]
    ]
    say(table(("batch", "name", "came", "DOA", "7 d", "later", "alive", "share alive (95 %)"), rows))
    say(["", "DOA alone understates what a journey cost: deaths of the first seven days stand beside it."])
    say([f"wrote {path}" for path in told["files"]])


def _told_apart(told: dict, json_: bool) -> None:  # type: ignore[type-arg]
    if json_:
        as_json(told)
        return
    rows = [
        (
            r["key"], r["came"], r["doa"], r["dead_first_7_days"], r["dead_later"],
            _between(r["deaths_per_animal_day"], 2), _percent_alive(r["alive_day_7"]), _percent_alive(r["alive_day_30"]),
        )
        for r in told["rows"]
    ]  # fmt: skip
    heads = (told["by"], "came", "DOA", "7 d", "later", "dead a day, % (95 %)", "day 7", "day 30")
    say(table(heads, rows))
    say(["", "Day 7 and 30: % alive of those alive when opened.  Intervals take animals as dying independently."])
    say([f"wrote {path}" for path in told["files"]])


def _between(share: dict | None, decimals: int) -> str:  # type: ignore[type-arg]
    if share is None:
        return "–"
    middle, low, high = (f"{100 * share[name]:.{decimals}f}" for name in ("estimate", "low", "high"))
    return f"{middle} ({low}–{high})"


def _percent_alive(step: dict | None) -> str:  # type: ignore[type-arg]
    return "–" if step is None else f"{100 * step['survival']:.1f}"


def _alive(row: dict) -> str:  # type: ignore[type-arg]
    last = row["survival"]
    if last is None:
        return "no death seen"
    return f"{100 * last['survival']:.1f} ({100 * last['low']:.1f}–{100 * last['high']:.1f})"


@report.command()
@json_option
@click.pass_context
def suppliers(ctx: click.Context, json_: bool) -> None:
    """Each supplier's rates with intervals, never bare percents.

    Example: vatside report suppliers
    """
    from intake.desk import reports

    house = house_of(ctx)
    told = reports.suppliers(house)
    if json_:
        as_json(told)
        return
    rows = []
    for one in told["suppliers"]:
        for name, share in one["shares"].items():
            between = f"{100 * share['low']:.1f}–{100 * share['high']:.1f}"
            rows.append((one["supplier"], name, f"{share['of']:.0f}", f"{100 * share['estimate']:.1f}", between))
    say(table(("supplier", "lost", "of", "%", "95 % interval"), rows) if rows else ["Nothing was received yet."])
    for name, places in told["ranking"].items():
        for place in places:
            if place["cannot_be_told_from"]:
                others = ", ".join(place["cannot_be_told_from"])
                say([f"{name}: {place['supplier']} cannot be told from {others} on what is known."])


@report.command()
@json_option
@click.pass_context
def vats(ctx: click.Context, json_: bool) -> None:
    """What stands in every vat and how full it is.

    Example: vatside report vats
    """
    from intake.desk import reports

    told = reports.vats(house_of(ctx))
    if json_:
        as_json(told)
        return
    rows = []
    for one in told:
        if not one["stands"]:
            rows.append((one["system"], one["vat"], "", "", "", "empty", ""))
        for number, stay in enumerate(one["stands"]):
            full = f"{one['full_percent']:.0f}%" if number == 0 else ""
            stage = f"no cut before {stay['not_cut_before'][5:]}" if stay["not_cut_before"] else stay["stage"]
            rows.append((one["system"], one["vat"], full, stay["batch"], stay["count"], stay["name"], stage))
    say(table(("system", "vat", "full", "batch", "count", "name", "stage"), rows))


@click.command()
@click.option("--batch", default="", help="Trace from this batch.")
@click.option("--vat", default="", help="Trace from what stood in this vat.")
@click.option("--system", default="", help="Trace from this water.")
@click.option("--since", default="", help="Only contacts from this day on.")
@click.option("--picture", type=click.Path(dir_okay=False), default=None, help="With --batch: also draw it, as SVG.")
@json_option
@click.pass_context
def trace(  # the options of the command
    ctx: click.Context, batch: str, vat: str, system: str, since: str, picture: str | None, json_: bool
) -> None:
    """Say who could have infected whom: lots that shared water or followed without cleaning.

    Example: vatside trace --batch S1-06 --picture out/S1-06.svg
    """
    from intake.desk.exposures import trace_picture, trace_rows
    from intake.desk.house import save

    house = house_of(ctx)
    if picture and not batch:
        raise BadInput(Finding("--picture", picture, "--batch beside it", "A picture is drawn from one batch."))
    told = trace_rows(house, batch=batch, vat=vat, system=system, since=moment(house, since))
    if picture:
        save(Path(picture), trace_picture(house, batch, since=moment(house, since)).encode())
    if json_:
        as_json(told)
        return
    if not told:
        say(["No contact is in the books."])
    for of, way in dict.fromkeys((r["of"], r["direction"]) for r in told):
        rows = [
            (r["batch"], r["name"], r["where"], r["how"], r["from"], r["until"])
            for r in told
            if (r["of"], r["direction"]) == (of, way)
        ]
        say([f"{of} {way}:", *table(("batch", "name", "where", "how", "from", "until"), rows), ""])
    if picture:
        say([f"wrote {picture}"])


@click.command()
@click.option("--batch", default="", help="Only this batch.")
@json_option
@click.pass_context
def release(ctx: click.Context, batch: str, json_: bool) -> None:
    """Say for each lot in quarantine when it is free at the earliest and what still stands in the way.

    Exit 1 when a batch named with --batch may not be released yet.

    Example: vatside release --batch S1-01
    """
    from intake.desk.exposures import release_rows

    told = release_rows(house_of(ctx), batch)
    if json_:
        as_json(told)
    else:
        for row in told:
            date = row["earliest"] or "not to be said yet"
            say([f"{row['batch']} {row['name']}: {'may be released' if row['releasable'] else f'earliest {date}'}"])
            say([f"    – {what}" for what in row["stands_in_the_way"]])
        if not told:
            say(["Nothing is in quarantine."])
    if batch and not all(row["releasable"] for row in told):
        ctx.exit(1)
