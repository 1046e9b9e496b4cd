"""Dynamic programs for the smallest seasons, as independent checks: one kind, no losses, room without end.

Wagner & Whitin 1958 (every demand met), with lost sales and with backlog; the recursions of the last two are written from the
problem.  None imports the room it checks.
"""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["wagner_whitin", "with_backlog", "with_lost_sales"]


def wagner_whitin(demand: Sequence[float], setup: Sequence[float], holding: float, cost: float = 0.0) -> float:
    """Least cost of meeting every demand: in a best plan an order is made only when nothing is left (T² steps)."""
    best = [0.0] + [float("inf")] * len(demand)
    for last in range(1, len(demand) + 1):
        for first in range(1, last + 1):
            held = sum((week - first) * holding * demand[week - 1] for week in range(first, last + 1))
            bought = cost * sum(demand[first - 1 : last]) if any(demand[first - 1 : last]) else 0.0
            fee = setup[first - 1] if any(demand[first - 1 : last]) else 0.0
            best[last] = min(best[last], best[first - 1] + fee + held + bought)
    return best[-1]


def with_lost_sales(
    demand: Sequence[float], price: Sequence[float], setup: Sequence[float], holding: float, cost: float
) -> float:
    """Greatest profit when a sale may be left: each week is served from the last order before it, if that pays."""
    weeks = len(demand)
    best = [0.0] * (weeks + 1)  # from week t on, with nothing in hand
    for week in reversed(range(weeks)):
        best[week] = best[week + 1]
        for until in range(week + 1, weeks + 1):
            sold = sum(
                max(0.0, price[sale] - cost - holding * (sale - week)) * demand[sale] for sale in range(week, until)
            )
            best[week] = max(best[week], sold - setup[week] + best[until])
    return best[0]


def with_backlog(
    demand: Sequence[float], price: Sequence[float], setup: Sequence[float], holding: float, waiting: float, cost: float
) -> float:
    """Greatest profit when a sale may also wait for the next order: each week between two orders takes the better of them."""
    weeks = len(demand)

    def between(before: int | None, after: int | None) -> float:
        total = 0.0
        for sale in range((before if before is not None else 0), (after if after is not None else weeks)):
            margins = [0.0]
            if before is not None:
                margins.append(price[sale] - cost - holding * (sale - before))
            if after is not None:
                margins.append(price[sale] - cost - waiting * (after - sale))
            total += max(margins) * demand[sale]
        return total

    best = [between(None, week) - setup[week] for week in range(weeks)]
    for week in range(weeks):
        for earlier in range(week):
            best[week] = max(best[week], best[earlier] + between(earlier, week) - setup[week])
    return max([0.0, *(best[week] + between(week, None) for week in range(weeks))])
