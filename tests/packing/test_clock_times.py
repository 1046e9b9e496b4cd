"""Clock times in packing lists: noon and midnight of the twelve-hour clock, and hours that do not exist."""

from __future__ import annotations

from datetime import datetime

import pytest

from intake.packing.figures import moment_of
from intake.packing.grid import Cell
from tests.packing.books import understood
from tests.packing.test_dates_sizes_boxes import JAKARTA, packed


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("12:00 AM", 0, 0),
        ("12:30 am", 0, 30),
        ("1:05 AM", 1, 5),
        ("11:59 AM", 11, 59),
        ("12:00 PM", 12, 0),
        ("12:30 pm", 12, 30),
        ("1:05 PM", 13, 5),
        ("11:59 PM", 23, 59),
        ("00:30", 0, 30),
        ("12:30", 12, 30),
        ("23:59", 23, 59),
    ],
)
@pytest.mark.parametrize("day", ["2026-04-03", "3 Apr 2026", "April 3, 2026"])
def test_noon_is_pm_and_midnight_is_am(text: str, hour: int, minute: int, day: str) -> None:
    """12 AM is the first hour of the day and 12 PM its thirteenth: twelve hours of bag time lie between the two."""
    shipment = understood(packed(f"{day} {text}"))
    assert shipment.ready, shipment.problems
    assert shipment.lines[0].packed_at == datetime(2026, 4, 3, hour, minute, tzinfo=JAKARTA)


@pytest.mark.parametrize("text", ["0:30 AM", "13:00 PM", "24:00", "12:60 PM", "0:15 pm"])
def test_an_hour_that_no_clock_shows_is_refused(text: str) -> None:
    """The twelve-hour clock runs from 1 to 12, the other from 0 to 23; anything else is a fault of the list."""
    shipment = understood(packed(f"2026-04-03 {text}"))
    assert not shipment.ready
    assert shipment.problems


@pytest.mark.parametrize(("year", "fine"), [("1999", False), ("2000", True), ("2099", True), ("2100", False)])
def test_years_of_another_century_are_no_dates(year: str, fine: bool) -> None:
    """A list of 2199 is a slip of the hand."""
    assert (moment_of(Cell(1, 1, f"{year}-04-03 10:00", f"{year}-04-03 10:00"), "ymd") is not None) == fine
