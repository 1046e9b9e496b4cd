"""``vatside report permits``, ``draw`` and ``audit``: what an authority, a pathologist or an auditor asks for."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from intake.cli.calculators.sample_size import _share
from intake.cli.reporting.table_out import keep_table, table_option
from intake.cli.terminal import as_json, house_of, json_option, say, table

__all__ = ["audit", "draw", "permits"]


@click.command()
@click.option("--shipment", default="", help="Only this shipment.")
@table_option
@json_option
@click.pass_context
def permits(ctx: click.Context, shipment: str, out: str, json_: bool) -> None:
    """Animals against permits; exit 1 if a listed line still to come lacks papers.  Not legal advice.

    Permits the farm holds are read from permits.toml in its folder.

    Example: vatside report permits --shipment S1
    """
    from intake.app.queries.reports.permit_status import ADVICE, permit_rows

    house = house_of(ctx)
    told = permit_rows(house, shipment)
    keep_table(house, "permits", told, out, quiet=json_)
    wanting = [row for row in told if row["still_to_come"] and row["lacks"]]
    if json_:
        as_json(told)
        ctx.exit(1 if wanting else 0)
    rows = [
        (r["shipment"], r["permit"] or "–", r["name"], r["source_code"], "yes" if r["listed"] else "",
         "–" if r["permitted"] is None else f"{r['permitted']:g}", r["announced"], r["came"], r["dead"], r["sold"],
         r["on_hand"])
        for r in told
    ]  # fmt: skip
    heads = ("ship", "permit", "name", "code", "listed", "may", "sent", "came", "dead", "sold", "here")
    say(table(heads, rows) if rows else ["No shipment is in the ledger."])
    for row in told:
        if row["lacks"]:
            when = "BEFORE ARRIVAL" if row["still_to_come"] else "for the record"
            line = f"{row['shipment']} {row['name']}, {when}: {row['papers']}"
            say(textwrap.wrap(line, 80, initial_indent="✗ ", subsequent_indent="  "))
    kept = sorted({(row["shipment"], row["keep_until"]) for row in told})
    say(["", *(f"{one}: keep the papers until {day}" for one, day in kept), ADVICE])
    ctx.exit(1 if wanting else 0)


@click.command()
@click.option("--batch", required=True, help="Batch to sample.")
@click.option("--n", "number", type=int, required=True, help="Animals to examine.")
@click.option("--seed", default="", help="Seed text for the draw (default: batch and date).")
@click.option("--confidence", default="0.95", show_default=True, help="Of what a clean sample proves.")
@click.option("--sensitivity", default="1", show_default=True, help="Test sensitivity: share of carriers detected.")
@table_option
@json_option
@click.pass_context
def draw(
    ctx: click.Context, batch: str, number: int, seed: str, confidence: str, sensitivity: str, out: str, json_: bool
) -> None:
    """Draw animals to examine, by vat or box, and say what a clean sample proves.

    Example: vatside report draw --batch S1-01 --n 30 --seed march
    """
    from intake.app.queries.biosecurity.random_sample import draw_sample

    shares = {"confidence": _share("--confidence", confidence), "sensitivity": _share("--sensitivity", sensitivity)}
    house = house_of(ctx)
    told = draw_sample(house, batch, number, seed=seed, **shares)
    keep_table(house, "draw", told, out, quiet=json_)
    if json_:
        as_json(told)
        return
    say([f"{told['batch']} {told['name']}: {told['n']} of {told['lot']}, drawn with {told['seed']!r}", ""])
    for one in told["take"]:
        say([f"☐ {one['place']}: {len(one['numbers'])} of {one['standing']}"])
        numbers = ", ".join(map(str, one["numbers"]))
        say(textwrap.wrap(numbers, 80, initial_indent="    no. ", subsequent_indent="        "))
    say(["", "Count the animals in place from the inlet, row by row; take the listed numbers."])
    proof = told["clean_proves"]
    say([(f"All clean proves with {100 * proof['confidence']:g} % confidence: at most {proof['at_most_carriers']} carriers "
         f"({100 * proof['at_most_share']:.1f} %).")])  # fmt: skip
    for row in proof["by_prevalence"]:
        say([f"  below {100 * row['prevalence']:g} %: confidence {row['confidence']:.3f}"])


@click.command()
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder (default: out/audit).")
@json_option
@click.pass_context
def audit(ctx: click.Context, out: str | None, json_: bool) -> None:
    """Write every movement, record and balance as CSV (and Parquet); exit 1 if the ledger has faults.

    Example: vatside report audit --out audit-2027
    """
    from intake.app.queries.reports.audit_export import export

    house = house_of(ctx)
    told = export(house, Path(out) if out else house.folder / "out" / "audit")
    if json_:
        as_json(told)
    else:
        say([f"{name}: {number} rows" for name, number in told["rows"].items()])
        say([f"Parquet: {told['parquet']}", *(f"✗ {finding}" for finding in told["findings"])])
        say([f"Saved {path}" for path in told["files"]])
    ctx.exit(1 if told["findings"] else 0)
