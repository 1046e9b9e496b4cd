"""What is in every vat, as a table."""

from __future__ import annotations

from typing import Any

from intake.app.queries.biosecurity.cutting_rest import cut_not_before
from intake.app.session import House

__all__ = ["vats"]


def _rests_until(house: House, parent: str) -> str | None:
    """Day before which a parent should not be cut again; ``None`` when it never was, or has rested."""
    until = cut_not_before(house, parent)
    return (
        until.astimezone(house.site.farm.zone).date().isoformat() if until is not None and until > house.now else None
    )


def vats(house: House) -> list[dict[str, Any]]:
    """What is in every vat, how full its bench is and since when."""
    floor = house.floor()
    rows = []
    for vat in house.site.vats.values():
        inside = floor.in_vat(vat.id)
        used = sum(
            house.library.group(floor.batches[s.batch].group).footprint.of(floor.batches[s.batch].size_mm) * s.count
            for s in inside
        )
        rows.append(
            {
                "system": vat.system,
                "vat": vat.id,
                "full_percent": round(100.0 * used / (vat.area_m2 * 1e4), 1),
                "stands": [
                    {
                        "batch": s.batch,
                        "name": floor.batches[s.batch].name,
                        "count": s.count,
                        "stage": s.stage,
                        "since": s.since.astimezone(house.site.farm.zone).date().isoformat(),
                        "not_cut_before": _rests_until(house, s.batch),
                    }
                    for s in inside
                ],
                "cleaned": floor.cleaned[vat.id].date().isoformat() if vat.id in floor.cleaned else None,
            }
        )
    return rows
