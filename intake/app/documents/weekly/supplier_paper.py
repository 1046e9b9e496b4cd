"""The supplier report on paper: each supplier's rates with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.output_files import save
from intake.app.queries.reports import supplier_scorecard
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch

if TYPE_CHECKING:
    from forms import Rate

__all__ = ["print_suppliers"]


def print_suppliers(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print each supplier's rates with their intervals."""
    import forms as page

    del batches
    told = supplier_scorecard.suppliers(house)
    if not told["suppliers"]:
        raise BadInput(Finding("print suppliers", "nothing received", "a received shipment"))
    alike: dict[str, list[str]] = {}
    for places in told["ranking"].values():
        for place in places:
            alike.setdefault(place["supplier"], []).extend(place["cannot_be_told_from"])
    rows = []
    for one in told["suppliers"]:
        others = ", ".join(sorted(set(alike.get(one["supplier"], ()))))
        name = (
            house.site.suppliers[one["supplier"]].name if one["supplier"] in house.site.suppliers else one["supplier"]
        )
        rows.append(
            page.SupplierRow(
                name,
                one["shipments"],
                one["came"],
                _rate(one, "doa"),
                _rate(one, "lost by day 7"),
                note=f"No proven difference from {others}." if others else "",
            )
        )
    received = len(house.floor().received)
    period = f"{received} shipment{'' if received == 1 else 's'} received, to {house.today.isoformat()}"
    method = (
        "Beta-binomial shrinkage towards what is usual among suppliers, 95 % intervals; shipments, not animals, weigh."
    )
    content = page.SupplierContent(house.site.farm.name, period, tuple(rows), method)
    return [
        save(
            out / f"suppliers-{date.isoformat(house.today)}.pdf",
            page.supplier_report(house.site.farm.measures.content(content), paper),
        )
    ]


def _rate(one: dict[str, Any], head: str) -> Rate | None:
    import forms as page

    share = one["shares"].get(head)
    if share is None:
        return None
    if share["low"] is None:
        return page.Rate(100 * share["estimate"], None, None, share["interval"])
    return page.Rate(100 * share["estimate"], 100 * share["low"], 100 * share["high"])
