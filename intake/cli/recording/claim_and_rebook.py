"""The commands ``claim`` and ``rebook``: what a supplier owes for a shipment, and animals that are not what was announced."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, say, table

if TYPE_CHECKING:
    from intake.app.session import House
    from intake.report.claims import Claim

__all__ = ["claim", "rebook"]


@click.command()
@click.argument("shipment", required=False, default="")
@click.option("--state", default="", help="Record the claim as sent, answered or settled.")
@click.option("--amount", default="", help="Money credited, with --state answered or settled.")
@click.option("--note", default="", help="Words kept with the state.")
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder for PDF and CSV (default: out/).")
@click.option("--version", "number", type=int, default=None, help="Print an earlier, frozen version.")
@click.option(
    "--photo", type=click.Path(exists=True, dir_okay=False), default=None, help="Keep this photo as evidence."
)
@click.option("--batch", default="", help="With --photo: the batch it shows.")
@click.option("--evidence", default="", help="With --photo: which required evidence it shows.")
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
    number: int | None,
    photo: str | None,
    batch: str,
    evidence: str,
    paper: str | None,
    key: str,
    json_: bool,
) -> None:
    """Draft the claim for SHIPMENT as PDF and CSV, keep a photo for it, or record where it stands.

    Without SHIPMENT: every claim and the time left for it.

    Example: vatside claim S1; vatside claim S1 --state sent; vatside claim S1
    --photo dead.jpg --batch S1-01
    """
    from intake.app.commands import advance_claim
    from intake.app.documents import claim_paper
    from intake.app.queries.reports import claim_status

    house = house_of(ctx)
    if not shipment:
        _list(house, claim_status.all_claims(house), json_)
        return
    if state:
        said = advance_claim.set_state(house, shipment, state, note=note, amount=amount, key=key)
        if not json_:
            say([said])
    if photo:
        _keep(house, shipment, photo, batch, (evidence, note, key), quiet=json_)
    found = _chosen(house, shipment, number)
    paths = (
        []
        if state or photo
        else claim_paper.write(house, found, Path(out) if out else house.folder / "out", paper or "")
    )
    if json_:
        as_json(_facts(house, found) | {"files": [str(path) for path in paths]})
        return
    _show(house, found)
    say([f"wrote {path}" for path in paths])


def _chosen(house: House, shipment: str, number: int | None) -> Claim:
    """The version asked for, or the last."""
    from intake.app.queries.reports.claim_status import history
    from intake.errors import BadInput, Finding

    versions = history(house, shipment)
    if number is None:
        return versions[-1]
    if not 1 <= number <= len(versions):
        raise BadInput(Finding("--version", str(number), f"1 to {len(versions)}"))
    return versions[number - 1]


def _keep(house: House, shipment: str, photo: str, batch: str, told: tuple[str, str, str], *, quiet: bool) -> None:
    """Keep a photo with its hash; without --batch the shipment must have one line only."""
    from intake.app import system_clock
    from intake.app.commands import attach_photo, sync_phone
    from intake.errors import BadInput, Finding

    lines = [one.id for one in house.floor().batches.values() if one.shipment == shipment]
    if not batch and len(lines) == 1:
        batch = lines[0]
    if batch not in lines:
        raise BadInput(Finding("--batch", batch, f"a batch of {shipment}: {', '.join(lines)}"))
    evidence, note, key = told
    verdict = attach_photo.keep_photo(
        house,
        batch,
        Path(photo).read_bytes(),
        sync_phone.Sent(key or system_clock.fresh_key()),
        evidence=evidence,
        note=note,
    )
    if not quiet:
        say(verdict.said)


def _list(house: House, found: list[Claim], json_: bool) -> None:
    from intake.app.queries.reports.claim_status import claim_state, open_claims

    if json_:
        as_json([_facts(house, one) for one in found])
        return
    pressing = [one for one in open_claims(house) if one.press != "calm"]
    say([f"! {one.words}" for one in pressing])
    rows = [(one.shipment, one.supplier, one.claimable, _money(one), claim_state(one, house.now)) for one in found]
    say(
        table(("shipment", "supplier", "claimable", "value", "state"), rows)
        if rows
        else ["No shipment has been received yet."]
    )


def _money(found: Claim) -> str:
    from intake.app.queries.reports.claim_status import money_words

    return money_words(found)


def _facts(house: House, found: Claim) -> dict[str, object]:
    from intake.app.documents.claim_evidence import photos_of
    from intake.app.queries.reports.claim_status import claim_state, history, money_words, steps_of
    from intake.report.claim_lines import heads

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
        "heads": [
            {
                "head": one.head,
                "counted": one.counted,
                "claimable": one.claimable,
                "value": None if one.value is None else str(one.value),
                "currency": one.currency,
            }
            for one in heads(found.lines)
        ],
        "versions": [
            {
                "version": one.version,
                "as_of": one.as_of.isoformat(),
                "frozen": one.frozen,
                "in_time": one.in_time,
                "claimable": one.claimable,
                "value": money_words(one),
            }
            for one in history(house, found.shipment)
        ],
        "steps": [
            {"at": record.happened_at.isoformat(), "who": record.who, **record.payload}
            for record in steps_of(house, found.shipment)
        ],
        "photos": [
            {"batch": one.batch, "evidence": one.evidence, "sha256": one.sha256, "trouble": one.trouble}
            for one in photos_of(house, found)
        ],
        "evidence": [{"name": item.name, "held": item.held} for item in found.evidence],
        "notes": list(found.notes),
    }


def _show(house: House, found: Claim) -> None:
    from intake.app.documents.claim_evidence import photos_of
    from intake.app.queries.reports.claim_status import claim_state, history, steps_of
    from intake.report.claim_lines import heads

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
    columns = ("batch", "name", "sent", "DOA", "DAA", "miss", "wrong", "dead %", "claim", "value")
    say(table(columns, rows) if rows else ["No dead, missing or wrong animals were counted."])
    say(["", f"Claimable: {found.claimable} animals, {_money(found)}", *(f"Note: {note}" for note in found.notes)])
    for one in heads(found.lines):
        value = "–" if one.value is None else f"{one.value:,.2f} {one.currency}"
        say([f"  {one.head}: {one.counted} counted, {one.claimable} claimed, {value}"])
    for item in found.evidence:
        say([f"{'☑' if item.held else '☐'} {item.name}"])
    for photo in photos_of(house, found):
        kept = photo.trouble or "kept"
        say([f"photo {photo.sha256[:16]}… of {photo.batch} {photo.evidence}: {kept}"])
    versions = history(house, found.shipment)
    if len(versions) > 1:
        say(["", *(f"version {v.version}: {v.claimable} animals, {_money(v)}"
                   f"{', frozen' if v.frozen and v.in_time else ''}" for v in versions)])  # fmt: skip
    for record in steps_of(house, found.shipment):
        when = f"{record.happened_at.astimezone(zone):%a %d %b %H:%M}"
        say([f"{when}: {record.payload.get('state')} (version {record.payload.get('version')}) "
             f"{record.payload.get('amount') or ''} {record.payload.get('note') or ''}".rstrip()])  # fmt: skip


@click.command()
@click.argument("batch")
@click.argument("number", type=int)
@click.option("--vat", default="", help="Vat they are in (default: use those already counted as wrong).")
@click.option("--name", default="", help="True name (default: same animal, more than announced).")
@click.option("--group", default="", help="Their husbandry group (default: the line's).")
@click.option("--size-mm", type=float, default=None, help="Their size (default: the line's).")
@despite_option
@key_option
@json_option
@click.pass_context
def rebook(
    ctx: click.Context,
    batch: str,
    number: int,
    vat: str,
    name: str,
    group: str,
    size_mm: float | None,
    despite: str,
    key: str,
    json_: bool,
) -> None:
    """Book NUMBER animals of BATCH as what they are: another species, or more than announced.

    Example: vatside rebook S1-02 3 --vat Q1 --name "Tridacna squamosa"
    """  # fmt: skip
    from intake.app.commands import receive_shipment

    house = house_of(ctx)
    if name:
        told = receive_shipment.rebook_wrong(
            house, batch, vat, number, name=name, group=group, size_mm=size_mm, despite=despite, key=key
        )
    else:
        told = receive_shipment.came_extra(house, batch, vat or "dock", number, despite=despite, key=key)
    if json_:
        as_json(told.as_dict())
    else:
        say(told.said)
