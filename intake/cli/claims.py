"""The command ``claim``: what a supplier owes for a shipment, and where that claim stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.show import as_json, house_of, json_option, key_option, say, table

if TYPE_CHECKING:
    from intake.desk.house import House
    from intake.report.claims import Claim

__all__ = ["claim"]


@click.command()
@click.argument("shipment", required=False, default="")
@click.option("--state", default="", help="Record the claim as sent, answered or settled.")
@click.option("--amount", default="", help="Money credited, with --state answered or settled.")
@click.option("--note", default="", help="Words kept with the state.")
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder for PDF and CSV (default: out/).")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default=None, help="Paper size (default: the farm's).")
@key_option
@json_option
@click.pass_context
def claim(
    ctx: click.Context,
    shipment: str,
    state: str,
    amount: str,
    note: str,
    out: str,
    paper: str | None,
    key: str,
    json_: bool,
) -> None:
    """Draft the claim for SHIPMENT as PDF and CSV, or record where it stands.

    Without SHIPMENT: every claim and the time left for it.

    Example: vatside claim S1; vatside claim S1 --state sent
    """
    from intake.desk import claims

    house = house_of(ctx)
    if not shipment:
        _list(house, claims.all_claims(house), json_)
        return
    if state:
        said = claims.set_state(house, shipment, state, note=note, amount=amount, key=key)
        if not json_:
            say([said])
    found = claims.current(house, shipment)
    paths = [] if state else claims.write(house, found, Path(out) if out else house.folder / "out", paper or "")
    if json_:
        as_json(_facts(house, found) | {"files": [str(path) for path in paths]})
        return
    _show(house, found)
    say([f"wrote {path}" for path in paths])


def _list(house: House, found: list[Claim], json_: bool) -> None:
    from intake.desk.claims import claim_state

    if json_:
        as_json([_facts(house, one) for one in found])
        return
    rows = [(one.shipment, one.supplier, one.claimable, _money(one), claim_state(one, house.now)) for one in found]
    say(table(("shipment", "supplier", "claimable", "value", "state"), rows) if rows else ["No shipment was received."])


def _money(found: Claim) -> str:
    return " + ".join(f"{value:,.2f} {currency}" for currency, value in found.totals) or "–"


def _facts(house: House, found: Claim) -> dict[str, object]:
    from intake.desk.claims import claim_state

    return {
        "shipment": found.shipment,
        "supplier": found.supplier,
        "version": found.version,
        "frozen": found.frozen,
        "state": found.state,
        "state_words": claim_state(found, house.now),
        "received_at": found.received_at.isoformat() if found.received_at else None,
        "deadline": found.deadline.isoformat() if found.deadline else None,
        "claimable": found.claimable,
        "value": [{"currency": currency, "value": str(value)} for currency, value in found.totals],
        "lines": [
            {
                "batch": line.batch,
                "line": line.line,
                "name": line.name,
                "announced": line.announced,
                "received": line.received,
                "alive": line.alive,
                "doa": line.doa,
                "daa": line.daa,
                "missing": line.missing,
                "wrong": line.wrong,
                "percent": line.percent,
                "allowance": float(line.allowance),
                "claimable": line.claimable,
                "unit_price": None if line.unit_price is None else str(line.unit_price),
                "value": None if line.value is None else str(line.value),
                "currency": line.currency,
            }
            for line in found.lines
        ],
        "evidence": [{"name": item.name, "held": item.held} for item in found.evidence],
        "notes": list(found.notes),
    }


def _show(house: House, found: Claim) -> None:
    from intake.desk.claims import claim_state

    zone = house.site.farm.zone
    until = f", to be made by {found.deadline.astimezone(zone):%a %d %b %H:%M}" if found.deadline else ""
    rows = [
        (
            line.batch,
            line.name,
            line.announced,
            line.doa,
            line.daa,
            line.missing,
            line.wrong,
            "–" if line.percent is None else f"{line.percent:.1f}",
            line.claimable,
            "–" if line.value is None else f"{line.value:,.2f}",
        )
        for line in found.lines
        if line.dead or line.missing or line.wrong
    ]
    say([f"Claim {found.shipment}, version {found.version}: {claim_state(found, house.now)}{until}", ""])
    heads = ("batch", "name", "sent", "DOA", "DAA", "miss", "wrong", "dead %", "claim", "value")
    say(table(heads, rows) if rows else ["Nothing dead, missing or wrong was counted."])
    say(["", f"Claimable: {found.claimable} animals, {_money(found)}", *(f"Note: {note}" for note in found.notes)])
    for item in found.evidence:
        say([f"{'☑' if item.held else '☐'} {item.name}"])
