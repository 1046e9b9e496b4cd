"""What an animal needs as it grows, and present stock as it is sold, week by week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil
from math import floor as whole

from intake.library import Group
from intake.plan.problem import Grown, Standing
from intake.plan.tuning import GROWTH_DAYS

__all__ = ["less_sold", "needs", "needs_by_day"]


def needs(group: Group, size_mm: float) -> tuple[int, int, int]:
    """Bench area in mm², oxygen and ammonia nitrogen in µg/h of one animal of a size."""
    oxygen = group.oxygen.mg_per_h(size_mm)
    return (
        ceil(group.footprint.of(size_mm) * 100 - 1e-6),
        ceil(oxygen * 1000 - 1e-6),
        ceil(oxygen * group.ammonia.mg_n_per_mg_o2 * 1000 - 1e-6),
    )


def needs_by_day(group: Group, size_mm: float, sized: int, days: tuple[int, int], *, grows: bool = True) -> list[Grown]:
    """Needs of one animal from the first of these days on, and from each later day by which its growth has changed them.

    Parameters
    ----------
    size_mm, sized
        The size on record, and the day on which it has, or had, that size.
    days
        First day, and the day after the last; in between it is counted at one size for a week, that of the week's first day.
    """
    first, last = days
    found: list[Grown] = []
    for day in range(first, max(last, first + 1), GROWTH_DAYS):
        grown = group.growth if grows else None
        size = size_mm if grown is None else grown.size_after(size_mm, max(0, day - sized))
        one = Grown(day, *needs(group, size))
        if not found or one != replace(found[-1], from_day=day):
            found.append(one)
    return found


def less_sold(
    present: Sequence[Standing], group_of: Mapping[str, str], sales: Mapping[str, float], last_day: int
) -> list[Standing]:
    """Present stock as it gets less by expected sales, of each group the stock that is there longest first.

    Sold is only what is free to be sold today, and as many whole animals as the whole weeks so far have come to.

    Parameters
    ----------
    sales
        Group → animals sold a week.
    last_day
        Day after which nothing is looked at.
    """
    found = list(present)
    for group, rate in sales.items():
        mine = [n for n, one in enumerate(present) if group_of[one.batch] == group and _for_sale(one)]
        before = 0
        for number in sorted(mine, key=lambda number: (present[number].from_day, number)):
            one, left = present[number], list[tuple[int, int]]()
            for day in range(GROWTH_DAYS, last_day + 1, GROWTH_DAYS):
                there = one.count - min(one.count, max(0, whole(rate * day / 7) - before))
                if there < (left[-1][1] if left else one.count):
                    left.append((day, there))
            before += one.count
            found[number] = replace(one, left=tuple(left))
    return found


def _for_sale(one: Standing) -> bool:
    return one.stage not in {"quarantine", "healing"} and one.served_day <= 0 and one.from_day <= 0
