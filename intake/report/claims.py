"""What a supplier owes for a shipment: counts, allowance, value and deadline of each line, version by version.

A version is what the books held at one moment.  The first is frozen at the window's end; whatever is counted later
makes a further version and never changes an earlier one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from intake.errors import BadInput, Finding
from intake.ledger.balance import batches
from intake.ledger.corrections import latest, standing
from intake.ledger.entries import Entry, Movement, Record, movements
from intake.report.claim_lines import ClaimFacts, ClaimLine, ClaimTerms, Counts, count, priced, totals

__all__ = ["STATES", "Claim", "ClaimFacts", "ClaimLine", "ClaimTerms", "Evidence", "assess", "facts_of", "versions"]

STATES: Final = ("drafted", "sent", "answered", "settled", "expired")
"""States of a claim, in their order; ``expired`` is derived (never sent in time), the others are recorded."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Something the supplier wants to see, and how many such photos or readings the books hold."""

    name: str
    held: int


@dataclass(frozen=True, slots=True)
class Claim:
    """One version of the claim for a shipment.

    Attributes
    ----------
    version, as_of
        Number from 1, and the moment whose books it shows.
    in_time
        Whether everything in it was recorded within the terms.
    frozen
        Whether later counts make a new version instead of changing this one.
    deadline, daa_deadline
        When the window ends for what was found at opening, and for deaths after arrival; ``None`` before receipt.
    state, state_at
        One of :data:`STATES` and since when (``None`` while drafted).
    totals
        (currency, value) of all lines with a price, by currency.
    unpriced
        Claimable animals of lines without a price.
    notes
        What the reader must know besides, in words.
    """

    shipment: str
    supplier: str
    waybill: str
    order: str
    terms: ClaimTerms
    version: int
    as_of: datetime
    in_time: bool
    frozen: bool
    received_at: datetime | None
    deadline: datetime | None
    daa_deadline: datetime | None
    state: str
    state_at: datetime | None
    lines: tuple[ClaimLine, ...]
    totals: tuple[tuple[str, Decimal], ...]
    unpriced: int
    evidence: tuple[Evidence, ...]
    notes: tuple[str, ...] = ()

    @property
    def claimable(self) -> int:
        """Animals claimed over all lines."""
        return sum(line.claimable for line in self.lines)


def facts_of(entries: Iterable[Entry], shipment: str) -> ClaimFacts:
    """Facts of a shipment as the books hold them.

    Parameters
    ----------
    entries
        All entries; ``batch``, ``shipment`` and ``received`` records are read.
    shipment
        Shipment id.

    Raises
    ------
    BadInput
        When the books know no line of it.
    """
    kept = tuple(entries)
    ours = (b for b in batches(kept).values() if b.shipment == shipment)
    # animals booked in again as what they are stand under ``wrong`` of the line they were announced in
    lines = sorted((b for b in ours if not (b.parent and b.announced == 0)), key=lambda b: (b.line, b.id))
    if not lines:
        raise BadInput(Finding("shipment", shipment, "a shipment whose lines are in the books"))
    paper = latest(kept, "shipment").get(shipment)
    payload: Mapping[str, object] = paper.payload if paper else {}
    receipts = [record.happened_at for record in standing(kept, "received") if record.subject == shipment]
    return ClaimFacts(
        shipment=shipment,
        supplier=str(payload.get("supplier") or lines[0].supplier),
        lines=tuple(lines),
        received_at=min(receipts, default=None),
        waybill=str(payload.get("waybill") or ""),
        order=str(payload.get("order") or ""),
    )


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
        All entries of the books, in the order they were recorded.
    now
        Moment the claim is looked at, time-zone aware; what was recorded later is left aside.

    References
    ----------
    The rules of counting and rounding stand at :func:`intake.report.claim_lines.priced`.
    """
    known = [entry for entry in entries if entry.recorded_at <= now]
    ours = {batch.id for batch in facts.lines}
    moved = [movement for movement in movements(known) if movement.batch in ours]
    deadline, daa_deadline = _deadlines(facts, terms)
    blank = Claim(
        shipment=facts.shipment,
        supplier=facts.supplier,
        waybill=facts.waybill,
        order=facts.order,
        terms=terms,
        version=0,
        as_of=now,
        in_time=True,
        frozen=deadline is not None and now > deadline,
        received_at=facts.received_at,
        deadline=deadline,
        daa_deadline=daa_deadline,
        state="drafted",
        state_at=None,
        lines=(),
        totals=(),
        unpriced=0,
        evidence=_evidence(facts, terms, known),
    )
    made: list[Claim] = []
    seen: list[dict[str, Counts]] = []
    for moment in _moments(moved, deadline, now):
        counts = count(facts, terms, [movement for movement in moved if movement.recorded_at <= moment])
        if seen and counts == seen[-1]:
            continue
        in_time = deadline is None or moment <= deadline or _only_daa(counts, seen[0], moment, daa_deadline)
        seen.append(counts)
        version = _filled(replace(blank, version=len(made) + 1, as_of=moment, in_time=in_time), facts, counts)
        made.append(_with_state(version, known, now))
    return tuple(made)


def _deadlines(facts: ClaimFacts, terms: ClaimTerms) -> tuple[datetime | None, datetime | None]:
    if facts.received_at is None:
        return None, None
    deadline = facts.received_at + timedelta(hours=terms.window_h)
    return deadline, max(deadline, facts.received_at + timedelta(days=terms.daa_days))


def _filled(claim: Claim, facts: ClaimFacts, counts: Mapping[str, Counts]) -> Claim:
    lines = priced(facts.lines, claim.terms, counts)
    unpriced = sum(line.claimable for line in lines if line.value is None)
    return replace(claim, lines=lines, totals=totals(lines), unpriced=unpriced)


def _moments(moved: Iterable[Movement], deadline: datetime | None, now: datetime) -> Iterator[datetime]:
    """Moments whose books may differ: now or the window's end, then each later recording about these lines."""
    if deadline is None or now <= deadline:
        yield now
        return
    yield deadline
    yield from sorted({movement.recorded_at for movement in moved if movement.recorded_at > deadline})


def _only_daa(
    counts: Mapping[str, Counts], first: Mapping[str, Counts], moment: datetime, daa_deadline: datetime | None
) -> bool:
    """Whether a version after the window adds nothing but deaths after arrival that the terms still cover."""
    if daa_deadline is None or moment > daa_deadline:
        return False
    return all(replace(counts[batch], daa=first[batch].daa) == first[batch] for batch in first)


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


def _with_state(claim: Claim, known: Sequence[Entry], now: datetime) -> Claim:
    told = [record for record in standing(known, "claim") if record.subject == claim.shipment]
    notes = []
    if any(line.value is None and line.claimable for line in claim.lines):
        notes.append(f"{claim.unpriced} claimable animals have no price.")
    if not claim.in_time:
        notes.append("Holds counts recorded after the terms ended.")
    sent = [record.happened_at for record in told if _state(record) == "sent"]
    if claim.deadline is not None and claim.claimable:
        if sent and min(sent) > claim.deadline:
            notes.append(f"First sent {min(sent).isoformat(timespec='minutes')}, after the window had ended.")
        elif not sent and now > claim.deadline:
            notes.append(f"Not sent by {claim.deadline.isoformat(timespec='minutes')}, the end of the window.")
    if told:
        return replace(claim, state=_state(told[-1]), state_at=told[-1].happened_at, notes=tuple(notes))
    if claim.daa_deadline is not None and now > claim.daa_deadline and claim.claimable:
        return replace(claim, state="expired", state_at=claim.daa_deadline, notes=tuple(notes))
    return replace(claim, notes=tuple(notes))


def _state(record: Record) -> str:
    state = str(record.payload.get("state"))
    if state not in STATES:
        raise BadInput(Finding(f"claim record {record.key}, state", state, "one of " + ", ".join(STATES)))
    return state
