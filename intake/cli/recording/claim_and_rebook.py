"""The commands ``claim`` and ``rebook``: what a supplier owes for a shipment, and animals that are not what was announced."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.quantities import LENGTH
from intake.cli.terminal import as_json, despite_option, house_of, json_option, key_option, say, table

if TYPE_CHECKING:
    from intake.app.session import House
    from intake.report.claiming.versions import Claim

__all__ = ["claim", "rebook"]


@click.command()
@click.argument("shipment", required=False, default="")
@click.option("--state", default="", help="Record the claim as sent, answered, settled or written off.")
@click.option(
    "--mail", "mail_", is_flag=True, help="Write a message file; send it where farm.toml names a mail server."
)
@click.option(
    "--amount", default="", help="Money accepted or credited, with --state answered or settled (default: all)."
)
@click.option("--currency", default="", help="Of the amount (default: the claim's).")
@click.option("--replacement", default="", help="With --state settled: batch of a later shipment that came free.")
@click.option("--animals", type=int, default=None, help="With --replacement: how many of them replace.")
@click.option("--reference", default="", help="Number of the credit note.")
@click.option("--take-back", is_flag=True, help="Withdraw the last step, with the reason in --note.")
@click.option("--waybill", default="", help="Record the waybill's number.")
@click.option("--invoice", default="", help="Record the invoice's number.")
@click.option("--freight", default="", help="Record the freight paid.")
@click.option("--note", default="", help="Note saved with the state: a reason where less is credited.")
@click.option("--out", type=click.Path(file_okay=False), default="", help="Folder for PDF and CSV (default: out/).")
@click.option("--version", "number", type=int, default=None, help="An earlier version instead of the last.")
@click.option(
    "--photo", type=click.Path(exists=True, dir_okay=False), default=None, help="Keep this photo as evidence."
)
@click.option("--batch", default="", help="With --photo: the batch it shows.")
@click.option("--box", default="", help="With --photo: the box it shows.")
@click.option("--evidence", default="", help="With --photo: which required evidence it shows.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default=None, help="Paper size (default: the farm's).")
@click.option("--reproducible", is_flag=True, help="Date a draft on one fixed day: same content, same bytes.")
@key_option
@json_option
@click.pass_context
def claim(ctx: click.Context, /, **told: Any) -> None:
    """Draft the claim for SHIPMENT as PDF and CSV, mail it, or record where it stands.

    Without SHIPMENT: every claim and the time left for it. A version that was sent is written as it was sent, byte for
    byte.

    Example: vatside claim S1; vatside claim S1 --mail; vatside claim S1
    --state answered --amount 120.50 --note "missing refused"
    """
    from intake.app.documents import claim_paper
    from intake.app.documents.claim_evidence import photos_of
    from intake.app.queries.reports import claim_figures, claim_status

    house = house_of(ctx)
    shipment, json_ = str(told["shipment"]), bool(told["json_"])
    if not shipment:
        _list(house, claim_status.all_claims(house), json_)
        return
    folder = Path(told["out"]) if told["out"] else house.folder / "out"
    said, paths = _acts(house, shipment, folder, told)
    found = _chosen(house, shipment, told["number"])
    if not said:
        paths = claim_paper.write(house, found, folder, told["paper"] or "", reproducible=bool(told["reproducible"]))
    if json_:
        photos = [
            {"batch": one.batch, "evidence": one.evidence, "sha256": one.sha256, "trouble": one.trouble}
            for one in photos_of(house, found)
        ]
        facts = claim_figures.claim_summary(house, found)
        as_json(facts | {"photos": photos, "said": said, "files": [str(path) for path in paths]})
        return
    say(said)
    _show(house, found, brief=bool(said) and not told["photo"])
    say([f"Saved {path}" for path in paths])


def _acts(house: House, shipment: str, folder: Path, told: dict[str, Any]) -> tuple[list[str], list[Path]]:
    """Do what the options ask for, in one order; gives what was done and the files written."""
    from intake.app.commands import advance_claim
    from intake.app.documents import claim_sending

    said: list[str] = []
    paths: list[Path] = []
    key, note = str(told["key"]), str(told["note"])
    papers = {name: str(told[name]) for name in ("waybill", "invoice", "freight") if told[name]}
    if papers:
        said.append(advance_claim.set_papers(house, shipment, papers, key=f"{key}.papers" if key else ""))
    if told["take_back"]:
        said.append(advance_claim.take_back(house, shipment, reason=note, key=key))
    if told["photo"]:
        said += _keep(house, shipment, told["photo"], told["batch"], (told["evidence"], told["box"], note, key))
    if told["mail_"]:
        mailed = claim_sending.mail(house, shipment, folder)
        said.append(mailed.words)
        paths.append(mailed.file)
    elif told["state"] == "sent":
        said.append(claim_sending.mark_sent(house, shipment, note=note, key=key))
    elif told["state"]:
        names = ("amount", "currency", "animals", "replacement", "reference", "note")
        answer = advance_claim.Answer(**{name: told[name] for name in names})
        said.append(advance_claim.set_state(house, shipment, told["state"], answer, key=key))
    return said, paths


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


def _keep(house: House, shipment: str, photo: str, batch: str, told: tuple[str, str, str, str]) -> list[str]:
    """Keep a photo with its hash; without --batch the shipment must have one line only."""
    from intake.app import system_clock
    from intake.app.commands import attach_photo
    from intake.app.commands.phones import sync_phone
    from intake.app.input_files import read_file
    from intake.errors import BadInput, Finding

    lines = [line.id for line in house.lines_of(shipment)]
    if not batch and len(lines) == 1:
        batch = lines[0]
    if batch not in lines:
        raise BadInput(Finding("--batch", batch, f"a batch of {shipment}: {', '.join(lines)}"))
    evidence, box, note, key = told
    sent = sync_phone.Sent(key or system_clock.fresh_key())
    verdict = attach_photo.keep_photo(
        house, batch, read_file(Path(photo), "a photograph"), sent, evidence=evidence, box=box, note=note
    )
    return list(verdict.said)


def _list(house: House, found: list[Claim], json_: bool) -> None:
    from intake.app.queries.reports.claim_figures import claim_summary
    from intake.app.queries.reports.claim_status import claim_state, money_words, open_claims

    if json_:
        as_json([claim_summary(house, one) for one in found])
        return
    pressing = [one for one in open_claims(house) if one.press != "calm"]
    say([f"! {one.words}" for one in pressing])
    rows = [(one.shipment, one.supplier, one.claimable, money_words(one), claim_state(one, house.now)) for one in found]
    say(
        table(("shipment", "supplier", "claimable", "value", "state"), rows)
        if rows
        else ["No shipment has been received yet."]
    )


def _show(house: House, found: Claim, *, brief: bool = False) -> None:
    """The claim as it stands; after a step only where it stands now and its history."""
    from intake.app.documents.claim_evidence import photos_of
    from intake.app.queries.reports.claim_status import claim_state, money_words

    zone = house.site.farm.zone
    until = (
        f", deadline {found.deadline.astimezone(zone):%a %d %b %H:%M}"
        if found.deadline and found.state == "drafted"
        else ""
    )
    say([f"Claim {found.shipment}, version {found.version}: {claim_state(found, house.now)}{until}"])
    if brief:
        _show_history(house, found)
        return
    if found.daa_deadline:
        say([f"Deaths after arrival to be claimed by {found.daa_deadline.astimezone(zone):%a %d %b %H:%M}"])
    _show_lines(found)
    say(["", *_wrapped(found.sums.balance), *_wrapped(found.sums.check)])
    if found.freight is not None:
        say([f"Share of the freight: {found.freight:,.2f} {found.lines[0].currency}"])
    say([f"Claimable: {found.claimable} animals, {money_words(found)}", *(f"Note: {note}" for note in found.notes)])
    say(_wrapped(f"Terms: {found.terms.words()}"))
    say([f"{'☑' if item.held else '☐'} {item.name}" for item in found.evidence])
    for photo in photos_of(house, found):
        kept = photo.trouble or "kept"
        say([f"photo {photo.sha256[:16]}… of {photo.batch} {photo.evidence}: {kept}"])
    _show_history(house, found)


def _show_lines(found: Claim) -> None:
    rows = [
        (
            *(line.batch, line.name, line.announced, line.missing, line.wrong, line.doa, line.daa),
            "–" if line.allowance is None else line.allowance,
            *(line.used, line.claimable, "–" if line.value is None else f"{line.value:,.2f}"),
        )
        for line in found.lines
        if line.dead or line.missing or line.wrong
    ]
    sums = found.sums
    counts = (sums.announced, sums.missing, sums.wrong, sums.doa, sums.daa, sums.allowance, sums.used, sums.claimable)
    value = f"{found.totals[0][1]:,.2f}" if len(found.totals) == 1 else ""
    columns = ("batch", "name", "ann.", "miss", "wrong", "DOA", "DAA", "allow", "used", "claim", "amount")
    if not rows:
        say(["", "No dead, missing or wrong animals were counted."])
        return
    say(["", *table(columns, [*rows, ("total", "all lines", *counts, value)])])


def _show_history(house: House, found: Claim) -> None:
    from intake.app.queries.reports.claim_status import history, money_words, steps_of

    versions = history(house, found.shipment)
    if len(versions) > 1:
        say(["", *(f"version {v.version}: {v.claimable} animals, {money_words(v)}"
                   f"{', sent' if v.sent else ', frozen' if v.frozen and v.in_time else ''}" for v in versions)])  # fmt: skip
    for step in steps_of(house, found.shipment):
        when = f"{step.at.astimezone(house.site.farm.zone):%a %d %b %H:%M}"
        amount = "" if step.amount is None else str(step.amount)
        words = " ".join(part for part in (amount, step.reference, step.batch, step.note) if part)
        say([f"{when}: {step.kind} (version {step.version}) {words}".rstrip()])


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 80, subsequent_indent="  ")


@click.command()
@click.argument("batch")
@click.argument("number", type=int)
@click.option("--vat", default="", help="Vat they are in (default: use those already counted as wrong).")
@click.option("--name", default="", help="True name (default: same animal, more than announced).")
@click.option("--group", default="", help="Their husbandry group (default: the line's).")
@click.option(
    "--size-mm", type=LENGTH, default=None, help="Their size, mm or with its unit: 2in (default: the line's)."
)
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
