"""Counting the lines of a claim: what came, what was dead, what the allowance leaves, and what that is worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.ledger.corrections import netted
from intake.ledger.entries import Entry, Movement

__all__ = ["ClaimFacts", "ClaimHead", "ClaimLine", "ClaimTerms", "Counts", "count", "heads", "priced", "totals"]

_NO_CENTS: Final = frozenset({"CLP", "ISK", "JPY", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"})
"""Currencies without a minor unit (ISO 4217, from memory)."""


@dataclass(frozen=True, slots=True)
class ClaimTerms:
    """What was agreed with a supplier about losses.

    Attributes
    ----------
    window_h
        Hours from receipt within which dead on arrival, missing and wrong animals must be claimed.
    daa_days
        Days from receipt during which deaths after arrival may be claimed; 0 when they may not.
    allowance_percent
        Share of the animals that came which the supplier does not credit when dead, 0 to 100.
    allowance_by
        ``line`` or ``shipment``: what the share is taken of.
    evidence
        What the supplier wants to see, by name.
    """

    window_h: float
    daa_days: float = 0.0
    allowance_percent: float | Decimal = 0.0
    allowance_by: str = "line"
    evidence: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        found = []
        if not 0 < self.window_h <= 24 * 365:
            found.append(Finding("claim terms, window_h", str(self.window_h), "more than 0 hours, at most a year"))
        if not 0 <= self.daa_days <= 365:
            found.append(Finding("claim terms, daa_days", str(self.daa_days), "0 to 365 days"))
        if not 0 <= self.allowance_percent <= 100:
            found.append(Finding("claim terms, allowance_percent", str(self.allowance_percent), "0 to 100 percent"))
        if self.allowance_by not in ("line", "shipment"):
            found.append(Finding("claim terms, allowance_by", self.allowance_by, "line or shipment"))
        if found:
            raise BadInput(found)


@dataclass(frozen=True, slots=True)
class ClaimFacts:
    """What is known of a shipment apart from its counts.

    Attributes
    ----------
    lines
        Batches of its lines.
    received_at
        When it was received, ``None`` while it is under way.
    waybill, order
        Numbers as text, empty when unknown.
    """

    shipment: str
    supplier: str
    lines: tuple[Batch, ...]
    received_at: datetime | None = None
    waybill: str = ""
    order: str = ""


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """One line of a claim; all counts are animals.

    Attributes
    ----------
    received
        Animals that came, dead or alive, right or wrong.
    alive
        Alive and right when the bag was opened.
    doa, daa
        Dead when the bag was opened; dead after arrival within the terms.
    missing, wrong
        Announced and not found in the window; not what was ordered.
    percent
        (doa + daa) of received, 0 to 100; ``None`` when nothing came.
    allowance
        Animals the supplier does not credit, before rounding; by shipment, this line's share of it.
    claimable
        Dead beyond the allowance, and all missing and wrong.
    unit_price, value, currency
        Invoice price of one animal, price × claimable, ISO 4217 code; ``None`` when the price is unknown.
    """

    batch: str
    line: int
    name: str
    announced: int
    received: int
    alive: int
    doa: int
    daa: int
    missing: int
    wrong: int
    percent: float | None
    allowance: Decimal
    claimable: int
    unit_price: Decimal | None
    value: Decimal | None
    currency: str

    @property
    def dead(self) -> int:
        """Dead animals within the terms."""
        return self.doa + self.daa

    @property
    def heads(self) -> tuple[ClaimHead, ...]:
        """What is claimed, by head; the values of the heads add up to the line's value."""
        missing, wrong = max(0, self.missing), max(0, self.wrong)
        apart = {"missing": missing, "wrong": wrong}
        values = {name: _money(self.unit_price, number, self.currency) for name, number in apart.items()}
        rest = (
            None if self.value is None else self.value - sum((v for v in values.values() if v is not None), Decimal(0))
        )
        dead = ClaimHead("dead", self.dead, self.claimable - missing - wrong, rest, self.currency)
        others = (ClaimHead(name, number, number, values[name], self.currency) for name, number in apart.items())
        return (dead, *others)


@dataclass(frozen=True, slots=True)
class ClaimHead:
    """One head of a claim: animals counted under it, how many are claimed, and their value (``None`` without price)."""

    head: str
    counted: int
    claimable: int
    value: Decimal | None
    currency: str


@dataclass(frozen=True, slots=True)
class Counts:
    """Animals of one line, as counted so far; the names are those of :class:`ClaimLine`."""

    received: int
    doa: int
    daa: int
    missing: int
    wrong: int


def count(facts: ClaimFacts, terms: ClaimTerms, known: Iterable[Entry]) -> dict[str, Counts]:
    """Count each line by the entries given.

    Returns
    -------
    dict
        Batch id → its counts.
    """
    by_batch: dict[str, list[Movement]] = {batch.id: [] for batch in facts.lines}
    for movement in netted(known):
        if movement.batch in by_batch:
            by_batch[movement.batch].append(movement)
    return {batch: _count_line(moved, facts.received_at, terms) for batch, moved in by_batch.items()}


def _count_line(moved: Sequence[Movement], received_at: datetime | None, terms: ClaimTerms) -> Counts:
    window_end = daa_end = None
    if received_at is not None:
        window_end = received_at + timedelta(hours=terms.window_h)
        daa_end = received_at + timedelta(days=terms.daa_days)
    missing = _net(moved, "missing", window_end)
    return Counts(
        received=-_net(moved, "supplier", None) - missing,
        doa=_net(moved, "doa", None),
        daa=_net(moved, "dead", daa_end) if terms.daa_days and daa_end else 0,
        missing=missing,
        wrong=_net(moved, "wrong", None),
    )


def _net(moved: Iterable[Movement], place: str, until: datetime | None) -> int:
    """Animals that came into a place less those that left it, up to a moment."""
    counted = [m for m in moved if until is None or m.happened_at <= until]
    return sum((m.target == place) * m.count - (m.source == place) * m.count for m in counted)


def priced(lines: Sequence[Batch], terms: ClaimTerms, counts: Mapping[str, Counts]) -> tuple[ClaimLine, ...]:
    """Take the allowance off and put a value to what is left of each line.

    Notes
    -----
    Free animals are rounded down to whole animals; dead ones beyond them are claimed.  By shipment, the claimable dead
    are spread over the lines in proportion to their dead, by largest remainder.  Missing and wrong animals are claimed
    in full.  (Common practice, no source.)
    """
    share = Decimal(str(terms.allowance_percent)) / 100
    dead = [counts[batch.id].doa + counts[batch.id].daa for batch in lines]
    came = [counts[batch.id].received for batch in lines]
    free = [share * max(0, number) for number in came]
    if terms.allowance_by == "line":
        beyond = [max(0, count - int(allowed)) for count, allowed in zip(dead, free, strict=True)]
    else:
        total = sum(free, Decimal(0))
        beyond = _spread(max(0, sum(dead) - int(total)), dead)
        free = [total * count / max(1, sum(dead)) for count in dead]
    return tuple(
        _line(batch, counts[batch.id], allowed, count)
        for batch, allowed, count in zip(lines, free, beyond, strict=True)
    )


def _line(batch: Batch, counts: Counts, allowance: Decimal, dead_claimed: int) -> ClaimLine:
    claimable = dead_claimed + counts.missing + counts.wrong
    value = _money(batch.unit_price, claimable, batch.currency)
    return ClaimLine(
        batch=batch.id,
        line=batch.line,
        name=batch.name,
        announced=batch.announced,
        received=counts.received,
        alive=counts.received - counts.doa - counts.wrong,
        doa=counts.doa,
        daa=counts.daa,
        missing=counts.missing,
        wrong=counts.wrong,
        percent=100 * (counts.doa + counts.daa) / counts.received if counts.received > 0 else None,
        allowance=allowance,
        claimable=claimable,
        unit_price=batch.unit_price,
        value=value,
        currency=batch.currency,
    )


def _money(price: Decimal | None, animals: int, currency: str) -> Decimal | None:
    if price is None:
        return None
    return (price * animals).quantize(Decimal(1) if currency in _NO_CENTS else Decimal("0.01"), ROUND_HALF_UP)


def heads(lines: Iterable[ClaimLine]) -> tuple[ClaimHead, ...]:
    """Add up dead, missing and wrong over the lines, each by currency; heads under which nothing was counted left out."""
    summed: dict[tuple[str, str], ClaimHead] = {}
    for line in lines:
        for one in line.heads:
            before = summed.get((one.head, one.currency), ClaimHead(one.head, 0, 0, None, one.currency))
            priced_before, priced_now = before.value or Decimal(0), one.value or Decimal(0)
            value = None if before.value is None and one.value is None else priced_before + priced_now
            summed[one.head, one.currency] = ClaimHead(
                one.head, before.counted + one.counted, before.claimable + one.claimable, value, one.currency
            )
    order = ("dead", "missing", "wrong")
    kept = [one for one in summed.values() if one.counted]
    return tuple(sorted(kept, key=lambda one: (order.index(one.head), one.currency)))


def _spread(total: int, weights: Sequence[int]) -> list[int]:
    """Whole animals in proportion to weights, by largest remainder, earlier lines first among equals."""
    whole = sum(weights)
    if whole == 0:
        return [0] * len(weights)
    given = [total * weight // whole for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda index: -(total * weights[index] % whole))
    for index in by_remainder[: total - sum(given)]:
        given[index] += 1
    return given


def totals(lines: Iterable[ClaimLine]) -> tuple[tuple[str, Decimal], ...]:
    """Add up the values by currency; currencies are never mixed."""
    summed: defaultdict[str, Decimal] = defaultdict(Decimal)
    for line in lines:
        if line.value is not None:
            summed[line.currency] += line.value
    return tuple(sorted(summed.items()))
