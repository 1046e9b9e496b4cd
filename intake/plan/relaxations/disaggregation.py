"""Disaggregation: from numbers of vats in each vat class to individual vats, by the order of first days."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from intake.plan.model.occupancy import Occupancy
from intake.plan.relaxations.aggregated_quarantine import Waters

__all__ = ["Claim", "claims_aggregated", "disaggregated", "wanted"]


@dataclass(frozen=True, slots=True)
class Claim:
    """Some batches of one lot that are to have so many of some vats that are alike, for some days."""

    start: int
    end: int
    lot: tuple[str, int]
    owners: tuple[int, ...]
    vats: tuple[int, ...]
    fallow: int
    count: int


def claims_aggregated(model: Waters, values: Sequence[int]) -> list[Claim]:
    """What values of the aggregated quarantine give to the lots in each vat class."""
    claims = []
    for number, vat_class in enumerate(model.vat_classes):
        counted = model.counting[number].counted if number in model.counting else {}
        lots: dict[tuple[str, int], list[int]] = {}
        for place, batch_count in enumerate(vat_class.batch_counts):
            if values[batch_count.amount]:
                lots.setdefault(batch_count.lot, []).append(place)
        for lot, places in sorted(lots.items()):
            batch_counts = [vat_class.batch_counts[place] for place in places]
            parties = [values[variable] for party, variable in counted.items() if party[0].lot == lot]
            count = max([values[batch_count.vats] for batch_count in batch_counts] + parties)
            start, end = (
                min(batch_count.start for batch_count in batch_counts),
                max(batch_count.end for batch_count in batch_counts),
            )
            owners = tuple(batch_count.owner for batch_count in batch_counts)
            claims.append(Claim(start, end, lot, owners, vat_class.vats, vat_class.fallow, count))
    return claims


def wanted(model: Waters, values: Sequence[int]) -> list[int]:
    """How many animals of each batch values of the aggregated quarantine place."""
    most = [batch.count for batch in model.occupancy.problem.batches]
    for owner, variable in model.left.items():
        most[owner] -= values[variable]
    return most


def disaggregated(occupancy: Occupancy, claims: Iterable[Claim]) -> dict[int, set[int]]:
    """For each batch its very vats.

    Claims are met in the order of their first days, each from what is free on all of its days: where counts never
    exceed the vats there are, that finds vats for everybody.  A lot's own animals are in no one's way.
    """
    given: dict[int, set[int]] = {}
    busy: dict[int, list[tuple[int, tuple[str, int]]]] = {}
    for claim in sorted(claims, key=lambda claim: (claim.start, claim.vats, claim.lot, claim.owners)):
        first, last = claim.start - claim.fallow, claim.end + claim.fallow
        free = [
            vat
            for vat in claim.vats
            if all(end <= first for end, _ in busy.get(vat, ()))
            and not any(one.start < last and first < one.end and one.lot != claim.lot for one in occupancy.inside[vat])
        ]
        for vat in free[: claim.count]:
            busy.setdefault(vat, []).append((claim.end, claim.lot))
            for owner in claim.owners:
                given.setdefault(owner, set()).add(vat)
    return given
