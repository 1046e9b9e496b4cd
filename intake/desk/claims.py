"""The claim to a supplier: drafted from the books, printed, sent, answered, settled; every step is a new entry."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from intake.desk.house import House, save
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import latest, standing
from intake.report.claims import STATES, Claim, ClaimTerms, assess, facts_of, versions

__all__ = [
    "all_claims",
    "claim_csv",
    "claim_pdf",
    "claim_state",
    "current",
    "history",
    "set_state",
    "terms_of",
    "write",
]


def terms_of(house: House, supplier: str) -> ClaimTerms:
    """What the farm file says was agreed with a supplier."""
    agreed = house.site.supplier(supplier)
    return ClaimTerms(
        agreed.claim_window_h, agreed.daa_days, agreed.allowance_percent, agreed.allowance_by, agreed.evidence
    )


def current(house: House, shipment: str) -> Claim:
    """The claim for a shipment as the books have it now.

    Raises
    ------
    UnknownName
        No such shipment.
    """
    return history(house, shipment)[-1]


def history(house: House, shipment: str) -> tuple[Claim, ...]:
    """Every version of a shipment's claim, oldest first; the last is :func:`current`."""
    known = latest(house.entries(), "shipment")
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known), "shipment")
    facts = facts_of(house.entries(), shipment)
    return versions(facts, terms_of(house, facts.supplier), house.entries(), house.now)


def all_claims(house: House) -> list[Claim]:
    """Claims of every received shipment."""
    received = house.floor().received
    return [
        assess(facts, terms_of(house, facts.supplier), house.entries(), house.now)
        for facts in (facts_of(house.entries(), shipment) for shipment in sorted(received))
    ]


def claim_state(claim: Claim, now: datetime) -> str:
    """Where the claim stands, in words with the time left."""
    if claim.received_at is None:
        return "not received yet"
    if claim.state == "drafted" and claim.deadline is not None:
        left = (claim.deadline - now).total_seconds() / 3600
        return f"drafted, {left:.1f} h left to send it" if left > 0 else f"drafted, window ended {-left:.0f} h ago"
    return claim.state


def set_state(house: House, shipment: str, state: str, *, note: str = "", amount: str = "", key: str = "") -> str:
    """Record that the claim was sent, answered or settled.

    Parameters
    ----------
    amount
        Money credited, as typed, for ``answered`` and ``settled``; recorded in the claim's currency.

    Raises
    ------
    BadInput
        Not one of the states that can be recorded, or an amount that is no number.
    """
    if state not in STATES[1:4]:
        raise BadInput(Finding("--state", state, ", ".join(STATES[1:4])))
    claim = current(house, shipment)
    payload: dict[str, object] = {"state": state, "version": claim.version, "note": note}
    if amount:
        try:
            payload["amount"] = str(Decimal(amount))
        except ArithmeticError as error:
            raise BadInput(Finding("--amount", amount, "a number with a decimal point, such as 120.50")) from error
    with house.act(key) as act:
        act.note("claim", shipment, payload)
    return f"Claim for {shipment}: {state}"


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
)


def claim_csv(house: House, claim: Claim) -> bytes:
    """The claim as CSV: one row for each invoice line."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    batches = house.floor().batches
    for line in claim.lines:
        percent = "" if line.percent is None else f"{line.percent:.2f}"
        boxes = " ".join(batches[line.batch].boxes)
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
                "" if line.unit_price is None else line.unit_price,
                "" if line.value is None else line.value,
                line.currency,
            ]
        )
    return out.getvalue().encode("utf-8-sig")


def _safe(text: str) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def claim_pdf(house: House, claim: Claim, paper: str = "", *, fillable: bool = False) -> bytes:
    """The claim as PDF."""
    import forms as page

    zone = house.site.farm.zone
    supplier = house.site.supplier(claim.supplier)
    batches = house.floor().batches
    rows = tuple(
        page.ClaimRow(
            line=str(line.line),
            name=line.name,
            announced=line.announced,
            received=line.received,
            alive=line.alive,
            dead=line.dead,
            missing=line.missing,
            wrong=line.wrong,
            percent_of_announced=_percent(line.dead + line.missing + line.wrong, line.announced),
            allowance=int(line.allowance),
            claimable=line.claimable,
            unit_price="" if line.unit_price is None else f"{line.unit_price:,.2f}",
            value="" if line.value is None else f"{line.value:,.2f}",
            boxes=" ".join(batches[line.batch].boxes),
        )
        for line in claim.lines
    )

    def when(moment: datetime | None) -> str:
        return "" if moment is None else f"{moment.astimezone(zone):%Y-%m-%d %H:%M %Z}"

    content = page.ClaimContent(
        number=f"{claim.shipment} / {claim.version}",
        claimant=house.site.farm.name,
        supplier="\n".join(part for part in (supplier.name, supplier.contact) if part),
        shipment=claim.shipment,
        rows=rows,
        totals=_totals(claim),
        version=claim.version,
        state=claim.state,
        waybill=claim.waybill,
        order=claim.order,
        landed=when(claim.received_at),
        counted=when(claim.as_of),
        deadline=when(claim.deadline),
        currency=supplier.currency,
        terms=(
            f"{supplier.allowance_percent:g} % of animals received, by {supplier.allowance_by}, are not credited; "
            f"claims within {supplier.claim_window_h:g} h of receipt, deaths after arrival for {supplier.daa_days} d."
        ),
        window_words="Frozen: the window has ended; later counts make a new version." if claim.frozen else "",
        evidence=tuple(page.Evidence(item.name, item.held > 0) for item in claim.evidence),
        water=_water(house, claim),
        statement=(
            "The counts above were made at opening and are kept, with the time and the name of who counted, in the farm's "
            "books. Dead animals of listed species are kept until the supplier has answered or the authority is told."
        ),
        counted_by=house.site.people[house.who].name if house.who in house.site.people else house.who,
    )
    return page.claim(content, paper or house.site.farm.paper, fillable=fillable)


def _percent(part: int, whole: int) -> float | None:
    return 100.0 * part / whole if whole else None


def _totals(claim: Claim):  # type: ignore[no-untyped-def]  # forms.claim is imported late
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
        allowance=int(sum(line.allowance for line in claim.lines)),
        claimable=claim.claimable,
        value=" + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals) or "–",
    )


def _water(house: House, claim: Claim):  # type: ignore[no-untyped-def]
    import forms as page

    boxes = {box for line in claim.lines for box in house.floor().batches[line.batch].boxes}
    ours = {claim.shipment, *(line.batch for line in claim.lines), *boxes}
    found: dict[str, dict[str, str]] = {}
    for record in standing(house.entries(), "reading"):
        quantity = str(record.payload.get("quantity"))
        if record.subject in ours and quantity in {"temperature_c", "salinity_psu", "ph", "tan_n_mg_per_l"}:
            words = f"{record.payload.get('value'):g} {record.payload.get('scale') or ''}".strip()
            at = f"{record.happened_at.astimezone(house.site.farm.zone):%m-%d %H:%M}"
            found.setdefault(record.subject, {"when": at})[quantity] = words
    return tuple(
        page.BagReading(
            bag=subject,
            when=facts["when"],
            temperature=f"{facts['temperature_c']} °C" if "temperature_c" in facts else "",
            salinity=f"{facts['salinity_psu']} PSU" if "salinity_psu" in facts else "",
            ph=facts.get("ph", ""),
            ammonia=f"{facts['tan_n_mg_per_l']} mg/L TAN as N" if "tan_n_mg_per_l" in facts else "",
        )
        for subject, facts in found.items()
    )


def write(house: House, claim: Claim, out: Path, paper: str = "") -> list[Path]:
    """Write the claim as PDF and CSV; gives the paths."""
    stem = f"claim-{claim.shipment}-v{claim.version}"
    return [
        save(out / f"{stem}.pdf", claim_pdf(house, claim, paper)),
        save(out / f"{stem}.csv", claim_csv(house, claim)),
    ]
