"""Sales by husbandry group from the ledger: what a season sells where its file does not say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import timedelta
from typing import Final

from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.ledger import Movement, netted

__all__ = ["sales_told", "with_sales"]

LOOK_BACK_WEEKS: Final = 26
LEAST_WEEKS: Final = 4
"""Weeks over which sales are counted, and of sales on record that are enough for a rate (design defaults)."""


def with_sales(house: House, groups: Mapping[str, str], where: str) -> dict[str, float]:
    """Kind → animals of its group sold a week, over the last 26 weeks or since the first sale, if that is later.

    Parameters
    ----------
    groups
        Kinds whose file gives no sales, with their husbandry group.
    where
        The file, for faults.

    Raises
    ------
    BadInput
        A group without four weeks of sales on record, or of two such kinds.
    """
    if not groups:
        return {}
    sold: defaultdict[str, list[Movement]] = defaultdict(list)
    group_of = {batch.id: batch.group for batch in house.floor().batches.values()}
    begun = house.now - timedelta(weeks=LOOK_BACK_WEEKS)
    for one in netted(house.moved()):  # a sale taken back is none, as in the report of sales
        if one.target == "sold" and one.batch in group_of and one.happened_at <= house.now:
            sold[group_of[one.batch]].append(one)
    found: dict[str, float] = {}
    faults: list[Finding] = []
    for kind, group in groups.items():
        key, do = f"{where}, kind.{kind}.sales_per_week", "Write how many can be sold in a week."
        first = min((one.happened_at for one in sold[group]), default=house.now)
        weeks = (house.now - max(first, begun)) / timedelta(weeks=1)
        if list(groups.values()).count(group) > 1:
            faults.append(Finding(key, "", f"a figure: {group} is the group of two kinds", do))
        elif weeks < LEAST_WEEKS:
            expected = f"a figure, or {LEAST_WEEKS} weeks of sales of {group} on record ({max(0.0, weeks):.0f} are)"
            faults.append(Finding(key, "", expected, do))
        else:
            count = sum(one.count for one in sold[group] if one.happened_at >= begun)
            found[kind] = round(count / weeks, 2)
    if faults:
        raise BadInput(faults)
    return found


def sales_told(found: Mapping[str, float], groups: Mapping[str, str]) -> Iterator[str]:
    """What was taken from the ledger, in words."""
    for kind, rate in found.items():
        yield f"{kind}: {rate:g} sold a week, as sales of {groups[kind]} on record over the last {LOOK_BACK_WEEKS} weeks at most"
