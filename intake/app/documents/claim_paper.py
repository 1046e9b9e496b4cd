"""The claim as CSV and PDF."""

from __future__ import annotations

import csv
import io
from collections import Counter
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.documents.claim_evidence import KeptPhoto, bag_water, first_opened, photos_of, specimens_of
from intake.app.output_files import save
from intake.app.queries.reports.claim_status import history, steps_of
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import box_losses
from intake.report.claim_lines import ClaimLine, heads
from intake.report.claims import Claim
from intake.report.groupings import box_label

if TYPE_CHECKING:
    from forms import ClaimHead, ClaimRow, ClaimStep, ClaimTotals, ClaimVersion, Evidence, Photo
from intake.app.queries.reports.claim_status import money_words

__all__ = ["claim_csv", "claim_pdf", "write"]


_PLATES = 24  # more photos than this are named by their hash, so that the file can be mailed

_COLUMNS = (
    "line",
    "batch",
    "name",
    "boxes",
    "announced",
    "received",
    "alive",
    "doa",
    "daa",
    "missing",
    "wrong",
    "percent",
    "allowance",
    "claimable",
    "unit_price",
    "value",
    "currency",
    "dead_claimable",
    "dead_value",
    "missing_value",
    "wrong_value",
)


def claim_csv(house: House, claim: Claim) -> bytes:
    """The claim as CSV: one row for each invoice line, the heads' values beside the line's."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    batches = house.floor().batches
    for line in claim.lines:
        percent = "" if line.percent is None else f"{line.percent:.2f}"
        boxes = " ".join(batches[line.batch].boxes)
        dead, missing, wrong = line.heads
        writer.writerow(
            [
                line.line,
                line.batch,
                _safe(line.name),
                _safe(boxes),
                line.announced,
                line.received,
                line.alive,
                line.doa,
                line.daa,
                line.missing,
                line.wrong,
                percent,
                f"{line.allowance:.2f}",
                line.claimable,
                _plain(line.unit_price),
                _plain(line.value),
                line.currency,
                dead.claimable,
                *(_plain(one.value) for one in (dead, missing, wrong)),
            ]
        )
    return out.getvalue().encode("utf-8-sig")


def _safe(text: str) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def _plain(value: Decimal | None) -> str:
    return "" if value is None else str(value)


def claim_pdf(house: House, claim: Claim, paper: str = "", *, fillable: bool = False) -> bytes:
    """The claim as PDF, with plates of its photos.

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
    content = page.ClaimContent(
        number=f"{claim.shipment} / {claim.version}",
        claimant=house.site.farm.name,
        supplier="\n".join(part for part in (supplier.name, supplier.contact) if part),
        shipment=claim.shipment,
        rows=tuple(_row(house, line, claim.as_of) for line in claim.lines),
        totals=_totals(claim),
        version=claim.version,
        state=claim.state,
        waybill=claim.waybill,
        order=claim.order,
        landed=_when(house, claim.received_at),
        opened=_when(house, first_opened(house, claim)),
        counted=_when(house, claim.as_of),
        deadline=_when(house, claim.deadline),
        currency=supplier.currency,
        terms=(
            f"{supplier.allowance_percent:g} % of animals received, by {supplier.allowance_by}, are not credited; "
            f"claims within {supplier.claim_window_h:g} h of receipt, deaths after arrival for {supplier.daa_days} d."
        ),
        window_words=_clock(house, claim),
        evidence=_evidence(house, claim, kept),
        water=bag_water(house, claim),
        statement=_STATEMENT,
        counted_by=house.site.people[house.who].name if house.who in house.site.people else house.who,
        photos=_plates(house, kept),
        heads=_heads(claim),
        versions=_versions(house, claim),
        steps=_steps(house, claim),
        specimens=specimens_of(house, claim),
    )
    return page.claim(content, paper or house.site.farm.paper, fillable=fillable)


_STATEMENT = (
    "The counts above were made at opening and are kept, with the time and the name of who counted, in the farm's "
    "books. Dead animals of listed species are kept until the supplier has replied or the authority has been notified."
)


def _when(house: House, moment: datetime | None) -> str:
    return "" if moment is None else f"{moment.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M %Z}"


def _clock(house: House, claim: Claim) -> str:
    if claim.frozen:
        return "Frozen: the window has ended; later counts make a new version."
    if claim.state == "drafted" and claim.deadline is not None:
        left = (claim.deadline - house.now).total_seconds() / 3600
        return f"{left:.1f} h were left of the window when this was printed."
    return ""


def _row(house: House, line: ClaimLine, as_of: datetime) -> ClaimRow:
    import forms as page

    lost = line.dead + line.missing + line.wrong
    batch = house.floor().batches[line.batch]
    return page.ClaimRow(
        line=str(line.line),
        name=line.name,
        announced=line.announced,
        received=line.received,
        alive=line.alive,
        dead=line.dead,
        missing=line.missing,
        wrong=line.wrong,
        percent_of_announced=_percent(lost, line.announced),
        allowance=lost - line.claimable,
        claimable=line.claimable,
        unit_price="" if line.unit_price is None else f"{line.unit_price:,.2f}",
        value="" if line.value is None else f"{line.value:,.2f}",
        boxes=_box_words(batch),
        by_box=_by_box(house, line.batch, as_of),
    )


def _box_words(batch: Batch) -> str:
    numbers = box_label(batch).replace("+", ", ")
    return f"{'box' if len(batch.boxes) == 1 else 'boxes'} {numbers}" if batch.boxes else ""


def _by_box(house: House, batch: str, as_of: datetime) -> str:
    """What was told of single boxes: ``dead in box 7: 12; in box 8: 3``."""
    lost: Counter[tuple[str, str]] = Counter()
    for loss in box_losses(house.stream(batch), as_of):
        if loss.head in ("doa", "missing", "wrong"):
            lost["dead" if loss.head == "doa" else loss.head, loss.box] += loss.count
    return "; ".join(f"{head} in box {box}: {count}" for (head, box), count in sorted(lost.items()))


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
            found.append(page.Evidence(item.name, item.held > 0))
        found += [_photo_row(house, photo, item.name) for photo in its]
    asked = {item.name for item in claim.evidence}
    found += [_photo_row(house, photo, "photo") for photo in kept if photo.evidence not in asked]
    water = bag_water(house, claim)
    if water and not any("reading" in name.casefold() or "water" in name.casefold() for name in asked):
        found.append(page.Evidence(f"bag water readings ({len(water)} bags, below)", True))
    return tuple(found)


def _photo_row(house: House, photo: KeptPhoto, what: str) -> Evidence:
    import forms as page

    words = f"{what}, {photo.batch}" + (f" ({photo.trouble})" if photo.trouble else "")
    return page.Evidence(words, photo.data is not None, _when(house, photo.record.happened_at), photo.sha256)


def _plates(house: House, kept: tuple[KeptPhoto, ...]) -> tuple[Photo, ...]:
    import forms as page

    named = house.floor().batches
    plates = []
    for photo in kept[:_PLATES]:
        if photo.data is None:
            continue
        name = named[photo.batch].name if photo.batch in named else ""
        note = str(photo.record.payload.get("note") or "")
        when = _when(house, photo.record.happened_at)
        words = " · ".join(part for part in (photo.batch, name, photo.evidence, note, when) if part)
        plates.append(page.Photo(f"{words}\nSHA-256 {photo.sha256[:16]}…", photo.data))
    return tuple(plates)


def _versions(house: House, claim: Claim) -> tuple[ClaimVersion, ...]:
    import forms as page

    found = []
    for one in history(house, claim.shipment):
        words = "as the books stand" if not one.frozen else "frozen" if one.in_time else "counted after the terms ended"
        money = money_words(one)
        found.append(page.ClaimVersion(one.version, _when(house, one.as_of), one.claimable, money, words))
    return tuple(found)


def _steps(house: House, claim: Claim) -> tuple[ClaimStep, ...]:
    import forms as page

    currency = house.site.supplier(claim.supplier).currency
    people = house.site.people
    found = []
    for record in steps_of(house, claim.shipment):
        told = record.payload
        amount = f"{Decimal(str(told['amount'])):,.2f} {currency}" if told.get("amount") else ""
        who = people[record.who].name if record.who in people else record.who
        when, version = _when(house, record.happened_at), str(told.get("version") or "")
        found.append(page.ClaimStep(str(told.get("state")), when, who, version, amount, str(told.get("note") or "")))
    return tuple(found)


def _percent(part: int, whole: int) -> float | None:
    return 100.0 * part / whole if whole else None


def _totals(claim: Claim) -> ClaimTotals:
    import forms as page

    def total(name: str) -> int:
        return sum(getattr(line, name) for line in claim.lines)

    lost = total("dead") + total("missing") + total("wrong")
    return page.ClaimTotals(
        announced=total("announced"),
        received=total("received"),
        alive=total("alive"),
        dead=total("dead"),
        missing=total("missing"),
        wrong=total("wrong"),
        percent_of_announced=_percent(lost, total("announced")),
        allowance=lost - claim.claimable,
        claimable=claim.claimable,
        value=money_words(claim),
    )


def write(house: House, claim: Claim, out: Path, paper: str = "", *, fillable: bool = False) -> list[Path]:
    """Write this version of the claim as PDF and CSV; gives the paths."""
    stem = f"claim-{claim.shipment}-v{claim.version}"
    return [
        save(out / f"{stem}.pdf", claim_pdf(house, claim, paper, fillable=fillable)),
        save(out / f"{stem}.csv", claim_csv(house, claim)),
    ]
