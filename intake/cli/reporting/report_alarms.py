"""``vatside report alarms``, ``journeys`` and ``expect-losses``: what is unusual, and what the next journey may cost."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import click

from intake.cli.reporting.table_out import folder_or_table_option, keep_table, picture_folder, table_option
from intake.cli.terminal import as_json, house_of, json_option, picture_option, say, table
from intake.errors import BadInput, Finding

__all__ = ["alarms", "expect_losses", "journeys"]


def _wrapped(text: str, indent: str = "    ") -> list[str]:
    return textwrap.wrap(text, 80, initial_indent=f"{indent}→ ", subsequent_indent=f"{indent}  ")


@click.command()
@click.option("--days", type=click.IntRange(1, 400), default=7, show_default=True, help="Days to look back.")
@folder_or_table_option
@picture_option
@json_option
@click.pass_context
def alarms(ctx: click.Context, days: int, out: str, kind: str, json_: bool) -> None:
    """Unusual losses, and what to look at first: what the dead have in common; readings outside their limits.

    Example: vatside report alarms --days 14
    """
    from intake.app.queries.biosecurity.reading_alarms import alarm_lines, reading_alarms
    from intake.app.queries.reports import loss_alarms

    house = house_of(ctx)
    told = loss_alarms.alarms(house, days=days, out=picture_folder(house, out), kind=kind)
    read = reading_alarms(house, days=days)
    told["readings"] = [one.as_dict() for one in read]
    keep_table(house, "alarms", told, out, quiet=json_, pictures=True)
    if json_:
        as_json(told)
        return
    for one in told["alarms"]:
        head = "Past alarm" if one["over"] else "Alarm"
        say(textwrap.wrap(f"{head}: {one['words']}", 80, subsequent_indent="  "))
        say([f"    since {one['first_day']}", *textwrap.wrap(f"Do first: {one['do_first']}", 80, initial_indent="    ",
                                                            subsequent_indent="    ")])  # fmt: skip
        for words in one["look_first_at"]:
            say(_wrapped(words))
    lines = alarm_lines(house, read)
    say([line for one in lines for line in textwrap.wrap(f"Alarm: {one}", 80, subsequent_indent="  ")])
    if not told["alarms"] and not read:
        say(["No alarm."])
    for one in told["arrivals"]["shipments"]:
        beyond = ", above the limit for this many animals" if one["out"] else ""
        say(["", f"{one['shipment']}: {one['doa']} of {one['came']} dead on arrival{beyond}"])
        for words in one["look_first_at"]:
            say(_wrapped(words))
    say(["", *textwrap.wrap(told["rule"], 80)])
    say(
        textwrap.wrap(
            f"{told['looks']} looks. What the dead share: exact tests, corrected by {told['correction']}.", 80
        )
    )
    small = told["too_small_to_alarm"]
    if small:
        say(textwrap.wrap(f"Too small to alarm by themselves, so look at them yourself: {', '.join(small)}.", 80))
    say([f"Saved {path}" for path in told["files"]])


@click.command()
@folder_or_table_option
@picture_option
@json_option
@click.pass_context
def journeys(ctx: click.Context, out: str, kind: str, json_: bool) -> None:
    """Losses by supplier, group and hours in the bag, adjusted toward the average and with intervals.

    Example: vatside report journeys
    """
    from intake.app.queries.reports import journey_forecast

    house = house_of(ctx)
    told = journey_forecast.journey_report(house, out=picture_folder(house, out), kind=kind)
    keep_table(house, "journeys", told, out, quiet=json_, pictures=True)
    if json_:
        as_json(told)
        return
    for head, found in told["heads"].items():
        rows = [
            (r["supplier"], r["group"], f"{r['hours_in_bag']} {r['season']}".strip(), r["shipments"], f"{r['of']:.0f}",
             f"{100 * r['estimate']:.1f} ({r['interval']})")
            for r in found
        ]  # fmt: skip
        heads = ("supplier", "group", "hours in bag", "ships", "of", f"{head}, %")
        say([*table(heads, rows), ""] if rows else [f"{head}: not known yet.", ""])
    say(["Rates from small samples are adjusted toward the average; 95 % intervals."])
    if not told["shared_fate_known"]:
        say(["No kind of journey was made twice yet: the intervals do not know that animals of",
             "one shipment share their fate, and are too narrow."])  # fmt: skip
    say([f"Saved {path}" for path in told["files"]])


@click.command("expect-losses")
@click.option("--shipment", default="", help="Announced shipment.")
@click.option("--mix", type=click.Path(dir_okay=False), default=None, help="Or a list of animals you may buy.")
@click.option("--supplier", default="", help="With --mix: who would send it.")
@click.option("--hours", type=float, default=None, help="With --mix: hours in the bag.")
@click.option("--confidence", type=click.FloatRange(0, 1, min_open=True, max_open=True), default=0.9,
              show_default=True, help="Of the prediction interval.")  # fmt: skip
@table_option
@json_option
@click.pass_context
def expect_losses(  # the options of the command
    ctx: click.Context,
    shipment: str,
    mix: str | None,
    supplier: str,
    hours: float | None,
    confidence: float,
    out: str,
    json_: bool,
) -> None:
    """What a shipment will probably lose: an announced one, or a mix you think of buying.

    Exit 1 when nothing is known.  The interval is for the animals of this shipment, not for an average.

    Example: vatside report expect-losses --mix wanted.csv --supplier lagoon --hours 40
    """
    from intake.app.queries.reports import journey_forecast

    if bool(shipment) == bool(mix) or (mix and not supplier):
        raise BadInput(Finding("expect-losses", shipment or mix or "", "--shipment S, or --mix FILE with --supplier S"))
    house = house_of(ctx)
    if mix:
        told = journey_forecast.expect_losses_of_mix(house, Path(mix), supplier, hours=hours, confidence=confidence)
    else:
        told = journey_forecast.expect_losses(house, shipment, confidence=confidence)
    keep_table(house, "expect-losses", told, out, quiet=json_)
    known = any(one["expected"] is not None for one in told["heads"].values())
    if json_:
        as_json(told)
    else:
        for head, one in told["heads"].items():
            _head(head, one, confidence)
        if known:
            say(["Lines share one journey, so the ends of their intervals are added: wide on purpose."])
    ctx.exit(0 if known else 1)


def _head(head: str, one: dict[str, Any], confidence: float) -> None:
    if one["expected"] is None:
        say([f"{head}: not enough data (needs two received shipments).", ""])
        return
    rows = [
        (r["batch"], r["name"], r["animals"], "–" if r["expected"] is None else f"{r['expected']:.1f}",
         "–" if r["expected"] is None else f"{r['low']}–{r['high']}", r["basis"])
        for r in one["lines"]
    ]  # fmt: skip
    say(table(("batch", "name", "animals", head, f"{100 * confidence:g} %", "known from"), rows))
    more = f"; nothing is known for {one['nothing_known_for']}" if one["nothing_known_for"] else ""
    say([f"Together {one['expected']:.0f} of {one['animals']}, {one['low']} to {one['high']}{more}.", ""])
