"""Commands that show what the ledger says: ``report`` on losses, suppliers and vats, ``trace`` and ``release``."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.replacing import forcible
from intake.cli.reporting.table_out import folder_or_table_option, keep_table, picture_folder, table_option
from intake.cli.terminal import as_json, house_of, json_option, moment, picture_option, say, table
from intake.errors import BadInput, Finding

if TYPE_CHECKING:
    from intake.app.session import House

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
            return forcible(command)
        return super().get_command(ctx, cmd_name)


_ELSEWHERE = {
    "alarms": "intake.cli.reporting.report_alarms:alarms",
    "journeys": "intake.cli.reporting.report_alarms:journeys",
    "expect-losses": "intake.cli.reporting.report_alarms:expect_losses",
    "reasons": "intake.cli.reporting.report_reasons:reasons",
    "money": "intake.cli.reporting.report_money:money",
    "sales": "intake.cli.reporting.report_sales:sales",
    "permits": "intake.cli.reporting.report_audit:permits",
    "draw": "intake.cli.reporting.report_audit:draw",
    "audit": "intake.cli.reporting.report_audit:audit",
}


@click.group(cls=_Report)
def report() -> None:
    """Show losses, alarms, suppliers, journeys, vats, sales, permits; draw a sample; export the ledger.

    Example: vatside report losses --batch S1-01
    """


then_option = click.option("--at", "at_", default="", help="State at this time, from what is known now (default: now).")


def _then(house: House, at: str) -> House:
    """The farm as it stood at a moment: corrections made since count from the moment of what they correct."""
    when = moment(house, at)
    if when is None:
        return house
    if when > house.now:
        raise BadInput(Finding("--at", at, "a moment in the past"))
    return house.at(when)


BY = ("batch", "vat", "system", "box", "supplier", "group")


@report.command()
@click.option("--batch", default="", help="Only this batch.")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--against", default="", help="With --batch: another batch, to test whether both die alike (log-rank).")
@click.option("--by", type=click.Choice(BY), default=None, help="Group losses by.")
@folder_or_table_option
@picture_option
@then_option
@json_option
@click.pass_context
def losses(  # the options of the command
    ctx: click.Context,
    batch: str,
    shipment: str,
    against: str,
    by: str | None,
    out: str,
    kind: str,
    at_: str,
    json_: bool,
) -> None:
    """Losses by day with survival and hazard, and their pictures; by box also what was dead at opening.

    Example: vatside report losses --shipment S1; vatside report losses --by vat
    """
    from intake.app.queries.reports import loss_report

    house = _then(house_of(ctx), at_)
    folder = picture_folder(house, out)
    if by:
        apart = loss_report.losses_told_apart(house, by, batch=batch, shipment=shipment, out=folder, kind=kind)
        keep_table(house, "losses by", apart, out, quiet=json_, pictures=True)
        _told_apart(apart, json_)
        return
    if against and not batch:
        raise BadInput(Finding("--against", against, "--batch beside it: the batch it is compared with"))
    told = loss_report.losses(house, batch=batch, shipment=shipment, out=folder, kind=kind)
    if against:
        told["compared"] = loss_report.compared(house, batch, against)
    keep_table(house, "losses", told, out, quiet=json_, pictures=True)
    if json_:
        as_json(told)
        return
    rows = [
        (r["batch"], r["name"], r["came"], r["doa"], r["dead_first_7_days"], r["dead_later"], r["alive"], _alive(r))
        for r in told["batches"]
    ]
    say(table(("batch", "name", "came", "DOA", "7 d", "later", "alive", "survival (95 % CI)"), rows))
    say(["", "DOA alone understates shipping losses; see also deaths in days 1–7."])
    if against:
        _compared(told["compared"])
    say([f"Saved {path}" for path in told["files"]])


def _compared(told: dict[str, Any]) -> None:
    """Two batches against each other, in words."""
    for batch, deaths, expected in zip(told["batches"], told["deaths"], told["expected"], strict=True):
        say([f"{batch}: {deaths} dead, {expected:.1f} expected if both died alike"])
    sure = "they differ" if told["chance"] <= 0.05 else "no proven difference"
    say([f"{sure} (log-rank, p = {told['chance']:.2g}; animals of one bag die together, so p is too small)"])


def _told_apart(told: dict[str, Any], json_: bool) -> None:
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
    say(["", "Day 7 and 30: % alive of those alive when opened.  Intervals assume independent deaths."])
    if "opening" in told:
        _by_box(told["opening"])
    say([f"Saved {path}" for path in told["files"]])


def _by_box(opening: dict[str, Any]) -> None:
    rows = [
        (
            r["box"] or "not recorded", ", ".join(r["batches"]), f"{'' if r['came_told'] else '~'}{r['came']}",
            r["doa"], _between(r["doa_share"], 1), r["missing"], r["wrong"],
        )
        for r in opening["boxes"]
    ]  # fmt: skip
    say(["", "When opened:", *table(("box", "batches", "came", "DOA", "DOA, % (95 %)", "miss", "wrong"), rows)])
    if any(not r["came_told"] for r in opening["boxes"]):
        say(["~ estimate: the line divided evenly over its boxes. Enter real counts with count --in-box."])
    sure = [one for one in opening["in_common"] if one["corrected"] <= 0.05]
    for one in sure:
        counts = (
            f"{one['dead']} of {one['of']} dead on arrival against {one['dead_elsewhere']} of {one['of_elsewhere']}"
        )
        say([f"→ {', '.join(one['what'])}: {counts} elsewhere, corrected chance {one['corrected']:.2g}"])
    if not sure:
        say(["No common factor stands out among the DOA."])
    say([f"{opening['looked_at']} looks, exact tests, corrected by Holm.  Animals of one bag die together:"])
    say(["Use these to decide what to check first; they are not proof."])


def _between(share: dict[str, float] | None, decimals: int) -> str:
    if share is None:
        return "–"
    middle, low, high = (f"{100 * share[name]:.{decimals}f}" for name in ("estimate", "low", "high"))
    return f"{middle} ({low}–{high})"


def _percent_alive(step: dict[str, float] | None) -> str:
    return "–" if step is None else f"{100 * step['survival']:.1f}"


def _alive(row: dict[str, Any]) -> str:
    last = row["survival"]
    if last is None:
        return "no deaths recorded"
    return f"{100 * last['survival']:.1f} ({100 * last['low']:.1f}–{100 * last['high']:.1f})"


@report.command()
@table_option
@json_option
@click.pass_context
def suppliers(ctx: click.Context, out: str, json_: bool) -> None:
    """Loss rates by supplier, with confidence intervals.

    Example: vatside report suppliers
    """
    from intake.app.queries.reports import supplier_scorecard

    house = house_of(ctx)
    told = supplier_scorecard.suppliers(house)
    keep_table(house, "suppliers", told, out, quiet=json_)
    if json_:
        as_json(told)
        return
    rows = []
    for one in told["suppliers"]:
        for name, share in one["shares"].items():
            percents = (f"{100 * share[key]:.1f}" for key in ("raw", "estimate"))
            rows.append((one["supplier"], name, share["shipments"], f"{share['of']:.0f}", *percents, share["interval"]))
    heads = ("supplier", "lost", "ships", "of", "raw %", "%", "95 % interval")
    say(table(heads, rows) if rows else ["Nothing was received yet."])
    for name, places in told["ranking"].items():
        _places(name, places)
    past = [f"{one['past_shipments']} of {one['supplier']}" for one in told["suppliers"] if one["past_shipments"]]
    if past:
        say(["", *textwrap.wrap(f"With past shipments from the owner's tables: {', '.join(past)}.", 80)])
    known = [f"{name} {value:.2f}" for name, value in told["likeness"].items() if value is not None]
    if known:
        say(["", *textwrap.wrap(f"How alike animals of one shipment are (0 not, 1 wholly): {', '.join(known)}.", 80)])


def _places(head: str, places: list[dict[str, Any]]) -> None:
    """The order of the suppliers under one head, with those that cannot be distinguished."""
    if len(places) < 2:
        return
    say(["", f"{head}, fewest first:"])
    for place in places:
        others = ", ".join(place["cannot_be_told_from"])
        alike = f"no proven difference from {others}" if others else "differs from all others"
        say([f"  {place['place']}. {place['supplier']}: {alike}"])


@report.command()
@then_option
@table_option
@json_option
@click.pass_context
def vats(ctx: click.Context, at_: str, out: str, json_: bool) -> None:
    """What is in every vat and how full it is, now or at a moment in the past.

    Example: vatside report vats --at 2027-03-08
    """
    from intake.app.queries.overview import vat_stock

    house = _then(house_of(ctx), at_)
    told = vat_stock.vats(house)
    keep_table(house, "vats", told, out, quiet=json_)
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
@click.option(
    "--picture",
    type=click.Path(dir_okay=False),
    default=None,
    help="With --batch: also draw it; SVG, PNG or PDF by its ending.",
)
@table_option
@json_option
@click.pass_context
def trace(  # the options of the command
    ctx: click.Context, batch: str, vat: str, system: str, since: str, picture: str | None, out: str, json_: bool
) -> None:
    """Trace exposure: lots that shared water, or followed in a vat without cleaning.

    Example: vatside trace --batch S1-06 --picture out/S1-06.svg
    """
    from intake.app.documents.contact_trace_picture import draw_trace
    from intake.app.queries.biosecurity.contact_tracing import trace_rows

    house = house_of(ctx)
    if picture and not batch:
        raise BadInput(Finding("--picture", picture, "--batch beside it", "--picture needs --batch."))
    told = trace_rows(house, batch=batch, vat=vat, system=system, since=moment(house, since))
    if picture:
        draw_trace(house, batch, Path(picture), since=moment(house, since))
    keep_table(house, "trace", told, out, quiet=json_)
    if json_:
        as_json(told)
        return
    if not told:
        say(["No shared water or other contact on record."])
    for of, way in dict.fromkeys((r["of"], r["direction"]) for r in told):
        rows = [
            (r["batch"], r["name"], r["where"], r["how"], r["from"], r["until"])
            for r in told
            if (r["of"], r["direction"]) == (of, way)
        ]
        say([f"{of} {way}:", *table(("batch", "name", "where", "how", "from", "until"), rows), ""])
    if picture:
        say([f"Saved {picture}"])


@click.command()
@click.option("--batch", default="", help="Only this batch.")
@table_option
@json_option
@click.pass_context
def release(ctx: click.Context, batch: str, out: str, json_: bool) -> None:
    """Show the earliest release date of each lot in quarantine and what still blocks it.

    Exit 1 when a batch named with --batch may not be released yet.

    Example: vatside release --batch S1-01
    """
    from intake.app.queries.biosecurity.release_status import release_rows

    house = house_of(ctx)
    told = release_rows(house, batch)
    keep_table(house, "release", told, out, quiet=json_)
    if json_:
        as_json(told)
    else:
        for row in told:
            date = row["earliest"] or "not to be said yet"
            say([f"{row['batch']} {row['name']}: {'ready for release' if row['releasable'] else f'earliest {date}'}"])
            say([f"    – {what}" for what in row["stands_in_the_way"]])
            if not row["releasable"]:
                say([f"    why: {'; '.join(row['why'])}"] if row["why"] else [])
                say([f"    sooner: {what}" for what in row["sooner"]])
        if not told:
            say(["Nothing is in quarantine."])
    if batch and not all(row["releasable"] for row in told):
        ctx.exit(1)
