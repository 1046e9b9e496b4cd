"""The claim as CSV and PDF: drafts from the entries, sent versions from the bytes that were kept."""

from __future__ import annotations

import csv
import io
from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.documents.claim_evidence import KeptPhoto, bag_water, first_opened, photos_of, specimens_of
from intake.app.output_files import save
from intake.app.queries.reports.claim_figures import counted_by
from intake.app.queries.reports.claim_status import history, kept_bytes, money_words, steps_of
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import box_losses
from intake.report.claiming.claim_lines import ClaimLine, heads
from intake.report.claiming.versions import Claim
from intake.report.groupings import box_label

if TYPE_CHECKING:
    from forms import BoxCount, ClaimHead, ClaimRow, ClaimStep, ClaimTotals, ClaimVersion, Evidence, Photo

__all__ = ["claim_csv", "claim_pdf", "given_csv", "given_pdf", "write"]

_COUNTS = (
    *("announced", "extra", "unbooked", "missing", "wrong", "doa", "placed", "daa", "left", "received"),
    *("percent", "percent_announced", "allowance", "used", "claimable"),
)
_COLUMNS = (
    *("line", "batch", "name", "boxes", "announced", "extra", "not_booked", "missing", "wrong", "doa", "placed", "daa"),
    *("left", "received", "percent_of_received", "percent_of_announced", "allowance_agreed", "allowance_used"),
    *("claimable", "unit_price", "amount", "currency", "claim_opening_by", "claim_daa_by"),
)


def claim_csv(house: House, claim: Claim) -> bytes:
    """The claim as CSV: a row for each invoice line, one for freight, and the total of each currency."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    ends = [_stamp(house, claim.deadline), _stamp(house, claim.daa_deadline)]
    for line in claim.lines:
        money = [_plain(line.unit_price), _plain(line.value), line.currency]
        names = [line.line, line.batch, _safe(line.name), _safe(" ".join(line.boxes))]
        writer.writerow([*names, *_counts_of(line), *money, *ends])
    currency = claim.lines[0].currency if claim.lines else ""
    if claim.freight is not None:
        writer.writerow(["freight", *[""] * 18, "", _plain(claim.freight), currency, *ends])
    (first, *others) = claim.totals or (("", None),)
    writer.writerow(["total", "", "", "", *_counts_of(claim.sums), "", _plain(first[1]), first[0], *ends])
    for name, value in others:
        writer.writerow(["total", *[""] * 18, "", _plain(value), name, *ends])
    return out.getvalue().encode("utf-8-sig")


def _counts_of(of: object) -> list[str]:
    found = (getattr(of, name) for name in _COUNTS)
    return ["" if value is None else f"{value:.2f}" if isinstance(value, float) else str(value) for value in found]


def _stamp(house: House, moment: datetime | None) -> str:
    return "" if moment is None else moment.astimezone(house.site.farm.zone).isoformat(timespec="minutes")


def _safe(text: str) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def _plain(value: Decimal | None) -> str:
    return "" if value is None else str(value)


def given_csv(house: House, claim: Claim) -> bytes:
    """The CSV to hand out: as it was kept when the version was sent, else as it stands."""
    return kept_bytes(house, claim.shipment, claim.version, "csv") or claim_csv(house, claim)


def given_pdf(house: House, claim: Claim, paper: str = "", *, fillable: bool = False) -> bytes:
    """The PDF to hand out: as it was kept when the version was sent, whatever the paper asked for; else as it stands."""
    kept = kept_bytes(house, claim.shipment, claim.version, "pdf")
    return kept or claim_pdf(house, claim, paper, fillable=fillable)


def claim_pdf(house: House, claim: Claim, paper: str = "", *, fillable: bool = False) -> bytes:
    """The claim drawn as PDF, with plates of its photos.

    Parameters
    ----------
    claim
        Any version of it.
    paper
        ``a4`` or ``letter``; empty: the farm's.
    fillable
        With form fields.
    """
    import forms as page

    supplier = house.site.supplier(claim.supplier)
    kept = photos_of(house, claim)
    told = claim.totals and claim.terms.credit == "money"
    answer = claim.as_of + timedelta(days=claim.terms.answer_days) if claim.terms.answer_days else None
    content = page.ClaimContent(
        number=f"{claim.shipment} / {claim.version}",
        claimant=house.site.farm.name,
        supplier="\n".join(part for part in (supplier.name, supplier.contact, supplier.email) if part),
        shipment=claim.shipment,
        rows=tuple(_row(house, line) for line in claim.lines if _told(line)),
        totals=_totals(claim),
        version=claim.version,
        replaces=_replaces(claim),
        asked=money_words(claim) if told else "replacement" if claim.terms.credit == "replacement" else "",
        answer_by="" if answer is None else f"{answer.astimezone(house.site.farm.zone):%a %d %b %Y}",
        waybill=claim.waybill,
        invoice=claim.facts.invoice,
        order=claim.order,
        landed=_when(house, claim.received_at),
        opened=_when(house, first_opened(house, claim)),
        counted=_when(house, claim.as_of),
        deadline=_when(house, claim.deadline),
        daa_deadline=_when(house, claim.daa_deadline) or "not covered",
        currency=claim.totals[0][0] if len(claim.totals) == 1 else "",
        terms=claim.terms.words(),
        balance=f"{claim.sums.balance}.",
        check=f"{claim.sums.check}.",
        freight=_freight(claim),
        evidence=_evidence(house, claim, kept),
        water=bag_water(house, claim),
        statement=_STATEMENT,
        counted_by=", ".join(counted_by(house, claim)),
        photos=_plates(house, kept),
        heads=_heads(claim),
        counts=_box_counts(house, claim),
        versions=_versions(house, claim),
        steps=_steps(house, claim),
        specimens=specimens_of(house, claim),
        notes=claim.notes,
    )
    with page.printed_at(house.now.astimezone(house.site.farm.zone)):
        return page.claim(house.site.farm.measures.content(content), paper or house.site.farm.paper, fillable=fillable)


_STATEMENT = (
    "The counts above were made at opening and are kept, with the time and the name of who counted, in the farm's "
    "ledger. Dead animals of listed species are kept until the supplier has replied or the authority has been notified."
)


def _when(house: House, moment: datetime | None) -> str:
    return "" if moment is None else f"{moment.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M %Z}"


def _told(line: ClaimLine) -> bool:
    """Whether a line stands by itself on paper; lines without any loss stand together in one."""
    return bool(line.dead or line.missing or line.wrong or line.extra or line.unbooked)


def _replaces(claim: Claim) -> str:
    before = range(1, claim.version)
    return f"replaces {', '.join(str(one) for one in before)}" if before else ""


def _freight(claim: Claim) -> str:
    if claim.freight is None:
        return ""
    share, paid = float(claim.terms.freight_share_percent), claim.facts.freight
    currency = claim.lines[0].currency
    return (
        f"Freight: {share:g} % of {paid:,.2f} {currency} × {claim.sums.claimable} / {claim.sums.announced} animals "
        f"= {claim.freight:,.2f} {currency}."
    )


def _row(house: House, line: ClaimLine) -> ClaimRow:
    import forms as page

    batch = house.floor().batches[line.batch]
    extra = f" (+{line.extra} extra)" if line.extra else f" ({line.unbooked} not booked in)" if line.unbooked else ""
    return page.ClaimRow(
        line=str(line.line),
        name=line.name + extra,
        announced=line.announced,
        doa=line.doa,
        daa=line.daa,
        missing=line.missing,
        wrong=line.wrong,
        allowance="" if line.allowance is None else str(line.allowance),
        used=line.used,
        claimable=line.claimable,
        unit_price="" if line.unit_price is None else f"{line.unit_price:,.2f}",
        value="" if line.value is None else f"{line.value:,.2f}",
        boxes=_box_words(batch),
        percent_received=line.percent,
        percent_announced=line.percent_announced,
    )


def _box_words(batch: Batch) -> str:
    return box_label(batch).replace("+", ", ") if batch.boxes else ""


def _box_counts(house: House, claim: Claim) -> tuple[BoxCount, ...]:
    """What was counted in single boxes, with when and by whom."""
    import forms as page

    ours = {line.batch: line.name for line in claim.lines}
    lost: dict[tuple[str, str], Counter[str]] = {}
    when: dict[tuple[str, str], datetime] = {}
    for loss in box_losses(house.shipment_stream(claim.shipment), claim.as_of):
        if loss.batch in ours and loss.head in ("doa", "missing", "wrong"):
            lost.setdefault((loss.batch, loss.box), Counter())[loss.head] += loss.count
            when[loss.batch, loss.box] = loss.happened_at
    return tuple(
        page.BoxCount(
            box, ours[batch], "", counts["doa"], counts["missing"], counts["wrong"], _when(house, when[batch, box])
        )
        for (batch, box), counts in sorted(lost.items(), key=lambda item: (item[0][0], len(item[0][1]), item[0][1]))
    )


def _heads(claim: Claim) -> tuple[ClaimHead, ...]:
    import forms as page

    several = len(claim.totals) > 1
    words = {"dead": "Dead, beyond the allowance", "missing": "Missing", "wrong": "Wrong species or size"}
    return tuple(
        page.ClaimHead(
            words[one.head],
            one.counted,
            one.claimable,
            "" if one.value is None else f"{one.value:,.2f}{f' {one.currency}' if several else ''}",
        )
        for one in heads(claim.lines)
    )


def _evidence(house: House, claim: Claim, kept: tuple[KeptPhoto, ...]) -> tuple[Evidence, ...]:
    """Each piece the supplier wants, with the photos that are it; further photos after them."""
    import forms as page

    found = []
    for item in claim.evidence:
        its = [photo for photo in kept if photo.evidence == item.name]
        if not its:
            found.append(page.Evidence(item.name, item.held > 0, asked=item.name))
        found += [_photo_row(house, photo, item.name) for photo in its]
    asked = {item.name for item in claim.evidence}
    found += [_photo_row(house, photo, "further photos") for photo in kept if photo.evidence not in asked]
    water = bag_water(house, claim)
    if water and not any("reading" in name.casefold() or "water" in name.casefold() for name in asked):
        found.append(page.Evidence("bag water readings", True, asked=f"bag water readings, {len(water)} bags"))
    return tuple(found)


def _photo_row(house: House, photo: KeptPhoto, what: str) -> Evidence:
    import forms as page

    told = photo.record.payload
    of = f"{photo.batch}, box {told['box']}" if told.get("box") else photo.batch
    words = f"{of}: {what}" + (f" ({photo.trouble})" if photo.trouble else "")
    digest = str(told.get("upload") or photo.sha256)
    when, taken = _when(house, photo.record.happened_at), str(told.get("taken") or "")
    return page.Evidence(words, photo.data is not None, when, digest, what, taken)


def _plates(house: House, kept: tuple[KeptPhoto, ...]) -> tuple[Photo, ...]:
    import forms as page

    named = house.floor().batches
    plates = []
    for photo in kept:
        if photo.data is None:
            continue
        name = named[photo.batch].name if photo.batch in named else ""
        note = str(photo.record.payload.get("note") or "")
        when = _when(house, photo.record.happened_at)
        box = f"box {photo.record.payload['box']}" if photo.record.payload.get("box") else ""
        words = " · ".join(part for part in (photo.batch, box, name, photo.evidence, note, when) if part)
        digest = str(photo.record.payload.get("upload") or photo.sha256)
        plates.append(page.Photo(f"{words}\nSHA-256 of the original {digest[:16]}…", photo.data))
    return tuple(plates)


def _versions(house: House, claim: Claim) -> tuple[ClaimVersion, ...]:
    """The versions before this one; what came later is not known to a paper that was sent."""
    import forms as page

    found = []
    for one in history(house, claim.shipment):
        if one.version < claim.version:
            words = "sent" if one.sent else "in time" if one.in_time else "counted after the terms ended"
            found.append(
                page.ClaimVersion(one.version, _when(house, one.as_of), one.claimable, money_words(one), words)
            )
    return tuple(found)


def _steps(house: House, claim: Claim) -> tuple[ClaimStep, ...]:
    import forms as page

    currency = house.site.supplier(claim.supplier).currency
    people = house.site.people
    found = []
    for step in steps_of(house, claim.shipment):
        amount = f"{step.amount:,.2f} {step.currency or currency}" if step.amount is not None else ""
        who = people[step.who].name if step.who in people else step.who
        words = "; ".join(part for part in (step.reference, step.batch, step.note) if part)
        version = str(step.version or "")
        found.append(page.ClaimStep(step.kind, _when(house, step.at), who, version, amount, words))
    return tuple(found)


def _totals(claim: Claim) -> ClaimTotals:
    import forms as page

    sums = claim.sums
    quiet = [line for line in claim.lines if not _told(line)]
    numbers = ", ".join(str(line.line) for line in quiet)
    return page.ClaimTotals(
        announced=sums.announced,
        doa=sums.doa,
        daa=sums.daa,
        missing=sums.missing,
        wrong=sums.wrong,
        allowance=sums.allowance,
        used=sums.used,
        claimable=sums.claimable,
        value=money_words(claim) if len(claim.totals) > 1 else f"{claim.totals[0][1]:,.2f}" if claim.totals else "–",
        placed=sums.placed,
        left=sums.left,
        extra=sums.extra,
        unbooked=sums.unbooked,
        percent_received=sums.percent,
        percent_announced=sums.percent_announced,
        quiet_lines=f"{'Line' if len(quiet) == 1 else 'Lines'} {numbers}" if quiet else "",
        quiet_announced=sum(line.announced for line in quiet),
        quiet_allowance=str(sum(line.allowance or 0 for line in quiet)) if claim.terms.allowance_by == "line" else "",
    )


def write(
    house: House, claim: Claim, out: Path, paper: str = "", *, fillable: bool = False, reproducible: bool = False
) -> list[Path]:
    """Write this version of the claim as PDF and CSV, a sent one as it was kept; gives the paths.

    A draft is dated now, or on one fixed day where it is to be `reproducible`.
    """
    import forms as page

    stem = f"claim-{claim.shipment}-v{claim.version}"
    with page.printed_at(None if reproducible else house.now.astimezone(house.site.farm.zone)):
        data = given_pdf(house, claim, paper, fillable=fillable)
    return [save(out / f"{stem}.pdf", data), save(out / f"{stem}.csv", given_csv(house, claim))]
