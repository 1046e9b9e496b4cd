"""The versions of a claim: what the entries held when it was sent, when the window closed, and now.

A version that was sent never changes: later counts make a further one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from intake.errors import BadInput, Finding
from intake.ledger.balance import batches
from intake.ledger.corrections import latest, standing
from intake.ledger.entries import Entry, Movement, movements
from intake.report.claiming.claim_lines import (
    ClaimFacts,
    ClaimLine,
    ClaimSums,
    Counts,
    count,
    money,
    priced,
    sums,
    totals,
)
from intake.report.claiming.steps import Standing, fold_steps, steps_of
from intake.report.claiming.terms import ClaimTerms, deadlines, terms_from

__all__ = ["Claim", "Evidence", "agreed_terms", "assess", "facts_of", "versions"]


@dataclass(frozen=True, slots=True)
class Evidence:
    """Something the supplier wants to see, and how many such photos or readings are on record."""

    name: str
    held: int


@dataclass(frozen=True, slots=True)
class Claim:
    """One version of the claim for a shipment.

    Attributes
    ----------
    facts
        The shipment, its lines and the numbers of its papers.
    version, as_of
        Number from 1, and the moment whose entries it shows.
    in_time
        Whether everything in it was recorded within the terms.
    frozen
        Whether later counts make a new version instead of changing this one.
    sent
        Whether this version was sent.
    deadline, daa_deadline
        By when what was found at opening, and deaths after arrival, must be claimed; ``None`` before receipt or where such
        deaths are not covered.
    state, state_at
        One of ``steps.STATES`` and since when (``None`` while drafted).
    totals
        (currency, value) of all lines with a price, and freight, by currency.
    freight
        Share of the freight claimed; ``None`` when no freight is recorded or none is credited.
    unpriced
        Claimable animals of lines without a price.
    notes
        What the reader must know besides, in words.
    """

    facts: ClaimFacts
    terms: ClaimTerms
    version: int
    as_of: datetime
    in_time: bool
    frozen: bool
    sent: bool
    deadline: datetime | None
    daa_deadline: datetime | None
    state: str
    state_at: datetime | None
    standing: Standing
    lines: tuple[ClaimLine, ...]
    sums: ClaimSums
    totals: tuple[tuple[str, Decimal], ...]
    freight: Decimal | None
    unpriced: int
    evidence: tuple[Evidence, ...]
    notes: tuple[str, ...] = ()

    @property
    def shipment(self) -> str:
        """Shipment id."""
        return self.facts.shipment

    @property
    def supplier(self) -> str:
        """Supplier id."""
        return self.facts.supplier

    @property
    def waybill(self) -> str:
        """Number of the waybill, empty when unknown."""
        return self.facts.waybill

    @property
    def order(self) -> str:
        """Number of the order, empty when unknown."""
        return self.facts.order

    @property
    def received_at(self) -> datetime | None:
        """When the shipment was received."""
        return self.facts.received_at

    @property
    def claimable(self) -> int:
        """Animals claimed over all lines."""
        return self.sums.claimable


def facts_of(entries: Iterable[Entry], shipment: str) -> ClaimFacts:
    """Facts of a shipment as they are on record.

    Parameters
    ----------
    entries
        All entries; ``batch``, ``shipment``, ``received`` and ``claim`` records are read.
    shipment
        Shipment id.

    Raises
    ------
    BadInput
        When no line of it is on record.
    """
    kept = tuple(entries)
    ours = (b for b in batches(kept).values() if b.shipment == shipment)
    # animals booked in again as what they are stand under ``wrong`` of the line they were announced in
    lines = sorted((b for b in ours if not (b.parent and b.announced == 0)), key=lambda b: (b.line, b.id))
    if not lines:
        raise BadInput(Finding("shipment", shipment, "a shipment whose lines are on record"))
    paper = latest(kept, "shipment").get(shipment)
    payload: dict[str, object] = dict(paper.payload) if paper else {}
    for step in steps_of(kept, shipment):
        if step.kind == "facts":
            payload |= {name: value for name, value in step.payload.items() if value}
    receipts = [record.happened_at for record in standing(kept, "received") if record.subject == shipment]
    freight = payload.get("freight")
    return ClaimFacts(
        shipment=shipment,
        supplier=str(payload.get("supplier") or lines[0].supplier),
        lines=tuple(lines),
        received_at=min(receipts, default=None),
        waybill=str(payload.get("waybill") or ""),
        order=str(payload.get("order") or ""),
        invoice=str(payload.get("invoice") or ""),
        freight=Decimal(str(freight)) if freight else None,
    )


def agreed_terms(entries: Iterable[Entry], shipment: str, now: ClaimTerms) -> ClaimTerms:
    """Terms the claim stands under: those saved with the first version sent, else those given."""
    kept = (step.payload.get("terms") for step in steps_of(entries, shipment) if step.kind in ("sent", "prepared"))
    return next((terms_from(terms) for terms in kept if isinstance(terms, Mapping)), now)


def assess(facts: ClaimFacts, terms: ClaimTerms, entries: Iterable[Entry], now: datetime) -> Claim:
    """Last version of the claim for a shipment; arguments as for :func:`versions`."""
    return versions(facts, terms, entries, now)[-1]


def versions(facts: ClaimFacts, terms: ClaimTerms, entries: Iterable[Entry], now: datetime) -> tuple[Claim, ...]:
    """All versions of the claim for a shipment, oldest first.

    Parameters
    ----------
    facts
        The shipment.
    terms
        What was agreed with its supplier.
    entries
        All entries, in the order they were recorded.
    now
        Moment the claim is looked at, time-zone aware; what was recorded later is left aside.

    References
    ----------
    The rules of counting and rounding stand at :func:`intake.report.claiming.claim_lines.priced`.
    """
    known = [entry for entry in entries if entry.recorded_at <= now]
    ours = {batch.id for batch in facts.lines}
    moved = [movement for movement in movements(known) if movement.batch in ours]
    ends = deadlines(facts.received_at, terms)
    at = fold_steps(steps_of(known, facts.shipment))
    taken = {step.payload.get("as_of") for step in at.steps if step.kind in ("sent", "prepared")}
    kept = sorted(datetime.fromisoformat(str(one)) for one in taken if one)
    made: list[Claim] = []
    seen: list[dict[str, Counts]] = []
    in_window: dict[str, Counts] = {}
    for moment in _moments(moved, ends.opening, kept, now):
        counts = count(facts, terms, [movement for movement in moved if movement.recorded_at <= moment])
        inside = ends.opening is None or moment <= ends.opening
        in_window = counts if inside else in_window
        if seen and counts == seen[-1]:
            continue
        in_time = inside or _only_daa(counts, in_window, moment, ends.daa)
        seen.append(counts)
        lines = priced(facts.lines, terms, counts)
        made.append(
            Claim(
                facts=facts,
                terms=terms,
                version=len(made) + 1,
                as_of=moment,
                in_time=in_time,
                frozen=moment in kept or (ends.opening is not None and now > ends.opening),
                sent=False,
                deadline=ends.opening,
                daa_deadline=ends.daa,
                state="drafted",
                state_at=None,
                standing=at,
                lines=lines,
                sums=sums(lines, terms),
                totals=(),
                freight=_freight(facts, terms, lines),
                unpriced=sum(line.claimable for line in lines if line.value is None),
                evidence=_evidence(facts, terms, known),
            )
        )
    return tuple(_with_state(_with_totals(one), now) for one in made)


def _moments(
    moved: Iterable[Movement], deadline: datetime | None, kept: Sequence[datetime], now: datetime
) -> Iterator[datetime]:
    """Moments whose entries may differ: what was sent, the window's end or now, then each later recording of these lines."""
    before = [at for at in kept if deadline is None or at <= deadline]
    if deadline is None or now <= deadline:
        yield from before
        yield now
        return
    yield from before
    yield deadline
    later = {movement.recorded_at for movement in moved if movement.recorded_at > deadline}
    yield from sorted(later | {at for at in kept if at > deadline})


def _only_daa(
    counts: dict[str, Counts], in_window: dict[str, Counts], moment: datetime, daa_deadline: datetime | None
) -> bool:
    """Whether a version after the window adds nothing but deaths after arrival that the terms still cover."""
    if daa_deadline is None or moment > daa_deadline:
        return False
    return all(replace(counts[batch], daa=of.daa) == of for batch, of in in_window.items())


def _freight(facts: ClaimFacts, terms: ClaimTerms, lines: Sequence[ClaimLine]) -> Decimal | None:
    announced, claimable = sum(line.announced for line in lines), sum(line.claimable for line in lines)
    if facts.freight is None or not terms.freight_share_percent or not announced:
        return None
    share = Decimal(str(terms.freight_share_percent)) / 100
    return money(facts.freight * share * claimable / announced, lines[0].currency)


def _with_totals(claim: Claim) -> Claim:
    found = dict(totals(claim.lines))
    if claim.freight:
        currency = claim.lines[0].currency
        found[currency] = found.get(currency, Decimal(0)) + claim.freight
    return replace(claim, totals=tuple(sorted(found.items())))


def _evidence(facts: ClaimFacts, terms: ClaimTerms, known: Iterable[Entry]) -> tuple[Evidence, ...]:
    """Count photos, readings and findings which name the evidence they are; readings also where readings are asked for."""
    boxes = {f"{facts.shipment}/{box}" for batch in facts.lines for box in batch.boxes}
    ours = {facts.shipment, *(batch.id for batch in facts.lines), *boxes}
    held: Counter[str] = Counter()
    for record in standing(known):
        about = {record.subject, str(record.payload.get("shipment")), str(record.payload.get("batch"))}
        if record.kind in ("photo", "reading", "finding") and about & ours:
            held[str(record.payload.get("evidence"))] += 1
            if record.kind == "reading" and "evidence" not in record.payload:
                held.update(name for name in terms.evidence if "reading" in name.casefold())
    return tuple(Evidence(name, held[name]) for name in terms.evidence)


def _with_state(claim: Claim, now: datetime) -> Claim:
    at = claim.standing
    sent = any(step.kind == "sent" and step.version == claim.version for step in at.steps)
    notes = tuple(_notes(claim, now))
    if at.state != "drafted":
        return replace(claim, sent=sent, state=at.state, state_at=at.since, notes=notes)
    last = max((end for end in (claim.deadline, claim.daa_deadline) if end is not None), default=None)
    if last is not None and now > last and claim.claimable:
        return replace(claim, state="expired", state_at=last, notes=notes)
    return replace(claim, notes=notes)


def _notes(claim: Claim, now: datetime) -> Iterator[str]:
    if any(line.value is None and line.claimable for line in claim.lines):
        yield f"{claim.unpriced} claimable animals have no price."
    if not claim.in_time:
        yield "Holds counts recorded after the terms ended."
    first = claim.standing.first_sent_at
    if claim.deadline is None or not claim.claimable:
        return
    if first is not None and first > claim.deadline:
        yield f"First sent {first.isoformat(timespec='minutes')}, after the window had ended."
    elif first is None and now > claim.deadline:
        yield f"Not sent by {claim.deadline.isoformat(timespec='minutes')}, the end of the window."
