"""The lines of a claim: what was announced, found and lost, what the allowance leaves, and what that is worth.

Every line adds up twice: announced + extra − not booked − missing − wrong − DOA = placed, placed − DAA = left; and
DOA + DAA + missing + wrong − allowance used = claimable, claimable × unit price = amount.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from intake.farm.floor import Batch
from intake.ledger.corrections import netted
from intake.ledger.entries import Entry, Movement
from intake.report.claiming.terms import ClaimTerms, deadlines

__all__ = [
    "ClaimFacts",
    "ClaimHead",
    "ClaimLine",
    "ClaimSums",
    "Counts",
    "count",
    "heads",
    "money",
    "priced",
    "sums",
    "totals",
]

_NO_CENTS: Final = frozenset({"CLP", "ISK", "JPY", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"})
"""Currencies without a minor unit (ISO 4217, from memory)."""


@dataclass(frozen=True, slots=True)
class ClaimFacts:
    """What is known of a shipment apart from its counts.

    Attributes
    ----------
    lines
        Batches of its lines.
    received_at
        When it was received, ``None`` while it is under way.
    waybill, order, invoice
        Numbers as text, empty when unknown.
    freight
        Freight paid for it, ``None`` when not recorded.
    """

    shipment: str
    supplier: str
    lines: tuple[Batch, ...]
    received_at: datetime | None = None
    waybill: str = ""
    order: str = ""
    invoice: str = ""
    freight: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """One line of a claim; all counts are animals.

    Attributes
    ----------
    announced, extra, unbooked
        On the packing list; booked in beyond it; not booked in at all so far.
    missing, wrong, doa
        Announced and not found in the window; not what was ordered; dead when the bag was opened.
    placed
        Alive and right when the bag was opened.
    daa, left
        Dead after arrival within the days covered; placed − daa.
    received
        Animals that came, dead or alive, right or wrong.
    percent, percent_announced
        (doa + daa) of received, and doa + daa + missing + wrong of announced, 0 to 100; ``None`` when nothing came, or
        nothing was announced.
    allowance
        Animals the supplier need not credit; ``None`` where the terms take them of the whole shipment.
    used
        How many of them were used up here.
    claimable
        doa + daa + missing + wrong − used.
    unit_price, value, currency
        Invoice price of one animal; price × claimable at the agreed share; ISO 4217 code.  ``None`` when the price is
        unknown.
    """

    batch: str
    line: int
    name: str
    announced: int
    extra: int
    unbooked: int
    missing: int
    wrong: int
    doa: int
    placed: int
    daa: int
    left: int
    received: int
    percent: float | None
    percent_announced: float | None
    allowance: int | None
    used: int
    claimable: int
    unit_price: Decimal | None
    value: Decimal | None
    currency: str
    boxes: tuple[str, ...] = ()

    @property
    def dead(self) -> int:
        """Dead animals within the terms."""
        return self.doa + self.daa

    @property
    def alive(self) -> int:
        """Alive and right when the bag was opened; the older name of ``placed``."""
        return self.placed

    @property
    def adds_up(self) -> bool:
        """Whether both sums of the line hold."""
        balance = self.announced + self.extra - self.unbooked - self.missing - self.wrong - self.doa
        claimed = self.doa + self.daa + self.missing + self.wrong - self.used
        return balance == self.placed and self.placed - self.daa == self.left and claimed == self.claimable

    @property
    def heads(self) -> tuple[ClaimHead, ...]:
        """What is claimed, by head; the values of the heads add up to the line's value."""
        counted = {"dead": self.dead, "missing": max(0, self.missing), "wrong": max(0, self.wrong)}
        left = dict(counted)
        used = self.used
        for name in ("dead", "missing"):  # the allowance is used up by the dead first
            taken = min(used, left[name])
            left[name] -= taken
            used -= taken
        values: dict[str, Decimal | None] = dict.fromkeys(left)
        if self.value is not None:
            share = self.value / self.claimable if self.claimable else Decimal(0)
            values = {name: _rounded(share * left[name], self.currency) for name in ("missing", "wrong")}
            values["dead"] = self.value - sum((one for one in values.values() if one is not None), Decimal(0))
        return tuple(ClaimHead(name, counted[name], left[name], values[name], self.currency) for name in counted)


@dataclass(frozen=True, slots=True)
class ClaimHead:
    """One head of a claim: animals counted under it, how many are claimed, and their value (``None`` without price)."""

    head: str
    counted: int
    claimable: int
    value: Decimal | None
    currency: str


@dataclass(frozen=True, slots=True)
class ClaimSums:
    """The bottom row: every column added up; ``allowance`` is what was agreed for the whole shipment."""

    announced: int
    extra: int
    unbooked: int
    missing: int
    wrong: int
    doa: int
    placed: int
    daa: int
    left: int
    received: int
    percent: float | None
    percent_announced: float | None
    allowance: int
    used: int
    claimable: int

    @property
    def balance(self) -> str:
        """Where all animals are, as a sum a stranger can follow."""
        extra = f" + {self.extra} extra" if self.extra else ""
        unbooked = f" − {self.unbooked} not booked in" if self.unbooked else ""
        return (
            f"{self.announced} announced{extra}{unbooked} − {self.missing} missing − {self.wrong} wrong − {self.doa} DOA"
            f" = {self.placed} placed; {self.placed} − {self.daa} DAA = {self.left} left"
        )

    @property
    def check(self) -> str:
        """How the animals claimed come about, as a sum a stranger can follow."""
        return (
            f"{self.doa} DOA + {self.daa} DAA + {self.missing} missing + {self.wrong} wrong − {self.used} allowance used"
            f" = {self.claimable} claimable"
        )


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
    ends = deadlines(received_at, terms)
    missing = _net(moved, "missing", ends.opening)
    return Counts(
        received=-_net(moved, "supplier", None) - missing,
        doa=_net(moved, "doa", None),
        daa=_net(moved, "dead", ends.covered_until) if ends.covered_until else 0,
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
    The allowance is rounded down to whole animals and never more than what was lost.  By shipment, what is used of it is
    spread over the lines in proportion to their losses, by largest remainder.  Missing animals use it only where the terms
    say so, wrong ones never.  (Common practice, no source.)
    """
    of = [_against(counts[batch.id], terms) for batch in lines]
    agreed, used = _allowances(lines, terms, counts, of)
    return tuple(
        _line(batch, counts[batch.id], allowed, taken, terms)
        for batch, allowed, taken in zip(lines, agreed, used, strict=True)
    )


def _against(counts: Counts, terms: ClaimTerms) -> int:
    """Animals that use the allowance up."""
    return max(0, counts.doa + counts.daa + (counts.missing if terms.allowance_covers_missing else 0))


def _allowances(
    lines: Sequence[Batch], terms: ClaimTerms, counts: Mapping[str, Counts], lost: Sequence[int]
) -> tuple[list[int | None], list[int]]:
    share = Decimal(str(terms.allowance_percent)) / 100
    base = [max(0, counts[b.id].received if terms.allowance_of == "received" else b.announced) for b in lines]
    if terms.allowance_by == "line":
        agreed: list[int | None] = [int(share * number) for number in base]
        return agreed, [min(one or 0, number) for one, number in zip(agreed, lost, strict=True)]
    return [None] * len(lines), _spread(min(int(share * sum(base)), sum(lost)), lost)


def _line(batch: Batch, counts: Counts, allowance: int | None, used: int, terms: ClaimTerms) -> ClaimLine:
    lost = counts.doa + counts.daa + counts.missing + counts.wrong
    claimable = lost - used
    beyond = counts.received + counts.missing - batch.announced
    placed = counts.received - counts.doa - counts.wrong
    return ClaimLine(
        batch=batch.id,
        line=batch.line,
        name=batch.name,
        announced=batch.announced,
        extra=max(0, beyond),
        unbooked=max(0, -beyond),
        missing=counts.missing,
        wrong=counts.wrong,
        doa=counts.doa,
        placed=placed,
        daa=counts.daa,
        left=placed - counts.daa,
        received=counts.received,
        percent=_percent(counts.doa + counts.daa, counts.received),
        percent_announced=_percent(lost, batch.announced),
        allowance=allowance,
        used=used,
        claimable=claimable,
        unit_price=batch.unit_price,
        value=_value(batch, claimable, terms),
        currency=batch.currency,
        boxes=batch.boxes,
    )


def _percent(part: int, whole: int) -> float | None:
    return 100 * part / whole if whole > 0 else None


def _value(batch: Batch, claimable: int, terms: ClaimTerms) -> Decimal | None:
    if batch.unit_price is None:
        return None
    share = Decimal(str(terms.credit_percent)) / 100
    return _rounded(batch.unit_price * claimable * share, batch.currency)


def money(value: Decimal, currency: str) -> Decimal:
    """Money rounded to the currency's minor unit, half up."""
    return _rounded(value, currency)


def _rounded(value: Decimal, currency: str) -> Decimal:
    return value.quantize(Decimal(1) if currency in _NO_CENTS else Decimal("0.01"), ROUND_HALF_UP)


def sums(lines: Sequence[ClaimLine], terms: ClaimTerms) -> ClaimSums:
    """Every column of the claim added up."""

    def total(name: str) -> int:
        return sum(int(getattr(line, name)) for line in lines)

    allowance = sum(line.allowance or 0 for line in lines)
    if terms.allowance_by == "shipment":
        base = total("received" if terms.allowance_of == "received" else "announced")
        allowance = int(Decimal(str(terms.allowance_percent)) / 100 * max(0, base))
    lost = total("doa") + total("daa") + total("missing") + total("wrong")
    names = (
        "announced",
        "extra",
        "unbooked",
        "missing",
        "wrong",
        "doa",
        "placed",
        "daa",
        "left",
        "received",
        "used",
        "claimable",
    )
    return ClaimSums(
        **{name: total(name) for name in names},
        percent=_percent(total("doa") + total("daa"), total("received")),
        percent_announced=_percent(lost, total("announced")),
        allowance=allowance,
    )


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
