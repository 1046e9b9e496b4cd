"""Supplier scorecards from the ledger."""

from __future__ import annotations

from typing import Any

from intake.app.session import House
from intake.report.comparing.suppliers import scorecard

__all__ = ["between_words", "suppliers"]


def between_words(between: tuple[float, float] | None, shipments: int) -> str:
    """An interval in percent, or why there is none."""
    if between is not None:
        return f"{100 * between[0]:.1f}–{100 * between[1]:.1f}"
    many = "one shipment" if shipments == 1 else f"{shipments} shipments, one of each"
    return f"{many}: between-delivery spread unknown"


def suppliers(house: House) -> dict[str, Any]:
    """Each supplier's dead on arrival and survival, adjusted and with intervals, and which cannot be distinguished."""
    card = scorecard((*house.books.entries(every_site=True), *house.standing("past")), house.now)
    return {
        "confidence": card.confidence,
        "suppliers": [
            {
                "supplier": row.supplier,
                "shipments": row.shipments,
                "past_shipments": row.past_shipments,
                "batches": row.batches,
                "came": row.came,
                "shares": {
                    name: {
                        "lost": share.lost,
                        "of": share.of,
                        "raw": share.raw,
                        "estimate": share.shrunk.estimate,
                        "low": share.between[0] if share.between else None,
                        "high": share.between[1] if share.between else None,
                        "shipments": share.shipments,
                        "interval": between_words(share.between, share.shipments),
                    }
                    for name, share in row.shares.items()
                },
            }
            for row in card.rows
        ],
        "likeness": dict(card.likeness),
        "ranking": {
            name: [{"place": p.place, "supplier": p.supplier, "cannot_be_told_from": list(p.alike)} for p in places]
            for name, places in card.rankings.items()
        },
    }
