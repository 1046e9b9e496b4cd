"""Supplier scorecards from the ledger."""

from __future__ import annotations

from typing import Any

from intake.app.session import House
from intake.report.suppliers import scorecard

__all__ = ["suppliers"]


def suppliers(house: House) -> dict[str, Any]:
    """Each supplier's dead on arrival and survival, shrunken and with intervals, and which cannot be told apart."""
    card = scorecard(house.books.entries(every_site=True), house.now)
    return {
        "confidence": card.confidence,
        "suppliers": [
            {
                "supplier": row.supplier,
                "shipments": row.shipments,
                "batches": row.batches,
                "came": row.came,
                "shares": {
                    name: {
                        "lost": share.lost,
                        "of": share.of,
                        "raw": share.raw,
                        "estimate": share.shrunk.estimate,
                        "low": share.shrunk.low,
                        "high": share.shrunk.high,
                    }
                    for name, share in row.shares.items()
                },
            }
            for row in card.rows
        ],
        "ranking": {
            name: [{"place": p.place, "supplier": p.supplier, "cannot_be_told_from": list(p.alike)} for p in places]
            for name, places in card.rankings.items()
        },
    }
