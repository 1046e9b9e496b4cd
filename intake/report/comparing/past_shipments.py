"""Shipments from before the ledger, as the owner's own tables had them: counts only, kept apart from the farm's batches."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from intake.ledger.corrections import standing
from intake.ledger.entries import Entry
from intake.report.comparing.clustered import shrink_clustered

__all__ = ["PastLine", "group_factors", "lost_of_past", "past_lines"]

_WEEK_USUAL: Final = 3 * 0.0167 + 4 * 0.0067
"""Share that dies in the first seven days at the rates assumed before anything is known (``alarms.record.PRIOR_RATES``)."""

_FACTOR_RANGE: Final = (0.3, 3.0)


@dataclass(frozen=True, slots=True)
class PastLine:
    """One line of a past shipment; counts are animals, ``None`` where the table did not say.

    Attributes
    ----------
    shipment
        Supplier and date: animals of one landing share their fate.
    """

    shipment: str
    supplier: str
    day: date
    group: str
    name: str
    announced: int
    doa: int
    missing: int | None
    dead_day_7: int | None
    hours: float | None

    @property
    def came(self) -> int:
        """Animals that came, dead or alive."""
        return self.announced - (self.missing or 0)


def past_lines(entries: Iterable[Entry]) -> tuple[PastLine, ...]:
    """Past shipments on record, in the order of their date."""
    found = []
    for record in standing(entries, "past"):
        told = record.payload
        supplier, day = str(told["supplier"]), date.fromisoformat(str(told["date"]))
        found.append(
            PastLine(
                shipment=f"{supplier} {day.isoformat()}",
                supplier=supplier,
                day=day,
                group=str(told["group"]),
                name=str(told.get("name") or ""),
                announced=_whole(told["announced"]) or 0,
                doa=_whole(told["doa"]) or 0,
                missing=_whole(told.get("missing")),
                dead_day_7=_whole(told.get("dead_day_7")),
                hours=float(str(told["hours"])) if told.get("hours") is not None else None,
            )
        )
    return tuple(sorted(found, key=lambda line: (line.day, line.supplier, line.group, line.name)))


def _whole(value: object) -> int | None:
    return int(str(value)) if value is not None else None


def lost_of_past(lines: Iterable[PastLine], head: str) -> tuple[float, float] | None:
    """(lost, of) of some lines together under a head of ``suppliers.HEADS`` or ``short``; ``None`` when not known of any."""
    found = [one for line in lines if (one := _counts(line, head)) is not None]
    of = sum(of for _, of in found)
    return (sum(lost for lost, _ in found), of) if of > 0 else None


def _counts(line: PastLine, head: str) -> tuple[float, float] | None:
    if head == "doa":
        return float(line.doa), float(line.came)
    if head == "lost by day 7" and line.dead_day_7 is not None:
        return float(line.dead_day_7), float(line.came - line.doa)
    if head == "short" and line.missing is not None:
        return float(line.missing), float(line.announced)
    return None


def group_factors(lines: Iterable[PastLine]) -> Mapping[str, float]:
    """Group → how its losses in the first week compare with what is assumed, for alarms on a farm without a record yet.

    Drawn toward what is usual among the groups; within .3 and 3 (design default), so that no table can switch alarms off.
    """
    sent: defaultdict[str, defaultdict[str, list[PastLine]]] = defaultdict(lambda: defaultdict(list))
    for line in lines:
        sent[line.group][line.shipment].append(line)
    clusters: dict[str, list[tuple[float, float]]] = {}
    for group, shipments in sent.items():
        told = [one for its in shipments.values() if (one := lost_of_past(its, "lost by day 7")) is not None]
        if len(told) > 1:
            clusters[group] = told
    if not clusters:
        return {}
    shares = shrink_clustered(list(clusters.values())).shares
    low, high = _FACTOR_RANGE
    return {
        group: min(high, max(low, share.estimate / _WEEK_USUAL)) for group, share in zip(clusters, shares, strict=True)
    }
