"""What losses cost, shipment by shipment, and what suppliers credited."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.ledger import by_batch
from intake.report.claiming.steps import fold_steps, steps_of
from intake.report.claiming.versions import facts_of
from intake.report.losses import summary
from intake.report.money import LossValue, loss_values

__all__ = ["loss_money"]


def loss_money(house: House, shipment: str = "") -> dict[str, Any]:
    """Losses at the price paid and at landed cost, credits received and what is left, each currency apart.

    Raises
    ------
    BadInput
        No such shipment was received.
    """
    received = sorted(house.floor().received)
    if shipment and shipment not in received:
        raise BadInput(
            Finding("--shipment", shipment, "a received shipment" + (f": {', '.join(received)}" if received else ""))
        )
    values = [one for name in ([shipment] if shipment else received) for one in _values(house, name)]
    return {"shipments": [_row(one) for one in values], "totals": _totals(values)}


def _values(house: House, shipment: str) -> tuple[LossValue, ...]:
    story = house.shipment_stream(shipment)
    facts = facts_of(story, shipment)
    streams = by_batch(story)
    lines = [
        (batch, told)
        for batch in facts.lines
        if (told := summary(streams.get(batch.id, ()), batch.id, house.now)) is not None
    ]
    return loss_values(lines, facts.freight, fold_steps(steps_of(story, shipment)).credited)


def _row(one: LossValue) -> dict[str, Any]:
    return {
        "shipment": one.shipment,
        "supplier": one.supplier,
        "currency": one.currency,
        "bought": str(one.bought),
        **{head: str(value) for head, value in one.lost.items()},
        "lost": str(one.total),
        "lost_landed": None if one.landed is None else str(one.landed),
        "credited": str(one.credited),
        "net": str(one.net),
        "unpriced_animals": one.unpriced,
    }


def _totals(values: Iterable[LossValue]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Decimal]] = {}
    for one in values:
        sums = found.setdefault(one.currency, dict.fromkeys(("bought", "lost", "credited", "net"), Decimal(0)))
        for name, value in (("bought", one.bought), ("lost", one.total), ("credited", one.credited), ("net", one.net)):
            sums[name] += value
    return [
        {"currency": currency, **{name: str(value) for name, value in sums.items()}}
        for currency, sums in sorted(found.items())
    ]
