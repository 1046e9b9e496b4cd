"""A claim's version made ready, kept as bytes and sent: by hand, as a message file, or by the farm's mail server."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from pathlib import Path

from intake.app.commands.advance_claim import record_kept, take_back
from intake.app.documents import claim_mail
from intake.app.documents.claim_evidence import KeptPhoto, original_bytes, photos_of
from intake.app.documents.claim_paper import claim_csv, claim_pdf
from intake.app.output_files import keep_file, kept_file, save
from intake.app.queries.reports.claim_figures import claim_figures
from intake.app.queries.reports.claim_status import current, kept_version
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.report.claiming.steps import ClaimStep
from intake.report.claiming.steps import steps_of as claim_steps
from intake.report.claiming.versions import Claim

__all__ = ["Mailed", "mail", "mark_sent"]


@dataclass(frozen=True, slots=True)
class Mailed:
    """What ``claim S --mail`` did: the message file, whether it was sent, its id, and words for the person."""

    file: Path
    sent: bool
    message_id: str
    words: str


def mark_sent(house: House, shipment: str, *, note: str = "", key: str = "") -> str:
    """Keep the present version as bytes and record that it was sent.

    Raises
    ------
    BadInput
        It was sent before, nothing is claimed, or the claim is closed.
    """
    claim = current(house, shipment)
    if house.told_before(key):
        return f"Claim for {shipment}: sent"
    ready = kept_version(house, shipment, claim.version)
    files = list(ready.payload["files"]) if ready else _keep(house, claim)
    record_kept(house, claim, "sent", files, as_of=claim.as_of, key=key, note=note, how="by hand")
    return f"Claim for {shipment}: sent"


def _keep(house: House, claim: Claim) -> list[dict[str, object]]:
    """Render and keep everything a version consists of."""
    stem = f"claim-{claim.shipment}-v{claim.version}"
    made = {
        "pdf": (f"{stem}.pdf", claim_pdf(house, claim)),
        "csv": (f"{stem}.csv", claim_csv(house, claim)),
        "evidence": (f"{stem}-evidence.csv", _evidence_csv(house, photos_of(house, claim))),
        "json": (f"{stem}.json", json.dumps(claim_figures(claim), ensure_ascii=False, indent=1).encode()),
    }
    return [{"what": what, **keep_file(house.folder, data, name)} for what, (name, data) in made.items()]


def _evidence_csv(house: House, photos: tuple[KeptPhoto, ...]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        ("batch", "box", "evidence", "received", "recorded_by", "taken", "sha256_original", "sha256_copy", "note")
    )
    for one in photos:
        told = one.record.payload
        received = one.record.recorded_at.astimezone(house.site.farm.zone).isoformat(timespec="minutes")
        row = (
            one.batch,
            str(told.get("box") or ""),
            one.evidence,
            received,
            one.record.who,
            str(told.get("taken") or ""),
        )
        writer.writerow([*row, str(told.get("upload") or ""), one.sha256, str(told.get("note") or one.trouble)])
    return out.getvalue().encode("utf-8-sig")


def mail(house: House, shipment: str, out: Path) -> Mailed:
    """Write the present version as a message file, and send it where ``[mail]`` names a server.

    Raises
    ------
    BadInput
        Addresses are missing in ``farm.toml``, or the version cannot be sent.
    Refused
        A mail of this version may already be on its way, or the server refused it.
    """
    claim = current(house, shipment)
    claim_mail.check_addresses(house, claim.supplier)
    _refuse_twice(house, claim)
    ready = kept_version(house, shipment, claim.version) or _prepared(house, claim)
    files = list(ready.payload["files"])
    parts = [claim_mail.Part(str(one["name"]), _bytes(house, one)) for one in files if one["what"] != "json"]
    parts += [
        claim_mail.Part(f"{one.batch}-{one.sha256[:12]}{suffix}", data)
        for one in photos_of(house, claim)
        if (found := original_bytes(house, one)) is not None
        for suffix, data in [found]
    ]
    message = claim_mail.message(house, claim, tuple(parts), str(files[0]["sha256"]))
    file = save(out / f"claim-{shipment}-v{claim.version}.eml", claim_mail.as_bytes(message))
    identity = str(message["Message-ID"])
    if house.site.mail is None or not house.site.mail.host:
        words = f"Open {file.name} in a mail program and send it, then record it: vatside claim {shipment} --state sent"
        return Mailed(file, False, identity, words)
    # written down before the server is asked, so that a power cut between the two cannot send it twice
    claim = current(house, shipment)
    record_kept(house, claim, "mailing", files, as_of=claim.as_of, message_id=identity)
    try:
        missed = claim_mail.send(house, message)
    except claim_mail.Unsure:
        raise
    except Refused:
        take_back(house, shipment, reason="the mail server took nothing")
        raise
    to = [one for one in claim_mail.addressees(house, claim.supplier) if one not in missed]
    now = current(house, shipment)
    record_kept(house, now, "sent", files, as_of=claim.as_of, how="mail", message_id=identity, to=to)
    words = f"Claim for {shipment}, version {claim.version}: mailed to {', '.join(to)} and recorded as sent"
    return Mailed(file, True, identity, words + (f"; not accepted: {', '.join(missed)}" if missed else ""))


def _prepared(house: House, claim: Claim) -> ClaimStep:
    """Keep a version that a person is about to send, so that what is recorded as sent later is what was in the message."""
    record_kept(house, claim, "prepared", _keep(house, claim), as_of=claim.as_of)
    found = kept_version(house, claim.shipment, claim.version)
    if found is None:
        raise BadInput(Finding("claim", claim.shipment, "a version that is kept"))
    return found


def _bytes(house: House, one: dict[str, object]) -> bytes:
    return kept_file(house.folder, str(one["sha256"]), str(one["name"]))


def _refuse_twice(house: House, claim: Claim) -> None:
    """Refuse a version that was sent, or of which a mail may be on its way."""
    of = {
        step.kind: step
        for step in claim_steps(house.standing("claim", claim.shipment), claim.shipment)
        if step.version == claim.version
    }
    zone = house.site.farm.zone
    if "sent" in of:
        when = f"{of['sent'].at.astimezone(zone):%Y-%m-%d %H:%M}"
        words = "Count first, or send a later version."
        raise BadInput(
            Finding("claim --mail", f"version {claim.version}, sent {when}", "a version not sent yet", words)
        )
    if "mailing" in of:
        when = f"{of['mailing'].at.astimezone(zone):%Y-%m-%d %H:%M}"
        words = "Look into the sent mail: record --state sent if it is there, or --take-back with a reason if not."
        met = f"version {claim.version} may be on its way since {when}"
        raise Refused(Finding("claim --mail", met, "a version of which no mail was begun", words))
