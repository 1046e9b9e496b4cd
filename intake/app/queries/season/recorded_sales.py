"""Sales by husbandry group from the ledger: what a season sells where its file does not say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from intake.app.queries.planning.present_stock import LEAST_WEEKS, LOOK_BACK_WEEKS, sales_by_group, weeks_of
from intake.app.session import House
from intake.errors import BadInput, Finding

__all__ = ["sales_told", "with_sales"]


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
    sold = sales_by_group(house)
    found: dict[str, float] = {}
    faults: list[Finding] = []
    for kind, group in groups.items():
        key, do = f"{where}, kind.{kind}.sales_per_week", "Write how many can be sold in a week."
        weeks, count = weeks_of(house, sold.get(group, []))
        if list(groups.values()).count(group) > 1:
            faults.append(Finding(key, "", f"a figure: {group} is the group of two kinds", do))
        elif weeks < LEAST_WEEKS:
            expected = f"a figure, or {LEAST_WEEKS} weeks of sales of {group} on record ({max(0.0, weeks):.0f} are)"
            faults.append(Finding(key, "", expected, do))
        else:
            found[kind] = round(count / weeks, 2)
    if faults:
        raise BadInput(faults)
    return found


def sales_told(found: Mapping[str, float], groups: Mapping[str, str]) -> Iterator[str]:
    """What was taken from the ledger, in words."""
    for kind, rate in found.items():
        yield f"{kind}: {rate:g} sold a week, as sales of {groups[kind]} on record over the last {LOOK_BACK_WEEKS} weeks at most"
