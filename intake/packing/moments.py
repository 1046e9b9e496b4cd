"""When bags were closed: one order of day and month for a column, in the supplier's time zone."""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo

from intake.errors import Finding, quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.figures import DateOrder, moment_of, orders_of
from intake.packing.grid import Cell
from intake.packing.list_zones import parted_zone

__all__ = ["date_order", "packed_at"]

_ORDERS: tuple[DateOrder, ...] = ("dmy", "mdy", "ymd")
_WORDS: dict[DateOrder, str] = {"dmy": "day-month-year", "mdy": "month-day-year", "ymd": "year-month-day"}
_LONGEST_WAY = timedelta(days=10)
"""No bag is ten days on the way (common practice): a longer time is a wrong date."""


def date_order(cells: list[Cell], remembered: str, lands: datetime, inquiry: Inquiry) -> DateOrder | None:
    """The order of day, month and year of a column; asked when its cells allow several that differ.

    ``None``, and a fault noted, when no one order fits all cells.

    One value above 12 settles the column.  The landing time only sorts the choices, it never decides.
    """
    cells = [parted_zone(cell)[0] for cell in cells]
    texts = [(cell, orders) for cell in cells if (orders := orders_of(cell))]
    if not texts:
        return "ymd"
    common = [order for order in _ORDERS if all(order in orders for _, orders in texts)]
    if not common:
        first, orders = texts[0]
        other = next((cell for cell, those in texts if not orders & those), texts[-1][0])
        inquiry.fault(
            Finding(
                f"{first.address} and {other.address}, packed",
                f"{first.text}, {other.text}",
                "one order of day and month in the whole column",
                "Ask the supplier which it is, and write the months as words.",
            )
        )
        return None
    differing = next((cell for cell, _ in texts if len({moment_of(cell, order) for order in common}) > 1), None)
    if differing is None:
        if len(common) == 1:
            inquiry.learned["dates"] = common[0]
        return common[0]
    known = next((order for order in common if order == remembered), None)
    if known is not None and "dates" not in inquiry.answers:
        inquiry.note(f"dates read {_WORDS[known]}, as remembered for this supplier")
        return known
    naive = lands.replace(tzinfo=None)
    common.sort(key=lambda order: abs((moment_of(differing, order) or naive) - naive))
    shown = " or ".join(f"{moment_of(differing, order):%d %B %Y} ({order})" for order in common)
    what = f"{differing.address}: {quoted(differing.text)} is {shown}?"
    answer = inquiry.ask(Question("dates", what, tuple(common), where=differing.address))
    if answer:
        inquiry.learned["dates"] = answer
    return next((order for order in common if order == answer), common[0])


def typed_dates_swapped(cells: list[Cell], inquiry: Inquiry) -> bool:
    """Whether real dates of a column must have day and month exchanged.

    A spreadsheet set to another country turns the dates it can into real ones, day and month exchanged, and leaves the
    others as text: a column that holds both is not to be believed without asking.
    """
    typed = [cell for cell in cells if isinstance(cell.value, datetime) and cell.value.day <= 12]
    texts = [cell for cell in cells if orders_of(cell)]
    if not typed or not texts:
        return False
    first = typed[0]
    answer = inquiry.ask(
        Question(
            "typed-dates",
            f"the column holds real dates ({first.address} {first.text}) and dates as text ({texts[0].address} "
            f"{quoted(texts[0].text)}); the spreadsheet may have swapped day and month in the real dates",
            ("as-shown", "exchanged"),
            where=first.address,
        )
    )
    return answer == "exchanged"


def packed_at(
    cell: Cell, order: DateOrder | None, zone: tzinfo, lands: datetime, inquiry: Inquiry, *, exchanged: bool = False
) -> datetime | None:
    """When the bag was closed, in the zone it was written in; ``None`` when the cell is empty or wrong."""
    if cell.value is None or order is None:
        return None
    cell, own_zone = parted_zone(cell)
    moment = moment_of(cell, order)
    if moment is None:
        expected = f"a date and time, {_WORDS[order]}, such as 3 Apr 2026 14:30"
        inquiry.fault(Finding(f"{cell.address}, packed", cell.text, expected))
        return None
    if exchanged and isinstance(cell.value, datetime) and moment.day <= 12:
        moment = moment.replace(month=moment.day, day=moment.month)
    aware = moment.replace(tzinfo=own_zone or zone)
    if not lands - _LONGEST_WAY <= aware <= lands:
        # A date without a time of day may lie in the landing day itself.
        same_day = (moment.hour, moment.minute) == (0, 0) and timedelta(0) <= aware - lands < timedelta(days=1)
        if not same_day and "dates" not in inquiry.open:
            expected = f"a time in the ten days before landing ({lands:%d %b %Y %H:%M %Z})"
            inquiry.fault(Finding(f"{cell.address}, packed", cell.text, expected))
            return None
    return aware
