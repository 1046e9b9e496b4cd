"""Commands that tell what the books say: ``report``, ``trace`` and ``release``."""

from __future__ import annotations

from pathlib import Path

import click

from intake.cli.show import as_json, house_of, json_option, moment, say, table

__all__ = ["release", "report", "trace"]


@click.group()
def report() -> None:
    """Tell losses, suppliers, vats or permits.

    Example: vatside report losses --batch S1-01
    """


@report.command()
@click.option("--batch", default="", help="Only this batch.")
@click.option("--shipment", default="", help="Only this shipment.")
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder for the pictures (default: out/).")
@json_option
@click.pass_context
def losses(ctx: click.Context, batch: str, shipment: str, out: str | None, json_: bool) -> None:
    """Losses by day with survival; pictures as SVG.

    Example: vatside report losses --shipment S1
    """
    from intake.desk import reports

    house = house_of(ctx)
    folder = Path(out) if out else house.folder / "out"
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
            rows.append((one["system"], one["vat"], full, stay["batch"], stay["count"], stay["name"], stay["stage"]))
    say(table(("system", "vat", "full", "batch", "count", "name", "stage"), rows))


@report.command()
@click.option("--shipment", default="", help="Only this shipment.")
@json_option
@click.pass_context
def permits(ctx: click.Context, shipment: str, json_: bool) -> None:
    """Animals against permits; missing papers are named.  Not legal advice.

    Example: vatside report permits --shipment S1
    """
    from intake.desk import reports

    told = reports.permits(house_of(ctx), shipment)
    if json_:
        as_json(told)
        return
    rows = [
        (
            r["permit"] or "–",
            r["name"],
            r["source_code"],
            r["announced"],
            r["came"],
            r["dead"],
            r["on_hand"],
            r["papers"],
        )
        for r in told
    ]
    heads = ("permit", "name", "code", "sent", "came", "dead", "here", "papers")
    say(table(heads, rows) if rows else ["No shipment is in the books."])
    say(["", "Listings are dated data the farm keeps current; this is not legal advice."])


@click.command()
@click.option("--batch", default="", help="Trace from this batch.")
@click.option("--vat", default="", help="Trace from what stood in this vat.")
@click.option("--system", default="", help="Trace from this water.")
@click.option("--since", default="", help="Only contacts from this day on.")
@json_option
@click.pass_context
def trace(ctx: click.Context, batch: str, vat: str, system: str, since: str, json_: bool) -> None:
    """Say who could have infected whom: lots that shared water or followed without cleaning.

    Example: vatside trace --batch S1-06
    """
    from intake.desk.exposures import trace_rows

    house = house_of(ctx)
    told = trace_rows(house, batch=batch, vat=vat, system=system, since=moment(house, since))
    if json_:
        as_json(told)
        return
    rows = [(r["direction"], r["batch"], r["name"], r["where"], r["how"], r["from"], r["until"]) for r in told]
    say(
        table(("", "batch", "name", "where", "how", "from", "until"), rows) if rows else ["No contact is in the books."]
    )


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
