"""What losses cost: at the price paid and at landed cost with freight, against credits received; currencies kept apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from intake.farm.floor import Batch
from intake.report.claiming.claim_lines import money
from intake.report.losses import Losses

__all__ = ["LossValue", "loss_values"]

_HEADS = ("doa", "dead_first_week", "dead_later", "missing", "wrong")


@dataclass(frozen=True, slots=True)
class LossValue:
    """What one shipment's losses cost in one currency.

    Attributes
    ----------
    bought
        Price of all animals announced.
    lost
        Head (``doa``, ``dead_first_week``, ``dead_later``, ``missing``, ``wrong``) → animals × price.
    landed
        The same losses with their share of the freight, all heads together; ``None`` when no freight is recorded.
    credited
        Credits received, replacements at their share of the claim.
    unpriced
        Animals lost of lines without a price; they are in no sum.
    """

    shipment: str
    supplier: str
    currency: str
    bought: Decimal
    lost: Mapping[str, Decimal]
    landed: Decimal | None
    credited: Decimal
    unpriced: int

    @property
    def total(self) -> Decimal:
        """Losses of all heads at the price paid."""
        return sum(self.lost.values(), Decimal(0))

    @property
    def net(self) -> Decimal:
        """What is left after credits, at landed cost where freight is recorded."""
        return (self.total if self.landed is None else self.landed) - self.credited


def loss_values(
    lines: Sequence[tuple[Batch, Losses]], freight: Decimal | None, credited: Mapping[str, Decimal]
) -> tuple[LossValue, ...]:
    """Value the losses of one shipment.

    Parameters
    ----------
    lines
        Its batches with what became of them.
    freight
        Freight paid, in the currency of its first line; spread evenly over the animals announced.
    credited
        Currency → credits received.

    Returns
    -------
    tuple
        A row for each currency of a line or a credit, by currency; none without lines.
    """
    if not lines:
        return ()
    first = lines[0][0]
    announced = sum(batch.announced for batch, _ in lines)
    freight_each = freight / announced if freight is not None and announced else None
    currencies = sorted({batch.currency for batch, _ in lines if batch.unit_price is not None} | set(credited))
    return tuple(
        _row(first, [one for one in lines if one[0].currency == currency], currency, freight_each, credited)
        for currency in currencies or [first.currency]
    )


def _row(
    first: Batch,
    lines: Iterable[tuple[Batch, Losses]],
    currency: str,
    freight_each: Decimal | None,
    credited: Mapping[str, Decimal],
) -> LossValue:
    lost = dict.fromkeys(_HEADS, Decimal(0))
    bought, animals, unpriced = Decimal(0), 0, 0
    for batch, losses in lines:
        counts = {head: max(0, int(getattr(losses, head))) for head in _HEADS}
        animals += sum(counts.values())
        if batch.unit_price is None:
            unpriced += sum(counts.values())
            continue
        bought += batch.unit_price * batch.announced
        for head, count in counts.items():
            lost[head] += batch.unit_price * count
    values = {head: money(value, currency) for head, value in lost.items()}
    total = sum(values.values(), Decimal(0))
    freighted = freight_each is not None and currency == first.currency
    return LossValue(
        shipment=first.shipment,
        supplier=first.supplier,
        currency=currency,
        bought=money(bought, currency),
        lost=values,
        landed=money(total + freight_each * animals, currency) if freighted and freight_each is not None else None,
        credited=credited.get(currency, Decimal(0)),
        unpriced=unpriced,
    )
